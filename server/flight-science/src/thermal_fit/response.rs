//! The temperature of one lumped part, integrated exactly from sample to sample.

use nalgebra::{DMatrix, DVector};

use crate::least_squares::Model;

/// Steps that differ by less than this share are the same, but for the rounding of their times.
const SAME_STEP: f64 = 1e-10;

/// One row of a recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThermalSample {
    /// Time in seconds.
    pub t_s: f64,
    /// Temperature of the part in °C.
    pub temperature_c: f64,
    /// Temperature of the air that cools it, in °C.
    pub ambient_c: f64,
    /// Power that heats it, in kilowatts.
    pub power_kw: f64,
}

/// How power ran from one sample to the next. The ambient temperature always runs straight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BetweenSamples {
    /// On a straight line.
    Straight,
    /// It stayed at the earlier sample's until the later one.
    Held,
}

/// What the model is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThermalParameters {
    /// Time in which a difference falls to 1/e.
    pub time_constant_s: f64,
    /// Rise over the ambient temperature for each kilowatt, in the long run.
    pub rise_c_per_kw: f64,
    /// Temperature of the part at the first sample.
    pub start_c: f64,
}

/// The model's temperature at each sample.
///
/// # Source
///
/// The exact solution of `τ dT/dt = T_ambient + r P − T` over a step in which the right-hand side's forcing is straight (or
/// held): `T' = E T + a u + b u'` with `E = e^(−h/τ)`, `φ = (1 − E) τ / h`, `a = φ − E`, `b = 1 − φ`. Checked by
/// `published/thermal_response.toml`.
pub fn thermal_response(
    parameters: ThermalParameters,
    samples: &[ThermalSample],
    between: BetweenSamples,
) -> Vec<f64> {
    let response = Response { samples, observed: Vec::new(), between };
    let mut fitted = DVector::zeros(samples.len());
    response.integrate(parameters, |row, state| fitted[row] = state.temperature);
    fitted.as_slice().to_vec()
}

/// The model to be fitted, with the logarithm of the time constant as its first parameter: it keeps the constant positive.
pub(super) struct Response<'a> {
    samples: &'a [ThermalSample],
    observed: Vec<f64>,
    between: BetweenSamples,
}

/// Temperature and its derivatives by the model's parameters.
struct State {
    temperature: f64,
    by_log_time_constant: f64,
    by_rise: f64,
    by_start: f64,
}

/// What a step of one length does.
#[derive(Clone, Copy)]
struct Step {
    /// What is kept of the temperature.
    kept: f64,
    /// Weight of the forcing at the step's beginning, and how that changes with the logarithm of the time constant.
    earlier: f64,
    earlier_slope: f64,
    /// The same of the forcing at its end.
    later: f64,
    later_slope: f64,
    /// How `kept` changes with the logarithm of the time constant.
    kept_slope: f64,
}

impl Step {
    fn straight(duration_s: f64, time_constant_s: f64) -> Self {
        let x = duration_s / time_constant_s;
        let lost = -(-x).exp_m1();
        let kept = 1.0 - lost;
        let mean = lost / x;
        let earlier = mean - kept;
        Self {
            kept,
            earlier,
            earlier_slope: earlier - kept * x,
            later: 1.0 - mean,
            later_slope: -earlier,
            kept_slope: kept * x,
        }
    }

    /// The same step for a forcing that stays as it was at the beginning.
    fn held(self) -> Self {
        Self {
            earlier: 1.0 - self.kept,
            earlier_slope: -self.kept_slope,
            later: 0.0,
            later_slope: 0.0,
            ..self
        }
    }
}

impl<'a> Response<'a> {
    pub(super) fn new(samples: &'a [ThermalSample], between: BetweenSamples) -> Self {
        let observed = samples.iter().map(|sample| sample.temperature_c).collect();
        Self { samples, observed, between }
    }

    pub(super) fn parameters(fitted: &DVector<f64>) -> ThermalParameters {
        ThermalParameters {
            time_constant_s: fitted[0].exp(),
            rise_c_per_kw: fitted[1],
            start_c: fitted[2],
        }
    }

    /// The rise, start and sum of squared residuals that fit best for one time constant. The model is linear in the first
    /// two, so they need no search. `None` where the samples leave them open.
    pub(super) fn best_for(&self, time_constant_s: f64) -> Option<(ThermalParameters, f64)> {
        let flat = ThermalParameters { time_constant_s, rise_c_per_kw: 0.0, start_c: 0.0 };
        // Sums of the normal equations of: observed − response to the ambient alone = rise · a + start · b.
        let (mut aa, mut ab, mut bb, mut ay, mut by, mut yy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        self.integrate(flat, |row, state| {
            let y = self.observed[row] - state.temperature;
            let (a, b) = (state.by_rise, state.by_start);
            aa += a * a;
            ab += a * b;
            bb += b * b;
            ay += a * y;
            by += b * y;
            yy += y * y;
        });
        let determinant = aa * bb - ab * ab;
        if determinant.is_nan() || determinant <= 1e-12 * aa * bb {
            return None;
        }
        let rise = (ay * bb - by * ab) / determinant;
        let start = (by * aa - ay * ab) / determinant;
        let left = yy - rise * ay - start * by;
        Some((ThermalParameters { time_constant_s, rise_c_per_kw: rise, start_c: start }, left))
    }

    fn integrate(&self, parameters: ThermalParameters, mut at: impl FnMut(usize, &State)) {
        let rise = parameters.rise_c_per_kw;
        let mut state = State {
            temperature: parameters.start_c,
            by_log_time_constant: 0.0,
            by_rise: 0.0,
            by_start: 1.0,
        };
        if !self.samples.is_empty() {
            at(0, &state);
        }
        let mut known: Option<(f64, Step)> = None;
        for (row, pair) in self.samples.windows(2).enumerate() {
            let (earlier, later) = (&pair[0], &pair[1]);
            let duration_s = later.t_s - earlier.t_s;
            let step = match known {
                Some((of, step)) if (of - duration_s).abs() <= SAME_STEP * of => step,
                _ => Step::straight(duration_s, parameters.time_constant_s),
            };
            known = Some((duration_s, step));
            let power = match self.between {
                BetweenSamples::Straight => step,
                BetweenSamples::Held => step.held(),
            };
            let heat = power.earlier * earlier.power_kw + power.later * later.power_kw;
            let heat_slope =
                power.earlier_slope * earlier.power_kw + power.later_slope * later.power_kw;
            let air = step.earlier * earlier.ambient_c + step.later * later.ambient_c;
            let air_slope =
                step.earlier_slope * earlier.ambient_c + step.later_slope * later.ambient_c;
            state = State {
                temperature: step.kept * state.temperature + air + rise * heat,
                by_log_time_constant: step.kept * state.by_log_time_constant
                    + step.kept_slope * state.temperature
                    + air_slope
                    + rise * heat_slope,
                by_rise: step.kept * state.by_rise + heat,
                by_start: step.kept * state.by_start,
            };
            at(row + 1, &state);
        }
    }
}

impl Model for Response<'_> {
    fn observed(&self) -> &[f64] {
        &self.observed
    }

    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        fitted: &mut DVector<f64>,
        mut jacobian: Option<&mut DMatrix<f64>>,
    ) {
        self.integrate(Self::parameters(parameters), |row, state| {
            fitted[row] = state.temperature;
            if let Some(jacobian) = jacobian.as_deref_mut() {
                jacobian[(row, 0)] = state.by_log_time_constant;
                jacobian[(row, 1)] = state.by_rise;
                jacobian[(row, 2)] = state.by_start;
            }
        });
    }
}
