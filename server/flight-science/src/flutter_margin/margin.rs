//! The flutter margin of two modes.

use std::f64::consts::TAU;

use quantities::Frequency;

/// A mode as it was measured at one speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlutterMode {
    /// Frequency without damping, the natural one.
    pub natural_frequency: Frequency,
    /// Share of critical damping; positive while oscillations decay.
    pub damping_ratio: f64,
}

impl FlutterMode {
    /// Real part of the mode's root in one per second: negative while oscillations decay.
    pub fn real_part(&self) -> f64 {
        -self.damping_ratio * TAU * self.natural_frequency.hertz()
    }

    /// Imaginary part of the root: the damped angular frequency in radians per second.
    pub fn imaginary_part(&self) -> f64 {
        let damping = self.damping_ratio;
        TAU * self.natural_frequency.hertz() * (1.0 - damping * damping).sqrt()
    }
}

/// The flutter margin, in one per second to the fourth: positive while both modes are stable, zero at the onset.
///
/// Valid for two modes that flutter with each other, in quasi-steady air forces.
///
/// # Source
///
/// N. H. Zimmerman and J. T. Weissenburger, "Prediction of Flutter Onset Speed Based on Flight Testing at Subcritical
/// Speeds", Journal of Aircraft 1 (4), 1964: the closed form from memory, confirmed against Routh's criterion of the quartic
/// with the same roots, which is a test here. Checked by `published/flutter_margin.toml`.
pub fn flutter_margin(one: &FlutterMode, other: &FlutterMode) -> f64 {
    let (b1, w1) = (one.real_part(), one.imaginary_part());
    let (b2, w2) = (other.real_part(), other.imaginary_part());
    let half_difference = (w2 * w2 - w1 * w1) / 2.0;
    let half_sum = (w2 * w2 + w1 * w1) / 2.0;
    let mean_squared = 2.0 * ((b2 + b1) / 2.0).powi(2);
    (half_difference + (b2 * b2 - b1 * b1) / 2.0).powi(2)
        + 4.0 * b1 * b2 * (half_sum + mean_squared)
        - ((b2 - b1) / (b2 + b1) * half_difference + mean_squared).powi(2)
}
