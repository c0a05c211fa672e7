//! What is refused: single cells, and whole files.

use serde::{Deserialize, Serialize};

/// Why a cell is not a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rule {
    /// Not a number.
    NotANumber,
    /// Written as NaN or infinity.
    NotFinite,
    /// Below what the sensor can give.
    BelowLowest,
    /// Above what the sensor can give.
    AboveHighest,
    /// The moment cannot be read; the row is left out.
    NotAMoment,
    /// The moment is before that of the row before; the row is left out.
    TimeBackward,
    /// The moment is that of the row before; the row is left out. In a cell: the signal came at this moment before, and the
    /// first figure stays.
    TimeDoubled,
    /// The row has more or fewer cells than the header.
    WrongWidth,
    /// The line is damaged: a checksum does not fit, or a frame is cut.
    Damaged,
}

/// One cell or row that was refused.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Refused {
    /// The line; the first is 1.
    pub line: u64,
    /// What the file calls the column; absent where the whole row is refused.
    pub column: Option<String>,
    /// What stood there, at most its first 40 characters.
    pub found: String,
    /// Why it was refused.
    pub rule: Rule,
}

/// Why nothing can be made of a file as a whole.
#[derive(Debug, thiserror::Error)]
pub enum Unreadable {
    /// The bytes could not be read.
    #[error("the file could not be read to its end")]
    Cut(#[from] std::io::Error),
    /// The file is not of the format that the recorder writes.
    #[error("line {line}: {why}")]
    NotTheFormat {
        /// The line; the first is 1.
        line: u64,
        /// What is wrong and what would be right, in words.
        why: String,
    },
    /// Columns of the mapping are not in the file.
    #[error(
        "the file has no column {}; it has {}",
        missing.join(", "),
        found.join(", ")
    )]
    NoSuchColumns {
        /// The columns that the mapping names and the file lacks.
        missing: Vec<String>,
        /// The columns of the file, at most the first 200.
        found: Vec<String>,
    },
    /// The file has no row that could be taken.
    #[error("the file has no row with a moment that can be read")]
    NoRows,
    /// A line, a row or a number of columns beyond what is taken.
    #[error("line {line}: {what} is more than {most}")]
    TooMuch {
        /// The line; the first is 1.
        line: u64,
        /// What there is too much of.
        what: &'static str,
        /// How much is taken at most.
        most: u64,
    },
    /// Two columns of the mapping become the same channel, or one becomes the column of moments.
    #[error("more than one column becomes {channel}; map each channel once, and none as time")]
    PlannedTwice {
        /// The channel's code.
        channel: String,
    },
    /// The columns could not be written.
    #[error("the columns could not be kept")]
    NotKept(#[from] parquet::errors::ParquetError),
}
