//! The envelope as a topic: one JSON object in, one out.

use quantities::{Area, EquivalentAirspeed, Length, LoadFactor, Mass, PressureAltitude};
use serde::Serialize;
use serde_json::Value;

use super::{Basis, Contradiction, Design, Gust, StructuralEnvelope};
use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::{Reader, above_up_to};

/// The topic `structural_envelope`.
pub static TOPIC: Topic = Topic {
    name: "structural-envelope",
    version: 1,
    title: "Structural flight envelope",
    gives: "Limit load factors over equivalent airspeed for a certification basis: manoeuvre lines, gust lines and stall lines, \
            combined into one closed boundary that holds all that a manoeuvre or a gust may ask for, as far as the wing can lift \
            it. These are design limits and not what was shown in flight.",
    valid_range: "CS-23 normal and utility up to 5 670 kg, CS-VLA up to 750 kg; VS < VC < VD and VA not above VD; pressure altitude \
                  −2 000 to 50 000 ft. One mass at a time: look at the lightest too, because gusts load it more. Flaps up. The \
                  aerobatic and commuter categories are not offered. VC or VD below the least of the basis is computed and noted.",
    inputs: &[
        Field::required("basis", "text", "cs-23-normal, cs-23-utility or cs-vla."),
        Field::required("mass_kg", "kg", "The mass for which the envelope holds."),
        Field::required("wing_area_m2", "m²", "Reference area of the wing."),
        Field::required("cl_max", "ratio", "Greatest lift coefficient, flaps up."),
        Field::required("cl_min", "ratio", "Least (inverted) lift coefficient; negative."),
        Field::required(
            "lift_slope_per_rad",
            "1/rad",
            "Slope of the aircraft's lift coefficient over angle of attack.",
        ),
        Field::required("mean_chord_m", "m", "Mean geometric chord of the wing."),
        Field::required("vc_kt", "kt EAS", "Design cruising speed."),
        Field::required("vd_kt", "kt EAS", "Design dive speed."),
        Field::optional(
            "pressure_altitude_ft",
            "ft",
            "Where the gusts are met; sea level when absent.",
        ),
    ],
    outputs: &[
        Field::required("n_positive", "ratio", "Positive limit manoeuvring load factor."),
        Field::required("n_negative", "ratio", "Negative limit manoeuvring load factor, up to VC."),
        Field::required("vs_kt", "kt EAS", "Stall speed in steady flight, flaps up."),
        Field::required(
            "va_kt",
            "kt EAS",
            "Manoeuvring speed: where the stall line reaches the positive limit.",
        ),
        Field::required("inverted_stall_kt", "kt EAS", "Stall speed in steady inverted flight."),
        Field::required("mass_ratio", "ratio", "Mass ratio of the aircraft in a gust."),
        Field::required("gust_alleviation", "ratio", "Gust alleviation factor."),
        Field::required("gusts", "list", "The gusts at VC and VD."),
        Field::required("gusts[].at", "text", "vc or vd."),
        Field::required("gusts[].speed_kt", "kt EAS", "Speed at which it is met."),
        Field::required("gusts[].gust_m_s", "m/s EAS", "Derived gust speed."),
        Field::required("gusts[].n_up", "ratio", "Load factor in a gust from below."),
        Field::required("gusts[].n_down", "ratio", "Load factor in a gust from above."),
        Field::required(
            "boundary",
            "kt EAS and ratio",
            "The combined boundary, [speed, load factor] from corner to corner; the last corner is the first.",
        ),
        Field::required("points", "list", "The corners that have a name."),
        Field::required(
            "points[].name",
            "text",
            "va, stall-line-end, vc-up, vd-up, vd-down, vc-down or negative-stall-limit.",
        ),
        Field::required("points[].eas_kt", "kt EAS", "Its speed."),
        Field::required("points[].n", "ratio", "Its load factor."),
        Field::required("least_vc_kt", "kt EAS", "The least VC that the basis asks for."),
        Field::required("least_vd_kt", "kt EAS", "The least VD that goes with that VC."),
        Field::required(
            "notes",
            "list",
            "What the basis would not accept as it stands, in sentences.",
        ),
    ],
    equations: &[
        "Stall line: load factor is speed over stall speed, squared; stall speed is the root of twice the weight over sea-level \
         density, area and greatest lift coefficient.",
        "Manoeuvre lines: CS-23 normal 2.1 + 24 000 / (W + 10 000) with W in pounds, at most 3.8; utility 4.4; CS-VLA 3.8. Negative: \
         −0.4 of that, CS-VLA −1.5, up to VC, and from there straight to 0 (utility −1) at VD.",
        "Mass ratio is twice mass over area, over density, chord and lift slope. Alleviation is 0.88 times mass ratio over 5.3 plus \
         mass ratio.",
        "Gust: load factor is 1 ± half sea-level density times speed, lift slope, alleviation and gust speed, over weight per area \
         (the imperial form with its rounded 498 comes to 0.11 % more of the increment). \
         Gust speed is 15.24 m/s at VC and 7.62 m/s at VD; in CS-23 above 20 000 ft falling straight to half at 50 000 ft.",
        "Gust lines run straight from load factor 1 at rest to VC, and on to VD.",
        "At each speed the boundary is the lesser of the stall line and of the greater of manoeuvre and gust line; likewise below.",
    ],
    sources: &[
        "14 CFR 23.333, 23.335, 23.337, 23.341 before amendment 64, which CS-23 shares",
        "CS-VLA Amendment 1 (5 March 2009): CS-VLA 1; CS-VLA 333, 335, 337, 341 as reproduced in public repositories",
        "CS-23 mass limit of 5 670 kg: from memory",
    ],
    published: &[(
        "structural_envelope.toml",
        include_str!("../../published/structural_envelope.toml"),
    )],
    example: r#"{ "basis": "cs-vla", "mass_kg": 680, "wing_area_m2": 12.6, "cl_max": 1.5, "cl_min": -0.9, "lift_slope_per_rad": 4.9, "mean_chord_m": 1.31, "vc_kt": 108, "vd_kt": 150, "pressure_altitude_ft": 0 }"#,
    compute,
};

const BASES: [(&str, Basis); 3] = [
    ("cs-23-normal", Basis::Cs23Normal),
    ("cs-23-utility", Basis::Cs23Utility),
    ("cs-vla", Basis::CsVla),
];

#[derive(Serialize)]
struct Output {
    n_positive: f64,
    n_negative: f64,
    vs_kt: f64,
    va_kt: f64,
    inverted_stall_kt: f64,
    mass_ratio: f64,
    gust_alleviation: f64,
    gusts: [GustLine; 2],
    boundary: Vec<[f64; 2]>,
    points: Vec<NamedPoint>,
    least_vc_kt: f64,
    least_vd_kt: f64,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct GustLine {
    at: &'static str,
    speed_kt: f64,
    gust_m_s: f64,
    n_up: f64,
    n_down: f64,
}

impl GustLine {
    fn new(at: &'static str, gust: Gust) -> Self {
        Self {
            at,
            speed_kt: gust.speed.knots(),
            gust_m_s: gust.gust.metres_per_second(),
            n_up: gust.up.ratio(),
            n_down: gust.down.ratio(),
        }
    }
}

#[derive(Serialize)]
struct NamedPoint {
    name: &'static str,
    eas_kt: f64,
    n: f64,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let mut reader = Reader::object(input);
    let basis = reader.one_of("basis", &BASES);
    let mass_kg = reader.required_number("mass_kg", above_up_to(0.0, 5_670.0));
    let wing_area_m2 = reader.required_number("wing_area_m2", above_up_to(0.0, 1_000.0));
    let cl_max = reader.required_number("cl_max", above_up_to(0.0, 5.0));
    // Below zero: an inverted wing lifts downwards.
    let cl_min = reader.required_number("cl_min", -5.0..0.0);
    let lift_slope_per_rad = reader.required_number("lift_slope_per_rad", above_up_to(0.0, 10.0));
    let mean_chord_m = reader.required_number("mean_chord_m", above_up_to(0.0, 20.0));
    let vc_kt = reader.required_number("vc_kt", above_up_to(0.0, 400.0));
    let vd_kt = reader.required_number("vd_kt", above_up_to(0.0, 400.0));
    let altitude_ft = reader.optional_number("pressure_altitude_ft", -2_000.0..=50_000.0);
    let design = reader.finish(|| {
        Some(Design {
            basis: basis?,
            mass: Mass::from_kilograms(mass_kg?),
            wing_area: Area::from_square_metres(wing_area_m2?),
            cl_max: cl_max?,
            cl_min: cl_min?,
            lift_slope_per_rad: lift_slope_per_rad?,
            mean_chord: Length::from_metres(mean_chord_m?),
            cruise: EquivalentAirspeed::from_knots(vc_kt?),
            dive: EquivalentAirspeed::from_knots(vd_kt?),
            altitude: PressureAltitude::from_feet(altitude_ft?.unwrap_or(0.0)),
        })
    })?;
    let envelope = design.envelope().map_err(|found| refused(&found))?;
    answer(&Output {
        n_positive: envelope.positive.ratio(),
        n_negative: envelope.negative.ratio(),
        vs_kt: envelope.stall.knots(),
        va_kt: envelope.manoeuvring.knots(),
        inverted_stall_kt: envelope.inverted_stall.knots(),
        mass_ratio: envelope.response.mass_ratio,
        gust_alleviation: envelope.response.alleviation,
        gusts: [GustLine::new("vc", envelope.at_cruise), GustLine::new("vd", envelope.at_dive)],
        boundary: envelope
            .polygon()
            .iter()
            .map(|point| [point.speed.knots(), point.load_factor.ratio()])
            .collect(),
        points: named_points(&design, &envelope),
        least_vc_kt: envelope.least.cruise.knots(),
        least_vd_kt: envelope.least.dive.knots(),
        notes: envelope.notes(),
    })
}

fn named_points(design: &Design, envelope: &StructuralEnvelope) -> Vec<NamedPoint> {
    let upper = |(_, greatest): (LoadFactor, LoadFactor)| greatest;
    let lower = |(least, _): (LoadFactor, LoadFactor)| least;
    type Pick = fn((LoadFactor, LoadFactor)) -> LoadFactor;
    let wanted: [(&'static str, EquivalentAirspeed, Pick); 7] = [
        ("va", envelope.manoeuvring, upper),
        ("stall-line-end", envelope.boundary.stall_line_ends(), upper),
        ("vc-up", design.cruise, upper),
        ("vd-up", design.dive, upper),
        ("vd-down", design.dive, lower),
        ("vc-down", design.cruise, lower),
        ("negative-stall-limit", envelope.inverted_manoeuvring(), lower),
    ];
    wanted
        .into_iter()
        .filter_map(|(name, speed, pick)| {
            // A corner beyond the dive speed is none.
            let limits = envelope.boundary.limits_at(speed)?;
            Some(NamedPoint { name, eas_kt: speed.knots(), n: pick(limits).ratio() })
        })
        .collect()
}

fn refused(found: &[Contradiction]) -> Refused {
    let faults = found
        .iter()
        .flat_map(|contradiction| {
            let (field, code) = match contradiction {
                Contradiction::Unusable => ("", FaultCode::OutOfRange),
                Contradiction::TooHeavy { .. } => ("mass_kg", FaultCode::OutOfRange),
                Contradiction::CruiseBelowStall { .. } => ("vc_kt", FaultCode::Inconsistent),
                Contradiction::DiveBelowCruise { .. }
                | Contradiction::DiveBelowManoeuvring { .. } => ("vd_kt", FaultCode::Inconsistent),
                Contradiction::Altitude(_) => ("pressure_altitude_ft", FaultCode::OutOfRange),
            };
            let why = format!("There is no such envelope: {contradiction}.");
            Refused::because(field, code, why).faults
        })
        .collect();
    Refused { faults }
}
