//! One file a recorder format; each gives blocks of rows to a sink.

pub mod candump;
pub mod csv;
mod digits;
mod field;
pub mod gpx;
pub mod igc;
mod lines;
pub mod nmea;
mod rows;
#[cfg(test)]
mod trial;

pub use field::{Field, PassedOver};
