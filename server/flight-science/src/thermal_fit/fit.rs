//! Time constant and rise fitted to a recording, and predictions from them.

use super::response::{BetweenSamples, Response, ThermalParameters, ThermalSample};
use crate::least_squares::{Fit, FitError, fit_nonlinear, percent_beyond};

/// Fewer samples leave nothing to judge the fit by.
pub const FEWEST_SAMPLES: usize = 5;

/// Time constants are looked for up to so many times the length of the recording; a longer one can't be seen in it.
pub const LONGEST_IN_RECORDS: f64 = 10.0;

/// Time constants are looked for down to this share of the middle step; a shorter one can't be seen between samples.
pub const SHORTEST_IN_STEPS: f64 = 0.2;

/// So many time constants are tried for a start.
const TRIED: usize = 14;

/// If the temperature changed by less than this for a time constant e times as long, no sensor shows the difference.
const SMALLEST_EFFECT_C: f64 = 1e-3;

/// Confidence of the prediction interval.
pub const CONFIDENCE: f64 = 0.95;

/// The time until a limit is looked for over so many time constants; then the temperature has settled to a hundredth of a
/// percent.
const SETTLED_IN_TIME_CONSTANTS: f64 = 10.0;

/// How finely that time is looked for, before it is closed in upon.
const LOOKS: usize = 500;

/// A fitted part.
#[derive(Debug, Clone, PartialEq)]
pub struct ThermalFit {
    /// The fitted parameters.
    pub parameters: ThermalParameters,
    /// The fit; its parameters are the logarithm of the time constant, the rise and the start.
    pub fit: Fit,
    highest_power_kw: f64,
    recorded_s: f64,
    highest_rise_c: f64,
    start_rise_c: f64,
}

/// What is to be predicted: constant power in air of constant temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThermalCase {
    /// Power in kilowatts.
    pub power_kw: f64,
    /// For how long, in seconds.
    pub duration_s: f64,
    /// Temperature of the part at the beginning, in °C.
    pub start_c: f64,
    /// Temperature of the air, in °C.
    pub ambient_c: f64,
}

/// A predicted temperature with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThermalPrediction {
    /// Temperature at the end.
    pub temperature_c: f64,
    /// Half the width of the 95 % prediction interval of one reading.
    pub half_width_c: f64,
    /// Temperature in the long run.
    pub steady_c: f64,
}

/// How far a case goes beyond the recording, each in percent of what was recorded; 0 inside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeyondRecording {
    /// Power above the highest recorded.
    pub power_percent: f64,
    /// Duration beyond the length of the recording.
    pub duration_percent: f64,
    /// Rise over the ambient temperature above the highest recorded.
    pub rise_percent: f64,
}

/// Why a recording gives no time constant and rise.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ThermalFitError {
    /// Fewer than [`FEWEST_SAMPLES`].
    #[error("{samples} samples are too few")]
    TooFew {
        /// Samples given.
        samples: usize,
    },
    /// A time is not after the one before.
    #[error("sample {sample} is not after the one before")]
    NotAscending {
        /// The sample, counted from 0.
        sample: usize,
    },
    /// No power, so no rise.
    #[error("the power is zero all the time")]
    NoPower,
    /// The recording does not show the time constant.
    #[error("the time constant can't be seen in this recording")]
    TimeConstantUnseen,
    /// The part would become colder with power.
    #[error("the temperature falls with power, by {rise_c_per_kw:.4} °C per kW")]
    CoolsWithPower {
        /// The rise that came out.
        rise_c_per_kw: f64,
    },
    /// The fit did not settle.
    #[error(transparent)]
    Fit(#[from] FitError),
}

/// Fits a part's time constant, rise and start temperature to a recording.
///
/// Valid for a part that is one lump: heated in proportion to the power, cooled in proportion to its temperature over the
/// ambient one, with neither changing. Readings are taken as independent; recordings whose errors are alike from one
/// sample to the next (a slow sensor, a second lump) have wider uncertainty than is told.
///
/// # Errors
///
/// [`ThermalFitError`] as named.
///
/// # Source
///
/// `τ dT/dt = T_ambient + r P − T`, integrated exactly between samples, by least squares. Checked by
/// `published/thermal_fit.toml`.
pub fn fit_thermal(
    samples: &[ThermalSample],
    between: BetweenSamples,
) -> Result<ThermalFit, ThermalFitError> {
    if samples.len() < FEWEST_SAMPLES {
        return Err(ThermalFitError::TooFew { samples: samples.len() });
    }
    let steps: Vec<f64> = samples.windows(2).map(|pair| pair[1].t_s - pair[0].t_s).collect();
    if let Some(step) = steps.iter().position(|step| step.is_nan() || *step <= 0.0) {
        return Err(ThermalFitError::NotAscending { sample: step + 1 });
    }
    if samples.iter().all(|sample| sample.power_kw == 0.0) {
        return Err(ThermalFitError::NoPower);
    }
    let recorded_s = steps.iter().sum::<f64>();
    let shortest = SHORTEST_IN_STEPS * middle(steps);
    let longest = LONGEST_IN_RECORDS * recorded_s;

    let model = Response::new(samples, between);
    let start = best_start(&model, shortest, longest).ok_or(ThermalFitError::TimeConstantUnseen)?;
    let start = [start.time_constant_s.ln(), start.rise_c_per_kw, start.start_c];
    let fit = fit_nonlinear(&model, &start).map_err(|error| match error {
        FitError::Undetermined { .. } => ThermalFitError::TimeConstantUnseen,
        // Towards ever longer time constants the curve becomes a straight line, and the fit follows it without end.
        FitError::NoConvergence { .. } if start[0].exp() > recorded_s => {
            ThermalFitError::TimeConstantUnseen
        }
        other => ThermalFitError::Fit(other),
    })?;
    let parameters = Response::parameters(&fit.parameters);
    let inside = (shortest..=longest).contains(&parameters.time_constant_s);
    // The first parameter is a logarithm, so its standard error is a share of the time constant.
    let known = fit.standard_error(0).is_some_and(|share| share < 1.0);
    if !(inside && known && effect_c(&fit) > SMALLEST_EFFECT_C) {
        return Err(ThermalFitError::TimeConstantUnseen);
    }
    if parameters.rise_c_per_kw <= 0.0 {
        return Err(ThermalFitError::CoolsWithPower { rise_c_per_kw: parameters.rise_c_per_kw });
    }
    let highest = |figure: fn(&ThermalSample) -> f64| {
        samples.iter().map(figure).fold(f64::NEG_INFINITY, f64::max)
    };
    Ok(ThermalFit {
        parameters,
        start_rise_c: parameters.start_c - samples[0].ambient_c,
        fit,
        highest_power_kw: highest(|sample| sample.power_kw),
        recorded_s,
        highest_rise_c: highest(|sample| sample.temperature_c - sample.ambient_c),
    })
}

impl ThermalFit {
    /// Standard error of the time constant in seconds.
    pub fn time_constant_se_s(&self) -> Option<f64> {
        self.fit.standard_error(0).map(|share| share * self.parameters.time_constant_s)
    }

    /// Standard error of the rise.
    pub fn rise_se_c_per_kw(&self) -> Option<f64> {
        self.fit.standard_error(1)
    }

    /// Correlation of the estimates of the time constant's logarithm and of the rise; `None` when no sample was to spare.
    pub fn time_constant_rise_correlation(&self) -> Option<f64> {
        let errors = self.fit.standard_error(0)? * self.fit.standard_error(1)?;
        let correlation = self.fit.covariance()?[(0, 1)] / errors;
        correlation.is_finite().then_some(correlation)
    }

    /// The highest power of the recording in kilowatts.
    pub const fn highest_power_kw(&self) -> f64 {
        self.highest_power_kw
    }

    /// The length of the recording in seconds.
    pub const fn recorded_s(&self) -> f64 {
        self.recorded_s
    }

    /// The highest rise over the ambient temperature that was recorded.
    pub const fn highest_rise_c(&self) -> f64 {
        self.highest_rise_c
    }

    /// The fitted temperature at the first sample over the ambient temperature there.
    pub const fn start_rise_c(&self) -> f64 {
        self.start_rise_c
    }

    /// Predicts the temperature at the end of a case; `None` when no sample was to spare.
    ///
    /// The interval holds one reading, with the parameters' uncertainty and the scatter of the readings; the start
    /// temperature is taken as it is given.
    ///
    /// # Source
    ///
    /// `T = T_s + (T_0 − T_s) e^(−t/τ)` with `T_s = T_ambient + r P`; interval to first order in the parameters.
    pub fn predict(&self, case: &ThermalCase) -> Option<ThermalPrediction> {
        let steady_c = case.ambient_c + self.parameters.rise_c_per_kw * case.power_kw;
        let x = case.duration_s / self.parameters.time_constant_s;
        let kept = (-x).exp();
        let gradient = [(case.start_c - steady_c) * kept * x, case.power_kw * -(-x).exp_m1(), 0.0];
        Some(ThermalPrediction {
            temperature_c: steady_c + (case.start_c - steady_c) * kept,
            half_width_c: self.fit.prediction_half_width(&gradient, CONFIDENCE)?,
            steady_c,
        })
    }

    /// Seconds until the predicted temperature reaches the limit; 0 if it starts there or above, `None` if it settles
    /// below.
    pub fn time_to_limit_s(&self, case: &ThermalCase, limit_c: f64) -> Option<f64> {
        if case.start_c >= limit_c {
            return Some(0.0);
        }
        let steady_c = case.ambient_c + self.parameters.rise_c_per_kw * case.power_kw;
        (steady_c > limit_c).then(|| {
            let ratio = (steady_c - case.start_c) / (steady_c - limit_c);
            self.parameters.time_constant_s * ratio.ln()
        })
    }

    /// Seconds until the upper end of the prediction interval reaches the limit: the earliest time that the recording
    /// allows for. `None` if it does not within ten time constants.
    pub fn earliest_time_to_limit_s(&self, case: &ThermalCase, limit_c: f64) -> Option<f64> {
        let reached = |duration_s: f64| {
            self.predict(&ThermalCase { duration_s, ..*case }).is_some_and(|prediction| {
                prediction.temperature_c + prediction.half_width_c >= limit_c
            })
        };
        if case.start_c >= limit_c || reached(0.0) {
            return Some(0.0);
        }
        let longest = SETTLED_IN_TIME_CONSTANTS * self.parameters.time_constant_s;
        let look = |number: usize| longest * number as f64 / LOOKS as f64;
        let first = (1..=LOOKS).find(|number| reached(look(*number)))?;
        let (mut before, mut after) = (look(first - 1), look(first));
        for _ in 0..60 {
            let between = 0.5 * (before + after);
            if reached(between) {
                after = between;
            } else {
                before = between;
            }
        }
        Some(after)
    }

    /// How far a case goes beyond what was recorded.
    pub fn beyond_recording(&self, case: &ThermalCase) -> BeyondRecording {
        let end_c = self.predict(case).map_or(f64::NAN, |prediction| prediction.temperature_c);
        let rise_c = end_c.max(case.start_c) - case.ambient_c;
        // Below the highest, the model goes down to no power, no time and no rise by its own equation.
        let above = |value: f64, highest: f64| {
            percent_beyond(value.max(0.0), [0.0, highest.max(0.0)]).unwrap_or(f64::INFINITY)
        };
        BeyondRecording {
            power_percent: above(case.power_kw, self.highest_power_kw),
            duration_percent: above(case.duration_s, self.recorded_s),
            rise_percent: above(rise_c, self.highest_rise_c),
        }
    }
}

impl BeyondRecording {
    /// The largest of the three.
    pub fn largest_percent(&self) -> f64 {
        self.power_percent.max(self.duration_percent).max(self.rise_percent)
    }
}

/// Tries time constants over the whole range, and gives the best with what goes with it.
fn best_start(model: &Response<'_>, shortest: f64, longest: f64) -> Option<ThermalParameters> {
    let ratio = longest / shortest;
    let tried = (0..TRIED).filter_map(|number| {
        let share = number as f64 / (TRIED - 1) as f64;
        model.best_for(shortest * ratio.powf(share))
    });
    tried.min_by(|(_, one), (_, other)| one.total_cmp(other)).map(|(parameters, _)| parameters)
}

/// How much the fitted temperatures change for a time constant e times as long, beyond what rise and start could make good:
/// the root of the mean square over the samples.
fn effect_c(fit: &Fit) -> f64 {
    1.0 / (fit.unscaled_covariance[(0, 0)] * fit.residuals.len() as f64).sqrt()
}

fn middle(mut numbers: Vec<f64>) -> f64 {
    numbers.sort_by(f64::total_cmp);
    numbers[numbers.len() / 2]
}
