//! Where the sun stands, seen from a place at a moment.

use chrono::{DateTime, Utc};
use quantities::{Angle, Length, Pressure, Temperature};

use super::earth_terms::{LATITUDE, LONGITUDE, RADIUS, Term};
use super::nutation_terms::NUTATION;

/// Terrestrial time less universal time when none is stated, in seconds: about that of the 2020s (from memory). A second of
/// it moves the sun by 0.00005° at most.
pub const DEFAULT_DELTA_T_S: f64 = 69.2;

/// A place on the earth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Geodetic latitude, north positive.
    pub latitude: Angle,
    /// Longitude, east positive.
    pub longitude: Angle,
    /// Height above the ellipsoid; above sea level does as well.
    pub elevation: Length,
}

/// The sun as seen from the earth's centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Geocentric {
    /// Declination.
    pub declination: Angle,
    /// Hour angle at the place, from −180° up to 180°: negative before noon.
    pub hour_angle: Angle,
    /// Distance from the sun, in astronomical units.
    pub distance_au: f64,
    /// Apparent less mean solar time, in minutes.
    pub equation_of_time_min: f64,
}

impl Geocentric {
    /// Height of the sun's centre over the horizon, without refraction and without parallax.
    pub fn height(self, latitude: Angle) -> Angle {
        height(latitude, self.declination, self.hour_angle)
    }
}

/// The sun as seen from the place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SunPosition {
    /// Angle from straight up, without refraction.
    pub zenith: Angle,
    /// Angle from straight up, with refraction.
    pub apparent_zenith: Angle,
    /// Clockwise from true north.
    pub azimuth: Angle,
    /// The same seen from the earth's centre.
    pub geocentric: Geocentric,
}

/// Where the sun is, seen from the earth's centre.
///
/// Valid from year −2000 to 6000 as its source says, to 0.0003°.
///
/// # Source
///
/// I. Reda and A. Andreas, Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302, steps 3.1 to 3.11
/// and A.1. Checked by `published/sun.toml`.
pub fn geocentric(at: DateTime<Utc>, longitude: Angle, delta_t_s: f64) -> Geocentric {
    // 2440587.5 is the Julian day of 1970-01-01, 2451545 that of 2000-01-01 at noon.
    let seconds = at.timestamp() as f64 + f64::from(at.timestamp_subsec_nanos()) * 1.0e-9;
    let days = seconds / 86_400.0 + 2_440_587.5 - 2_451_545.0;
    let century = days / 36_525.0;
    let ephemeris_century = (days + delta_t_s / 86_400.0) / 36_525.0;
    let millennium = ephemeris_century / 10.0;

    let distance_au = by_powers(RADIUS, millennium);
    let earth_longitude_deg = by_powers(LONGITUDE, millennium).to_degrees();
    let latitude_rad = -by_powers(LATITUDE, millennium);
    let (nutation_deg, obliquity_change_deg) = nutation(ephemeris_century);
    let obliquity_deg = mean_obliquity_arc_s(millennium) / 3_600.0 + obliquity_change_deg;
    let aberration_deg = -20.4898 / (3_600.0 * distance_au);
    let apparent_rad = (earth_longitude_deg + 180.0 + nutation_deg + aberration_deg).to_radians();
    let (sin_obliquity, cos_obliquity) = obliquity_deg.to_radians().sin_cos();

    let ascension_deg = (apparent_rad.sin() * cos_obliquity - latitude_rad.tan() * sin_obliquity)
        .atan2(apparent_rad.cos())
        .to_degrees();
    let sin_declination = latitude_rad.sin() * cos_obliquity
        + latitude_rad.cos() * sin_obliquity * apparent_rad.sin();
    let sidereal_deg = 280.460_618_37 + 360.985_647_366_29 * days + 0.000_387_933 * century.powi(2)
        - century.powi(3) / 38_710_000.0
        + nutation_deg * cos_obliquity;
    let mean_longitude_deg = polynomial(
        &[280.466_456_7, 360_007.698_277_9, 0.030_320_28, 1.0 / 49_931.0, -1.0 / 15_300.0, -5.0e-7],
        millennium,
    );
    let equation_deg =
        mean_longitude_deg - 0.005_718_3 - ascension_deg + nutation_deg * cos_obliquity;
    Geocentric {
        declination: Angle::from_radians(sin_declination.clamp(-1.0, 1.0).asin()),
        hour_angle: Angle::from_degrees(half_turn(
            sidereal_deg + longitude.degrees() - ascension_deg,
        )),
        distance_au,
        equation_of_time_min: 4.0 * half_turn(equation_deg),
    }
}

/// Where the sun stands over a place.
///
/// Air pressure and temperature are the year's mean at the place, and shape refraction only. Valid as [`geocentric`] is.
/// With the sun wholly below the horizon there is no refraction, and the apparent zenith is the true one.
///
/// # Source
///
/// I. Reda and A. Andreas, Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302, steps 3.12 to 3.14,
/// with their refraction of 0.5667° at sunset. Checked by `published/sun.toml`.
pub fn sun_position(
    at: DateTime<Utc>,
    place: Place,
    pressure: Pressure,
    temperature: Temperature,
    delta_t_s: f64,
) -> SunPosition {
    const FLATTENED: f64 = 0.996_647_19;
    const EARTH_M: f64 = 6_378_140.0;
    let centre = geocentric(at, place.longitude, delta_t_s);
    let latitude_rad = place.latitude.radians();
    let (sin_hour, cos_hour) = centre.hour_angle.radians().sin_cos();
    let (sin_declination, cos_declination) = centre.declination.radians().sin_cos();
    let sin_parallax = (8.794 / (3_600.0 * centre.distance_au)).to_radians().sin();
    let reduced_rad = (FLATTENED * latitude_rad.tan()).atan();
    let up = place.elevation.metres() / EARTH_M;
    let x = reduced_rad.cos() + up * latitude_rad.cos();
    let y = FLATTENED * reduced_rad.sin() + up * latitude_rad.sin();

    let across = cos_declination - x * sin_parallax * cos_hour;
    let shift_rad = (-x * sin_parallax * sin_hour).atan2(across);
    let declination_rad = ((sin_declination - y * sin_parallax) * shift_rad.cos()).atan2(across);
    let hour_rad = centre.hour_angle.radians() - shift_rad;
    let height_deg =
        height(place.latitude, Angle::from_radians(declination_rad), Angle::from_radians(hour_rad))
            .degrees();
    let from_south_rad = hour_rad
        .sin()
        .atan2(hour_rad.cos() * latitude_rad.sin() - declination_rad.tan() * latitude_rad.cos());
    SunPosition {
        zenith: Angle::from_degrees(90.0 - height_deg),
        apparent_zenith: Angle::from_degrees(
            90.0 - height_deg - refraction_deg(height_deg, pressure, temperature),
        ),
        azimuth: Angle::from_degrees(
            Angle::from_degrees(from_south_rad.to_degrees() + 180.0).degrees_of_turn(),
        ),
        geocentric: centre,
    }
}

fn height(latitude: Angle, declination: Angle, hour_angle: Angle) -> Angle {
    let (sin_latitude, cos_latitude) = latitude.radians().sin_cos();
    let (sin_declination, cos_declination) = declination.radians().sin_cos();
    let sin_height = sin_latitude * sin_declination
        + cos_latitude * cos_declination * hour_angle.radians().cos();
    Angle::from_radians(sin_height.clamp(-1.0, 1.0).asin())
}

fn refraction_deg(height_deg: f64, pressure: Pressure, temperature: Temperature) -> f64 {
    // The sun's radius and its refraction at sunset: below, no part of it is seen.
    const SET_DEG: f64 = -(0.266_67 + 0.566_7);
    if height_deg < SET_DEG {
        return 0.0;
    }
    let bent_deg = height_deg + 10.3 / (height_deg + 5.11);
    (pressure.hectopascals() / 1_010.0) * (283.0 / (273.0 + temperature.celsius())) * 1.02
        / (60.0 * bent_deg.to_radians().tan())
}

/// Sums of cosines, by powers of time.
fn by_powers(series: &[&[Term]], time: f64) -> f64 {
    let sum = |terms: &&[Term]| -> f64 {
        terms.iter().map(|[amplitude, phase, rate]| amplitude * (phase + rate * time).cos()).sum()
    };
    series.iter().rev().fold(0.0, |whole, terms| whole * time + sum(terms)) * 1.0e-8
}

fn polynomial(factors: &[f64], at: f64) -> f64 {
    factors.iter().rev().fold(0.0, |whole, factor| whole * at + factor)
}

/// Nutation in longitude and in obliquity, in degrees.
fn nutation(century: f64) -> (f64, f64) {
    let angles_deg = [
        polynomial(&[297.850_36, 445_267.111_48, -0.001_914_2, 1.0 / 189_474.0], century),
        polynomial(&[357.527_72, 35_999.050_34, -0.000_160_3, -1.0 / 300_000.0], century),
        polynomial(&[134.962_98, 477_198.867_398, 0.008_697_2, 1.0 / 56_250.0], century),
        polynomial(&[93.271_91, 483_202.017_538, -0.003_682_5, 1.0 / 327_270.0], century),
        polynomial(&[125.044_52, -1_934.136_261, 0.002_070_8, 1.0 / 450_000.0], century),
    ];
    let (mut longitude, mut obliquity) = (0.0, 0.0);
    for (times, [a, b, c, d]) in NUTATION {
        let angle_deg: f64 =
            times.iter().zip(&angles_deg).map(|(times, angle)| times * angle).sum();
        let (sine, cosine) = angle_deg.to_radians().sin_cos();
        longitude += (a + b * century) * sine;
        obliquity += (c + d * century) * cosine;
    }
    (longitude / 36.0e6, obliquity / 36.0e6)
}

fn mean_obliquity_arc_s(millennium: f64) -> f64 {
    polynomial(
        &[84_381.448, -4_680.93, -1.55, 1_999.25, -51.38, -249.67, -39.05, 7.12, 27.87, 5.79, 2.45],
        millennium / 10.0,
    )
}

/// The same direction from −180° up to, but not including, 180°.
fn half_turn(degrees: f64) -> f64 {
    (degrees + 180.0).rem_euclid(360.0) - 180.0
}
