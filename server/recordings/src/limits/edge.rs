//! Comparing with an edge that people typed in decimals.

/// A decimal such as 0.1 has no exact binary form, and a value that was scaled from a recorder's cell lands a little beside
/// the edge that was typed; within this share of it a figure is taken to be at the edge, as the programme does.
const AT_THE_EDGE: f64 = 1e-9;

/// Whether a figure is at an edge or below it. A NaN on either side is not.
pub(crate) fn is_at_most(figure: f64, edge: f64) -> bool {
    figure <= edge + AT_THE_EDGE * edge.abs().max(1.0)
}

/// Whether a figure is at an edge or above it. A NaN on either side is not.
pub(crate) fn is_at_least(figure: f64, edge: f64) -> bool {
    figure >= edge - AT_THE_EDGE * edge.abs().max(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_at_the_edge_counts_one_beyond_it_does_not_and_no_number_never_does() {
        assert!(is_at_most(8.0 * 0.1, 0.7 + 0.1), "0.7 + 0.1 is a little less than 0.8 in binary");
        assert!(!is_at_most(0.800_001, 0.8));
        assert!(is_at_least(0.3, 0.1 + 0.2), "0.1 + 0.2 is a little more than 0.3 in binary");
        assert!(!is_at_least(0.299_999, 0.3));
        assert!(!is_at_most(f64::NAN, 1.0) && !is_at_least(f64::NAN, 1.0));
    }
}
