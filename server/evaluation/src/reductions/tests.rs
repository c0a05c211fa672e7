#![allow(clippy::unwrap_used)]
use programme::codes::{IntervalNumber, PersonHandle, RunNumber};
use programme::record::IntervalBasis;
use serde_json::json;

use super::*;
use crate::made::{Made, channel, gathered, moment};

fn interval(recording: &Made, from_s: f64, to_s: f64) -> Interval {
    Interval {
        number: IntervalNumber(2),
        seq: 1,
        by: PersonHandle::new("edda").unwrap(),
        at: moment(0.0),
        recording: recording.digest(),
        run: RunNumber(1),
        point: PointCode::new("GR-1").unwrap(),
        from: moment(from_s),
        to: moment(to_s),
        how: IntervalBasis::Times {},
    }
}

fn parameter(code: &ChannelCode) -> Option<Channel> {
    (code.as_str() == "energy_used").then(|| Channel {
        code: code.clone(),
        title: "Energy used".to_owned(),
        unit: Unit::KilowattHour,
        lowest: None,
        highest: None,
        accuracy: None,
        derived_from: None,
    })
}

fn energy<'a>(interval: &'a Interval, fills: &str) -> Asked<'a> {
    let role = |role: &str, code: &str| (role.to_owned(), channel(code));
    Asked {
        method: reduce::reduction("energy").unwrap(),
        interval,
        roles: [role("voltage", "pack_v"), role("current", "pack_a")].into(),
        given: Value::Null,
        fills: [(channel("energy_used"), fills.to_owned())].into(),
    }
}

/// 400 V kept in millivolts, and a current from another recorder whose clock is 3 s ahead: 100 A from 20 s of the run on.
fn flown() -> (Made, Made) {
    let volts = Made::of(1).with("pack_v", Unit::Millivolt, |_| 400_000.0);
    let amperes = Made::of(2)
        .lasting(63.0)
        .ahead(3.0)
        .with("pack_a", Unit::Ampere, |own_s| if own_s >= 23.0 { 100.0 } else { 0.0 });
    (volts, amperes)
}

#[test]
fn channels_of_two_recordings_in_other_units_give_what_was_drawn() {
    let (volts, amperes) = flown();
    let (interval, other) = (interval(&volts, 10.0, 50.0), amperes.digest());
    let asked = energy(&interval, "/energy_kwh");
    let worked = work(&asked, &gathered([volts, amperes]), &parameter).unwrap();
    // 40 kW over 30 s are a third of a kilowatt-hour; the step from nothing to 100 A takes a tenth of a second.
    let kwh = worked.answer.output.pointer("/energy_kwh").and_then(Value::as_f64).unwrap();
    assert!((kwh - 40.0 * 30.05 / 3600.0).abs() < 1e-4, "{kwh}");
    assert_eq!(worked.others, std::slice::from_ref(&other));
    assert_eq!(worked.answer.recordings["current"], other);
    assert_eq!(worked.answer.roles()["voltage"], channel("pack_v"));
    assert_eq!(worked.version, version_of(asked.method));
    let command = worked.clone().command(&asked, Made::of(9).digest()).unwrap();
    assert_eq!((command.topic.as_str(), command.interval), ("energy", Some(IntervalNumber(2))));
    let again: Answer = serde_json::from_value(command.result).unwrap();
    assert_eq!(again.fills[0].unit, Unit::KilowattHour);
}

#[test]
fn the_input_gives_the_same_answer_when_it_is_computed_again() {
    let (volts, amperes) = flown();
    let interval = interval(&volts, 10.0, 50.0);
    let asked = energy(&interval, "/energy_kwh");
    let worked = work(&asked, &gathered([volts, amperes]), &parameter).unwrap();
    let input: Value = serde_json::from_str(&worked.input).unwrap();
    assert!(input.get("samples").is_some());
    assert_eq!(worked.input, canonical(&input).unwrap(), "the text is canonical");
}

#[test]
fn a_figure_that_the_method_does_not_offer_or_of_another_kind_fills_nothing() {
    let (volts, amperes) = flown();
    let interval = interval(&volts, 10.0, 50.0);
    let all = gathered([volts, amperes]);
    for pointer in ["/nothing", "/charge_ah"] {
        let refused = work(&energy(&interval, pointer), &all, &parameter).unwrap_err();
        assert!(matches!(refused, NotReduced::Fill { .. }), "{refused}");
    }
}

#[test]
fn a_refusal_names_the_channel_and_not_the_part_alone() {
    let (volts, _) = flown();
    let interval = interval(&volts, 10.0, 50.0);
    let refused =
        work(&energy(&interval, "/energy_kwh"), &gathered([volts]), &parameter).unwrap_err();
    assert!(refused.to_string().contains("pack_a"), "{refused}");
}

#[test]
fn differences_are_told_by_their_place_with_the_change() {
    let (old, new) =
        (json!({ "a": 1.5, "b": [1, 2], "c": "x" }), json!({ "a": 2.0, "b": [1], "c": "x" }));
    let found = differences(&old, &new);
    let told: Vec<_> = found.iter().map(|it| (it.pointer.as_str(), it.change)).collect();
    assert_eq!(told, [("/a", Some(0.5)), ("/b/1", None)]);
}
