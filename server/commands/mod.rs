//! The subcommands, one file each.

mod adopt;
mod backtest;
mod backup;
mod check_settings;
mod completions;
mod compute;
mod demo;
mod export;
mod import;
mod init;
mod key;
mod man;
mod openapi;
mod pack;
mod paper;
mod password;
mod person;
mod place;
mod relocate;
mod serve;
mod tls;
mod verify;
mod witness;

use std::error::Error;

use clap::{Parser, Subcommand};

use crate::settings::Flags;

/// Takes an experimental aircraft from its first ground run to its full flight envelope, one released step at a time.
///
/// It advises. It clears nobody to fly: the authority's permit and conditions, local rules, the pilot in command and
/// licensed inspectors come first.
#[derive(Debug, Parser)]
#[command(name = "rungbook", version, propagate_version = true)]
pub struct Program {
    #[command(flatten)]
    flags: Flags,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::Demo),
    Init(init::Init),
    Person(person::Person),
    Import(import::Import),
    Export(export::Export),
    Serve(serve::Serve),
    Key(key::Key),
    Pack(pack::Pack),
    Paper(paper::Paper),
    Adopt(adopt::Adopt),
    Move(relocate::Move),
    Verify(verify::Verify),
    Witness(witness::Witness),
    Backup(backup::Backup),
    Restore(backup::Restore),
    Backtest(backtest::Backtest),
    Compute(compute::Compute),
    Openapi(openapi::Openapi),
    CheckSettings(check_settings::CheckSettings),
    Completions(completions::Completions),
    Man(man::Man),
}

/// Why a command did not do what was asked.
#[derive(Debug)]
pub struct Failure {
    /// Exit status: 1 where something failed, 2 where what was given cannot be used.
    pub status: u8,
    /// What to write on standard error.
    message: String,
}

impl Failure {
    /// What was given cannot be used.
    pub fn of_input(message: impl Into<String>) -> Self {
        Self { status: 2, message: message.into() }
    }

    /// Something failed.
    pub fn of_work(message: impl Into<String>) -> Self {
        Self { status: 1, message: message.into() }
    }

    /// The same of something that is named before it.
    pub fn about(self, whom: &str) -> Self {
        let what = self.message.trim_start_matches("rungbook: ");
        Self { message: format!("rungbook: {whom}: {what}"), ..self }
    }

    /// What is told.
    pub fn message(&self) -> &str {
        &self.message
    }

    /// Writes the message as it is on standard error.
    pub fn print(&self) {
        eprintln!("{}", self.message);
    }
}

/// An error with all that led to it, a line each.
fn told(error: &dyn Error) -> String {
    let mut lines = format!("rungbook: {error}");
    let mut source = error.source();
    while let Some(cause) = source {
        lines.push_str(&format!("\n  because: {cause}"));
        source = cause.source();
    }
    lines
}

impl<E: Error> From<E> for Failure {
    fn from(error: E) -> Self {
        Self::of_work(told(&error))
    }
}

impl Program {
    /// Does what was asked.
    ///
    /// # Errors
    ///
    /// [`Failure`] with the exit status and what to tell.
    pub fn run(self) -> Result<(), Failure> {
        let flags = &self.flags;
        match self.command {
            Command::Demo(command) => command.run(flags),
            Command::Init(command) => command.run(flags),
            Command::Person(command) => command.run(flags),
            Command::Import(command) => command.run(flags),
            Command::Export(command) => command.run(flags),
            Command::Serve(command) => command.run(flags),
            Command::Key(command) => command.run(flags),
            Command::Pack(command) => command.run(flags),
            Command::Paper(command) => command.run(flags),
            Command::Adopt(command) => command.run(flags),
            Command::Move(command) => command.run(flags),
            Command::Verify(command) => command.run(flags),
            Command::Witness(command) => command.run(),
            Command::Backup(command) => command.run(flags),
            Command::Restore(command) => command.run(flags),
            Command::Backtest(command) => command.run(flags),
            Command::Openapi(command) => command.run(),
            Command::Compute(command) => command.run(),
            Command::CheckSettings(command) => command.run(flags),
            Command::Completions(command) => command.run(),
            Command::Man(command) => command.run(),
        }
    }
}
