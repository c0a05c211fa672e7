//! Intervals of recordings: found by conditions, by noted moments or by times, and what their channels say for a point.

mod list;
mod steady;
mod take;
mod values;

pub(crate) use list::*;
pub(crate) use steady::*;
pub(crate) use take::*;
pub(crate) use values::*;
