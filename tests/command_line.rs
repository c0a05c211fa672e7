//! What a team does on the command line.

use std::path::Path;
use std::process::{Command, Output, Stdio};

use crate::harness::{PASSWORD, PROGRAM, Server};

fn run(data: &Path, arguments: &[&str]) -> Output {
    Server::command(data, arguments)
}

#[track_caller]
fn says(output: &Output, text: &str) {
    let (out, err) =
        (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(out.contains(text) || err.contains(text), "wanted \"{text}\" in:\n{out}\n{err}");
}

fn new_team() -> (tempfile::TempDir, std::path::PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let made = run(&data, &["init", "--administrator", "keeper"]);
    assert!(made.status.success(), "{made:?}");
    (folder, data)
}

/// Runs a topic on an input.
fn compute(arguments: &[&str], input: &str) -> Output {
    use std::io::Write;
    let mut child = Command::new(PROGRAM)
        .arg("compute")
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    child.wait_with_output().unwrap()
}

#[test]
fn a_topic_reads_one_object_and_prints_one() {
    let output = compute(&["atmosphere"], r#"{"pressure_altitude_ft": 0}"#);
    assert!(output.status.success());
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    // U.S. Standard Atmosphere, 1976: 15 °C and 1013.25 hPa at sea level.
    assert!((answer["temperature_c"].as_f64().unwrap() - 15.0).abs() < 1e-9);
    assert!((answer["pressure_hpa"].as_f64().unwrap() - 1013.25).abs() < 1e-9);
}

#[test]
fn bad_input_ends_with_status_2_and_a_problem_naming_each_field() {
    let output = compute(&["atmosphere"], r#"{"pressure_altitude_ft": 1e9, "colour": "red"}"#);
    assert_eq!(output.status.code(), Some(2));
    let problem: serde_json::Value = serde_json::from_slice(&output.stderr).unwrap();
    assert_eq!(problem["status"], 422);
    let fields: Vec<_> =
        problem["faults"].as_array().unwrap().iter().map(|f| &f["field"]).collect();
    assert_eq!(fields, ["pressure_altitude_ft", "colour"]);

    let output = compute(&["atmosphere"], "{not json");
    assert_eq!(output.status.code(), Some(2));
    let output = compute(&["astrology"], "{}");
    assert_eq!(output.status.code(), Some(2));
    says(&output, "unknown-topic");
}

#[test]
fn many_inputs_are_answered_a_line_each_and_a_bad_one_does_not_end_the_rest() {
    let lines = "{\"pressure_altitude_ft\": 0}\n{\"x\": 1}\n{\"pressure_altitude_ft\": 1000}\n";
    let output = compute(&["--lines", "atmosphere"], lines);
    let text = String::from_utf8(output.stdout).unwrap();
    let lines: Vec<serde_json::Value> =
        text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(lines.len(), 3);
    assert_eq!(lines[1]["code"], "input-refused");
    assert!(lines[2]["pressure_hpa"].as_f64().unwrap() < 1013.25);
}

#[test]
fn every_command_has_help_and_a_wrong_one_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    for command in [
        "init",
        "person",
        "import",
        "export",
        "serve",
        "pack",
        "paper",
        "adopt",
        "verify",
        "witness",
        "backup",
        "restore",
        "compute",
        "openapi",
        "completions",
    ] {
        let output = Command::new(PROGRAM).args([command, "--help"]).output().unwrap();
        assert!(output.status.success(), "{command}");
        assert!(output.stdout.len() > 200, "{command}");
    }
    assert_eq!(run(folder.path(), &["fly"]).status.code(), Some(2));
    for shell in ["bash", "zsh", "fish"] {
        let output = Command::new(PROGRAM).args(["completions", shell]).output().unwrap();
        assert!(String::from_utf8_lossy(&output.stdout).contains("rungbook"), "{shell}");
    }
}

#[test]
fn settings_come_from_a_file_too_and_an_unknown_key_is_refused_with_its_line() {
    let (folder, data) = new_team();
    let file = folder.path().join("settings.toml");
    std::fs::write(&file, format!("data = {:?}\nlog-format = \"json\"\n", data)).unwrap();
    let list = |file: &Path| {
        Command::new(PROGRAM).arg("--settings").arg(file).args(["person", "list"]).output().unwrap()
    };
    let output = list(&file);
    assert!(output.status.success(), "{output:?}");
    says(&output, "keeper");

    std::fs::write(&file, "data = \"x\"\ncolour = \"red\"\n").unwrap();
    let output = list(&file);
    assert!(!output.status.success());
    says(&output, "colour");
    says(&output, "line 2");

    let output = Command::new(PROGRAM)
        .env("RUNGBOOK_COLOUR", "red")
        .args(["person", "list", "--data"])
        .arg(&data)
        .output()
        .unwrap();
    assert!(!output.status.success());
    says(&output, "RUNGBOOK_COLOUR is not a setting");
}

#[test]
fn accounts_are_added_listed_and_disabled() {
    let (_folder, data) = new_team();
    let add = |handle: &str| {
        Command::new(PROGRAM)
            .args(["person", "add", handle, "--data"])
            .arg(&data)
            .env("RUNGBOOK_PASSWORD", PASSWORD)
            .output()
            .unwrap()
    };
    assert!(add("lena").status.success());
    let again = add("lena");
    assert!(!again.status.success());
    says(&again, "there is an account \"lena\" already");
    assert!(run(&data, &["person", "disable", "lena"]).status.success());
    says(&run(&data, &["person", "list"]), "disabled");
    assert!(run(&data, &["person", "enable", "lena"]).status.success());
    let last = run(&data, &["person", "disable", "keeper"]);
    assert!(!last.status.success());
    says(&last, "last administrator");
}

#[test]
fn a_folder_is_made_once_and_a_wrong_one_is_told_with_what_to_do() {
    let (folder, data) = new_team();
    let again = run(&data, &["init", "--administrator", "other"]);
    assert!(!again.status.success());
    says(&again, "holds a ledger already");
    let nowhere = run(&folder.path().join("nowhere"), &["person", "list"]);
    assert!(!nowhere.status.success());
    says(&nowhere, "rungbook init");
}
