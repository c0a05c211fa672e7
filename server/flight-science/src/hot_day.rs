//! What a temperature that was recorded on the test day would be on the hot day of the cooling rules.

use quantities::{PressureAltitude, Temperature, TemperatureDifference};
use serde::Serialize;
use serde_json::Value;

use crate::catalogue::{Field, Refused, Topic, answer};
use crate::input::Reader;

/// How warm the hot day is at each altitude.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HotDay {
    /// Air temperature at sea level.
    pub sea_level: Temperature,
    /// How much it falls, in kelvins a foot.
    pub lapse_k_per_ft: f64,
    /// It falls no further than to here.
    pub floor: Option<Temperature>,
}

impl HotDay {
    /// Lapse of 14 CFR 23.1043(b): 3.6 °F, which is 2 K, for each thousand feet.
    const PART_23_LAPSE_K_PER_FT: f64 = 2.0 / 1000.0;

    /// Lapse of CS 22.1047(c): 6.5 °C for each thousand metres.
    const CS_22_LAPSE_K_PER_FT: f64 = 6.5 / 1000.0 * quantities::units::METRES_PER_FOOT;

    /// The hot day of the aeroplane rules, 37.78 °C (100 °F) at sea level unless another is chosen, falling by 2 K for each
    /// thousand feet down to −56.5 °C (−69.7 °F).
    ///
    /// # Source
    ///
    /// 14 CFR 23.1043(b), edition of 1 January 2014. Checked by `published/hot_day.toml`.
    pub const fn part_23(sea_level: Temperature) -> Self {
        Self {
            sea_level,
            lapse_k_per_ft: Self::PART_23_LAPSE_K_PER_FT,
            floor: Some(Temperature::from_celsius(-56.5)),
        }
    }

    /// The hot day of the sailplane rules: 38 °C at sea level, falling by 6.5 °C for each thousand metres.
    ///
    /// # Source
    ///
    /// CS 22.1047(c). Checked by `published/hot_day.toml`.
    pub const fn cs_22() -> Self {
        Self {
            sea_level: Temperature::from_celsius(38.0),
            lapse_k_per_ft: Self::CS_22_LAPSE_K_PER_FT,
            floor: None,
        }
    }

    /// Air temperature on the hot day. Below sea level it rises on at the same lapse, which is the warmer and so the more
    /// careful reading of a rule that speaks of altitudes above it only.
    pub fn ambient(self, altitude: PressureAltitude) -> Temperature {
        let fallen_by = TemperatureDifference::from_kelvins(-self.lapse_k_per_ft * altitude.feet());
        let ambient = self.sea_level + fallen_by;
        match self.floor {
            Some(floor) if ambient < floor => floor,
            Some(_) | None => ambient,
        }
    }

    /// A recorded peak, corrected to the hot day: the factor times how much warmer the hot day is than the test day was
    /// is added to it.
    ///
    /// `ambient` is the air temperature when the peak first occurred, at that altitude. On a test day warmer than the hot
    /// day the correction is negative, as the rule has it. The rule moves the ambient temperature only; a rise that grows
    /// with temperature, such as that of winding resistance, it does not know.
    ///
    /// Valid for a factor above zero: 1 for fluids and components, 0.7 for cylinder barrels.
    ///
    /// # Source
    ///
    /// 14 CFR 23.1043(c) and (d); CS 22.1047(d). Checked by `published/hot_day.toml`.
    pub fn correct(
        self,
        peak: Temperature,
        ambient: Temperature,
        altitude: PressureAltitude,
        factor: f64,
    ) -> Temperature {
        let warmer_by = self.ambient(altitude) - ambient;
        peak + TemperatureDifference::from_kelvins(factor * warmer_by.kelvins())
    }
}

/// The sea-level hot day used when none is stated, in degrees Celsius: 100 °F as the trade writes it.
pub const DEFAULT_SEA_LEVEL_C: f64 = 37.78;

/// The topic `hot_day`.
pub static TOPIC: Topic = Topic {
    name: "hot-day",
    version: 1,
    title: "Hot-day correction of a peak temperature",
    gives: "A recorded peak temperature corrected to the hot day of the cooling rules, and its margin to a limit. The same by the \
            sailplane rule stands beside it. On a test day warmer than the hot day the correction is negative, and the answer \
            says so.",
    valid_range: "Pressure altitude −2 000 to 60 000 ft; below sea level the hot day is taken to get warmer still, at the same \
                  lapse. Sailplane figures up to 36 000 ft. The rule moves the ambient temperature only: it does not scale a rise \
                  that itself depends on temperature.",
    inputs: &[
        Field::required(
            "peak_c",
            "°C",
            "The highest temperature recorded of the fluid or component.",
        ),
        Field::required("ambient_c", "°C", "Air temperature when that peak first occurred."),
        Field::required(
            "pressure_altitude_ft",
            "ft",
            "Pressure altitude when that peak first occurred.",
        ),
        Field::optional(
            "sea_level_hot_day_c",
            "°C",
            "Air temperature of the hot day at sea level; 37.78 when absent.",
        ),
        Field::optional(
            "factor",
            "ratio",
            "Of the correction: 1 for fluids and components (when absent), 0.7 for cylinder barrels.",
        ),
        Field::optional("limit_c", "°C", "The limit of this temperature."),
    ],
    outputs: &[
        Field::required(
            "hot_day_ambient_c",
            "°C",
            "Air temperature of the hot day at this altitude.",
        ),
        Field::required("correction_c", "K", "What is added to the peak."),
        Field::required("corrected_c", "°C", "The peak on the hot day."),
        Field::required("margin_c", "K", "Limit less corrected peak; null without a limit."),
        Field::required(
            "test_day_hotter",
            "true or false",
            "Whether the test day was warmer than the hot day.",
        ),
        Field::required(
            "cs_22",
            "object",
            "The same by the sailplane rule, 38 °C at sea level; null above 36 000 ft.",
        ),
        Field::required(
            "cs_22.hot_day_ambient_c",
            "°C",
            "Air temperature of that hot day at this altitude.",
        ),
        Field::required("cs_22.corrected_c", "°C", "The peak on that hot day."),
        Field::required("cs_22.margin_c", "K", "Limit less that peak; null without a limit."),
    ],
    equations: &[
        "The hot day's air temperature is that at sea level less 2 K (3.6 °F) for each thousand feet, but not below −56.5 °C \
         (−69.7 °F).",
        "The corrected peak is the recorded peak plus the factor times the hot day's less the test day's air temperature.",
        "Sailplane rule: 38 °C at sea level less 6.5 K for each thousand metres.",
    ],
    sources: &[
        "14 CFR 23.1043(b), (c) and (d), edition of 1 January 2014",
        "CS 22.1047(c) and (d)",
    ],
    published: &[("hot_day.toml", include_str!("../published/hot_day.toml"))],
    example: r#"{ "peak_c": 96, "ambient_c": 18, "pressure_altitude_ft": 2500, "sea_level_hot_day_c": 37.78, "factor": 1, "limit_c": 120 }"#,
    compute,
};

const HIGHEST_CS_22_FT: f64 = 36_000.0;

#[derive(Serialize)]
struct Output {
    hot_day_ambient_c: f64,
    correction_c: f64,
    corrected_c: f64,
    margin_c: Option<f64>,
    test_day_hotter: bool,
    cs_22: Option<Corrected>,
}

#[derive(Serialize)]
struct Corrected {
    hot_day_ambient_c: f64,
    corrected_c: f64,
    margin_c: Option<f64>,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    const COLDEST_C: f64 = -90.0;
    let mut reader = Reader::object(input);
    let peak_c = reader.required_number("peak_c", COLDEST_C..=2000.0);
    let ambient_c = reader.required_number("ambient_c", COLDEST_C..=60.0);
    let altitude_ft = reader.required_number("pressure_altitude_ft", -2000.0..=60_000.0);
    let sea_level_c = reader.optional_number("sea_level_hot_day_c", -56.5..=60.0);
    let factor = reader.optional_number("factor", crate::input::above_up_to(0.0, 10.0));
    let limit_c = reader.optional_number("limit_c", COLDEST_C..=2000.0);
    let (peak_c, ambient_c, altitude_ft, sea_level_c, factor, limit_c) = reader
        .finish(|| Some((peak_c?, ambient_c?, altitude_ft?, sea_level_c?, factor?, limit_c?)))?;
    let peak = Temperature::from_celsius(peak_c);
    let ambient = Temperature::from_celsius(ambient_c);
    let altitude = PressureAltitude::from_feet(altitude_ft);
    let factor = factor.unwrap_or(1.0);
    let on = |hot_day: HotDay| {
        let corrected_c = hot_day.correct(peak, ambient, altitude, factor).celsius();
        Corrected {
            hot_day_ambient_c: hot_day.ambient(altitude).celsius(),
            corrected_c,
            margin_c: limit_c.map(|limit_c| limit_c - corrected_c),
        }
    };
    let sea_level = Temperature::from_celsius(sea_level_c.unwrap_or(DEFAULT_SEA_LEVEL_C));
    let corrected = on(HotDay::part_23(sea_level));
    answer(&Output {
        hot_day_ambient_c: corrected.hot_day_ambient_c,
        correction_c: corrected.corrected_c - peak_c,
        corrected_c: corrected.corrected_c,
        margin_c: corrected.margin_c,
        test_day_hotter: ambient_c > corrected.hot_day_ambient_c,
        cs_22: (altitude_ft <= HIGHEST_CS_22_FT).then(|| on(HotDay::cs_22())),
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn corrected_c(
        peak_c: f64,
        ambient_c: f64,
        altitude_ft: f64,
        sea_level_c: f64,
        factor: f64,
    ) -> f64 {
        HotDay::part_23(Temperature::from_celsius(sea_level_c))
            .correct(
                Temperature::from_celsius(peak_c),
                Temperature::from_celsius(ambient_c),
                PressureAltitude::from_feet(altitude_ft),
                factor,
            )
            .celsius()
    }

    proptest! {
        #[test]
        fn the_correction_is_monotone_in_every_input(
            peak_c in -20.0f64..200.0, ambient_c in -50.0f64..50.0, altitude_ft in -2000.0f64..60_000.0,
            sea_level_c in 20.0f64..50.0, factor in 0.1f64..2.0, more in 0.0f64..30.0,
        ) {
            let dust = 1e-9;
            let plain = corrected_c(peak_c, ambient_c, altitude_ft, sea_level_c, factor);
            prop_assert!(corrected_c(peak_c + more, ambient_c, altitude_ft, sea_level_c, factor) >= plain - dust);
            prop_assert!(corrected_c(peak_c, ambient_c + more, altitude_ft, sea_level_c, factor) <= plain + dust);
            prop_assert!(corrected_c(peak_c, ambient_c, altitude_ft, sea_level_c + more, factor) >= plain - dust);
            prop_assert!(corrected_c(peak_c, ambient_c, altitude_ft + 100.0 * more, sea_level_c, factor) <= plain + dust);
        }

        #[test]
        fn a_test_on_the_hot_day_itself_is_not_corrected(
            peak_c in -20.0f64..200.0, altitude_ft in -2000.0f64..60_000.0, factor in 0.1f64..2.0,
        ) {
            let hot_day = HotDay::part_23(Temperature::from_celsius(DEFAULT_SEA_LEVEL_C));
            let ambient_c = hot_day.ambient(PressureAltitude::from_feet(altitude_ft)).celsius();
            let corrected = corrected_c(peak_c, ambient_c, altitude_ft, DEFAULT_SEA_LEVEL_C, factor);
            prop_assert!((corrected - peak_c).abs() < 1e-9);
        }
    }
}
