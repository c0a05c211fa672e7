//! Temperatures of components at the end of the planned time at power.

use chrono::{DateTime, Utc};
use flight_science::hot_day::{DEFAULT_SEA_LEVEL_C, HotDay};
use flight_science::least_squares::percent_beyond;
use quantities::{PressureAltitude, Temperature};

use super::pooled::{Prior, quantile, spread};
use super::{
    Basis, Bound, Figures, Interval, Prediction, Predictions, ThermalFigures, WhyNot, WorstEnd,
    is_as_now,
};
use crate::codes::{ChannelCode, ReductionNumber};
use crate::measure::Unit;
use crate::nouns::{Axis, Phase, Point, PredictedComponent, PredictionRules};
use crate::record::Predicted;
use crate::state::{Observed, State};

/// The time until a limit is looked for over so many of the longest time constants.
const SETTLED_IN_TIME_CONSTANTS: f64 = 10.0;

/// How finely that time is looked for, before it is closed in upon.
const LOOKS: u32 = 200;

/// Where an ambient temperature comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AmbientBasis {
    /// The latest observation of the weather, which is new enough.
    Observed,
    /// Nobody has observed it lately: the most that the point's own weather minima allow.
    PointMaximum,
    /// Nobody has observed it lately, and the point names no maximum: the hot day.
    HotDay,
}

/// The ambient temperature of a prediction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ambient {
    /// Degrees Celsius.
    pub celsius: f64,
    /// Where it comes from.
    pub basis: AmbientBasis,
}

/// When a component would reach its limit if the power were held on, in seconds from its beginning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeToLimit {
    /// By the estimate; absent: it would settle below.
    pub estimate_s: Option<f64>,
    /// By the upper end of the interval; absent: that would settle below.
    pub earliest_s: Option<f64>,
    /// By the lower end of the interval; absent: that would settle below.
    pub latest_s: Option<f64>,
}

/// The same on the hot day of the cooling rules. It holds nothing: the point is not run on that day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HotDayTemperature {
    /// The hot day's air temperature at the point's altitude.
    pub ambient_c: f64,
    /// The temperature of the component.
    pub value: Interval,
    /// Whether its pessimistic end passes limit less margin.
    pub passes_bound: bool,
}

/// What else is told of a predicted temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct TemperatureDetail {
    /// The ambient temperature that it takes.
    pub ambient: Ambient,
    /// The limit, degrees Celsius.
    pub limit_c: f64,
    /// The power, kilowatts.
    pub power_kw: f64,
    /// How long, seconds.
    pub duration_s: f64,
    /// When the limit would be reached.
    pub time_to_limit: TimeToLimit,
    /// The same on the hot day.
    pub hot_day: HotDayTemperature,
}

/// The hot day's air temperature where a point is run.
fn hot_day_c(rules: &PredictionRules, point: &Point) -> f64 {
    let altitude = point.conditions.get(&Axis::PressureAltitude).map(|it| it.target());
    let altitude = altitude.or(rules.field_elevation).and_then(|it| it.in_unit(Unit::Foot));
    // Without an altitude that of the sea, which is the warmest.
    let altitude = PressureAltitude::from_feet(altitude.unwrap_or(0.0));
    HotDay::part_23(Temperature::from_celsius(DEFAULT_SEA_LEVEL_C)).ambient(altitude).celsius()
}

/// The weather as predictions take it: what was observed last, while that is new enough. Time changes a prediction in no other
/// way.
pub(crate) fn observed_lately(state: &State, now: DateTime<Utc>) -> Option<&Observed> {
    state.latest_weather().filter(|observed| {
        state.policy.as_ref().is_some_and(|policy| now <= policy.weather_good_until(observed.at))
    })
}

/// The ambient temperature of the day: as observed, or else the warmest that it may be.
fn ambient(state: &State, rules: &PredictionRules, point: &Point, now: DateTime<Utc>) -> Ambient {
    let observed =
        observed_lately(state, now).and_then(|it| it.weather.temperature?.in_unit(Unit::Celsius));
    if let Some(celsius) = observed {
        return Ambient { celsius, basis: AmbientBasis::Observed };
    }
    let most = point.weather.temperature_at_most.and_then(|it| it.in_unit(Unit::Celsius));
    if let Some(celsius) = most {
        return Ambient { celsius, basis: AmbientBasis::PointMaximum };
    }
    Ambient { celsius: hot_day_c(rules, point), basis: AmbientBasis::HotDay }
}

/// Fits of a channel that speak of the aircraft as it is, for a point where there is one: of each run the one made last.
pub(super) fn fits<'a>(
    state: &'a State,
    component: &PredictedComponent,
    channel: &ChannelCode,
    point: Option<&Point>,
) -> Vec<(ReductionNumber, &'a ThermalFigures)> {
    let mut found: Vec<(ReductionNumber, &ThermalFigures, crate::codes::RunNumber)> = Vec::new();
    for made in &state.recordings.reductions {
        let Some(Figures::Thermal(figures)) = &made.figures else { continue };
        if figures.channel != *channel
            || made.replaced_by.is_some()
            || !state.recordings.reduction_counts(made)
        {
            continue;
        }
        let Some(run) = state.run(made.run) else { continue };
        let of_point = made.point.as_ref().and_then(|code| run.planned(code));
        let sensitive = point.into_iter().flat_map(|point| &point.sensitive_to);
        let items = component.depends_on.iter().chain(sensitive);
        let items = items.chain(of_point.iter().flat_map(|planned| &planned.sensitive_to));
        if !is_as_now(state, &run.fitted(), items) {
            continue;
        }
        found.retain(|(_, _, of)| *of != made.run);
        found.push((made.number, figures, made.run));
    }
    found.into_iter().map(|(number, figures, _)| (number, figures)).collect()
}

/// Runs that warm one component, at one power.
struct Warming<'a> {
    fits: Vec<&'a ThermalFigures>,
    power_kw: f64,
    rules: &'a PredictionRules,
    /// Student's t of so many runs.
    t: f64,
}

impl Warming<'_> {
    /// The rise over the ambient temperature after so long.
    fn rise(&self, after_s: f64) -> Option<Interval> {
        let rises: Vec<f64> =
            self.fits.iter().map(|fit| fit.rise_c(self.power_kw, after_s)).collect();
        let runs = rises.len() as f64;
        let mean = |figure: &dyn Fn(&ThermalFigures) -> f64| {
            self.fits.iter().map(|fit| figure(fit)).sum::<f64>() / runs
        };
        let open = mean(&|fit| fit.variance_c2(self.power_kw, after_s)) / runs;
        let noise = (mean(&|fit| fit.residual_sd_c.powi(2)) + open).sqrt();
        let size = rises.iter().sum::<f64>().abs() / runs;
        let sd = self.rules.model_error_percent / 100.0 * size;
        let prior = Prior { sd, runs: self.rules.model_error_runs };
        spread(&rises, noise, prior, self.t).map(|pooled| pooled.interval)
    }

    /// The first moment at which an end of the interval reaches a rise.
    fn reaches(&self, rise_c: f64, end: impl Fn(Interval) -> f64) -> Option<f64> {
        let reached = |after_s: f64| self.rise(after_s).is_some_and(|it| end(it) >= rise_c);
        if reached(0.0) {
            return Some(0.0);
        }
        let longest = self.fits.iter().map(|fit| fit.time_constant_s).fold(0.0, f64::max);
        let longest = SETTLED_IN_TIME_CONSTANTS * longest;
        let look = |number: u32| longest * f64::from(number) / f64::from(LOOKS);
        let first = (1..=LOOKS).find(|number| reached(look(*number)))?;
        let (mut before, mut after) = (look(first - 1), look(first));
        for _ in 0..40 {
            let between = 0.5 * (before + after);
            if reached(between) {
                after = between;
            } else {
                before = between;
            }
        }
        Some(after)
    }

    /// How far a case goes beyond what was recorded: the greatest of power, duration and rise.
    fn beyond_percent(&self, after_s: f64, rise_c: f64) -> Option<f64> {
        let recorded: Option<Vec<_>> = self.fits.iter().map(|fit| fit.recorded).collect();
        let recorded = recorded?;
        let above = |value: f64, highest: &dyn Fn(&super::Recorded) -> f64| {
            let highest = recorded.iter().map(highest).fold(0.0, f64::max);
            percent_beyond(value.max(0.0), [0.0, highest])
        };
        let power = above(self.power_kw, &|it| it.highest_power_kw)?;
        let duration = above(after_s, &|it| it.duration_s)?;
        let rise = above(rise_c, &|it| it.highest_rise_c)?;
        Some(power.max(duration).max(rise))
    }
}

fn predict_one(
    state: &State,
    rules: &PredictionRules,
    component: &PredictedComponent,
    point: &Point,
    now: DateTime<Utc>,
) -> Result<Prediction, WhyNot> {
    let planned = |axis: Axis, unit: Unit| point.conditions.get(&axis)?.target().in_unit(unit);
    let power_kw = planned(Axis::Power, Unit::Kilowatt);
    let power_kw = power_kw.ok_or(WhyNot::NotPlanned { lacks: "power" })?;
    let duration_s = planned(Axis::TimeAtPower, Unit::Second).unwrap_or(60.0 * point.duration_min);
    let limit = state.limits.by_code.get(&component.limit).map(|known| &known.limit);
    let limit = limit.and_then(|limit| Some((limit, limit.greatest_temperature()?)));
    let (limit, limit_c) =
        limit.ok_or(WhyNot::NotDecided { lacks: "maximum of its temperature" })?;
    let fits = fits(state, component, &limit.channel, Some(point));
    let mut basis = Basis::default();
    for (number, _) in &fits {
        basis.add(state, *number);
    }
    let fits: Vec<&ThermalFigures> = fits.into_iter().map(|(_, figures)| figures).collect();
    let runs = Prior { sd: 0.0, runs: rules.model_error_runs };
    let t = quantile(fits.len(), runs).ok_or(WhyNot::NoData)?;
    let warming = Warming { fits, power_kw, rules, t };
    let rise = warming.rise(duration_s).ok_or(WhyNot::NoData)?;
    let ambient = ambient(state, rules, point, now);
    let over = |ambient_c: f64| Interval {
        estimate: ambient_c + rise.estimate,
        low: ambient_c + rise.low,
        high: ambient_c + rise.high,
    };
    // A margin that is no difference of temperatures is none that can be kept.
    let margin = rules.temperature_margin.in_unit(Unit::Kelvin).unwrap_or(f64::NAN);
    let bound = Bound { figure: limit_c - margin, end: WorstEnd::High };
    let above_c = limit_c - ambient.celsius;
    let hot_ambient_c = hot_day_c(rules, point);
    let prediction = Prediction {
        what: Predicted::Temperature { limit: component.limit.clone() },
        value: over(ambient.celsius),
        unit: Unit::Celsius,
        bound: Some(bound),
        basis,
        extrapolated_percent: warming.beyond_percent(duration_s, rise.estimate),
        temperature: None,
    };
    let hot = Prediction { value: over(hot_ambient_c), ..prediction.clone() };
    let detail = TemperatureDetail {
        ambient,
        limit_c,
        power_kw,
        duration_s,
        time_to_limit: TimeToLimit {
            estimate_s: warming.reaches(above_c, |rise| rise.estimate),
            earliest_s: warming.reaches(above_c, |rise| rise.high),
            latest_s: warming.reaches(above_c, |rise| rise.low),
        },
        hot_day: HotDayTemperature {
            ambient_c: hot_ambient_c,
            value: hot.value,
            passes_bound: hot.passes_bound(),
        },
    };
    Ok(Prediction { temperature: Some(detail), ..prediction })
}

pub(super) fn predict(
    state: &State,
    rules: &PredictionRules,
    point: &Point,
    now: DateTime<Utc>,
    found: &mut Predictions,
) {
    // Nothing warms a component before it is run, and a point that plans no power plans no heat.
    if point.phase < Phase::GroundRun || !point.conditions.contains_key(&Axis::Power) {
        return;
    }
    for component in &rules.components {
        let what = Predicted::Temperature { limit: component.limit.clone() };
        found.take(what, predict_one(state, rules, component, point, now));
    }
}
