//! Rows of a plan's channels from the fields that a format has.

use crate::{Block, ColumnPlan, Micros, Refused, Remark, Rule, Sink, Unreadable};

/// Rows, and refusals, after which a block is given on.
const ROWS_IN_BLOCK: usize = 8_192;
/// Characters of a refused cell that are kept.
const KEPT_OF_REFUSED: usize = 40;
/// Columns of the file that are named where the mapping asks for others.
const NAMED_COLUMNS: usize = 200;

/// Makes rows of channels from rows of fields, and gives them to a sink in blocks.
pub(super) struct Rows<'a> {
    columns: &'a [ColumnPlan],
    /// The field of each column.
    field_of_column: Vec<usize>,
    sink: &'a mut dyn Sink,
    block: Block,
    given: bool,
}

impl<'a> Rows<'a> {
    /// Rows of the fields `names`; each column of the plan takes one by its name.
    ///
    /// # Errors
    ///
    /// [`Unreadable::NoSuchColumns`] where the plan names what is not among the fields.
    pub(super) fn of(
        names: &[String],
        columns: &'a [ColumnPlan],
        sink: &'a mut dyn Sink,
    ) -> Result<Self, Unreadable> {
        let find = |column: &ColumnPlan| names.iter().position(|name| *name == column.column);
        let (found, missing): (Vec<_>, Vec<_>) =
            columns.iter().map(|column| (column, find(column))).partition(|(_, at)| at.is_some());
        if !missing.is_empty() {
            return Err(Unreadable::NoSuchColumns {
                missing: missing.into_iter().map(|(column, _)| column.column.clone()).collect(),
                found: names.iter().take(NAMED_COLUMNS).cloned().collect(),
            });
        }
        let field_of_column = found.into_iter().filter_map(|(_, at)| at).collect();
        let block = Block::of(columns.len());
        Ok(Self { columns, field_of_column, sink, block, given: false })
    }

    /// Takes a row: the figure of each field, NaN where it did not come.
    pub(super) fn take(
        &mut self,
        line: u64,
        time: Micros,
        fields: &[f64],
    ) -> Result<(), Unreadable> {
        let planned = self.columns.iter().zip(&self.field_of_column);
        for ((column, field), values) in planned.zip(&mut self.block.columns) {
            let figure = fields.get(*field).copied().unwrap_or(f64::NAN);
            let value = figure * column.scale + column.offset;
            if figure.is_nan() || value.is_finite() {
                values.push(value);
                continue;
            }
            values.push(f64::NAN);
            self.block.refused.push(Refused {
                line,
                column: Some(column.name_in_refusals()),
                found: figure.to_string(),
                rule: Rule::NotFinite,
            });
        }
        self.block.lines.push(line);
        self.block.times.push(time);
        self.given = true;
        self.give_when_full()
    }

    /// Tells that a whole row is refused.
    pub(super) fn refuse_row(
        &mut self,
        line: u64,
        found: &[u8],
        rule: Rule,
    ) -> Result<(), Unreadable> {
        self.block.refused.push(Refused { line, column: None, found: beginning_of(found), rule });
        self.give_when_full()
    }

    /// Tells that a cell is refused, once for each column that takes the field; nothing where none does.
    pub(super) fn refuse_cell(
        &mut self,
        line: u64,
        field: usize,
        found: &[u8],
        rule: Rule,
    ) -> Result<(), Unreadable> {
        for (column, _) in
            self.columns.iter().zip(&self.field_of_column).filter(|(_, of)| **of == field)
        {
            self.block.refused.push(Refused {
                line,
                column: Some(column.name_in_refusals()),
                found: beginning_of(found),
                rule,
            });
        }
        self.give_when_full()
    }

    /// Tells something that is no fault.
    pub(super) fn remark(&mut self, remark: Remark) {
        self.block.remarks.push(remark);
    }

    /// Gives on what is left.
    ///
    /// # Errors
    ///
    /// [`Unreadable::NoRows`] where no row was ever taken.
    pub(super) fn finish(mut self) -> Result<(), Unreadable> {
        self.give()?;
        if self.given { Ok(()) } else { Err(Unreadable::NoRows) }
    }

    fn give_when_full(&mut self) -> Result<(), Unreadable> {
        if self.block.rows() < ROWS_IN_BLOCK && self.block.refused.len() < ROWS_IN_BLOCK {
            return Ok(());
        }
        self.give()
    }

    fn give(&mut self) -> Result<(), Unreadable> {
        let empty = self.block.refused.is_empty() && self.block.remarks.is_empty();
        if self.block.rows() > 0 || !empty {
            self.sink.take(&mut self.block)?;
            self.block.clear();
        }
        Ok(())
    }
}

/// The first characters of what was refused; bytes that are no text are shown as the replacement character.
fn beginning_of(found: &[u8]) -> String {
    let most_bytes = found.len().min(KEPT_OF_REFUSED * 4);
    let text = String::from_utf8_lossy(&found[..most_bytes]);
    text.chars().take(KEPT_OF_REFUSED).collect()
}
