//! What the tests of all formats share: columns taken as they are, and a sink that keeps everything.

use crate::{Block, ChannelSpec, ColumnPlan, Micros, Refused, Remark, Rule, Sink, Unreadable};

/// Columns of these names, each a channel of its own name with scale 1 and offset 0.
pub(super) fn as_they_are(names: &[&str]) -> Vec<ColumnPlan> {
    let channel = |name: &str| ChannelSpec {
        code: name.to_owned(),
        unit: String::new(),
        lowest: None,
        highest: None,
        accuracy: None,
    };
    let column = |name: &&str| ColumnPlan {
        column: (*name).to_owned(),
        channel: channel(name),
        scale: 1.0,
        offset: 0.0,
    };
    names.iter().map(column).collect()
}

/// Keeps every block that is given to it, after looking whether it is whole and bounded.
#[derive(Debug, Default)]
pub(super) struct Kept {
    pub(super) lines: Vec<u64>,
    pub(super) times: Vec<Micros>,
    pub(super) columns: Vec<Vec<f64>>,
    pub(super) refused: Vec<Refused>,
    pub(super) remarks: Vec<Remark>,
}

impl Sink for Kept {
    fn take(&mut self, block: &mut Block) -> Result<(), Unreadable> {
        assert!(block.rows() <= 8_192, "a block has {} rows", block.rows());
        assert!(block.refused.len() < 9_000, "a block has {} refusals", block.refused.len());
        assert_eq!(block.lines.len(), block.rows());
        self.columns.resize(block.columns.len(), Vec::new());
        for (kept, column) in self.columns.iter_mut().zip(&block.columns) {
            assert_eq!(column.len(), block.rows());
            assert!(!column.iter().any(|value| value.is_infinite()));
            kept.extend_from_slice(column);
        }
        for refused in &block.refused {
            assert!(refused.found.chars().count() <= 40);
        }
        self.lines.append(&mut block.lines);
        self.times.append(&mut block.times);
        self.refused.append(&mut block.refused);
        self.remarks.append(&mut block.remarks);
        Ok(())
    }
}

impl Kept {
    /// Rows as moments in microseconds and values; a missing value is absent.
    pub(super) fn rows(&self) -> Vec<(i64, Vec<Option<f64>>)> {
        let value =
            |row: usize, column: &Vec<f64>| Some(column[row]).filter(|value| !value.is_nan());
        let row = |(row, time): (usize, &Micros)| {
            (time.0, self.columns.iter().map(|column| value(row, column)).collect())
        };
        self.times.iter().enumerate().map(row).collect()
    }

    /// What was refused: line, column, what stood there, and why.
    pub(super) fn refusals(&self) -> Vec<(u64, Option<&str>, &str, Rule)> {
        let mut told = Vec::new();
        for refused in &self.refused {
            told.push((
                refused.line,
                refused.column.as_deref(),
                refused.found.as_str(),
                refused.rule,
            ));
        }
        told
    }
}

/// Changes a file as damage would: each change takes a place and a byte, and puts the byte there, takes one out, puts one
/// in, or cuts the file.
pub(super) fn damaged(mut file: Vec<u8>, changes: &[(usize, u8, u8)]) -> Vec<u8> {
    for (place, byte, kind) in changes {
        if file.is_empty() {
            break;
        }
        let at = place % file.len();
        match kind % 8 {
            0 => file.truncate(at),
            1 | 2 => drop(file.remove(at)),
            3 | 4 => file.insert(at, *byte),
            _ => file[at] = *byte,
        }
    }
    file
}
