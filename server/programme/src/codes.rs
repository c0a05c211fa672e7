//! Names by which people call things: a point's code, a person's handle, a run's number.

use std::borrow::Borrow;
use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

/// A name that cannot be used as a code.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{given}\" is not a code: use 1 to 40 letters, digits, points, hyphens or underscores, beginning with a letter or digit"
)]
pub struct BadCode {
    /// What was given.
    pub given: String,
}

fn checked(given: &str) -> Result<Arc<str>, BadCode> {
    let starts_well = given.starts_with(|c: char| c.is_ascii_alphanumeric());
    let all_allowed =
        given.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_'));
    if starts_well && all_allowed && given.len() <= 40 {
        Ok(Arc::from(given))
    } else {
        Err(BadCode { given: given.chars().take(60).collect() })
    }
}

macro_rules! code {
    ($(#[$note:meta])* $name:ident) => {
        $(#[$note])*
        ///
        /// 1 to 40 ASCII letters, digits, `.`, `-` or `_`, beginning with a letter or digit.
        #[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema)]
        #[serde(try_from = "String", into = "String")]
        #[schema(value_type = String, pattern = "^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$")]
        pub struct $name(Arc<str>);

        impl $name {
            /// Reads a code.
            ///
            /// # Errors
            ///
            /// [`BadCode`] for an empty or over-long name, or one with other characters.
            pub fn new(given: &str) -> Result<Self, BadCode> {
                checked(given).map(Self)
            }

            /// The code as text.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl TryFrom<String> for $name {
            type Error = BadCode;
            fn try_from(given: String) -> Result<Self, BadCode> {
                Self::new(&given)
            }
        }

        impl From<$name> for String {
            fn from(code: $name) -> Self {
                code.0.as_ref().to_owned()
            }
        }

        impl std::str::FromStr for $name {
            type Err = BadCode;
            fn from_str(given: &str) -> Result<Self, BadCode> {
                Self::new(given)
            }
        }

        impl Borrow<str> for $name {
            fn borrow(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }
    };
}

code!(
    /// Names one programme on a server.
    ProgrammeId
);
code!(
    /// The name a person signs in with; kept for ever, also when they leave.
    PersonHandle
);
code!(
    /// Names one test point.
    PointCode
);
code!(
    /// Names one part or piece of software of the configuration.
    ItemCode
);
code!(
    /// Names one recorded channel or derived parameter.
    ChannelCode
);
code!(
    /// Names one recorder, with the mapping of its files' columns.
    RecorderCode
);
code!(
    /// Names one limit.
    LimitCode
);
code!(
    /// Names one recurring check.
    CheckCode
);
code!(
    /// Names one hazard.
    HazardCode
);
code!(
    /// Names one document.
    DocumentCode
);
code!(
    /// Names one qualification that a person can hold.
    QualificationCode
);
code!(
    /// Names a kind of happening that ends a check's validity, such as `hard-landing`.
    EventCode
);

macro_rules! number {
    ($(#[$note:meta])* $name:ident) => {
        $(#[$note])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema)]
        #[serde(transparent)]
        pub struct $name(pub u32);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }
    };
}

number!(
    /// Counts a programme's runs, from 1.
    RunNumber
);
number!(
    /// Counts a programme's snags, from 1.
    SnagNumber
);
number!(
    /// Counts a programme's exceedances, from 1.
    ExceedanceNumber
);
number!(
    /// Counts the proposals to change a limit, from 1.
    ProposalNumber
);
number!(
    /// Counts a programme's deviations from the build-up, from 1.
    DeviationNumber
);
number!(
    /// Counts a programme's forecasts, from 1.
    ForecastNumber
);
number!(
    /// Counts a programme's plans of days, from 1.
    DayPlanNumber
);
number!(
    /// Counts a programme's intervals of recordings, from 1.
    IntervalNumber
);
number!(
    /// Counts a programme's reductions, from 1.
    ReductionNumber
);

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_code_keeps_to_letters_digits_points_hyphens_and_underscores() {
        assert_eq!(PointCode::new("GR-02.a_1").unwrap().as_str(), "GR-02.a_1");
        for bad in ["", "-a", "a b", "ä", "a/b", &"x".repeat(41)] {
            assert!(PointCode::new(bad).is_err(), "{bad}");
        }
    }
}
