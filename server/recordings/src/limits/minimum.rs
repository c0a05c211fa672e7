//! Minimum: every reading is at least the limit. A reading exactly at it is inside.

use super::Channel;
use super::bound::{Bound, Side, Watched};
use crate::Statistic;

/// Holds readings against a minimum. A sensor that may be wrong by its accuracy may have shown too much.
pub(super) fn watch(channel: &Channel<'_, '_>, caution: Option<f64>, limit: f64) -> Watched {
    channel.watch(&Bound {
        statistic: Statistic::Min,
        side: Side::AtLeast,
        limit,
        caution,
        accuracy: channel.accuracy(),
    })
}
