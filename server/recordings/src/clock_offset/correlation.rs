//! The coefficient of correlation of two grids at every shift, over what both have.

use std::ops::RangeInclusive;

use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

use super::Agreement;
use super::grid::Grid;

/// Below this share of a grid's own variance nothing moves: what is left of it is rounding.
const STANDS_STILL: f64 = 1e-9;

/// Correlates one grid with another that is moved on by each of the shifts, in steps.
///
/// With `m` one where a value is there and zero where it is not, sums over what both have are correlations themselves:
/// `n = m₁ ⋆ m₂`, `Σx = x ⋆ m₂`, `Σy = m₁ ⋆ y`, `Σx² = x² ⋆ m₂`, `Σy² = m₁ ⋆ y²`, `Σxy = x ⋆ y`.
pub(super) fn correlations(
    first: &Grid,
    other: &Grid,
    shifts: RangeInclusive<i64>,
) -> Vec<Agreement> {
    if shifts.is_empty() {
        return Vec::new();
    }
    let size = (first.values.len() + other.values.len()).next_power_of_two();
    let mut planner = FftPlanner::new();
    let forward = planner.plan_fft_forward(size);
    let backward = planner.plan_fft_inverse(size);
    let there = |value: f64| if value.is_nan() { 0.0 } else { 1.0 };
    let known = |value: f64| if value.is_nan() { 0.0 } else { value };
    let of = |grid: &Grid, what: &dyn Fn(f64) -> f64| spectrum(grid, what, size, &*forward);
    let square = |value: f64| known(value).powi(2);
    let [m1, x, xx] = [of(first, &there), of(first, &known), of(first, &square)];
    let [m2, y, yy] = [of(other, &there), of(other, &known), of(other, &square)];
    let pair = |a: [&[Complex<f64>]; 2], b: [&[Complex<f64>]; 2]| two_at_once(a, b, &*backward);
    let n_and_xy = pair([&m1, &m2], [&x, &y]);
    let x_and_xx = pair([&x, &m2], [&xx, &m2]);
    let y_and_yy = pair([&m1, &y], [&m1, &yy]);
    shifts
        .map(|shift| {
            // A shift is shorter than the grids, and `size` is longer than both together.
            let place = shift.rem_euclid(size as i64) as usize;
            let points = n_and_xy[place].re.round();
            let (sum_x, sum_xx) = (x_and_xx[place].re, x_and_xx[place].im);
            let (sum_y, sum_yy) = (y_and_yy[place].re, y_and_yy[place].im);
            let of_x = sum_xx - sum_x * sum_x / points;
            let of_y = sum_yy - sum_y * sum_y / points;
            let of_both = n_and_xy[place].im - sum_x * sum_y / points;
            let moves = of_x > STANDS_STILL * points && of_y > STANDS_STILL * points;
            let correlation =
                if points > 1.0 && moves { of_both / (of_x * of_y).sqrt() } else { f64::NAN };
            Agreement { correlation: correlation.clamp(-1.0, 1.0), points }
        })
        .collect()
}

fn spectrum(
    grid: &Grid,
    what: &dyn Fn(f64) -> f64,
    size: usize,
    forward: &dyn Fft<f64>,
) -> Vec<Complex<f64>> {
    let mut values: Vec<_> =
        grid.values.iter().map(|value| Complex::new(what(*value), 0.0)).collect();
    values.resize(size, Complex::default());
    forward.process(&mut values);
    values
}

/// Two correlations of real grids by one transform: one comes out as the real part, the other as the imaginary one.
fn two_at_once(
    [a, b]: [&[Complex<f64>]; 2],
    [c, d]: [&[Complex<f64>]; 2],
    backward: &dyn Fft<f64>,
) -> Vec<Complex<f64>> {
    let scale = 1.0 / a.len() as f64;
    let mut product: Vec<_> = a
        .iter()
        .zip(b)
        .zip(c.iter().zip(d))
        .map(|((a, b), (c, d))| (a * b.conj() + Complex::<f64>::i() * c * d.conj()) * scale)
        .collect();
    backward.process(&mut product);
    product
}
