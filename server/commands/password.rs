//! Where a password for a new account comes from.

use std::io::IsTerminal;

use super::Failure;

/// From the variable `RUNGBOOK_PASSWORD`, else asked for twice on the terminal.
///
/// # Errors
///
/// [`Failure`] where there is neither, or the two differ.
pub fn new_password() -> Result<String, Failure> {
    if let Ok(password) = std::env::var("RUNGBOOK_PASSWORD") {
        return Ok(password);
    }
    if !std::io::stdin().is_terminal() {
        return Err(Failure::of_input(
            "rungbook: give the new password in RUNGBOOK_PASSWORD, or run this on a terminal",
        ));
    }
    let first = rpassword::prompt_password("New password: ")?;
    let second = rpassword::prompt_password("Once more: ")?;
    if first != second {
        return Err(Failure::of_input("rungbook: the two passwords differ; try again"));
    }
    Ok(first)
}
