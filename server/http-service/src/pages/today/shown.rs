//! What the page of the day shows.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use maud::{Markup, html};
use programme::board::Board;
use programme::measure::Unit;
use programme::nouns::Role;
use programme::people::Act;
use programme::state::State;

use crate::api::next::next_view;
use crate::api::people::person_view;
use crate::api::points::PointState;
use crate::api::weather::observed_view;
use crate::desk::View;
use crate::pages::checks::{self, CheckLine};
use crate::pages::door::Member;
use crate::pages::form::{Draft, Trouble};
use crate::pages::overview::PointLine;
use crate::pages::run::RunPage;
use crate::pages::words::{counted, moment, observed, person, roles};

/// A qualification that ends within so many days is told.
const ENDS_SOON: TimeDelta = TimeDelta::days(14);

/// The weather that was observed last.
#[derive(Debug, Clone)]
pub(crate) struct Weather {
    pub parts: Vec<(&'static str, String)>,
    pub by: String,
    pub at: DateTime<Utc>,
    /// Up to when it is new enough; absent: no policy says so.
    pub good_until: Option<DateTime<Utc>>,
}

/// Somebody who is there.
#[derive(Debug, Clone)]
pub(crate) struct Mate {
    pub name: String,
    pub roles: Vec<Role>,
    /// Qualifications that are good.
    pub good: Vec<String>,
    /// Qualifications that are over.
    pub expired: Vec<String>,
    /// Qualifications that end soon, and when.
    pub ends_soon: Vec<(String, DateTime<Utc>)>,
    /// Seat in the run that is open.
    pub in_run: Option<String>,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct TodayPage {
    pub place: String,
    pub token: String,
    pub now: DateTime<Utc>,
    pub weather: Option<Weather>,
    pub may_observe: bool,
    pub run: Option<RunPage>,
    /// All stated conditions are met.
    pub ready: Vec<PointLine>,
    /// Released, and held against the run.
    pub released: Vec<PointLine>,
    /// How many more can be released.
    pub releasable: usize,
    pub due: Vec<CheckLine>,
    pub soon: Vec<CheckLine>,
    pub mates: Vec<Mate>,
    pub open_snags: usize,
    pub grounding: usize,
    pub open_exceedances: usize,
    pub trouble: Option<Trouble>,
}

fn weather(state: &State) -> Option<Weather> {
    let latest = observed_view(state, state.latest_weather()?);
    Some(Weather {
        parts: observed(latest.weather),
        by: person(state, latest.by),
        at: latest.at,
        good_until: latest.good_until,
    })
}

/// Everybody who takes part in the work, the visitor's own run mates first.
fn mates(view: View<'_>) -> Vec<Mate> {
    let crew = view.state.open_run().map(|run| run.crew.as_slice()).unwrap_or_default();
    let works =
        |person: &&programme::nouns::Person| person.roles.iter().any(|role| *role != Role::Viewer);
    let mate = |person| {
        let seen = person_view(view, person);
        let held = &seen.person.qualifications;
        let ends_soon = held.iter().filter_map(|it| {
            let expires = it.expires.filter(|_| it.is_good(view.now))?;
            (expires - view.now <= ENDS_SOON).then(|| (it.code.to_string(), expires))
        });
        let seat = crew.iter().find(|it| it.person == seen.person.handle).map(|it| {
            let place = if it.on_board { "on board" } else { "on the ground" };
            format!("{} {place}", it.role.in_words())
        });
        Mate {
            name: seen.person.name.clone(),
            roles: seen.person.roles.clone(),
            good: held
                .iter()
                .filter(|it| it.is_good(view.now))
                .map(|it| it.code.to_string())
                .collect(),
            expired: seen.expired.iter().map(ToString::to_string).collect(),
            ends_soon: ends_soon.collect(),
            in_run: seat,
        }
    };
    let mut mates: Vec<_> = view.state.people.values().filter(works).map(mate).collect();
    mates.sort_by_key(|mate| mate.in_run.is_none());
    mates
}

impl TodayPage {
    pub fn of<P>(
        member: &Member<P>,
        view: View<'_>,
        board: &Board,
        trouble: Option<Trouble>,
    ) -> Self {
        let state = view.state;
        let next = next_view(view, board);
        let is_released = |state: PointState| state == PointState::Released;
        let (released, releasable): (Vec<_>, Vec<_>) =
            next.held_for_run.into_iter().partition(|held| is_released(held.point.state));
        let line = |known| CheckLine::of(view, known, &member.programme.roles);
        let (due, good): (Vec<_>, Vec<_>) =
            state.checks.by_code.values().map(line).partition(checks::is_due);
        let run = state
            .open_run()
            .map(|run| RunPage { on_today: true, ..RunPage::of(member, view, run, None) });
        Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            now: view.now,
            weather: weather(state),
            may_observe: member.may(Act::ObserveWeather),
            run,
            ready: next.ready_to_run.iter().map(|row| PointLine::of(row, Vec::new())).collect(),
            released: released
                .into_iter()
                .map(|held| PointLine::of(&held.point, held.holds))
                .collect(),
            releasable: releasable.len(),
            due,
            soon: good.into_iter().filter(|line| line.soon).collect(),
            mates: mates(view),
            open_snags: state.open_snags().count(),
            grounding: state.open_snags().filter(|snag| snag.grounding).count(),
            open_exceedances: state.open_exceedances().count(),
            trouble,
        }
    }

    /// A refused form of a check that is not due any more, or not for the visitor's roles.
    fn unplaced(&self) -> Option<&Trouble> {
        let has_form = |form: &str| {
            let of_check = |line: &CheckLine| line.may && form == format!("check-{}", line.code);
            (form == "weather" && self.may_observe) || self.due.iter().any(of_check)
        };
        self.trouble.as_ref().filter(|trouble| !has_form(&trouble.form))
    }

    fn date(&self) -> NaiveDate {
        self.now.date_naive()
    }

    pub fn body(&self) -> Markup {
        html! {
            h1 { "Today, " (self.now.format("%A %-d %B %Y")) }
            @if let Some(trouble) = self.unplaced() { (trouble.alone()) }
            nav.within aria-label="On this page" {
                @if self.run.is_some() { a href="#run" { "Run" } }
                a href="#points" { "Points" }
                a href="#weather" { "Weather" }
                a href="#checks" { "Checks due: " (self.due.len()) }
                a href="#crew" { "Crew" }
                a href={ (self.place) "/days/" (self.date()) } { "Evening summary" }
            }
            @if let Some(run) = &self.run {
                h2 #run { "Run " (run.run) " is open" }
                (run.at_hand())
                p { a.button href={ (self.place) "/runs/" (run.run) } { "All of the run, and closing it" } " " a.button href={ (self.place) "/runs/" (run.run) "/briefing" } { "Briefing sheet" } }
            }
            (self.points())
            (self.seen())
            (self.checks())
            (self.crew())
            (self.open())
        }
    }

    fn points(&self) -> Markup {
        html! {
            section {
                h2 #points { "Points of the day" }
                @if self.ready.is_empty() && self.released.is_empty() { p { "No point is released." } }
                @if !self.ready.is_empty() {
                    h3 { "All stated conditions are met" }
                    ul.points { @for point in &self.ready { li { (point.line(&self.place)) } } }
                    @if self.run.is_none() { p { a.button href={ (self.place) "/runs#open" } { "Open a run" } } }
                }
                @if !self.released.is_empty() {
                    h3 { "Released, and held against the run" }
                    ul.points {
                        @for point in &self.released {
                            li { (point.line(&self.place)) ul.short { @for hold in &point.holds { li { (hold.why) } } } }
                        }
                    }
                }
                @if self.releasable > 0 { p { a href={ (self.place) "#next" } { (counted(self.releasable, "more point", "more points")) } " could be released." } }
            }
        }
    }

    fn seen(&self) -> Markup {
        let refused = self.trouble.as_ref().is_some_and(|trouble| trouble.form == "weather");
        html! {
            section {
                h2 #weather { "Weather" }
                @match &self.weather {
                    None => { p { "Nobody has observed it yet, and what is not observed meets no minimum." } }
                    Some(weather) => {
                        dl.weather { @for (label, figure) in &weather.parts { div { dt { (label) } dd { (figure) } } } }
                        @let is_new = weather.good_until.is_some_and(|until| self.now <= until);
                        p.warn[!is_new] {
                            "Observed by " (weather.by) ", " (moment(weather.at)) ". "
                            @match weather.good_until {
                                Some(until) if is_new => { "New enough until " (moment(until)) "." }
                                Some(until) => { strong { "Too old" } " since " (moment(until)) ": observe it again before a run." }
                                None => "No policy says how old it may be, so it is not new enough for any run.",
                            }
                        }
                    }
                }
                @if self.may_observe {
                    details open[refused] {
                        summary { "Record the weather" }
                        (self.observing())
                    }
                }
            }
        }
    }

    fn observing(&self) -> Markup {
        let to = format!("{}/today/weather", self.place);
        let draft = Draft::new("weather", &to, &self.token, self.trouble.as_ref());
        let falls = [("", "not observed"), ("false", "nothing falls"), ("true", "something falls")];
        let falls = falls.map(|(value, words)| (value.to_owned(), words.to_owned()));
        draft.form(html! {
            (draft.hidden("weather:object", ""))
            p.hint { "Give what you saw or read, and leave the rest empty: what is not observed never meets a minimum." }
            div.side-by-side {
                (draft.measured("weather.wind", "Mean wind", Unit::Knot, None))
                (draft.figure("weather.wind_from_deg:number?", "Wind from", "", "° true"))
                (draft.measured("weather.gust", "Gusts", Unit::Knot, None))
                (draft.measured("weather.crosswind", "Crosswind on the runway in use", Unit::Knot, None))
                (draft.measured("weather.visibility", "Visibility", Unit::Kilometre, None))
                (draft.measured("weather.cloud_base", "Cloud base above the field", Unit::Foot, None))
                (draft.measured("weather.temperature", "Air", Unit::Celsius, None))
                (draft.measured("weather.qnh", "QNH", Unit::Hectopascal, None))
                (draft.choice("weather.precipitation:chosen?", "Precipitation", "", "", &falls))
                (draft.moment("observed_at:moment?", "When", "Left empty: now.", ""))
            }
            (draft.line("weather.remarks?", "Remarks", "State of the surface, thunderstorms near, anything worth a word.", ""))
            (draft.send("Record the weather"))
        })
    }

    fn checks(&self) -> Markup {
        let to = format!("{}/today/checks", self.place);
        html! {
            section {
                h2 #checks { "Checks due" }
                @if self.due.is_empty() { p { "None is due." } }
                ul.points {
                    @for line in &self.due {
                        li {
                            (line.told(&self.place))
                            @if line.may {
                                @let name = format!("check-{}", line.code);
                                @let draft = Draft::new(&name, &to, &self.token, self.trouble.as_ref());
                                details open[self.trouble.as_ref().is_some_and(|trouble| trouble.form == name)] {
                                    summary { "Record that it was done" }
                                    p.prose { (line.method) }
                                    (checks::form(&draft, draft.hidden("form.check", &line.code)))
                                }
                            }
                        }
                    }
                }
                @if !self.soon.is_empty() {
                    h3 { "Due within a day" }
                    ul.points { @for line in &self.soon { li { (line.told(&self.place)) } } }
                }
                p { a href={ (self.place) "/checks" } { "All checks" } }
            }
        }
    }

    fn crew(&self) -> Markup {
        html! {
            section {
                h2 #crew { "Crew" }
                @if self.mates.is_empty() { p { "Nobody takes part yet." } }
                ul.points {
                    @for mate in &self.mates {
                        li {
                            strong { (mate.name) } ", " (roles(&mate.roles))
                            @if let Some(seat) = &mate.in_run { " · " strong { "in the run as " (seat) } }
                            @if !mate.expired.is_empty() { p.fault { "Over: " (mate.expired.join(", ")) } }
                            @for (code, at) in &mate.ends_soon { p { "Ends soon: " (code) ", " (moment(*at)) } }
                            @if !mate.good.is_empty() { p.source { "Good: " (mate.good.join(", ")) } }
                        }
                    }
                }
                p { a href={ (self.place) "/people" } { "Everybody, and who may sign what" } }
            }
        }
    }

    fn open(&self) -> Markup {
        html! {
            section {
                h2 #open { "Open" }
                p {
                    a href={ (self.place) "/snags" } { (counted(self.open_snags, "open snag", "open snags")) }
                    ", " @if self.grounding == 0 { "none grounds" } @else { strong { (counted(self.grounding, "grounds", "ground")) } }
                    "; " (counted(self.open_exceedances, "open exceedance", "open exceedances")) "."
                }
                p { a.button href={ (self.place) "/snags#open" } { "Open a snag" } }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, holds, long};
        let now = DateTime::UNIX_EPOCH;
        let line = |code, many| PointLine {
            code,
            title: long("Taxi at 28 kt", many),
            state: PointState::Released,
            holds: holds(many),
        };
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            now,
            weather: (many > 0).then(|| Weather {
                parts: vec![("Wind", "8 kt".to_owned()), ("Remarks", long("Dry.", many))],
                by: "Ruth".to_owned(),
                at: now,
                good_until: (many < 10).then_some(now),
            }),
            may_observe: many > 0,
            run: (many > 0).then(|| RunPage { on_today: true, ..RunPage::sample(many, false) }),
            ready: codes(many / 3).into_iter().map(|code| line(code, 0)).collect(),
            released: codes(many).into_iter().map(|code| line(code, many)).collect(),
            releasable: many,
            due: (0..many).map(|place| CheckLine::sample(place, many)).collect(),
            soon: (0..many / 2).map(|place| CheckLine::sample(place, many)).collect(),
            mates: vec![
                Mate {
                    name: long("Jonas", many),
                    roles: Role::ALL.to_vec(),
                    good: vec!["medical".to_owned(); many],
                    expired: vec!["licence".to_owned(); many / 5],
                    ends_soon: vec![("hv-work".to_owned(), now); many / 5],
                    in_run: (many > 1).then(|| "test pilot on board".to_owned()),
                };
                many
            ],
            open_snags: many,
            grounding: many / 2,
            open_exceedances: many,
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}
