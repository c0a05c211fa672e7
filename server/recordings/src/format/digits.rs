//! Figures, dates and times of day as recorders write them, read strictly.

use chrono::{Days, NaiveDate, NaiveTime};

use crate::Micros;

/// Microseconds in a second.
const MICROS_PER_S: i64 = 1_000_000;
/// After this time of day a much earlier one is taken to be of the next day.
const LATE_MICROS: i64 = 18 * 3_600 * MICROS_PER_S;
/// Before this time of day a moment can be of the day after a late one.
const EARLY_MICROS: i64 = 6 * 3_600 * MICROS_PER_S;

/// A figure: digits with at most one point, and a sign in front or none. Nothing else: no exponent, no word.
pub(super) fn figure(text: &[u8]) -> Option<f64> {
    let digits = text.strip_prefix(b"-").or(text.strip_prefix(b"+")).unwrap_or(text);
    let points = digits.iter().filter(|byte| **byte == b'.').count();
    let plain = digits.iter().all(|byte| byte.is_ascii_digit() || *byte == b'.');
    if !plain || points > 1 || digits.len() == points {
        return None;
    }
    fast_float2::parse(text).ok()
}

/// A whole number of digits alone; absent also where it is beyond 18 digits.
pub(super) fn whole(digits: &[u8]) -> Option<i64> {
    if digits.is_empty() || digits.len() > 18 || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    Some(digits.iter().fold(0, |number, digit| number * 10 + i64::from(digit - b'0')))
}

/// Digits behind a decimal point as millionths; those behind the sixth are cut off, since moments are kept in
/// microseconds.
pub(super) fn millionths(digits: &[u8]) -> Option<i64> {
    if digits.len() > 18 || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let kept = digits.iter().copied().chain(std::iter::repeat(b'0')).take(6);
    Some(kept.fold(0, |number, digit| number * 10 + i64::from(digit - b'0')))
}

/// Time of day `hhmmss`, in microseconds.
pub(super) fn time_of_day(text: &[u8]) -> Option<i64> {
    let part = |from: usize| whole(text.get(from..from + 2)?);
    let (hours, minutes, seconds) = (part(0)?, part(2)?, part(4)?);
    if text.len() != 6 || hours > 23 || minutes > 59 || seconds > 59 {
        return None;
    }
    Some(((hours * 60 + minutes) * 60 + seconds) * MICROS_PER_S)
}

/// Date `ddmmyy`: years 80 to 99 are of the twentieth century, which has the first files of these formats.
pub(super) fn date(text: &[u8]) -> Option<NaiveDate> {
    let part = |from: usize| whole(text.get(from..from + 2)?);
    let (day, month, year) = (part(0)?, part(2)?, part(4)?);
    if text.len() != 6 {
        return None;
    }
    let year = if year < 80 { 2000 + year } else { 1900 + year };
    NaiveDate::from_ymd_opt(
        i32::try_from(year).ok()?,
        u32::try_from(month).ok()?,
        u32::try_from(day).ok()?,
    )
}

/// The date of a time of day that follows another: the next day after midnight.
///
/// Midnight has passed only between the last quarter of a day and the first of the next, so that one damaged time in
/// the middle of a day does not shift all that follows by a day: such a time is backward, and is refused as that.
pub(super) fn date_after(date: NaiveDate, before: i64, now: i64) -> Option<NaiveDate> {
    if before >= LATE_MICROS && now < EARLY_MICROS {
        return date.checked_add_days(Days::new(1));
    }
    Some(date)
}

/// The moment of a time of day in microseconds, on a date of UTC.
pub(super) fn moment(date: NaiveDate, time_of_day: i64) -> Option<Micros> {
    let midnight = date.and_time(NaiveTime::MIN).and_utc().timestamp_micros();
    midnight.checked_add(time_of_day).map(Micros)
}

/// Degrees from degrees and minutes, `digits` being all digits of both: `degrees_width` of degrees, two of whole
/// minutes, the rest decimals of minutes. Absent at 60 minutes or above, and beyond `most` degrees.
pub(super) fn degrees(digits: &[u8], degrees_width: usize, most: i64) -> Option<f64> {
    let whole_degrees = whole(digits.get(..degrees_width)?)?;
    let minutes = digits.get(degrees_width..)?;
    let decimals = u32::try_from(minutes.len().checked_sub(2)?).ok()?;
    let per_minute = 10_i64.checked_pow(decimals)?;
    let minutes = whole(minutes)?;
    if minutes >= 60 * per_minute || whole_degrees > most || (whole_degrees == most && minutes > 0)
    {
        return None;
    }
    // One rounding of the minutes and one of the sum: below 1e-13 degrees.
    Some(whole_degrees as f64 + minutes as f64 / (60 * per_minute) as f64)
}

/// Degrees with the letter of their hemisphere, south and west negative.
pub(super) fn hemisphere(degrees: f64, letter: &[u8], positive: u8, negative: u8) -> Option<f64> {
    match letter {
        [found] if *found == positive => Some(degrees),
        [found] if *found == negative => Some(-degrees),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_digits_with_one_point_and_a_sign_and_nothing_else() {
        for (text, value) in [("0", 0.0), ("-012.50", -12.5), ("+3", 3.0), (".5", 0.5), ("7.", 7.0)]
        {
            assert_eq!(figure(text.as_bytes()), Some(value), "{text}");
        }
        for text in
            ["", "-", ".", "+.", "1e3", "nan", "inf", " 1", "1 ", "1.2.3", "--1", "0x1", "1,5"]
        {
            assert_eq!(figure(text.as_bytes()), None, "{text}");
        }
    }

    #[test]
    fn a_time_of_day_ends_one_second_before_midnight() {
        assert_eq!(time_of_day(b"235959"), Some(86_399 * MICROS_PER_S));
        for text in ["240000", "236000", "235960", "12345", "1234567", "12 456"] {
            assert_eq!(time_of_day(text.as_bytes()), None, "{text}");
        }
    }

    #[test]
    fn a_date_is_one_of_the_calendar() {
        assert_eq!(date(b"290224"), NaiveDate::from_ymd_opt(2024, 2, 29));
        assert_eq!(date(b"010180"), NaiveDate::from_ymd_opt(1980, 1, 1));
        assert_eq!(date(b"311279"), NaiveDate::from_ymd_opt(2079, 12, 31));
        for text in ["290223", "000124", "320124", "011324", "01012024", ""] {
            assert_eq!(date(text.as_bytes()), None, "{text}");
        }
    }

    #[test]
    fn midnight_passes_only_from_the_last_quarter_of_a_day_to_the_first() {
        let day = date(b"150724").expect("a date");
        let next = date(b"160724").expect("a date");
        assert_eq!(date_after(day, LATE_MICROS, EARLY_MICROS - 1), Some(next));
        assert_eq!(date_after(day, LATE_MICROS - 1, EARLY_MICROS - 1), Some(day));
        assert_eq!(date_after(day, LATE_MICROS, EARLY_MICROS), Some(day));
    }

    #[test]
    fn degrees_end_at_the_pole_and_minutes_below_sixty() {
        assert_eq!(degrees(b"4730000", 2, 90), Some(47.5));
        assert_eq!(degrees(b"9000000", 2, 90), Some(90.0));
        assert_eq!(degrees(b"9000001", 2, 90), None);
        assert_eq!(degrees(b"4760000", 2, 90), None);
        assert_eq!(degrees(b"4759999", 2, 90), Some(47.0 + 59.999 / 60.0));
        assert_eq!(degrees(b"47", 2, 90), None);
        assert_eq!(degrees(b"47 0000", 2, 90), None);
    }

    #[test]
    fn decimals_behind_the_microsecond_are_cut_off() {
        assert_eq!(millionths(b"5"), Some(500_000));
        assert_eq!(millionths(b"123456789"), Some(123_456));
        assert_eq!(millionths(b""), Some(0));
        assert_eq!(millionths(b"1x"), None);
    }
}
