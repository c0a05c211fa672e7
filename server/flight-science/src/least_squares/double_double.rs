//! Double-double numbers: an unevaluated sum of two doubles, with about 31 decimal digits.
//!
//! # Source
//!
//! The error-free transformations are those of Knuth (two-sum) and of the fused multiply-add product; common practice in
//! numerical analysis, written from memory. The certified NIST values that no plain double solver reaches are the check.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// The sum `high + low`, where `low` is at most half a unit in the last place of `high`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DoubleDouble {
    high: f64,
    low: f64,
}

impl DoubleDouble {
    pub(super) const ZERO: Self = Self::exactly(0.0);
    pub(super) const ONE: Self = Self::exactly(1.0);

    /// The double itself.
    pub(super) const fn exactly(value: f64) -> Self {
        Self { high: value, low: 0.0 }
    }

    /// The nearest double.
    pub(super) fn rounded(self) -> f64 {
        self.high + self.low
    }

    pub(super) fn is_finite(self) -> bool {
        self.rounded().is_finite()
    }

    /// The square root; zero for a negative number, which only rounding can produce here.
    pub(super) fn square_root(self) -> Self {
        if self.high <= 0.0 {
            return Self::ZERO;
        }
        // One Newton step from the double's root doubles the digits: s + (a - s²) / 2s.
        let root = self.high.sqrt();
        let remainder = self - Self::product(root, root);
        Self::sum_ordered(root, remainder.high / (2.0 * root))
    }

    /// The product of two doubles without any rounding.
    fn product(left: f64, right: f64) -> Self {
        let high = left * right;
        Self { high, low: left.mul_add(right, -high) }
    }

    /// The sum of two doubles without any rounding.
    fn sum(left: f64, right: f64) -> Self {
        let high = left + right;
        let kept_of_right = high - left;
        Self { high, low: (left - (high - kept_of_right)) + (right - kept_of_right) }
    }

    /// As [`DoubleDouble::sum`], where `large` is not smaller in size than `small`.
    fn sum_ordered(large: f64, small: f64) -> Self {
        let high = large + small;
        Self { high, low: small - (high - large) }
    }
}

impl Add for DoubleDouble {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        let highs = Self::sum(self.high, other.high);
        let lows = Self::sum(self.low, other.low);
        let first = Self::sum_ordered(highs.high, highs.low + lows.high);
        Self::sum_ordered(first.high, first.low + lows.low)
    }
}

impl Neg for DoubleDouble {
    type Output = Self;

    fn neg(self) -> Self {
        Self { high: -self.high, low: -self.low }
    }
}

impl Sub for DoubleDouble {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Mul for DoubleDouble {
    type Output = Self;

    fn mul(self, other: Self) -> Self {
        let highs = Self::product(self.high, other.high);
        let crossed = self.high.mul_add(other.low, self.low * other.high);
        Self::sum_ordered(highs.high, highs.low + crossed)
    }
}

impl Div for DoubleDouble {
    type Output = Self;

    fn div(self, other: Self) -> Self {
        // Long division with the quotient's digits a double at a time.
        let first = self.high / other.high;
        let remainder = self - other * Self::exactly(first);
        let second = remainder.high / other.high;
        let remainder = remainder - other * Self::exactly(second);
        let third = remainder.high / other.high;
        Self::sum_ordered(first, second) + Self::exactly(third)
    }
}

impl std::iter::Sum for DoubleDouble {
    fn sum<I: Iterator<Item = Self>>(numbers: I) -> Self {
        numbers.fold(Self::ZERO, Add::add)
    }
}

#[cfg(test)]
mod tests {
    use super::DoubleDouble;

    #[test]
    fn a_third_times_three_is_one_to_thirty_digits() {
        let third = DoubleDouble::ONE / DoubleDouble::exactly(3.0);
        let error = third * DoubleDouble::exactly(3.0) - DoubleDouble::ONE;
        assert!(error.rounded().abs() < 1e-31, "{error:?}");
    }

    #[test]
    fn a_root_squared_gives_the_number_back_to_thirty_digits() {
        for number in [2.0, 1e-20, 12345.678, 9.87e200] {
            let number = DoubleDouble::exactly(number);
            let root = number.square_root();
            let error = (root * root - number) / number;
            assert!(error.rounded().abs() < 1e-30, "{error:?}");
        }
    }

    #[test]
    fn what_cancels_in_doubles_is_kept() {
        let sum = DoubleDouble::exactly(1e16) + DoubleDouble::ONE - DoubleDouble::exactly(1e16);
        assert_eq!(sum.rounded(), 1.0);
    }
}
