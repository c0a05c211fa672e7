//! What a programme has decided for itself: risk matrix, steps, totals to reach, ages.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use crate::codes::LimitCode;
use crate::envelope::Pair;
use crate::measure::{Kind, Measure, Unit};
use crate::nouns::judging::Judging;
use crate::nouns::{Aircraft, Axis, Phase, PredictionRules, QuarantineRule, RiskMatrix};
use crate::refusal::Fault;

/// Which way along an axis is the more demanding one.
#[derive(
    Debug,
    Clone,
    Copy,
    Default,
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
pub enum Direction {
    /// More is more demanding.
    #[default]
    Up,
    /// Less is more demanding: slower towards the stall, a lower charge state, a centre of gravity further ahead.
    Down,
}

impl Direction {
    /// Both.
    pub const ALL: [Direction; 2] = [Direction::Up, Direction::Down];

    /// A figure on a scale on which more is always more demanding. Done twice it gives the figure back.
    pub(crate) const fn demand(self, figure: f64) -> f64 {
        match self {
            Direction::Up => figure,
            Direction::Down => -figure,
        }
    }

    const fn is_up(&self) -> bool {
        matches!(self, Direction::Up)
    }
}

/// A figure of the aircraft that rules can be a share of.
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
pub enum DesignFigure {
    /// The greatest speed that it may ever be flown at.
    NeverExceedSpeed,
    /// The greatest take-off mass.
    MaximumMass,
}

impl DesignFigure {
    /// Every figure.
    pub const ALL: [DesignFigure; 2] = [DesignFigure::NeverExceedSpeed, DesignFigure::MaximumMass];

    /// What it is called.
    pub const fn in_words(self) -> &'static str {
        match self {
            DesignFigure::NeverExceedSpeed => "the never-exceed speed",
            DesignFigure::MaximumMass => "the maximum mass",
        }
    }

    const fn kind(self) -> Kind {
        match self {
            DesignFigure::NeverExceedSpeed => Kind::Speed,
            DesignFigure::MaximumMass => Kind::Mass,
        }
    }
}

/// A share of a figure of the aircraft: 80 % of the never-exceed speed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ShareOfDesign {
    /// How much of it, in per cent.
    pub percent: f64,
    /// Of what.
    pub of: DesignFigure,
}

/// From where on a rule of the build-up holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RuleStart {
    /// From the start.
    Always,
    /// Once this was shown.
    At(Measure),
    /// It is a share of a figure that nobody has stated.
    Unknown,
}

/// How far beyond what was shown a point may go on one axis.
///
/// Of the rules for the same axis, direction and phases the one with the most demanding `from` that was shown holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BuildUpRule {
    /// The axis.
    pub axis: Axis,
    /// Which way it counts.
    #[serde(default, skip_serializing_if = "Direction::is_up")]
    pub direction: Direction,
    /// Holds for points of these phases, and counts what was shown in them; none: all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub phases: Vec<Phase>,
    /// Holds once this much was shown; absent: from the start.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Measure>,
    /// As `from`, told as a share of a figure of the aircraft.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_share: Option<ShareOfDesign>,
    /// The greatest step; a target exactly at shown plus step is allowed.
    pub step: Measure,
    /// What a first point may reach before anything was shown on the axis.
    pub first: Measure,
    /// Where the rule comes from.
    pub source: String,
}

/// How far a point may go beyond what was shown of two axes at once.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CoupledRule {
    /// The pair of axes; not mass and centre of gravity, which are enclosed by loadings flown.
    pub pair: Pair,
    /// Holds for points of these phases; none: all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub phases: Vec<Phase>,
    /// What a first point may reach on the axis across, together with `first_upwards`.
    pub first_across: Measure,
    /// What a first point may reach on the axis upwards, together with `first_across`.
    pub first_upwards: Measure,
    /// The greatest step across, with no step upwards.
    pub across: Measure,
    /// The greatest step upwards, with no step across.
    pub upwards: Measure,
    /// Where the rule comes from.
    pub source: String,
}

impl CoupledRule {
    fn judge(&self, field: &str, judging: &mut Judging<'_>) {
        let at = |name: &str| format!("{field}.{name}");
        judging.must(
            self.pair != Pair::MassCentreOfGravity,
            &at("pair"),
            "must be a pair on which more is more demanding; loadings are enclosed by those flown",
        );
        judging.no_repeats(&at("phases"), &self.phases);
        let (across, upwards) = (self.pair.across().0.kind(), self.pair.upwards().0.kind());
        judging.measure(&at("first_across"), self.first_across, across);
        judging.measure(&at("first_upwards"), self.first_upwards, upwards);
        judging.measure_positive(&at("across"), self.across, across);
        judging.measure_positive(&at("upwards"), self.upwards, upwards);
        judging.text(&at("source"), &self.source);
    }
}

/// A total that is counted over runs.
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
pub enum Total {
    /// Minutes under power.
    PoweredMinutes,
    /// Minutes moving on the ground.
    TaxiMinutes,
    /// Minutes in the air.
    AirborneMinutes,
    /// Minutes from off blocks to on blocks.
    BlockMinutes,
    /// Landings.
    Landings,
    /// Runs.
    Runs,
}

/// A total that the programme must reach.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RequiredTotal {
    /// What is counted.
    pub total: Total,
    /// How much of it, in minutes or in number.
    pub at_least: u32,
    /// Counted in these phases only; none: in all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub phases: Vec<Phase>,
    /// Who asks for it.
    pub source: String,
}

/// What the programme has decided for itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Policy {
    /// How old a weather observation may be, in minutes.
    pub weather_good_for_min: u32,
    /// How long a release may last, in hours.
    pub longest_release_h: u32,
    /// The risk matrix.
    pub risk: RiskMatrix,
    /// Steps by axis.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub build_up: Vec<BuildUpRule>,
    /// Totals to reach.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub required_totals: Vec<RequiredTotal>,
    /// Maxima of temperature, in the order in which components are meant to reach them: the one that is least bad first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub heating_order: Vec<LimitCode>,
    /// The longest that a load can last, in minutes, as by the energy on board: a component that would take longer to reach its
    /// limit is taken as never reaching it. Absent: every time counts, however long.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub heating_horizon_min: Option<u32>,
    /// Steps of two axes at once.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub build_up_pairs: Vec<CoupledRule>,
    /// What is decided about predictions; absent: none are made, and none are asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub predictions: Option<PredictionRules>,
    /// What puts items into quarantine.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub quarantine: Vec<QuarantineRule>,
}

impl BuildUpRule {
    /// From where on it holds on an aircraft.
    pub fn start(&self, aircraft: Option<&Aircraft>) -> RuleStart {
        if let Some(from) = self.from {
            return RuleStart::At(from);
        }
        let Some(share) = self.from_share else { return RuleStart::Always };
        let whole = aircraft.and_then(|aircraft| match share.of {
            DesignFigure::NeverExceedSpeed => aircraft.never_exceed_speed,
            DesignFigure::MaximumMass => aircraft.maximum_mass,
        });
        whole.map_or(RuleStart::Unknown, |whole| {
            RuleStart::At(Measure::new(whole.value * share.percent / 100.0, whole.unit))
        })
    }

    /// Whether both hold for the same: one axis, one direction, the same phases.
    pub(crate) fn is_beside(&self, other: &Self) -> bool {
        let same = |one: &[Phase], of: &[Phase]| one.iter().all(|phase| of.contains(phase));
        self.axis == other.axis
            && self.direction == other.direction
            && same(&self.phases, &other.phases)
            && same(&other.phases, &self.phases)
    }

    fn judge(&self, field: &str, judging: &mut Judging<'_>) {
        let kind = self.axis.kind();
        let step = format!("{field}.step");
        // A step of temperature is a difference, which has its own unit.
        let step_kind = if kind == Kind::Temperature && self.step.unit == Unit::Kelvin {
            Kind::TemperatureDifference
        } else {
            kind
        };
        judging.measure_positive(&step, self.step, step_kind);
        judging.measure(&format!("{field}.first"), self.first, kind);
        if let Some(from) = self.from {
            judging.measure(&format!("{field}.from"), from, kind);
        }
        if let Some(share) = self.from_share {
            let at = format!("{field}.from_share");
            judging.must(
                share.percent > 0.0 && share.percent <= 100.0,
                &format!("{at}.percent"),
                "must be above 0 and at most 100 per cent",
            );
            judging.must(
                share.of.kind() == kind,
                &format!("{at}.of"),
                format!("{} is no figure on the axis {}", share.of.in_words(), self.axis),
            );
            judging.must(
                self.from.is_none(),
                &at,
                "is given beside from: a rule begins at a figure or at a share, not at both",
            );
        }
        judging.no_repeats(&format!("{field}.phases"), &self.phases);
        judging.text(&format!("{field}.source"), &self.source);
    }
}

impl Policy {
    /// Up to and including when weather that was observed at a moment is new enough.
    pub fn weather_good_until(&self, observed_at: DateTime<Utc>) -> DateTime<Utc> {
        observed_at + TimeDelta::minutes(i64::from(self.weather_good_for_min))
    }

    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.must(
            (1..=1440).contains(&self.weather_good_for_min),
            "weather_good_for_min",
            "must be from 1 to 1440 minutes",
        );
        judging.must(
            (1..=720).contains(&self.longest_release_h),
            "longest_release_h",
            "must be from 1 to 720 hours",
        );
        for (place, rule) in self.build_up.iter().enumerate() {
            let field = format!("build_up[{place}]");
            rule.judge(&field, &mut judging);
            let from =
                |rule: &BuildUpRule| (rule.from.map(Measure::in_kinds_unit), rule.from_share);
            let again =
                |earlier: &BuildUpRule| earlier.is_beside(rule) && from(earlier) == from(rule);
            if self.build_up[..place].iter().any(again) {
                judging.fault(
                    &field,
                    format!("another rule for {} already holds from the same figure", rule.axis),
                );
            }
        }
        for (place, required) in self.required_totals.iter().enumerate() {
            let field = |name: &str| format!("required_totals[{place}].{name}");
            judging.must(required.at_least > 0, &field("at_least"), "must be at least 1");
            judging.no_repeats(&field("phases"), &required.phases);
            judging.text(&field("source"), &required.source);
        }
        judging.no_repeats("heating_order", &self.heating_order);
        judging.must(
            self.heating_order.len() != 1,
            "heating_order",
            "must name two limits at least, or none",
        );
        if let Some(horizon) = self.heating_horizon_min {
            judging.must(
                (1..=1440).contains(&horizon),
                "heating_horizon_min",
                "must be from 1 to 1440 minutes",
            );
            judging.must(
                !self.heating_order.is_empty(),
                "heating_horizon_min",
                "is given without heating_order, which it is for",
            );
        }
        for (place, rule) in self.build_up_pairs.iter().enumerate() {
            rule.judge(&format!("build_up_pairs[{place}]"), &mut judging);
        }
        if let Some(predictions) = &self.predictions {
            predictions.judge(&mut judging);
        }
        for (place, rule) in self.quarantine.iter().enumerate() {
            rule.judge(&format!("quarantine[{place}]"), &mut judging);
        }
        let mut faults = judging.done();
        let risk = if at.is_empty() { "risk".to_owned() } else { format!("{at}.risk") };
        faults.extend(self.risk.faults(&risk));
        faults
    }
}
