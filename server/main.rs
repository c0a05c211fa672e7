//! Rungbook: the program that wires the rooms together.

mod commands;
mod settings;
mod telemetry;
mod traces;

use std::process::ExitCode;

use clap::Parser;

#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let program = commands::Program::parse();
    match program.run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            failure.print();
            ExitCode::from(failure.status)
        }
    }
}
