//! What a programme has decided about predictions: of what, how far models may be trusted, and what must be left.

use flight_science::reserve::Reserve;
use quantities::{Duration, Power};
use serde::{Deserialize, Serialize};

use crate::codes::{ItemCode, LimitCode};
use crate::measure::{Kind, Measure, Unit};
use crate::nouns::Phase;
use crate::nouns::judging::Judging;

/// Kinds of prediction.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    PartialOrd,
    Ord,
    Serialize,
    Deserialize,
    utoipa::ToSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum PredictionKind {
    /// The temperature of a component at the end of the planned time at power.
    Temperature,
    /// Energy out of the pack.
    Energy,
    /// Energy left at landing.
    LandingEnergy,
    /// Damping at the planned speed.
    Damping,
}

impl PredictionKind {
    /// Every kind.
    pub const ALL: [PredictionKind; 4] = [
        PredictionKind::Temperature,
        PredictionKind::Energy,
        PredictionKind::LandingEnergy,
        PredictionKind::Damping,
    ];

    /// The kind in words.
    pub const fn in_words(self) -> &'static str {
        match self {
            PredictionKind::Temperature => "component temperature",
            PredictionKind::Energy => "energy",
            PredictionKind::LandingEnergy => "energy at landing",
            PredictionKind::Damping => "damping",
        }
    }
}

/// A kind of prediction without which a point is held.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DemandedPrediction {
    /// Which kind.
    pub kind: PredictionKind,
    /// For points of these phases; none: of all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub phases: Vec<Phase>,
}

/// How long what is left at landing must last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ReserveRule {
    /// 10 minutes, for flights that stay in sight of the field: Part-NCO, NCO.OP.125.
    InSightOfField,
    /// 30 minutes, for flights that leave it, by day: Part-NCO, NCO.OP.125; 14 CFR 91.151(a)(1).
    ByDay,
    /// 45 minutes, by night: Part-NCO, NCO.OP.125; 14 CFR 91.151(a)(2).
    ByNight,
}

impl ReserveRule {
    /// How long, in minutes.
    pub const fn minutes(self) -> f64 {
        match self {
            ReserveRule::InSightOfField => 10.0,
            ReserveRule::ByDay => 30.0,
            ReserveRule::ByNight => 45.0,
        }
    }
}

/// What must be left at landing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LandingReserve {
    /// For flights of these phases; none: of all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub phases: Vec<Phase>,
    /// How long it must last.
    pub rule: ReserveRule,
    /// At which power: the maximum continuous one, or that of normal cruise, as the rule has it.
    pub power: Measure,
    /// Where the rule and the power come from.
    pub source: String,
}

impl LandingReserve {
    /// The reserve; absent where its power is no power.
    pub fn reserve(&self) -> Option<Reserve> {
        let power = self.power.in_unit(Unit::Kilowatt)?;
        Some(Reserve::Time {
            time: Duration::from_minutes(self.rule.minutes()),
            power: Power::from_kilowatts(power),
        })
    }
}

/// The most power that the pack gives at one charge state and temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PowerAvailable {
    /// Charge state, per cent.
    pub charge_percent: f64,
    /// Temperature of the pack.
    pub pack_temperature: Measure,
    /// The power.
    pub power: Measure,
}

/// What the pack must be able to give at take-off, and what it can.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TakeOffPower {
    /// The power that a take-off and a climb away need.
    pub needed: Measure,
    /// What the pack gives, at every charge state that is told for every temperature that is told.
    pub available: Vec<PowerAvailable>,
    /// Where the figures come from.
    pub source: String,
}

/// A component whose temperature is predicted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PredictedComponent {
    /// The limit that it must not reach: a maximum of a temperature.
    pub limit: LimitCode,
    /// Items that its heating depends on: what was recorded with another version of one says nothing of it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub depends_on: Vec<ItemCode>,
}

/// What a programme has decided about predictions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PredictionRules {
    /// Components whose temperatures are predicted.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub components: Vec<PredictedComponent>,
    /// Kinds without which points are held.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub demanded: Vec<DemandedPrediction>,
    /// By how much the models are taken to be wrong from run to run before runs have shown it, as standard deviation in per
    /// cent of what is predicted.
    pub model_error_percent: f64,
    /// How many runs that judgement is worth; the more, the slower runs change it.
    pub model_error_runs: u32,
    /// How far below its limit the upper end of a predicted temperature must stay, as a difference of temperatures.
    pub temperature_margin: Measure,
    /// Elevation of the field, from which the hot day follows where a point says no altitude.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub field_elevation: Option<Measure>,
    /// What the full pack gives as it is now.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub usable_energy: Option<Measure>,
    /// Charge state at take-off where nobody has read it yet and the point says none, per cent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub take_off_charge_percent: Option<f64>,
    /// What must be left at landing; of several that concern a flight the greatest counts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reserves: Vec<LandingReserve>,
    /// From this speed on a person judges the damping before each step beyond what was shown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub damping_judged_from: Option<Measure>,
    /// The least damping that the lower end of a prediction may come to, in per cent of critical.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub least_damping_percent: Option<f64>,
    /// What the pack must give at take-off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub take_off_power: Option<TakeOffPower>,
    /// Where margins and model error come from.
    pub source: String,
}

impl PredictionRules {
    /// Whether points of a phase are held without a kind of prediction.
    pub fn demands(&self, kind: PredictionKind, phase: Phase) -> bool {
        let mut demanded = self.demanded.iter().filter(|demanded| demanded.kind == kind);
        demanded.any(|it| it.phases.is_empty() || it.phases.contains(&phase))
    }

    pub(super) fn judge(&self, judging: &mut Judging<'_>) {
        let at = |field: &str| format!("predictions.{field}");
        let limits: Vec<&LimitCode> = self.components.iter().map(|it| &it.limit).collect();
        judging.no_repeats(&at("components"), &limits);
        for (place, component) in self.components.iter().enumerate() {
            let field = at(&format!("components[{place}].depends_on"));
            judging.no_repeats(&field, &component.depends_on);
        }
        for (place, demanded) in self.demanded.iter().enumerate() {
            judging.no_repeats(&at(&format!("demanded[{place}].phases")), &demanded.phases);
        }
        judging.must(
            self.model_error_percent > 0.0 && self.model_error_percent <= 100.0,
            &at("model_error_percent"),
            "must be above 0 and at most 100 per cent: no model is without error",
        );
        judging.must(
            (1..=1000).contains(&self.model_error_runs),
            &at("model_error_runs"),
            "must be from 1 to 1000 runs",
        );
        judging.measure_not_negative(
            &at("temperature_margin"),
            self.temperature_margin,
            Kind::TemperatureDifference,
        );
        if let Some(elevation) = self.field_elevation {
            judging.measure(&at("field_elevation"), elevation, Kind::Length);
        }
        if let Some(energy) = self.usable_energy {
            judging.measure_positive(&at("usable_energy"), energy, Kind::Energy);
        }
        if let Some(charge) = self.take_off_charge_percent {
            is_charge(charge, &at("take_off_charge_percent"), judging);
        }
        for (place, reserve) in self.reserves.iter().enumerate() {
            let at = |field: &str| format!("predictions.reserves[{place}].{field}");
            judging.no_repeats(&at("phases"), &reserve.phases);
            judging.measure_positive(&at("power"), reserve.power, Kind::Power);
            judging.text(&at("source"), &reserve.source);
        }
        if let Some(speed) = self.damping_judged_from {
            judging.measure_not_negative(&at("damping_judged_from"), speed, Kind::Speed);
        }
        if let Some(damping) = self.least_damping_percent {
            judging.not_negative(&at("least_damping_percent"), damping);
        }
        if let Some(take_off) = &self.take_off_power {
            take_off.judge(&at("take_off_power"), judging);
        }
        judging.text(&at("source"), &self.source);
    }
}

fn is_charge(percent: f64, field: &str, judging: &mut Judging<'_>) {
    let fits = (0.0..=100.0).contains(&percent);
    judging.must(fits, field, format!("must be from 0 to 100 per cent, and {percent} was given"));
}

impl TakeOffPower {
    fn judge(&self, at: &str, judging: &mut Judging<'_>) {
        judging.measure_positive(&format!("{at}.needed"), self.needed, Kind::Power);
        judging.must(
            self.available.len() >= 2,
            &format!("{at}.available"),
            "must tell at least two charge states",
        );
        for (place, told) in self.available.iter().enumerate() {
            let field = |name: &str| format!("{at}.available[{place}].{name}");
            is_charge(told.charge_percent, &field("charge_percent"), judging);
            judging.measure(&field("pack_temperature"), told.pack_temperature, Kind::Temperature);
            judging.measure_not_negative(&field("power"), told.power, Kind::Power);
        }
        judging.text(&format!("{at}.source"), &self.source);
    }
}
