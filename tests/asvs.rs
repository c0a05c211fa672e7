//! `tests/asvs.md` has each requirement of levels 1 and 2 once, with the published level, and each test that it names is there.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// Each section with the level of each of its requirements, from the first on: `1.5 123` says that 1.5.1 is of level 1, 1.5.2 of
/// level 2 and 1.5.3 of level 3.
///
/// # Source
///
/// OWASP Application Security Verification Standard 5.0.0, the flat JSON in English of that version: numbers and levels alone.
const PUBLISHED: &str = "
    1.1 22, 1.2 1111122223, 1.3 112222222223, 1.4 222, 1.5 123,
    2.1 122, 2.2 112, 2.3 12223, 2.4 23,
    3.1 3, 3.2 113, 3.3 12223, 3.4 11222233, 3.5 11122333, 3.6 3, 3.7 22333,
    4.1 12233, 4.2 23333, 4.3 22, 4.4 1222,
    5.1 2, 5.2 112333, 5.3 113, 5.4 222,
    6.1 122, 6.2 111111112222, 6.3 11223333, 6.4 112233, 6.5 22222333, 6.6 2223, 6.7 33, 6.8 2222,
    7.1 222, 7.2 1111, 7.3 22, 7.4 11222, 7.5 223, 7.6 22,
    8.1 1233, 8.2 1123, 8.3 133, 8.4 23,
    9.1 111, 9.2 1222,
    10.1 22, 10.2 223, 10.3 22223, 10.4 1111122222233333, 10.5 22222, 10.6 22, 10.7 222,
    11.1 2233, 11.2 22233, 11.3 11233, 11.4 1222, 11.5 23, 11.6 23, 11.7 33,
    12.1 12233, 12.2 11, 12.3 22223,
    13.1 2333, 13.2 222223, 13.3 2233, 13.4 1222233,
    14.1 22, 14.2 12223333, 14.3 122,
    15.1 12233, 15.2 12233, 15.3 1222222, 15.4 3333,
    16.1 2, 16.2 22222, 16.3 2222, 16.4 222, 16.5 2223,
    17.1 23, 17.2 22223333, 17.3 22";

/// How many requirements the published list has of level 1, 2 and 3.
const OF_EACH_LEVEL: [usize; 3] = [70, 183, 92];

/// Chapter, section and place of a requirement.
type Number = [u32; 3];

/// The level of each requirement.
fn published() -> BTreeMap<Number, u32> {
    let mut levels = BTreeMap::new();
    for section in PUBLISHED.split(',') {
        let (section, of_each) = section.trim().split_once(' ').unwrap();
        let (chapter, section) = section.split_once('.').unwrap();
        for (place, level) in (1..).zip(of_each.chars()) {
            let number = [chapter.parse().unwrap(), section.parse().unwrap(), place];
            let again = levels.insert(number, level.to_digit(10).unwrap());
            assert_eq!(again, None, "{} is there twice", told(number));
        }
    }
    levels
}

/// A number as it is written.
fn told([chapter, section, place]: Number) -> String {
    format!("{chapter}.{section}.{place}")
}

/// What is written as a number is; nothing else is one.
fn number(text: &str) -> Option<Number> {
    let parts: Option<Vec<u32>> = text.split('.').map(|part| part.parse().ok()).collect();
    let number: Number = parts?.try_into().ok()?;
    (told(number) == text).then_some(number)
}

fn table() -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/asvs.md")).unwrap()
}

/// One row: number, level, what is asked, and what shows it.
fn rows(table: &str) -> Vec<[&str; 4]> {
    let rows =
        table.lines().filter(|line| line.starts_with("| ") && !line.starts_with("| number "));
    rows.map(|line| {
        let cells = line.strip_prefix("| ").and_then(|line| line.strip_suffix(" |"));
        let cells: Vec<&str> = cells.unwrap_or(line).split(" | ").collect();
        let row: Result<[&str; 4], _> = cells.try_into();
        row.unwrap_or_else(|_| panic!("a row has four cells: {line}"))
    })
    .collect()
}

/// What does not apply: each number that a list of that names, and of whole chapters those of levels 1 and 2.
fn left_out(table: &str, published: &BTreeMap<Number, u32>) -> Vec<Number> {
    let mut numbers = Vec::new();
    for list in table.split("\n\n").filter(|it| it.trim_start().starts_with("Does not apply:")) {
        let words: Vec<&str> = list
            .split_whitespace()
            .map(|word| word.trim_matches([',', ';', ':', '.', '(', ')']))
            .collect();
        for (place, word) in words.iter().enumerate() {
            let chapter = word.strip_prefix('V').and_then(|chapter| chapter.parse::<u32>().ok());
            match chapter.filter(|_| words.get(place + 1) == Some(&"whole")) {
                Some(chapter) => numbers.extend(
                    published
                        .iter()
                        .filter(|(number, level)| number[0] == chapter && **level < 3)
                        .map(|(number, _)| *number),
                ),
                None => numbers.extend(number(word)),
            }
        }
    }
    numbers
}

#[test]
fn of_each_level_there_are_as_many_requirements_as_were_published() {
    let published = published();
    let of_level = |wanted: u32| published.values().filter(|level| **level == wanted).count();
    assert_eq!([1, 2, 3].map(of_level), OF_EACH_LEVEL);
}

#[test]
fn every_requirement_of_levels_1_and_2_is_there_once_as_a_row_or_as_what_does_not_apply() {
    let (table, published) = (table(), published());
    let (mut times, mut faults) = (BTreeMap::<Number, usize>::new(), Vec::new());
    let mut last = None;
    for [text, level, ..] in rows(&table) {
        let Some(number) = number(text) else {
            faults.push(format!("{text} is not a number such as 1.2.4"));
            continue;
        };
        *times.entry(number).or_default() += 1;
        if published.get(&number).is_none_or(|published| published.to_string() != level) {
            faults.push(format!("{text} is not published with level {level}"));
        }
        if last.is_some_and(|last| last >= number) {
            faults.push(format!("{text} stands behind a number that is not smaller"));
        }
        last = Some(number);
    }
    for number in left_out(&table, &published) {
        *times.entry(number).or_default() += 1;
    }
    for (number, level) in &published {
        let expected = usize::from(*level < 3);
        let there = times.remove(number).unwrap_or_default();
        if there != expected {
            faults.push(format!("{} of level {level} is there {there} times", told(*number)));
        }
    }
    faults.extend(times.keys().map(|number| format!("{} is not published", told(*number))));
    assert!(faults.is_empty(), "in tests/asvs.md:\n{}", faults.join("\n"));
}

/// All sources of a folder and what is in it, one after the other, without what was built or fetched.
fn sources(folder: &Path, into: &mut String) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        if path.is_dir() && !name.starts_with('.') && name != "node_modules" {
            sources(&path, into);
        } else if name.ends_with(".rs") {
            into.push_str(&fs::read_to_string(&path).unwrap());
        }
    }
}

/// Whether a cell says in one of the ways that the top of the table explains that something is not shown.
fn says_no(shown: &str) -> bool {
    ["**No**: ", "**No**, in part: ", "**No** test"].iter().any(|way| shown.starts_with(way))
}

#[test]
fn each_test_that_shows_what_is_asked_of_a_web_application_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let table = table();
    let mut code = String::new();
    sources(&root.join("tests"), &mut code);
    sources(&root.join("server"), &mut code);
    let (mut named, mut missing) = (0, Vec::new());
    for [number, .., shown] in rows(&table) {
        let names: Vec<&str> = shown.split('`').skip(1).step_by(2).collect();
        let shows = !names.is_empty() && !shown.contains("**No**");
        if !shows && !says_no(shown) {
            missing.push(format!("{number} names nothing and does not begin with **No**"));
        }
        for name in names.into_iter().filter(|name| !name.contains([' ', '='])) {
            let there = if name.ends_with(".js") && !name.contains('/') {
                root.join("tests/browser").join(name).is_file()
            } else if name.contains(['/', '.']) {
                root.join(name).is_file()
            } else {
                code.contains(&format!("fn {name}()"))
            };
            if !there {
                missing.push(format!("{number} names {name}"));
            }
            named += 1;
        }
    }
    assert!(missing.is_empty(), "named in tests/asvs.md and not there:\n{}", missing.join("\n"));
    assert!(named > 200, "{named}");
}
