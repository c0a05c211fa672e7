//! Stall speeds carried to another mass and load factor.

use quantities::units::STANDARD_GRAVITY_M_PER_S2;
use quantities::{Angle, Area, CalibratedAirspeed, EquivalentAirspeed, LoadFactor, Mass};
use serde::Serialize;
use serde_json::Value;

use crate::atmosphere::sea_level_density;
use crate::catalogue::{Field, Refused, Topic, answer};
use crate::input::{Reader, above_up_to};

/// The stall speed at the reference mass in steady flight (load factor 1), from a stall at another mass and load factor.
///
/// The greatest lift coefficient is taken to be the same in both, so power, centre of gravity, configuration and rate of
/// deceleration have to be the same too. Valid for masses and a load factor above zero.
///
/// # Source
///
/// At one lift coefficient, speed squared goes with load factor times mass: common practice, no source.
/// Checked by `published/stall_speed.toml`.
pub fn stall_speed_at_reference(
    stalled_at: CalibratedAirspeed,
    mass: Mass,
    load_factor: LoadFactor,
    reference_mass: Mass,
) -> CalibratedAirspeed {
    let load_ratio = reference_mass.kilograms() / (load_factor.ratio() * mass.kilograms());
    CalibratedAirspeed::from_knots(stalled_at.knots() * load_ratio.sqrt())
}

/// Load factor of a level, coordinated turn.
///
/// Valid for a bank of less than 90 degrees.
///
/// # Source
///
/// One over the cosine of the bank: common practice, no source.
/// Checked by `published/stall_speed.toml`.
pub fn level_turn_load_factor(bank: Angle) -> LoadFactor {
    LoadFactor::from_ratio(bank.radians().cos().recip())
}

/// Bank of a level, coordinated turn at this load factor; none below a load factor of 1.
///
/// # Source
///
/// The cosine of the bank is one over the load factor: common practice, no source.
/// Checked by `published/stall_speed.toml`.
pub fn level_turn_bank(load_factor: LoadFactor) -> Option<Angle> {
    (load_factor.ratio() >= 1.0).then(|| Angle::from_radians(load_factor.ratio().recip().acos()))
}

/// Stall speed in steady flight from the greatest lift coefficient.
///
/// Valid for mass, area and coefficient above zero.
///
/// # Source
///
/// Lift equals weight at the standard atmosphere's sea-level density (1.225 kg/m³ to seven digits): common practice, no source.
/// Checked by `published/structural_envelope.toml`.
pub fn stall_speed_from_lift(mass: Mass, wing_area: Area, cl_max: f64) -> EquivalentAirspeed {
    let weight_n = mass.kilograms() * STANDARD_GRAVITY_M_PER_S2;
    let lift_per_speed_squared =
        0.5 * sea_level_density().kg_per_m3() * wing_area.square_metres() * cl_max;
    EquivalentAirspeed::from_metres_per_second((weight_n / lift_per_speed_squared).sqrt())
}

/// The topic `stall_speed`.
pub static TOPIC: Topic = Topic {
    name: "stall-speed",
    version: 1,
    title: "Stall speed at another mass and load factor",
    gives: "The stall speed at the reference mass in steady flight, from a stall that was flown at another mass and perhaps another \
            load factor. The bank at which a level turn has that load factor stands beside it.",
    valid_range: "The greatest lift coefficient is the same in both: same configuration, power, centre of gravity and rate of \
                  deceleration. Mach and Reynolds effects are left out.",
    inputs: &[
        Field::required("cas_kt", "kt", "Calibrated airspeed of the stall."),
        Field::required("mass_kg", "kg", "Mass at the stall."),
        Field::required("reference_mass_kg", "kg", "Mass to which the speed is carried."),
        Field::optional("load_factor", "ratio", "Load factor at the stall; 1 when absent."),
    ],
    outputs: &[
        Field::required(
            "cas_reference_kt",
            "kt",
            "Calibrated airspeed of the stall at the reference mass and load factor 1.",
        ),
        Field::required(
            "stall_speed_factor",
            "ratio",
            "Stall speed at this load factor over that at load factor 1, at one mass: the root of the load factor.",
        ),
        Field::required(
            "level_turn_bank_deg",
            "deg",
            "Bank of a level, coordinated turn at this load factor; null below 1.",
        ),
    ],
    equations: &[
        "Reference stall speed is stall speed times the root of reference mass over load factor times mass.",
        "In a level, coordinated turn the load factor is one over the cosine of the bank.",
    ],
    sources: &[
        "common practice, no source: at one lift coefficient, speed squared goes with load factor times mass",
        "FAA airman test load-factor table (bank and load factor), as quoted publicly, for the published cases",
    ],
    published: &[("stall_speed.toml", include_str!("../published/stall_speed.toml"))],
    example: r#"{ "cas_kt": 47.9, "mass_kg": 590, "reference_mass_kg": 600, "load_factor": 0.96 }"#,
    compute,
};

#[derive(Serialize)]
struct Output {
    cas_reference_kt: f64,
    stall_speed_factor: f64,
    level_turn_bank_deg: Option<f64>,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    const MOST_KG: f64 = 1.0e6;
    let mut reader = Reader::object(input);
    let cas_kt = reader.required_number("cas_kt", above_up_to(0.0, 400.0));
    let mass_kg = reader.required_number("mass_kg", above_up_to(0.0, MOST_KG));
    let reference_mass_kg = reader.required_number("reference_mass_kg", above_up_to(0.0, MOST_KG));
    let load_factor = reader.optional_number("load_factor", above_up_to(0.0, 20.0));
    let (cas_kt, mass_kg, reference_mass_kg, load_factor) =
        reader.finish(|| Some((cas_kt?, mass_kg?, reference_mass_kg?, load_factor?)))?;
    let load_factor = LoadFactor::from_ratio(load_factor.unwrap_or(1.0));
    let reference = stall_speed_at_reference(
        CalibratedAirspeed::from_knots(cas_kt),
        Mass::from_kilograms(mass_kg),
        load_factor,
        Mass::from_kilograms(reference_mass_kg),
    );
    answer(&Output {
        cas_reference_kt: reference.knots(),
        stall_speed_factor: load_factor.ratio().sqrt(),
        level_turn_bank_deg: level_turn_bank(load_factor).map(Angle::degrees),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]

    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn carrying_a_stall_speed_there_and_back_gives_it_again(
            cas_kt in 20.0f64..120.0, mass_kg in 200.0f64..5000.0, reference_kg in 200.0f64..5000.0,
        ) {
            let level = LoadFactor::from_ratio(1.0);
            let (mass, reference) = (Mass::from_kilograms(mass_kg), Mass::from_kilograms(reference_kg));
            let there = stall_speed_at_reference(CalibratedAirspeed::from_knots(cas_kt), mass, level, reference);
            let back = stall_speed_at_reference(there, reference, level, mass);
            prop_assert!((back.knots() - cas_kt).abs() <= 1e-12 * cas_kt);
        }

        #[test]
        fn bank_and_load_factor_lead_back_to_each_other(bank_deg in 1.0f64..85.0) {
            let load_factor = level_turn_load_factor(Angle::from_degrees(bank_deg));
            let back = level_turn_bank(load_factor).unwrap();
            prop_assert!((back.degrees() - bank_deg).abs() < 1e-9);
        }
    }

    #[test]
    fn no_level_turn_has_a_load_factor_below_one() {
        assert_eq!(level_turn_bank(LoadFactor::from_ratio(0.99)), None);
        assert_eq!(level_turn_bank(LoadFactor::from_ratio(f64::NAN)), None);
    }
}
