//! Holds the conversion factors to the rows of `published/units.toml`.

#![allow(clippy::unwrap_used, clippy::panic)]

use quantities::{
    Charge, Current, Energy, Length, Power, Pressure, Temperature, TrueAirspeed, Voltage, units,
};
use serde::Deserialize;

#[derive(Deserialize)]
struct Published {
    factor: Vec<Factor>,
    temperature: Vec<TemperatureCase>,
}

#[derive(Deserialize)]
struct Factor {
    source: String,
    status: String,
    conversion: String,
    factor: f64,
    within_rel: f64,
}

#[derive(Deserialize)]
struct TemperatureCase {
    source: String,
    status: String,
    fahrenheit: f64,
    celsius: f64,
    kelvins: f64,
    within: f64,
}

fn published() -> Published {
    toml::from_str(include_str!("../published/units.toml")).unwrap()
}

#[test]
fn every_conversion_factor_is_the_published_one() {
    for row in published().factor {
        let ours = match row.conversion.as_str() {
            "ft to m" => units::METRES_PER_FOOT,
            "in to m" => units::METRES_PER_INCH,
            "kt to m/s" => units::MPS_PER_KNOT,
            "statute mile to m" => units::METRES_PER_STATUTE_MILE,
            "lbf to N" => units::NEWTONS_PER_POUND_FORCE,
            "slug to kg" => units::KILOGRAMS_PER_SLUG,
            "psi to Pa" => units::PASCALS_PER_PSI,
            "lbf/ft2 to Pa" => units::PASCALS_PER_PSF,
            "metric hp to W" => units::WATTS_PER_METRIC_HORSEPOWER,
            "lbf ft to N m" => units::NEWTON_METRES_PER_POUND_FORCE_FOOT,
            "kWh to J" => units::JOULES_PER_KILOWATT_HOUR,
            "US gallon to m3" => units::CUBIC_METRES_PER_US_GALLON,
            "g_n" => units::STANDARD_GRAVITY_M_PER_S2,
            "ft/min to m/s" => units::MPS_PER_FOOT_PER_MINUTE,
            other => panic!("no constant is held against the row \"{other}\""),
        };
        assert!(!row.source.is_empty() && !row.status.is_empty());
        let relative = (ours / row.factor - 1.0).abs();
        assert!(relative <= row.within_rel, "{}: {ours} is not {}", row.conversion, row.factor);
    }
}

#[test]
fn a_fahrenheit_temperature_is_the_published_one_in_celsius_and_kelvins() {
    for row in published().temperature {
        assert!(!row.source.is_empty() && !row.status.is_empty());
        let ours = Temperature::from_fahrenheit(row.fahrenheit);
        assert!((ours.celsius() - row.celsius).abs() <= row.within, "{} °F", row.fahrenheit);
        assert!((ours.kelvins() - row.kelvins).abs() <= row.within, "{} °F", row.fahrenheit);
        assert!((ours.fahrenheit() - row.fahrenheit).abs() <= row.within, "{} °F", row.fahrenheit);
    }
}

#[test]
fn a_quantity_is_read_back_in_the_unit_that_it_was_built_from() {
    let close = |given: f64, wanted: f64| (given / wanted - 1.0).abs() < 1.0e-15;
    assert!(close(TrueAirspeed::from_knots(73.1).knots(), 73.1));
    assert!(close(Length::from_millimetres(2_143.0).millimetres(), 2_143.0));
    assert!(close(Pressure::from_hectopascals(1_013.25).pascals(), 101_325.0));
    assert!(close(Energy::from_kilowatt_hours(1.0).joules(), 3_600_000.0));
    assert!(close(Charge::from_ampere_hours(2.0).coulombs(), 7_200.0));
}

#[test]
fn volts_times_amperes_are_watts() {
    let power = Voltage::from_volts(345.0) * Current::from_amperes(160.0);
    assert_eq!(power, Power::from_watts(55_200.0));
}

/// Conventional density of mercury and standard gravity; rows of published checks on altimeter settings use 3386.38864 Pa.
#[test]
fn an_inch_of_mercury_is_the_conventional_one() {
    assert!((units::PASCALS_PER_INCH_OF_MERCURY - 3_386.388_64).abs() < 1.0e-5);
}

/// 550 ft·lbf/s; the note to the published conversion rows gives 745.69987158227022 W as exact.
#[test]
fn a_horsepower_is_550_foot_pounds_force_a_second() {
    assert!((units::WATTS_PER_HORSEPOWER / 745.699_871_582_270_2 - 1.0).abs() < 1.0e-14);
}
