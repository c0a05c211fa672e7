//! The search against every order and every waiting there is.

use std::sync::atomic::AtomicBool;

use flight_science::charging::Taper;
use proptest::prelude::*;
use quantities::Power;

use super::super::physics::{GroundBattery, Grounds, Part, Standing};
use super::super::search::{Begun, Candidate, Found, Problem, search};

fn candidate(steps: usize, value: f64, energy_kwh: f64) -> Candidate {
    Candidate {
        value,
        set_up: 0,
        run: 2,
        turn_round: 1,
        energy_kwh,
        may_begin: vec![true; steps],
        after: Vec::new(),
        on_board: vec![0],
        run_min: 10.0,
    }
}

/// Twelve kilowatt-hours in the pack, of which two stay; a charger of 12 kW, so one kilowatt-hour a step.
fn grounds() -> Grounds {
    Grounds {
        usable_kwh: 12.0,
        begins_kwh: 12.0,
        least_kwh: 2.0,
        taper: None,
        charger_kw: 12.0,
        efficiency: 1.0,
        mains_kw: 12.0,
        panels_kw: Vec::new(),
        ground: None,
        parts: Vec::new(),
        air_c: vec![15.0],
    }
}

fn problem(steps: usize, candidates: Vec<Candidate>) -> Problem {
    Problem {
        steps,
        candidates,
        grounds: grounds(),
        acceptance: 0,
        flight_min: vec![f64::INFINITY],
        most_runs: 50,
    }
}

fn found(problem: &Problem) -> Found {
    search(problem, &Begun::fresh(problem), &AtomicBool::new(false)).unwrap()
}

/// The best value of all ways to wait and to begin runs, one by one.
fn best_of_all(problem: &Problem, done: u64, step: usize, standing: &Standing) -> f64 {
    if step >= problem.steps {
        return 0.0;
    }
    let begun = Begun::fresh(problem);
    let waited = problem.grounds.rest(standing, step);
    let mut best = best_of_all(problem, done, step + 1, &waited);
    for which in 0..problem.candidates.len() {
        if let Some((after, ready)) = problem.begin(&begun, done, step, standing, which) {
            let rest = best_of_all(problem, done | 1 << which, ready, &after);
            best = best.max(problem.candidates[which].value + rest);
        }
    }
    best
}

/// Plays the runs through once more, and wants each to be possible when it begins.
fn is_possible(problem: &Problem, found: &Found) -> bool {
    let begun = Begun::fresh(problem);
    let (mut step, mut done, mut standing) = (0, 0_u64, begun.standing.clone());
    for (which, begins) in &found.runs {
        if *begins < step {
            return false;
        }
        standing = (step..*begins).fold(standing, |it, step| problem.grounds.rest(&it, step));
        let Some((after, ready)) = problem.begin(&begun, done, *begins, &standing, *which) else {
            return false;
        };
        (standing, step) = (after, ready);
        done |= 1 << which;
    }
    true
}

#[test]
fn with_energy_for_one_run_the_one_that_is_worth_more_is_made() {
    let mut day = problem(6, vec![candidate(6, 1.0, 9.0), candidate(6, 5.0, 9.0)]);
    day.grounds.mains_kw = 0.0;
    let best = found(&day);
    assert_eq!((best.runs, best.value, best.at_most), (vec![(1, 0)], 5.0, 5.0));
}

#[test]
fn a_second_run_waits_until_the_pack_has_its_energy() {
    // 12 less 9 is 3, one above what stays; a kilowatt-hour a step makes 11 after eight more.
    let day = problem(20, vec![candidate(20, 1.0, 9.0), candidate(20, 5.0, 9.0)]);
    let best = found(&day);
    assert_eq!(best.value, 6.0);
    assert_eq!(best.runs[0].1, 0);
    assert!(best.runs[1].1 >= 3 + 8, "{best:?}");
    let trace = day.trace(&best.runs);
    assert!(trace.iter().all(|it| it.standing.pack_kwh >= 2.0 - 1e-9));
}

#[test]
fn a_part_that_is_warm_cools_down_before_the_next_run() {
    let mut day = problem(40, vec![candidate(40, 1.0, 2.0), candidate(40, 1.0, 2.0)]);
    // 12 kW for ten minutes: 15 + 6 × 12 × (1 − e⁻¹) = 60.5 °C from the air's 15 °C.
    let part = Part { time_constant_min: 10.0, rise_c_per_kw: 6.0, begins_c: 15.0, most_c: 62.0 };
    day.grounds.parts = vec![part];
    let best = found(&day);
    assert_eq!(best.value, 2.0);
    let gap = best.runs[1].1 - 3;
    // At the second start it may be 4.0 K over the air: 62 = 60.5 + 4.0 e⁻¹; from 45.5 K that takes 10 ln(45.5/4) = 24 min.
    assert_eq!(gap + 1, 5, "{best:?}");
}

#[test]
fn what_comes_before_is_accepted_first_and_minutes_on_board_are_kept() {
    let mut day = problem(30, vec![candidate(30, 1.0, 1.0), candidate(30, 9.0, 1.0)]);
    day.candidates[1].after = vec![0];
    day.acceptance = 6;
    // The run ends after two steps and is accepted six steps later.
    assert_eq!(found(&day).runs, [(0, 0), (1, 8)]);
    day.flight_min = vec![15.0];
    let one = found(&day);
    assert_eq!((one.runs, one.value), (vec![(0, 0)], 1.0));
    day.flight_min = vec![20.0];
    assert_eq!(found(&day).value, 10.0);
    day.most_runs = 1;
    assert_eq!(found(&day).value, 1.0);
}

#[test]
fn more_candidates_than_can_be_searched_get_a_plan_with_what_none_exceeds() {
    let candidates = (0..30).map(|place| candidate(40, f64::from(place + 1), 0.5)).collect();
    let day = problem(40, candidates);
    let plan = found(&day);
    assert!(is_possible(&day, &plan) && plan.runs.len() == 13, "{plan:?}");
    assert!(plan.at_most >= plan.value && plan.at_most < 1.1 * plan.value, "{plan:?}");
}

#[test]
fn sixteen_candidates_are_planned_at_their_best_and_a_stop_is_heeded() {
    let candidates = (0..16_i32)
        .map(|place| {
            let mut it = candidate(60, f64::from(1 + place * 7 % 5), 2.0 + f64::from(place % 4));
            it.run = 1 + place as usize % 3;
            it.after = if place % 5 == 4 { vec![place as usize - 4] } else { Vec::new() };
            it
        })
        .collect();
    let mut day = problem(60, candidates);
    day.acceptance = 4;
    let plan = found(&day);
    assert!(is_possible(&day, &plan));
    assert_eq!(plan.value, plan.at_most);
    let stopped = search(&day, &Begun::fresh(&day), &AtomicBool::new(true));
    assert!(stopped.is_err());
}

prop_compose! {
    fn any_candidate(steps: usize)(
        value in 0.5_f64..10.0, set_up in 0..2_usize, run in 1..3_usize, turn_round in 0..3_usize,
        energy_kwh in 0.5_f64..7.0, shut in proptest::collection::vec(proptest::bool::weighted(0.25), steps),
        aboard in 0..2_usize,
    ) -> Candidate {
        Candidate {
            value, set_up, run, turn_round, energy_kwh,
            may_begin: shut.into_iter().map(|shut| !shut).collect(),
            after: Vec::new(),
            on_board: vec![aboard],
            run_min: run as f64 * 5.0,
        }
    }
}

prop_compose! {
    fn any_problem()(steps in 6..13_usize)(
        steps in Just(steps),
        candidates in proptest::collection::vec(any_candidate(steps), 1..5),
        waits in proptest::collection::vec(proptest::option::weighted(0.4, 0..4_usize), 4),
        acceptance in 0..4_usize,
        begins in 0.0_f64..1.0, charger_kw in 0.0_f64..60.0, mains_kw in 0.0_f64..30.0,
        panels_kw in proptest::collection::vec(0.0_f64..40.0, steps),
        air_c in proptest::collection::vec(-5.0_f64..30.0, steps),
        ground in proptest::option::of((0.0_f64..1.0, 1.0_f64..40.0)),
        tapers in any::<bool>(), rise in 0.0_f64..1.2, most_c in 25.0_f64..60.0,
        flight_min in proptest::collection::vec(5.0_f64..40.0, 2), most_runs in 1..5_usize,
    ) -> Problem {
        let mut candidates = candidates;
        for (place, wait) in waits.into_iter().enumerate().take(candidates.len()) {
            candidates[place].after = wait.into_iter().filter(|before| *before < place).collect();
        }
        let kilowatts = Power::from_kilowatts;
        let grounds = Grounds {
            usable_kwh: 12.0,
            begins_kwh: 12.0 * begins,
            least_kwh: 2.0,
            taper: tapers
                .then(|| Taper::new(vec![(0.0, kilowatts(40.0)), (0.6, kilowatts(40.0)), (1.0, kilowatts(4.0))]))
                .flatten(),
            charger_kw,
            efficiency: 0.9,
            mains_kw,
            panels_kw,
            ground: ground.map(|(state, power_kw)| GroundBattery {
                usable_kwh: 10.0, begins_kwh: 10.0 * state, least_kwh: 0.0, power_kw,
            }),
            parts: vec![
                Part { time_constant_min: 12.0, rise_c_per_kw: rise, begins_c: 20.0, most_c },
                Part { time_constant_min: 40.0, rise_c_per_kw: 0.8 * rise, begins_c: 22.0, most_c: 50.0 },
            ],
            air_c,
        };
        Problem { steps, candidates, grounds, acceptance, flight_min, most_runs }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_plan_is_the_best_of_all_orders_and_waits(day in any_problem()) {
        let plan = found(&day);
        let best = best_of_all(&day, 0, 0, &Begun::fresh(&day).standing);
        prop_assert!((plan.value - best).abs() < 1e-6, "{} is found, {best} is the best", plan.value);
        prop_assert!((plan.at_most - plan.value).abs() < 1e-9);
        prop_assert!(is_possible(&day, &plan));
    }
}
