//! The order of heating.

use programme::commands::JudgedHeating;
use programme::nouns::{Policy, RiskLevel, RiskMatrix, TimedRating};
use programme::record::HeatingOutcome;

use super::*;
use crate::heating::heating;

const ROWS: usize = 300;

fn programme() -> State {
    let named = |code: &str, limit: Limit| Limit { code: LimitCode::new(code).unwrap(), ..limit };
    let timed = vec![TimedRating { value: 70.0, seconds: 300.0 }];
    let power = LimitKind::Rating { continuous: 50.0, timed };
    let mut state = state(
        &[
            channel("winding", Unit::Celsius, None),
            channel("cell", Unit::Celsius, None),
            channel("kw", Unit::Kilowatt, None),
        ],
        vec![
            named("L-CELL", limit("cell", Unit::Celsius, maximum(55.0))),
            named("L-POWER", limit("kw", Unit::Kilowatt, power)),
            named("L-WINDING", limit("winding", Unit::Celsius, maximum(120.0))),
        ],
    );
    state.policy = Some(Policy {
        weather_good_for_min: 60,
        longest_release_h: 24,
        risk: RiskMatrix {
            source: "the team (invented)".to_owned(),
            rows: [[RiskLevel::Low; 6]; 4],
            accepted_by: Vec::new(),
        },
        build_up: Vec::new(),
        required_totals: Vec::new(),
        heating_order: ["L-WINDING", "L-CELL"].map(|it| LimitCode::new(it).unwrap()).to_vec(),
        heating_horizon_min: None,
        quarantine: Vec::new(),
        build_up_pairs: Vec::new(),
        predictions: None,
    });
    state
}

fn line(start: f64, per_s: f64) -> Vec<f64> {
    (0..ROWS).map(|row| start + per_s * row as f64).collect()
}

fn of(kw: f64, winding: Option<&[f64]>, cell: Option<&[f64]>) -> Option<JudgedHeating> {
    let state = programme();
    let kw = vec![kw; ROWS];
    let mut files = vec![recording(1, "motor", 0.0, &[("kw", Unit::Kilowatt, &kw)])];
    for (which, name, values) in [(2, "winding", winding), (3, "cell", cell)] {
        if let Some(values) = values {
            files.push(recording(which, name, 0.0, &[(name, Unit::Celsius, values)]));
        }
    }
    heating(&question(&state), &files).unwrap()
}

#[test]
fn the_order_is_told_over_all_recorders_of_the_run() {
    let judged = of(45.0, Some(&line(40.0, 0.2)), Some(&line(20.0, 0.01))).unwrap();
    assert_eq!(judged.outcome, HeatingOutcome::InOrder);
    assert_eq!(judged.first.as_ref().unwrap().as_str(), "L-WINDING");
    assert_eq!(judged.components[1].peak, Some(20.0 + 0.01 * 299.0));
    let judged = of(45.0, Some(&line(40.0, 0.01)), Some(&line(20.0, 0.1))).unwrap();
    assert_eq!(judged.outcome, HeatingOutcome::OutOfOrder);
    assert_eq!(judged.first.unwrap().as_str(), "L-CELL");
}

#[test]
fn a_component_without_readings_leaves_the_order_unknown() {
    let judged = of(45.0, Some(&line(40.0, 0.2)), None).unwrap();
    assert_eq!(judged.outcome, HeatingOutcome::Unknown);
    assert_eq!(judged.components[1].peak, None);
}

#[test]
fn without_load_nothing_is_judged_and_half_the_continuous_rating_is_load() {
    let (winding, cell) = (line(40.0, 0.2), line(20.0, 0.01));
    assert!(of(24.9, Some(&winding), Some(&cell)).is_none());
    assert!(of(25.0, Some(&winding), Some(&cell)).is_some());
}

#[test]
fn a_load_that_was_silent_leaves_the_order_unknown_and_files_without_it_say_nothing() {
    let state = programme();
    let readings = line(40.0, 0.2);
    let silent = [f64::NAN; ROWS];
    let columns: [(&str, Unit, &[f64]); 2] =
        [("winding", Unit::Celsius, &readings), ("kw", Unit::Kilowatt, &silent)];
    let judged = heating(&question(&state), &[recording(1, "r", 0.0, &columns)]);
    let judged = judged.unwrap().unwrap();
    assert_eq!(judged.outcome, HeatingOutcome::Unknown);
    assert_eq!(judged.components[0].peak, readings.last().copied());
    // The file of the battery is often attached before that of the motor.
    let only = [recording(1, "r", 0.0, &[("winding", Unit::Celsius, &readings)])];
    assert!(heating(&question(&state), &only).unwrap().is_none());
}

#[test]
fn a_run_in_which_nothing_would_reach_its_limit_says_nothing_of_the_order() {
    let cools = line(40.0, -0.01);
    assert!(of(45.0, Some(&cools), Some(&cools)).is_none());
    assert!(of(45.0, Some(&cools), None).is_some(), "what has no reading is not known");
}

#[test]
fn a_limit_beyond_the_horizon_of_the_policy_is_not_reached() {
    let mut state = programme();
    let kw = [45.0; ROWS];
    // The cell would take 3,200 s, and the winding would never come.
    let columns: [(&str, Unit, &[f64]); 3] = [
        ("kw", Unit::Kilowatt, &kw),
        ("winding", Unit::Celsius, &line(60.0, -0.01)),
        ("cell", Unit::Celsius, &line(20.0, 0.01)),
    ];
    let mut within = |minutes| {
        state.policy.as_mut().unwrap().heating_horizon_min = Some(minutes);
        heating(&question(&state), &[recording(1, "r", 0.0, &columns)]).unwrap()
    };
    let judged = within(60).unwrap();
    assert_eq!((judged.outcome, judged.horizon_min), (HeatingOutcome::OutOfOrder, Some(60)));
    assert!(within(30).is_none());
}
