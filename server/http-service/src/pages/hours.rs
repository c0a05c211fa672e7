//! Hours and log: each run, what they add up to, and what is still to go; and the same as files.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::http::header::{CONTENT_DISPOSITION, HeaderValue};
use maud::{Markup, html};
use programme::hours::{self, CompletedHours, HoursTotals, RunHours};
use programme::state::State;

use super::around::Section;
use super::door::Member;
use super::words::{
    amount, counted, energy, hours_and_minutes, person, phase, times_in_short, total,
};
use crate::access::Read;
use crate::desk::Answer;
use crate::office::Office;
use crate::problem::{FAULT, Problem};

/// A counted run in the log.
#[derive(Debug, Clone)]
pub(crate) struct LogLine {
    pub hours: RunHours,
    pub times: String,
    /// Name, role and place of each.
    pub crew: Vec<String>,
}

/// A total to be reached.
#[derive(Debug, Clone)]
pub(crate) struct ToGo {
    pub what: String,
    pub done: String,
    pub required: String,
    pub remaining: String,
    pub share: (u64, u64),
    pub source: String,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct HoursPage {
    pub place: String,
    pub how: &'static str,
    pub totals: HoursTotals,
    pub to_go: Vec<ToGo>,
    pub by_phase: Vec<(&'static str, HoursTotals)>,
    /// Short digest, what was fitted, and the sum.
    pub by_configuration: Vec<(String, String, HoursTotals)>,
    /// Name, sum of all runs, and of those on board.
    pub by_person: Vec<(String, HoursTotals, HoursTotals)>,
    /// Newest first.
    pub log: Vec<LogLine>,
    /// Runs that are not counted, and why.
    pub incomplete: Vec<(u32, String)>,
    pub open: Vec<u32>,
    pub corrections: u32,
    pub records: u64,
}

impl HoursPage {
    fn of(place: String, state: &State) -> Self {
        let CompletedHours {
            records,
            how_minutes_are_cut,
            runs,
            totals,
            by_phase,
            by_configuration,
            by_person,
            incomplete,
            open,
            time_corrections,
            to_go,
            ..
        } = hours::completed(state);
        let to_go = to_go.into_iter().map(|it| {
            let phases: Vec<_> = it.phases.iter().map(|at| phase(*at).to_lowercase()).collect();
            let within =
                if phases.is_empty() { String::new() } else { format!(" ({})", phases.join(", ")) };
            ToGo {
                what: format!("{}{within}", total(it.total)),
                done: amount(it.total, it.done),
                required: amount(it.total, it.required),
                remaining: amount(it.total, it.remaining),
                share: (it.done.min(it.required), it.required),
                source: it.source,
            }
        });
        let log = runs.into_iter().rev().map(|hours| {
            let run = state.run(hours.run);
            let seat = |it: &programme::record::CrewMember| {
                let place = if it.on_board { "on board" } else { "on the ground" };
                format!("{}, {} {place}", person(state, &it.person), it.role.in_words())
            };
            LogLine {
                times: run.map(|run| times_in_short(run.what, &run.times)).unwrap_or_default(),
                crew: hours.crew.iter().map(seat).collect(),
                hours,
            }
        });
        let fitted = |it: &std::collections::BTreeMap<programme::codes::ItemCode, String>| {
            let items: Vec<_> =
                it.iter().map(|(item, version)| format!("{item} {version}")).collect();
            items.join("; ")
        };
        Self {
            place,
            how: how_minutes_are_cut,
            totals,
            to_go: to_go.collect(),
            by_phase: by_phase.into_iter().map(|it| (phase(it.phase), it.totals)).collect(),
            by_configuration: by_configuration
                .into_iter()
                .map(|it| (it.configuration.short, fitted(&it.items), it.totals))
                .collect(),
            by_person: by_person
                .into_iter()
                .map(|it| {
                    (it.name.unwrap_or_else(|| it.person.to_string()), it.totals, it.on_board)
                })
                .collect(),
            log: log.collect(),
            incomplete: incomplete.into_iter().map(|it| (it.run.0, it.why)).collect(),
            open: open.into_iter().map(|run| run.0).collect(),
            corrections: time_corrections,
            records,
        }
    }

    fn body(&self) -> Markup {
        html! {
            h1 { "Hours and log" }
            p.lead {
                (counted(self.totals.runs as usize, "counted run", "counted runs")) ", "
                (hours_and_minutes(self.totals.powered_minutes)) " under power, "
                (hours_and_minutes(self.totals.airborne_minutes)) " in the air, "
                (counted(self.totals.landings as usize, "landing", "landings")) "."
            }
            p {
                a.button href={ (self.place) "/hours/runs.csv" } { "Log as CSV" } " "
                a.button href={ (self.place) "/hours/completed.json" } { "All of this as JSON" }
            }
            (self.remaining())
            section {
                h2 #sums { "Sums" }
                (sums("By phase", "Phase", self.by_phase.iter().map(|(name, totals)| (html! { (name) }, totals))))
                @if !self.by_configuration.is_empty() {
                    (sums("By configuration", "Configuration", self.by_configuration.iter().map(|(short, items, totals)| {
                        (html! { code { (short) } @if !items.is_empty() { details { summary { "What was fitted" } (items) } } }, totals)
                    })))
                }
                @if !self.by_person.is_empty() {
                    (sums("By person, on board or not", "Person", self.by_person.iter().map(|(name, totals, _)| (html! { (name) }, totals))))
                    (sums("By person, on board only", "Person", self.by_person.iter().filter(|(_, _, on_board)| on_board.runs > 0).map(|(name, _, on_board)| (html! { (name) }, on_board))))
                }
            }
            (self.runs())
            p.source { (self.how) " Counted from " (self.records) " records." }
        }
    }

    fn remaining(&self) -> Markup {
        html! {
            section {
                h2 #to-go { "Still to go" }
                @if self.to_go.is_empty() { p { "The programme's policy requires no totals." } }
                ul.points {
                    @for it in &self.to_go {
                        li {
                            p { strong { (it.what) } ": " (it.done) " of " (it.required) ", " strong { (it.remaining) } " to go." }
                            meter min="0" max=(it.share.1.max(1)) value=(it.share.0) { (it.done) " of " (it.required) }
                            p.source { "Asked for by " (it.source) }
                        }
                    }
                }
            }
        }
    }

    fn runs(&self) -> Markup {
        html! {
            section {
                h2 #log { "Log" }
                @for run in &self.open { p { a href={ (self.place) "/runs/" (run) } { "Run " (run) } " is open, and not counted yet." } }
                @if !self.incomplete.is_empty() {
                    h3 { "Closed and not counted" }
                    ul { @for (run, why) in &self.incomplete { li { a href={ (self.place) "/runs/" (run) } { "Run " (run) } ": " (why) } } }
                }
                @if self.log.is_empty() { p { "No run is counted yet." } }
                @if self.corrections > 0 { p { "Times were corrected " (counted(self.corrections as usize, "time", "times")) "; what is counted are the corrected ones." } }
                ul.runs { @for line in &self.log { li { (self.line(line)) } } }
            }
        }
    }

    fn line(&self, line: &LogLine) -> Markup {
        let run = &line.hours;
        html! {
            a href={ (self.place) "/runs/" (run.run) } { strong { "Run " (run.run) } ", " (run.kind.in_words()) ", " (run.date) }
            p {
                strong { (hours_and_minutes(run.powered_minutes.into())) } " under power"
                @if run.off_blocks.is_some() {
                    " · " (run.block_minutes) " min blocks to blocks, of that " (run.taxi_minutes) " min moving on the ground and "
                    (run.airborne_minutes) " min in the air · " (counted(run.landings as usize, "landing", "landings"))
                }
                " · " @match run.energy_wh { Some(spent) => { (energy(spent)) " out of the pack" } None => "energy not known" }
            }
            p.source {
                (line.times) " · " (line.crew.join("; ")) " · fitted " code { (run.configuration.short) }
                @if run.time_corrections > 0 { " · times corrected" }
            }
        }
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use chrono::DateTime;
        use programme::codes::RunNumber;
        use programme::hours::ConfigurationDigest;
        use programme::nouns::Phase;
        use programme::record::{Digest, RunKind};

        use super::tests::long;
        let run = |number: usize, many: usize| LogLine {
            hours: RunHours {
                run: RunNumber(number as u32 + 1),
                date: DateTime::UNIX_EPOCH.date_naive(),
                kind: RunKind::Flight,
                phase: Phase::Envelope,
                configuration: ConfigurationDigest {
                    digest: Digest::of(&"fitted").unwrap(),
                    short: "9f86d0818888".to_owned(),
                },
                crew: Vec::new(),
                power_on: DateTime::UNIX_EPOCH,
                power_off: DateTime::UNIX_EPOCH,
                off_blocks: Some(DateTime::UNIX_EPOCH),
                on_blocks: None,
                powered_minutes: 74,
                taxi_minutes: 9,
                airborne_minutes: 61,
                block_minutes: 70,
                landings: 1,
                energy_wh: (many > 10).then_some(12_034),
                time_corrections: (many > 10).into(),
            },
            times: "power on 09:10, power off 10:24 UTC".to_owned(),
            crew: vec![long("Jonas, test pilot on board", many); many.min(6)],
        };
        let page = |many: usize| {
            let totals =
                HoursTotals { runs: many as u64, powered_minutes: 61, ..HoursTotals::default() };
            Self {
                place: "/programmes/tug".to_owned(),
                how: "Each moment is cut to its minute.",
                totals,
                to_go: vec![
                    ToGo {
                        what: "Time in the air".to_owned(),
                        done: "1 h 01 min".to_owned(),
                        required: "5 h 00 min".to_owned(),
                        remaining: "3 h 59 min".to_owned(),
                        share: (61, 300),
                        source: long("the permit, condition 4", many),
                    };
                    many
                ],
                by_phase: vec![("Taxi", totals); 5],
                by_configuration: vec![
                    (
                        "9f86d0818888".to_owned(),
                        long("battery 1; motor 2", many),
                        totals
                    );
                    many
                ],
                by_person: vec![(long("Jonas", many), totals, totals); many],
                log: (0..many).map(|number| run(number, many)).collect(),
                incomplete: vec![(3, long("power off is not noted", many)); many / 3],
                open: (many > 2).then_some(26).into_iter().collect(),
                corrections: many as u32 / 10,
                records: 412,
            }
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

/// A table of sums, one row for each name.
fn sums<'a>(
    title: &str,
    of: &str,
    rows: impl Iterator<Item = (Markup, &'a HoursTotals)>,
) -> Markup {
    html! {
        div.wide tabindex="0" role="region" aria-label=(title) {
            table.sums {
                caption { (title) }
                thead {
                    tr {
                        th scope="col" { (of) } th scope="col" { "Runs" } th scope="col" { "Under power" } th scope="col" { "On the ground" }
                        th scope="col" { "In the air" } th scope="col" { "Blocks" } th scope="col" { "Landings" } th scope="col" { "Energy" }
                    }
                }
                tbody {
                    @for (name, totals) in rows {
                        tr {
                            th scope="row" { (name) }
                            td { (totals.runs) }
                            td { (hours_and_minutes(totals.powered_minutes)) }
                            td { (hours_and_minutes(totals.taxi_minutes)) }
                            td { (hours_and_minutes(totals.airborne_minutes)) }
                            td { (hours_and_minutes(totals.block_minutes)) }
                            td { (totals.landings) }
                            td {
                                @if totals.runs_with_energy > 0 { (energy(totals.energy_wh)) }
                                @if totals.runs_with_energy < totals.runs { " " span.source { "known of " (totals.runs_with_energy) " of " (totals.runs) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The page.
pub(crate) async fn show(member: Member<Read>, office: Office) -> Answer {
    let page = member.look(&office, |view| Ok(HoursPage::of(member.place(""), view.state))).await?;
    Ok(member.around("Hours and log", Section::Hours).reply(StatusCode::OK, page.body()))
}

/// A file that a browser keeps under a name.
fn file(
    kind: &'static str,
    name: &str,
    bytes: impl actix_web::body::MessageBody + 'static,
) -> Answer {
    // A programme's id is of letters, digits and dashes.
    let disposition = HeaderValue::try_from(format!("attachment; filename=\"{name}\""));
    let disposition = disposition.unwrap_or(HeaderValue::from_static("attachment"));
    Ok(HttpResponse::Ok()
        .content_type(kind)
        .insert_header((CONTENT_DISPOSITION, disposition))
        .body(bytes))
}

/// The counted runs as CSV.
pub(crate) async fn csv(member: Member<Read>, office: Office) -> Answer {
    let text = member
        .look(&office, |view| {
            hours::runs_csv(&hours::completed(view.state)).map_err(|error| {
                Problem::new(FAULT, "The log could not be written. Tell whoever runs the server.")
                    .because(error)
            })
        })
        .await?;
    file("text/csv; charset=utf-8", &format!("{}-log.csv", member.programme.id), text)
}

/// All sums as the API gives them.
pub(crate) async fn json(member: Member<Read>, office: Office) -> Answer {
    let shown =
        member.look(&office, |view| crate::desk::Shown::new(&hours::completed(view.state))).await?;
    file("application/json", &format!("{}-hours.json", member.programme.id), shown.bytes())
}
