//! Numbers as files write them.

/// What a cell holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Figure {
    /// Nothing, or spaces.
    Empty,
    /// A finite number.
    Number(f64),
    /// Text that is no number.
    NotANumber,
    /// NaN, infinity, or a number too great to be held.
    NotFinite,
}

/// Powers of ten that a double holds exactly, as far as [`plain`] needs them.
const POWERS_OF_TEN: [f64; 16] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// The number that the bytes begin with and how many bytes it takes: digits with at most one decimal sign and a sign in
/// front, at most 15 digits. Absent for everything else, which [`figure`] looks at more slowly.
///
/// # Source
///
/// W. D. Clinger, "How to read floating point numbers accurately", 1990, from memory: a whole number below 2^53 divided by a
/// power of ten up to 10^22 is rounded once, and so is the double nearest to what was written.
#[inline]
pub(super) fn plain(bytes: &[u8], decimal: u8) -> Option<(f64, usize)> {
    let negative = bytes.first() == Some(&b'-');
    let start = usize::from(negative);
    let mut whole = 0_u64;
    let mut at = start;
    while let Some(digit) = digit_at(bytes, at) {
        whole = whole.wrapping_mul(10).wrapping_add(digit);
        at += 1;
    }
    let mut digits = at - start;
    let mut fraction = 0;
    if bytes.get(at) == Some(&decimal) {
        at += 1;
        let first = at;
        while let Some(digit) = digit_at(bytes, at) {
            whole = whole.wrapping_mul(10).wrapping_add(digit);
            at += 1;
        }
        fraction = at - first;
        digits += fraction;
    }
    if digits == 0 || digits > 15 {
        return None;
    }
    let number = whole as f64 / POWERS_OF_TEN.get(fraction)?;
    Some((if negative { -number } else { number }, at))
}

#[inline]
fn digit_at(bytes: &[u8], at: usize) -> Option<u64> {
    let digit = bytes.get(at)?.wrapping_sub(b'0');
    (digit <= 9).then_some(u64::from(digit))
}

/// What a whole cell holds, with the decimal sign given. Spaces around it do not count.
pub(super) fn figure(cell: &[u8], decimal: u8) -> Figure {
    let cell = cell.trim_ascii();
    if cell.is_empty() {
        return Figure::Empty;
    }
    if let Some((number, length)) = plain(cell, decimal)
        && length == cell.len()
    {
        return Figure::Number(number);
    }
    // Longer than any figure that means something to a double, and bounded for the copy below.
    let mut with_point = [0_u8; 400];
    let Some(room) = with_point.get_mut(..cell.len()) else {
        return Figure::NotANumber;
    };
    for (byte, to) in cell.iter().zip(room.iter_mut()) {
        *to = match *byte {
            byte if byte == decimal => b'.',
            b'.' => return Figure::NotANumber,
            byte => byte,
        };
    }
    match fast_float2::parse::<f64, _>(&*room) {
        Ok(number) if number.is_finite() => Figure::Number(number),
        Ok(_) => Figure::NotFinite,
        Err(_) => Figure::NotANumber,
    }
}

/// A decimal number times a power of ten as a whole number, rounded to the nearest, halves away from zero. No double is in
/// between, so that the microseconds of today are exact. Absent where it is no number or does not fit.
pub(super) fn scaled(cell: &[u8], decimal: u8, power: u32) -> Option<i64> {
    let cell = cell.trim_ascii();
    let (negative, digits) = match cell {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        rest => (false, rest),
    };
    let (mut whole, mut seen, mut places) = (0_i64, 0, None);
    let mut rounds_up = false;
    for byte in digits {
        if byte.is_ascii_digit() {
            seen += 1;
            let digit = i64::from(byte - b'0');
            match places {
                Some(place) if place >= power => {
                    rounds_up |= place == power && digit >= 5;
                }
                _ => whole = whole.checked_mul(10)?.checked_add(digit)?,
            }
            places = places.map(|place: u32| place.saturating_add(1));
        } else if *byte == decimal && places.is_none() {
            places = Some(0);
        } else {
            return with_exponent(cell, decimal, power);
        }
    }
    if seen == 0 {
        return None;
    }
    for _ in places.unwrap_or(0)..power {
        whole = whole.checked_mul(10)?;
    }
    let rounded = whole.checked_add(i64::from(rounds_up))?;
    Some(if negative { -rounded } else { rounded })
}

/// As [`scaled`], for figures written with a power of ten, such as 1.7e9.
fn with_exponent(cell: &[u8], decimal: u8, power: u32) -> Option<i64> {
    /// 2^53: beyond it a double no longer holds every whole number.
    const EXACT: f64 = 9_007_199_254_740_992.0;
    let Figure::Number(number) = figure(cell, decimal) else {
        return None;
    };
    let scaled = (number * 10_f64.powi(power.try_into().ok()?)).round();
    (scaled.abs() <= EXACT).then_some(scaled as i64)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]

    use proptest::prelude::*;

    use super::*;

    #[test]
    fn numbers_are_the_nearest_double_of_what_is_written() {
        for text in ["0", "-0", "12.5", ".5", "5.", "0.1", "123456789012345", "0.000000000000001"] {
            let expected: f64 = text.parse().unwrap();
            let Figure::Number(read) = figure(text.as_bytes(), b'.') else {
                panic!("{text} was not read");
            };
            assert_eq!(read.to_bits(), expected.to_bits(), "{text}");
        }
    }

    #[test]
    fn a_cell_that_is_no_finite_number_is_told_apart_from_an_empty_one() {
        assert_eq!(figure(b"  ", b'.'), Figure::Empty);
        assert_eq!(figure(b" 7 ", b'.'), Figure::Number(7.0));
        assert_eq!(figure(b"1,5", b'.'), Figure::NotANumber);
        assert_eq!(figure(b"1.5", b','), Figure::NotANumber);
        assert_eq!(figure(b"1,5", b','), Figure::Number(1.5));
        assert_eq!(figure(b"1,5e3", b','), Figure::Number(1500.0));
        assert_eq!(figure(b"1 000", b'.'), Figure::NotANumber);
        assert_eq!(figure(b"-", b'.'), Figure::NotANumber);
        assert_eq!(figure(b"0x10", b'.'), Figure::NotANumber);
        for text in ["NaN", "inf", "-Infinity", "1e999"] {
            assert_eq!(figure(text.as_bytes(), b'.'), Figure::NotFinite, "{text}");
        }
        assert_eq!(figure(&[b'1'; 500], b'.'), Figure::NotANumber);
    }

    #[test]
    fn seconds_become_microseconds_without_a_double_in_between() {
        assert_eq!(scaled(b"1715932800.123456", b'.', 6), Some(1_715_932_800_123_456));
        assert_eq!(scaled(b"0.0000005", b'.', 6), Some(1));
        assert_eq!(scaled(b"0.00000049", b'.', 6), Some(0));
        assert_eq!(scaled(b"-1,5", b',', 6), Some(-1_500_000));
        assert_eq!(scaled(b"1.7e9", b'.', 6), Some(1_700_000_000_000_000));
        assert_eq!(scaled(b"99999999999999999999", b'.', 6), None);
        assert_eq!(scaled(b".", b'.', 6), None);
        assert_eq!(scaled(b"", b'.', 6), None);
    }

    proptest! {
        #[test]
        fn what_is_printed_of_a_double_is_read_as_the_same_double(bits in any::<u64>()) {
            let number = f64::from_bits(bits);
            let read = figure(format!("{number:?}").as_bytes(), b'.');
            if number.is_finite() {
                let Figure::Number(read) = read else { return Err(TestCaseError::fail("not read")) };
                prop_assert_eq!(read.to_bits(), number.to_bits());
            } else {
                prop_assert_eq!(read, Figure::NotFinite);
            }
        }

        #[test]
        fn decimal_figures_are_read_as_the_standard_library_reads_them(whole in any::<i32>(), places in 0_usize..12) {
            let text = format!("{:.places$}", f64::from(whole) / 997.0);
            let expected: f64 = text.parse().unwrap();
            prop_assert_eq!(figure(text.as_bytes(), b'.'), Figure::Number(expected));
        }
    }
}
