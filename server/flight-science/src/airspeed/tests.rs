//! What airspeeds have to do with one another, whatever the air.

#![allow(clippy::unwrap_used, clippy::panic)]

use proptest::prelude::*;
use serde::Deserialize;

use super::*;

fn air(pressure_altitude_ft: f64, oat_c: f64) -> Air {
    let temperature = Temperature::from_celsius(oat_c);
    Air::at(PressureAltitude::from_feet(pressure_altitude_ft), Some(temperature)).unwrap()
}

fn relative(one: f64, other: f64) -> f64 {
    (one / other - 1.0).abs()
}

proptest! {
    #[test]
    fn a_true_airspeed_is_found_again_from_each_other_kind(
        tas_kt in 0.01..=560.0, altitude_ft in -5_000.0..=60_000.0, oat_c in -60.0..=50.0,
    ) {
        let air = air(altitude_ft, oat_c);
        let Ok(given) = Airspeeds::from_true(TrueAirspeed::from_knots(tas_kt), air) else {
            // Beyond the speed of sound: nothing to find again.
            return Ok(());
        };
        for found in [
            Airspeeds::from_calibrated(given.calibrated, air).unwrap(),
            Airspeeds::from_equivalent(given.equivalent, air).unwrap(),
            Airspeeds::from_mach(given.mach, air).unwrap(),
        ] {
            prop_assert!(relative(found.true_airspeed.knots(), tas_kt) < 1.0e-9);
            prop_assert!(relative(found.calibrated.knots(), given.calibrated.knots()) < 1.0e-9);
            prop_assert!(relative(found.impact_pressure.pascals(), given.impact_pressure.pascals()) < 1.0e-9);
        }
    }

    #[test]
    fn equivalent_is_never_above_calibrated_airspeed_above_sea_level(
        mach in 0.0..1.0, altitude_ft in 0.0..=60_000.0, oat_c in -60.0..=50.0,
    ) {
        let speeds = Airspeeds::from_mach(Mach::from_ratio(mach), air(altitude_ft, oat_c)).unwrap();
        prop_assert!(speeds.equivalent.knots() <= speeds.calibrated.knots() * (1.0 + 1.0e-12));
    }

    #[test]
    fn a_higher_calibrated_airspeed_is_a_higher_true_airspeed(
        cas_kt in 0.0..=300.0, faster_kt in 0.001..=50.0, altitude_ft in -5_000.0..=20_000.0, oat_c in -60.0..=50.0,
    ) {
        let air = air(altitude_ft, oat_c);
        let at = |knots| Airspeeds::from_calibrated(CalibratedAirspeed::from_knots(knots), air).unwrap();
        prop_assert!(at(cas_kt + faster_kt).true_airspeed > at(cas_kt).true_airspeed);
        prop_assert!(at(cas_kt + faster_kt).equivalent > at(cas_kt).equivalent);
    }

    #[test]
    fn the_same_calibrated_airspeed_is_faster_through_thinner_or_warmer_air(
        cas_kt in 20.0..=200.0, altitude_ft in -5_000.0..=25_000.0, oat_c in -60.0..=40.0,
        higher_ft in 1.0..=5_000.0, warmer_c in 0.1..=10.0,
    ) {
        let cas = CalibratedAirspeed::from_knots(cas_kt);
        let here = Airspeeds::from_calibrated(cas, air(altitude_ft, oat_c)).unwrap();
        let higher = Airspeeds::from_calibrated(cas, air(altitude_ft + higher_ft, oat_c)).unwrap();
        let warmer = Airspeeds::from_calibrated(cas, air(altitude_ft, oat_c + warmer_c)).unwrap();
        prop_assert!(higher.true_airspeed > here.true_airspeed);
        prop_assert!(warmer.true_airspeed > here.true_airspeed);
    }

    #[test]
    fn impact_pressure_is_dynamic_pressure_and_a_compressible_rest(
        mach in 0.001..1.0, altitude_ft in -5_000.0..=60_000.0, oat_c in -60.0..=50.0,
    ) {
        let Ok(speeds) = Airspeeds::from_mach(Mach::from_ratio(mach), air(altitude_ft, oat_c)) else {
            return Ok(());
        };
        let ratio = speeds.impact_pressure.pascals() / speeds.dynamic_pressure.pascals();
        // qc/q = 1 + M²/4 + M⁴/40 + M⁶/1600 + …, the series of (1 + 0.2 M²)^3.5.
        let series = 1.0 + mach.powi(2) / 4.0 + mach.powi(4) / 40.0 + mach.powi(6) / 1_600.0;
        prop_assert!((ratio - series).abs() < 1.0e-4);
    }
}

#[test]
fn all_airspeeds_are_one_at_sea_level_in_the_standard_atmosphere() {
    let air = Air::at(PressureAltitude::from_feet(0.0), None).unwrap();
    for knots in [0.0, 1.0e-6, 40.0, 250.0, 661.0] {
        let speeds =
            Airspeeds::from_calibrated(CalibratedAirspeed::from_knots(knots), air).unwrap();
        assert!((speeds.true_airspeed.knots() - knots).abs() <= knots * 1.0e-12);
        assert!((speeds.equivalent.knots() - knots).abs() <= knots * 1.0e-12);
    }
}

#[test]
fn the_speed_of_sound_and_beyond_is_refused_and_one_step_below_is_not() {
    let air = Air::at(PressureAltitude::from_feet(8_000.0), None).unwrap();
    assert!(matches!(
        Airspeeds::from_mach(Mach::from_ratio(1.0), air),
        Err(BeyondSubsonic::Supersonic { .. })
    ));
    assert!(Airspeeds::from_mach(Mach::from_ratio(1.0_f64.next_down()), air).is_ok());
    assert!(matches!(
        Airspeeds::from_calibrated(CalibratedAirspeed::from_knots(-1.0), air),
        Err(BeyondSubsonic::NotASpeed { .. })
    ));
    assert!(Airspeeds::from_calibrated(CalibratedAirspeed::from_knots(f64::NAN), air).is_err());
    // In denser air than at sea level the indicator ends before the speed of sound is reached.
    let below_sea_level = Air::at(PressureAltitude::from_feet(-5_000.0), None).unwrap();
    assert!(matches!(
        Airspeeds::from_mach(Mach::from_ratio(0.99), below_sea_level),
        Err(BeyondSubsonic::CalibratedBeyondIndicator { .. })
    ));
}

#[derive(Deserialize)]
struct ImpactPressureRatios {
    case: Vec<ImpactPressureRatioCase>,
}

#[derive(Deserialize)]
struct ImpactPressureRatioCase {
    source: String,
    mach: f64,
    impact_pressure_ratio: f64,
    within_rel: f64,
}

#[test]
fn the_impact_pressure_ratio_is_the_published_one() {
    let published: ImpactPressureRatios =
        toml::from_str(include_str!("../../published/impact_pressure_ratio.toml")).unwrap();
    for case in published.case {
        let ours = impact_pressure_ratio(Mach::from_ratio(case.mach));
        assert!(
            relative(ours, case.impact_pressure_ratio) <= case.within_rel,
            "{}: {ours} at Mach {}",
            case.source,
            case.mach
        );
        assert!(relative(mach_of_impact_pressure_ratio(ours).ratio(), case.mach) < 1.0e-14);
    }
}
