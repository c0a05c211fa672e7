//! Recordings: recorder files taken in, with what was found in them.

mod original;
mod read;
mod take;
mod view;

pub(crate) use original::*;
pub(crate) use read::*;
pub(crate) use take::*;
