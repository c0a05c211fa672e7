//! The real program, spoken to over HTTP and on its command line.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs)]

mod asvs;
mod attack;
mod buckets;
mod checkpoints;
mod command_line;
mod demonstration;
mod durability;
mod ending;
mod faults;
mod harness;
mod keeping;
mod ladder;
mod metrics;
mod operations;
mod organisations;
mod pages;
mod pages_of_the_day;
mod pressure;
mod restart;
mod road;
mod servers;
mod tls;
mod tracing;
