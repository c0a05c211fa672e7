//! What holds for climbs whatever they are, and the published figures of functions without a topic.

#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use quantities::{
    CalibratedAirspeed, ClimbRate, Mass, PressureAltitude, Temperature, TrueAirspeed,
};
use serde::Deserialize;

use super::{ClimbPoint, energy_rate, fit_climb_curve};

#[derive(Deserialize)]
struct Rows {
    row: Vec<Row>,
}

#[derive(Deserialize)]
struct Row {
    climb_rate_fpm: f64,
    tas_kt: f64,
    gained_kt_per_1000_ft: f64,
    energy_rate_fpm: f64,
    within_rel: f64,
}

#[test]
fn the_energy_rate_meets_its_published_rows() {
    let rows: Rows =
        toml::from_str(include_str!("../../published/climb_energy_rate.toml")).unwrap();
    assert_eq!(rows.row.len(), 3);
    for row in rows.row {
        let gained = TrueAirspeed::from_knots(row.gained_kt_per_1000_ft).metres_per_second()
            / PressureAltitude::from_feet(1000.0).metres();
        let rate = energy_rate(
            ClimbRate::from_feet_per_minute(row.climb_rate_fpm),
            TrueAirspeed::from_knots(row.tas_kt),
            gained,
        );
        let off = rate.feet_per_minute() / row.energy_rate_fpm - 1.0;
        assert!(off.abs() <= row.within_rel, "{off:e}");
    }
}

fn climb(cas_kt: f64, rate_fpm: f64, mass_kg: f64) -> ClimbPoint {
    ClimbPoint {
        airspeed: CalibratedAirspeed::from_knots(cas_kt),
        pressure_rate: ClimbRate::from_feet_per_minute(rate_fpm),
        mass: Mass::from_kilograms(mass_kg),
        altitude: PressureAltitude::from_feet(2000.0),
        temperature: Temperature::from_celsius(20.0),
    }
}

proptest! {
    #[test]
    fn a_heavier_reference_mass_never_climbs_better(
        rate_fpm in 100.0..1500.0_f64,
        heavier_by in 1.0..60.0_f64,
    ) {
        let point = climb(65.0, rate_fpm, 600.0);
        let polar = crate::drag_polar::DragPolar {
            cd0: 0.035,
            k: 0.05,
            wing_area: quantities::Area::from_square_metres(12.0),
        };
        for polar in [None, Some(&polar)] {
            let same = point.reduce(Mass::from_kilograms(600.0), polar).unwrap();
            let heavier = point.reduce(Mass::from_kilograms(600.0 + heavier_by), polar).unwrap();
            prop_assert!(heavier.corrected_rate.feet_per_minute() < same.corrected_rate.feet_per_minute());
        }
    }

    #[test]
    fn the_order_of_the_climbs_does_not_matter(
        errors_fpm in prop::collection::vec(-8.0..8.0_f64, 6),
        turn in 1..6_usize,
    ) {
        let mut points: Vec<(CalibratedAirspeed, ClimbRate)> = errors_fpm
            .iter()
            .enumerate()
            .map(|(index, error)| {
                let knots = 50.0 + 7.0 * index as f64;
                let rate = 700.0 - 0.4 * (knots - 68.0).powi(2) + error;
                (CalibratedAirspeed::from_knots(knots), ClimbRate::from_feet_per_minute(rate))
            })
            .collect();
        let before = fit_climb_curve(&points).unwrap();
        points.rotate_left(turn);
        points.swap(0, 2);
        let after = fit_climb_curve(&points).unwrap();
        prop_assert!((before.best_rate_speed().knots() - after.best_rate_speed().knots()).abs() < 1e-9);
        prop_assert!((before.fit.residual_sd().unwrap() - after.fit.residual_sd().unwrap()).abs() < 1e-9);
    }
}
