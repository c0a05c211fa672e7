//! The ladder: records, the state that they fold to, and the decisions about what may be done next.
//!
//! Nothing here reads a clock, a disk, a network or a random source: time, people and bytes are arguments.

pub mod board;
pub mod card;
pub mod changes;
pub mod codes;
pub mod commands;
pub mod dates;
pub mod day_plan;
pub mod document;
pub mod entry;
pub mod envelope;
pub mod forecast;
pub mod holds;
pub mod hours;
pub mod in_words;
pub mod json_schema;
pub mod ledger;
pub mod measure;
pub mod next_steps;
pub mod nouns;
pub mod people;
pub mod play;
pub mod prediction;
pub mod progress;
pub mod record;
pub mod refusal;
pub mod scope;
pub mod state;
#[cfg(test)]
mod story;
pub mod verdict;
