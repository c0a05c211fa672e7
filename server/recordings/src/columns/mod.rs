//! Checked channels in Parquet: one column `time`, and one column a channel, with its unit in the schema.
//!
//! Any program that reads Parquet opens these files: moments are `TIMESTAMP(MICROS, UTC)`, values doubles, and a value that
//! is missing is null. Units stand in the Arrow schema as `unit` of each field, and once more in the footer under `units` as a
//! JSON object from channel to unit.
//!
//! # Source
//!
//! Apache Parquet format: `LogicalTypes.md`, `Encodings.md` (dictionary, `BYTE_STREAM_SPLIT`, `DELTA_BINARY_PACKED`), from
//! memory.

mod csv;
mod reader;
mod sums;
#[cfg(test)]
mod tests;
mod writer;

use std::sync::Arc;

use arrow_schema::{DataType, Field, Schema, TimeUnit};

use crate::{ChannelSpec, Unreadable};

pub use self::csv::CsvOut;
pub use self::reader::{CannotRead, Columns, StoredChannel, Window};
pub use self::sums::Parts;
pub use self::writer::{ColumnsWriter, Written};

/// The name of the column of moments.
pub const TIME: &str = "time";

/// The key under which a field or the footer has units.
const UNIT: &str = "unit";

/// The key of the table of units in the footer.
const UNITS: &str = "units";

/// The key of the report on the recording.
const REPORT: &str = "report";

/// The schema for channels of these codes and units.
fn schema<'a>(channels: impl Iterator<Item = (&'a str, &'a str)>) -> Schema {
    let moment = DataType::Timestamp(TimeUnit::Microsecond, Some("UTC".into()));
    let mut fields = vec![Field::new(TIME, moment, false)];
    for (code, unit) in channels {
        let mut field = Field::new(code, DataType::Float64, true);
        field.metadata_mut().insert(UNIT.to_owned(), unit.to_owned());
        fields.push(field);
    }
    Schema::new(fields)
}

/// Refuses channels that could not be told apart in a file.
fn refuse_twice(channels: &[ChannelSpec]) -> Result<(), Unreadable> {
    let mut codes: Vec<&str> = channels.iter().map(|channel| channel.code.as_str()).collect();
    codes.push(TIME);
    codes.sort_unstable();
    let twice = codes.array_windows().find(|[one, next]| one == next);
    match twice {
        Some([code, _]) => Err(Unreadable::PlannedTwice { channel: (*code).to_owned() }),
        None => Ok(()),
    }
}

/// The schema as readers and writers share it.
type Shared = Arc<Schema>;
