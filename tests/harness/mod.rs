//! The machinery of the stories: the real program on a free port with a fresh folder, spoken to over HTTP.

// The stories and the benchmarks share it, and neither uses all of it.
#![allow(dead_code, unused_imports)]

mod answer;
mod chance;
mod clock;
mod database;
mod day;
mod demonstration;
mod description;
mod listener;
mod object_store;
mod organisations;
mod server;
mod team;
mod whole_ledger;

pub use answer::Answer;
pub use chance::Chance;
pub use clock::SettableClock;
pub use database::{
    database_of, lets_in, postgres_or_say_why_not, program, program_at, program_joining,
};
pub use day::{at, in_hours, result};
pub use description::{Description, Operation};
pub use listener::{Event, Listener};
pub use object_store::{KEY, ObjectStore, SECRET, TOKEN, Way};
pub use organisations::{HOSTS, Organisations, serves, table};
pub use server::{Client, DEMONSTRATION_PASSWORD, Heard, PASSWORD, PROGRAM, Server};
pub use team::{PEOPLE, PROGRAMME, Team};
pub use whole_ledger::{records, remarks, verifies};
