//! The machinery of the stories: the real program on a free port with a fresh folder, spoken to over HTTP.

#![allow(dead_code)]

mod answer;
mod server;

pub use answer::Answer;
pub use server::{PASSWORD, PROGRAM, Server};
