//! What the page of a run shows.

use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::codes::{ExceedanceNumber, PointCode, RunNumber};
use programme::people::Act;
use programme::record::{RunKind, RunTimes};
use programme::state::{Run, State};

use crate::api::results::ResultStanding;
use crate::api::runs::{EnergyView, RunView};
use crate::desk::View;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Trouble};
use crate::pages::words::{moment, person, result_word};

/// A point of the run, with its result.
#[derive(Debug, Clone)]
pub(crate) struct RunPoint {
    pub code: PointCode,
    pub title: String,
    pub result: Option<ResultStanding>,
}

/// A reading of the pack.
#[derive(Debug, Clone)]
pub(crate) struct Reading {
    pub charge_percent: f64,
    pub energy_counter_kwh: Option<f64>,
    pub by: String,
    pub at: DateTime<Utc>,
}

impl Reading {
    fn of(state: &State, seen: &EnergyView<'_>) -> Self {
        Self {
            charge_percent: seen.charge_percent,
            energy_counter_kwh: seen.energy_counter_kwh,
            by: person(state, seen.by),
            at: seen.at,
        }
    }
}

/// The field that tells when something was seen, where that was before it reached the server.
const SEEN_AT: &str = "observed_at:moment";

/// Something that was said or changed: what, by whom, when.
pub(crate) type Said = (String, String, DateTime<Utc>);

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct RunPage {
    pub place: String,
    pub token: String,
    pub now: DateTime<Utc>,
    pub run: RunNumber,
    pub kind: RunKind,
    pub may_conduct: bool,
    pub may_knock_off: bool,
    pub points: Vec<RunPoint>,
    /// Name, role, on board.
    pub crew: Vec<(String, &'static str, bool)>,
    pub opened: (String, DateTime<Utc>),
    pub times: RunTimes,
    /// Whole minutes: under power, from blocks to blocks, moving on the ground, in the air.
    pub minutes: [Option<u32>; 4],
    pub before: Option<Reading>,
    pub after: Option<Reading>,
    pub energy_kwh: Option<f64>,
    pub knocked_off: Option<Said>,
    pub closed: Option<Said>,
    pub corrections: Vec<Said>,
    pub exceedances: Vec<ExceedanceNumber>,
    /// Attached to the run: digest and name.
    pub recordings: Vec<(String, String)>,
    pub may_take: bool,
    /// Shown on the page of the day, to which its forms lead back.
    pub on_today: bool,
    pub trouble: Option<Trouble>,
}

impl RunPage {
    pub fn of<P>(member: &Member<P>, view: View<'_>, run: &Run, trouble: Option<Trouble>) -> Self {
        let View { state, now } = view;
        let seen = RunView::of(state, run);
        let points = seen.points.iter().map(|code| RunPoint {
            code: code.clone(),
            title: run.planned(code).map(|point| point.title.clone()).unwrap_or_default(),
            result: state.result(run.number, code).map(|(_, it)| ResultStanding::of(&it.standing)),
        });
        Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            now,
            run: seen.run,
            kind: seen.kind,
            may_conduct: member.may(Act::ConductRuns),
            may_knock_off: member.may(Act::KnockOff),
            points: points.collect(),
            crew: seen
                .crew
                .iter()
                .map(|it| (person(state, &it.person), it.role.in_words(), it.on_board))
                .collect(),
            opened: (person(state, seen.opened_by), seen.opened_at),
            times: seen.times.clone(),
            minutes: [
                seen.powered_minutes,
                seen.block_minutes,
                seen.taxi_minutes,
                seen.airborne_minutes,
            ],
            before: seen.energy_before.as_ref().map(|it| Reading::of(state, it)),
            after: seen.energy_after.as_ref().map(|it| Reading::of(state, it)),
            energy_kwh: seen.energy_kwh,
            knocked_off: seen
                .knocked_off
                .map(|it| (it.reason.to_owned(), person(state, it.by), it.at)),
            closed: seen
                .closed
                .map(|it| (it.debrief.unwrap_or_default().to_owned(), person(state, it.by), it.at)),
            corrections: seen
                .corrections
                .iter()
                .map(|it| (it.reason.to_owned(), person(state, it.by), it.at))
                .collect(),
            exceedances: seen.exceedances,
            recordings: state
                .recordings
                .of_run(run.number)
                .filter_map(|it| Some((it.recording.to_string(), it.take()?.name.clone())))
                .collect(),
            may_take: member.may(Act::TakeRecordings),
            on_today: false,
            trouble,
        }
    }

    fn is_open(&self) -> bool {
        self.closed.is_none()
    }

    pub(super) fn draft<'a>(&'a self, name: &'a str, to: &'a str) -> Draft<'a> {
        Draft::new(name, to, &self.token, self.trouble.as_ref()).queued(SEEN_AT)
    }

    pub(super) fn here(&self, rest: &str) -> String {
        format!("{}/runs/{}{rest}", self.place, self.run)
    }

    pub fn body(&self) -> Markup {
        html! {
            h1 { "Run " (self.run) ", " (self.kind.in_words()) }
            @if self.is_open() { p.lead { strong { "Open." } " Opened by " (self.opened.0) ", " (moment(self.opened.1)) "." } }
            @if let Some((reason, by, at)) = &self.knocked_off {
                p.warn role="status" { strong { "Knock-it-off" } " was called by " (by) ", " (moment(*at)) ": " (reason) }
            }
            @if self.is_open() && self.may_knock_off { (self.knock_it_off()) }
            @if self.is_open() { (self.moments()) }
            (self.log())
            (self.results())
            (self.energy())
            (self.recorded())
            (self.end())
            section {
                h2 { "Crew" }
                ul { @for (name, role, on_board) in &self.crew { li { (name) ", " (role) ", " (if *on_board { "on board" } else { "on the ground" }) } } }
            }
            p {
                a.button href=(self.here("/cards")) data-keep { "Print the cards of this run" } " "
                a.button href=(self.here("/briefing")) data-keep { "Briefing sheet" }
            }
        }
    }

    /// The recorder files of the run, and what each says against its limits.
    fn recorded(&self) -> Markup {
        html! {
            section {
                h2 #recordings { "Recordings" }
                @if self.recordings.is_empty() { p { "No recording is attached to this run." } }
                @else {
                    ul.runs {
                        @for (recording, name) in &self.recordings {
                            li {
                                a href={ (self.place) "/recordings/" (recording) } { (name) }
                                p.short {
                                    a href={ (self.place) "/recordings/" (recording) "/plot" } { "Plots" } " · "
                                    a href={ (self.place) "/recordings/" (recording) "/limits/" (self.run) } { "Against the limits of this run" }
                                }
                            }
                        }
                    }
                }
                @if self.may_take { p { a href={ (self.place) "/recordings" } { "Take in a recorder's file" } } }
            }
        }
    }

    /// Where its forms lead back to.
    pub(super) fn back(&self, draft: &Draft<'_>) -> Markup {
        html! { @if self.on_today { (draft.hidden("form.back", "today")) } }
    }

    /// What is pressed while the run goes on: knock-it-off, moments and results, large.
    pub fn at_hand(&self) -> Markup {
        html! {
            @if let Some((reason, by, at)) = &self.knocked_off {
                p.warn role="status" { strong { "Knock-it-off" } " was called by " (by) ", " (moment(*at)) ": " (reason) }
            }
            @if self.may_knock_off { (self.knock_it_off()) }
            (self.moments())
            (self.results())
        }
    }

    fn knock_it_off(&self) -> Markup {
        let to = self.here("/knock-off");
        let draft = self.draft("knock-off", &to);
        html! {
            section.big {
                h2 #knock-off { "Knock it off" }
                (draft.form(html! {
                    (self.back(&draft))
                    (draft.line("reason", "Why", "One word is enough.", "Called on the radio."))
                    p.send { button.danger { "Knock it off" } }
                }))
            }
        }
    }

    fn results(&self) -> Markup {
        html! {
            section {
                h2 #results { "Points and results" }
                ul.points {
                    @for point in &self.points {
                        li {
                            a href={ (self.place) "/points/" (point.code) } { strong { (point.code) } " " (point.title) }
                            " "
                            @match point.result {
                                Some(standing) => { a.button href=(self.here(&format!("/results/{}", point.code))) data-keep { "Result: " (result_word(standing)) } }
                                None => { a.button href=(self.here(&format!("/results/{}", point.code))) data-keep { "Record the result" } }
                            }
                        }
                    }
                }
                @if !self.exceedances.is_empty() {
                    p.warn { "Exceedances of this run: " @for (place, number) in self.exceedances.iter().enumerate() { @if place > 0 { ", " } a href={ (self.place) "/exceedances/" (number) } { "no. " (number) } } "." }
                }
            }
        }
    }

    fn energy(&self) -> Markup {
        let to = self.here("/energy");
        html! {
            section {
                h2 #energy { "Energy" }
                dl.pairs {
                    @for (words, reading) in [("Before", &self.before), ("After", &self.after)] {
                        dt { (words) }
                        dd {
                            @match reading {
                                Some(reading) => {
                                    "charge " (reading.charge_percent) " %"
                                    @if let Some(counter) = reading.energy_counter_kwh { ", counter " (counter) " kWh" }
                                    " (" (reading.by) ", " (moment(reading.at)) ")"
                                }
                                None => { "not read" }
                            }
                        }
                    }
                    dt { "Out of the pack" }
                    dd { @match self.energy_kwh { Some(energy) => { ((energy * 1000.0).round() / 1000.0) " kWh, by the counter" } None => { "not known: the counter was not read before and after" } } }
                }
                @if self.may_conduct && self.is_open() {
                    @for (moment, words, reading) in [("before", "Read before the run", &self.before), ("after", "Read after the run", &self.after)] {
                        @let name = format!("energy-{moment}");
                        @let draft = self.draft(&name, &to);
                        details open[self.trouble.as_ref().is_some_and(|trouble| trouble.form == name)] {
                            summary { (words) @if reading.is_some() { ", again" } }
                            (draft.form(html! {
                                (draft.hidden("moment", moment))
                                (draft.figure("charge_percent:number", "Charge", "", "%"))
                                (draft.figure("energy_counter_kwh:number?", "Energy counter", "Energy out of the pack in its life. Left empty: not read.", "kWh"))
                                (draft.send("Record the reading"))
                            }))
                        }
                    }
                }
            }
        }
    }

    fn end(&self) -> Markup {
        let to = self.here("/closing");
        let draft = self.draft("close", &to).queued("");
        html! {
            section {
                h2 #close { "Debrief" }
                @match &self.closed {
                    Some((debrief, by, at)) => {
                        p { "Closed by " (by) ", " (moment(*at)) "." }
                        @if !debrief.is_empty() { p.prose { (debrief) } }
                    }
                    None => {
                        @if self.may_conduct {
                            (draft.form(html! {
                                (draft.text("debrief?", "What is worth saying about the run", ""))
                                (draft.send("Close the run"))
                            }))
                        } @else { p { "The run is not closed yet." } }
                    }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn sample(many: usize, closed: bool) -> Self {
        use crate::pages::tests::{codes, long};
        let at = DateTime::UNIX_EPOCH;
        Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            now: at,
            run: RunNumber(25),
            kind: RunKind::Flight,
            may_conduct: true,
            may_knock_off: true,
            points: codes(many)
                .into_iter()
                .map(|code| RunPoint {
                    code,
                    title: long("Taxi at 28 kt", many),
                    result: (many > 10).then_some(ResultStanding::NotMet),
                })
                .collect(),
            crew: vec![(long("Jonas", many), "test pilot", true); many],
            opened: ("Marit".to_owned(), at),
            times: RunTimes {
                power_on: (many > 0).then_some(at),
                take_offs: vec![at; many],
                landings: vec![at; many],
                ..RunTimes::default()
            },
            minutes: [Some(15), None, None, None],
            before: (many > 0).then(|| Reading {
                charge_percent: 92.5,
                energy_counter_kwh: Some(218.6),
                by: "Ruth".to_owned(),
                at,
            }),
            after: None,
            energy_kwh: (many > 10).then_some(1.234_567),
            knocked_off: (many > 10).then(|| (long("Smoke.", many), "Jonas".to_owned(), at)),
            closed: closed.then(|| (long("Straight and quiet.", many), "Marit".to_owned(), at)),
            corrections: vec![(long("Recorder says so.", many), "Tomas".to_owned(), at); many],
            exceedances: (1..=many as u32).map(ExceedanceNumber).collect(),
            recordings: vec![("0".repeat(64), long("inverter-run25.csv", many)); many],
            may_take: true,
            on_today: false,
            trouble: None,
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        let page = Self::sample;
        vec![
            ("ordinary", page(1, false).body()),
            ("empty", page(0, false).body()),
            ("worst case", page(60, true).body()),
        ]
    }
}
