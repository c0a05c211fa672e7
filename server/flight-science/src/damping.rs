//! Damping of an oscillation that was let go: from successive peaks, or from the samples themselves.

mod decay;
mod decrement;
mod pencil;
#[cfg(test)]
mod tests;

pub use decay::{Decay, DecayError, DecayingMode, FEWEST_SAMPLES, LARGEST_STEP_RATIO, fit_decay};
pub use decrement::{
    Decrement, DecrementError, cycles_to_half, damping_ratio_of, fit_decrement, log_decrement_of,
};

use serde::Serialize;
use serde_json::Value;

use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::{ANY, Reader, above_up_to};
use crate::least_squares::student_t_two_sided;

/// Confidence of the interval about the damping ratio.
const CONFIDENCE: f64 = 0.95;

/// Times and values of a record; beyond, squares leave the range of the numbers that are calculated with.
const FARTHEST_TIME_S: f64 = 1e12;
const LARGEST_VALUE: f64 = 1e50;

/// Records longer than this belong cut to the decay.
const MOST_SAMPLES: usize = 100_000;

/// The topic `damping`.
pub static TOPIC: Topic = Topic {
    name: "damping",
    version: 1,
    title: "Damping of a decaying oscillation",
    gives: "Damping ratio, structural damping and frequency of an oscillation that was excited and let go, with the \
            uncertainty that the data themselves show.",
    valid_range: "Free decay of linear modes with viscous damping. Peaks: two or more of one sign, about a zero that was taken \
                  off. Samples: 12 to 100,000, about evenly spaced, at least twice a cycle and over at least one cycle; up to \
                  three modes and a constant offset are told apart. Decay only: an oscillation that does not become smaller \
                  is refused.",
    inputs: &[
        Field::optional(
            "peaks",
            "list",
            "successive peaks of one sign, one a cycle; exactly one of peaks and samples is given",
        ),
        Field::optional("period_s", "s", "time from peak to peak; only with peaks"),
        Field::optional(
            "samples",
            "list",
            "rows of time in seconds and value in any unit, after the excitation has ended",
        ),
    ],
    outputs: &[
        Field::required("method", "text", "log-decrement-of-peaks or matrix-pencil"),
        Field::required("damping_ratio", "ratio", "share of critical damping"),
        Field::required("damping_ratio_se", "ratio", "its standard error; null for two peaks"),
        Field::required(
            "damping_ratio_low",
            "ratio",
            "lower end of its 95 % confidence interval; null for two peaks",
        ),
        Field::required("damping_ratio_high", "ratio", "upper end; null for two peaks"),
        Field::required(
            "structural_damping",
            "ratio",
            "twice the damping ratio, as flutter work tells damping",
        ),
        Field::required("log_decrement", "ratio", "logarithm of the ratio of two successive peaks"),
        Field::required("cycles_to_half", "cycles", "cycles in which the amplitude falls to half"),
        Field::required(
            "frequency_hz",
            "Hz",
            "frequency of the damped oscillation; null for peaks without period_s",
        ),
        Field::required(
            "natural_frequency_hz",
            "Hz",
            "frequency without damping, as flutter-margin takes it; null as above",
        ),
        Field::required(
            "r_squared",
            "ratio",
            "share of the scatter that the decay explains; for peaks that of their logarithms",
        ),
        Field::optional(
            "modes",
            "list",
            "with samples: each mode with damping_ratio, damping_ratio_se, frequency_hz, frequency_se_hz, natural_frequency_hz and amplitude; the answer above is the first, which carries most of the signal",
        ),
        Field::optional("offset", "as given", "with samples: what they oscillate about"),
        Field::optional(
            "residual_rms",
            "as given",
            "with samples: root of the mean squared residual",
        ),
    ],
    equations: &[
        "peaks: least-squares line through ln|peak| over the peak's number; log decrement δ = −slope",
        "ζ = δ / √(4π² + δ²); δ = 2π ζ / √(1 − ζ²); structural damping = 2ζ; cycles to half = ln 2 / δ",
        "samples: matrix pencil with truncated singular value decomposition for the poles, then least squares of Σ e^(−dt) (a cos ωt + b sin ωt) + c at the samples' own times; ζ = d / √(d² + ω²)",
        "natural frequency = damped frequency / √(1 − ζ²)",
    ],
    sources: &[
        "Logarithmic decrement: pont.ist/logarithmic-decrement (text seen)",
        "Matrix pencil: T. K. Sarkar and O. Pereira, IEEE Antennas and Propagation Magazine 37 (1), 1995, from memory; checked by decays made with known poles",
        "What counts as noise, and how many modes are kept, is our own choice",
    ],
    published: &[("damping.toml", include_str!("../published/damping.toml"))],
    example: r#"{ "peaks": [8.1, 6.5, 5.2, 4.2, 3.3], "period_s": 0.19 }"#,
    compute,
};

enum Input {
    Peaks { peaks: Vec<f64>, period_s: Option<f64> },
    Samples(Vec<[f64; 2]>),
}

#[derive(Serialize)]
struct Answer {
    method: &'static str,
    damping_ratio: f64,
    damping_ratio_se: Option<f64>,
    damping_ratio_low: Option<f64>,
    damping_ratio_high: Option<f64>,
    structural_damping: f64,
    log_decrement: f64,
    cycles_to_half: f64,
    frequency_hz: Option<f64>,
    natural_frequency_hz: Option<f64>,
    r_squared: Option<f64>,
    #[serde(flatten)]
    of_samples: Option<OfSamples>,
}

#[derive(Serialize)]
struct OfSamples {
    modes: Vec<Mode>,
    offset: f64,
    residual_rms: f64,
}

#[derive(Serialize)]
struct Mode {
    damping_ratio: f64,
    damping_ratio_se: Option<f64>,
    frequency_hz: f64,
    frequency_se_hz: Option<f64>,
    natural_frequency_hz: f64,
    amplitude: f64,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    match read(input)? {
        Input::Peaks { peaks, period_s } => from_peaks(&peaks, period_s),
        Input::Samples(samples) => from_samples(&samples),
    }
}

fn from_peaks(peaks: &[f64], period_s: Option<f64>) -> Result<Value, Refused> {
    let found = fit_decrement(peaks).map_err(peaks_refused)?;
    let ratio = damping_ratio_of(found.log_decrement);
    // dζ/dδ = 4π² / (4π² + δ²)^1.5, which is (1 − ζ²) ζ / δ.
    let slope = (1.0 - ratio * ratio) * ratio / found.log_decrement;
    let error = found.standard_error.map(|error| slope * error);
    let half_width = half_width(error, peaks.len() - 2);
    let frequency_hz = period_s.map(|period| 1.0 / period);
    answer(&Answer {
        method: "log-decrement-of-peaks",
        damping_ratio: ratio,
        damping_ratio_se: error,
        damping_ratio_low: half_width.map(|half| ratio - half),
        damping_ratio_high: half_width.map(|half| ratio + half),
        structural_damping: 2.0 * ratio,
        log_decrement: found.log_decrement,
        cycles_to_half: cycles_to_half(found.log_decrement),
        frequency_hz,
        natural_frequency_hz: frequency_hz.map(|damped| damped / (1.0 - ratio * ratio).sqrt()),
        r_squared: found.r_squared,
        of_samples: None,
    })
}

fn from_samples(samples: &[[f64; 2]]) -> Result<Value, Refused> {
    let found = fit_decay(samples).map_err(samples_refused)?;
    let Some(main) = found.modes.first() else {
        return Err(samples_refused(DecayError::NothingStandsOut));
    };
    let ratio = main.damping_ratio;
    let half_width = half_width(main.damping_ratio_se, found.fit.degrees_of_freedom());
    let log_decrement = log_decrement_of(ratio);
    answer(&Answer {
        method: "matrix-pencil",
        damping_ratio: ratio,
        damping_ratio_se: main.damping_ratio_se,
        damping_ratio_low: half_width.map(|half| ratio - half),
        damping_ratio_high: half_width.map(|half| ratio + half),
        structural_damping: 2.0 * ratio,
        log_decrement,
        cycles_to_half: cycles_to_half(log_decrement),
        frequency_hz: Some(main.frequency_hz),
        natural_frequency_hz: Some(main.natural_frequency_hz),
        r_squared: found.fit.r_squared(),
        of_samples: Some(OfSamples {
            modes: found.modes.iter().map(told).collect(),
            offset: found.offset,
            residual_rms: found.fit.residual_rms(),
        }),
    })
}

fn told(mode: &DecayingMode) -> Mode {
    Mode {
        damping_ratio: mode.damping_ratio,
        damping_ratio_se: mode.damping_ratio_se,
        frequency_hz: mode.frequency_hz,
        frequency_se_hz: mode.frequency_se_hz,
        natural_frequency_hz: mode.natural_frequency_hz,
        amplitude: mode.amplitude,
    }
}

fn half_width(standard_error: Option<f64>, degrees_of_freedom: usize) -> Option<f64> {
    Some(student_t_two_sided(CONFIDENCE, degrees_of_freedom)? * standard_error?)
}

fn read(input: &Value) -> Result<Input, Refused> {
    let mut reader = Reader::object(input);
    let given = (reader.has("peaks"), reader.has("samples"));
    let peaks = if given.0 { reader.numbers("peaks", 2, ANY).map(Some) } else { Some(None) };
    let period_s = reader.optional_number("period_s", above_up_to(0.0, 1.0e6));
    let samples = reader.optional_rows(
        "samples",
        FEWEST_SAMPLES,
        [-FARTHEST_TIME_S..=FARTHEST_TIME_S, -LARGEST_VALUE..=LARGEST_VALUE],
    );
    match given {
        (false, false) if input.is_object() => reader.fault(
            "",
            FaultCode::Missing,
            "Neither peaks nor samples are given; exactly one of them is wanted.",
        ),
        (true, true) => reader.fault(
            "samples",
            FaultCode::Inconsistent,
            "peaks and samples are given together; they may contradict, so only one is taken.",
        ),
        (false, true) if reader.has("period_s") => reader.fault(
            "period_s",
            FaultCode::Inconsistent,
            "period_s belongs to peaks; samples tell their own frequency.",
        ),
        _ => {}
    }
    if let Some(Some(count)) = samples.as_ref().map(|samples| samples.as_ref().map(Vec::len))
        && count > MOST_SAMPLES
    {
        reader.fault(
            "samples",
            FaultCode::TooMany,
            format!("samples has {count} rows; at most {MOST_SAMPLES} are taken. Cut the record to the decay."),
        );
    }
    reader.finish(|| match (peaks?, samples?) {
        (Some(peaks), None) => Some(Input::Peaks { peaks, period_s: period_s? }),
        (None, Some(samples)) => Some(Input::Samples(samples)),
        _ => None,
    })
}

fn peaks_refused(error: DecrementError) -> Refused {
    match error {
        DecrementError::NotOfOneSign { peak } => Refused::because(
            format!("peaks[{peak}]"),
            FaultCode::Inconsistent,
            format!(
                "peaks[{peak}] is zero or of another sign than the first. Give one peak for each cycle, all on one side, with \
                 the value at rest taken off."
            ),
        ),
        DecrementError::TooFew => {
            Refused::because("peaks", FaultCode::TooFew, "A decrement needs at least two peaks.")
        }
        DecrementError::NotDecaying => Refused::because(
            "peaks",
            FaultCode::Inconsistent,
            "These peaks do not become smaller, so there is no decay to measure. An oscillation that does not decay by itself \
             is a reason to stop, not a figure of damping.",
        ),
    }
}

fn samples_refused(error: DecayError) -> Refused {
    let (field, code, why) = match error {
        DecayError::TooFew { samples } => (
            "samples".to_owned(),
            FaultCode::TooFew,
            format!("samples has {samples} rows; at least {FEWEST_SAMPLES} are wanted."),
        ),
        DecayError::NotAscending { sample } => (
            format!("samples[{sample}]"),
            FaultCode::NotAscending,
            format!("The time of samples[{sample}] is not after the one before."),
        ),
        DecayError::Gap { sample, gap_s } => (
            format!("samples[{sample}]"),
            FaultCode::Inconsistent,
            format!(
                "Before samples[{sample}] there is a gap of {gap_s} s, more than {LARGEST_STEP_RATIO} times the usual step. \
                 Give a stretch without a gap."
            ),
        ),
        DecayError::NothingStandsOut => (
            "samples".to_owned(),
            FaultCode::Undetermined,
            "No oscillation stands out of the noise in these samples. Excite the mode more, or give the stretch right after \
             the excitation."
                .to_owned(),
        ),
        DecayError::NotDecaying { frequency_hz } => (
            "samples".to_owned(),
            FaultCode::Inconsistent,
            format!(
                "The oscillation at {frequency_hz:.3} Hz does not become smaller, so there is no decay to measure. An \
                 oscillation that does not decay by itself is a reason to stop, not a figure of damping."
            ),
        ),
        DecayError::TooShort { cycles } => (
            "samples".to_owned(),
            FaultCode::Undetermined,
            format!("Only {cycles:.2} cycles of the oscillation are recorded; at least one is wanted."),
        ),
        DecayError::Fit(error) => (
            "samples".to_owned(),
            FaultCode::NoConvergence,
            format!("The decay could not be fitted: {error}. Give a stretch with one free decay."),
        ),
    };
    Refused::because(field, code, why)
}
