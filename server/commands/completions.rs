//! `rungbook completions`: what a shell needs to complete commands and flags.

use clap::{Args, CommandFactory};
use clap_complete::Shell;

use super::{Failure, Program};

/// Print completions for a shell.
#[derive(Debug, Args)]
pub struct Completions {
    /// Which shell
    shell: Shell,
}

impl Completions {
    /// Prints them on standard output.
    ///
    /// # Errors
    ///
    /// None; the shape is that of all commands.
    pub fn run(self) -> Result<(), Failure> {
        clap_complete::generate(
            self.shell,
            &mut Program::command(),
            "rungbook",
            &mut std::io::stdout(),
        );
        Ok(())
    }
}
