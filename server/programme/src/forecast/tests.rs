#![allow(clippy::unwrap_used, clippy::panic)]

mod calendar;
mod kept;
mod networks;
