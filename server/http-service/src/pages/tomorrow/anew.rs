//! The form in which a test lead gives everything that the plan of a day rests on, and what it does.

use chrono::{DateTime, NaiveTime, TimeDelta, Utc};
use maud::{Markup, html};
use programme::codes::PersonHandle;
use programme::day_plan::DayTerms;
use programme::nouns::Phase;
use serde_json::{Value, json};

use super::page;
use crate::access::PlanDays;
use crate::api;
use crate::api::day_plans::NewDayPlan;
use crate::api::heating::HeatingKnown;
use crate::desk::Answer;
use crate::given::{Given, shaped};
use crate::office::Office;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Form, settled};
use crate::pages::words::{for_field, phase as phase_word};
use crate::problem::Problem;

/// Parts that are looked at, at most.
const PARTS: usize = 8;

/// What the weather's text begins with: every column.
pub(super) const COLUMNS: &str = "from,cloud,wind_kt,gust_kt,crosswind_kt,visibility_km,cloud_base_ft,temperature_c,precipitation";
/// How the weather is written.
pub(super) const WEATHER: &str = "A line of column names, then a row for each hour. from and cloud (0 to 1) are needed; wind_kt, gust_kt, crosswind_kt, visibility_km, cloud_base_ft, temperature_c, precipitation (yes or no) where points have minima.";

/// What the form begins with.
#[derive(Debug, Clone)]
pub(super) struct Anew<'a> {
    /// The terms of the last plan of a whole day.
    pub last: Option<&'a DayTerms>,
    /// Parts that the programme's own recordings know.
    pub known: &'a [HeatingKnown],
    /// Everybody who has a role, with their name.
    pub people: &'a [(PersonHandle, String)],
    /// When the day begins and ends, as the form proposes it.
    pub window: &'a (String, String),
}

/// A part as the form begins with it.
struct Place<'a> {
    name: &'a str,
    time_constant_min: f64,
    rise_c_per_kw: f64,
    most_c: f64,
    /// What recordings know of it; absent: it was typed in.
    known: Option<&'a HeatingKnown>,
}

/// The parts that the form begins with: those that recordings know, or else those that were typed in for the last plan. How
/// warm each is at the beginning is typed for each day.
fn parts<'a>(last: Option<&'a DayTerms>, known: &'a [HeatingKnown]) -> Vec<Place<'a>> {
    if known.is_empty() {
        let typed = last.into_iter().flat_map(|last| &last.parts).map(|part| Place {
            name: &part.name,
            time_constant_min: part.time_constant_min,
            rise_c_per_kw: part.rise_c_per_kw,
            most_c: part.most_c,
            known: None,
        });
        return typed.collect();
    }
    let recorded = known.iter().map(|known| Place {
        name: &known.name,
        time_constant_min: to_hundredths(known.time_constant_min),
        rise_c_per_kw: to_hundredths(known.rise_c_per_kw),
        most_c: to_hundredths(known.most_c),
        known: Some(known),
    });
    recorded.collect()
}

/// A figure as people read it.
fn to_hundredths(figure: f64) -> f64 {
    (figure * 100.0).round() / 100.0
}

impl Anew<'_> {
    pub fn form(&self, draft: &Draft<'_>) -> Markup {
        let figure = |of: fn(&DayTerms) -> f64| self.last.map(of);
        draft.form(html! {
            fieldset {
                legend { "The day" }
                (draft.moment("from:moment", "From", "Runs can be made from then on.", &self.window.0))
                (draft.moment("to:moment", "To", "By then the last run is over.", &self.window.1))
                (draft.text_with("weather_csv", "Weather by the hour, as CSV", WEATHER, COLUMNS))
            }
            fieldset {
                legend { "The field" }
                (draft.figure_with("field.latitude_deg:number", "Latitude, north positive", "", "°", figure(|it| it.field.latitude_deg)))
                (draft.figure_with("field.longitude_deg:number", "Longitude, east positive", "", "°", figure(|it| it.field.longitude_deg)))
                (draft.figure_with("field.elevation_m:number", "Elevation", "", "m", figure(|it| it.field.elevation_m)))
            }
            (self.energy(draft))
            (self.heating(draft))
            fieldset {
                legend { "How long things take" }
                @for phase in Phase::ALL {
                    @let usual = self.last.and_then(|it| it.set_up_min.get(&phase)).map(|minutes| f64::from(*minutes));
                    (draft.figure_with(&format!("set_up_min.{phase}:count?"), &format!("Set-up before a run: {}", phase_word(phase).to_lowercase()), "", "min", usual))
                }
                (draft.figure_with("turn_round_min:count", "After a run, before anything else is done", "", "min", figure(|it| f64::from(it.turn_round_min))))
                (draft.figure_with("acceptance_min:count", "From the end of a run to where its result is accepted", "", "min", figure(|it| f64::from(it.acceptance_min))))
                (draft.figure_with("most_runs:count", "Runs of the day at most", "", "runs", figure(|it| f64::from(it.most_runs))))
            }
            fieldset {
                legend { "Who is there all the day" }
                (draft.fault_at("crew"))
                @let there = |person: &PersonHandle| self.last.is_none_or(|it| it.crew.iter().any(|member| member.person == *person));
                @for (person, name) in self.people { (draft.tick("form.crew[]", person.as_str(), html! { (name) }, there(person))) }
                @let most = self.last.and_then(|it| it.crew.first()).and_then(|it| it.most_on_board_min);
                (draft.figure_with("form.most-on-board", "On board at most, each", "Empty: no bound. Local duty and flight-time rules come first.", "min", most))
            }
            (draft.send("Propose a plan"))
        })
    }

    fn energy(&self, draft: &Draft<'_>) -> Markup {
        let figure = |of: fn(&DayTerms) -> f64| self.last.map(of);
        let panels = self.last.and_then(|it| it.charging.panels);
        let ground = self.last.and_then(|it| it.charging.ground_battery);
        let taper = self.last.into_iter().flat_map(|it| &it.pack.taper);
        let taper: Vec<String> =
            taper.map(|[state, kw]| format!("{} {kw}", in_percent(*state))).collect();
        html! {
            fieldset {
                legend { "The pack" }
                (draft.figure_with("pack.usable_kwh:number", "Usable energy from empty to full", "", "kWh", figure(|it| it.pack.usable_kwh)))
                (draft.figure("pack.state:percent", "Charge state at the beginning", "", "%"))
                (draft.figure_with("pack.least_state:percent", "What stays in it after each run", "", "%", figure(|it| it.pack.least_state).map(in_percent)))
                (draft.fault_at("pack.taper"))
                (draft.text_with("form.taper", "Charge power over charge state", "A line each: charge state in %, a blank, the most kW that the pack takes there. Empty: no bound.", &taper.join("\n")))
            }
            fieldset {
                legend { "Charging" }
                p.hint { "High voltage: only by people with the instruction for it, under local rules, with fire watch." }
                (draft.figure_with("charging.charger_kw:number", "Charger, into the pack", "0: nothing charges.", "kW", figure(|it| it.charging.charger_kw)))
                (draft.figure_with("charging.efficiency:percent", "Efficiency of the charger, from its input to the pack", "Above 10, up to 100.", "%", figure(|it| it.charging.efficiency).map(in_percent)))
                (draft.figure_with("charging.mains_kw:number", "Mains, all phases together", "One phase of 16 A at 230 V is 3.7 kW, three are 11 kW. 0: there are none.", "kW", figure(|it| it.charging.mains_kw)))
                p.hint { "Panels on the ground; empty: none." }
                (draft.figure_with("charging.panels.peak_kw:number?", "Panels: power at 1 000 W/m², cells at 25 °C", "", "kW", panels.map(|it| it.peak_kw)))
                (draft.figure_with("charging.panels.tilt_deg:number?", "Panels: tilt from level", "", "°", panels.map(|it| it.tilt_deg)))
                (draft.figure_with("charging.panels.azimuth_deg:number?", "Panels: they face, clockwise from true north", "", "°", panels.map(|it| it.azimuth_deg)))
                p.hint { "Battery on the ground; empty: none." }
                (draft.figure_with("charging.ground_battery.usable_kwh:number?", "Ground battery: from empty to full", "", "kWh", ground.map(|it| it.usable_kwh)))
                (draft.figure("charging.ground_battery.state:percent?", "Ground battery: charge state at the beginning", "", "%"))
                (draft.figure_with("charging.ground_battery.least_state:percent?", "Ground battery: what stays in it", "", "%", ground.map(|it| in_percent(it.least_state))))
                (draft.figure_with("charging.ground_battery.power_kw:number?", "Ground battery: the most that it gives or takes", "", "kW", ground.map(|it| it.power_kw)))
            }
        }
    }

    fn heating(&self, draft: &Draft<'_>) -> Markup {
        let parts = parts(self.last, self.known);
        let of_last = self.last.into_iter().flat_map(|last| &last.parts);
        let typed = of_last.filter(|part| part.rests_on.is_empty()).map(|part| part.name.as_str());
        let typed: Vec<&str> = typed.collect();
        let places = parts.iter().map(Some).chain([None]).take(PARTS).enumerate();
        html! {
            fieldset {
                legend { "Parts that runs heat, and that have to cool down" }
                p.hint {
                    "A place whose name stays empty goes."
                    @if !self.known.is_empty() && !typed.is_empty() { " Typed in for the last plan, and not here because recordings tell more: " (typed.join(", ")) "." }
                }
                (draft.hidden("parts:list", ""))
                @for (place, part) in places { (Self::part(draft, place, part)) }
            }
        }
    }

    fn part(draft: &Draft<'_>, place: usize, part: Option<&Place<'_>>) -> Markup {
        let field = |name: &str| format!("parts[{place}].{name}");
        let number = place + 1;
        let figure = |of: fn(&Place<'_>) -> f64| part.map(of);
        let listed = |numbers: &[String]| numbers.join(", ");
        html! {
            (draft.line(&field("name?"), &format!("{number}: what"), "", part.map_or("", |it| it.name)))
            @if let Some(known) = part.and_then(|it| it.known) {
                @let runs: Vec<String> = known.runs.iter().map(ToString::to_string).collect();
                @let reductions: Vec<String> = known.rests_on.iter().map(ToString::to_string).collect();
                p.hint { "Its figures are the means of runs " (listed(&runs)) ", as their recordings show. Typed over, they are yours: take the tick away." }
                (draft.tick(&field(RESTS_ON), &reductions.join(" "), html! { "Rests on reductions " (listed(&reductions)) }, true))
            }
            div.beside {
                (draft.figure_with(&field("time_constant_min:number?"), &format!("{number}: time in which a difference falls to 37 %"), "", "min", figure(|it| it.time_constant_min)))
                (draft.figure_with(&field("rise_c_per_kw:number?"), &format!("{number}: rise over the air in the long run"), "", "°C/kW", figure(|it| it.rise_c_per_kw)))
                (draft.figure(&field("begins_c:number?"), &format!("{number}: how warm at the beginning"), "", "°C"))
                (draft.figure_with(&field("most_c:number?"), &format!("{number}: how warm it may become"), "", "°C", figure(|it| it.most_c)))
            }
        }
    }
}

/// Of a hundred, without what the binary fraction adds far behind the point.
fn in_percent(of_one: f64) -> f64 {
    (of_one * 1e11).round() / 1e9
}

/// The field of a part's reductions, all in one line.
const RESTS_ON: &str = "rests-on-in-a-line?";

/// The body of the API from the fields of the form.
fn terms(form: &Form) -> Result<Given<NewDayPlan>, Problem> {
    let mut taken = form.clone().without(|name| name.ends_with(RESTS_ON) || name == "weather_csv");
    for place in 0..PARTS {
        for number in form.text(&format!("parts[{place}].{RESTS_ON}")).split_whitespace() {
            taken.put(&format!("parts[{place}].rests_on[]:count"), number.to_owned());
        }
    }
    for (row, line) in
        form.text("form.taper").lines().filter(|it| !it.trim().is_empty()).enumerate()
    {
        for (column, figure) in line.split_whitespace().enumerate() {
            let reading = if column == 0 { "percent" } else { "number" };
            taken.put(&format!("pack.taper[{row}].{column}:{reading}"), figure.to_owned());
        }
    }
    let most = form.text("form.most-on-board").trim();
    if !most.is_empty() {
        taken.put("most_on_board_min:number", most.to_owned());
    }
    let Given { mut body, asked }: Given<Value> = taken.given()?;
    let most = body.as_object_mut().and_then(|body| body.remove("most_on_board_min"));
    // Rows of the taper are pairs.
    if let Some(rows) = body.pointer_mut("/pack/taper").and_then(Value::as_array_mut) {
        for row in rows {
            let figures = row.as_object().into_iter().flat_map(|row| row.values().cloned());
            *row = Value::Array(figures.collect());
        }
    }
    let crew = form.texts("form.crew[]").into_iter().map(|person| {
        let mut member = json!({ "person": person, "from": body["from"], "to": body["to"] });
        if let Some(most) = &most {
            member["most_on_board_min"] = most.clone();
        }
        member
    });
    let crew: Vec<Value> = crew.collect();
    body["crew"] = Value::Array(crew);
    let weather_csv = Some(form.text("weather_csv").to_owned());
    Ok(Given { body: NewDayPlan { terms: shaped(body)?, weather_csv }, asked })
}

/// Proposes a plan for a day of which everything was given.
pub(crate) async fn plan_anew(member: Member<PlanDays>, form: Form, office: Office) -> Answer {
    // An empty place between filled ones is no place of the list.
    let (form, filled) = form.filled_first("parts", "name?");
    let acted = async {
        api::day_plans::propose(member.permitted.clone(), terms(&filled)?, office.clone()).await
    }
    .await;
    settled(acted, form, &member.place("/tomorrow"), async |trouble| {
        page(&office, &member, None, None, Some(trouble)).await
    })
    .await
}

/// A window of eight hours from the next morning on, for a first form.
pub(super) fn next_morning(now: DateTime<Utc>) -> (String, String) {
    let morning = now.date_naive().and_time(NaiveTime::MIN).and_utc() + TimeDelta::days(1);
    let at = |hours: i64| for_field(morning + TimeDelta::hours(hours));
    (at(7), at(15))
}
