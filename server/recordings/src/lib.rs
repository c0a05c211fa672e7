//! Recorder files in, checked columns out, and what the columns say.
//!
//! A file goes through in blocks: a reader of its [`mod@format`] gives [`Block`]s of rows to a [`Sink`], so that memory does
//! not grow with the file. Values are in their channel's unit from then on, moments in microseconds of UTC. A cell that
//! cannot be a value is refused and told, never repaired; in a column it is missing, which is NaN.
//!
//! Nothing here opens a file, reads a clock or knows a programme: bytes, channels and limits are arguments.

pub mod bins;
mod block;
mod channel;
pub mod check;
pub mod clock_offset;
pub mod columns;
pub mod envelope;
pub mod format;
pub mod heating;
mod intake;
pub mod isolation;
pub mod limits;
mod moment;
pub mod reduce;
mod series;
pub mod statistics;
pub mod steady;
mod unreadable;

pub use block::{Block, Remark, Sink};
pub use channel::{ChannelSpec, ColumnPlan};
pub use intake::{FilePlan, Report, Taken, intake};
pub use moment::Micros;
pub use series::Series;
pub use statistics::Statistic;
pub use unreadable::{Refused, Rule, Unreadable};
