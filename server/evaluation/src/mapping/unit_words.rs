//! Units as files write them.

use programme::measure::Unit;

/// A unit that a text means, and what one in the file stands for in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Meant {
    /// The unit.
    pub unit: Unit,
    /// What one in the file stands for, in `unit`.
    pub scale: f64,
}

/// Spellings besides the programme's own, in letters as they stand in the file. Common practice, no source; prefixes of the
/// SI and 1 bar = 1000 hPa are definitions, from memory.
const SPELLED: &[(&str, Unit, f64)] = &[
    ("C", Unit::Celsius, 1.0),
    ("ºC", Unit::Celsius, 1.0),
    ("F", Unit::Fahrenheit, 1.0),
    ("ºF", Unit::Fahrenheit, 1.0),
    ("mA", Unit::Ampere, 0.001),
    ("kV", Unit::Volt, 1000.0),
    ("mAh", Unit::AmpereHour, 0.001),
    ("kPa", Unit::Hectopascal, 10.0),
    ("Pa", Unit::Hectopascal, 0.01),
    ("bar", Unit::Hectopascal, 1000.0),
    ("mbar", Unit::Hectopascal, 1.0),
    ("kHz", Unit::Hertz, 1000.0),
    ("ms", Unit::Second, 0.001),
    ("cm", Unit::Metre, 0.01),
    ("1/min", Unit::Rpm, 1.0),
    ("min-1", Unit::Rpm, 1.0),
    ("N·m", Unit::NewtonMetre, 1.0),
    ("N m", Unit::NewtonMetre, 1.0),
    ("N*m", Unit::NewtonMetre, 1.0),
    ("L/min", Unit::LitrePerMinute, 1.0),
    ("kOhm", Unit::Kiloohm, 1.0),
    ("MOhm", Unit::Megaohm, 1.0),
    ("Ohm/V", Unit::OhmPerVolt, 1.0),
];

/// Words that are read in small and capital letters alike, since no two units differ by them.
const WORDS: &[(&str, Unit)] = &[
    ("celsius", Unit::Celsius),
    ("deg c", Unit::Celsius),
    ("degc", Unit::Celsius),
    ("fahrenheit", Unit::Fahrenheit),
    ("deg f", Unit::Fahrenheit),
    ("degf", Unit::Fahrenheit),
    ("kelvin", Unit::Kelvin),
    ("volt", Unit::Volt),
    ("volts", Unit::Volt),
    ("amp", Unit::Ampere),
    ("amps", Unit::Ampere),
    ("ampere", Unit::Ampere),
    ("kw", Unit::Kilowatt),
    ("kwh", Unit::KilowattHour),
    ("percent", Unit::Percent),
    ("pct", Unit::Percent),
    ("rpm", Unit::Rpm),
    ("kn", Unit::Knot),
    ("kts", Unit::Knot),
    ("knots", Unit::Knot),
    ("kmh", Unit::KilometrePerHour),
    ("kph", Unit::KilometrePerHour),
    ("feet", Unit::Foot),
    ("fpm", Unit::FootPerMinute),
    ("nm", Unit::NewtonMetre),
    ("hpa", Unit::Hectopascal),
    ("sec", Unit::Second),
    ("seconds", Unit::Second),
    ("ohm", Unit::Ohm),
    ("hz", Unit::Hertz),
    ("lpm", Unit::LitrePerMinute),
    ("deg", Unit::Degree),
];

/// What a text of a row of units, or in brackets of a header, means; absent where it is not known.
pub fn meant(text: &str) -> Option<Meant> {
    let text = text.trim();
    let text = in_brackets(text).unwrap_or(text).trim();
    if text.is_empty() || text == "1" {
        return None;
    }
    let own = Unit::ALL.iter().find(|unit| unit.as_str() == text || unit.to_string() == text);
    if let Some(unit) = own {
        return Some(Meant { unit: *unit, scale: 1.0 });
    }
    if let Some((_, unit, scale)) = SPELLED.iter().find(|(spelled, ..)| *spelled == text) {
        return Some(Meant { unit: *unit, scale: *scale });
    }
    let small = text.to_lowercase();
    let (_, unit) = WORDS.iter().find(|(word, _)| *word == small)?;
    Some(Meant { unit: *unit, scale: 1.0 })
}

/// What stands in a pair of brackets at the end of a text.
fn in_brackets(text: &str) -> Option<&str> {
    for (open, close) in [('[', ']'), ('(', ')')] {
        if let Some(inside) = text.strip_suffix(close)
            && let Some(at) = inside.rfind(open)
        {
            return Some(&inside[at + open.len_utf8()..]);
        }
    }
    None
}

/// A header parted into its name and the unit that it has in brackets at its end, such as `Motor temp [°C]`.
pub fn of_header(header: &str) -> (&str, Option<Meant>) {
    match in_brackets(header).and_then(meant) {
        Some(unit) => {
            let at = header.rfind(['[', '(']).unwrap_or(header.len());
            (header[..at].trim_end(), Some(unit))
        }
        None => (header, None),
    }
}

/// The unit that the end of a header may name, such as `coolant_l_min` or `t_winding_1_c`, with how many words it takes.
pub fn of_ending(words: &[String]) -> Option<(Meant, usize)> {
    if let [.., before, last] = words {
        let both = format!("{before}/{last}");
        let known = Unit::ALL.iter().find(|unit| unit.as_str() == both);
        if let Some(unit) = known {
            return (words.len() > 2).then_some((Meant { unit: *unit, scale: 1.0 }, 2));
        }
    }
    let last = words.last().filter(|_| words.len() > 1)?;
    let spelled = match last.as_str() {
        "v" => "V",
        "a" => "A",
        "mv" => "mV",
        "w" => "W",
        "c" => "degC",
        "f" => "degF",
        "k" => "K",
        "ah" => "Ah",
        "wh" => "Wh",
        other => other,
    };
    // These are as often something else: the least value, a height.
    let known = meant(spelled).filter(|_| !matches!(last.as_str(), "h" | "min"));
    Some((known?, 1))
}
