//! The machinery of the stories: the real program on a free port with a fresh folder, spoken to over HTTP.

#![allow(dead_code)]

mod answer;
mod server;
mod team;

pub use answer::Answer;
pub use server::{Client, DEMONSTRATION_PASSWORD, PASSWORD, PROGRAM, Server};
pub use team::{PROGRAMME, Team};
