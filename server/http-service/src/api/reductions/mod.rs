//! Reductions: what was worked out of intervals of recordings, by which method, and what it rests on.

mod input;
mod make;
mod methods;
mod view;

pub(crate) use input::*;
pub(crate) use make::*;
pub(crate) use methods::*;
pub(crate) use view::*;
