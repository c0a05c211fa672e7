//! How the plan of a day is shown.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use maud::{Markup, PreEscaped, html};
use programme::codes::{DayPlanNumber, PersonHandle, PointCode};
use programme::day_plan::{ChargeOfDay, DayTerms, PlannedRun};
use programme::people::Act;
use programme::state::ProposedDay;

use super::anew::{Anew, COLUMNS, WEATHER};
use crate::api::heating::HeatingKnown;
use crate::pages::form::{Draft, Trouble};
use crate::pages::words::{counted, for_field, moment, phase, roles};

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct TomorrowPage {
    /// For which day the plan is, in words.
    pub heading: String,
    pub place: String,
    pub token: String,
    pub may_plan: bool,
    /// The plan that was proposed last.
    pub proposed: Option<ProposedDay>,
    /// Its picture, as SVG.
    pub picture: Option<String>,
    /// Other plans, newest first: when their day begins, and whose place they took.
    pub others: Vec<(DayPlanNumber, DateTime<Utc>, Option<DayPlanNumber>)>,
    /// What the people of the day are called.
    pub names: BTreeMap<PersonHandle, String>,
    /// The terms of the last plan of a whole day.
    pub last: Option<DayTerms>,
    /// Parts that the programme's own recordings know.
    pub known: Vec<HeatingKnown>,
    /// Everybody who has a role, with their name.
    pub people: Vec<(PersonHandle, String)>,
    /// When a day begins and ends, as a form proposes it.
    pub window: (String, String),
    pub trouble: Option<Trouble>,
}

fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

pub(super) fn clock(at: DateTime<Utc>) -> String {
    at.format("%H:%M").to_string()
}

impl TomorrowPage {
    pub fn body(&self) -> Markup {
        html! {
            h1 { (self.heading) }
            @match &self.proposed {
                None => {
                    p.lead { "No day is planned yet." }
                    @if !self.may_plan { p { "Days are planned by: " (Act::PlanDays.allowed_in_words()) "." } }
                }
                Some(proposed) => { (self.plan(proposed)) }
            }
            (self.anew())
            (self.others())
        }
    }

    fn anew(&self) -> Markup {
        if !self.may_plan {
            return html! {};
        }
        let to = format!("{}/tomorrow/anew", self.place);
        let draft = Draft::new("anew", &to, &self.token, self.trouble.as_ref());
        let form = Anew {
            last: self.last.as_ref(),
            known: &self.known,
            people: &self.people,
            window: &self.window,
        };
        // Whoever has typed into it sees it open again.
        let is_open = self.proposed.is_none() || draft.was_sent();
        html! {
            section {
                h2 #anew { "Plan a day from nothing" }
                p { "Field, weather, pack, chargers, parts that heat, times and crew. A plan is a proposal and releases nothing." }
                details open[is_open] {
                    summary { "Everything that a plan rests on" }
                    (form.form(&draft))
                }
            }
        }
    }

    fn plan(&self, proposed: &ProposedDay) -> Markup {
        let ProposedDay { number, at, replaces, terms, day, .. } = proposed;
        html! {
            p.lead {
                "Plan " (number) " for " (moment(terms.from)) " to " (moment(terms.to)) ": "
                (counted(day.runs.len(), "run", "runs")) "."
                @if let Some(before) = replaces { " It takes the place of plan " (before) "." }
            }
            p { strong { "A proposal: it releases nothing." } " Proposed " (moment(*at)) "." }
            @if let (Some(dawn), Some(dusk)) = (day.civil_dawn, day.civil_dusk) {
                p { "Civil twilight at the field from " (moment(dawn)) " to " (moment(dusk)) "." }
            }
            @if let Some(picture) = &self.picture {
                div.picture.chart tabindex="0" role="region" aria-label="Charge state and temperatures over the day" { (PreEscaped(picture)) }
            }
            section { h2 { "Runs" } (self.runs(&day.runs)) }
            section { h2 { "What has to be done before, and by whom" } (needs(&day.runs)) }
            section {
                h2 { "Charging" }
                (charges(&day.charges))
                p { a href={ (self.place) "/tomorrow/" (number) "/energy" } { "How many runs does the energy of this day allow, and from which source?" } }
            }
            @if !day.not_reached.is_empty() {
                section {
                    h2 { "Could be run, and is not planned" }
                    ul { @for it in &day.not_reached { li { (self.link(&it.point)) ": " (it.because) } } }
                }
            }
            @if !day.left_out.is_empty() {
                details {
                    summary { "Held by what nothing on the day clears: " (counted(day.left_out.len(), "point", "points")) }
                    ul { @for it in &day.left_out { li { (self.link(&it.point)) ": " (it.because.join(" ")) } } }
                }
            }
            section { h2 { "What the plan does not know" } ul { @for note in &day.notes { li { (note) } } } }
            (self.forms(proposed))
        }
    }

    fn others(&self) -> Markup {
        html! {
            @if !self.others.is_empty() {
                section {
                    h2 { "Other plans" }
                    ul.runs {
                        @for (number, from, replaces) in &self.others {
                            li {
                                a href={ (self.place) "/tomorrow/" (number) } { "Plan " (number) ", " (moment(*from)) }
                                @if let Some(before) = replaces { p.source { "The rest of the day of plan " (before) ", planned anew" } }
                            }
                        }
                    }
                }
            }
        }
    }

    fn link(&self, point: &PointCode) -> Markup {
        html! { a href={ (self.place) "/points/" (point) } { (point) } }
    }

    fn runs(&self, runs: &[PlannedRun]) -> Markup {
        if runs.is_empty() {
            return html! { p { "None. Below stands what holds each point." } };
        }
        html! {
            ol.points {
                @for run in runs {
                    li {
                        strong { (self.link(&run.point)) } " " (phase(run.phase))
                        p { "Set-up " (clock(run.set_up_at)) ", run " strong { (clock(run.begins_at)) " to " (clock(run.ends_at)) } ", ready " (clock(run.ready_at)) " UTC." }
                        p { "Charge " (percent(run.charge_before)) " to " (percent(run.charge_after)) ", " (run.energy_kwh) " kWh." }
                        @for part in &run.parts {
                            p.short { (part.name) " " (format!("{:.0} °C to {:.0} °C, at most {:.0} °C", part.before_c, part.after_c, part.most_c)) }
                        }
                        @if !run.crew.is_empty() {
                            p.short {
                                @for (place, seat) in run.crew.iter().enumerate() {
                                    @if place > 0 { "; " }
                                    (self.names.get(&seat.person).map_or_else(|| seat.person.to_string(), Clone::clone))
                                    " as " (seat.role.in_words()) @if seat.on_board { ", on board" }
                                }
                            }
                        }
                        @if !run.after.is_empty() {
                            p.short { "After " @for (place, code) in run.after.iter().enumerate() { @if place > 0 { ", " } (code) } " is accepted." }
                        }
                        p.short {
                            "If it is not met: "
                            @if run.instead.points.is_empty() { "nothing more that day." }
                            @for (place, code) in run.instead.points.iter().enumerate() { @if place > 0 { ", " } (code) }
                        }
                    }
                }
            }
        }
    }

    fn forms(&self, proposed: &ProposedDay) -> Markup {
        if !self.may_plan {
            let who = Act::PlanDays.allowed_in_words();
            return html! { p { "Days are planned by: " (who) "." } };
        }
        let trouble = self.trouble.as_ref();
        let again_to = format!("{}/tomorrow/{}/replanning", self.place, proposed.number);
        let again = Draft::new("again", &again_to, &self.token, trouble);
        let next_to = format!("{}/tomorrow", self.place);
        let next = Draft::new("next", &next_to, &self.token, trouble);
        let points: BTreeSet<&PointCode> = proposed.day.runs.iter().map(|run| &run.point).collect();
        html! {
            section {
                h2 { "Plan the rest of this day anew" }
                (again.form(html! {
                    (again.line("from:moment", "From then on (UTC)", "As 2026-06-21T11:30", &for_field(proposed.terms.from)))
                    (again.figure("state:percent", "Charge state, read", "", "%"))
                    fieldset {
                        legend { "Not to be run any more" }
                        (again.hidden("without:list", ""))
                        @for point in &points { (again.tick("without[]", point.as_str(), html! { (point) }, false)) }
                        @if points.is_empty() { p { "No run is planned." } }
                    }
                    (again.send("Propose the rest anew"))
                }))
            }
            section {
                h2 { "Plan another day like this one" }
                p { "Field, pack, chargers, parts and crew are those of this plan." }
                (next.form(html! {
                    (next.line("from:moment", "From (UTC)", "As 2026-06-22T07:00", ""))
                    (next.line("to:moment", "To (UTC)", "", ""))
                    (next.figure("state:percent", "Charge state at the beginning", "", "%"))
                    (next.text_with("weather_csv", "Weather by the hour, as CSV", WEATHER, COLUMNS))
                    (next.send("Propose a plan"))
                }))
            }
        }
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, long};
        use chrono::TimeDelta;
        use programme::codes::{ReductionNumber, RunNumber};
        use programme::entry::Entry;
        let text = include_str!("../../../../programme/records/day-plan-proposed-v1-full.json");
        let entry = Entry::from_json(text.trim()).unwrap();
        let mut state = programme::state::State::default();
        state.apply(&entry);
        let whole = state.planning.days.remove(0);
        let page = |many: usize| {
            let mut proposed = whole.clone();
            let run = proposed.day.runs.remove(0);
            proposed.day.runs = codes(many)
                .into_iter()
                .map(|point| PlannedRun { point, after: codes(many.min(40)), ..run.clone() })
                .collect();
            for run in &mut proposed.day.runs {
                for need in &mut run.needs {
                    need.what = long("The safety officer releases it.", many);
                }
                run.ready_at += TimeDelta::minutes(5);
            }
            for part in &mut proposed.terms.parts {
                part.name = long("Winding", many);
            }
            for left in &mut proposed.day.left_out {
                left.because = vec![long("It is held.", many); many.max(1)];
            }
            let programme = long("Electric glider tug", many);
            Self {
                heading: "Tomorrow".to_owned(),
                place: "/programmes/tug".to_owned(),
                token: "0".repeat(64),
                may_plan: true,
                picture: Some(crate::picture::draw_day(&crate::picture::DayPicture {
                    programme: &programme,
                    proposed: &proposed,
                })),
                others: vec![(DayPlanNumber(1), DateTime::UNIX_EPOCH, None); many],
                names: BTreeMap::new(),
                last: Some(proposed.terms.clone()),
                known: proposed
                    .terms
                    .parts
                    .iter()
                    .map(|part| HeatingKnown {
                        name: part.name.clone(),
                        channel: "winding".parse().unwrap(),
                        limit: "L-WINDING".parse().unwrap(),
                        time_constant_min: part.time_constant_min,
                        rise_c_per_kw: part.rise_c_per_kw,
                        most_c: part.most_c,
                        rests_on: vec![ReductionNumber(4); many.min(40)],
                        runs: vec![RunNumber(7); many.min(40)],
                    })
                    .collect(),
                people: vec![("marit".parse().unwrap(), long("Marit", many))],
                window: ("2031-06-04T07:00".to_owned(), "2031-06-04T15:00".to_owned()),
                proposed: Some(proposed),
                trouble: None,
            }
        };
        let viewed = Self { proposed: None, picture: None, may_plan: false, ..page(1) };
        let empty = Self { proposed: None, picture: None, last: None, ..page(1) };
        vec![
            ("ordinary", page(3).body()),
            ("no run", page(0).body()),
            ("empty", empty.body()),
            ("empty, for those who only read", viewed.body()),
            ("worst case", page(16).body()),
        ]
    }
}

/// Each thing once, with the points that need it.
fn needs(runs: &[PlannedRun]) -> Markup {
    let mut by_need: BTreeMap<_, Vec<&PointCode>> = BTreeMap::new();
    for run in runs {
        for need in &run.needs {
            by_need.entry((&need.who, &need.what)).or_default().push(&run.point);
        }
    }
    html! {
        @if by_need.is_empty() { p { "Nothing." } }
        ul {
            @for ((who, what), points) in &by_need {
                li {
                    strong { (roles(who)) } ": " (what) " For "
                    @for (place, code) in points.iter().enumerate() { @if place > 0 { ", " } (code) } "."
                }
            }
        }
    }
}

fn charges(charges: &[ChargeOfDay]) -> Markup {
    html! {
        @if charges.is_empty() { p { "Nothing is charged." } } @else {
            div.wide tabindex="0" role="region" aria-label="What is charged when" {
                table {
                    caption { "What goes into the pack, by source" }
                    thead { tr { th scope="col" { "From (UTC)" } th scope="col" { "To (UTC)" } th scope="col" { "Charge" } th scope="col" { "Panels" } th scope="col" { "Ground battery" } th scope="col" { "Mains" } } }
                    tbody {
                        @for it in charges {
                            tr {
                                th scope="row" { (clock(it.from)) }
                                td { (clock(it.to)) }
                                td { (percent(it.charge_before)) " to " (percent(it.charge_after)) }
                                td { (format!("{:.1} kWh", it.from_panels_kwh)) }
                                td { (format!("{:.1} kWh", it.from_ground_battery_kwh)) }
                                td { (format!("{:.1} kWh", it.from_mains_kwh)) }
                            }
                        }
                    }
                }
            }
        }
    }
}
