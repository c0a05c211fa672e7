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
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{WriterProperties, WriterVersion};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::ColumnPath;
use rayon::prelude::*;

use super::{Shared, TIME, UNITS, refuse_twice, schema};
use crate::{Block, ChannelSpec, Micros, Sink, Unreadable};

/// Rows that are kept together. Memory is bounded by [`GROUP_VALUES`] besides.
const GROUP_ROWS: usize = 65_536;

/// Values that are kept together at most: 32 MiB of doubles.
const GROUP_VALUES: usize = 4 * 1024 * 1024;

/// Rows of a page: what has to be unpacked to read a single value.
const PAGE_ROWS: usize = 8192;

/// How hard zstd tries. More than this makes the files of recorders hardly smaller and takes far longer.
const ZSTD_LEVEL: i32 = 1;

/// Writes blocks of rows as Parquet. Nothing that was written is a file before [`ColumnsWriter::finish`].
pub struct ColumnsWriter<W: Write + Send> {
    file: SerializedFileWriter<Counted<W>>,
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
        let units = serde_json::to_string(&units).map_err(|error| {
            Unreadable::NotKept(parquet::errors::ParquetError::External(Box::new(error)))
        })?;
        let into = Counted { into, bytes: 0 };
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
    pub fn finish(mut self) -> Result<Written<W>, Unreadable> {
        self.write_group()?;
        let Counted { into, bytes } = self.file.into_inner()?;
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
        let mut arrays: Vec<Vec<f64>> = Vec::with_capacity(self.columns.len());
        arrays.extend(self.columns.iter_mut().map(std::mem::take));
        let time = Waiting::Moments(moments.with_timezone("UTC"));
        let waiting: Vec<_> = std::iter::once(time)
            .chain(arrays.into_iter().map(Waiting::Values))
            .zip(writers)
            .enumerate()
            .collect();
        let schema = &self.schema;
        let chunks: Vec<ArrowColumnChunk> = waiting
            .into_par_iter()
            .map(|(place, (column, writer))| column.pack(schema, place, writer))
            .collect::<Result<_, _>>()?;
        let mut group = self.file.next_row_group()?;
        for chunk in chunks {
            chunk.append_to_row_group(&mut group)?;
        }
        group.close()?;
        Ok(())
    }
}

/// Counts the bytes on their way.
struct Counted<W> {
    into: W,
    bytes: u64,
}

impl<W: Write> Write for Counted<W> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let written = self.into.write(bytes)?;
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.into.flush()
    }
}

/// A column that is not packed yet.
enum Waiting {
    Moments(TimestampMicrosecondArray),
    Values(Vec<f64>),
}

impl Waiting {
    fn pack(
        self,
        schema: &Shared,
        place: usize,
        mut writer: ArrowColumnWriter,
    ) -> Result<ArrowColumnChunk, parquet::errors::ParquetError> {
        let array: ArrayRef = match self {
            Self::Moments(moments) => Arc::new(moments),
            Self::Values(values) => Arc::new(nullable(values)),
        };
        for leaf in compute_leaves(schema.field(place), &array)? {
            writer.write(&leaf)?;
        }
        writer.close()
    }
}

/// Values with null where they are NaN.
fn nullable(values: Vec<f64>) -> Float64Array {
    if values.iter().any(|value| value.is_nan()) {
        values.into_iter().map(|value| (!value.is_nan()).then_some(value)).collect()
    } else {
        Float64Array::from(values)
    }
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

fn properties(units: String) -> Result<WriterProperties, Unreadable> {
    let time = ColumnPath::from(TIME);
    Ok(WriterProperties::builder()
        .set_writer_version(WriterVersion::PARQUET_1_0)
        .set_created_by("rungbook".to_owned())
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(ZSTD_LEVEL)?))
        .set_dictionary_enabled(false)
        .set_encoding(Encoding::BYTE_STREAM_SPLIT)
        .set_column_encoding(time, Encoding::DELTA_BINARY_PACKED)
        .set_data_page_row_count_limit(PAGE_ROWS)
        .set_max_row_group_row_count(Some(GROUP_ROWS))
        .set_key_value_metadata(Some(vec![KeyValue::new(UNITS.to_owned(), units)]))
        .build())
}
