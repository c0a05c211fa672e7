//! Comma-separated values and what recorders make of them: any delimiter, decimal comma, a row of units, quoted cells.
//!
//! One thread reads, others turn bytes into figures, and the sink works on the thread of the caller, in the order of the
//! file. No more than a few pieces of a quarter of a megabyte are on their way at a time.
//!
//! # Source
//!
//! RFC 4180 for quotes and line ends. What else recorders do (delimiters, decimal comma, units, spaces) is common practice,
//! no source.

mod cells;
mod figure;
mod head;
mod pieces;
mod rows;
#[cfg(test)]
mod tests;
mod time;

use std::io::Read;
use std::sync::Mutex;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use serde::{Deserialize, Serialize};

use self::head::Head;
use self::pieces::{Piece, Rest};
use self::rows::Rows;
use crate::{Block, ColumnPlan, Micros, Remark, Sink, Unreadable};

pub use self::time::{TimeForm, TimePlan};

/// How a recorder writes its CSV.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CsvPlan {
    /// The sign between cells; absent where it is found on the header line among `; , |` and tab.
    #[serde(default)]
    pub delimiter: Option<char>,
    /// The decimal sign, a point or a comma.
    #[serde(default = "point")]
    pub decimal: char,
    /// The line on which the names of the columns stand; the first is 1, and lines before it are skipped.
    #[serde(default = "first")]
    pub header_line: u64,
    /// Whether a row of units follows the header. It is shown, not interpreted.
    #[serde(default)]
    pub unit_row: bool,
    /// Where the moments stand.
    pub time: TimePlan,
}

/// What has to be known to look into a file that nobody has mapped yet; see [`CsvPlan`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Look {
    /// The sign between cells; absent where it is to be found.
    #[serde(default)]
    pub delimiter: Option<char>,
    /// The decimal sign, a point or a comma.
    #[serde(default = "point")]
    pub decimal: char,
    /// The line on which the names of the columns stand; the first is 1.
    #[serde(default = "first")]
    pub header_line: u64,
    /// Whether a row of units follows the header.
    #[serde(default)]
    pub unit_row: bool,
}

fn point() -> char {
    '.'
}

fn first() -> u64 {
    1
}

impl Default for Look {
    fn default() -> Self {
        Self { delimiter: None, decimal: point(), header_line: first(), unit_row: false }
    }
}

impl From<&CsvPlan> for Look {
    fn from(plan: &CsvPlan) -> Self {
        Self {
            delimiter: plan.delimiter,
            decimal: plan.decimal,
            header_line: plan.header_line,
            unit_row: plan.unit_row,
        }
    }
}

/// The beginning of a file, for people who say which column is which channel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Found {
    /// The sign between cells.
    pub delimiter: char,
    /// The names of the columns.
    pub headers: Vec<String>,
    /// The row of units, where there is one.
    pub units: Option<Vec<String>>,
    /// The first rows as text, at most ten.
    pub first_rows: Vec<Vec<String>>,
}

/// Bytes of a file that are looked at for [`headers`].
const LOOKED_AT: u64 = 64 * 1024;

/// Pieces that are on their way at a time.
const UNDER_WAY: usize = 8;

/// Threads that turn bytes into figures, at most.
const MOST_THREADS: usize = 4;

/// What stands at the beginning of a file. At most its first 64 KiB are read.
///
/// # Errors
///
/// [`Unreadable`], where the file is no CSV or ends before its header.
pub fn headers(source: impl Read, look: &Look) -> Result<Found, Unreadable> {
    let mut rest = Rest::of(source.take(LOOKED_AT));
    Head::read(&mut rest, look)?.found(rest)
}

/// The cells of one line as text, without spaces around them. Longer rows than a file may have are cut.
pub fn cells(line: &[u8], delimiter: char) -> Vec<String> {
    let Ok(delimiter) = u8::try_from(delimiter) else {
        return vec![cells::text(line).trim().to_owned()];
    };
    head::cells_of(line, delimiter)
}

/// The number that a cell holds, with a point or a comma as decimal sign; absent where it holds none, as [`read`] sees it.
pub fn number(cell: &str, decimal: char) -> Option<f64> {
    match figure::figure(cell.as_bytes(), if decimal == ',' { b',' } else { b'.' }) {
        figure::Figure::Number(number) => Some(number),
        figure::Figure::Empty | figure::Figure::NotANumber | figure::Figure::NotFinite => None,
    }
}

/// Reads a file row by row into the sink. Columns that the plan does not name are not looked at.
///
/// A cell that is no number is refused and the row goes on without it; a row without a moment, or with more or fewer cells
/// than the header, is refused as a whole. Empty rows, and one empty cell behind the last, are nothing.
///
/// # Errors
///
/// [`Unreadable`], where the file is no CSV, lacks columns of the plan, has too much in one row, or has no row that could be
/// taken; and what the sink refuses.
pub fn read(
    source: impl Read + Send,
    plan: &CsvPlan,
    columns: &[ColumnPlan],
    sink: &mut dyn Sink,
) -> Result<(), Unreadable> {
    let mut rest = Rest::of(source);
    let head = Head::read(&mut rest, &plan.into())?;
    let rows = Rows {
        plan,
        delimiter: head.delimiter,
        decimal: if plan.decimal == ',' { b',' } else { b'.' },
        uses: head.uses(plan, columns)?,
        channels: columns.len(),
        spare: Mutex::default(),
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(MOST_THREADS);
    let (to_parse, pieces) = sync_channel(UNDER_WAY);
    let (in_order, answers) = sync_channel(UNDER_WAY);
    let pieces = Mutex::new(pieces);
    // Every channel end is owned by exactly one of the threads: where one stops, its ends fall and the others stop too.
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| parse(&pieces, &rows));
        }
        let delimiter = rows.delimiter;
        scope.spawn(move || cut(rest, delimiter, &to_parse, &in_order));
        give(answers, &rows, sink)
    })
}

/// What became of a piece.
type Parsed = Result<Vec<Block>, Unreadable>;

/// A piece and where its blocks go.
type Task = (Piece, SyncSender<Parsed>);

/// Cuts the file into pieces until it ends or nobody wants more.
fn cut(
    mut rest: Rest<impl Read>,
    delimiter: u8,
    to_parse: &SyncSender<Task>,
    in_order: &SyncSender<Receiver<Parsed>>,
) {
    loop {
        let (answer, parsed) = sync_channel(1);
        let goes_on = match rest.piece(delimiter) {
            Ok(Some(piece)) => to_parse.send((piece, answer)).is_ok(),
            Ok(None) => return,
            Err(error) => {
                // The other end is in this very function, so that the answer always finds room.
                let _ = answer.send(Err(error));
                false
            }
        };
        if in_order.send(parsed).is_err() || !goes_on {
            return;
        }
    }
}

/// Turns pieces into blocks until there are none left.
fn parse(pieces: &Mutex<Receiver<Task>>, rows: &Rows<'_>) {
    loop {
        let Ok(task) = pieces.lock().map(|pieces| pieces.recv()) else {
            return;
        };
        let Ok((piece, answer)) = task else {
            return;
        };
        let mut blocks = rows.blocks(&piece);
        if piece.ends_open
            && let Ok(blocks) = &mut blocks
            && let Some(last) = blocks.last_mut()
        {
            last.remarks.push(Remark::EndsOpen);
        }
        // Whoever wanted the answer may have stopped.
        let _ = answer.send(blocks);
    }
}

/// Gives the blocks to the sink in the order of the file.
fn give(
    answers: Receiver<Receiver<Parsed>>,
    of: &Rows<'_>,
    sink: &mut dyn Sink,
) -> Result<(), Unreadable> {
    let mut clock = matches!(of.plan.time.form, TimeForm::ClockUtc { .. }).then(Clock::default);
    let mut rows = 0;
    for answer in answers {
        let Ok(blocks) = answer.recv() else {
            break;
        };
        for mut block in blocks? {
            if let Some(clock) = &mut clock {
                clock.set(&mut block);
            }
            rows += block.rows();
            sink.take(&mut block)?;
            of.done_with(block);
        }
    }
    if rows == 0 { Err(Unreadable::NoRows) } else { Ok(()) }
}

/// A clock without a date, which passes midnight once.
#[derive(Default)]
struct Clock {
    last: Option<Micros>,
    passed_midnight: bool,
}

impl Clock {
    /// A clock that goes back by more than this has passed midnight.
    const HALF_A_DAY: i64 = time::DAY / 2;

    fn set(&mut self, block: &mut Block) {
        for (moment, line) in block.times.iter_mut().zip(&block.lines) {
            if self.passed_midnight {
                moment.0 = moment.0.saturating_add(time::DAY);
            } else if let Some(last) = self.last
                && last.0.saturating_sub(moment.0) > Self::HALF_A_DAY
            {
                self.passed_midnight = true;
                moment.0 = moment.0.saturating_add(time::DAY);
                block.remarks.push(Remark::PassedMidnight { line: *line });
            }
            self.last = Some(*moment);
        }
    }
}
