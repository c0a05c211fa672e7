//! The short forms in which a story tells moments, figures, readings, crew and times of day.

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, Days, NaiveDate, NaiveTime, Utc};
use serde::Deserialize;
use serde::de::IntoDeserializer;
use serde::de::value::{Error as NoChoice, StrDeserializer};

use crate::commands::TypedValue;
use crate::measure::{Measure, Unit};
use crate::nouns::{Role, Statistic};
use crate::record::{CrewMember, RunEvent};

/// A short form that cannot be read, with what it must be like.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{given}\" is no {what}: write it like \"{like}\"")]
pub(super) struct Unreadable {
    given: String,
    what: &'static str,
    like: &'static str,
}

macro_rules! short_forms {
    ($($(#[$note:meta])* $name:ident($inner:ty) $what:literal $like:literal $read:expr;)+) => {
        $(
            $(#[$note])*
            #[derive(Debug, Clone, Deserialize)]
            #[serde(try_from = "String")]
            pub(super) struct $name(pub(super) $inner);

            impl TryFrom<String> for $name {
                type Error = Unreadable;
                fn try_from(given: String) -> Result<Self, Unreadable> {
                    let read: fn(&str) -> Option<$inner> = $read;
                    match read(given.trim()) {
                        Some(inner) => Ok(Self(inner)),
                        None => Err(Unreadable { given, what: $what, like: $like }),
                    }
                }
            }
        )+
    };
}

short_forms! {
    /// A time of the day, UTC.
    TimeOfDay(NaiveTime) "time of the day" "07:30" time_of_day;
    /// A moment told from the day of now.
    When(DayAndTime) "moment" "day -20 07:30" day_and_time;
    /// A figure with its unit.
    Figure(Measure) "figure with its unit" "8.5 kt" figure;
    /// One figure of a result.
    Reading(TypedValue) "reading" "vib_front max 6.2 mm/s" reading;
    /// One person of a run.
    Seat(CrewMember) "person of a run" "jonas pilot on-board" seat;
    /// One moment of a run.
    Noted((RunEvent, NaiveTime)) "moment of a run" "power-on 07:30" noted;
}

/// A day counted from that of now, and a time on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct DayAndTime {
    day: i32,
    time: NaiveTime,
}

impl When {
    /// The moment itself.
    pub(super) fn from(&self, now: DateTime<Utc>) -> DateTime<Utc> {
        at(day_from(now, self.0.day), self.0.time)
    }
}

/// The day that lies so many days after that of now; before it where they are negative.
pub(super) fn day_from(now: DateTime<Utc>, days: i32) -> NaiveDate {
    let today = now.date_naive();
    let count = Days::new(u64::from(days.unsigned_abs()));
    let day = if days < 0 { today.checked_sub_days(count) } else { today.checked_add_days(count) };
    day.unwrap_or(today)
}

/// A time on a day, UTC.
pub(super) fn at(day: NaiveDate, time: NaiveTime) -> DateTime<Utc> {
    day.and_time(time).and_utc()
}

fn time_of_day(text: &str) -> Option<NaiveTime> {
    NaiveTime::parse_from_str(text, "%H:%M").ok().filter(|_| text.len() == 5)
}

fn day_and_time(text: &str) -> Option<DayAndTime> {
    let (day, time) = text.strip_prefix("day ")?.split_once(' ')?;
    let day: i32 = day.parse().ok()?;
    // Further away the calendar ends.
    (-100_000..=100_000).contains(&day).then_some(())?;
    Some(DayAndTime { day, time: time_of_day(time)? })
}

fn figure(text: &str) -> Option<Measure> {
    let (value, unit) = text.split_once(' ')?;
    Some(Measure::new(number(value)?, choice(unit)?))
}

fn reading(text: &str) -> Option<TypedValue> {
    let mut parts = text.split(' ');
    let (parameter, statistic, value, unit) =
        (parts.next()?, parts.next()?, parts.next()?, parts.next()?);
    let value = if value == "missing" { None } else { Some(number(value)?) };
    parts.next().is_none().then_some(())?;
    Some(TypedValue {
        parameter: FromStr::from_str(parameter).ok()?,
        statistic: choice::<Statistic>(statistic)?,
        value,
        unit: choice::<Unit>(unit)?,
    })
}

fn seat(text: &str) -> Option<CrewMember> {
    let mut parts = text.split(' ');
    let (person, role) = (parts.next()?, parts.next()?);
    let on_board = match parts.next() {
        None => false,
        Some("on-board") => true,
        Some(_) => return None,
    };
    parts.next().is_none().then_some(())?;
    Some(CrewMember {
        person: FromStr::from_str(person).ok()?,
        role: choice::<Role>(role)?,
        on_board,
    })
}

fn noted(text: &str) -> Option<(RunEvent, NaiveTime)> {
    let (event, time) = text.split_once(' ')?;
    Some((choice(event)?, time_of_day(time)?))
}

/// A finite figure; words such as `inf` and `nan` are none.
fn number(text: &str) -> Option<f64> {
    text.parse::<f64>().ok().filter(|figure| figure.is_finite())
}

/// One of the words of an enumeration.
fn choice<'t, T: Deserialize<'t>>(word: &'t str) -> Option<T> {
    let word: StrDeserializer<'t, NoChoice> = word.into_deserializer();
    T::deserialize(word).ok()
}

impl fmt::Display for When {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "day {} {}", self.0.day, self.0.time.format("%H:%M"))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeZone;

    use super::*;

    #[test]
    fn a_moment_is_told_from_the_day_of_now_whatever_the_time_is_now() {
        let when = When::try_from("day -20 07:30".to_owned()).unwrap();
        for hour in [0, 7, 23] {
            let now = Utc.with_ymd_and_hms(2031, 3, 10, hour, 59, 59).unwrap();
            assert_eq!(when.from(now), Utc.with_ymd_and_hms(2031, 2, 18, 7, 30, 0).unwrap());
        }
        assert_eq!(when.to_string(), "day -20 07:30");
    }

    #[test]
    fn a_reading_names_parameter_statistic_figure_and_unit_and_may_say_that_it_is_missing() {
        let read = |text: &str| Reading::try_from(text.to_owned()).map(|reading| reading.0);
        let given = read("vib_front max 6.2 mm/s").unwrap();
        assert_eq!((given.value, given.unit), (Some(6.2), Unit::MillimetrePerSecond));
        assert_eq!(read("oat mean missing degC").unwrap().value, None);
        for bad in ["vib_front max 6.2", "vib_front most 6.2 mm/s", "vib_front max nan mm/s", ""] {
            assert!(read(bad).unwrap_err().to_string().contains("write it like"), "{bad}");
        }
    }

    #[test]
    fn a_person_of_a_run_is_on_the_ground_unless_told_to_be_on_board() {
        let read = |text: &str| Seat::try_from(text.to_owned()).map(|seat| seat.0.on_board);
        assert_eq!(read("jonas pilot on-board"), Ok(true));
        assert_eq!(read("pelle crew"), Ok(false));
        assert!(read("pelle crew aboard").is_err());
    }
}
