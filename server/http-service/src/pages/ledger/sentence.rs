//! A record as a sentence's part in a list, to follow who recorded it: "Marit opened run 25".

use programme::record::Record;

/// At most so much of a text that a person wrote stands in a list.
const LONGEST: usize = 240;

/// What a record says, in plain words.
pub(super) fn of(record: &Record) -> String {
    let said = record.told();
    if said.chars().count() <= LONGEST {
        return said;
    }
    let cut: String = said.chars().take(LONGEST).collect();
    format!("{cut} …")
}
