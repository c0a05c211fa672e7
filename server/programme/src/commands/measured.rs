//! Whether figures that people typed in can be: known parameters, units that compare, no figure twice, nothing
//! impossible.

use std::collections::BTreeMap;

use crate::document::unit_fits;
use crate::measure::{Kind, Measure};
use crate::nouns::judging::Judging;
use crate::nouns::{Axis, Statistic};
use crate::record::MeasuredValue;
use crate::refusal::Fault;
use crate::state::State;

/// Everything that is wrong with measured values; `place_of` tells where each was given.
pub(super) fn faults_of_values(
    values: &[MeasuredValue],
    place_of: impl Fn(usize) -> String,
    state: &State,
) -> Vec<Fault> {
    let mut judging = Judging::of("");
    for (place, value) in values.iter().enumerate() {
        let at = place_of(place);
        let same = |earlier: &&MeasuredValue| {
            (&earlier.parameter, earlier.statistic) == (&value.parameter, value.statistic)
        };
        // Only one of two figures for the same would be held against the limits, and the other would hide.
        if values[..place].iter().any(|earlier| same(&earlier)) {
            let why = format!("{} of {} is given twice", value.statistic, value.parameter);
            judging.fault(&at, why);
        }
        let Some(channel) = state.channels.get(&value.parameter) else {
            let why = format!("there is no channel or parameter {}", value.parameter);
            judging.fault(&format!("{at}.parameter"), why);
            continue;
        };
        if !unit_fits(value.unit, value.statistic, channel) {
            let why = format!(
                "{} does not fit the {} of {}, which is in {}",
                value.unit.as_str(),
                value.statistic,
                value.parameter,
                channel.unit.as_str()
            );
            judging.fault(&format!("{at}.unit"), why);
        }
        if let Some(figure) = value.value {
            judge_figure(figure, value, &format!("{at}.value"), &mut judging);
        }
    }
    judge_together(values, place_of, &mut judging);
    judging.done()
}

fn judge_figure(figure: f64, value: &MeasuredValue, at: &str, judging: &mut Judging<'_>) {
    match value.statistic {
        // Sizes of a change, a difference or a time have no sign; a negative one would pass every upper limit.
        Statistic::Rate | Statistic::Spread | Statistic::TimeAbove => {
            judging.not_negative(at, figure);
        }
        Statistic::Max
        | Statistic::Min
        | Statistic::Mean
        | Statistic::First
        | Statistic::Last
        | Statistic::Value => {
            if judging.finite(at, figure) && value.unit.kind() == Kind::Temperature {
                judging.temperature(at, Measure::new(figure, value.unit));
            }
        }
    }
}

/// No value of a channel is above its greatest or below its smallest.
fn judge_together(
    values: &[MeasuredValue],
    place_of: impl Fn(usize) -> String,
    judging: &mut Judging<'_>,
) {
    let figure = |value: &MeasuredValue| Some(Measure::new(value.value?, value.unit));
    for (place, value) in values.iter().enumerate() {
        let inside = matches!(
            value.statistic,
            Statistic::Min | Statistic::Mean | Statistic::First | Statistic::Last
        );
        let Some(given) = figure(value).filter(|_| inside) else { continue };
        let greatest = values
            .iter()
            .filter(|other| other.parameter == value.parameter)
            .filter(|other| other.statistic == Statistic::Max)
            .find_map(figure)
            .filter(|greatest| greatest.unit.kind() == given.unit.kind());
        if let Some(greatest) = greatest
            && given.in_kinds_unit() > greatest.in_kinds_unit()
        {
            let why = format!("the {} is above the greatest value, {greatest}", value.statistic);
            judging.fault(&format!("{}.value", place_of(place)), why);
        }
        let smallest = values
            .iter()
            .filter(|other| other.parameter == value.parameter)
            .filter(|other| other.statistic == Statistic::Min)
            .find_map(figure)
            .filter(|smallest| smallest.unit.kind() == given.unit.kind());
        if let Some(smallest) = smallest
            && value.statistic != Statistic::Min
            && given.in_kinds_unit() < smallest.in_kinds_unit()
        {
            let why = format!("the {} is below the smallest value, {smallest}", value.statistic);
            judging.fault(&format!("{}.value", place_of(place)), why);
        }
    }
}

/// Everything that is wrong with what was reached on the axes.
pub(super) fn faults_of_reached(reached: &BTreeMap<Axis, Measure>) -> Vec<Fault> {
    let mut judging = Judging::of("");
    for (axis, measure) in reached {
        let at = format!("reached.{axis}");
        if !judging.measure(&at, *measure, axis.kind()) {
            continue;
        }
        let value = format!("{at}.value");
        match axis {
            Axis::Speed
            | Axis::Power
            | Axis::TimeAtPower
            | Axis::Crosswind
            | Axis::PropellerSpeed
            | Axis::Mass => judging.not_negative(&value, measure.value),
            Axis::ChargeState => judging.must(
                (0.0..=100.0).contains(&measure.value),
                &value,
                format!("must be from 0 to 100 %, and {} was given", measure.value),
            ),
            Axis::PressureAltitude
            | Axis::LoadFactor
            | Axis::CentreOfGravity
            | Axis::PackTemperature
            | Axis::BankAngle
            | Axis::AirTemperature => {}
        }
    }
    judging.done()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::Unit;
    use crate::story::{Story, typed};

    fn places(story: &Story, values: &[MeasuredValue]) -> Vec<String> {
        let in_list = |place| format!("values[{place}]");
        let found = faults_of_values(values, in_list, &story.state);
        found.into_iter().map(|fault| fault.field).collect()
    }

    #[test]
    fn the_mean_lies_between_the_smallest_and_the_greatest() {
        let story = Story::team();
        let all = |mean| {
            vec![
                typed("winding", Statistic::Min, 20.0, Unit::Celsius),
                typed("winding", Statistic::Max, 60.0, Unit::Celsius),
                typed("winding", Statistic::Mean, mean, Unit::Celsius),
            ]
        };
        assert!(places(&story, &all(20.0)).is_empty());
        assert!(places(&story, &all(60.0)).is_empty());
        assert_eq!(places(&story, &all(19.9)), ["values[2].value"]);
        assert_eq!(places(&story, &all(60.1)), ["values[2].value"]);
    }

    #[test]
    fn what_was_reached_is_in_units_of_its_axis_and_possible() {
        let reached = BTreeMap::from([
            (Axis::ChargeState, Measure::new(100.1, Unit::Percent)),
            (Axis::PackTemperature, Measure::new(-300.0, Unit::Celsius)),
            (Axis::Speed, Measure::new(f64::NAN, Unit::Knot)),
            (Axis::Power, Measure::new(20.0, Unit::Kilowatt)),
        ]);
        let found = faults_of_reached(&reached);
        let places: Vec<_> = found.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(
            places,
            ["reached.speed.value", "reached.charge-state.value", "reached.pack-temperature.value"]
        );
    }
}
