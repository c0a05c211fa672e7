//! The machinery of the stories: the real program on a free port with a fresh folder, spoken to over HTTP.

// The stories and the benchmarks share it, and neither uses all of it.
#![allow(dead_code, unused_imports)]

mod answer;
mod server;
mod team;

pub use answer::Answer;
pub use server::{Client, DEMONSTRATION_PASSWORD, PASSWORD, PROGRAM, Server};
pub use team::{PEOPLE, PROGRAMME, Team};
