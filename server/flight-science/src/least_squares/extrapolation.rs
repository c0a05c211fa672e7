//! How far a statement goes beyond what was tested.

/// How far `value` is beyond the nearest of the `tested` values, in percent of that one; 0 between them, `None` without any
/// tested value or beyond a tested value of zero.
///
/// An extrapolation is told, never hidden: past the data a fit rests on its equation alone.
pub fn percent_beyond(value: f64, tested: impl IntoIterator<Item = f64>) -> Option<f64> {
    let (lowest, highest) = tested
        .into_iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), one| (low.min(one), high.max(one)));
    if lowest <= value && value <= highest {
        return Some(0.0);
    }
    let (nearest, beyond) =
        if value > highest { (highest, value - highest) } else { (lowest, lowest - value) };
    let percent = 100.0 * beyond / nearest.abs();
    percent.is_finite().then_some(percent)
}

#[cfg(test)]
mod tests {
    use super::percent_beyond;

    #[test]
    fn between_tested_values_nothing_is_extrapolated() {
        assert_eq!(percent_beyond(70.0, [60.0, 90.0]), Some(0.0));
        assert_eq!(percent_beyond(90.0, [60.0, 90.0]), Some(0.0));
    }

    #[test]
    fn beyond_them_the_distance_is_told_in_percent_of_the_nearest() {
        assert_eq!(percent_beyond(99.0, [60.0, 90.0]), Some(10.0));
        assert_eq!(percent_beyond(30.0, [60.0, 90.0]), Some(50.0));
    }

    #[test]
    fn without_a_tested_value_the_distance_is_unknown() {
        assert_eq!(percent_beyond(99.0, []), None);
        assert_eq!(percent_beyond(1.0, [0.0]), None);
        assert_eq!(percent_beyond(f64::NAN, [60.0, 90.0]), None);
    }
}
