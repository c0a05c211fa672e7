//! What an evening summary shows.

use chrono::{DateTime, NaiveDate, Utc};
use maud::{Markup, PreEscaped, html};
use programme::board::Board;
use programme::codes::{PointCode, RunNumber};
use programme::hours::{ConfigurationDigest, HoursTotals, completed};
use programme::state::Standing;

use super::gathered::{DayRun, checks_done, day_run, exceedance, snags, stops};
use crate::api::next::next_view;
use crate::api::results::{ResultRow, ResultStanding};
use crate::desk::View;
use crate::pages::checks::{CheckLine, is_due};
use crate::pages::paper::MadeFrom;
use crate::pages::words::{counted, energy, hours_and_minutes, observed, outcome, result_word};
use crate::qr::qr_as_svg;

/// So many holds are told of what holds the rest.
const HOLDS: usize = 6;
/// So many points are told by their codes.
const CODES: usize = 12;

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct EveningPage {
    pub place: String,
    pub day: NaiveDate,
    pub programme: String,
    pub aircraft: String,
    pub configuration: String,
    pub made_from: MadeFrom,
    /// The checkpoint that the server signed of exactly this state.
    pub checkpoint: Option<String>,
    /// Whether it is shown as it stood, and not as it stands.
    pub is_past: bool,
    pub runs: Vec<DayRun>,
    /// Results of the day for runs of other days: run, point, verdict.
    pub other_results: Vec<(RunNumber, PointCode, &'static str, ResultStanding)>,
    pub exceedances: Vec<String>,
    /// Number, and what it says.
    pub snags: Vec<(u32, String)>,
    pub checks: Vec<String>,
    pub weather: Vec<(DateTime<Utc>, String)>,
    pub stops: Vec<String>,
    pub of_day: HoursTotals,
    pub so_far: HoursTotals,
    pub ready: Vec<PointCode>,
    pub releasable: Vec<PointCode>,
    pub awaiting: Vec<PointCode>,
    pub due: Vec<String>,
    pub open_snags: usize,
    pub grounding: usize,
    pub open_exceedances: usize,
    pub stand_down: bool,
    /// What alone holds points, what clears it, and how many points.
    pub holding: Vec<(String, String, usize)>,
    pub more_holding: usize,
}

impl EveningPage {
    pub fn of(
        place: String,
        day: NaiveDate,
        view: View<'_>,
        board: &Board,
        made_from: MadeFrom,
    ) -> Self {
        let state = view.state;
        let on_day = |at: DateTime<Utc>| at.date_naive() == day;
        let is_of_day = |number: RunNumber| state.run(number).is_some_and(|it| it.day() == day);
        let hours = completed(state);
        let next = next_view(view, board);
        let codes = |rows: &[crate::api::points::PointRow<'_>]| -> Vec<PointCode> {
            rows.iter().map(|row| row.code.clone()).collect()
        };
        let aircraft = state.aircraft.as_ref().map_or_else(String::new, |aircraft| match &aircraft
            .registration
        {
            Some(registration) => format!("{}, {registration}", aircraft.name),
            None => aircraft.name.clone(),
        });
        let other_results = state.results.iter().filter(|it| on_day(it.at) && !is_of_day(it.run));
        let due = state.checks.by_code.values().map(|known| CheckLine::of(view, known, &[]));
        let awaiting = state.results.iter().filter(|it| it.standing == Standing::Open);
        let mut awaiting: Vec<_> = awaiting.map(|it| it.point.clone()).collect();
        awaiting.dedup();
        let would_open = next.would_open.iter();
        let holding = would_open
            .clone()
            .filter_map(|group| {
                let hold = group.hold.as_ref()?;
                Some((hold.why.clone(), hold.clears.clone(), group.points.len()))
            })
            .take(HOLDS);
        Self {
            place,
            day,
            programme: state.title.clone(),
            aircraft,
            configuration: ConfigurationDigest::of(&state.configuration.fitted()).short,
            made_from,
            checkpoint: None,
            is_past: false,
            runs: state
                .runs
                .iter()
                .filter(|run| run.day() == day)
                .map(|run| day_run(state, run))
                .collect(),
            other_results: other_results
                .map(|it| {
                    let row = ResultRow::of(it);
                    (row.run, row.point.clone(), outcome(row.outcome), row.standing)
                })
                .collect(),
            exceedances: state
                .exceedances
                .iter()
                .filter(|it| on_day(it.at) || is_of_day(it.run))
                .filter_map(|it| exceedance(state, it))
                .collect(),
            snags: snags(state, day),
            checks: checks_done(state, day),
            weather: state
                .weather
                .iter()
                .filter(|it| on_day(it.at))
                .map(|it| {
                    let parts = observed(&it.weather).into_iter();
                    let parts = parts.map(|(label, figure)| format!("{label} {figure}"));
                    (it.at, parts.collect::<Vec<_>>().join(", "))
                })
                .collect(),
            stops: stops(state, day),
            of_day: HoursTotals::of(hours.runs.iter().filter(|row| row.date == day)),
            so_far: hours.totals,
            ready: codes(&next.ready_to_run),
            releasable: next.held_for_run.iter().map(|held| held.point.code.clone()).collect(),
            awaiting,
            due: due.filter(is_due).map(|line| format!("{} ({})", line.title, line.code)).collect(),
            open_snags: state.open_snags().count(),
            grounding: state.open_snags().filter(|snag| snag.grounding).count(),
            open_exceedances: state.open_exceedances().count(),
            stand_down: state.stand_down().is_some(),
            more_holding: would_open.count().saturating_sub(HOLDS),
            holding: holding.collect(),
        }
    }

    pub fn body(&self) -> Markup {
        html! {
            div.screen {
                p {
                    a href={ (self.place) "/days" } { "All test days" }
                    @if self.is_past { " · As it stood then. " a href={ (self.place) "/days/" (self.day) "?as_of=now" } { "As it is known now" } }
                }
                p { button type="button" data-print hidden { "Print" } }
            }
            article.leaf {
                p.sheet-head { span { (self.programme) @if !self.aircraft.is_empty() { " · " (self.aircraft) } } span { "Configuration " code { (self.configuration) } } }
                h1 { "Evening summary, " (self.day.format("%A %-d %B %Y")) " (UTC)" }
                (self.done())
                (self.found())
                (self.next())
                (self.foot())
            }
        }
    }

    fn done(&self) -> Markup {
        html! {
            h2 #done { "What was done" }
            @if self.stand_down { p.warn { strong { "A stand-down is in force." } } }
            @for stop in &self.stops { p { (stop) } }
            @if self.runs.is_empty() { p { "No run began on this day." } }
            @for run in &self.runs { (self.run(run)) }
            @if !self.other_results.is_empty() {
                h3 { "Results of earlier runs" }
                ul { @for (run, code, came, standing) in &self.other_results { li { (code) " in run " (run) ": " (came) ", " (result_word(*standing)) } } }
            }
            p {
                strong { "Hours. " }
                "Today " (counted(self.of_day.runs as usize, "counted run", "counted runs")) ", " (hours_and_minutes(self.of_day.powered_minutes)) " under power, "
                (hours_and_minutes(self.of_day.airborne_minutes)) " in the air, " (counted(self.of_day.landings as usize, "landing", "landings"))
                @if self.of_day.runs_with_energy > 0 { ", " (energy(self.of_day.energy_wh)) }
                ". So far " (self.so_far.runs) " runs, " (hours_and_minutes(self.so_far.powered_minutes)) " under power, "
                (hours_and_minutes(self.so_far.airborne_minutes)) " in the air, " (counted(self.so_far.landings as usize, "landing", "landings")) "."
            }
        }
    }

    fn run(&self, run: &DayRun) -> Markup {
        html! {
            h3 { a href={ (self.place) "/runs/" (run.run) } { "Run " (run.run) } ", " (run.kind.in_words()) @if run.open { ", still open" } }
            p.source { (run.times) @if let Some(minutes) = run.powered { " · " (minutes) " min under power" } @if let Some(energy) = &run.energy { " · " (energy) " out of the pack" } " · " (run.crew.join(", ")) }
            @if let Some(reason) = &run.knocked_off { p { strong { "Knock-it-off: " } (reason) } }
            ul {
                @for (code, result) in &run.points {
                    li {
                        a href={ (self.place) "/points/" (code) } { (code) } ": "
                        @match result {
                            Some((came, standing)) => { strong { (came) } @if *came != "not met" { ", " (standing_word(*standing)) } }
                            None => strong { "no result recorded" },
                        }
                    }
                }
            }
            @if let Some(debrief) = &run.debrief { p.prose { (debrief) } }
        }
    }

    fn found(&self) -> Markup {
        html! {
            h2 #found { "What was found" }
            h3 { "Exceedances" }
            @if self.exceedances.is_empty() { p { "None was noted or found." } }
            ul { @for it in &self.exceedances { li { (it) } } }
            h3 { "Snags" }
            @if self.snags.is_empty() { p { "None was opened or closed." } }
            ul { @for (number, it) in &self.snags { li { a href={ (self.place) "/snags/" (number) } { "Snag " (number) } " " (it) } } }
            h3 { "Checks done" }
            @if self.checks.is_empty() { p { "None." } } @else { p { (self.checks.join("; ")) "." } }
            h3 { "Weather" }
            @if self.weather.is_empty() { p { "Nobody observed it." } }
            ul { @for (at, it) in &self.weather { li { (at.format("%H:%M")) " UTC: " (it) } } }
        }
    }

    fn next(&self) -> Markup {
        html! {
            h2 #next { "What is open for the next day" }
            ul {
                li { strong { "All stated conditions met: " } (codes(&self.ready, "none")) "." }
                li { strong { "Could be released, or are, and wait before they run: " } (codes(&self.releasable, "none")) "." }
                li { strong { "Results that await acceptance: " } (codes(&self.awaiting, "none")) "." }
                li { strong { "Checks due: " } @if self.due.is_empty() { "none" } @else { (self.due.join("; ")) } "." }
                li { strong { "Snags: " } (self.open_snags) " open, of which " (self.grounding) " ground; " strong { "exceedances: " } (self.open_exceedances) " open." }
            }
            h3 { "What holds the rest" }
            @if self.holding.is_empty() { p { "Nothing alone does: every held point has more than one hold, or none is held." } }
            ol {
                @for (why, clears, points) in &self.holding {
                    li { (why) " " span.source { "Clears it: " (clears) " (" (counted(*points, "point", "points")) ")" } }
                }
            }
            @if self.more_holding > 0 { p.source { "And " (self.more_holding) " more, on the page of the programme." } }
        }
    }

    fn foot(&self) -> Markup {
        html! {
            @if let Some(checkpoint) = &self.checkpoint {
                div.seal {
                    @if let Ok(code) = qr_as_svg(checkpoint) { (PreEscaped(code)) }
                    div {
                        p { strong { "Checkpoint, signed by the server. " } "Keep this sheet: held against the ledger later, it shows whether anything up to here was altered." }
                        pre { (checkpoint) }
                    }
                }
            }
            p.sheet-foot { (self.made_from.told()) }
        }
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use programme::record::RunKind;

        use crate::pages::tests::{codes, long};
        let run = |many: usize| DayRun {
            run: RunNumber(25),
            kind: RunKind::Flight,
            times: "power on 09:10, power off 10:24 UTC".to_owned(),
            powered: (many > 1).then_some(74),
            energy: (many > 1).then(|| "12.034 kWh".to_owned()),
            crew: vec![long("Jonas (test pilot)", many); many.min(5)],
            points: codes(many)
                .into_iter()
                .map(|code| (code, (many > 2).then_some(("met", ResultStanding::Open))))
                .collect(),
            knocked_off: (many > 10).then(|| long("Smoke.", many)),
            debrief: Some(long("Straight and quiet.", many)),
            open: many > 10,
        };
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            day: DateTime::UNIX_EPOCH.date_naive(),
            programme: long("Electric glider tug", many),
            aircraft: "Tug".to_owned(),
            configuration: "9f86d0818888".to_owned(),
            made_from: MadeFrom::sample(),
            checkpoint: (many > 0)
                .then(|| "rungbook/7d1c4f2a90be33d5/tallow\n812\nroot\n".to_owned()),
            is_past: many > 1,
            runs: vec![run(many); many],
            other_results: vec![
                (RunNumber(3), codes(1).remove(0), "met", ResultStanding::Accepted);
                many / 3
            ],
            exceedances: vec![long("No. 3 in run 25: winding, greatest 121 °C.", many); many],
            snags: vec![(3, long("was opened.", many)); many],
            checks: vec![long("Insulation passed", many); many],
            weather: vec![(DateTime::UNIX_EPOCH, long("Wind 8 kt", many)); many],
            stops: vec![long("Stand-down called: smoke.", many); many / 3],
            of_day: HoursTotals::default(),
            so_far: HoursTotals::default(),
            ready: codes(many),
            releasable: codes(many),
            awaiting: codes(many),
            due: vec![long("Insulation", many); many],
            open_snags: many,
            grounding: many / 2,
            open_exceedances: many,
            stand_down: many > 10,
            holding: vec![
                (long("Not released.", many), long("Release it.", many), many);
                many.min(HOLDS)
            ],
            more_holding: many.saturating_sub(HOLDS),
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

/// Where a result that was met or lacks something stands.
const fn standing_word(standing: ResultStanding) -> &'static str {
    match standing {
        ResultStanding::Open => "awaits acceptance",
        ResultStanding::NotMet => "shows nothing yet",
        ResultStanding::Accepted => "accepted",
        ResultStanding::Lapsed => "accepted, and does not stand any more",
        ResultStanding::Replaced => "recorded anew since",
    }
}

/// Points by their codes, so many of them.
fn codes(points: &[PointCode], none: &str) -> String {
    if points.is_empty() {
        return none.to_owned();
    }
    let told: Vec<_> = points.iter().take(CODES).map(PointCode::as_str).collect();
    let more = points.len().saturating_sub(CODES);
    if more == 0 { told.join(", ") } else { format!("{} and {more} more", told.join(", ")) }
}
