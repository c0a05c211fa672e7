//! Whether the pack lands with its reserve untouched, with an allowance for what the forecast does not know.

use quantities::{Duration, Energy, Power};
use serde::Serialize;
use serde_json::Value;
use statrs::distribution::{ContinuousCDF, Normal};

use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::{Reader, above_up_to};

/// The one-sided confidence used when none is stated.
pub const DEFAULT_CONFIDENCE: f64 = 0.95;

/// A margin this little below zero, in kilowatt-hours, is the rounding of sums and not energy.
const ROUNDING_KWH: f64 = 1.0e-9;

/// What one leg is forecast to draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LegEnergy {
    /// Forecast energy, not negative: nothing is counted on to flow back.
    pub energy: Energy,
    /// Standard deviation of that forecast.
    pub sd: Energy,
}

/// What has to be left at landing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reserve {
    /// So long at so much power.
    Time {
        /// How long.
        time: Duration,
        /// At which power.
        power: Power,
    },
    /// So much energy.
    Energy(Energy),
}

impl Reserve {
    /// The reserve as energy.
    pub fn energy(self) -> Energy {
        match self {
            Self::Time { time, power } => {
                Energy::from_kilowatt_hours(time.hours() * power.kilowatts())
            }
            Self::Energy(energy) => energy,
        }
    }
}

/// What is forecast to be left at landing, held against the reserve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LandingEnergy {
    /// Expected energy at landing. Negative: the pack does not last.
    pub expected: Energy,
    /// Standard deviation of it, if legs err independently.
    pub sd: Energy,
    /// One-sided lower bound of it at the confidence, if legs err independently.
    pub low: Energy,
    /// The same bound if all legs err together, as with a wind or a pack that was judged wrongly.
    pub low_together: Energy,
    /// The reserve.
    pub reserve: Energy,
    /// Lower bound less reserve.
    pub margin: Energy,
    /// Whether the margin is not negative.
    pub enough: bool,
}

/// Why no landing energy could be forecast.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ReserveError {
    /// There are no legs.
    #[error("there are no legs; at least one is wanted")]
    NoLegs,
    /// A bound at this confidence would not be a lower bound.
    #[error("a confidence of {confidence} is outside 0.5 (itself included) to 1 (not included)")]
    Confidence {
        /// The confidence as given.
        confidence: f64,
    },
    /// A figure is negative, NaN or infinite.
    #[error("an energy, deviation, time or power is negative or not a finite number")]
    NotAnAmount,
}

/// The energy at landing and its one-sided lower bound, held against the reserve.
///
/// The forecast error is taken as normal with the standard deviations given. The bound that decides takes legs to err
/// independently of each other; the bound for legs that err together stands beside it, because a wind that was judged
/// wrongly is wrong on every leg. A landing exactly at the reserve is enough.
///
/// Valid for one leg or more and a confidence from 0.5 up to, not including, 1.
///
/// # Errors
///
/// [`ReserveError`] without legs, for a confidence outside that range, or for an amount that is negative or missing.
///
/// # Source
///
/// One-sided bound of a normal distribution, variances of independent legs added: common practice, no source.
/// Checked by `published/reserve.toml`.
pub fn landing_energy(
    usable: Energy,
    legs: &[LegEnergy],
    reserve: Reserve,
    confidence: f64,
) -> Result<LandingEnergy, ReserveError> {
    if legs.is_empty() {
        return Err(ReserveError::NoLegs);
    }
    if !(0.5..1.0).contains(&confidence) {
        return Err(ReserveError::Confidence { confidence });
    }
    let usable_kwh = usable.kilowatt_hours();
    let reserve_kwh = reserve.energy().kilowatt_hours();
    let amounts = legs
        .iter()
        .flat_map(|leg| [leg.energy.kilowatt_hours(), leg.sd.kilowatt_hours()])
        .chain([usable_kwh, reserve_kwh]);
    for amount_kwh in amounts {
        // Written so that NaN is refused too.
        if !(amount_kwh >= 0.0 && amount_kwh.is_finite()) {
            return Err(ReserveError::NotAnAmount);
        }
    }
    let sum_kwh = |part: fn(&LegEnergy) -> f64| legs.iter().map(part).sum::<f64>();
    let needed_kwh = sum_kwh(|leg| leg.energy.kilowatt_hours());
    let sd_together_kwh = sum_kwh(|leg| leg.sd.kilowatt_hours());
    let sd_kwh = sum_kwh(|leg| leg.sd.kilowatt_hours().powi(2)).sqrt();
    let expected_kwh = usable_kwh - needed_kwh;
    let deviations = Normal::standard().inverse_cdf(confidence);
    let low_kwh = expected_kwh - deviations * sd_kwh;
    let margin_kwh = low_kwh - reserve_kwh;
    Ok(LandingEnergy {
        expected: Energy::from_kilowatt_hours(expected_kwh),
        sd: Energy::from_kilowatt_hours(sd_kwh),
        low: Energy::from_kilowatt_hours(low_kwh),
        low_together: Energy::from_kilowatt_hours(expected_kwh - deviations * sd_together_kwh),
        reserve: Energy::from_kilowatt_hours(reserve_kwh),
        margin: Energy::from_kilowatt_hours(margin_kwh),
        enough: margin_kwh >= -ROUNDING_KWH,
    })
}

/// The topic `reserve`.
pub static TOPIC: Topic = Topic {
    name: "reserve",
    version: 1,
    title: "Energy at landing against the reserve",
    gives: "The energy that is forecast to be left at landing, its one-sided lower bound at the stated confidence, and whether \
            that bound still covers the reserve. The forecast's error is taken as normal, and legs as erring independently; \
            the bound for legs that all err together, as with a misjudged wind, stands beside it.",
    valid_range: "One leg or more, amounts not negative (nothing is counted on to flow back), confidence from 0.5 up to, not \
                  including, 1. A landing exactly at the reserve is enough.",
    inputs: &[
        Field::required(
            "usable_kwh",
            "kWh",
            "Usable energy at the start, for this pack, temperature and age.",
        ),
        Field::required("legs", "list", "The legs up to landing, taxiing included."),
        Field::required("legs[].energy_kwh", "kWh", "Forecast energy of the leg."),
        Field::required(
            "legs[].sd_kwh",
            "kWh",
            "Standard deviation of that forecast; 0 where it is exact.",
        ),
        Field::required("reserve", "object", "Either minutes and power_kw, or kwh."),
        Field::optional("reserve.minutes", "min", "Time for which the reserve has to last."),
        Field::optional("reserve.power_kw", "kW", "Power at which it has to last so long."),
        Field::optional("reserve.kwh", "kWh", "The reserve as energy."),
        Field::optional(
            "confidence",
            "ratio",
            "One-sided confidence of the lower bound; 0.95 when absent.",
        ),
    ],
    outputs: &[
        Field::required(
            "landing_kwh",
            "kWh",
            "Expected energy at landing; negative when the pack does not last.",
        ),
        Field::required(
            "landing_sd_kwh",
            "kWh",
            "Standard deviation of it, if legs err independently.",
        ),
        Field::required(
            "landing_low_kwh",
            "kWh",
            "One-sided lower bound of it at the confidence, if legs err independently.",
        ),
        Field::required(
            "landing_low_together_kwh",
            "kWh",
            "The same bound if all legs err together.",
        ),
        Field::required("reserve_kwh", "kWh", "The reserve as energy."),
        Field::required("margin_kwh", "kWh", "Lower bound less reserve."),
        Field::required("enough", "true or false", "Whether the margin is not negative."),
        Field::required("confidence", "ratio", "The confidence of the bound."),
    ],
    equations: &[
        "Landing energy is usable energy less the sum of the legs' energies.",
        "Its standard deviation is the root of the sum of the legs' squared standard deviations; if they err together, the \
         plain sum.",
        "The lower bound is the landing energy less the standard normal quantile of the confidence times that standard \
         deviation.",
        "A reserve of time is minutes over 60 times power. The margin is the lower bound less the reserve.",
    ],
    sources: &[
        "common practice, no source: one-sided normal bound, variances of independent legs added",
        "14 CFR 91.151 (30 minutes by day) and Part-NCO NCO.OP.125 (10, 30 or 45 minutes), for the reserve minutes in the published cases",
    ],
    published: &[("reserve.toml", include_str!("../published/reserve.toml"))],
    example: r#"{ "usable_kwh": 26, "legs": [ { "energy_kwh": 0.6, "sd_kwh": 0.1 }, { "energy_kwh": 11, "sd_kwh": 0.8 } ], "reserve": { "minutes": 30, "power_kw": 18 }, "confidence": 0.95 }"#,
    compute,
};

#[derive(Serialize)]
struct Output {
    landing_kwh: f64,
    landing_sd_kwh: f64,
    landing_low_kwh: f64,
    landing_low_together_kwh: f64,
    reserve_kwh: f64,
    margin_kwh: f64,
    enough: bool,
    confidence: f64,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    const MOST_KWH: f64 = 100_000.0;
    let mut reader = Reader::object(input);
    let usable_kwh = reader.required_number("usable_kwh", 0.0..=MOST_KWH);
    let legs = reader.array("legs", 1, |leg| {
        let energy_kwh = leg.required_number("energy_kwh", 0.0..=MOST_KWH);
        let sd_kwh = leg.required_number("sd_kwh", 0.0..=MOST_KWH);
        Some(LegEnergy {
            energy: Energy::from_kilowatt_hours(energy_kwh?),
            sd: Energy::from_kilowatt_hours(sd_kwh?),
        })
    });
    let reserve = reader.required_object("reserve", read_reserve);
    let confidence = reader.optional_number("confidence", 0.5..1.0);
    let (usable_kwh, legs, reserve, confidence) =
        reader.finish(|| Some((usable_kwh?, legs?, reserve?, confidence?)))?;
    let confidence = confidence.unwrap_or(DEFAULT_CONFIDENCE);
    let usable = Energy::from_kilowatt_hours(usable_kwh);
    let landing = landing_energy(usable, &legs, reserve, confidence).map_err(|error| {
        let (field, code) = match error {
            ReserveError::NoLegs => ("legs", FaultCode::TooFew),
            ReserveError::Confidence { .. } => ("confidence", FaultCode::OutOfRange),
            ReserveError::NotAnAmount => ("", FaultCode::OutOfRange),
        };
        Refused::because(field, code, format!("Nothing was forecast: {error}."))
    })?;
    answer(&Output {
        landing_kwh: landing.expected.kilowatt_hours(),
        landing_sd_kwh: landing.sd.kilowatt_hours(),
        landing_low_kwh: landing.low.kilowatt_hours(),
        landing_low_together_kwh: landing.low_together.kilowatt_hours(),
        reserve_kwh: landing.reserve.kilowatt_hours(),
        margin_kwh: landing.margin.kilowatt_hours(),
        enough: landing.enough,
        confidence,
    })
}

/// Either a time at a power, or an energy; not both and not half of one.
fn read_reserve(reserve: &mut Reader<'_>) -> Option<Reserve> {
    let kwh = reserve.optional_number("kwh", 0.0..=100_000.0);
    let minutes = reserve.optional_number("minutes", above_up_to(0.0, 1440.0));
    let power_kw = reserve.optional_number("power_kw", above_up_to(0.0, 100_000.0));
    let timed = reserve.has("minutes") || reserve.has("power_kw");
    if reserve.has("kwh") && timed {
        reserve.fault(
            "kwh",
            FaultCode::Inconsistent,
            "The reserve is given both as energy and as time at a power; give one of them.",
        );
    } else if !reserve.has("kwh") {
        for name in ["minutes", "power_kw"] {
            if !reserve.has(name) {
                reserve.fault(
                    name,
                    FaultCode::Missing,
                    format!("reserve.{name} is missing; give minutes and power_kw, or kwh alone."),
                );
            }
        }
    }
    match (kwh?, minutes?, power_kw?) {
        (Some(kwh), None, None) => Some(Reserve::Energy(Energy::from_kilowatt_hours(kwh))),
        (None, Some(minutes), Some(power_kw)) => Some(Reserve::Time {
            time: Duration::from_minutes(minutes),
            power: Power::from_kilowatts(power_kw),
        }),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]

    use proptest::prelude::*;

    use super::*;

    fn leg(energy_kwh: f64, sd_kwh: f64) -> LegEnergy {
        LegEnergy {
            energy: Energy::from_kilowatt_hours(energy_kwh),
            sd: Energy::from_kilowatt_hours(sd_kwh),
        }
    }

    fn legs() -> impl Strategy<Value = Vec<LegEnergy>> {
        let leg =
            (0.0f64..20.0, 0.0f64..3.0).prop_map(|(energy_kwh, sd_kwh)| leg(energy_kwh, sd_kwh));
        prop::collection::vec(leg, 1..8)
    }

    fn landing(
        usable_kwh: f64,
        legs: &[LegEnergy],
        reserve_kwh: f64,
        confidence: f64,
    ) -> Result<LandingEnergy, ReserveError> {
        let reserve = Reserve::Energy(Energy::from_kilowatt_hours(reserve_kwh));
        landing_energy(Energy::from_kilowatt_hours(usable_kwh), legs, reserve, confidence)
    }

    proptest! {
        #[test]
        fn more_confidence_more_spread_or_one_more_leg_never_raises_the_margin(
            legs in legs(), usable_kwh in 0.0f64..100.0, reserve_kwh in 0.0f64..20.0, confidence in 0.5f64..0.99,
            more in 0.0f64..0.009, further in 0.0f64..5.0,
        ) {
            let margin_kwh = |legs: &[LegEnergy], confidence| {
                landing(usable_kwh, legs, reserve_kwh, confidence).unwrap().margin.kilowatt_hours()
            };
            let before = margin_kwh(&legs, confidence);
            prop_assert!(margin_kwh(&legs, confidence + more) <= before + 1e-9);
            let mut wider = legs.clone();
            wider[0].sd = Energy::from_kilowatt_hours(wider[0].sd.kilowatt_hours() + further);
            prop_assert!(margin_kwh(&wider, confidence) <= before + 1e-9);
            let mut longer = legs.clone();
            longer.push(leg(further, more));
            prop_assert!(margin_kwh(&longer, confidence) <= before + 1e-9);
        }

        #[test]
        fn legs_that_err_together_never_leave_more_than_independent_ones(
            legs in legs(), usable_kwh in 0.0f64..100.0, confidence in 0.5f64..0.999,
        ) {
            let landing = landing(usable_kwh, &legs, 1.0, confidence).unwrap();
            let dust_kwh = 1e-9;
            prop_assert!(landing.low_together.kilowatt_hours() <= landing.low.kilowatt_hours() + dust_kwh);
            prop_assert!(landing.low.kilowatt_hours() <= landing.expected.kilowatt_hours() + dust_kwh);
        }
    }

    #[test]
    fn a_landing_at_the_reserve_is_enough_and_a_watt_hour_less_is_not() {
        let enough = |usable_kwh| landing(usable_kwh, &[leg(10.0, 0.0)], 5.0, 0.95).unwrap().enough;
        assert!(enough(15.0));
        assert!(enough(15.001));
        assert!(!enough(14.999));
    }

    #[test]
    fn a_missing_figure_is_never_enough() {
        assert_eq!(landing(20.0, &[leg(f64::NAN, 0.0)], 5.0, 0.95), Err(ReserveError::NotAnAmount));
        assert!(matches!(
            landing(20.0, &[leg(1.0, 0.0)], 5.0, f64::NAN),
            Err(ReserveError::Confidence { .. })
        ));
    }
}
