//! Energy and charge drawn from the pack, from recorded voltage and current.

use serde::Serialize;
use serde_json::Value;

use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::{ANY, Reader, above};

const SECONDS_PER_HOUR: f64 = 3600.0;
const WATTS_PER_KILOWATT: f64 = 1000.0;

/// Without a stated gap, an interval longer than this many median intervals is one.
const GAP_IN_MEDIAN_INTERVALS: f64 = 3.0;

/// One reading of the pack.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Time in seconds, from any origin.
    pub t_s: f64,
    /// Voltage at the pack's terminals, in volts.
    pub voltage_v: f64,
    /// Current in amperes, positive when it is drawn from the pack.
    pub current_a: f64,
}

impl Sample {
    fn power_w(self) -> f64 {
        self.voltage_v * self.current_a
    }
}

/// What was drawn from the pack, and what was left out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EnergyUse {
    /// Energy drawn, in kilowatt-hours. What flowed back is not taken off.
    pub energy_kwh: f64,
    /// Charge drawn, in ampere-hours. What flowed back is not taken off.
    pub charge_ah: f64,
    /// Energy that flowed back into the pack, in kilowatt-hours, as a positive number.
    pub regenerated_kwh: f64,
    /// Charge that flowed back into the pack, in ampere-hours, as a positive number.
    pub regenerated_ah: f64,
    /// Energy drawn less energy that flowed back, in kilowatt-hours.
    pub net_kwh: f64,
    /// The greatest power of any one sample, in kilowatts.
    pub peak_power_kw: f64,
    /// Net energy over the time that is covered, in kilowatts.
    pub mean_power_kw: f64,
    /// The time that the integral covers, in seconds: gaps are not in it.
    pub covered_s: f64,
    /// An interval longer than this, in seconds, was taken for a gap.
    pub gap_s: f64,
    /// From and to of each interval in which nothing is known, in seconds.
    pub gaps: Vec<[f64; 2]>,
}

/// Why samples could not be integrated.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum EnergyError {
    /// One sample spans no time.
    #[error("{count} samples span no time; at least 2 are wanted")]
    TooFewSamples {
        /// How many there are.
        count: usize,
    },
    /// A reading is missing: NaN or infinite.
    #[error("sample {index} has a reading that is not a finite number")]
    NotFinite {
        /// Place of the sample, from 0.
        index: usize,
    },
    /// Time stands still or goes back.
    #[error("sample {index} at {t_s} s does not come after the one before it, at {before_s} s")]
    TimeNotAscending {
        /// Place of the sample, from 0.
        index: usize,
        /// Its time in seconds.
        t_s: f64,
        /// The time of the sample before it, in seconds.
        before_s: f64,
    },
    /// The gap is not a positive length of time.
    #[error("a gap of {gap_s} s is no length of time; it has to be above 0")]
    GapNotPositive {
        /// The gap as given, in seconds.
        gap_s: f64,
    },
    /// No two samples are close enough together.
    #[error("no two samples are within {gap_s} s of each other, so nothing is covered")]
    NothingCovered {
        /// The gap in seconds.
        gap_s: f64,
    },
}

/// Energy, charge and power between the samples, leaving gaps out.
///
/// Power is taken to run straight from sample to sample (trapezoidal rule), and current likewise; where either changes
/// sign between two samples, the interval is split at its zero, so that drawn and regenerated stay apart. An interval
/// longer than `gap_s` is a gap: it is listed and adds nothing. An interval of exactly `gap_s` is covered. Without
/// `gap_s`, a gap is longer than three median intervals.
///
/// Valid for two samples or more at strictly ascending times.
///
/// # Errors
///
/// [`EnergyError`] for fewer samples, a reading that is not finite, times that do not ascend, or when all is gap.
///
/// # Source
///
/// Trapezoidal rule; power is voltage times current: common practice, no source.
/// Checked by `published/energy.toml`.
pub fn integrate(samples: &[Sample], gap_s: Option<f64>) -> Result<EnergyUse, EnergyError> {
    if samples.len() < 2 {
        return Err(EnergyError::TooFewSamples { count: samples.len() });
    }
    for (index, sample) in samples.iter().enumerate() {
        let finite =
            sample.t_s.is_finite() && sample.voltage_v.is_finite() && sample.current_a.is_finite();
        if !finite {
            return Err(EnergyError::NotFinite { index });
        }
    }
    for (index, pair) in samples.windows(2).enumerate() {
        if pair[1].t_s <= pair[0].t_s {
            return Err(EnergyError::TimeNotAscending {
                index: index + 1,
                t_s: pair[1].t_s,
                before_s: pair[0].t_s,
            });
        }
    }
    let gap_s = gap_s.unwrap_or_else(|| GAP_IN_MEDIAN_INTERVALS * median_interval_s(samples));
    if gap_s.is_nan() || gap_s <= 0.0 {
        return Err(EnergyError::GapNotPositive { gap_s });
    }

    let (mut drawn_ws, mut regenerated_ws) = (0.0, 0.0);
    let (mut drawn_as, mut regenerated_as) = (0.0, 0.0);
    let mut covered_s = 0.0;
    let mut gaps = Vec::new();
    for pair in samples.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let interval_s = to.t_s - from.t_s;
        if interval_s > gap_s {
            gaps.push([from.t_s, to.t_s]);
            continue;
        }
        covered_s += interval_s;
        let (positive, negative) = areas(from.power_w(), to.power_w(), interval_s);
        drawn_ws += positive;
        regenerated_ws += negative;
        let (positive, negative) = areas(from.current_a, to.current_a, interval_s);
        drawn_as += positive;
        regenerated_as += negative;
    }
    if covered_s == 0.0 {
        return Err(EnergyError::NothingCovered { gap_s });
    }
    let peak_w = samples.iter().map(|sample| sample.power_w()).fold(f64::NEG_INFINITY, f64::max);
    let kwh = |watt_seconds: f64| watt_seconds / (WATTS_PER_KILOWATT * SECONDS_PER_HOUR);
    Ok(EnergyUse {
        energy_kwh: kwh(drawn_ws),
        charge_ah: drawn_as / SECONDS_PER_HOUR,
        regenerated_kwh: kwh(regenerated_ws),
        regenerated_ah: regenerated_as / SECONDS_PER_HOUR,
        net_kwh: kwh(drawn_ws - regenerated_ws),
        peak_power_kw: peak_w / WATTS_PER_KILOWATT,
        mean_power_kw: (drawn_ws - regenerated_ws) / covered_s / WATTS_PER_KILOWATT,
        covered_s,
        gap_s,
        gaps,
    })
}

/// The areas above and below zero, both as positive numbers, under a straight line from `start` to `end`.
fn areas(start: f64, end: f64, width: f64) -> (f64, f64) {
    if (start >= 0.0) == (end >= 0.0) {
        let area = 0.5 * (start + end) * width;
        return (area.max(0.0), (-area).max(0.0));
    }
    // The line crosses zero this far along.
    let crossing = width * start / (start - end);
    let before = 0.5 * start * crossing;
    let after = 0.5 * end * (width - crossing);
    (before.max(after), (-before).max(-after))
}

fn median_interval_s(samples: &[Sample]) -> f64 {
    let mut intervals: Vec<f64> =
        samples.windows(2).map(|pair| pair[1].t_s - pair[0].t_s).collect();
    let middle = intervals.len() / 2;
    let (below, median, _) = intervals.select_nth_unstable_by(middle, f64::total_cmp);
    if samples.len() % 2 == 1 {
        // An even count of intervals has two in the middle.
        let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        return 0.5 * (lower + *median);
    }
    *median
}

/// The topic `energy`.
pub static TOPIC: Topic = Topic {
    name: "energy",
    version: 1,
    title: "Energy drawn from the pack",
    gives: "Energy, charge and power from recorded voltage and current. Gaps in the recording are listed and left out, \
            never bridged; what flowed back into the pack is counted apart.",
    valid_range: "Two samples or more at strictly ascending times. Current is positive when drawn from the pack. A gap is an \
                  interval longer than gap_s; without gap_s, longer than three median intervals.",
    inputs: &[
        Field::required("samples", "list", "The readings in order of time."),
        Field::required("samples[].t_s", "s", "Time from any origin."),
        Field::required("samples[].voltage_v", "V", "Voltage at the pack's terminals."),
        Field::required("samples[].current_a", "A", "Current, positive when drawn from the pack."),
        Field::optional(
            "gap_s",
            "s",
            "An interval longer than this is a gap; three median intervals when absent.",
        ),
    ],
    outputs: &[
        Field::required("energy_kwh", "kWh", "Energy drawn; what flowed back is not taken off."),
        Field::required("charge_ah", "Ah", "Charge drawn; what flowed back is not taken off."),
        Field::required(
            "regenerated_kwh",
            "kWh",
            "Energy that flowed back into the pack, as a positive number.",
        ),
        Field::required(
            "regenerated_ah",
            "Ah",
            "Charge that flowed back into the pack, as a positive number.",
        ),
        Field::required("net_kwh", "kWh", "Energy drawn less energy that flowed back."),
        Field::required("peak_power_kw", "kW", "The greatest power of any one sample."),
        Field::required("mean_power_kw", "kW", "Net energy over the time that is covered."),
        Field::required("covered_s", "s", "The time that the integral covers, without the gaps."),
        Field::required("gap_s", "s", "The interval beyond which a gap was seen."),
        Field::required("gaps", "s", "From and to of each gap."),
    ],
    equations: &[
        "Power is voltage times current.",
        "Energy between two samples is the mean of their powers times the time between them (trapezoidal rule); an interval \
         in which the power changes sign is split at its zero.",
        "Charge likewise, from the current.",
    ],
    sources: &["common practice, no source: trapezoidal rule, power as voltage times current"],
    published: &[("energy.toml", include_str!("../published/energy.toml"))],
    example: r#"{ "samples": [ { "t_s": 0, "voltage_v": 400, "current_a": 90 }, { "t_s": 10, "voltage_v": 398, "current_a": 110 }, { "t_s": 20, "voltage_v": 399, "current_a": 100 } ], "gap_s": 15 }"#,
    compute,
};

fn compute(input: &Value) -> Result<Value, Refused> {
    let mut reader = Reader::object(input);
    let samples = reader.array("samples", 2, |sample| {
        let t_s = sample.required_number("t_s", ANY);
        let voltage_v = sample.required_number("voltage_v", 0.0..=10_000.0);
        let current_a = sample.required_number("current_a", -100_000.0..=100_000.0);
        Some(Sample { t_s: t_s?, voltage_v: voltage_v?, current_a: current_a? })
    });
    let gap_s = reader.optional_number("gap_s", above(0.0));
    let (samples, gap_s) = reader.finish(|| Some((samples?, gap_s?)))?;
    let energy = integrate(&samples, gap_s).map_err(|error| refused(&error))?;
    answer(&energy)
}

fn refused(error: &EnergyError) -> Refused {
    let (field, code) = match error {
        EnergyError::TooFewSamples { .. } => ("samples".to_owned(), FaultCode::TooFew),
        EnergyError::NotFinite { index } => (format!("samples[{index}]"), FaultCode::NotFinite),
        EnergyError::TimeNotAscending { index, .. } => {
            (format!("samples[{index}].t_s"), FaultCode::NotAscending)
        }
        EnergyError::GapNotPositive { .. } => ("gap_s".to_owned(), FaultCode::OutOfRange),
        EnergyError::NothingCovered { .. } => ("gap_s".to_owned(), FaultCode::Undetermined),
    };
    Refused::because(field, code, format!("Nothing was integrated: {error}."))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]

    use proptest::prelude::*;

    use super::*;

    fn recording() -> impl Strategy<Value = Vec<Sample>> {
        let step = (0.01f64..5.0, 300.0f64..420.0, -80.0f64..200.0);
        prop::collection::vec(step, 3..60).prop_map(|steps| {
            let mut t_s = 0.0;
            steps
                .into_iter()
                .map(|(step_s, voltage_v, current_a)| {
                    t_s += step_s;
                    Sample { t_s, voltage_v, current_a }
                })
                .collect()
        })
    }

    proptest! {
        #[test]
        fn drawn_and_regenerated_are_never_negative_and_differ_by_the_net(samples in recording()) {
            let energy = integrate(&samples, Some(10.0)).unwrap();
            let plain_kwh: f64 = samples
                .windows(2)
                .map(|pair| 0.5 * (pair[0].power_w() + pair[1].power_w()) * (pair[1].t_s - pair[0].t_s))
                .sum::<f64>() / 3.6e6;
            prop_assert!(energy.energy_kwh >= 0.0 && energy.regenerated_kwh >= 0.0);
            prop_assert!((energy.net_kwh - plain_kwh).abs() < 1e-9);
            prop_assert!(energy.gaps.is_empty());
        }

        #[test]
        fn a_recording_cut_at_a_sample_adds_up_to_the_whole(samples in recording(), cut in 1usize..58) {
            let cut = cut.min(samples.len() - 2);
            let whole = integrate(&samples, Some(10.0)).unwrap();
            let first = integrate(&samples[..=cut], Some(10.0)).unwrap();
            let second = integrate(&samples[cut..], Some(10.0)).unwrap();
            prop_assert!((whole.energy_kwh - first.energy_kwh - second.energy_kwh).abs() < 1e-9);
            prop_assert!((whole.charge_ah - first.charge_ah - second.charge_ah).abs() < 1e-9);
            prop_assert!((whole.covered_s - first.covered_s - second.covered_s).abs() < 1e-9);
        }

        #[test]
        fn covered_time_and_gaps_make_up_the_whole_recording(samples in recording(), gap_s in 0.5f64..6.0) {
            let span_s = samples[samples.len() - 1].t_s - samples[0].t_s;
            match integrate(&samples, Some(gap_s)) {
                Ok(energy) => {
                    let gaps_s: f64 = energy.gaps.iter().map(|[from, to]| to - from).sum();
                    prop_assert!((energy.covered_s + gaps_s - span_s).abs() < 1e-9);
                    prop_assert!(energy.gaps.iter().all(|[from, to]| to - from > gap_s));
                }
                Err(error) => prop_assert_eq!(error, EnergyError::NothingCovered { gap_s }),
            }
        }
    }

    #[test]
    fn a_missing_reading_is_told_by_its_place() {
        let mut samples = vec![
            Sample { t_s: 0.0, voltage_v: 400.0, current_a: 10.0 },
            Sample { t_s: 1.0, voltage_v: f64::NAN, current_a: 10.0 },
        ];
        assert_eq!(integrate(&samples, None), Err(EnergyError::NotFinite { index: 1 }));
        samples[1].voltage_v = 400.0;
        assert!(matches!(
            integrate(&samples, Some(f64::NAN)),
            Err(EnergyError::GapNotPositive { .. })
        ));
    }
}
