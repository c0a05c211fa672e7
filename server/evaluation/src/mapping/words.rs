//! The words in names of columns and channels.

/// Words that mean the same in names of columns and channels. Common practice, no source.
const ALIKE: &[(&str, &str)] = &[
    ("temp", "temperature"),
    ("tmp", "temperature"),
    ("temperatur", "temperature"),
    ("t", "temperature"),
    ("u", "voltage"),
    ("v", "voltage"),
    ("volt", "voltage"),
    ("volts", "voltage"),
    ("spannung", "voltage"),
    ("i", "current"),
    ("a", "current"),
    ("amps", "current"),
    ("strom", "current"),
    ("p", "power"),
    ("kw", "power"),
    ("leistung", "power"),
    ("n", "speed"),
    ("rpm", "speed"),
    ("drehzahl", "speed"),
    ("soc", "charge"),
    ("batt", "battery"),
    ("bat", "battery"),
    ("pack", "battery"),
    ("mot", "motor"),
    ("inv", "inverter"),
    ("temps", "time"),
    ("alt", "altitude"),
    ("palt", "altitude"),
    ("iso", "insulation"),
    ("isolation", "insulation"),
    ("vib", "vibration"),
    ("maximum", "max"),
    ("highest", "max"),
    ("warmest", "max"),
    ("minimum", "min"),
    ("lowest", "min"),
];

/// Words that say nothing.
const EMPTY: [&str; 8] = ["of", "the", "in", "at", "and", "on", "for", "to"];

/// The words of a name in small letters: parted at signs, before capitals, and between letters and digits.
pub fn of(name: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut before: Option<char> = None;
    for sign in name.chars() {
        let new = match before {
            Some(before) => {
                (before.is_lowercase() && sign.is_uppercase())
                    || before.is_ascii_digit() != sign.is_ascii_digit()
            }
            None => false,
        };
        if new || !sign.is_alphanumeric() {
            words.push(String::new());
        }
        if sign.is_alphanumeric()
            && let Some(word) = words.last_mut()
        {
            word.extend(sign.to_lowercase());
        }
        before = Some(sign);
    }
    words.retain(|word| !word.is_empty() && !EMPTY.contains(&word.as_str()));
    words
}

/// The word that stands for all that mean the same.
pub fn meaning(word: &str) -> &str {
    ALIKE.iter().find(|(alike, _)| *alike == word).map_or(word, |(_, means)| means)
}

/// Whether a word is a number.
pub fn is_number(word: &str) -> bool {
    word.bytes().all(|byte| byte.is_ascii_digit())
}
