//! Time constant and temperature rise of a part from a recording with varying power, and what they predict.

mod fit;
mod response;
#[cfg(test)]
mod tests;

pub use fit::{
    BeyondRecording, CONFIDENCE, FEWEST_SAMPLES, LONGEST_IN_RECORDS, SHORTEST_IN_STEPS,
    ThermalCase, ThermalFit, ThermalFitError, ThermalPrediction, fit_thermal,
};
pub use response::{BetweenSamples, ThermalParameters, ThermalSample, thermal_response};

use serde::Serialize;
use serde_json::Value;

use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::{Reader, above_up_to};

/// A day and more at a sample a second.
const MOST_SAMPLES: usize = 200_000;

/// Times of a recording: seconds of any calendar's era, and more.
const FARTHEST_TIME_S: f64 = 1e12;

/// Recorders show a little below zero at rest. More below zero than this share of the highest power is regeneration.
const NEGATIVE_SHARE: f64 = 0.05;

/// The topic `thermal-fit`.
pub static TOPIC: Topic = Topic {
    name: "thermal-fit",
    version: 2,
    title: "Time constant and temperature rise of a part",
    gives: "How fast a motor, controller or pack warms and how far for each kilowatt, from a recording with whatever power was \
            used; and the temperature at the end of another run with its 95 % prediction interval, when it reaches a limit, \
            and how far that goes beyond the recording.",
    valid_range: "A part that is one lump with steady cooling: heated in proportion to the power, cooled in proportion to its \
                  temperature over the ambient one. 5 to 200,000 samples, in which the time constant shows: it is not found \
                  above 10 times the length of the recording or below a fifth of the usual step. Readings count as \
                  independent; a slow sensor or a second lump makes the true uncertainty wider than told. A prediction \
                  beyond the recording rests on the model alone.",
    inputs: &[
        Field::required("samples", "list", "5 or more readings in the order of time"),
        Field::required("samples[].t_s", "s", "time"),
        Field::required("samples[].temperature_c", "°C", "temperature of the part"),
        Field::required("samples[].ambient_c", "°C", "temperature of the cooling air"),
        Field::required("samples[].power_kw", "kW", "power through the part"),
        Field::optional(
            "power_between_samples",
            "text",
            "straight (the default) or held, if the power stayed at the earlier sample's until the later one",
        ),
        Field::optional(
            "predict",
            "object",
            "a run at constant power in constant ambient temperature",
        ),
        Field::optional("predict.power_kw", "kW", "its power; required in predict"),
        Field::optional("predict.duration_s", "s", "how long; required in predict"),
        Field::optional(
            "predict.start_c",
            "°C",
            "temperature of the part at its beginning; required in predict",
        ),
        Field::optional("predict.ambient_c", "°C", "ambient temperature; required in predict"),
        Field::optional("predict.limit_c", "°C", "temperature limit of the part"),
    ],
    outputs: &[
        Field::required("time_constant_s", "s", "time in which a difference falls to 1/e"),
        Field::required("time_constant_se_s", "s", "its standard error"),
        Field::required(
            "rise_c_per_kw",
            "°C/kW",
            "rise over the ambient temperature for each kilowatt in the long run",
        ),
        Field::required("rise_se_c_per_kw", "°C/kW", "its standard error"),
        Field::required("start_c", "°C", "fitted temperature at the first sample"),
        Field::required(
            "residual_rms_c",
            "°C",
            "root of the mean squared difference of reading and model",
        ),
        Field::required("residual_sd_c", "°C", "the same with n − 3 in place of n"),
        Field::required(
            "r_squared",
            "ratio",
            "share of the readings' scatter that the model explains; null for readings all alike",
        ),
        Field::required(
            "time_constant_rise_correlation",
            "ratio",
            "correlation of the estimates of time constant and rise, from -1 to 1; null where no sample was to spare",
        ),
        Field::required("recorded.highest_power_kw", "kW", "highest power of the recording"),
        Field::required("recorded.duration_s", "s", "length of the recording"),
        Field::required(
            "recorded.highest_rise_c",
            "°C",
            "highest rise over the ambient temperature",
        ),
        Field::required(
            "recorded.start_rise_c",
            "°C",
            "fitted temperature at the first sample over the ambient temperature there",
        ),
        Field::optional(
            "predicted.temperature_c",
            "°C",
            "predicted temperature at the end of the run",
        ),
        Field::optional(
            "predicted.low_c",
            "°C",
            "lower end of the prediction interval of one reading",
        ),
        Field::optional("predicted.high_c", "°C", "upper end"),
        Field::optional("predicted.confidence", "ratio", "confidence of the interval, 0.95"),
        Field::optional("predicted.steady_c", "°C", "temperature in the long run"),
        Field::optional(
            "predicted.time_to_limit_s",
            "s",
            "until the predicted temperature reaches limit_c; 0 if it starts there, null if it settles below or there is no limit",
        ),
        Field::optional(
            "predicted.earliest_time_to_limit_s",
            "s",
            "until the upper end of the interval reaches limit_c; null if it does not within ten time constants",
        ),
        Field::optional(
            "predicted.extrapolated_by_percent",
            "%",
            "the largest of the three below; 0 inside the recording, null if nothing comparable was recorded",
        ),
        Field::optional(
            "predicted.beyond_recording",
            "object",
            "power_percent above the highest recorded, duration_percent beyond the recording's length, rise_percent above the highest recorded rise over ambient",
        ),
    ],
    equations: &[
        "τ · dT/dt = T_ambient + r · P − T, integrated exactly from sample to sample with ambient (and power, unless held) on straight lines",
        "least squares over τ, r and the start temperature, by Levenberg–Marquardt",
        "prediction T = T_s + (T_0 − T_s) e^(−t/τ), T_s = T_ambient + r P; interval ± t · √(s² + gᵀ C g) with n − 3 degrees of freedom, C the parameters' covariance",
        "time to limit = τ ln((T_s − T_0) / (T_s − T_limit))",
    ],
    sources: &[
        "One lumped node with resistance and capacity: T(t) = T_s + (T_0 − T_s) exp(−t/(RC)), common practice; checked by exact step and ramp responses",
        "The limits on what a recording can show are our own choice",
    ],
    published: &[("thermal_fit.toml", include_str!("../published/thermal_fit.toml"))],
    example: r#"{
        "samples": [
            { "t_s": 0, "temperature_c": 21.0, "ambient_c": 20, "power_kw": 30 },
            { "t_s": 60, "temperature_c": 29.9, "ambient_c": 20, "power_kw": 30 },
            { "t_s": 120, "temperature_c": 37.3, "ambient_c": 19, "power_kw": 30 },
            { "t_s": 180, "temperature_c": 43.0, "ambient_c": 19, "power_kw": 30 },
            { "t_s": 240, "temperature_c": 45.3, "ambient_c": 18, "power_kw": 20 },
            { "t_s": 300, "temperature_c": 46.0, "ambient_c": 18, "power_kw": 20 },
            { "t_s": 360, "temperature_c": 46.4, "ambient_c": 18, "power_kw": 20 }
        ],
        "predict": { "power_kw": 30, "duration_s": 300, "start_c": 25, "ambient_c": 20, "limit_c": 80 }
    }"#,
    compute,
};

struct Input {
    samples: Vec<ThermalSample>,
    between: BetweenSamples,
    predict: Option<(ThermalCase, Option<f64>)>,
}

#[derive(Serialize)]
struct Answer {
    time_constant_s: f64,
    time_constant_se_s: Option<f64>,
    rise_c_per_kw: f64,
    rise_se_c_per_kw: Option<f64>,
    start_c: f64,
    residual_rms_c: f64,
    residual_sd_c: Option<f64>,
    r_squared: Option<f64>,
    time_constant_rise_correlation: Option<f64>,
    recorded: Recorded,
    #[serde(skip_serializing_if = "Option::is_none")]
    predicted: Option<Predicted>,
}

/// What the fit rests on, so that whoever predicts from it later can say how far that goes beyond.
#[derive(Serialize)]
struct Recorded {
    highest_power_kw: f64,
    duration_s: f64,
    highest_rise_c: f64,
    start_rise_c: f64,
}

#[derive(Serialize)]
struct Predicted {
    temperature_c: f64,
    low_c: f64,
    high_c: f64,
    confidence: f64,
    steady_c: f64,
    time_to_limit_s: Option<f64>,
    earliest_time_to_limit_s: Option<f64>,
    extrapolated_by_percent: f64,
    beyond_recording: Beyond,
}

#[derive(Serialize)]
struct Beyond {
    power_percent: f64,
    duration_percent: f64,
    rise_percent: f64,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let input = read(input)?;
    let found = fit_thermal(&input.samples, input.between).map_err(refused)?;
    let predicted = input.predict.and_then(|(case, limit_c)| predicted(&found, &case, limit_c));
    answer(&Answer {
        time_constant_s: found.parameters.time_constant_s,
        time_constant_se_s: found.time_constant_se_s(),
        rise_c_per_kw: found.parameters.rise_c_per_kw,
        rise_se_c_per_kw: found.rise_se_c_per_kw(),
        start_c: found.parameters.start_c,
        residual_rms_c: found.fit.residual_rms(),
        residual_sd_c: found.fit.residual_sd(),
        r_squared: found.fit.r_squared(),
        time_constant_rise_correlation: found.time_constant_rise_correlation(),
        recorded: Recorded {
            highest_power_kw: found.highest_power_kw(),
            duration_s: found.recorded_s(),
            highest_rise_c: found.highest_rise_c(),
            start_rise_c: found.start_rise_c(),
        },
        predicted,
    })
}

fn predicted(found: &ThermalFit, case: &ThermalCase, limit_c: Option<f64>) -> Option<Predicted> {
    let prediction = found.predict(case)?;
    let beyond = found.beyond_recording(case);
    Some(Predicted {
        temperature_c: prediction.temperature_c,
        low_c: prediction.temperature_c - prediction.half_width_c,
        high_c: prediction.temperature_c + prediction.half_width_c,
        confidence: CONFIDENCE,
        steady_c: prediction.steady_c,
        time_to_limit_s: limit_c.and_then(|limit| found.time_to_limit_s(case, limit)),
        earliest_time_to_limit_s: limit_c
            .and_then(|limit| found.earliest_time_to_limit_s(case, limit)),
        extrapolated_by_percent: beyond.largest_percent(),
        beyond_recording: Beyond {
            power_percent: beyond.power_percent,
            duration_percent: beyond.duration_percent,
            rise_percent: beyond.rise_percent,
        },
    })
}

fn read(input: &Value) -> Result<Input, Refused> {
    let mut reader = Reader::object(input);
    let samples = reader.array("samples", FEWEST_SAMPLES, |sample| {
        let t_s = sample.required_number("t_s", -FARTHEST_TIME_S..=FARTHEST_TIME_S);
        let temperature_c = sample.required_number("temperature_c", -100.0..=2000.0);
        let ambient_c = sample.required_number("ambient_c", -100.0..=200.0);
        let power_kw = sample.required_number("power_kw", -100_000.0..=100_000.0);
        Some(ThermalSample {
            t_s: t_s?,
            temperature_c: temperature_c?,
            ambient_c: ambient_c?,
            power_kw: power_kw?,
        })
    });
    if let Some(samples) = &samples {
        note_misfits(&mut reader, samples);
    }
    let between = reader.optional_one_of(
        "power_between_samples",
        &[("straight", BetweenSamples::Straight), ("held", BetweenSamples::Held)],
    );
    let predict = reader.optional_object("predict", |predict| {
        let power_kw = predict.required_number("power_kw", 0.0..=100_000.0);
        let duration_s = predict.required_number("duration_s", above_up_to(0.0, 1.0e6));
        let start_c = predict.required_number("start_c", -100.0..=2000.0);
        let ambient_c = predict.required_number("ambient_c", -100.0..=200.0);
        let limit_c = predict.optional_number("limit_c", -100.0..=2000.0);
        let case = ThermalCase {
            power_kw: power_kw?,
            duration_s: duration_s?,
            start_c: start_c?,
            ambient_c: ambient_c?,
        };
        Some((case, limit_c?))
    });
    reader.finish(|| {
        Some(Input {
            samples: samples?,
            between: between?.unwrap_or(BetweenSamples::Straight),
            predict: predict?,
        })
    })
}

fn note_misfits(reader: &mut Reader, samples: &[ThermalSample]) {
    if samples.len() > MOST_SAMPLES {
        reader.fault(
            "samples",
            FaultCode::TooMany,
            format!(
                "samples has {} items; at most {MOST_SAMPLES} are taken. Give every n-th sample.",
                samples.len()
            ),
        );
    }
    let powers = samples.iter().map(|sample| sample.power_kw);
    let (lowest, highest) =
        powers.fold((0.0_f64, 0.0_f64), |(low, high), power| (low.min(power), high.max(power)));
    if lowest < -NEGATIVE_SHARE * highest {
        reader.fault(
            "samples",
            FaultCode::OutOfRange,
            format!(
                "The power goes down to {lowest} kW. A part is heated by power in either direction, which this model does not \
                 know; give the size of the power, or a stretch without regeneration."
            ),
        );
    }
}

fn refused(error: ThermalFitError) -> Refused {
    let (field, code, why) = match error {
        ThermalFitError::TooFew { samples } => (
            "samples".to_owned(),
            FaultCode::TooFew,
            format!("samples has {samples} items; at least {FEWEST_SAMPLES} are wanted."),
        ),
        ThermalFitError::NotAscending { sample } => (
            format!("samples[{sample}].t_s"),
            FaultCode::NotAscending,
            format!("samples[{sample}].t_s is not after the one before; give the samples in the order of time."),
        ),
        ThermalFitError::NoPower => (
            "samples".to_owned(),
            FaultCode::Undetermined,
            "The power is zero in all samples, so the rise for each kilowatt stays open. Give a stretch with power.".to_owned(),
        ),
        ThermalFitError::TimeConstantUnseen => (
            "samples".to_owned(),
            FaultCode::Undetermined,
            "The time constant can't be seen in these samples: the temperature changes too little, the recording is too short \
             for the curve to bend, or the samples are too far apart. Give a longer stretch in which the power changes."
                .to_owned(),
        ),
        ThermalFitError::CoolsWithPower { rise_c_per_kw } => (
            "samples".to_owned(),
            FaultCode::Inconsistent,
            format!(
                "In these samples the temperature falls with power, by {:.4} °C per kW. Look whether the columns are exchanged, \
                 or whether cooling changed with power.",
                -rise_c_per_kw
            ),
        ),
        ThermalFitError::Fit(error) => (
            "samples".to_owned(),
            FaultCode::NoConvergence,
            format!("The model could not be fitted: {error}. Give a stretch in which cooling was steady."),
        ),
    };
    Refused::because(field, code, why)
}
