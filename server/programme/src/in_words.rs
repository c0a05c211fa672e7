//! Conditions, criteria, limits, weather and sums in words, each figure with its unit.

use crate::codes::ChannelCode;
use crate::measure::{Measure, Unit};
use crate::nouns::{
    Axis, Comparison, Condition, Criterion, Limit, LimitKind, Phase, Statistic, Total,
    WeatherMinima,
};
use crate::state::State;

/// An axis in words.
pub const fn axis(axis: Axis) -> &'static str {
    match axis {
        Axis::Speed => "Speed",
        Axis::PressureAltitude => "Pressure altitude",
        Axis::LoadFactor => "Load factor",
        Axis::Mass => "Mass",
        Axis::CentreOfGravity => "Centre of gravity",
        Axis::Power => "Power",
        Axis::TimeAtPower => "Time at that power",
        Axis::ChargeState => "Charge state",
        Axis::PackTemperature => "Pack temperature",
        Axis::Crosswind => "Crosswind",
        Axis::PropellerSpeed => "Propeller speed",
        Axis::BankAngle => "Bank angle",
        Axis::AirTemperature => "Air temperature",
    }
}

/// A phase in words.
pub const fn phase(phase: Phase) -> &'static str {
    match phase {
        Phase::Static => "Static",
        Phase::GroundRun => "Ground run",
        Phase::Taxi => "Taxi",
        Phase::FirstFlight => "First flight",
        Phase::Envelope => "Envelope",
    }
}

/// A statistic in words.
pub const fn statistic(statistic: Statistic) -> &'static str {
    match statistic {
        Statistic::Max => "greatest",
        Statistic::Min => "smallest",
        Statistic::Mean => "mean",
        Statistic::First => "at the start",
        Statistic::Last => "at the end",
        Statistic::Rate => "greatest change in a second",
        Statistic::Spread => "greatest difference in its group",
        Statistic::TimeAbove => "seconds above",
        Statistic::Value => "value",
    }
}

/// A figure with its unit.
pub fn figure(value: f64, unit: Unit) -> String {
    Measure::new(value, unit).to_string()
}

/// What a channel is called: its title, or its code where nobody has defined it.
pub fn channel_name(state: &State, code: &ChannelCode) -> String {
    state.channels.get(code).map_or_else(|| code.to_string(), |channel| channel.title.clone())
}

/// A target with its tolerance.
pub fn condition(condition: Condition) -> String {
    let target = condition.target();
    if condition.tolerance == 0.0 {
        return target.to_string();
    }
    format!("{target} ± {}", Measure::new(condition.tolerance, condition.unit))
}

/// What a criterion asks of a figure.
pub fn comparison(criterion: &Criterion) -> String {
    let bound = figure(criterion.value, criterion.unit);
    match (criterion.comparison, criterion.upper) {
        (Comparison::AtMost, _) => format!("at most {bound}"),
        (Comparison::AtLeast, _) => format!("at least {bound}"),
        (Comparison::Between, Some(upper)) => {
            format!("from {bound} to {}", figure(upper, criterion.unit))
        }
        (Comparison::Between, None) => format!("from {bound} up, to a bound that is not given"),
    }
}

/// A criterion as a sentence's part.
pub fn criterion(state: &State, criterion: &Criterion) -> String {
    format!(
        "{}, {}: {}",
        channel_name(state, &criterion.parameter),
        statistic(criterion.statistic),
        comparison(criterion)
    )
}

/// What a limit allows.
pub fn limit(limit: &Limit) -> String {
    let of = |value: f64| figure(value, limit.unit);
    let caution = |value: Option<f64>| {
        value.map(|value| format!(" (caution from {})", of(value))).unwrap_or_default()
    };
    let allowed = match &limit.kind {
        LimitKind::Maximum { caution: from, limit } => {
            format!("at most {}{}", of(*limit), caution(*from))
        }
        LimitKind::Minimum { caution: from, limit } => {
            let caution = from.map(|value| format!(" (caution below {})", of(value)));
            format!("at least {}{}", of(*limit), caution.unwrap_or_default())
        }
        LimitKind::Range { low, high, caution_low, caution_high } => {
            let low_caution = caution_low.map(|value| format!(" (caution below {})", of(value)));
            let low_caution = low_caution.unwrap_or_default();
            format!("from {} to {}{low_caution}{}", of(*low), of(*high), caution(*caution_high))
        }
        LimitKind::Rate { caution_per_s, limit_per_s } => {
            let caution =
                caution_per_s.map(|value| format!(" (caution from {} a second)", of(value)));
            format!(
                "changes by at most {} a second{}",
                of(*limit_per_s),
                caution.unwrap_or_default()
            )
        }
        LimitKind::Spread { with, caution: from, limit } => {
            format!("{} sensors differ by at most {}{}", with.len() + 1, of(*limit), caution(*from))
        }
        LimitKind::TimeAbove { threshold, caution_s, limit_s } => {
            let caution = caution_s.map(|value| format!(" (caution from {value} s)"));
            format!(
                "above {} for at most {limit_s} s{}",
                of(*threshold),
                caution.unwrap_or_default()
            )
        }
        LimitKind::Rating { continuous, timed } => {
            let timed: Vec<_> =
                timed.iter().map(|it| format!("{} for {} s", of(it.value), it.seconds)).collect();
            format!("{} continuously; {}", of(*continuous), timed.join(", "))
        }
    };
    if limit.dwell_s > 0.0 {
        format!("{allowed}; past it for {} s at most", limit.dwell_s)
    } else {
        allowed
    }
}

/// The worst weather for a point, a part a sentence.
pub fn weather(minima: &WeatherMinima) -> Vec<String> {
    let WeatherMinima {
        wind_at_most,
        gust_at_most,
        crosswind_at_most,
        visibility_at_least,
        cloud_base_at_least,
        temperature_at_least,
        temperature_at_most,
        dry,
    } = minima;
    let parts = [
        ("wind at most", wind_at_most),
        ("gusts at most", gust_at_most),
        ("crosswind at most", crosswind_at_most),
        ("visibility at least", visibility_at_least),
        ("cloud base at least", cloud_base_at_least),
        ("air at least", temperature_at_least),
        ("air at most", temperature_at_most),
    ];
    let told = parts
        .into_iter()
        .filter_map(|(words, bound)| bound.as_ref().map(|bound| format!("{words} {bound}")));
    told.chain(dry.then(|| "dry".to_owned())).collect()
}

/// Minutes as hours and minutes: `1 h 05 min`.
pub fn hours_and_minutes(minutes: u64) -> String {
    if minutes < 60 {
        return format!("{minutes} min");
    }
    format!("{} h {:02} min", minutes / 60, minutes % 60)
}

/// Energy in kilowatt-hours.
pub fn energy(watt_hours: u64) -> String {
    format!("{}.{:03} kWh", watt_hours / 1000, watt_hours % 1000)
}

/// What a total counts.
pub const fn total(total: Total) -> &'static str {
    match total {
        Total::PoweredMinutes => "Time under power",
        Total::TaxiMinutes => "Time moving on the ground",
        Total::AirborneMinutes => "Time in the air",
        Total::BlockMinutes => "Time from blocks to blocks",
        Total::Landings => "Landings",
        Total::Runs => "Runs",
    }
}

/// An amount of a total: time as hours and minutes, the rest as a number.
pub fn amount(of: Total, amount: u64) -> String {
    match of {
        Total::Landings | Total::Runs => amount.to_string(),
        Total::PoweredMinutes
        | Total::TaxiMinutes
        | Total::AirborneMinutes
        | Total::BlockMinutes => hours_and_minutes(amount),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minutes_become_hours_and_energy_keeps_each_watt_hour() {
        assert_eq!(hours_and_minutes(59), "59 min");
        assert_eq!(hours_and_minutes(60), "1 h 00 min");
        assert_eq!(hours_and_minutes(125), "2 h 05 min");
        assert_eq!(energy(12_034), "12.034 kWh");
        assert_eq!(energy(7), "0.007 kWh");
    }
}
