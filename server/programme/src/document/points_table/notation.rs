//! The flat notation of fields with parts, read and written.

use std::collections::BTreeMap;
use std::str::FromStr;

use super::numbers::{Numbers, with_unit};
use super::texts;
use crate::codes::{ChannelCode, ItemCode, QualificationCode};
use crate::measure::Measure;
use crate::nouns::{
    Axis, Comparison, Condition, CrewSeat, Criterion, Phase, RequiredItem, Role, Statistic,
    WeatherMinima,
};

/// All statistics, for reading one.
const STATISTICS: [Statistic; 9] = [
    Statistic::Max,
    Statistic::Min,
    Statistic::Mean,
    Statistic::First,
    Statistic::Last,
    Statistic::Rate,
    Statistic::Spread,
    Statistic::TimeAbove,
    Statistic::Value,
];

/// What was read of a cell, with every fault of it.
pub(super) type Read<T> = Result<T, Vec<String>>;

/// Reads each part of a list; all faults are told.
fn each<T>(cell: &str, read: impl Fn(&str) -> Result<T, String>) -> Read<Vec<T>> {
    let mut things = Vec::new();
    let mut faults = Vec::new();
    for part in texts::parts(cell) {
        match read(&part) {
            Ok(thing) => things.push(thing),
            Err(why) => faults.push(why),
        }
    }
    if faults.is_empty() { Ok(things) } else { Err(faults) }
}

/// One of a few words.
fn choice<T: Copy>(text: &str, all: &[T], word: impl Fn(T) -> &'static str) -> Result<T, String> {
    let text = text.trim();
    all.iter().copied().find(|one| word(*one) == text).ok_or_else(|| {
        let words: Vec<_> = all.iter().map(|one| word(*one)).collect();
        format!("\"{text}\" is not a choice here: use {}", words.join(", "))
    })
}

/// A code of any kind.
pub(super) fn code<C: FromStr<Err = crate::codes::BadCode>>(text: &str) -> Result<C, String> {
    text.trim().parse().map_err(|bad: crate::codes::BadCode| bad.to_string())
}

/// A list of codes.
pub(super) fn codes<C: FromStr<Err = crate::codes::BadCode>>(cell: &str) -> Read<Vec<C>> {
    each(cell, code)
}

/// A phase.
pub(super) fn phase(cell: &str) -> Result<Phase, String> {
    choice(cell, &Phase::ALL, Phase::as_str)
}

/// Yes or no; empty is no.
pub(super) fn yes_or_no(cell: &str) -> Result<bool, String> {
    match cell.trim().to_ascii_lowercase().as_str() {
        "" | "no" | "false" => Ok(false),
        "yes" | "true" => Ok(true),
        other => Err(format!("\"{other}\" is neither yes nor no")),
    }
}

/// `speed=55±2 kt; power=40±2 kW`
pub(super) fn conditions(cell: &str, numbers: Numbers) -> Read<BTreeMap<Axis, Condition>> {
    let read = each(cell, |part| condition(part, numbers))?;
    let mut by_axis = BTreeMap::new();
    let mut faults = Vec::new();
    for (axis, condition) in read {
        if by_axis.insert(axis, condition).is_some() {
            faults.push(format!("{axis} is given twice"));
        }
    }
    if faults.is_empty() { Ok(by_axis) } else { Err(faults) }
}

fn condition(part: &str, numbers: Numbers) -> Result<(Axis, Condition), String> {
    let form = || format!("\"{part}\" is no condition: write it like speed=55±2 kt");
    let (axis, figures) = part.split_once('=').ok_or_else(form)?;
    let axis = choice(axis, &Axis::ALL, Axis::as_str)?;
    let (target, rest) = numbers.leading(figures.trim())?;
    let rest =
        ["±", "+/-", "+-"].iter().find_map(|mark| rest.strip_prefix(mark)).ok_or_else(form)?;
    let tolerance = numbers.measure(rest)?;
    Ok((axis, Condition { target, tolerance: tolerance.value, unit: tolerance.unit }))
}

/// Writes what [`conditions`] reads.
pub(super) fn write_conditions(conditions: &BTreeMap<Axis, Condition>) -> String {
    let written = conditions.iter().map(|(axis, condition)| {
        let figures = format!("{}±{}", condition.target, condition.tolerance);
        format!("{axis}={}", with_unit(figures, condition.unit))
    });
    written.collect::<Vec<_>>().join("; ")
}

/// `motor_temp max <= 110 degC; ias mean in 50..60 kt`
pub(super) fn criteria(cell: &str, numbers: Numbers) -> Read<Vec<Criterion>> {
    each(cell, |part| criterion(part, numbers))
}

fn criterion(part: &str, numbers: Numbers) -> Result<Criterion, String> {
    let form = || {
        format!(
            "\"{part}\" is no criterion: write it like motor_temp max <= 110 degC, or ias mean in 50..60 kt"
        )
    };
    let (parameter, rest) = part.split_once(char::is_whitespace).ok_or_else(form)?;
    let parameter: ChannelCode = code(parameter)?;
    let rest = rest.trim_start();
    let word_end = rest.find(|c: char| c.is_whitespace() || "<>≤≥".contains(c)).ok_or_else(form)?;
    let (statistic, rest) = rest.split_at(word_end);
    let statistic = choice(statistic, &STATISTICS, Statistic::as_str)?;
    let rest = rest.trim_start();
    let bound = |marks: [&str; 2]| marks.iter().find_map(|mark| rest.strip_prefix(mark));
    if let Some(range) = rest.strip_prefix("in ") {
        let (value, rest) = numbers.leading(range.trim_start())?;
        let upper = numbers.measure(rest.strip_prefix("..").ok_or_else(form)?)?;
        return Ok(Criterion {
            parameter,
            statistic,
            comparison: Comparison::Between,
            value,
            upper: Some(upper.value),
            unit: upper.unit,
        });
    }
    let (comparison, figure) = bound(["<=", "≤"])
        .map(|rest| (Comparison::AtMost, rest))
        .or_else(|| bound([">=", "≥"]).map(|rest| (Comparison::AtLeast, rest)))
        .ok_or_else(form)?;
    let Measure { value, unit } = numbers.measure(figure)?;
    Ok(Criterion { parameter, statistic, comparison, value, upper: None, unit })
}

/// Writes what [`criteria`] reads.
pub(super) fn write_criteria(criteria: &[Criterion]) -> String {
    let written = criteria.iter().map(|criterion| {
        let bound = match criterion.comparison {
            Comparison::AtMost => format!("<= {}", with_unit(criterion.value, criterion.unit)),
            Comparison::AtLeast => format!(">= {}", with_unit(criterion.value, criterion.unit)),
            Comparison::Between => {
                let upper = criterion.upper.unwrap_or(criterion.value);
                let range = format!("{}..{upper}", criterion.value);
                format!("in {}", with_unit(range, criterion.unit))
            }
        };
        format!("{} {} {bound}", criterion.parameter, criterion.statistic)
    });
    written.collect::<Vec<_>>().join("; ")
}

/// `1 pilot on board [test-pilot, hv]; 2 crew`
pub(super) fn crew(cell: &str) -> Read<Vec<CrewSeat>> {
    each(cell, seat)
}

fn seat(part: &str) -> Result<CrewSeat, String> {
    let form = || format!("\"{part}\" is no seat: write it like 1 pilot on board [test-pilot]");
    let (words, listed) = match part.split_once('[') {
        Some((words, listed)) => (words, listed.trim_end().strip_suffix(']').ok_or_else(form)?),
        None => (part, ""),
    };
    let words: Vec<_> = words.split_whitespace().collect();
    let (count, role, on_board) = match words.as_slice() {
        [count, role] => (count, role, false),
        [count, role, "on", "board"] => (count, role, true),
        _ => return Err(form()),
    };
    let named = listed.split(',').map(str::trim).filter(|named| !named.is_empty());
    Ok(CrewSeat {
        role: choice(role, &Role::ALL, Role::as_str)?,
        count: count.parse().map_err(|_| format!("\"{count}\" is no number of people"))?,
        on_board,
        qualifications: named.map(code::<QualificationCode>).collect::<Result<_, _>>()?,
    })
}

/// Writes what [`crew`] reads.
pub(super) fn write_crew(crew: &[CrewSeat]) -> String {
    let written = crew.iter().map(|seat| {
        let board = if seat.on_board { " on board" } else { "" };
        let named: Vec<_> = seat.qualifications.iter().map(|named| named.as_str()).collect();
        let named =
            if named.is_empty() { String::new() } else { format!(" [{}]", named.join(", ")) };
        format!("{} {}{board}{named}", seat.count, seat.role)
    });
    written.collect::<Vec<_>>().join("; ")
}

/// `wind<=12 kt; visibility>=5 km; dry`
pub(super) fn weather(cell: &str, numbers: Numbers) -> Read<WeatherMinima> {
    let mut minima = WeatherMinima::default();
    let mut faults = Vec::new();
    for part in texts::parts(cell) {
        if let Err(why) = minimum(&part, numbers, &mut minima) {
            faults.push(why);
        }
    }
    if faults.is_empty() { Ok(minima) } else { Err(faults) }
}

fn minimum(part: &str, numbers: Numbers, minima: &mut WeatherMinima) -> Result<(), String> {
    let part = part.trim();
    if part == "dry" {
        minima.dry = true;
        return Ok(());
    }
    let form = || {
        format!(
            "\"{part}\" is no weather minimum: use wind, gust and crosswind with <=, visibility and cloud_base with >=, temperature with either, or dry"
        )
    };
    let marks = [("<=", true), ("≤", true), (">=", false), ("≥", false)];
    let (what, at_most, figure) = marks
        .iter()
        .find_map(|(mark, at_most)| {
            part.split_once(mark).map(|(what, figure)| (what.trim(), *at_most, figure))
        })
        .ok_or_else(form)?;
    let place = match (what, at_most) {
        ("wind", true) => &mut minima.wind_at_most,
        ("gust", true) => &mut minima.gust_at_most,
        ("crosswind", true) => &mut minima.crosswind_at_most,
        ("visibility", false) => &mut minima.visibility_at_least,
        ("cloud_base", false) => &mut minima.cloud_base_at_least,
        ("temperature", false) => &mut minima.temperature_at_least,
        ("temperature", true) => &mut minima.temperature_at_most,
        _ => return Err(form()),
    };
    if place.is_some() {
        return Err(format!("{what} is given twice"));
    }
    *place = Some(numbers.measure(figure)?);
    Ok(())
}

/// Writes what [`weather`] reads.
pub(super) fn write_weather(minima: &WeatherMinima) -> String {
    let figures = [
        ("wind<=", minima.wind_at_most),
        ("gust<=", minima.gust_at_most),
        ("crosswind<=", minima.crosswind_at_most),
        ("visibility>=", minima.visibility_at_least),
        ("cloud_base>=", minima.cloud_base_at_least),
        ("temperature>=", minima.temperature_at_least),
        ("temperature<=", minima.temperature_at_most),
    ];
    let figures = figures.into_iter().filter_map(|(what, figure)| {
        figure.map(|it| format!("{what}{}", with_unit(it.value, it.unit)))
    });
    figures.chain(minima.dry.then(|| "dry".to_owned())).collect::<Vec<_>>().join("; ")
}

/// `motor=M2 serial 7; pack`
pub(super) fn configuration(cell: &str) -> Read<Vec<RequiredItem>> {
    each(cell, |part| {
        let (item, version) = match part.split_once('=') {
            Some((item, version)) => (item, Some(version.to_owned())),
            None => (part, None),
        };
        Ok(RequiredItem { item: code::<ItemCode>(item)?, version })
    })
}

/// Writes what [`configuration`] reads.
pub(super) fn write_configuration(required: &[RequiredItem]) -> String {
    texts::joined(required.iter().map(|required| match &required.version {
        Some(version) => format!("{}={version}", required.item),
        None => required.item.to_string(),
    }))
}

/// Writes a list of codes.
pub(super) fn write_codes<C: std::fmt::Display>(codes: &[C]) -> String {
    codes.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::measure::Unit;

    const NUMBERS: Numbers = Numbers { decimal_comma: false };

    #[test]
    fn conditions_are_written_as_targets_with_tolerances() {
        let read = conditions("speed=55±2 kt; charge-state = 80 +/- 5 %", NUMBERS).unwrap();
        assert_eq!(
            read[&Axis::Speed],
            Condition { target: 55.0, tolerance: 2.0, unit: Unit::Knot }
        );
        assert_eq!(write_conditions(&read), "speed=55±2 kt; charge-state=80±5 %");
    }

    #[test]
    fn every_fault_of_a_cell_is_told() {
        let faults = conditions("spead=55±2 kt; power=40 kW; mass=1±1 furlong", NUMBERS);
        assert_eq!(faults.unwrap_err().len(), 3);
    }

    #[test]
    fn criteria_seats_and_weather_read_back_as_written() {
        let cell = "motor_temp max <= 110 degC; ias mean in 50..60 kt; ratio value >= 0.5";
        assert_eq!(write_criteria(&criteria(cell, NUMBERS).unwrap()), cell);
        let cell = "1 pilot on board [test-pilot, hv]; 2 crew";
        assert_eq!(write_crew(&crew(cell).unwrap()), cell);
        let cell = "wind<=12 kt; visibility>=5 km; temperature>=0 degC; temperature<=30 degC; dry";
        assert_eq!(write_weather(&weather(cell, NUMBERS).unwrap()), cell);
        let cell = r"motor=M2\; late; pack";
        assert_eq!(write_configuration(&configuration(cell).unwrap()), cell);
    }

    #[test]
    fn a_weather_minimum_the_wrong_way_round_is_refused() {
        assert!(weather("wind>=12 kt", NUMBERS).is_err());
        assert!(weather("wind<=12 kt; wind<=10 kt", NUMBERS).is_err());
    }
}
