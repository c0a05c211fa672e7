//! When a day begins and ends: sunrise, noon, sunset and civil twilight.

use chrono::{DateTime, TimeDelta, Utc};
use quantities::Angle;

use super::position::{Place, geocentric};

/// Height of the sun's centre at sunrise and sunset: its radius and refraction at the horizon below it.
pub const RISE_HEIGHT_DEG: f64 = -0.833_33;

/// Height of the sun's centre at the ends of civil twilight.
pub const CIVIL_HEIGHT_DEG: f64 = -6.0;

/// What the sun does, at a place and within half a day of its noon, at one height.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Crossing {
    /// It is above the height between these moments.
    Between(DateTime<Utc>, DateTime<Utc>),
    /// It stays above the whole day.
    AlwaysAbove,
    /// It stays below the whole day.
    AlwaysBelow,
}

/// A solar day, from midnight to midnight by the sun.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Daylight {
    /// When the sun is highest, to the second.
    pub noon: DateTime<Utc>,
    /// From sunrise to sunset.
    pub sun: Crossing,
    /// From the beginning of civil twilight in the morning to its end in the evening.
    pub civil: Crossing,
}

/// The solar day around `at`: that of the noon nearest to it.
///
/// Times are good to a second or two for a flat horizon; hills and weather can take minutes off either end. Close to the
/// poles, where the sun skims a height for hours, they are good to minutes.
///
/// # Source
///
/// Heights as in I. Reda and A. Andreas, NREL/TP-560-34302, A.2 (sunrise and sunset, −0.8333°); the sun's centre 6° below the
/// horizon for civil twilight: common practice, no source. The moments are searched for with the position itself, not with
/// that paper's interpolation. Checked by `published/sun.toml`.
pub fn daylight(at: DateTime<Utc>, place: Place, delta_t_s: f64) -> Daylight {
    let noon = noon_near(at, place.longitude, delta_t_s);
    let crossing = |height_deg| crossing(noon, place, height_deg, delta_t_s);
    Daylight { noon, sun: crossing(RISE_HEIGHT_DEG), civil: crossing(CIVIL_HEIGHT_DEG) }
}

fn noon_near(at: DateTime<Utc>, longitude: Angle, delta_t_s: f64) -> DateTime<Utc> {
    // The hour angle goes by a degree in 240 s, to a few parts in ten thousand: each step is thousands of times better.
    (0..4).fold(at, |moment, _| {
        let hour_angle = geocentric(moment, longitude, delta_t_s).hour_angle;
        after(moment, -hour_angle.degrees() * 240.0)
    })
}

fn crossing(noon: DateTime<Utc>, place: Place, height_deg: f64, delta_t_s: f64) -> Crossing {
    const HALF_DAY_S: f64 = 43_200.0;
    let above = |from_noon_s: f64| {
        let sun = geocentric(after(noon, from_noon_s), place.longitude, delta_t_s);
        sun.height(place.latitude).degrees() >= height_deg
    };
    let (first, middle, last) = (above(-HALF_DAY_S), above(0.0), above(HALF_DAY_S));
    if !middle {
        return Crossing::AlwaysBelow;
    }
    if first && last {
        return Crossing::AlwaysAbove;
    }
    let edge = |dark_s: f64| {
        let (mut dark_s, mut light_s) = (dark_s, 0.0);
        for _ in 0..24 {
            let between_s = 0.5 * (dark_s + light_s);
            if above(between_s) { light_s = between_s } else { dark_s = between_s }
        }
        light_s
    };
    // At the edge of the midnight sun one of the two midnights may be light.
    let morning_s = if first { -HALF_DAY_S } else { edge(-HALF_DAY_S) };
    let evening_s = if last { HALF_DAY_S } else { edge(HALF_DAY_S) };
    Crossing::Between(after(noon, morning_s), after(noon, evening_s))
}

/// The moment so many seconds later, to the millisecond.
fn after(moment: DateTime<Utc>, seconds: f64) -> DateTime<Utc> {
    moment.checked_add_signed(TimeDelta::milliseconds((seconds * 1_000.0) as i64)).unwrap_or(moment)
}
