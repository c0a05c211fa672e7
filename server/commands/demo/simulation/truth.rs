//! What really happens in a run, ten times a second, before any sensor looks at it.

use std::f64::consts::TAU;

use super::flights::{Asked, Flight, asked, rpm_of};
use super::powerplant::Powerplant;

/// Time from row to row.
pub const STEP_S: f64 = 0.1;

/// Metres per second in a knot, and metres in a minute of latitude: the nautical mile.
const M_PER_S_PER_KT: f64 = 1852.0 / 3600.0;
const M_PER_MINUTE: f64 = 1852.0;

/// Where taxi runs begin: on the open sea, so that nobody takes the invented airfield for a real one.
const LATITUDE_DEG: f64 = 54.5;
const LONGITUDE_DEG: f64 = 6.0;

/// Turning speed at which the tail shakes on its mounts, and how wide the peak is.
const PEAK_RPM: f64 = 2340.0;
const PEAK_WIDTH_RPM: f64 = 40.0;

/// One moment of a run.
#[derive(Debug, Clone)]
pub struct Truth {
    /// Seconds after the beginning.
    pub t_s: f64,
    /// What is asked of the aircraft.
    pub asked: Asked,
    /// The powerplant.
    pub plant: Powerplant,
    /// Shaft power.
    pub shaft_kw: f64,
    /// Turning speed of the propeller.
    pub rpm: f64,
    /// Vibration velocity at the front mount.
    pub vib_front_mm_s: f64,
    /// Vibration velocity at the rear mount.
    pub vib_rear_mm_s: f64,
    /// Latitude, positive north.
    pub latitude_deg: f64,
    /// Longitude, positive east.
    pub longitude_deg: f64,
}

/// Every moment of a run.
pub fn truths(flight: &Flight) -> impl Iterator<Item = Truth> {
    let mut plant = Powerplant::at_rest(flight);
    let (mut north_m, mut east_m) = (0.0, 0.0);
    asked(flight, STEP_S).enumerate().map(move |(row, asked)| {
        let t_s = row as f64 * STEP_S;
        let shaft_kw = if asked.live { asked.power_kw } else { 0.0 };
        // The controller hunts a little about what the lever asks.
        let rpm = rpm_of(shaft_kw) * (1.0 + 0.003 * (TAU * 0.21 * t_s).sin());
        plant.step(&asked, rpm, STEP_S);
        let (sin, cos) = asked.track_deg.to_radians().sin_cos();
        let moved_m = asked.speed_kt * M_PER_S_PER_KT * STEP_S;
        north_m += moved_m * cos;
        east_m += moved_m * sin;
        let peak = 1.0 / (1.0 + ((rpm - PEAK_RPM) / PEAK_WIDTH_RPM).powi(2));
        let shakes = |per_rpm: f64, at_peak: f64| {
            if rpm > 0.0 { 0.7 + per_rpm * rpm + at_peak * peak } else { 0.2 }
        };
        Truth {
            t_s,
            asked,
            plant: plant.clone(),
            shaft_kw,
            rpm,
            vib_front_mm_s: shakes(0.003_15, 4.0),
            vib_rear_mm_s: shakes(0.003_5, 9.2),
            latitude_deg: LATITUDE_DEG + north_m / M_PER_MINUTE / 60.0,
            longitude_deg: LONGITUDE_DEG
                + east_m / M_PER_MINUTE / 60.0 / LATITUDE_DEG.to_radians().cos(),
        }
    })
}
