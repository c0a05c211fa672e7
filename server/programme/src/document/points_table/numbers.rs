//! Numbers and units as cells have them.

use crate::measure::{Measure, Unit};

/// Reads numbers; a comma is a decimal mark only in files that separate their cells otherwise.
#[derive(Debug, Clone, Copy)]
pub(super) struct Numbers {
    /// Whether `1,5` is one and a half.
    pub(super) decimal_comma: bool,
}

impl Numbers {
    /// A plain number.
    pub(super) fn number(self, text: &str) -> Result<f64, String> {
        let text = text.trim();
        let (number, rest) = self.leading(text)?;
        if rest.is_empty() { Ok(number) } else { Err(format!("\"{text}\" is no number")) }
    }

    /// A number and its unit: `55 kt`.
    pub(super) fn measure(self, text: &str) -> Result<Measure, String> {
        let (value, rest) = self.leading(text.trim())?;
        Ok(Measure::new(value, unit(rest)?))
    }

    /// A number at the beginning of a text, and what follows it without the space between.
    pub(super) fn leading(self, text: &str) -> Result<(f64, &str), String> {
        let bytes = text.as_bytes();
        let mut end = 0;
        while let Some(byte) = bytes.get(end) {
            let starts_exponent = || {
                let sign = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
                end > 0 && bytes.get(end + 1 + sign).is_some_and(u8::is_ascii_digit)
            };
            let after_exponent = || matches!(bytes[end - 1], b'e' | b'E');
            let belongs = match byte {
                b'0'..=b'9' => true,
                // Two points are the "to" of a range.
                b'.' => bytes.get(end + 1) != Some(&b'.') && (end == 0 || bytes[end - 1] != b'.'),
                b',' => self.decimal_comma,
                b'+' | b'-' => end == 0 || after_exponent(),
                b'e' | b'E' => starts_exponent(),
                _ => false,
            };
            if !belongs {
                break;
            }
            end += 1;
        }
        let (number, rest) = text.split_at(end);
        let rest = rest.trim_start();
        if !self.decimal_comma && rest.starts_with(',') {
            return Err(format!(
                "\"{text}\" has a decimal comma: use a point, or separate the file's cells by semicolons"
            ));
        }
        let point =
            if self.decimal_comma { number.replacen(',', ".", 1) } else { number.to_owned() };
        match point.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok((value, rest)),
            _ => Err(format!("\"{text}\" does not begin with a number")),
        }
    }
}

/// A unit as written in documents, or as shown.
pub(super) fn unit(text: &str) -> Result<Unit, String> {
    let text = text.trim();
    let known = |unit: &&Unit| unit.as_str() == text || unit.to_string() == text;
    Unit::ALL.iter().find(known).copied().ok_or_else(|| {
        let units: Vec<_> = Unit::ALL.iter().map(|unit| unit.as_str()).collect();
        format!("\"{text}\" is no unit: use one of {}", units.join(", "))
    })
}

/// A number followed by its unit, so that [`Numbers::measure`] reads it back.
pub(super) fn with_unit(number: impl std::fmt::Display, unit: Unit) -> String {
    match unit {
        Unit::One => number.to_string(),
        unit => format!("{number} {}", unit.as_str()),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const POINT: Numbers = Numbers { decimal_comma: false };
    const COMMA: Numbers = Numbers { decimal_comma: true };

    #[test]
    fn a_decimal_comma_is_read_only_where_cells_are_separated_otherwise() {
        assert_eq!(COMMA.measure("5,5 kt").unwrap(), Measure::new(5.5, Unit::Knot));
        assert_eq!(COMMA.number("5.5").unwrap(), 5.5);
        assert!(POINT.number("5,5").unwrap_err().contains("decimal comma"));
        assert!(COMMA.number("1.234,5").is_err(), "thousands are not marked");
    }

    #[test]
    fn numbers_keep_their_sign_and_exponent_and_stop_at_their_unit() {
        assert_eq!(POINT.measure("-1.5e-3 mm").unwrap(), Measure::new(-0.0015, Unit::Millimetre));
        assert_eq!(POINT.measure("80%").unwrap(), Measure::new(80.0, Unit::Percent));
        assert_eq!(POINT.measure("20 °C").unwrap(), Measure::new(20.0, Unit::Celsius));
        assert_eq!(POINT.leading("50..60 kt").unwrap(), (50.0, "..60 kt"));
        for bad in ["", "kt", "1e999 kt", "5 furlong", "nan kt", "--5 kt"] {
            assert!(POINT.measure(bad).is_err(), "{bad}");
        }
    }
}
