//! `rungbook man`: the manual pages.

use std::io::Write;

use clap::{Args, CommandFactory};

use super::{Failure, Program};

/// Print the manual page of the program, or of one of its commands.
///
/// Read it with: rungbook man serve | man -l -
#[derive(Debug, Args)]
pub struct Man {
    /// Which command, such as serve or person add; the program itself where none is named
    command: Vec<String>,
}

impl Man {
    /// Prints it on standard output, as roff.
    ///
    /// # Errors
    ///
    /// [`Failure`] where there is no such command, or nobody takes what is printed.
    pub fn run(self) -> Result<(), Failure> {
        let mut program = Program::command().disable_help_subcommand(true);
        program.build();
        let mut of = &program;
        for name in &self.command {
            of = of.find_subcommand(name).ok_or_else(|| {
                let known: Vec<_> = of.get_subcommands().map(clap::Command::get_name).collect();
                Failure::of_input(if known.is_empty() {
                    format!("rungbook: {} has no commands of its own", of.get_name())
                } else {
                    format!(
                        "rungbook: {} has no command \"{name}\"; there are {}",
                        of.get_name(),
                        known.join(", ")
                    )
                })
            })?;
        }
        let mut page = Vec::new();
        clap_mangen::Man::new(of.clone()).manual("Rungbook").render(&mut page)?;
        std::io::stdout().write_all(&page)?;
        Ok(())
    }
}
