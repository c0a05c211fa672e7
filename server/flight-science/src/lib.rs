//! The flight-test science: pure functions on quantities, one file a reduction.
//!
//! Each topic file holds the method as functions that other rooms call, and a [`Topic`](catalogue::Topic) that offers
//! the same method to the outside as "one JSON object in, one JSON object out". [`catalogue::catalogue`] lists them all.
//! Nothing here reads a clock, a file or a random source.
//!
//! What the methods answer is advice for engineers. It clears nobody to fly: the authority's permit, local rules, the
//! licensed inspector and the pilot in command come first.

pub mod catalogue;
pub mod input;

pub mod airspeed;
pub mod altimetry;
pub mod atmosphere;
pub mod charging;
pub mod climb;
pub mod damping;
pub mod day_energy;
pub mod drag_polar;
pub mod electrical;
pub mod energy;
pub mod flutter_margin;
pub mod gps_airspeed;
pub mod hot_day;
pub mod least_squares;
pub mod loading;
pub mod reference;
pub mod reserve;
pub mod risk;
pub mod stall_speed;
pub mod structural_envelope;
pub mod sun;
pub mod sunlight;
pub mod thermal_fit;

#[cfg(test)]
mod published;
