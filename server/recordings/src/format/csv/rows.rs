//! Rows of figures: from the bytes of a piece to blocks.

use std::sync::Mutex;

use super::CsvPlan;
use super::cells::{Cell, Cells, shown, without_line_end};
use super::figure::{Figure, figure, plain};
use super::head::{Target, Use};
use super::pieces::{Piece, row_end, too_long};
use crate::{Block, Micros, Refused, Rule, Unreadable};

/// Rows that a block has at most.
const BLOCK_ROWS: usize = 8192;

/// How rows are read; the same for every piece.
pub(super) struct Rows<'a> {
    pub plan: &'a CsvPlan,
    pub delimiter: u8,
    pub decimal: u8,
    pub uses: Vec<Use>,
    pub channels: usize,
    /// Blocks that were given on, for their memory.
    pub spare: Mutex<Vec<Block>>,
}

/// Blocks that are kept for their memory at most.
const MOST_SPARE: usize = 16;

/// Values that a block that is kept may have had room for: one with thousands of columns is not worth keeping.
const SPARE_VALUES: usize = 128 * 1024;

/// A row that gave no values.
enum NoRow {
    /// Nothing stands in it.
    Empty,
    Refused(Rule),
}

impl Rows<'_> {
    /// A block without rows.
    fn block(&self) -> Block {
        let spare = self.spare.lock().ok().and_then(|mut spare| spare.pop());
        spare.unwrap_or_else(|| Block::of(self.channels))
    }

    /// Takes a block whose rows nobody wants any more.
    pub fn done_with(&self, mut block: Block) {
        let room: usize = block.columns.iter().map(Vec::capacity).sum();
        if room <= SPARE_VALUES
            && block.columns.len() == self.channels
            && let Ok(mut spare) = self.spare.lock()
            && spare.len() < MOST_SPARE
        {
            block.clear();
            spare.push(block);
        }
    }

    /// The rows of a piece, in blocks.
    pub fn blocks(&self, piece: &Piece) -> Result<Vec<Block>, Unreadable> {
        let mut blocks = Vec::new();
        let mut block = self.block();
        let mut line = piece.first_line;
        let mut rest = piece.bytes.as_slice();
        while !rest.is_empty() {
            let end = if piece.quoted {
                row_end(rest, Some(self.delimiter))
            } else {
                memchr::memchr(b'\n', rest).map(|at| at + 1)
            };
            let (row, behind) = rest.split_at(end.unwrap_or(rest.len()));
            too_long(row.len(), line)?;
            self.row(row, line, piece.quoted, &mut block);
            line += if piece.quoted { memchr::memchr_iter(b'\n', row).count() as u64 } else { 1 };
            rest = behind;
            if block.rows() >= BLOCK_ROWS || block.refused.len() >= BLOCK_ROWS {
                blocks.push(std::mem::replace(&mut block, self.block()));
            }
        }
        blocks.push(block);
        Ok(blocks)
    }

    /// Appends a row to the block, or says why it is refused.
    fn row(&self, row: &[u8], line: u64, quoted: bool, block: &mut Block) {
        let row = without_line_end(row);
        let (rows, refused) = (block.rows(), block.refused.len());
        let read = if quoted && memchr::memchr(b'"', row).is_some() {
            self.quoted_row(row, line, block)
        } else {
            self.plain_row(row, line, block)
        };
        match read {
            Ok(moment) => {
                block.lines.push(line);
                block.times.push(moment);
            }
            Err(no_row) => {
                block.columns.iter_mut().for_each(|column| column.truncate(rows));
                block.refused.truncate(refused);
                if let NoRow::Refused(rule) = no_row {
                    let (column, found, rule) = self.told(row, rule);
                    block.refused.push(Refused { line, column, found, rule });
                }
            }
        }
    }

    /// A row without quotes, which nearly all are.
    fn plain_row(&self, row: &[u8], line: u64, block: &mut Block) -> Result<Micros, NoRow> {
        let mut rest = Some(row);
        let mut moment = None;
        for wanted in &self.uses {
            let Some(bytes) = rest else {
                return Err(self.wrong_width(row));
            };
            let number = match &wanted.channels[..] {
                [] => None,
                _ => plain(bytes, self.decimal).filter(|(_, length)| {
                    bytes.get(*length).is_none_or(|behind| *behind == self.delimiter)
                }),
            };
            let length = match number {
                Some((number, length)) => {
                    match wanted.channels[..] {
                        // Nearly every column is one channel, and what recorders write mostly is the value.
                        [Target { channel, line: None }] if channel < block.columns.len() => {
                            block.columns[channel].push(number);
                        }
                        _ => self.keep(number, wanted, &bytes[..length], line, block),
                    }
                    length
                }
                None => {
                    let length = memchr::memchr(self.delimiter, bytes).unwrap_or(bytes.len());
                    if !wanted.channels.is_empty() {
                        self.cell(&bytes[..length], wanted, line, block);
                    }
                    length
                }
            };
            if wanted.is_time {
                moment = self.plan.time.form.moment(bytes[..length].trim_ascii(), self.decimal);
            }
            rest = bytes.get(length + 1..);
        }
        match rest {
            // Many recorders end their rows with a delimiter: what is empty is no cell too many.
            Some(rest) if !rest.trim_ascii().is_empty() => Err(self.wrong_width(row)),
            _ => moment.ok_or_else(|| self.no_moment(row)),
        }
    }

    /// A row that has quotes somewhere.
    fn quoted_row(&self, row: &[u8], line: u64, block: &mut Block) -> Result<Micros, NoRow> {
        let mut cells = Cells::of(row, self.delimiter);
        let mut moment = None;
        for wanted in &self.uses {
            let cell = cells.next().ok_or_else(|| self.wrong_width(row))?;
            if matches!(cell, Cell::Broken(_)) {
                return Err(NoRow::Refused(Rule::Damaged));
            }
            let content = cell.content();
            if !wanted.channels.is_empty() {
                self.cell(&content, wanted, line, block);
            }
            if wanted.is_time {
                moment = self.plan.time.form.moment(content.trim_ascii(), self.decimal);
            }
        }
        if cells.is_spent() {
            moment.ok_or_else(|| self.no_moment(row))
        } else {
            Err(self.wrong_width(row))
        }
    }

    /// A cell that is not known to be a number.
    fn cell(&self, cell: &[u8], wanted: &Use, line: u64, block: &mut Block) {
        match figure(cell, self.decimal) {
            Figure::Number(number) => self.keep(number, wanted, cell, line, block),
            Figure::Empty => missing(&wanted.channels, block),
            Figure::NotANumber => refuse(Rule::NotANumber, wanted, cell, line, block),
            Figure::NotFinite => refuse(Rule::NotFinite, wanted, cell, line, block),
        }
    }

    /// Appends the value of every channel that a figure becomes.
    fn keep(&self, number: f64, wanted: &Use, cell: &[u8], line: u64, block: &mut Block) {
        let mut infinite = false;
        for target in &wanted.channels {
            let value = match target.line {
                None => number,
                Some((scale, offset)) => number * scale + offset,
            };
            infinite |= !value.is_finite();
            if let Some(column) = block.columns.get_mut(target.channel) {
                column.push(if value.is_finite() { value } else { f64::NAN });
            }
        }
        if infinite {
            block.refused.push(refused(Rule::NotFinite, wanted, cell, line));
        }
    }

    fn wrong_width(&self, row: &[u8]) -> NoRow {
        if self.is_blank(row) {
            NoRow::Empty
        } else if row.contains(&0) {
            NoRow::Refused(Rule::Damaged)
        } else {
            NoRow::Refused(Rule::WrongWidth)
        }
    }

    fn no_moment(&self, row: &[u8]) -> NoRow {
        if self.is_blank(row) { NoRow::Empty } else { NoRow::Refused(Rule::NotAMoment) }
    }

    /// Whether nothing but delimiters and spaces stands in a row; spreadsheets write such rows behind the last.
    fn is_blank(&self, row: &[u8]) -> bool {
        row.iter().all(|byte| byte.is_ascii_whitespace() || *byte == self.delimiter)
    }

    /// Column, text and rule of a row that is refused.
    fn told(&self, row: &[u8], rule: Rule) -> (Option<String>, String, Rule) {
        if rule == Rule::NotAMoment
            && let Some(place) = self.uses.iter().position(|wanted| wanted.is_time)
            && let Some(cell) = Cells::of(row, self.delimiter).nth(place)
        {
            let name = self.uses.get(place).map(|wanted| wanted.name.clone());
            return (name, shown(cell.content().trim_ascii()), rule);
        }
        (None, shown(row), rule)
    }
}

fn missing(targets: &[Target], block: &mut Block) {
    for target in targets {
        if let Some(column) = block.columns.get_mut(target.channel) {
            column.push(f64::NAN);
        }
    }
}

fn refuse(rule: Rule, wanted: &Use, cell: &[u8], line: u64, block: &mut Block) {
    missing(&wanted.channels, block);
    block.refused.push(refused(rule, wanted, cell, line));
}

fn refused(rule: Rule, wanted: &Use, cell: &[u8], line: u64) -> Refused {
    Refused { line, column: Some(wanted.name.clone()), found: shown(cell.trim_ascii()), rule }
}
