//! Maximum: every reading is at most the limit. A reading exactly at it is inside.

use super::Channel;
use super::bound::{Bound, Side, Watched};
use crate::Statistic;

/// Holds readings against a maximum. A sensor that may be wrong by its accuracy may have shown too little.
pub(super) fn watch(channel: &Channel<'_, '_>, caution: Option<f64>, limit: f64) -> Watched {
    channel.watch(&Bound {
        statistic: Statistic::Max,
        side: Side::AtMost,
        limit,
        caution,
        accuracy: channel.accuracy(),
    })
}
