//! Moments as cells write them.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::figure::scaled;
use crate::Micros;

/// Where the moments of rows stand and how they are written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TimePlan {
    /// The header of the column.
    pub column: String,
    /// How its cells are written.
    pub form: TimeForm,
}

/// How a moment is written. Decimals beyond microseconds are rounded.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "form", rename_all = "kebab-case", deny_unknown_fields)]
pub enum TimeForm {
    /// Date and time of day by ISO 8601, such as `2026-05-17T08:30:00.250Z` or `2026-05-17 10:30:00,250+02:00`.
    Iso8601 {
        /// Whether moments without an offset are UTC. Without this they are refused: whose clock it was would be a guess.
        #[serde(default)]
        utc_without_offset: bool,
    },
    /// Seconds since 1970-01-01T00:00:00Z, with decimals where the file has them.
    UnixSeconds,
    /// Milliseconds since 1970-01-01T00:00:00Z, with decimals where the file has them.
    UnixMillis,
    /// Seconds since the recording began, or since any other moment that is known.
    SecondsSinceStart {
        /// The moment of second 0.
        start: Micros,
    },
    /// Milliseconds since the recording began, or since any other moment that is known.
    MillisSinceStart {
        /// The moment of millisecond 0.
        start: Micros,
    },
    /// Day, month and year parted by points, and the time of day, in UTC: `17.05.2026 08:30:00,250`. Days and months have
    /// two digits, years four, so that none can be taken for another.
    DottedDateUtc,
    /// Time of day in UTC, `hh:mm:ss` with or without decimals. It may pass midnight once, which is told; a second time
    /// is time that runs backward.
    ClockUtc {
        /// The day of the first row.
        date: NaiveDate,
    },
}

/// Microseconds of a day.
pub(super) const DAY: i64 = 86_400_000_000;

/// 0001-01-01T00:00:00Z. A moment before it is no moment of a recording, and RFC 3339 cannot write it.
const EARLIEST: i64 = -62_135_596_800_000_000;

/// 9999-12-31T23:59:59.999999Z.
const LATEST: i64 = 253_402_300_799_999_999;

impl TimeForm {
    /// The moment that a cell holds, for whoever asks how moments are written; absent where it is none.
    pub fn of_cell(&self, cell: &str, decimal: char) -> Option<Micros> {
        self.moment(cell.trim().as_bytes(), if decimal == ',' { b',' } else { b'.' })
    }

    /// The moment that a cell without quotes and spaces holds; absent where it is none.
    pub(super) fn moment(&self, cell: &[u8], decimal: u8) -> Option<Micros> {
        let micros = match self {
            Self::Iso8601 { utc_without_offset } => iso_8601(cell, *utc_without_offset)?,
            Self::UnixSeconds => scaled(cell, decimal, 6)?,
            Self::UnixMillis => scaled(cell, decimal, 3)?,
            Self::SecondsSinceStart { start } => scaled(cell, decimal, 6)?.checked_add(start.0)?,
            Self::MillisSinceStart { start } => scaled(cell, decimal, 3)?.checked_add(start.0)?,
            Self::DottedDateUtc => dotted(cell)?,
            Self::ClockUtc { date } => {
                let (of_day, rest) = time_of_day(cell)?;
                rest.is_empty().then_some(())?;
                midnight(*date).checked_add(of_day)?
            }
        };
        (EARLIEST..=LATEST).contains(&micros).then_some(Micros(micros))
    }
}

/// The first microsecond of a day.
fn midnight(date: NaiveDate) -> i64 {
    date.and_time(chrono::NaiveTime::MIN).and_utc().timestamp_micros()
}

fn dotted(cell: &[u8]) -> Option<i64> {
    let [d1, d2, b'.', m1, m2, b'.', y1, y2, y3, y4, b' ' | b'T', clock @ ..] = cell else {
        return None;
    };
    let date = day([*y1, *y2, *y3, *y4], [*m1, *m2], [*d1, *d2])?;
    let (of_day, rest) = time_of_day(clock)?;
    rest.is_empty().then(|| midnight(date) + of_day)
}

/// The day of a year, a month and a day in digits.
fn day([y1, y2, y3, y4]: [u8; 4], month: [u8; 2], day: [u8; 2]) -> Option<NaiveDate> {
    let year = two([y1, y2])? * 100 + two([y3, y4])?;
    let (month, day) = (two(month)?.try_into().ok()?, two(day)?.try_into().ok()?);
    NaiveDate::from_ymd_opt(i32::try_from(year).ok()?, month, day)
}

fn iso_8601(cell: &[u8], utc_without_offset: bool) -> Option<i64> {
    let [y1, y2, y3, y4, b'-', m1, m2, b'-', d1, d2, b'T' | b't' | b' ', clock @ ..] = cell else {
        return None;
    };
    let date = day([*y1, *y2, *y3, *y4], [*m1, *m2], [*d1, *d2])?;
    let (of_day, offset) = time_of_day(clock)?;
    let (ahead, hours, minutes) = match offset {
        [] if utc_without_offset => (true, 0, 0),
        [b'Z' | b'z'] => (true, 0, 0),
        [sign @ (b'+' | b'-'), h1, h2] => (*sign == b'+', two([*h1, *h2])?, 0),
        [sign @ (b'+' | b'-'), h1, h2, m1, m2] | [sign @ (b'+' | b'-'), h1, h2, b':', m1, m2] => {
            (*sign == b'+', two([*h1, *h2])?, two([*m1, *m2])?)
        }
        _ => return None,
    };
    (hours < 24 && minutes < 60).then_some(())?;
    let offset = (hours * 60 + minutes) * 60_000_000;
    Some(midnight(date) + of_day + if ahead { -offset } else { offset })
}

/// Microseconds since midnight of `hh:mm:ss` with any decimals, and what stands behind it. A leap second is refused, because
/// the count of microseconds has no place for it.
fn time_of_day(text: &[u8]) -> Option<(i64, &[u8])> {
    let [h1, h2, b':', m1, m2, b':', s1, s2, rest @ ..] = text else {
        return None;
    };
    let (hours, minutes, seconds) = (two([*h1, *h2])?, two([*m1, *m2])?, two([*s1, *s2])?);
    (hours < 24 && minutes < 60 && seconds < 60).then_some(())?;
    let whole = ((hours * 60 + minutes) * 60 + seconds) * 1_000_000;
    let [b'.' | b',', decimals @ ..] = rest else {
        return Some((whole, rest));
    };
    let length = decimals.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let (decimals, behind) = decimals.split_at(length);
    (length > 0).then_some(())?;
    let mut micros = 0;
    for place in 0..6 {
        micros = micros * 10 + decimals.get(place).map_or(0, |digit| i64::from(digit - b'0'));
    }
    let rounds_up = decimals.get(6).is_some_and(|digit| *digit >= b'5');
    Some((whole + micros + i64::from(rounds_up), behind))
}

/// The number of two digits.
fn two([tens, ones]: [u8; 2]) -> Option<i64> {
    let (tens, ones) = (tens.wrapping_sub(b'0'), ones.wrapping_sub(b'0'));
    (tens <= 9 && ones <= 9).then(|| i64::from(tens) * 10 + i64::from(ones))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]

    use super::*;

    fn at(form: &TimeForm, cell: &str) -> Option<i64> {
        form.moment(cell.as_bytes(), b'.').map(|moment| moment.0)
    }

    const MOMENT: i64 = 1_779_006_600_250_000;

    #[test]
    fn iso_8601_is_read_with_any_offset_and_without_one_only_where_the_plan_says_utc() {
        let form = TimeForm::Iso8601 { utc_without_offset: false };
        for text in [
            "2026-05-17T08:30:00.250Z",
            "2026-05-17 08:30:00,25z",
            "2026-05-17T10:30:00.250+02:00",
            "2026-05-17T10:30:00.250+0200",
            "2026-05-17T10:30:00.2500000+02",
            "2026-05-17T07:00:00.250-01:30",
        ] {
            assert_eq!(at(&form, text), Some(MOMENT), "{text}");
        }
        assert_eq!(at(&form, "2026-05-17T08:30:00.250"), None);
        let utc = TimeForm::Iso8601 { utc_without_offset: true };
        assert_eq!(at(&utc, "2026-05-17T08:30:00.250"), Some(MOMENT));
        assert_eq!(at(&utc, "2026-05-17T10:30:00.250+02:00"), Some(MOMENT));
    }

    #[test]
    fn what_is_no_date_or_time_of_day_is_refused() {
        let form = TimeForm::Iso8601 { utc_without_offset: true };
        for text in [
            "",
            "2026-02-29T08:30:00Z",
            "2026-13-01T08:30:00Z",
            "2026-05-17T24:00:00Z",
            "2026-05-17T08:60:00Z",
            "2026-05-17T23:59:60Z",
            "2026-05-17T08:30:00.Z",
            "2026-05-17T08:30:00+24:00",
            "2026-05-17T08:30:00 CEST",
            "17.05.2026 08:30:00",
            "0000-01-01T00:00:00Z",
        ] {
            assert_eq!(at(&form, text), None, "{text}");
        }
    }

    #[test]
    fn seconds_and_milliseconds_keep_every_microsecond() {
        assert_eq!(at(&TimeForm::UnixSeconds, "1779006600.25"), Some(MOMENT));
        assert_eq!(at(&TimeForm::UnixMillis, "1779006600250"), Some(MOMENT));
        assert_eq!(at(&TimeForm::UnixMillis, "1779006600250.0004"), Some(MOMENT));
        let since = TimeForm::SecondsSinceStart { start: Micros(MOMENT - 1_500_000) };
        assert_eq!(at(&since, "1.5"), Some(MOMENT));
        assert_eq!(at(&since, "soon"), None);
        // The year 9999 is the last.
        assert_eq!(at(&TimeForm::UnixSeconds, "253402300799.999999"), Some(LATEST));
        assert_eq!(at(&TimeForm::UnixSeconds, "253402300800"), None);
    }

    #[test]
    fn milliseconds_since_the_start_count_from_it() {
        let since = TimeForm::MillisSinceStart { start: Micros(MOMENT - 1_500_000) };
        assert_eq!(at(&since, "1500"), Some(MOMENT));
        assert_eq!(at(&since, "1500.0005"), Some(MOMENT + 1));
        assert_eq!(at(&since, "1.5 s"), None);
    }

    #[test]
    fn a_date_with_points_has_its_day_first_and_nothing_else_is_taken_for_it() {
        let form = TimeForm::DottedDateUtc;
        for text in ["17.05.2026 08:30:00,250", "17.05.2026 08:30:00.25", "17.05.2026T08:30:00.25"]
        {
            assert_eq!(at(&form, text), Some(MOMENT), "{text}");
        }
        for text in [
            "05.17.2026 08:30:00",
            "29.02.2026 08:30:00",
            "17.05.26 08:30:00",
            "7.5.2026 08:30:00",
            "17/05/2026 08:30:00",
            "17.05.2026",
            "17.05.2026 08:30",
            "17.05.2026 08:30:00Z",
            "2026.05.17 08:30:00",
        ] {
            assert_eq!(at(&form, text), None, "{text}");
        }
    }

    #[test]
    fn a_clock_gives_moments_of_its_day() {
        let date = NaiveDate::from_ymd_opt(2026, 5, 17).unwrap();
        let form = TimeForm::ClockUtc { date };
        assert_eq!(at(&form, "08:30:00.25"), Some(MOMENT));
        assert_eq!(at(&form, "08:30:00.25Z"), None);
        assert_eq!(at(&form, "8:30:00"), None);
    }
}
