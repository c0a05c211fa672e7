//! The form in which a test lead says what forecasts rest on, and what it does.

use std::collections::BTreeMap;

use chrono::Month;
use maud::{Markup, html};
use programme::forecast::{Assumptions, Delivery, Spread, ThreePoint, Weekday};
use programme::nouns::Phase;
use programme::progress::working_days_to_acceptance;
use serde_json::{Value, json};

use super::page;
use crate::access::Forecast;
use crate::api;
use crate::desk::Answer;
use crate::given::{Given, shaped};
use crate::office::Office;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Form, settled};
use crate::pages::words::phase as phase_word;
use crate::problem::{Problem, capitalised};

/// Empty places for more deliveries.
const MORE: usize = 2;
/// Deliveries of a form at most; the API takes more.
const MOST: usize = 50;

/// What the form begins with.
#[derive(Debug, Clone)]
pub(super) struct Assuming<'a> {
    /// What was assumed last, if anything.
    pub assumed: Option<&'a Assumptions>,
    /// The first day, as a new form proposes it.
    pub today: String,
    /// Phases with points that are still to be shown; they need their durations and repeats.
    pub remaining: Vec<Phase>,
    /// Working days from a run to the acceptance of its result, by phase.
    pub history: &'a BTreeMap<Phase, Vec<f64>>,
}

impl Assuming<'_> {
    pub fn form(&self, draft: &Draft<'_>) -> Markup {
        let works = |day: &Weekday| self.assumed.is_some_and(|it| it.works_on.contains(day));
        draft.form(html! {
            (draft.day("starts", "First day of the forecast", "", &self.today))
            fieldset {
                legend { "Days on which the team works" }
                (draft.fault_at("works_on"))
                (draft.hidden("works_on:list", ""))
                @for day in &Weekday::ALL { (draft.tick("works_on[]", day.as_str(), html! { (capitalised(day.as_str())) }, works(day))) }
                (draft.line("form.days_off", "Single days on which it does not", "As 2026-12-24, with blanks between.", &self.days_off()))
            }
            @for phase in Phase::ALL { (self.phase(draft, phase)) }
            (self.weather(draft))
            fieldset {
                legend { "The aircraft" }
                (draft.figure_with("runs_a_day:count", "Runs a day at most", "What crew and turn-round allow.", "runs", self.assumed.map(|it| f64::from(it.runs_a_day))))
                (draft.figure_with("energy_a_day_kwh:number?", "Energy a day at most", "What pack and charging give. Empty: no bound.", "kWh", self.assumed.and_then(|it| it.energy_a_day_kwh)))
            }
            (self.deliveries(draft))
            @if let Some(single) = self.assumed.map(|it| &it.days_of).filter(|single| !single.is_empty()) {
                p { "Durations of single points stay as they are: " (single.keys().map(ToString::to_string).collect::<Vec<_>>().join(", ")) "." }
            }
            (draft.send("Let forecasts rest on this"))
        })
    }

    fn days_off(&self) -> String {
        let days = self.assumed.into_iter().flat_map(|it| &it.days_off);
        days.map(ToString::to_string).collect::<Vec<_>>().join(" ")
    }

    fn phase(&self, draft: &Draft<'_>, phase: Phase) -> Markup {
        let spread = self.assumed.and_then(|it| it.days.get(&phase));
        let three = match spread {
            Some(Spread::ThreePoint(three)) => Some(*three),
            Some(Spread::History(_)) | None => None,
        };
        let figure = |of: fn(&ThreePoint) -> f64| three.as_ref().map(of);
        let prior = self.assumed.and_then(|it| it.repeats.get(&phase));
        let history = self.history.get(&phase).map_or(&[][..], Vec::as_slice);
        let by_history = matches!(spread, Some(Spread::History(_)));
        let days = |name: &str| format!("days.{phase}.three-point.{name}:number?");
        html! {
            fieldset {
                legend { (phase_word(phase)) }
                @if !self.remaining.contains(&phase) { p.hint { "No point of it is left; it may stay empty." } }
                (draft.fault_at(&format!("days.{phase}")))
                p.hint { "From a run to where its result is accepted, or to where it can be repeated." }
                div.beside {
                (draft.figure_with(&days("best"), "If all goes well", "", "working days", figure(|it| it.best)))
                (draft.figure_with(&days("likely"), "Most likely", "", "working days", figure(|it| it.likely)))
                (draft.figure_with(&days("worst"), "If much goes wrong", "", "working days", figure(|it| it.worst)))
                }
                @if !history.is_empty() {
                    (draft.tick("form.history[]", phase.as_str(), html! {
                        "Instead, as the programme's own " (history.len()) " accepted results took: "
                        (history.iter().map(|days| format!("{days}")).collect::<Vec<_>>().join(", ")) " working days"
                    }, by_history))
                }
                (draft.fault_at(&format!("repeats.{phase}")))
                p.hint { "Repeats, before results are looked at: as if so many runs had been repeated and so many had shown what they were for. The programme's own results are added." }
                div.beside {
                (draft.figure_with(&format!("repeats.{phase}.repeated:number?"), "Repeated", "", "runs", prior.map(|it| it.repeated)))
                (draft.figure_with(&format!("repeats.{phase}.shown:number?"), "Shown", "", "runs", prior.map(|it| it.shown)))
                }
            }
        }
    }

    fn weather(&self, draft: &Draft<'_>) -> Markup {
        let share = |of: fn(&Assumptions) -> &Vec<f64>, month: usize| {
            self.assumed.and_then(|it| of(it).get(month).copied())
        };
        html! {
            fieldset {
                legend { "Weather: on what share of days it does, from 0 to 1" }
                (draft.fault_at("weather.ground"))
                (draft.fault_at("weather.flight"))
                div.beside { @for (month, name) in (1..=12).filter_map(|month| Month::try_from(month).ok()).map(|month| month.name()).enumerate() {
                    (draft.figure_with(&format!("weather.ground[{month}]:number"), &format!("{name}, ground"), "", "of days", share(|it| &it.weather.ground, month)))
                    (draft.figure_with(&format!("weather.flight[{month}]:number"), &format!("{name}, flights"), "", "of days", share(|it| &it.weather.flight, month)))
                } }
            }
        }
    }

    fn deliveries(&self, draft: &Draft<'_>) -> Markup {
        let known = self.assumed.map_or(&[][..], |it| &it.deliveries);
        let places = known.iter().map(Some).chain(std::iter::repeat_n(None, MORE)).take(MOST);
        html! {
            fieldset {
                legend { "What has to come first: parts, permits" }
                p.hint { "A place whose name stays empty goes." }
                (draft.hidden("deliveries:list", ""))
                @for (place, delivery) in places.enumerate() { (Self::delivery(draft, place, delivery)) }
            }
        }
    }

    fn delivery(draft: &Draft<'_>, place: usize, delivery: Option<&Delivery>) -> Markup {
        let field = |name: &str| format!("deliveries[{place}].{name}");
        let of = |date: fn(&Delivery) -> chrono::NaiveDate| {
            delivery.map(|it| date(it).to_string()).unwrap_or_default()
        };
        let points = delivery.into_iter().flat_map(|it| &it.points);
        let points = points.map(ToString::to_string).collect::<Vec<_>>().join(" ");
        let number = place + 1;
        html! {
            (draft.fault_at(&format!("deliveries[{place}]")))
            (draft.line(&field("what?"), &format!("{number}: what"), "", delivery.map_or("", |it| &it.what)))
            (draft.day(&field("best?"), &format!("{number}: if all goes well"), "", &of(|it| it.best)))
            (draft.day(&field("likely?"), &format!("{number}: most likely"), "", &of(|it| it.likely)))
            (draft.day(&field("worst?"), &format!("{number}: if much goes wrong"), "", &of(|it| it.worst)))
            p.hint { (number) ": these wait for it" }
            @for phase in Phase::ALL {
                (draft.tick(&field("phases[]"), phase.as_str(), html! { (phase_word(phase)) }, delivery.is_some_and(|it| it.phases.contains(&phase))))
            }
            (draft.line(&field(POINTS), &format!("{number}: points that wait for it"), "As GR-04 TX-01, with blanks between.", &points))
        }
    }
}

/// The field of a delivery's points, all in one line.
const POINTS: &str = "points-in-a-line?";

/// Words of a line: with blanks, commas or semicolons between.
fn words(line: &str) -> impl Iterator<Item = &str> {
    line.split(|letter: char| letter.is_whitespace() || letter == ',' || letter == ';')
        .filter(|word| !word.is_empty())
}

/// The body of the API from the fields of the form.
fn assumptions(
    form: &Form,
    history: &BTreeMap<Phase, Vec<f64>>,
    before: Option<&Assumptions>,
) -> Result<Given<Assumptions>, Problem> {
    let by_history: Vec<Phase> = Phase::ALL
        .into_iter()
        .filter(|phase| form.texts("form.history[]").contains(&phase.as_str()))
        .collect();
    let mut taken = form.clone().without(|name| {
        let of = |phase: &Phase| name.starts_with(&format!("days.{phase}."));
        by_history.iter().any(of) || name.ends_with(POINTS)
    });
    for day in words(form.text("form.days_off")) {
        taken.put("days_off[]", day.to_owned());
    }
    for place in 0..MOST {
        for code in words(form.text(&format!("deliveries[{place}].{POINTS}"))) {
            taken.put(&format!("deliveries[{place}].points[]"), code.to_owned());
        }
    }
    let Given { mut body, asked }: Given<Value> = taken.given()?;
    // Nothing was typed for any phase.
    for name in ["days", "repeats"] {
        body.as_object_mut().map(|body| body.entry(name).or_insert_with(|| json!({})));
    }
    for phase in by_history {
        body["days"][phase.as_str()] =
            json!({ "history": history.get(&phase).cloned().unwrap_or_default() });
    }
    if let Some(before) = before.filter(|before| !before.days_of.is_empty()) {
        body["days_of"] = json!(before.days_of);
    }
    Ok(Given { body: shaped(body)?, asked })
}

/// Lets forecasts rest on what was given.
pub(crate) async fn assume(member: Member<Forecast>, form: Form, office: Office) -> Answer {
    // An empty place between filled ones is no place of the list.
    let (form, filled) = form.filled_first("deliveries", "what?");
    let acted = async {
        let (history, before) = member
            .look(&office, |view| {
                let assumed = view.state.planning.assumed.as_ref();
                let before = assumed.map(|it| it.assumptions.clone());
                Ok((working_days_to_acceptance(view.state), before))
            })
            .await?;
        let given = assumptions(&filled, &history, before.as_ref())?;
        api::forecast_assumptions::assume(member.permitted.clone(), given, office.clone()).await
    }
    .await;
    settled(acted, form, &member.place("/forecast"), async |trouble| {
        page(&office, &member, None, Some(trouble)).await
    })
    .await
}
