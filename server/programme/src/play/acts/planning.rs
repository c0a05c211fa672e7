//! Forecasts and plans of days, as a story gives them.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::AtomicBool;

use chrono::TimeDelta;
use serde::Deserialize;

use super::super::words::{Figure, When};
use super::{Given, Scene};
use crate::codes::{DayPlanNumber, PersonHandle, PointCode};
use crate::commands::{
    self, AssumeForecast, MakeForecast, ProposeDayPlan, TrialTerms, critical_of, decide,
    draw_forecast, grounds_of,
};
use crate::day_plan::{
    AgainTerms, ChargingOfDay, CrewOfDay, DayProblem, DayTerms, Field, HeatingPart, HourOfWeather,
    PackOfDay, rest_of_day,
};
use crate::entry::Draft;
use crate::forecast::{Assumptions, Delivery, RepeatPrior, Spread, UsableWeather, Weekday};
use crate::nouns::{Phase, WeatherObservation};
use crate::refusal::Refusal;

/// A delivery, its dates told from the day of now.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct Awaited {
    what: String,
    best: When,
    likely: When,
    worst: When,
    #[serde(default)]
    phases: Vec<Phase>,
    #[serde(default)]
    points: Vec<PointCode>,
}

/// Assumes what forecasts rest on, from the day of the act.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct Assume {
    days: BTreeMap<Phase, Spread>,
    repeats: BTreeMap<Phase, RepeatPrior>,
    works_on: BTreeSet<Weekday>,
    weather: UsableWeather,
    runs_a_day: u32,
    #[serde(default)]
    energy_a_day_kwh: Option<f64>,
    #[serde(default)]
    deliveries: Vec<Awaited>,
}

impl Given for Assume {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let date = |when: &When| when.from(scene.now).date_naive();
        let deliveries = self.deliveries.iter().map(|awaited| Delivery {
            what: awaited.what.clone(),
            best: date(&awaited.best),
            likely: date(&awaited.likely),
            worst: date(&awaited.worst),
            phases: awaited.phases.clone(),
            points: awaited.points.clone(),
        });
        let assumptions = Assumptions {
            starts: scene.day,
            days: self.days.clone(),
            days_of: BTreeMap::new(),
            repeats: self.repeats.clone(),
            works_on: self.works_on.clone(),
            days_off: BTreeSet::new(),
            weather: self.weather.clone(),
            runs_a_day: self.runs_a_day,
            energy_a_day_kwh: self.energy_a_day_kwh,
            deliveries: deliveries.collect(),
        };
        decide(scene.state, &AssumeForecast { assumptions }, scene.stamp)
    }
}

/// Makes a forecast.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct Forecast {
    trials: u32,
    seed: u32,
}

impl Given for Forecast {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let terms = TrialTerms { trials: self.trials, seed: self.seed };
        let grounds = grounds_of(scene.state)?;
        let drawn = draw_forecast(grounds, terms, &AtomicBool::new(false))?;
        decide(scene.state, &MakeForecast { drawn }, scene.stamp)
    }
}

/// Weather as it is expected all day.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct Expected {
    cloud: f64,
    wind: Figure,
    gust: Figure,
    crosswind: Figure,
    visibility: Figure,
    cloud_base: Figure,
    /// By the hour, from the first of the window on; the last one holds for the rest.
    temperatures_c: Vec<f64>,
}

impl Expected {
    fn hour(&self, hour: usize) -> WeatherObservation {
        let warm = self.temperatures_c.get(hour).or(self.temperatures_c.last());
        WeatherObservation {
            wind: Some(self.wind.0),
            gust: Some(self.gust.0),
            crosswind: Some(self.crosswind.0),
            visibility: Some(self.visibility.0),
            cloud_base: Some(self.cloud_base.0),
            temperature: warm
                .map(|warm_c| crate::measure::Measure::new(*warm_c, crate::measure::Unit::Celsius)),
            precipitation: Some(false),
            ..WeatherObservation::default()
        }
    }
}

/// Proposes a plan for a day.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct PlanDay {
    from: When,
    to: When,
    field: Field,
    weather: Expected,
    pack: PackOfDay,
    charging: ChargingOfDay,
    #[serde(default)]
    parts: Vec<HeatingPart>,
    #[serde(default)]
    set_up_min: BTreeMap<Phase, u32>,
    turn_round_min: u32,
    acceptance_min: u32,
    crew: Vec<PersonHandle>,
    most_on_board_min: f64,
    most_runs: u32,
    #[serde(default)]
    priorities: BTreeMap<PointCode, f64>,
}

impl Given for PlanDay {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let (from, to) = (self.from.from(scene.now), self.to.from(scene.now));
        let hours = usize::try_from((to - from).num_hours()).unwrap_or(0);
        let weather = (0..=hours).map(|hour| HourOfWeather {
            from: from + TimeDelta::hours(i64::try_from(hour).unwrap_or(0)),
            cloud: self.weather.cloud,
            weather: self.weather.hour(hour),
        });
        let crew = self.crew.iter().map(|person| CrewOfDay {
            person: person.clone(),
            from,
            to,
            most_on_board_min: Some(self.most_on_board_min),
        });
        let terms = DayTerms {
            from,
            to,
            field: self.field,
            weather: weather.collect(),
            pack: self.pack.clone(),
            charging: self.charging.clone(),
            parts: self.parts.clone(),
            set_up_min: self.set_up_min.clone(),
            turn_round_min: self.turn_round_min,
            acceptance_min: self.acceptance_min,
            crew: crew.collect(),
            most_runs: self.most_runs,
            priorities: self.priorities.clone(),
            without: BTreeSet::new(),
        };
        proposed(terms, None, scene)
    }
}

/// Plans the rest of the day anew whose plan was proposed last.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct Replan {
    from: When,
    /// Charge state, 0 to 1.
    charge: f64,
    without: BTreeSet<PointCode>,
}

impl Given for Replan {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let given = AgainTerms {
            from: self.from.from(scene.now),
            state: self.charge,
            ground_state: None,
            parts_c: BTreeMap::new(),
            without: self.without.clone(),
        };
        let Some(before) = scene.state.planning.days.last() else { return Ok(Vec::new()) };
        let terms = rest_of_day(scene.state, before, &given)
            .map_err(|faults| Refusal::Invalid { faults })?;
        proposed(terms, Some(before.number), scene)
    }
}

fn proposed(
    terms: DayTerms,
    replaces: Option<DayPlanNumber>,
    scene: &Scene<'_>,
) -> Result<Vec<Draft>, Refusal> {
    let problem = DayProblem::of(scene.state, &terms, &critical_of(scene.state))?;
    let day = problem.clone().plan(&AtomicBool::new(false))?;
    let command = ProposeDayPlan { replaces, terms, problem, day };
    commands::decide(scene.state, &command, scene.stamp)
}
