//! Runs: opened against released points, noted moment by moment, closed; their times corrected with the reason.

mod acts;
mod read;
mod times;
mod view;

pub(crate) use acts::*;
pub(crate) use read::*;
pub(crate) use times::*;
pub(crate) use view::{EnergyView, RunRow, RunView};
