//! Why an interval cannot be reduced.

use std::fmt;

use flight_science::catalogue::{ComputeError, Refused};

use super::Interval;

/// An interval cannot be reduced. Carries every reason that could be seen at once.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{}", Sentences(reasons))]
pub struct CannotReduce {
    /// At least one reason.
    pub reasons: Vec<Reason>,
}

/// One reason why an interval cannot be reduced.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Reason {
    /// The interval ends before it begins, or spans no time.
    #[error("The interval spans no time. Give an end that is later than the beginning.")]
    NoInterval {
        /// The interval.
        interval: Interval,
    },
    /// No channel plays a part that cannot be done without.
    #[error("No channel is named for {role}, which has to be in {}.", unit_in_words(unit))]
    RoleWithoutChannel {
        /// The part.
        role: &'static str,
        /// The unit that it wants.
        unit: &'static str,
    },
    /// A channel is named for a part that the reduction does not have.
    #[error("There is no role {role}; the roles are {}.", roles.join(", "))]
    NoSuchRole {
        /// The part as named.
        role: String,
        /// The parts that there are.
        roles: Vec<&'static str>,
    },
    /// The recording lacks a channel.
    #[error("The recording has no channel {channel}, which is named for {role}.")]
    NoSuchChannel {
        /// The part.
        role: &'static str,
        /// The channel.
        channel: String,
    },
    /// A channel is in another unit than the part wants.
    #[error("Channel {channel} is in {found}, and {role} has to be in {wanted}.")]
    OtherUnit {
        /// The part.
        role: &'static str,
        /// The channel.
        channel: String,
        /// Its unit.
        found: String,
        /// The unit that the part wants.
        wanted: &'static str,
    },
    /// Too much of the interval has no readings.
    #[error(
        "Channel {channel} for {role} has no readings in {:.1} % of the interval; at most {:.1} % may be missing. Give an \
         interval in which it was recorded.",
        100.0 * share,
        100.0 * most
    )]
    TooMuchMissing {
        /// The part.
        role: &'static str,
        /// The channel.
        channel: String,
        /// The share of the interval that lacks readings, from 0 to 1.
        share: f64,
        /// The share that may lack them.
        most: f64,
    },
    /// Figures that were given are faulty.
    #[error("{0}")]
    Given(Refused),
    /// Too few stretches of the interval are what the method wants.
    #[error("The interval has {found} {what}, and {wanted} or more are wanted. {how}")]
    TooFewStretches {
        /// How many were found.
        found: usize,
        /// How many are wanted.
        wanted: usize,
        /// What is looked for.
        what: &'static str,
        /// What it takes to count as one.
        how: String,
    },
    /// The stretches do not belong together.
    #[error(
        "{what} of the stretches is {spread:.1} {unit} apart, and at most {most:.1} {unit} is taken. {how}"
    )]
    StretchesDiffer {
        /// What differs.
        what: &'static str,
        /// By how much.
        spread: f64,
        /// How much is taken.
        most: f64,
        /// The unit.
        unit: &'static str,
        /// What to do.
        how: &'static str,
    },
    /// What the method looks for is not in the interval.
    #[error("{0}")]
    NotInTheInterval(String),
    /// The topic refused what was made for it.
    #[error("{0}")]
    Topic(ComputeError),
}

impl From<Reason> for CannotReduce {
    fn from(reason: Reason) -> Self {
        Self { reasons: vec![reason] }
    }
}

impl From<Refused> for CannotReduce {
    fn from(refused: Refused) -> Self {
        Reason::Given(refused).into()
    }
}

fn unit_in_words<'a>(unit: &'a &'static str) -> &'a str {
    if unit.is_empty() { "any unit" } else { unit }
}

/// Reasons one after the other.
struct Sentences<'a>(&'a [Reason]);

impl fmt::Display for Sentences<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, reason) in self.0.iter().enumerate() {
            if index > 0 {
                f.write_str(" ")?;
            }
            write!(f, "{reason}")?;
        }
        Ok(())
    }
}
