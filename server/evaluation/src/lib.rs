//! What recordings say about a programme: the one room that knows both the programme's words and the recorder files.
//!
//! It turns a recorder's mapping into a plan for reading, the programme's limits into rules to hold channels against, and
//! what was found into the commands that record it. It reads no file and no clock: columns, state and moments are
//! arguments, and a command still decides.

pub mod bounds;
pub mod found;
pub mod gathered;
pub mod heating;
pub mod intervals;
pub mod judged;
#[cfg(test)]
mod made;
pub mod mapping;
pub mod plan;
pub mod reductions;
pub mod rules;
pub mod run_recordings;
pub mod taken;
#[cfg(test)]
mod tests;
pub mod values;
