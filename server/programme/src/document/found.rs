//! Founds a programme from its first document.

use super::{Places, check, read_toml, to_records};
use crate::entry::Draft;
use crate::refusal::{Fault, Refusal};
use crate::state::State;

/// The first records of a programme: its founding, and all that its document says.
///
/// Nobody is listed yet, so nobody's permission can be asked: whoever starts the server founds the programme.
///
/// # Errors
///
/// [`Refusal::Invalid`] with every fault, each with its line and field; also where the document has no title or lists
/// no safety officer.
pub fn found(text: &str) -> Result<Vec<Draft>, Refusal> {
    let document = read_toml(text).map_err(|faults| Refusal::Invalid { faults })?;
    let nothing = State::default();
    let mut faults = check(&document, &nothing);
    if document.title.is_none() {
        faults.push(Fault::at("title", "is missing: a programme is founded with a title"));
    }
    if document.people.is_empty() {
        faults.push(Fault::at("people", "are missing: a programme begins with those who may sign"));
    }
    if !faults.is_empty() {
        return Err(Refusal::Invalid { faults: Places::of(text).told(faults) });
    }
    Ok(to_records(&document, &nothing))
}
