//! What was done in each run, as `seed/flights.toml` has it.

use serde::Deserialize;

/// Turning speed of the propeller over the cube root of its power: the tie-down runs of the story have it so.
const RPM_PER_ROOT_KW: f64 = 578.0;

/// Why the flights of the demonstration cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum BadFlights {
    /// The text is not what it should be.
    #[error("seed/flights.toml cannot be read: {0}")]
    Text(#[from] toml::de::Error),
    /// A day or time of day that does not exist.
    #[error("run {run} of seed/flights.toml begins at no moment of the calendar")]
    NoSuchMoment {
        /// The run.
        run: u32,
    },
}

/// One run.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Flight {
    /// Its number in the story.
    pub run: u32,
    /// Its points.
    pub points: Vec<String>,
    /// Seed of its noise.
    pub seed: u64,
    /// Day, counted from the day of now.
    pub day: i64,
    /// Time of day in UTC at which its recorders begin.
    pub begins: String,
    /// Outside air temperature.
    pub oat_c: f64,
    /// Temperature of the cells at the beginning.
    pub cells_c: f64,
    /// Temperature of motor, inverter and coolant at the beginning; that of the air when absent.
    pub parts_c: Option<f64>,
    /// Charge state at the beginning.
    pub charge_percent: f64,
    /// Resistance of the pack.
    pub pack_ohm: f64,
    /// How much of the usual heat the radiator takes away.
    #[serde(default = "all")]
    pub cooling: f64,
    /// Whether the coolant pump loses its prime at high power.
    #[serde(default)]
    pub pump_fades: bool,
    /// Track at the beginning; absent where the aircraft does not move.
    pub track_deg: Option<f64>,
    /// How far the motor controller's clock is ahead of the others.
    #[serde(default)]
    pub inverter_clock_ahead_s: f64,
    /// When recorders or sensors wrote nothing.
    #[serde(default)]
    pub dropouts: Vec<Dropout>,
    /// Sensors that drift away.
    #[serde(default)]
    pub drifts: Vec<Drift>,
    /// Whether the engineer looked at how parts warmed.
    #[serde(default)]
    pub fits: bool,
    /// What was done.
    pub segments: Vec<Segment>,
}

impl Flight {
    /// From when on the propeller turned, and until when, in seconds after the beginning; none where it never did.
    pub fn powered(&self) -> Option<(f64, f64)> {
        let (mut t_s, mut powered) = (0.0, None);
        for segment in &self.segments {
            let begun = t_s;
            t_s += segment.seconds;
            let turns = segment.rpm.is_some() || segment.power_kw.is_some_and(|kw| kw > 0.0);
            if turns {
                let from = powered.map_or(begun, |(from, _)| from);
                powered = Some((from, t_s));
            }
        }
        powered
    }
}

const fn all() -> f64 {
    1.0
}

/// A time in which a recorder, or some columns of it, wrote nothing.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Dropout {
    /// The recorder.
    pub recorder: String,
    /// The columns; all of its rows when absent.
    #[serde(default)]
    pub columns: Vec<String>,
    /// When it begins, after the beginning.
    pub from_s: f64,
    /// How long it lasts.
    pub seconds: f64,
    /// What stands in the cells instead.
    #[serde(default)]
    pub text: String,
}

impl Dropout {
    /// Whether it is on at this time.
    pub fn covers(&self, t_s: f64) -> bool {
        (self.from_s..self.from_s + self.seconds).contains(&t_s)
    }
}

/// A sensor that drifts away from the truth.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Drift {
    /// Its column.
    pub column: String,
    /// When it begins, after the beginning.
    pub from_s: f64,
    /// How far in a minute, in the column's unit.
    pub per_min: f64,
}

impl Drift {
    /// How far it has gone at this time.
    pub fn at(&self, t_s: f64) -> f64 {
        (t_s - self.from_s).max(0.0) / 60.0 * self.per_min
    }
}

/// A part of a run, in which values go straight from those before it to its own.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Segment {
    /// What is done, for whoever reads the file.
    #[expect(dead_code, reason = "for whoever reads the file")]
    pub what: String,
    /// How long it lasts.
    pub seconds: f64,
    /// Shaft power at its end.
    pub power_kw: Option<f64>,
    /// Turning speed at its end, instead of power.
    pub rpm: Option<f64>,
    /// Ground speed at its end.
    pub speed_kt: Option<f64>,
    /// Track at its end.
    pub turn_to_deg: Option<f64>,
    /// Whether the contactors are closed.
    #[serde(default = "yes")]
    pub live: bool,
    /// Whether the coolant pump runs.
    #[serde(default = "yes")]
    pub pump: bool,
}

const fn yes() -> bool {
    true
}

/// Reads the flights.
///
/// # Errors
///
/// [`BadFlights::Text`] with the line and what is wrong there.
pub fn read(text: &str) -> Result<Vec<Flight>, BadFlights> {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Flights {
        flights: Vec<Flight>,
    }
    Ok(toml::from_str::<Flights>(text)?.flights)
}

/// What is asked of the aircraft at one time.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Asked {
    /// Shaft power.
    pub power_kw: f64,
    /// Ground speed.
    pub speed_kt: f64,
    /// Track.
    pub track_deg: f64,
    /// Whether the contactors are closed.
    pub live: bool,
    /// Whether the coolant pump runs.
    pub pump: bool,
}

/// Turning speed that the propeller has at this power.
pub fn rpm_of(power_kw: f64) -> f64 {
    RPM_PER_ROOT_KW * power_kw.max(0.0).cbrt()
}

fn power_of(rpm: f64) -> f64 {
    (rpm / RPM_PER_ROOT_KW).powi(3)
}

/// What is asked at each step of `step_s`, from the beginning of a flight to its end.
pub fn asked(flight: &Flight, step_s: f64) -> impl Iterator<Item = Asked> {
    let mut before = Asked { track_deg: flight.track_deg.unwrap_or(0.0), ..Asked::default() };
    flight.segments.iter().flat_map(move |segment| {
        let start = before;
        let power_kw = segment.rpm.map(power_of).or(segment.power_kw).unwrap_or(start.power_kw);
        before = Asked {
            power_kw,
            speed_kt: segment.speed_kt.unwrap_or(start.speed_kt),
            track_deg: segment.turn_to_deg.unwrap_or(start.track_deg),
            live: segment.live,
            pump: segment.pump,
        };
        let end = before;
        let by_rpm = segment.rpm.is_some();
        let steps = (segment.seconds / step_s).round() as u32;
        (0..steps).map(move |step| {
            let done = f64::from(step) / f64::from(steps);
            let between = |from: f64, to: f64| from + (to - from) * done;
            Asked {
                power_kw: match by_rpm {
                    true => power_of(between(rpm_of(start.power_kw), rpm_of(end.power_kw))),
                    false => between(start.power_kw, end.power_kw),
                },
                speed_kt: between(start.speed_kt, end.speed_kt),
                track_deg: between(start.track_deg, end.track_deg),
                ..end
            }
        })
    })
}
