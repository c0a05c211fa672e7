//! From a recorder's file to checked columns, in one go.

use std::io::{Read, Write};

use serde::{Deserialize, Serialize};

use crate::check::{Checked, Quality, StuckAfter};
use crate::columns::ColumnsWriter;
use crate::format::csv::{self, CsvPlan};
use crate::{ChannelSpec, ColumnPlan, Unreadable};

/// The format of a recorder's files, with what has to be known to read them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "format", rename_all = "kebab-case")]
pub enum FilePlan {
    /// Comma-separated values and their kin.
    Csv(CsvPlan),
}

/// What became of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Taken<W> {
    /// What was taken, refused and missing.
    pub quality: Quality,
    /// Bytes of Parquet.
    pub bytes: u64,
    /// Where they were written to.
    pub into: W,
}

/// Reads a file, checks it and writes its columns as Parquet. Memory does not grow with the file. What was written is of no
/// use where this gives an error.
///
/// # Errors
///
/// [`Unreadable`], where nothing can be made of the file, or the columns could not be written.
pub fn intake<W: Write + Send>(
    source: impl Read + Send,
    plan: &FilePlan,
    columns: &[ColumnPlan],
    stuck_after: &StuckAfter,
    into: W,
) -> Result<Taken<W>, Unreadable> {
    let channels: Vec<ChannelSpec> = columns.iter().map(|column| column.channel.clone()).collect();
    let mut checked = Checked::new(columns, stuck_after, ColumnsWriter::new(&channels, into)?);
    match plan {
        FilePlan::Csv(plan) => csv::read(source, plan, columns, &mut checked)?,
    }
    let (quality, writer) = checked.finish();
    if quality.rows == 0 {
        return Err(Unreadable::NoRows);
    }
    let written = writer.finish()?;
    Ok(Taken { quality, bytes: written.bytes, into: written.into })
}
