//! What holds of the standard atmosphere at any altitude.

#![allow(clippy::unwrap_used, clippy::panic)]

use proptest::prelude::*;

use super::*;

proptest! {
    #[test]
    fn an_altitude_is_found_again_from_its_pressure_and_from_its_density(metres in LOWEST_M..=HIGHEST_M) {
        let altitude = PressureAltitude::from_metres(metres);
        let air = Air::at(altitude, None).unwrap();
        let by_pressure = altitude_of_pressure(air.pressure).unwrap();
        let by_density = altitude_of_density(air.density()).unwrap();
        prop_assert!((by_pressure.metres() - metres).abs() < 1.0e-8);
        prop_assert!((by_density.metres() - metres).abs() < 1.0e-8);
    }

    #[test]
    fn pressure_and_density_fall_with_altitude(low in LOWEST_M..=HIGHEST_M, high in LOWEST_M..=HIGHEST_M) {
        prop_assume!(low < high);
        let lower = Air::at(PressureAltitude::from_metres(low), None).unwrap();
        let upper = Air::at(PressureAltitude::from_metres(high), None).unwrap();
        prop_assert!(upper.pressure <= lower.pressure);
        prop_assert!(upper.density() <= lower.density());
        prop_assert!(upper.temperature <= lower.temperature);
    }

    #[test]
    fn warmer_air_never_has_a_lower_density_altitude(
        metres in 0.0..=12_000.0, colder_c in -60.0..=50.0, by_k in 0.0..=10.0,
    ) {
        let altitude = PressureAltitude::from_metres(metres);
        let at = |celsius| {
            let air = Air::at(altitude, Some(Temperature::from_celsius(celsius))).unwrap();
            altitude_of_density(air.density()).unwrap()
        };
        prop_assert!(at(colder_c + by_k) >= at(colder_c));
    }
}

#[test]
fn pressure_and_density_do_not_jump_at_the_tropopause() {
    let below = Air::at(PressureAltitude::from_metres(TROPOPAUSE_M), None).unwrap();
    let above = Air::at(PressureAltitude::from_metres(TROPOPAUSE_M + 1.0e-6), None).unwrap();
    assert!((above.pressure.pascals() / below.pressure.pascals() - 1.0).abs() < 1.0e-9);
    assert!((above.density().kg_per_m3() / below.density().kg_per_m3() - 1.0).abs() < 1.0e-9);
    assert_eq!(below.temperature, Temperature::from_kelvins(STRATOSPHERE_K));
}

#[test]
fn an_altitude_beyond_the_layers_is_refused_and_the_limit_in_whole_feet_is_not() {
    let at = |feet| Air::at(PressureAltitude::from_feet(feet), None);
    assert!(at(*PRESSURE_ALTITUDES_FT.start()).is_ok() && at(*PRESSURE_ALTITUDES_FT.end()).is_ok());
    assert!(at(-16_406.0).is_err() && at(65_619.0).is_err());
    assert!(at(f64::NAN).is_err() && at(f64::INFINITY).is_err());
    assert!(altitude_of_pressure(Pressure::from_pascals(f64::NAN)).is_err());
    assert!(altitude_of_pressure(Pressure::from_pascals(-1.0)).is_err());
    assert!(altitude_of_density(Density::from_kg_per_m3(0.0)).is_err());
}
