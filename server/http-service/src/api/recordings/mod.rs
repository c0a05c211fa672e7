//! Recordings: recorder files taken in, with what was found in them.

mod attach;
mod clock;
mod data;
mod original;
mod plot;
mod plot_view;
mod read;
mod take;
mod view;
mod wanted;

pub(crate) use attach::*;
pub(crate) use clock::*;
pub(crate) use data::*;
pub(crate) use original::*;
pub(crate) use plot::*;
pub(crate) use plot_view::*;
pub(crate) use read::*;
pub(crate) use take::*;
pub(crate) use view::*;
pub(crate) use wanted::Part;
