//! Range: every reading is from the lower limit to the upper one, both included.

use super::bound::Watched;
use super::{Channel, maximum, minimum};

/// Holds readings against both ends; each pair is the caution value and the limit. From one side straight to the other is
/// two exceedances, for they are of two bounds.
pub(super) fn watch(
    channel: &Channel<'_, '_>,
    (caution_low, low): (Option<f64>, f64),
    (caution_high, high): (Option<f64>, f64),
) -> Vec<Watched> {
    vec![minimum::watch(channel, caution_low, low), maximum::watch(channel, caution_high, high)]
}
