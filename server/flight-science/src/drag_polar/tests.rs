//! What holds for polars whatever they are.

#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use quantities::{Area, Density, EquivalentAirspeed, Mass, Power, TrueAirspeed};

use super::{DragPolar, LevelFlightPoint, fit_polar};

const AREA: Area = Area::from_square_metres(12.0);

fn point(polar: DragPolar, eas_kt: f64, mass_kg: f64, density: f64) -> LevelFlightPoint {
    let eas = EquivalentAirspeed::from_knots(eas_kt);
    let mass = Mass::from_kilograms(mass_kg);
    let tas = eas.metres_per_second() / (density / 1.225).sqrt();
    LevelFlightPoint {
        true_airspeed: TrueAirspeed::from_metres_per_second(tas),
        density: Density::from_kg_per_m3(density),
        mass,
        thrust_power: Power::from_watts(polar.drag_n(eas, mass) * tas),
    }
}

proptest! {
    #[test]
    fn the_polar_that_made_the_points_is_found_in_any_order_of_them(
        cd0 in 0.01..0.08_f64,
        k in 0.02..0.1_f64,
        densities in prop::collection::vec(0.8..1.3_f64, 5),
        masses_kg in prop::collection::vec(500.0..700.0_f64, 5),
        turn in 0..5_usize,
    ) {
        let polar = DragPolar { cd0, k, wing_area: AREA };
        let mut points: Vec<LevelFlightPoint> = densities
            .iter()
            .zip(&masses_kg)
            .enumerate()
            .map(|(index, (density, mass))| point(polar, 55.0 + 12.0 * index as f64, *mass, *density))
            .collect();
        points.rotate_left(turn);
        let fitted = fit_polar(&points, AREA).unwrap();
        // Another sea-level density than 1.225 enters drag and speed alike, to its own rounding.
        prop_assert!((fitted.polar.cd0 / cd0 - 1.0).abs() < 1e-6);
        prop_assert!((fitted.polar.k / k - 1.0).abs() < 1e-6);
    }

    #[test]
    fn least_power_is_flown_slower_than_the_best_glide_by_the_fourth_root_of_three(
        cd0 in 0.01..0.08_f64,
        k in 0.02..0.1_f64,
        mass_kg in 300.0..2000.0_f64,
    ) {
        let polar = DragPolar { cd0, k, wing_area: AREA };
        let mass = Mass::from_kilograms(mass_kg);
        let ratio = polar.best_glide_speed(mass).knots() / polar.least_power_speed(mass).knots();
        prop_assert!((ratio - 3.0_f64.powf(0.25)).abs() < 1e-12);
    }
}
