//! Mass and centre of gravity from the stations, held against the loading envelope.

use quantities::{Length, Mass};
use serde::Serialize;
use serde_json::Value;

use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::{ANY, Reader, above};

pub use envelope::{Corner, EnvelopeError, LoadingEnvelope, Placing};

mod envelope;

/// A mass at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Station {
    /// Mass, not negative.
    pub mass: Mass,
    /// Distance aft of the datum; negative is ahead of it.
    pub arm: Length,
}

/// The mean aerodynamic chord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanChord {
    /// Leading edge, aft of the datum.
    pub leading_edge: Length,
    /// Length, above zero.
    pub length: Length,
}

impl MeanChord {
    /// A place aft of the datum, as per cent of the chord behind its leading edge.
    pub fn percent_at(self, place: Length) -> f64 {
        let behind_mm = place.millimetres() - self.leading_edge.millimetres();
        behind_mm / self.length.millimetres() * 100.0
    }
}

/// Mass and centre of gravity of the whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// Total mass.
    pub mass: Mass,
    /// Centre of gravity, aft of the datum.
    pub cg: Length,
}

/// Why stations have no centre of gravity.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum BalanceError {
    /// A mass or arm is missing, or a mass is negative.
    #[error("station {index} has a mass or an arm that is negative or not a finite number")]
    NotAStation {
        /// Place of the station, from 0.
        index: usize,
    },
    /// The masses add up to nothing.
    #[error("the masses add up to nothing, so there is no centre of gravity")]
    NoMass,
}

/// Total mass and centre of gravity.
///
/// Valid for stations with masses that are not negative and add up to more than zero.
///
/// # Errors
///
/// [`BalanceError`] for a mass that is negative or a figure that is missing, or when there is no mass at all.
///
/// # Source
///
/// The centre of gravity is the sum of mass times arm over the sum of masses: common practice, no source.
/// Checked by `published/loading.toml`.
pub fn balance(stations: &[Station]) -> Result<Balance, BalanceError> {
    for (index, station) in stations.iter().enumerate() {
        let (mass_kg, arm_m) = (station.mass.kilograms(), station.arm.metres());
        if !(mass_kg >= 0.0 && mass_kg.is_finite() && arm_m.is_finite()) {
            return Err(BalanceError::NotAStation { index });
        }
    }
    let mass_kg: f64 = stations.iter().map(|station| station.mass.kilograms()).sum();
    // Written so that an overflow to infinity or NaN is refused too.
    if !(mass_kg > 0.0 && mass_kg.is_finite()) {
        return Err(BalanceError::NoMass);
    }
    let moment_kg_m: f64 =
        stations.iter().map(|station| station.mass.kilograms() * station.arm.metres()).sum();
    Ok(Balance {
        mass: Mass::from_kilograms(mass_kg),
        cg: Length::from_metres(moment_kg_m / mass_kg),
    })
}

/// The topic `loading`.
pub static TOPIC: Topic = Topic {
    name: "loading",
    version: 1,
    title: "Mass and centre of gravity",
    gives: "Total mass and centre of gravity from the stations, as per cent of the mean aerodynamic chord where that is given, and \
            where the loading lies in the loading envelope where that is given.",
    valid_range: "One station or more, masses not negative and above zero in total. The envelope is a simple polygon of 3 to 200 \
                  corners; exactly on an edge is inside. The nearest edge is measured along the axis of the centre of \
                  gravity at the loading's mass, and is never negative: inside says on which side.",
    inputs: &[
        Field::required("stations", "list", "What the aircraft is made of and carries."),
        Field::required("stations[].name", "text", "What it is."),
        Field::required("stations[].mass_kg", "kg", "Its mass."),
        Field::required(
            "stations[].arm_mm",
            "mm",
            "Its distance aft of the datum; negative is ahead of it.",
        ),
        Field::optional("mac", "object", "The mean aerodynamic chord."),
        Field::optional("mac.leading_edge_mm", "mm", "Its leading edge, aft of the datum."),
        Field::optional("mac.length_mm", "mm", "Its length."),
        Field::optional(
            "envelope",
            "mm and kg",
            "Corners of the loading envelope in order, each [cg_mm, mass_kg]; the last may repeat the first.",
        ),
    ],
    outputs: &[
        Field::required("mass_kg", "kg", "Total mass."),
        Field::required("cg_mm", "mm", "Centre of gravity aft of the datum."),
        Field::required(
            "cg_percent_mac",
            "%",
            "Centre of gravity behind the leading edge of the mean chord; null without mac.",
        ),
        Field::required(
            "inside",
            "true or false",
            "Whether the loading is inside the envelope, edges included; null without one.",
        ),
        Field::required(
            "nearest_edge_mm",
            "mm",
            "To the nearest edge along the axis of the centre of gravity, at this mass; null without an envelope, or when it has no edge at this mass.",
        ),
        Field::required(
            "forward_limit_mm",
            "mm",
            "Foremost centre of gravity at this mass; null unless inside.",
        ),
        Field::required(
            "aft_limit_mm",
            "mm",
            "Aftmost centre of gravity at this mass; null unless inside.",
        ),
        Field::required(
            "lightest_kg",
            "kg",
            "Least mass at this centre of gravity; null unless inside.",
        ),
        Field::required(
            "heaviest_kg",
            "kg",
            "Greatest mass at this centre of gravity; null unless inside.",
        ),
    ],
    equations: &[
        "Total mass is the sum of the masses.",
        "The centre of gravity is the sum of mass times arm, over the total mass.",
        "Per cent of the mean chord is the centre of gravity less the leading edge, over the length, times 100.",
        "A loading is inside when a ray from it meets an odd number of edges, or when it lies on one.",
    ],
    sources: &[
        "common practice, no source: moments about the datum; even-odd rule for a point in a polygon",
    ],
    published: &[("loading.toml", include_str!("../published/loading.toml"))],
    example: r#"{ "stations": [ { "name": "empty", "mass_kg": 498, "arm_mm": 342 }, { "name": "pilot", "mass_kg": 86, "arm_mm": 610 }, { "name": "pack", "mass_kg": 96, "arm_mm": -180 } ], "mac": { "leading_edge_mm": 60, "length_mm": 1310 }, "envelope": [ [ 220, 480 ], [ 440, 480 ], [ 440, 750 ], [ 280, 750 ] ] }"#,
    compute,
};

#[derive(Serialize)]
struct Output {
    mass_kg: f64,
    cg_mm: f64,
    cg_percent_mac: Option<f64>,
    inside: Option<bool>,
    nearest_edge_mm: Option<f64>,
    forward_limit_mm: Option<f64>,
    aft_limit_mm: Option<f64>,
    lightest_kg: Option<f64>,
    heaviest_kg: Option<f64>,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    const MOST_KG: f64 = 1.0e6;
    const FARTHEST_MM: f64 = 1.0e6;
    let mut reader = Reader::object(input);
    let stations = reader.array("stations", 1, |station| {
        let name = station.required_text("name");
        let mass_kg = station.required_number("mass_kg", 0.0..=MOST_KG);
        let arm_mm = station.required_number("arm_mm", -FARTHEST_MM..=FARTHEST_MM);
        name?;
        Some(Station {
            mass: Mass::from_kilograms(mass_kg?),
            arm: Length::from_millimetres(arm_mm?),
        })
    });
    let mac = reader.optional_object("mac", |mac| {
        let leading_edge_mm = mac.required_number("leading_edge_mm", ANY);
        let length_mm = mac.required_number("length_mm", above(0.0));
        Some(MeanChord {
            leading_edge: Length::from_millimetres(leading_edge_mm?),
            length: Length::from_millimetres(length_mm?),
        })
    });
    let corners = reader.optional_rows("envelope", 3, [-FARTHEST_MM..=FARTHEST_MM, 0.0..=MOST_KG]);
    let envelope = match corners {
        None => None,
        Some(None) => Some(None),
        Some(Some(corners)) if corners.len() < 3 => None,
        Some(Some(corners)) => read_envelope(&mut reader, &corners).map(Some),
    };
    let (stations, mac, envelope) = reader.finish(|| Some((stations?, mac?, envelope?)))?;
    let balance = balance(&stations).map_err(|error| {
        Refused::because(
            "stations",
            FaultCode::Undetermined,
            format!("No balance was made: {error}."),
        )
    })?;
    let placing = envelope.map(|envelope| envelope.place(balance));
    answer(&Output {
        mass_kg: balance.mass.kilograms(),
        cg_mm: balance.cg.millimetres(),
        cg_percent_mac: mac.map(|mac| mac.percent_at(balance.cg)),
        inside: placing.map(|placing| placing.inside),
        nearest_edge_mm: placing.and_then(|placing| placing.nearest_edge_mm),
        forward_limit_mm: placing.and_then(|placing| placing.forward_limit_mm),
        aft_limit_mm: placing.and_then(|placing| placing.aft_limit_mm),
        lightest_kg: placing.and_then(|placing| placing.lightest_kg),
        heaviest_kg: placing.and_then(|placing| placing.heaviest_kg),
    })
}

fn read_envelope(reader: &mut Reader<'_>, corners: &[[f64; 2]]) -> Option<LoadingEnvelope> {
    let corners = corners.iter().map(|&[cg_mm, mass_kg]| Corner { cg_mm, mass_kg }).collect();
    match LoadingEnvelope::from_corners(corners) {
        Ok(envelope) => Some(envelope),
        Err(error) => {
            let code = match error {
                EnvelopeError::NotFinite { .. } => FaultCode::NotFinite,
                EnvelopeError::TooFewCorners { .. } => FaultCode::TooFew,
                EnvelopeError::TooManyCorners { .. } => FaultCode::TooMany,
                EnvelopeError::NoArea | EnvelopeError::Crossing { .. } => FaultCode::Inconsistent,
            };
            reader.fault("envelope", code, format!("envelope is no simple polygon: {error}."));
            None
        }
    }
}

#[cfg(test)]
mod tests;
