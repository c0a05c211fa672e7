//! Columns out of Parquet.

use std::io::Write;
use std::ops::Range;
use std::sync::{Arc, Mutex};

use arrow_array::cast::AsArray;
use arrow_array::types::{Float64Type, TimestampMicrosecondType};
use arrow_array::{Array, Float64Array, RecordBatch};
use arrow_schema::{DataType, TimeUnit};
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::{
    ArrowReaderMetadata, ArrowReaderOptions, ParquetRecordBatchReader,
    ParquetRecordBatchReaderBuilder, RowSelection,
};
use parquet::errors::ParquetError;
use parquet::file::metadata::{PageIndexPolicy, ParquetMetaData};
use parquet::file::page_index::column_index::ColumnIndexMetaData;
use parquet::file::statistics::Statistics;
use rayon::prelude::*;

use super::sums::{Checked, Parts, SUMS, Sums};
use super::writer::ColumnsWriter;
use super::{REPORT, TIME, UNIT};
use crate::bins::{BinnedChannel, Bins, Edges, Filling};
use crate::{Block, ChannelSpec, Micros, Series, Sink, Unreadable};

/// Values from which on it pays to read channels side by side on all cores.
const MANY_VALUES: usize = 200_000;

/// Rows that are handed on at a time.
const BATCH_ROWS: usize = 8192;

/// Why columns could not be read.
#[derive(Debug, thiserror::Error)]
pub enum CannotRead {
    /// Channels that the recording does not have.
    #[error("the recording has no channel {}; it has {}", missing.join(", "), found.join(", "))]
    NoSuchChannels {
        /// What was asked for and is not there.
        missing: Vec<String>,
        /// The channels of the recording.
        found: Vec<String>,
    },
    /// The bytes are no Parquet, or a part of them is damaged.
    #[error("the columns of the recording are damaged")]
    Damaged(#[from] ParquetError),
    /// Parquet, but not as recordings are kept.
    #[error("the columns are not those of a recording: {what}")]
    NotARecording {
        /// What is not as it should be.
        what: &'static str,
    },
    /// What was read could not be written.
    #[error("what was read could not be written")]
    NotWritten(#[from] std::io::Error),
    /// What was read could not be written as Parquet.
    #[error("what was read could not be written")]
    NotKept(#[from] Unreadable),
}

/// A channel of a recording.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredChannel {
    /// Its code.
    pub code: String,
    /// The unit of its values.
    pub unit: String,
}

/// Channels over a part of a recording.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Window {
    /// Moments, each later than the one before.
    pub times: Vec<Micros>,
    /// One column a channel, in the order in which they were asked for; NaN is missing.
    pub values: Vec<Vec<f64>>,
}

impl Window {
    /// The channel at this place of what was asked for.
    pub fn series(&self, place: usize) -> Option<Series<'_>> {
        let values = self.values.get(place)?;
        Some(Series { times: &self.times, values })
    }
}

/// A recording's columns, opened. Only what a question needs is read and unpacked.
#[derive(Debug)]
pub struct Columns<R> {
    source: Checked<R>,
    metadata: ArrowReaderMetadata,
    channels: Vec<StoredChannel>,
    pages: Vec<Page>,
    rows: u64,
}

/// Rows that are packed together, and the moments that they span.
#[derive(Debug, Clone, Copy)]
struct Page {
    group: usize,
    /// Its first row in the whole file.
    row: u64,
    rows: u64,
    first: Micros,
    last: Micros,
}

/// Refuses columns that begin before the file or are shorter than nothing: the library that reads them takes it for granted
/// that there are none.
fn refuse_impossible_places(metadata: &ParquetMetaData) -> Result<(), CannotRead> {
    let mut columns = metadata.row_groups().iter().flat_map(|group| group.columns());
    let possible = columns.all(|column| {
        column.data_page_offset() >= 0
            && column.dictionary_page_offset().is_none_or(|at| at >= 0)
            && column.compressed_size() >= 0
    });
    if possible {
        return Ok(());
    }
    Err(CannotRead::NotARecording { what: "a column of it lies before its beginning" })
}

impl<R: Parts + 'static> Columns<R> {
    /// Reads the footer of a file.
    ///
    /// # Errors
    ///
    /// [`CannotRead`], where it is no Parquet, or not as [`ColumnsWriter`] writes it.
    pub fn open(source: R) -> Result<Self, CannotRead> {
        let mut source = Checked { source: Arc::new(Mutex::new(source)), sums: Arc::default() };
        let options = ArrowReaderOptions::new().with_page_index_policy(PageIndexPolicy::Optional);
        let metadata = ArrowReaderMetadata::load(&source, options)?;
        refuse_impossible_places(metadata.metadata())?;
        let footer = metadata.metadata().file_metadata().key_value_metadata();
        let sums = footer.into_iter().flatten().find(|pair| pair.key == SUMS);
        let sums = sums
            .and_then(|pair| Sums::parse(pair.value.as_deref()?))
            .ok_or(CannotRead::NotARecording { what: "its footer has no checksums" })?;
        let fields = metadata.schema().fields();
        let moment =
            |of: &DataType| matches!(of, DataType::Timestamp(TimeUnit::Microsecond, Some(_)));
        match fields.split_first() {
            Some((time, channels))
                if time.name() == TIME
                    && moment(time.data_type())
                    && channels.iter().all(|field| field.data_type() == &DataType::Float64) => {}
            _ => {
                return Err(CannotRead::NotARecording {
                    what: "there should be a column time of moments in UTC, and doubles",
                });
            }
        }
        let channels = fields
            .iter()
            .skip(1)
            .map(|field| StoredChannel {
                code: field.name().clone(),
                unit: field.metadata().get(UNIT).cloned().unwrap_or_default(),
            })
            .collect();
        let pages = pages(metadata.metadata())?;
        let rows = pages.iter().map(|page| page.rows).sum();
        source.sums = Arc::new(sums);
        Ok(Self { source, metadata, channels, pages, rows })
    }

    /// The channels, in the order of the file.
    pub fn channels(&self) -> &[StoredChannel] {
        &self.channels
    }

    /// The report that was written with the columns, where there is one.
    pub fn report(&self) -> Option<&str> {
        let pairs = self.metadata.metadata().file_metadata().key_value_metadata();
        let report = pairs.into_iter().flatten().find(|pair| pair.key == REPORT);
        report?.value.as_deref()
    }

    /// How many rows there are.
    pub fn rows(&self) -> u64 {
        self.rows
    }

    /// The first and the last moment; absent where there is no row.
    pub fn span(&self) -> Option<(Micros, Micros)> {
        Some((self.pages.first()?.first, self.pages.last()?.last))
    }

    /// Channels from one moment to another, both included.
    ///
    /// # Errors
    ///
    /// [`CannotRead`], where a channel is not there or the file is damaged.
    pub fn read(&self, codes: &[&str], from: Micros, to: Micros) -> Result<Window, CannotRead> {
        self.places(codes)?;
        let touched = self.touched(from, to).map(|page| page.rows as usize).sum::<usize>();
        let threads = rayon::current_num_threads().min(codes.len());
        if threads < 2 || touched.saturating_mul(codes.len()) < MANY_VALUES {
            return self.read_here(codes, from, to, touched);
        }
        let parts = codes.par_chunks(codes.len().div_ceil(threads));
        let parts = parts.map(|codes| self.read_here(codes, from, to, touched));
        let mut parts = parts.collect::<Result<Vec<_>, _>>()?.into_iter();
        let mut window = parts.next().unwrap_or_default();
        window.values.extend(parts.flat_map(|part| part.values));
        Ok(window)
    }

    /// Reads a window on this thread; about so many rows will come.
    fn read_here(
        &self,
        codes: &[&str],
        from: Micros,
        to: Micros,
        rows: usize,
    ) -> Result<Window, CannotRead> {
        let mut window = Window {
            times: Vec::with_capacity(rows),
            values: codes.iter().map(|_| Vec::with_capacity(rows)).collect(),
        };
        self.read_into(codes, from, to, &mut window)?;
        Ok(window)
    }

    /// As [`Columns::read`], on this thread and into a window that has memory already. Whoever looks at one channel after
    /// the other saves most of the time so.
    ///
    /// # Errors
    ///
    /// [`CannotRead`], where a channel is not there or the file is damaged; the window then has a part of the rows.
    pub fn read_into(
        &self,
        codes: &[&str],
        from: Micros,
        to: Micros,
        window: &mut Window,
    ) -> Result<(), CannotRead> {
        window.times.clear();
        window.values.resize_with(codes.len(), Vec::new);
        window.values.iter_mut().for_each(Vec::clear);
        self.for_each(codes, from, to, |times, values| {
            window.times.extend_from_slice(times);
            for (column, values) in window.values.iter_mut().zip(values) {
                column.extend_from_slice(values);
            }
            Ok(())
        })
    }

    /// The pages that may have rows from one moment to another.
    fn touched(&self, from: Micros, to: Micros) -> impl Iterator<Item = Page> {
        self.pages.iter().copied().filter(move |page| page.first <= to && from <= page.last)
    }

    /// Hands channels on piece by piece, from one moment to another, both included: at most 8,192 rows at a time, so that
    /// memory does not grow with the recording.
    ///
    /// # Errors
    ///
    /// [`CannotRead`], where a channel is not there or the file is damaged, and what `take` gives.
    pub fn for_each(
        &self,
        codes: &[&str],
        from: Micros,
        to: Micros,
        mut take: impl FnMut(&[Micros], &[Vec<f64>]) -> Result<(), CannotRead>,
    ) -> Result<(), CannotRead> {
        let places = self.places(codes)?;
        let mut asked: Vec<usize> = places.iter().map(|place| place + 1).collect();
        asked.push(0);
        asked.sort_unstable();
        asked.dedup();
        let touched: Vec<Page> = self.touched(from, to).collect();
        if touched.is_empty() {
            return Ok(());
        }
        let batches = self.batches(&asked, &touched)?;
        let mut times = Vec::new();
        let mut values = vec![Vec::new(); codes.len()];
        for batch in batches {
            let batch = batch.map_err(ParquetError::from)?;
            let rows = moments(&batch, from, to, &mut times)?;
            if rows.is_empty() {
                continue;
            }
            for (place, column) in places.iter().zip(&mut values) {
                let at = asked.partition_point(|asked| *asked < place + 1);
                put(&doubles(&batch, at, rows.clone())?, column);
            }
            take(&times, &values)?;
        }
        Ok(())
    }

    /// The rows of these pages, of the columns of the file at these places; the first is that of moments.
    fn batches(
        &self,
        asked: &[usize],
        touched: &[Page],
    ) -> Result<ParquetRecordBatchReader, CannotRead> {
        let (groups, selection) = self.selection(touched);
        let mask = ProjectionMask::leaves(self.metadata.parquet_schema(), asked.iter().copied());
        let batches = ParquetRecordBatchReaderBuilder::new_with_metadata(
            self.source.clone(),
            self.metadata.clone(),
        );
        let batches = batches.with_projection(mask).with_row_groups(groups);
        Ok(batches.with_row_selection(selection).with_batch_size(BATCH_ROWS).build()?)
    }

    /// Channels from one moment to another, both included, in bins as [`bins`](crate::bins::bins) makes them. Moments are
    /// read once, channels side by side on all cores and piece by piece, so that memory is that of the bins.
    ///
    /// # Errors
    ///
    /// [`CannotRead`], where a channel is not there or the file is damaged.
    pub fn bins(
        &self,
        codes: &[&str],
        from: Micros,
        to: Micros,
        width_micros: i64,
    ) -> Result<Bins, CannotRead> {
        let places = self.places(codes)?;
        let touched: Vec<Page> = self.touched(from, to).collect();
        let mut edges = Edges::of_width(width_micros);
        if touched.is_empty() {
            let channels = codes.iter().map(|_| Filling::of(&edges).finish()).collect();
            return Ok(Bins { starts: Vec::new(), channels });
        }
        // Rows of the first pages that are before the window.
        let mut before = 0;
        let mut times = Vec::new();
        for batch in self.batches(&[0], &touched)? {
            let batch = batch.map_err(ParquetError::from)?;
            let rows = moments(&batch, from, to, &mut times)?;
            if edges.rows() == 0 {
                before += rows.start;
            }
            edges.take(&times);
        }
        let channel = |place: &usize| -> Result<BinnedChannel, CannotRead> {
            let mut filling = Filling::of(&edges);
            let (mut skip, mut held) = (before, Vec::new());
            for batch in self.batches(&[place + 1], &touched)? {
                let batch = batch.map_err(ParquetError::from)?;
                let rows = skip.min(batch.num_rows())..batch.num_rows();
                skip -= rows.start;
                let values = doubles(&batch, 0, rows)?;
                if values.null_count() > 0 {
                    put(&values, &mut held);
                    filling.take(&held);
                } else {
                    filling.take(values.values());
                }
            }
            Ok(filling.finish())
        };
        let channels = places.par_iter().map(channel).collect::<Result<_, _>>()?;
        Ok(Bins { starts: edges.starts, channels })
    }

    /// Writes channels from one moment to another, both included, as a Parquet file of its own.
    ///
    /// # Errors
    ///
    /// [`CannotRead`], where a channel is not there or asked for twice, the file is damaged, or nothing can be written.
    pub fn write_part<W: Write + Send>(
        &self,
        codes: &[&str],
        from: Micros,
        to: Micros,
        into: W,
    ) -> Result<W, CannotRead> {
        let specs: Vec<ChannelSpec> = self
            .places(codes)?
            .into_iter()
            .filter_map(|place| self.channels.get(place))
            .map(|channel| ChannelSpec {
                code: channel.code.clone(),
                unit: channel.unit.clone(),
                lowest: None,
                highest: None,
                accuracy: None,
            })
            .collect();
        let mut writer = ColumnsWriter::new(&specs, into)?;
        let mut block = Block::of(codes.len());
        self.for_each(codes, from, to, |times, values| {
            block.clear();
            block.times.extend_from_slice(times);
            for (column, values) in block.columns.iter_mut().zip(values) {
                column.extend_from_slice(values);
            }
            Ok(writer.take(&mut block)?)
        })?;
        Ok(writer.finish()?.into)
    }

    /// Where the channels stand among all of the file.
    pub(super) fn places(&self, codes: &[&str]) -> Result<Vec<usize>, CannotRead> {
        let place = |code: &str| self.channels.iter().position(|channel| channel.code == code);
        let missing: Vec<String> = codes
            .iter()
            .filter(|code| place(code).is_none())
            .map(|code| (*code).to_owned())
            .collect();
        if missing.is_empty() {
            Ok(codes.iter().filter_map(|code| place(code)).collect())
        } else {
            let found = self.channels.iter().map(|channel| channel.code.clone()).collect();
            Err(CannotRead::NoSuchChannels { missing, found })
        }
    }

    /// The row groups of these pages, and which rows of those groups are theirs.
    fn selection(&self, touched: &[Page]) -> (Vec<usize>, RowSelection) {
        let mut groups: Vec<usize> = touched.iter().map(|page| page.group).collect();
        groups.dedup();
        let mut ranges = Vec::new();
        let mut before = 0_u64;
        for group in &groups {
            let of_group = self.pages.iter().filter(|page| page.group == *group);
            let Some(first) = of_group.clone().map(|page| page.row).min() else {
                continue;
            };
            for page in touched.iter().filter(|page| page.group == *group) {
                let row = (page.row - first + before) as usize;
                ranges.push(row..row + page.rows as usize);
            }
            before += of_group.map(|page| page.rows).sum::<u64>();
        }
        (groups, RowSelection::from_consecutive_ranges(ranges.into_iter(), before as usize))
    }
}

/// The rows of a batch within two moments; their moments are put where `times` was.
fn moments(
    batch: &RecordBatch,
    from: Micros,
    to: Micros,
    times: &mut Vec<Micros>,
) -> Result<Range<usize>, CannotRead> {
    let column = batch.column(0).as_primitive_opt::<TimestampMicrosecondType>();
    let moments =
        column.ok_or(CannotRead::NotARecording { what: "the moments are none" })?.values();
    let first = moments.partition_point(|moment| *moment < from.0);
    let end = moments.partition_point(|moment| *moment <= to.0).max(first);
    times.clear();
    times.extend(moments[first..end].iter().map(|moment| Micros(*moment)));
    Ok(first..end)
}

/// The values of one column of a batch.
fn doubles(
    batch: &RecordBatch,
    place: usize,
    rows: Range<usize>,
) -> Result<Float64Array, CannotRead> {
    let column =
        batch.columns().get(place).and_then(|column| column.as_primitive_opt::<Float64Type>());
    let column = column.ok_or(CannotRead::NotARecording { what: "the values are no doubles" })?;
    Ok(column.slice(rows.start, rows.len()))
}

/// Puts values where `into` was; null is NaN.
fn put(values: &Float64Array, into: &mut Vec<f64>) {
    into.clear();
    into.extend_from_slice(values.values());
    if let Some(nulls) = values.nulls() {
        for (value, present) in into.iter_mut().zip(nulls) {
            if !present {
                *value = f64::NAN;
            }
        }
    }
}

/// The pages of the column of moments; where the file has no index of them, its row groups.
fn pages(metadata: &ParquetMetaData) -> Result<Vec<Page>, CannotRead> {
    const NO_SPAN: CannotRead =
        CannotRead::NotARecording { what: "the footer does not say which moments it spans" };
    let mut pages = Vec::new();
    let mut row = 0_u64;
    for (group, of) in metadata.row_groups().iter().enumerate() {
        let rows = u64::try_from(of.num_rows()).map_err(|_| NO_SPAN)?;
        let index = metadata.page_index_for_row_group(group);
        if let (Some(ColumnIndexMetaData::INT64(index)), Some(offsets)) =
            (index.column_index(0), index.offset_index(0))
        {
            let locations = offsets.page_locations();
            for (at, location) in locations.iter().enumerate() {
                let begins = u64::try_from(location.first_row_index).map_err(|_| NO_SPAN)?;
                let ends = match locations.get(at + 1) {
                    Some(next) => u64::try_from(next.first_row_index).map_err(|_| NO_SPAN)?,
                    None => rows,
                };
                let (Some(first), Some(last)) = (index.min_value(at), index.max_value(at)) else {
                    return Err(NO_SPAN);
                };
                pages.push(Page {
                    group,
                    row: row + begins,
                    rows: ends.checked_sub(begins).ok_or(NO_SPAN)?,
                    first: Micros(*first),
                    last: Micros(*last),
                });
            }
        } else if let Some(Statistics::Int64(span)) = of.column(0).statistics() {
            let (Some(first), Some(last)) = (span.min_opt(), span.max_opt()) else {
                return Err(NO_SPAN);
            };
            pages.push(Page { group, row, rows, first: Micros(*first), last: Micros(*last) });
        } else {
            return Err(NO_SPAN);
        }
        row = row.checked_add(rows).ok_or(NO_SPAN)?;
    }
    Ok(pages)
}
