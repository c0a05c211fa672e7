//! The real program, spoken to over HTTP and on its command line.

#![allow(clippy::unwrap_used, clippy::panic, missing_docs)]

mod harness;
