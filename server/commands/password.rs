//! Where a password comes from.

use std::io::IsTerminal;

use super::Failure;

/// That of somebody who has an account: from the variable `RUNGBOOK_PASSWORD`, else asked for on the terminal.
///
/// # Errors
///
/// [`Failure`] where there is neither.
pub fn known_password() -> Result<String, Failure> {
    match std::env::var("RUNGBOOK_PASSWORD") {
        Ok(password) => Ok(password),
        Err(_) if std::io::stdin().is_terminal() => Ok(rpassword::prompt_password("Password: ")?),
        Err(_) => Err(Failure::of_input(
            "rungbook: give the password in RUNGBOOK_PASSWORD, or run this on a terminal",
        )),
    }
}

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
