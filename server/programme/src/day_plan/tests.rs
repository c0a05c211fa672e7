#![allow(clippy::unwrap_used, clippy::panic)]

mod day;
mod orders;
mod rest;
