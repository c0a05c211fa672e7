//! The real program, spoken to over HTTP and on its command line.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs)]

mod attack;
mod checkpoints;
mod command_line;
mod demonstration;
mod durability;
mod harness;
mod keeping;
mod ladder;
mod operations;
mod pages;
mod pages_of_the_day;
mod restart;
mod road;
mod servers;
mod tls;
