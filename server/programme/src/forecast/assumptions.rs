//! What the lead assumes, typed in.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::remaining::Remaining;
use super::spread::Spread;
use crate::codes::PointCode;
use crate::nouns::Phase;
use crate::refusal::Fault;

/// A day of the week.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema,
)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum Weekday {
    Monday,
    Tuesday,
    Wednesday,
    Thursday,
    Friday,
    Saturday,
    Sunday,
}

impl Weekday {
    /// All of them, as the week has them.
    pub const ALL: [Self; 7] = [
        Self::Monday,
        Self::Tuesday,
        Self::Wednesday,
        Self::Thursday,
        Self::Friday,
        Self::Saturday,
        Self::Sunday,
    ];

    /// The day as written.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Monday => "monday",
            Self::Tuesday => "tuesday",
            Self::Wednesday => "wednesday",
            Self::Thursday => "thursday",
            Self::Friday => "friday",
            Self::Saturday => "saturday",
            Self::Sunday => "sunday",
        }
    }
}

/// What was thought of repeats before there were results: as if so many runs had been repeated and so many had not.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RepeatPrior {
    /// Runs that had to be repeated; at least 0.5.
    pub repeated: f64,
    /// Runs that showed what they were for; at least 0.5.
    pub shown: f64,
}

/// On what share of days the weather does, from January to December.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UsableWeather {
    /// For runs on the ground.
    pub ground: Vec<f64>,
    /// For flights. A day that does for a flight does for a run on the ground.
    pub flight: Vec<f64>,
}

/// Something that has to come before points can be run: a part, a permit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Delivery {
    /// What it is.
    pub what: String,
    /// The date if all goes well.
    pub best: NaiveDate,
    /// The most likely date.
    pub likely: NaiveDate,
    /// The date if much goes wrong.
    pub worst: NaiveDate,
    /// Phases that wait for it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub phases: Vec<Phase>,
    /// Points that wait for it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub points: Vec<PointCode>,
}

/// All that a forecast rests on, besides the ladder and its results.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Assumptions {
    /// The first day of the forecast.
    pub starts: NaiveDate,
    /// Working days from a run to where its result is accepted, or to where it can be repeated; by phase.
    pub days: BTreeMap<Phase, Spread>,
    /// The same for single points, in place of their phase's.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub days_of: BTreeMap<PointCode, Spread>,
    /// Chance that a run has to be repeated, before results are looked at; by phase.
    pub repeats: BTreeMap<Phase, RepeatPrior>,
    /// On which days of the week the team works.
    pub works_on: BTreeSet<Weekday>,
    /// Single days on which it does not.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub days_off: BTreeSet<NaiveDate>,
    /// How often the weather will do.
    pub weather: UsableWeather,
    /// The most runs that crew and turn-round allow in a day.
    pub runs_a_day: u32,
    /// The most energy that pack and charging give in a day, in kilowatt-hours; absent: no bound.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub energy_a_day_kwh: Option<f64>,
    /// What has to come.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub deliveries: Vec<Delivery>,
}

impl Assumptions {
    /// The days that a point takes.
    pub(super) fn days_of(&self, code: &PointCode, phase: Phase) -> Option<&Spread> {
        self.days_of.get(code).or_else(|| self.days.get(&phase))
    }

    /// Everything that is wrong with the assumptions for these remaining points; empty where nothing is.
    pub fn faults(&self, remaining: &Remaining) -> Vec<Fault> {
        let mut faults = Vec::new();
        let mut fault = |field: String, why: String| faults.push(Fault::at(&field, &why));
        for (phase, spread) in &self.days {
            if let Some(why) = spread.fault() {
                fault(format!("days.{phase}"), why);
            }
        }
        for (code, spread) in &self.days_of {
            if let Some(why) = spread.fault() {
                fault(format!("days_of.{code}"), why);
            }
        }
        for (phase, prior) in &self.repeats {
            let possible = |runs: f64| (0.5..=10_000.0).contains(&runs);
            if !possible(prior.repeated) || !possible(prior.shown) {
                let why = format!(
                    "has {} repeated and {} shown; each must be from 0.5 to 10 000",
                    prior.repeated, prior.shown
                );
                fault(format!("repeats.{phase}"), why);
            }
        }
        if self.works_on.is_empty() {
            fault(
                "works_on".into(),
                "names no day of the week; with no working day nothing is ever flown".into(),
            );
        }
        for (name, months) in [("ground", &self.weather.ground), ("flight", &self.weather.flight)] {
            let field = format!("weather.{name}");
            if months.len() != 12 {
                fault(field, format!("has {} months; 12 are wanted, from January", months.len()));
            } else if let Some(share) = months.iter().find(|share| !(0.0..=1.0).contains(*share)) {
                fault(field, format!("has a share of {share}; each must be from 0 to 1"));
            } else if months.iter().all(|share| *share == 0.0)
                && remaining.steps.iter().any(|step| name == "ground" || step.phase.is_flight())
            {
                fault(field, "has no month in which the weather ever does; points that wait for it would never be run".into());
            }
        }
        if !(1..=50).contains(&self.runs_a_day) {
            fault("runs_a_day".into(), format!("is {}; it must be from 1 to 50", self.runs_a_day));
        }
        if let Some(energy_kwh) = self.energy_a_day_kwh {
            if !(energy_kwh > 0.0 && energy_kwh <= 100_000.0) {
                fault(
                    "energy_a_day_kwh".into(),
                    format!("is {energy_kwh}; it must be above 0, up to 100 000"),
                );
            } else {
                for step in
                    remaining.steps.iter().filter(|step| step.energy_kwh > energy_kwh).take(20)
                {
                    fault(
                        "energy_a_day_kwh".into(),
                        format!(
                            "is {energy_kwh}, less than point {} draws in one run ({} kWh); it could never be run",
                            step.code, step.energy_kwh
                        ),
                    );
                }
            }
        }
        for (index, delivery) in self.deliveries.iter().enumerate() {
            if !(delivery.best <= delivery.likely && delivery.likely <= delivery.worst) {
                fault(
                    format!("deliveries[{index}]"),
                    format!(
                        "has {}, {}, {}; best, likely and worst must go up",
                        delivery.best, delivery.likely, delivery.worst
                    ),
                );
            }
            for code in &delivery.points {
                if !remaining.known.contains(code) {
                    fault(
                        format!("deliveries[{index}].points"),
                        format!("names {code}, which is no point of the programme"),
                    );
                }
            }
        }
        let mut missing: BTreeSet<(&str, Phase)> = BTreeSet::new();
        for step in &remaining.steps {
            if self.days_of(&step.code, step.phase).is_none() {
                missing.insert(("days", step.phase));
            }
            if !self.repeats.contains_key(&step.phase) {
                missing.insert(("repeats", step.phase));
            }
        }
        for (field, phase) in missing {
            fault(format!("{field}.{phase}"), "is missing, and points of this phase remain".into());
        }
        faults
    }
}
