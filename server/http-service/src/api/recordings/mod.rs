//! Recordings: recorder files taken in, with what was found in them.

mod attach;
mod clock;
mod original;
mod read;
mod take;
mod view;

pub(crate) use attach::*;
pub(crate) use clock::*;
pub(crate) use original::*;
pub(crate) use read::*;
pub(crate) use take::*;
