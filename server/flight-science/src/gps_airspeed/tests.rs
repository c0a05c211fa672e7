//! What holds for legs whatever they are.

#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use quantities::{Angle, GroundSpeed};

use super::{Leg, solve_legs, three_leg_choices};

/// The leg that results from holding a heading at an airspeed in a wind: the wind triangle forwards. Speeds in knots.
fn flown(heading_deg: f64, tas_kt: f64, wind_kt: f64, wind_from_deg: f64) -> Leg {
    let (air_east, air_north) = heading_deg.to_radians().sin_cos();
    let (from_east, from_north) = wind_from_deg.to_radians().sin_cos();
    let east = tas_kt * air_east - wind_kt * from_east;
    let north = tas_kt * air_north - wind_kt * from_north;
    Leg {
        ground_speed: GroundSpeed::from_knots(east.hypot(north)),
        track: Angle::from_radians(east.atan2(north)),
    }
}

fn apart_deg(one: f64, other: f64) -> f64 {
    ((one - other + 540.0).rem_euclid(360.0) - 180.0).abs()
}

/// Kevin Horton, "Flight Testing: Finding TAS from GPS Data", Kitplanes 2009: 100 kt in a 20 kt west wind.
#[test]
fn the_wind_triangle_gives_the_published_ground_speeds_of_a_four_way_run() {
    for (heading, published_kt) in [(0.0, 102.0), (90.0, 120.0), (180.0, 102.0), (270.0, 80.0)] {
        let leg = flown(heading, 100.0, 20.0, 270.0);
        assert!((leg.ground_speed.knots() - published_kt).abs() < 0.05);
    }
}

#[test]
fn four_legs_are_chosen_in_the_order_of_the_four_leg_method() {
    assert_eq!(three_leg_choices(4), [[0, 1, 2], [1, 2, 3], [2, 3, 0], [3, 0, 1]]);
}

#[test]
fn every_choice_of_three_legs_comes_once() {
    for (count, expected) in [(3, 1), (5, 10), (6, 20), (9, 84)] {
        let mut choices = three_leg_choices(count);
        for choice in &mut choices {
            choice.sort_unstable();
        }
        choices.sort_unstable();
        choices.dedup();
        assert_eq!(choices.len(), expected);
    }
}

proptest! {
    #[test]
    fn any_airspeed_and_slower_wind_are_found_again(
        tas_kt in 30.0..300.0_f64,
        wind_share in 0.0..0.7_f64,
        wind_from_deg in 0.0..360.0_f64,
        first_deg in 0.0..360.0_f64,
        count in 3..9_usize,
    ) {
        let wind_kt = wind_share * tas_kt;
        let legs: Vec<Leg> = (0..count)
            .map(|leg| first_deg + 360.0 * leg as f64 / count as f64)
            .map(|heading| flown(heading, tas_kt, wind_kt, wind_from_deg))
            .collect();
        let found = solve_legs(&legs).unwrap().solution;
        prop_assert!((found.true_airspeed.knots() / tas_kt - 1.0).abs() < 1e-9);
        prop_assert!((found.wind_speed.knots() - wind_kt).abs() < 1e-9 * tas_kt);
        prop_assert!(apart_deg(found.heading(&legs[0]).degrees(), first_deg) < 1e-6);
        if wind_kt > 1.0 {
            prop_assert!(apart_deg(found.wind_from.degrees(), wind_from_deg) < 1e-5);
        }
    }

    #[test]
    fn the_order_of_the_legs_does_not_matter(
        errors_kt in prop::collection::vec(-1.0..1.0_f64, 6),
        turn in 1..6_usize,
    ) {
        let mut legs: Vec<Leg> = errors_kt
            .iter()
            .enumerate()
            .map(|(leg, error)| flown(60.0 * leg as f64, 90.0 + error, 15.0, 220.0))
            .collect();
        let before = solve_legs(&legs).unwrap();
        legs.rotate_left(turn);
        legs.swap(0, 3);
        let after = solve_legs(&legs).unwrap();
        prop_assert!((before.solution.true_airspeed.knots() - after.solution.true_airspeed.knots()).abs() < 1e-8);
        prop_assert!((before.solution.wind_speed.knots() - after.solution.wind_speed.knots()).abs() < 1e-8);
        prop_assert!((before.true_airspeed_se_m_s.unwrap() - after.true_airspeed_se_m_s.unwrap()).abs() < 1e-8);
    }
}
