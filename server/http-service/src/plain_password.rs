//! Passwords that are long and all the same among the first that anybody tries.

/// Rows in which fingers or heads run along: the alphabet, digits, and the letters of English and German keyboards.
///
/// # Source
///
/// Common practice, no source.
const ROWS: [&str; 7] = [
    "abcdefghijklmnopqrstuvwxyz",
    "01234567890",
    "qwertyuiop",
    "qwertzuiop",
    "asdfghjkl",
    "zxcvbnm",
    "yxcvbnm",
];

/// Words of which most people's passwords are made, and those of this trade.
///
/// # Source
///
/// Common practice, no source: written from memory, and far from the lists of what was published.
const WORDS: [&str; 48] = [
    "abc",
    "admin",
    "administrator",
    "aircraft",
    "airfield",
    "airplane",
    "aviation",
    "baseball",
    "changeme",
    "charlie",
    "computer",
    "default",
    "dragon",
    "electric",
    "flight",
    "football",
    "freedom",
    "glider",
    "hello",
    "iloveyou",
    "jennifer",
    "jordan",
    "letmein",
    "login",
    "master",
    "michael",
    "monkey",
    "passwd",
    "passwort",
    "password",
    "pilot",
    "princess",
    "qwerty",
    "qwertz",
    "rungbook",
    "secret",
    "shadow",
    "starwars",
    "summer",
    "sunshine",
    "superman",
    "test",
    "trustno",
    "user",
    "welcome",
    "whatever",
    "winter",
    "you",
];

/// Whether a password is a part that is repeated, runs along a row, or is made of nothing but usual words, digits and signs.
pub(crate) fn is_plain(password: &str) -> bool {
    let typed: Vec<char> = password.to_lowercase().chars().collect();
    // What stands around the words is digits and signs; what stands in them may be meant as letters.
    let within = match typed.iter().position(|sign| sign.is_alphabetic()) {
        Some(first) => {
            let last = typed.iter().rposition(|sign| sign.is_alphabetic()).unwrap_or(first);
            &typed[first..=last]
        }
        None => &[],
    };
    let as_letters: Vec<char> = within.iter().copied().map(as_letter).collect();
    repeats(&typed) || runs_along(&typed) || is_of_words(&typed) || is_of_words(&as_letters)
}

/// What stands for a letter that it looks like.
const fn as_letter(sign: char) -> char {
    match sign {
        '@' | '4' => 'a',
        '0' => 'o',
        '3' => 'e',
        '$' | '5' => 's',
        '1' | '!' => 'i',
        other => other,
    }
}

/// One part again and again, the last time perhaps cut: `abcabcabcab`.
fn repeats(signs: &[char]) -> bool {
    (1..=signs.len() / 2)
        .any(|unit| signs.iter().zip(&signs[unit..]).all(|(one, other)| one == other))
}

/// Each sign beside the one before in some row, but for a turn in every six signs, which is ours and has no source:
/// `abcdefghijkl`, `qwertyasdfgh`.
fn runs_along(signs: &[char]) -> bool {
    let beside = |one: char, other: char| {
        ROWS.iter().any(|row| {
            let place = |sign: char| row.find(sign);
            let at = |first: char, then: char| {
                place(first).is_some_and(|it| row[it..].chars().nth(1) == Some(then))
            };
            at(one, other) || at(other, one) || (one == other && place(one).is_some())
        })
    };
    let turns = signs.windows(2).filter(|pair| !beside(pair[0], pair[1])).count();
    turns <= signs.len() / 6
}

/// Usual words alone, once digits and signs are left out: `Password2026!`, `welcome-pilot-1`.
fn is_of_words(signs: &[char]) -> bool {
    let letters: String = signs.iter().filter(|sign| sign.is_alphabetic()).collect();
    // Up to which letters words alone lead.
    let mut reached = vec![false; letters.len() + 1];
    reached[0] = true;
    for at in 0..letters.len() {
        if !reached[at] {
            continue;
        }
        for word in
            WORDS.iter().filter(|word| letters.get(at..).is_some_and(|it| it.starts_with(*word)))
        {
            reached[at + word.len()] = true;
        }
    }
    reached[letters.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_passwords_that_anybody_would_try_are_known() {
        for plain in [
            "aaaaaaaaaaaaaaa",
            "abcabcabcabcab",
            "passwordpassword",
            "Password12345678",
            "P@ssw0rd2026!!",
            "Welcome-Pilot-2026",
            "Welcome123456",
            "Welcome12345!",
            "Welcome2013!!",
            "Princess12345",
            "changeme12345",
            "Charlie12345!",
            "123456password",
            "1Password2026",
            "Password1pilot",
            "Pilot2015Flight",
            "P4ssword-flight",
            "letmein letmein",
            "123456789012",
            "098765432109",
            "abcdefghijklmnop",
            "qwertyuiop123",
            "qwertyuiopasdf",
            "zxcvbnmzxcvb7",
            "asdfghzxcvbn",
            "iloveyou123456",
            "administrator1",
            "rungbook-admin",
            "202020202020",
            "1234 5678 9012",
        ] {
            assert!(is_plain(plain), "{plain}");
        }
    }

    #[test]
    fn words_that_somebody_put_together_are_taken() {
        for own in [
            "one rung at a time",
            "a long password for stories",
            "wet grass and warm cells",
            "correct horse battery staple",
            "Sommerwind über Gras",
            "xK4-pQz9vLm2",
            "my aircraft has two wings",
            "ööööäääüüü ß 7",
        ] {
            assert!(!is_plain(own), "{own}");
        }
    }
}
