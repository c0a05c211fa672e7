//! Lists of texts in one cell.

/// The parts of a cell that semicolons separate, each without the space around it. Empty parts are left out.
///
/// A backslash takes what follows it as it is.
pub(super) fn parts(cell: &str) -> Vec<String> {
    let mut parts = Vec::new();
    // Each character with whether a backslash stood before it.
    let mut part: Vec<(char, bool)> = Vec::new();
    let mut characters = cell.chars();
    while let Some(character) = characters.next() {
        match character {
            ';' => parts.extend(trimmed(std::mem::take(&mut part))),
            '\\' => part.push((characters.next().unwrap_or('\\'), true)),
            other => part.push((other, false)),
        }
    }
    parts.extend(trimmed(part));
    parts
}

fn trimmed(part: Vec<(char, bool)>) -> Option<String> {
    let is_text = |(character, escaped): &(char, bool)| *escaped || !character.is_whitespace();
    let first = part.iter().position(is_text)?;
    let last = part.iter().rposition(is_text)?;
    Some(part[first..=last].iter().map(|(character, _)| *character).collect())
}

/// Writes texts so that [`parts`] reads them back.
pub(super) fn joined<T: AsRef<str>>(texts: impl IntoIterator<Item = T>) -> String {
    texts.into_iter().map(|text| escaped(text.as_ref())).collect::<Vec<_>>().join("; ")
}

fn escaped(text: &str) -> String {
    let last = text.chars().count().saturating_sub(1);
    let mut written = String::with_capacity(text.len());
    for (place, character) in text.chars().enumerate() {
        let at_the_edge = (place == 0 || place == last) && character.is_whitespace();
        if matches!(character, ';' | '\\') || at_the_edge {
            written.push('\\');
        }
        written.push(character);
    }
    written
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_separated_by_semicolons_and_may_hold_some_themselves() {
        assert_eq!(parts("Smoke; any warning ; "), ["Smoke", "any warning"]);
        assert_eq!(parts(r"one\; still one; two\\"), ["one; still one", r"two\"]);
        assert!(parts("  ").is_empty());
    }

    proptest::proptest! {
        #[test]
        fn any_list_of_texts_reads_back(texts in proptest::collection::vec("\\PC{1,12}", 0..5)) {
            proptest::prop_assert_eq!(parts(&joined(&texts)), texts);
        }
    }
}
