//! What is wrong with a document is told whole, and in its place.

use super::*;

fn told(text: &str) -> Vec<(String, String)> {
    let faults = match read_toml(text) {
        Err(faults) => faults,
        Ok(document) => Places::of(text).told(check(&document, &State::default())),
    };
    faults.into_iter().map(|fault| (fault.field, fault.why)).collect()
}

fn places(text: &str) -> Vec<String> {
    told(text).into_iter().map(|(place, _)| place).collect()
}

/// The small programme with one text exchanged for another, which must be there.
fn with(old: &str, new: &str) -> String {
    assert!(SMALL.contains(old), "{old}");
    SMALL.replacen(old, new, 1)
}

fn only_fault(text: &str) -> (String, String) {
    match told(text).as_slice() {
        [fault] => fault.clone(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_small_programme_has_no_faults() {
    assert_eq!(told(SMALL), vec![]);
}

#[test]
fn text_that_is_no_toml_is_told_with_line_and_column() {
    let (place, why) = told("title = \"x\"\n[aircraft\nname = \"y\"\n")[0].clone();
    assert_eq!(place, "line 2, column 10");
    assert!(why.starts_with("is no TOML"), "{why}");
}

#[test]
fn every_fault_of_every_table_is_told_with_its_line() {
    let text = r#"title = "T"
wrong = 1
[aircraft]
name = "Tug"
seats = 300
description = "x"
never_exceed_speed = { value = 130, unit = "kn" }
loading = [{ name = "a", mass = { value = 1, unit = "kg" } }, { name = "b", arm = 1, mass = { value = 1, unit = "kg" } }]
[[documents]]
code = "P"
title = "permit"
kind = "permit"
valid_from = 2026-01-01T00:00:00Z
valid_until = 2026-01-01
covers = ["static", "groundrun", "taxi", "air"]
[[limits]]
code = "L 1"
title = ""
channel = "t"
unit = "degC"
is = { kind = "maximum", limt = 3 }
phases = []
[[points]]
code = "A"
titel = "x"
phase = "static"
conditions = { speed = { target = "5", unit = "kt" }, spead = { target = 1, tolerance = 1, unit = "kt" } }
criteria = [{ parameter = "t" }, { parameter = "t", statistic = "max", comparison = "at-most", value = 1, unit = "degC", foo = 1 }]
duration_min = -1
most_on_board = -1
"#;
    let mut told = places(text);
    let lines: Vec<usize> = told.iter().map(|place| line_of(place)).collect();
    assert!(lines.is_sorted(), "{told:?}");
    told.sort();
    let mut expected = [
        "line 2, wrong",
        "line 5, aircraft.seats",
        "line 7, aircraft.never_exceed_speed.unit",
        "line 8, aircraft.loading[0].arm",
        "line 8, aircraft.loading[1].arm",
        "line 14, documents[0].valid_until",
        "line 15, documents[0].covers[1]",
        "line 15, documents[0].covers[3]",
        "line 16, limits[0].source",
        "line 17, limits[0].code",
        "line 18, limits[0].title",
        "line 21, limits[0].is.limt",
        "line 21, limits[0].is.limit",
        "line 22, limits[0].phases",
        "line 23, points[0].title",
        "line 23, points[0].objective",
        "line 23, points[0].technique",
        "line 23, points[0].energy_kwh",
        "line 23, points[0].stop_criteria",
        "line 25, points[0].titel",
        "line 27, points[0].conditions.spead",
        "line 27, points[0].conditions.speed.target",
        "line 27, points[0].conditions.speed.tolerance",
        "line 28, points[0].criteria[0].statistic",
        "line 28, points[0].criteria[0].comparison",
        "line 28, points[0].criteria[0].value",
        "line 28, points[0].criteria[0].unit",
        "line 28, points[0].criteria[1].foo",
        "line 29, points[0].duration_min",
        "line 30, points[0].most_on_board",
    ];
    expected.sort();
    assert_eq!(told, expected);
}

fn line_of(place: &str) -> usize {
    place.trim_start_matches("line ").split(',').next().unwrap().parse().unwrap()
}

#[test]
fn moments_are_written_with_or_without_quotes_and_never_without_an_offset() {
    let quoted = "valid_until = \"2027-01-01T00:00:00Z\"";
    assert_eq!(told(&with(quoted, "valid_until = 2027-01-01T00:00:00Z")), vec![]);
    let (place, why) = only_fault(&with(quoted, "valid_until = 2027-01-01"));
    assert!(place.ends_with("documents[0].valid_until"), "{place}");
    assert!(why.contains("write it like 2027-03-31T18:00:00Z"), "{why}");
}

#[test]
fn numbers_that_are_none_are_refused() {
    for none in ["nan", "inf", "-inf"] {
        let (place, why) = only_fault(&with("energy_kwh = 0.5", &format!("energy_kwh = {none}")));
        assert!(place.ends_with("points[0].energy_kwh"), "{place}");
        assert!(why.starts_with("must be a number"), "{why}");
    }
}

#[test]
fn references_to_nothing_are_told_each() {
    let text = SMALL
        .replace("limits = [\"L-MOTOR\"]", "limits = [\"L-NONE\"]")
        .replace("hazards = [\"H-FIRE\"]", "hazards = [\"H-NONE\"]")
        .replace("after_points = [\"GR-01\"]", "after_points = [\"GR-01\", \"GR-99\"]")
        .replace("after_checks = [\"C-ISO\"]", "after_checks = [\"C-NONE\"]")
        .replace("after_documents = [\"D-PERMIT\"]", "after_documents = [\"D-NONE\"]")
        .replace("data_required = [\"motor_temp\"]", "data_required = [\"none\"]")
        .replace("{ item = \"motor\", version", "{ item = \"none\", version")
        .replace("sensitive_to = [\"motor\"]", "sensitive_to = [\"none\"]")
        .replace("channel = \"motor_temp\"", "channel = \"none\"");
    let mut fields: Vec<_> =
        places(&text).iter().map(|place| place.split_once(", ").unwrap().1.to_owned()).collect();
    fields.sort();
    assert_eq!(
        fields,
        [
            "limits[0].channel",
            "points[1].after_checks[0]",
            "points[1].after_documents[0]",
            "points[1].after_points[1]",
            "points[1].configuration[0].item",
            "points[1].data_required[0]",
            "points[1].hazards[0]",
            "points[1].limits[0]",
            "points[1].sensitive_to[0]",
            "recorders[0].columns[0].channel",
        ]
    );
}

#[test]
fn a_code_that_is_used_twice_is_told_with_the_first() {
    let (place, why) = only_fault(
        &SMALL
            .replace("code = \"GR-02\"", "code = \"GR-01\"")
            .replace("after_points = [\"GR-01\"]", ""),
    );
    assert!(place.ends_with("points[1].code"), "{place}");
    assert_eq!(why, "GR-01 is already the code of points[0]");
}

#[test]
fn units_of_limits_and_criteria_must_compare_with_their_channel() {
    let (place, why) = only_fault(&with("unit = \"degC\"\nis =", "unit = \"kW\"\nis ="));
    assert!(place.ends_with("limits[0].unit"), "{place}");
    assert_eq!(why, "kW does not compare with degC, the unit of motor_temp");
    let (place, _) =
        only_fault(&with("value = 80.0, unit = \"degC\"", "value = 80.0, unit = \"K\""));
    assert!(place.ends_with("points[1].criteria[0].unit"), "{place}");
}

#[test]
fn a_programme_without_a_safety_officer_or_with_a_person_without_a_role_is_refused() {
    let (place, why) =
        only_fault(&with("\"Sam\"\nroles = [\"safety\"]", "\"Sam\"\nroles = [\"pilot\"]"));
    assert!(place.ends_with("people"), "{place}");
    assert_eq!(why, "no safety officer is listed");
    let (place, _) = only_fault(&with("roles = [\"crew\"]", "roles = []"));
    assert!(place.ends_with("people[0].roles"), "{place}");
}

#[test]
fn more_people_on_board_than_seats_are_refused() {
    let text = SMALL.replace("seats = 2", "seats = 1").replacen(
        "most_on_board = 1",
        "most_on_board = 2",
        1,
    );
    assert!(only_fault(&text).1.contains("more than the 1 seats"));
}

#[test]
fn a_matrix_in_which_a_worse_case_is_a_lesser_risk_is_refused() {
    let text = with("[\"high\", \"high\", \"serious\",", "[\"high\", \"low\", \"serious\",");
    assert!(told(&text).iter().all(|(place, _)| place.contains("policy.risk.rows")));
    assert!(!told(&text).is_empty());
}

#[test]
fn documents_that_are_too_large_or_say_nothing_are_refused() {
    assert_eq!(told("").len(), 1);
    let large = format!("# {}\n", "x".repeat(LARGEST_DOCUMENT));
    assert_eq!(told(&large)[0].0, "document");
}

#[test]
fn a_document_of_faults_alone_is_cut_short_and_says_so() {
    let text = "[[points]]\ncode = 1\nphase = 2\n".repeat(2000);
    let faults = told(&text);
    assert_eq!(faults.len(), 1001);
    assert!(faults[1000].1.contains("more faults"));
}

#[test]
fn a_recorder_says_which_columns_of_which_files_are_which_channels() {
    let column = "{ column = \"T\", channel = \"motor_temp\", unit = \"degC\" }";
    let told = |from: &str, to: &str| {
        let text = SMALL.replace(from, to);
        assert_ne!(text, SMALL, "{from}");
        let faults = match read_toml(&text) {
            Ok(document) => check(&document, &State::default()),
            Err(faults) => faults,
        };
        faults.into_iter().map(|fault| fault.field).collect::<Vec<_>>()
    };
    let place = "recorders[0].columns[0]";
    assert_eq!(
        told(column, "{ column = \"T\", channel = \"stranger\", unit = \"degC\" }"),
        [format!("{place}.channel")]
    );
    assert_eq!(told(column, &column.replace("degC", "kW")), [format!("{place}.unit")]);
    assert!(told(column, &column.replace("degC", "K")).is_empty(), "absolute kelvins");
    let line = SMALL.lines().position(|line| line.starts_with("file = ")).unwrap() + 1;
    for (from, to, field) in [
        ("delimiter = \";\"", "delimiter = \",\"", "file.delimiter"),
        ("decimal = \",\"", "decimal = \";\"", "file"),
        ("form = \"unix-ms\"", "form = \"julian\"", "file"),
        ("column = \"t\", ", "", "file.time.column"),
    ] {
        let told = told(from, to);
        assert_eq!(told.len(), 1, "{from}: {told:?}");
        assert!(told[0].starts_with(&format!("line {line}, recorders[0].{field}")), "{told:?}");
    }
}

#[test]
fn an_order_of_heating_names_two_or_more_greatest_temperatures_of_the_programme() {
    let mut document = read_toml(SMALL).unwrap();
    let mut second = document.limits[0].clone();
    second.code = "L-SECOND".parse().unwrap();
    document.limits.push(second);
    let ordered = |document: &ProgrammeDocument, codes: &[&str]| {
        let mut document = document.clone();
        let policy = document.policy.as_mut().unwrap();
        policy.heating_order = codes.iter().map(|code| code.parse().unwrap()).collect();
        let mut faults = policy.faults("policy");
        faults.extend(check(&document, &State::default()));
        (document, faults.into_iter().map(|fault| fault.field).collect::<Vec<_>>())
    };
    let (sound, faults) = ordered(&document, &["L-SECOND", "L-MOTOR"]);
    assert!(faults.is_empty(), "{faults:?}");
    assert_eq!(ordered(&document, &["L-MOTOR"]).1, ["policy.heating_order"]);
    let twice = ordered(&document, &["L-MOTOR", "L-SECOND", "L-MOTOR"]).1;
    assert_eq!(twice, ["policy.heating_order[2]"]);
    let stranger = ordered(&document, &["L-MOTOR", "L-NONE"]).1;
    assert_eq!(stranger, ["policy.heating_order[1]"]);
    document.limits[1].kind = LimitKind::Minimum { caution: None, limit: -20.0 };
    let least = ordered(&document, &["L-MOTOR", "L-SECOND"]).1;
    assert_eq!(least, ["policy.heating_order[1]"]);

    // What the policy names stays a greatest temperature, whoever changes it and however.
    let state = founded(&sound.to_toml().unwrap());
    let changed = document.limits[1].clone();
    let faults = check_proposed(&changed, &state);
    assert_eq!(faults[0].field, "limits[0].is");
    let alone = ProgrammeDocument { limits: vec![changed], ..ProgrammeDocument::default() };
    assert_eq!(check(&alone, &state)[0].field, "limits[0].is");
}
