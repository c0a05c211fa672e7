//! Lines of a part of a pack, one after the other, none longer than a record can be.

use std::io::{BufRead, Read};

use super::check::PackFault;

/// The longest line that is read.
const LONGEST: u64 = 16 << 20;

/// Lines that each end in a line break.
pub(super) struct Lines<R> {
    name: &'static str,
    from: R,
    number: u64,
    text: String,
}

impl<R: BufRead> Lines<R> {
    pub fn of(name: &'static str, from: R) -> Self {
        Self { name, from, number: 0, text: String::new() }
    }

    /// The next line without its line break; none at the end.
    pub fn next(&mut self) -> Result<Option<&str>, PackFault> {
        self.text.clear();
        self.number += 1;
        let unreadable = |source| PackFault::Part { name: self.name.to_owned(), source };
        let read = Read::by_ref(&mut self.from)
            .take(LONGEST)
            .read_line(&mut self.text)
            .map_err(unreadable)?;
        if read == 0 {
            return Ok(None);
        }
        if self.text.pop() != Some('\n') {
            return Err(self.wrong());
        }
        Ok(Some(&self.text))
    }

    /// The next line as JSON; none at the end.
    pub fn json<T: serde::de::DeserializeOwned>(&mut self) -> Result<Option<T>, PackFault> {
        let read = self.next()?.map(serde_json::from_str).transpose();
        read.map_err(|_| self.wrong())
    }

    /// That the line which was read last is not what it should be.
    pub fn wrong(&self) -> PackFault {
        PackFault::Line { name: self.name, line: self.number }
    }
}
