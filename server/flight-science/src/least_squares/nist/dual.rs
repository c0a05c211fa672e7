//! A number with its derivatives by up to nine parameters: forward differentiation, exact to rounding.

use std::ops::{Add, Div, Mul, Neg};

/// The most parameters that a model of the test may have.
const WIDTH: usize = 9;

#[derive(Clone, Copy)]
pub(super) struct Dual {
    value: f64,
    derivatives: [f64; WIDTH],
}

impl Dual {
    /// The parameters as variables to differentiate by.
    pub(super) fn variables(values: &[f64]) -> Vec<Self> {
        let variable = |(index, value): (usize, &f64)| {
            let mut derivatives = [0.0; WIDTH];
            derivatives[index] = 1.0;
            Self { value: *value, derivatives }
        };
        values.iter().enumerate().map(variable).collect()
    }

    pub(super) fn value(self) -> f64 {
        self.value
    }

    pub(super) fn derivative(self, parameter: usize) -> f64 {
        self.derivatives[parameter]
    }

    pub(super) fn exp(self) -> Self {
        self.chained(self.value.exp(), self.value.exp())
    }

    pub(super) fn ln(self) -> Self {
        self.chained(self.value.ln(), 1.0 / self.value)
    }

    pub(super) fn sin(self) -> Self {
        self.chained(self.value.sin(), self.value.cos())
    }

    pub(super) fn cos(self) -> Self {
        self.chained(self.value.cos(), -self.value.sin())
    }

    pub(super) fn arctan(self) -> Self {
        self.chained(self.value.atan(), 1.0 / (1.0 + self.value * self.value))
    }

    pub(super) fn power(self, exponent: f64) -> Self {
        self.chained(self.value.powf(exponent), exponent * self.value.powf(exponent - 1.0))
    }

    /// A function of this number, with its value and slope.
    fn chained(self, value: f64, slope: f64) -> Self {
        Self { value, derivatives: self.derivatives.map(|d| d * slope) }
    }

    fn merged(self, other: Self, value: f64, by_self: f64, by_other: f64) -> Self {
        Self {
            value,
            derivatives: std::array::from_fn(|k| {
                by_self * self.derivatives[k] + by_other * other.derivatives[k]
            }),
        }
    }
}

impl Neg for Dual {
    type Output = Self;

    fn neg(self) -> Self {
        self * -1.0
    }
}

impl Add for Dual {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        self.merged(other, self.value + other.value, 1.0, 1.0)
    }
}

impl Mul for Dual {
    type Output = Self;

    fn mul(self, other: Self) -> Self {
        self.merged(other, self.value * other.value, other.value, self.value)
    }
}

impl Div for Dual {
    type Output = Self;

    fn div(self, other: Self) -> Self {
        let quotient = self.value / other.value;
        self.merged(other, quotient, 1.0 / other.value, -quotient / other.value)
    }
}

impl Add<f64> for Dual {
    type Output = Self;

    fn add(self, number: f64) -> Self {
        Self { value: self.value + number, ..self }
    }
}

impl Mul<f64> for Dual {
    type Output = Self;

    fn mul(self, number: f64) -> Self {
        self.chained(self.value * number, number)
    }
}
