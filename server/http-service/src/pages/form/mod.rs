//! Forms: how they are written into a page, how they are read again, and how they are shown with what was typed where they
//! were refused.
//!
//! A field is called by its place in the body that the API reads, such as `values[0].value`, and how it is read, such as
//! `:number`. So a fault that names a place finds its field, and no form needs code of its own to be read.

mod body;
mod fields;
mod file;
mod given;
mod trouble;

pub(super) use body::{NEW_PASSWORD, PASSWORD, PIN, SECRET};
pub(crate) use fields::{Draft, Hidden};
pub(crate) use file::FormWithFile;
pub(super) use given::read;
pub(crate) use given::{Form, FormAtTheDoor, LARGEST, recorded, recorded_anew, settled};
pub(crate) use trouble::Trouble;
