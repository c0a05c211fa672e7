//! Takes a CSV file in and reads its columns out again, with times: what `intake_beside_polars.py` holds against other
//! libraries, and what `tests/reference/check_columns.py` opens with them.
//!
//!     intake take FILE.csv OUT.parquet [unit-row]     reads, checks, hashes, packs and syncs a file; all columns but `time`
//!     intake part FILE.parquet OUT.parquet FROM TO    a part of all channels; moments in microseconds since 1970
//!     intake csv FILE.parquet OUT.csv [unit-row]      all of it as CSV
//!     intake window FILE.parquet CODE SECONDS         how long it takes to hold a window of a channel against a limit
//!     intake bins FILE.parquet OUT.parquet            every channel in bins of a second, as mean, smallest and greatest
//!
//! Each prints one line of JSON.

use std::fs::File;
use std::io::{BufWriter, Read, Write};
use std::path::Path;
use std::time::Instant;

use recordings::check::StuckAfter;
use recordings::columns::{Columns, ColumnsWriter, CsvOut};
use recordings::format::csv::{CsvPlan, Look, TimeForm, TimePlan, headers};
use recordings::{Block, ChannelSpec, ColumnPlan, FilePlan, Micros, Sink, intake};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

/// The allocator of the program.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

fn main() -> Outcome<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let told = match arguments[..] {
        ["take", from, to] => take(from, to, false)?,
        ["take", from, to, "unit-row"] => take(from, to, true)?,
        ["part", from, to, first, last] => {
            part(from, to, Micros(first.parse()?), Micros(last.parse()?))?
        }
        ["csv", from, to] => csv(from, to, false)?,
        ["csv", from, to, "unit-row"] => csv(from, to, true)?,
        ["window", from, code, seconds] => window(from, code, seconds.parse()?)?,
        ["bins", from, to] => one_second_bins(from, to)?,
        _ => return Err("take | part | csv | window | bins, each with its files".into()),
    };
    println!("{told}");
    Ok(())
}

fn spec(code: &str, unit: &str) -> ChannelSpec {
    ChannelSpec {
        code: code.to_owned(),
        unit: unit.to_owned(),
        lowest: None,
        highest: None,
        accuracy: None,
    }
}

/// Hashes what passes.
struct Hashed<R> {
    source: R,
    digest: Sha256,
}

impl<R: Read> Read for Hashed<R> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let read = self.source.read(into)?;
        self.digest.update(&into[..read]);
        Ok(read)
    }
}

fn take(from: &str, to: &str, unit_row: bool) -> Outcome<Value> {
    let begin = Instant::now();
    let found = headers(File::open(from)?, &Look { unit_row, ..Look::default() })?;
    let unit = |place: usize| Some(found.units.as_ref()?.get(place)?.as_str());
    let columns: Vec<ColumnPlan> = found
        .headers
        .iter()
        .enumerate()
        .filter(|(_, name)| *name != "time")
        .map(|(place, name)| ColumnPlan {
            column: name.clone(),
            channel: ChannelSpec {
                // A range that every figure of a sensor is in, so that the check has its work.
                lowest: Some(-1e6),
                highest: Some(1e6),
                ..spec(name, unit(place).unwrap_or_default())
            },
            scale: 1.0,
            offset: 0.0,
        })
        .collect();
    let plan = FilePlan::Csv(CsvPlan {
        delimiter: None,
        decimal: '.',
        header_line: 1,
        unit_row,
        time: TimePlan {
            column: "time".to_owned(),
            form: TimeForm::Iso8601 { utc_without_offset: false },
        },
    });
    let mut source = Hashed { source: File::open(from)?, digest: Sha256::new() };
    let taken = intake(&mut source, &plan, &columns, &StuckAfter::default(), File::create(to)?)?;
    taken.into.sync_all()?;
    File::open(
        Path::new(to)
            .parent()
            .filter(|parent| !parent.as_os_str().is_empty())
            .unwrap_or(Path::new(".")),
    )?
    .sync_all()?;
    let seconds = begin.elapsed().as_secs_f64();
    let sha256: String =
        source.digest.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
    let refused: u64 = taken.report.quality.refused_by_rule.values().sum();
    Ok(json!({
        "seconds": seconds, "rows": taken.report.quality.rows, "refused": refused, "bytes": taken.bytes,
        "sha256": sha256, "peak_mb": peak_mb()?
    }))
}

fn open(from: &str) -> Outcome<(Columns<File>, Vec<String>, Micros, Micros)> {
    let columns = Columns::open(File::open(from)?)?;
    let codes = columns.channels().iter().map(|channel| channel.code.clone()).collect();
    let (first, last) = columns.span().ok_or("the recording has no row")?;
    Ok((columns, codes, first, last))
}

fn part(from: &str, to: &str, first: Micros, last: Micros) -> Outcome<Value> {
    let begin = Instant::now();
    let (columns, codes, ..) = open(from)?;
    let codes: Vec<&str> = codes.iter().map(String::as_str).collect();
    columns.write_part(&codes, first, last, File::create(to)?)?;
    Ok(json!({ "seconds": begin.elapsed().as_secs_f64() }))
}

fn csv(from: &str, to: &str, unit_row: bool) -> Outcome<Value> {
    let begin = Instant::now();
    let (columns, codes, first, last) = open(from)?;
    let codes: Vec<&str> = codes.iter().map(String::as_str).collect();
    columns.csv_out(&codes, first, last, CsvOut { unit_row }, File::create(to)?)?;
    Ok(json!({ "seconds": begin.elapsed().as_secs_f64(), "peak_mb": peak_mb()? }))
}

/// The share of a window above a limit, for windows all over the recording.
fn window(from: &str, code: &str, seconds: i64) -> Outcome<Value> {
    const WINDOWS: i64 = 400;
    let begin = Instant::now();
    let (columns, _, first, last) = open(from)?;
    let opened = begin.elapsed().as_secs_f64();
    let mut times = Vec::new();
    let mut above = 0_usize;
    for window in 0..WINDOWS {
        let at = Micros(first.0 + (last.0 - first.0) / WINDOWS * window);
        let begin = Instant::now();
        let read = columns.read(&[code], at, Micros(at.0 + seconds * 1_000_000))?;
        above += read.values[0].iter().filter(|value| **value > 60.0).count();
        times.push(begin.elapsed().as_secs_f64());
    }
    times.sort_by(f64::total_cmp);
    let quantile = |share: f64| times[(share * (times.len() - 1) as f64) as usize];
    Ok(json!({
        "open_s": opened, "median_s": quantile(0.5), "p99_s": quantile(0.99), "worst_s": quantile(1.0), "above": above
    }))
}

fn one_second_bins(from: &str, to: &str) -> Outcome<Value> {
    let begin = Instant::now();
    let (columns, codes, first, last) = open(from)?;
    let names: Vec<&str> = codes.iter().map(String::as_str).collect();
    let binned = columns.bins(&names, first, last, 1_000_000)?;
    let seconds = begin.elapsed().as_secs_f64();

    // What follows is only for the comparison.
    let kinds = ["mean", "min", "max"];
    let specs: Vec<ChannelSpec> = codes
        .iter()
        .flat_map(|code| kinds.map(|kind| spec(&format!("{code}_{kind}"), "")))
        .collect();
    let mut writer = ColumnsWriter::new(&specs, BufWriter::new(File::create(to)?))?;
    let mut block = Block::of(specs.len());
    block.times = binned.starts;
    block.columns = binned
        .channels
        .into_iter()
        .flat_map(|channel| [channel.mean, channel.min, channel.max])
        .collect();
    writer.take(&mut block)?;
    writer.finish()?.into.flush()?;
    Ok(json!({ "seconds": seconds, "peak_mb": peak_mb()? }))
}

/// The most memory that the process has had, in megabytes.
fn peak_mb() -> Outcome<f64> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).ok_or("no VmHWM")?;
    let kilobytes: f64 = peak.trim().trim_end_matches(" kB").parse()?;
    Ok(kilobytes / 1000.0)
}
