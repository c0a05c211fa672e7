//! Columns into Parquet.

use std::collections::BTreeMap;
use std::io::Write;
use std::sync::Arc;

use arrow_array::{ArrayRef, Float64Array, TimestampMicrosecondArray};
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_writer::{
    ArrowColumnChunk, ArrowColumnWriter, ArrowRowGroupWriterFactory, compute_leaves,
};
use parquet::basic::{Compression, Encoding, ZstdLevel};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties, WriterVersion};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::ColumnPath;
use rayon::prelude::*;

use super::sums::{SUMS, Summed};
use super::{REPORT, Shared, TIME, UNITS, refuse_twice, schema};
use crate::{Block, ChannelSpec, Micros, Sink, Unreadable};

/// Rows that are kept together. Memory is bounded by [`GROUP_VALUES`] besides.
const GROUP_ROWS: usize = 65_536;

/// Values that are kept together at most: 32 MiB of doubles.
const GROUP_VALUES: usize = 4 * 1024 * 1024;

/// Rows of a page: what has to be unpacked to read a single value.
const PAGE_ROWS: usize = 8192;

/// Bytes of the table of different figures that a column may have in a row group: 16,384 of them.
const TABLE_BYTES: usize = 128 * 1024;

/// How hard zstd tries. More than this makes the files of recorders hardly smaller and takes far longer.
const ZSTD_LEVEL: i32 = 1;

/// Writes blocks of rows as Parquet. Nothing that was written is a file before [`ColumnsWriter::finish`].
pub struct ColumnsWriter<W: Write + Send> {
    file: SerializedFileWriter<Summed<W>>,
    factory: ArrowRowGroupWriterFactory,
    schema: Shared,
    group_rows: usize,
    times: Vec<Micros>,
    columns: Vec<Vec<f64>>,
    rows: u64,
}

/// What was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Written<W> {
    /// Where it was written to.
    pub into: W,
    /// How many rows.
    pub rows: u64,
    /// How many bytes of Parquet.
    pub bytes: u64,
}

impl<W: Write + Send> ColumnsWriter<W> {
    /// Begins a file of these channels, in this order.
    ///
    /// # Errors
    ///
    /// [`Unreadable::PlannedTwice`], where two channels have the same code or one is called `time`, and
    /// [`Unreadable::NotKept`], where the first bytes could not be written.
    pub fn new(channels: &[ChannelSpec], into: W) -> Result<Self, Unreadable> {
        refuse_twice(channels)?;
        let units = channels.iter().map(|channel| (channel.code.as_str(), channel.unit.as_str()));
        let schema = Arc::new(schema(units.clone()));
        let units: BTreeMap<&str, &str> = units.collect();
        let units = serde_json::to_string(&units)
            .map_err(|error| Unreadable::NotKept(ParquetError::External(Box::new(error))))?;
        let into = Summed::new(into);
        let writer = ArrowWriter::try_new(into, Arc::clone(&schema), Some(properties(units)?))?;
        let (file, factory) = writer.into_serialized_writer()?;
        Ok(Self {
            file,
            factory,
            schema,
            group_rows: (GROUP_VALUES / (channels.len() + 1)).clamp(1, GROUP_ROWS),
            times: Vec::new(),
            columns: vec![Vec::new(); channels.len()],
            rows: 0,
        })
    }

    /// Writes what is left and the footer.
    ///
    /// # Errors
    ///
    /// [`Unreadable::NotKept`], where the bytes could not be written.
    pub fn finish(self) -> Result<Written<W>, Unreadable> {
        self.finish_with(None)
    }

    /// As [`ColumnsWriter::finish`], with a report on the recording, which stands in the file's footer and which readers
    /// of Parquet pass over.
    ///
    /// # Errors
    ///
    /// [`Unreadable::NotKept`], where the bytes could not be written.
    pub fn finish_with(mut self, report: Option<String>) -> Result<Written<W>, Unreadable> {
        self.write_group()?;
        self.file.flush()?;
        let sums = self.file.inner().sums();
        self.file.append_key_value_metadata(KeyValue::new(SUMS.to_owned(), sums));
        if let Some(report) = report {
            self.file.append_key_value_metadata(KeyValue::new(REPORT.to_owned(), report));
        }
        let Summed { into, bytes, .. } = self.file.into_inner()?;
        Ok(Written { into, rows: self.rows, bytes })
    }

    /// Turns the rows that are held into a row group; the columns are packed side by side on all cores.
    fn write_group(&mut self) -> Result<(), Unreadable> {
        if self.times.is_empty() {
            return Ok(());
        }
        self.rows += self.times.len() as u64;
        let writers = self.factory.create_column_writers(self.file.flushed_row_groups().len())?;
        let moments = TimestampMicrosecondArray::from_iter_values(
            self.times.drain(..).map(|moment| moment.0),
        );
        let columns = std::mem::take(&mut self.columns);
        let time = Waiting::Moments(moments.with_timezone("UTC"));
        let waiting: Vec<_> = std::iter::once(time)
            .chain(columns.into_iter().map(Waiting::Values))
            .zip(writers)
            .enumerate()
            .collect();
        let schema = &self.schema;
        let packed: Vec<Packed> = waiting
            .into_par_iter()
            .map(|(place, (column, writer))| column.pack(schema, place, writer))
            .collect::<Result<_, _>>()?;
        let mut group = self.file.next_row_group()?;
        for Packed { chunk, room } in packed {
            chunk.append_to_row_group(&mut group)?;
            self.columns.extend(room);
        }
        group.close()?;
        Ok(())
    }
}

/// A column that is not packed yet.
enum Waiting {
    Moments(TimestampMicrosecondArray),
    Values(Vec<f64>),
}

/// A packed column, and the memory that its values were in: asking for so much again and again takes longer than packing.
struct Packed {
    chunk: ArrowColumnChunk,
    room: Option<Vec<f64>>,
}

impl Waiting {
    fn pack(
        self,
        schema: &Shared,
        place: usize,
        mut writer: ArrowColumnWriter,
    ) -> Result<Packed, ParquetError> {
        let mut write = |array: ArrayRef| -> Result<(), ParquetError> {
            for leaf in compute_leaves(schema.field(place), &array)? {
                writer.write(&leaf)?;
            }
            Ok(())
        };
        let room = match self {
            Self::Moments(moments) => {
                write(Arc::new(moments))?;
                None
            }
            Self::Values(values) => {
                let array = Arc::new(nullable(values));
                write(Arc::clone(&array) as ArrayRef)?;
                let values = Arc::into_inner(array)
                    .and_then(|array| array.into_parts().1.into_inner().into_vec().ok());
                let mut room: Vec<f64> = values.unwrap_or_default();
                room.clear();
                Some(room)
            }
        };
        Ok(Packed { chunk: writer.close()?, room })
    }
}

/// Values with null where they are NaN.
fn nullable(values: Vec<f64>) -> Float64Array {
    let missing = values.iter().filter(|value| value.is_nan()).count();
    let present = (missing > 0)
        .then(|| values.iter().map(|value| !value.is_nan()).collect::<Vec<bool>>().into());
    Float64Array::new(values.into(), present)
}

impl<W: Write + Send> Sink for ColumnsWriter<W> {
    fn take(&mut self, block: &mut Block) -> Result<(), Unreadable> {
        let mut from = 0;
        while from < block.rows() {
            let to = block.rows().min(from + self.group_rows - self.times.len());
            self.times.extend_from_slice(&block.times[from..to]);
            for (column, values) in self.columns.iter_mut().zip(&block.columns) {
                if column.capacity() == 0 {
                    column.reserve_exact(self.group_rows);
                }
                column.extend_from_slice(&values[from..to]);
            }
            from = to;
            if self.times.len() == self.group_rows {
                self.write_group()?;
            }
        }
        Ok(())
    }
}

/// Sensors give few different figures, and a table of them with places in it is a third as large as the figures and faster
/// to read. A column whose table grows beyond [`TABLE_BYTES`] goes on with its bytes split into streams. Pages say which moments
/// they span, by which windows are found; nobody looks for values by page, so that their least and greatest are not kept.
fn properties(units: String) -> Result<WriterProperties, Unreadable> {
    let time = ColumnPath::from(TIME);
    Ok(WriterProperties::builder()
        .set_writer_version(WriterVersion::PARQUET_1_0)
        .set_created_by("rungbook".to_owned())
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(ZSTD_LEVEL)?))
        .set_dictionary_page_size_limit(TABLE_BYTES)
        .set_encoding(Encoding::BYTE_STREAM_SPLIT)
        .set_column_dictionary_enabled(time.clone(), false)
        .set_column_encoding(time.clone(), Encoding::DELTA_BINARY_PACKED)
        .set_statistics_enabled(EnabledStatistics::None)
        .set_column_statistics_enabled(time, EnabledStatistics::Page)
        .set_data_page_row_count_limit(PAGE_ROWS)
        .set_max_row_group_row_count(Some(GROUP_ROWS))
        .set_key_value_metadata(Some(vec![KeyValue::new(UNITS.to_owned(), units)]))
        .build())
}
