//! Predictions of stories, and whether their intervals hold what they promise.

#![allow(clippy::unwrap_used, clippy::panic)]

mod coverage;
mod holding;
mod replayed;

use super::*;
use crate::codes::LimitCode;
use crate::nouns::{PowerAvailable, TakeOffPower};
use crate::story::predictions::{flight, powered, prediction_rules};
use crate::story::{Story, code};

fn winding() -> Predicted {
    Predicted::Temperature { limit: code::<LimitCode>("L-winding") }
}

/// A run at 40 kW that showed 1.2 K for each kilowatt, air of 15 °C, and a point at 48 kW.
fn warmed() -> Story {
    let mut story = Story::team();
    story.predicting(prediction_rules()).plan(powered("W", 40.0)).plan(powered("N", 48.0));
    story.air(15.0);
    story.warmed("W", 1.2);
    story
}

fn of(story: &Story, point: &str) -> Predictions {
    predictions(&story.state, &story.rung(point).point, story.now)
}

#[test]
fn a_temperature_is_predicted_with_its_interval_what_it_rests_on_and_how_far_it_extrapolates() {
    let story = warmed();
    let found = of(&story, "N");
    let predicted = found.of(&winding()).unwrap();
    // 15 °C and 48 kW · 1.2 K/kW · (1 − e^(−600/200)) = 57.6 K · 0.950 213.
    assert!((predicted.value.estimate - 69.732).abs() < 0.001, "{predicted:?}");
    // Four runs' worth of a tenth: t(4) = 2.776 445 from tables; one run: √2 of 5.473 K, and readings of 0.3 K.
    let sd = (2.0 * 5.473_2_f64.powi(2) + 0.3_f64.powi(2)).sqrt();
    let half = predicted.value.high - predicted.value.estimate;
    assert!((half - 2.776_445 * sd).abs() < 0.05, "{half}");
    assert_eq!(predicted.basis.runs, [RunNumber(1)]);
    assert_eq!(predicted.basis.reductions, [ReductionNumber(1)]);
    assert_eq!(predicted.basis.recordings.len(), 1);
    // 48 kW are 20 % beyond 40 kW; 54.7 K are 9 % beyond 50 K.
    assert!((predicted.extrapolated_percent.unwrap() - 20.0).abs() < 1e-9);
    let detail = predicted.temperature.as_ref().unwrap();
    assert_eq!((detail.ambient.celsius, detail.ambient.basis), (15.0, AmbientBasis::Observed));
    // The hot day of 14 CFR 23.1043(b) is 37.78 °C at sea level.
    assert!((detail.hot_day.ambient_c - 37.78).abs() < 1e-9);
    assert!(detail.hot_day.passes_bound && (detail.hot_day.value.estimate - 92.512).abs() < 0.001);
    // It would settle at 72.6 °C, below 80 °C; the upper end does not.
    assert_eq!(detail.time_to_limit.estimate_s, None);
    assert!(detail.time_to_limit.earliest_s.unwrap() < 600.0);
    assert_eq!(detail.time_to_limit.latest_s, None);
    assert!(predicted.rests_on().contains("run 1") && predicted.rests_on().contains("20 % beyond"));
}

#[test]
fn more_runs_that_agree_make_the_interval_narrower_and_runs_that_do_not_make_it_wider() {
    let width = |rises: &[f64]| {
        let mut story = warmed();
        for rise in rises {
            story.warmed("W", *rise);
        }
        let found = of(&story, "N");
        let value = found.of(&winding()).unwrap().value;
        value.high - value.low
    };
    assert!(width(&[1.2, 1.2, 1.2]) < width(&[]));
    assert!(width(&[0.6, 1.8, 1.2]) > width(&[]));
}

#[test]
fn without_an_observation_the_air_is_as_warm_as_it_may_be() {
    let mut story = warmed();
    story.later(chrono::TimeDelta::minutes(61));
    let ambient = |story: &Story| {
        let found = of(story, "N");
        found.of(&winding()).unwrap().temperature.clone().unwrap().ambient
    };
    let hot = ambient(&story);
    assert!((hot.celsius - 37.78).abs() < 1e-9 && hot.basis == AmbientBasis::HotDay, "{hot:?}");
    let mut cool = powered("N", 48.0);
    cool.weather.temperature_at_most = Some(Measure::new(25.0, Unit::Celsius));
    story.plan(cool);
    assert_eq!(ambient(&story), Ambient { celsius: 25.0, basis: AmbientBasis::PointMaximum });
}

#[test]
fn what_was_recorded_with_another_version_of_an_item_says_nothing_and_undoing_the_change_restores_it()
 {
    let mut story = warmed();
    story.fit("motor", "2");
    let lost = of(&story, "N");
    assert_eq!(lost.unavailable[0], Unpredicted { what: winding(), why: WhyNot::NoData });
    story.fit("pack", "2");
    story.fit("motor", "1");
    assert!(of(&story, "N").of(&winding()).is_some(), "the winding does not depend on the pack");
    let recording = story.state.recordings.order[0].clone();
    story.set_aside(&recording);
    assert!(of(&story, "N").of(&winding()).is_none(), "a recording set aside is no basis");
}

#[test]
fn components_are_ordered_by_the_time_until_they_reach_their_limits() {
    let mut story = warmed();
    story.record("engineer", crate::record::LimitSet { limit: crate::story::limit("L-second") });
    let mut rules = prediction_rules();
    let mut second = rules.components[0].clone();
    second.limit = code("L-second");
    rules.components.push(second);
    story.predicting(rules).plan(powered("N", 60.0));
    let order = margin_order(&of(&story, "N"));
    assert_eq!(order.len(), 2);
    assert!(order[0].time_to_limit_s.unwrap() <= order[1].time_to_limit_s.unwrap());
    assert!(!order[0].certain, "both are the same winding");
    // 72 K in the long run over 15 °C: 65 K after 200 s · ln(72/7).
    assert!((order[0].time_to_limit_s.unwrap() - 466.2).abs() < 0.1, "{order:?}");
}

#[test]
fn energy_is_the_plan_by_what_runs_of_its_kind_took_of_theirs() {
    let mut story = warmed();
    story.drew("A", 1.2);
    story.drew("A", 1.0);
    let found = of(&story, "N");
    let energy = found.of(&Predicted::Energy {}).unwrap();
    assert!((energy.value.estimate - 1.1).abs() < 1e-12);
    assert!(energy.value.low < 1.0 && energy.value.high > 1.2);
    assert_eq!(energy.extrapolated_percent, Some(0.0));
    story.plan(flight("F", 70.0));
    let found = of(&story, "F");
    assert_eq!(found.of(&Predicted::Energy {}).unwrap().extrapolated_percent, None);
    let landing = found.of(&Predicted::LandingEnergy {}).unwrap();
    // 90 % of 36 kWh less 1.1 kWh; 10 min at 48 kW are 8 kWh.
    assert!((landing.value.estimate - 31.3).abs() < 1e-12);
    assert!((landing.bound.unwrap().figure - 8.0).abs() < 1e-12);
}

#[test]
fn damping_follows_a_line_over_speed_and_needs_three_speeds() {
    let mut story = warmed();
    for (name, speed) in [("F1", 50.0), ("F2", 60.0), ("F3", 70.0), ("F4", 85.0)] {
        story.plan(flight(name, speed));
    }
    let accel = Predicted::Damping { channel: code("accel") };
    story.rapped("F1", 0.020);
    story.rapped("F2", 0.019);
    let too_little = WhyNot::TooLittle { have: 2, need: 3 };
    let of_damping = |found: Predictions| {
        found.unavailable.into_iter().find(|it| it.what == accel).map(|it| it.why)
    };
    assert_eq!(of_damping(of(&story, "F4")), Some(too_little));
    story.rapped("F3", 0.018);
    let found = of(&story, "F4");
    let trend = found.of(&accel).unwrap();
    // 2 % at 50 kt and 0.01 % less for each knot.
    assert!((trend.value.estimate - 1.65).abs() < 1e-9);
    // 85 kt are 15 kt beyond 70 kt.
    assert!((trend.extrapolated_percent.unwrap() - 100.0 * 15.0 / 70.0).abs() < 1e-9);
}

fn take_off(rows: &[(f64, f64, f64)]) -> TakeOffPower {
    TakeOffPower {
        needed: Measure::new(50.0, Unit::Kilowatt),
        available: rows
            .iter()
            .map(|(charge_percent, pack_c, power_kw)| PowerAvailable {
                charge_percent: *charge_percent,
                pack_temperature: Measure::new(*pack_c, Unit::Celsius),
                power: Measure::new(*power_kw, Unit::Kilowatt),
            })
            .collect(),
        source: "the pack's handbook".to_owned(),
    }
}

#[test]
fn the_least_charge_at_take_off_is_that_for_the_power_or_that_for_energy_and_reserve() {
    let mut story = warmed();
    story.drew("A", 1.0);
    story.plan(flight("F", 70.0));
    let mut rules = prediction_rules();
    rules.take_off_power = Some(take_off(&[
        (20.0, 0.0, 20.0),
        (20.0, 20.0, 40.0),
        (60.0, 0.0, 40.0),
        (60.0, 20.0, 60.0),
        (100.0, 0.0, 60.0),
        (100.0, 20.0, 80.0),
    ]));
    story.predicting(rules.clone());
    let least = |story: &Story, pack_c: f64| {
        minimum_charge(&story.state, &story.rung("F").point, &of(story, "F"), pack_c)
    };
    // At 10 °C 30, 50 and 70 kW: 50 kW at 60 %. At 20 °C half way from 40 to 60 kW: 40 %. At 0 °C 80 %.
    for (pack_c, percent) in [(10.0, 60.0), (20.0, 40.0), (0.0, 80.0)] {
        let charge = least(&story, pack_c).unwrap();
        assert!((charge.percent - percent).abs() < 1e-9, "{pack_c} °C: {charge:?}");
        assert!(charge.for_energy_percent.unwrap() > 100.0 * 9.0 / 36.0);
    }
    for pack_c in [-0.1, 20.1, f64::NAN] {
        assert_eq!(least(&story, pack_c), Err(NoMinimumCharge::OutsideTemperatures), "{pack_c}");
    }
    rules.take_off_power.as_mut().unwrap().needed = Measure::new(81.0, Unit::Kilowatt);
    story.predicting(rules.clone());
    assert_eq!(least(&story, 20.0), Err(NoMinimumCharge::NeverEnough));
    rules.take_off_power = None;
    story.predicting(rules);
    let charge = least(&story, 20.0).unwrap();
    assert_eq!((Some(charge.percent), charge.for_power_percent), (charge.for_energy_percent, None));
}

#[test]
fn a_policy_without_rules_predicts_nothing_and_holds_nothing() {
    let mut story = warmed();
    story.record("safety", crate::record::PolicySet { policy: crate::story::policy() });
    assert_eq!(of(&story, "N"), Predictions::default());
}
