//! Rows on their way from a file to whoever keeps or checks them.

use serde::{Deserialize, Serialize};

use crate::{Micros, Refused, Unreadable};

/// Some rows: one moment each, and a value for every channel in the order of the plan. NaN is missing.
#[derive(Debug, Clone, Default)]
pub struct Block {
    /// The line of the file that each row comes from; the first is 1. Binary formats count their frames.
    pub lines: Vec<u64>,
    /// Moments, as the file has them: also backward and doubled, which the check of time refuses later.
    pub times: Vec<Micros>,
    /// One column a channel, each as long as `times`.
    pub columns: Vec<Vec<f64>>,
    /// Cells of these rows that could not be values.
    pub refused: Vec<Refused>,
    /// What is to be told of the file beside refused cells.
    pub remarks: Vec<Remark>,
}

/// Something about a file that is no fault and that people have to know.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "remark", rename_all = "kebab-case")]
pub enum Remark {
    /// The last line has no line end. A file may end so, but it may also have been cut within the last value.
    EndsOpen,
    /// A clock without a date went from the end of a day to its beginning; from this line on a day was added.
    PassedMidnight {
        /// The line; the first is 1.
        line: u64,
    },
}

impl Block {
    /// An empty block for so many channels.
    pub fn of(channels: usize) -> Self {
        Self { columns: vec![Vec::new(); channels], ..Self::default() }
    }

    /// How many rows it has.
    pub fn rows(&self) -> usize {
        self.times.len()
    }

    /// Takes all rows out and keeps the memory.
    pub fn clear(&mut self) {
        self.lines.clear();
        self.times.clear();
        self.refused.clear();
        self.remarks.clear();
        self.columns.iter_mut().for_each(Vec::clear);
    }
}

/// Takes the rows of a file.
pub trait Sink {
    /// Takes a block; what is left in it afterwards is thrown away.
    ///
    /// # Errors
    ///
    /// [`Unreadable`] where going on makes no sense: the file is not what it should be, or cannot be kept.
    fn take(&mut self, block: &mut Block) -> Result<(), Unreadable>;
}
