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
        "check-settings",
        "completions",
        "man",
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

/// Asks what would be used, with these settings in the file, these variables and these flags.
fn check_settings(file: &Path, variables: &[(&str, &str)], flags: &[&str]) -> Output {
    Command::new(PROGRAM)
        .arg("check-settings")
        .arg("--settings")
        .arg(file)
        .args(flags)
        .envs(variables.iter().copied())
        .output()
        .unwrap()
}

#[test]
fn settings_are_told_with_where_they_come_from_without_a_start() {
    let (folder, data) = new_team();
    let file = folder.path().join("settings.toml");
    let text = format!(
        "data = {data:?}\nlisten = \"127.0.0.1:0\"\nlog = \"warn\"\nlog-format = \"json\"\n"
    );
    std::fs::write(&file, text).unwrap();
    let before: Vec<_> = std::fs::read_dir(&data).unwrap().map(|it| it.unwrap().path()).collect();
    let output = check_settings(&file, &[("RUNGBOOK_LOG", "debug")], &["--metrics", "127.0.0.1:0"]);
    assert!(output.status.success(), "{output:?}");
    for told in [
        &format!("{} (from the settings file)", data.display()),
        "127.0.0.1:0 (from the settings file)",
        "127.0.0.1:0 (from the command line)",
        "debug (from the environment)",
        "json (from the settings file)",
        "none is kept up",
        "no TLS",
        "can be started with these settings",
    ] {
        says(&output, told);
    }
    // A flag comes before the environment, and that before the file.
    let output = check_settings(&file, &[("RUNGBOOK_LOG", "debug")], &["--log", "error"]);
    says(&output, "error (from the command line)");
    // An authority of the folder's own is not made by asking.
    let output = check_settings(&file, &[], &["--tls", "--listen", "0.0.0.0:0"]);
    assert!(output.status.success(), "{output:?}");
    says(&output, "TLS by the data folder's own authority");
    let after: Vec<_> = std::fs::read_dir(&data).unwrap().map(|it| it.unwrap().path()).collect();
    assert_eq!(before, after, "nothing was made");

    // It works beside the service itself.
    let server = Server::serve(&data);
    let address = server.base.trim_start_matches("http://");
    let output = check_settings(&file, &[], &["--listen", address]);
    assert!(output.status.success(), "{output:?}");
    says(&output, "right where it is this service");
}

#[test]
fn everything_that_is_wrong_with_the_settings_is_told_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("settings.toml");
    let taken = folder.path().join("a file");
    std::fs::write(&taken, "").unwrap();
    let nowhere = folder.path().join("nowhere");
    let text = format!("data = {nowhere:?}\nbackup-into = {taken:?}\nlog = \"a=b=c\"\n");
    std::fs::write(&file, text).unwrap();
    let variables = [("RUNGBOOK_COLOUR", "red"), ("RUNGBOOK_LISTEN", "0.0.0.0:0")];
    // An address for documentation (RFC 5737, from memory) is none of this machine's.
    let output = check_settings(&file, &variables, &["--metrics", "192.0.2.1:9"]);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    for wrong in [
        "6 things are wrong:",
        "RUNGBOOK_COLOUR is not a setting",
        "there is no ledger in",
        "rungbook init --data",
        "is not a folder: a backup cannot be kept up in it",
        "\"a=b=c\" is not a log filter",
        "without TLS passwords can be read on the way",
        "metrics names 192.0.2.1:9, which cannot be listened on",
    ] {
        says(&output, wrong);
    }
    // What could be found out is told all the same.
    says(&output, "0.0.0.0:0 (from the environment)");

    std::fs::write(&file, "colour = \"red\"\n").unwrap();
    let output = check_settings(&file, &[], &[]);
    assert_eq!(output.status.code(), Some(2));
    for wrong in
        ["2 things are wrong:", "is not right", "line 1", "colour", "name the folder of the data"]
    {
        says(&output, wrong);
    }
    let output = check_settings(&folder.path().join("none.toml"), &[], &["--data", "."]);
    says(&output, "cannot read the settings file");
    says(&output, "because: ");
}

#[test]
fn each_command_has_a_manual_page() {
    let page = |command: &[&str]| {
        let output = Command::new(PROGRAM).arg("man").args(command).output().unwrap();
        assert!(output.status.success(), "{command:?}: {output:?}");
        String::from_utf8(output.stdout).unwrap()
    };
    let whole = page(&[]);
    assert!(whole.contains(".TH rungbook 1"), "{whole}");
    let help = Command::new(PROGRAM).arg("help").output().unwrap();
    let help = String::from_utf8(help.stdout).unwrap();
    let listed = help.split("Commands:").nth(1).unwrap().split("Options:").next().unwrap();
    let commands: Vec<&str> =
        listed.lines().filter_map(|line| line.split_whitespace().next()).collect();
    let commands: Vec<&str> = commands.into_iter().filter(|command| *command != "help").collect();
    assert!(commands.len() > 15, "{commands:?}");
    for command in commands {
        let named = command.replace('-', "\\-");
        assert!(whole.contains(&format!("rungbook\\-{named}(1)")), "{command}: {whole}");
        let own = page(&[command]);
        assert!(own.contains(&format!(".TH rungbook-{command} 1")), "{own}");
        for section in [".SH NAME", ".SH SYNOPSIS", ".SH OPTIONS"] {
            assert!(own.contains(section), "{command}: {own}");
        }
    }
    assert!(page(&["serve"]).contains("RUNGBOOK_METRICS"));
    page(&["person", "add"]);
    let wrong = Command::new(PROGRAM).args(["man", "fly"]).output().unwrap();
    assert_eq!(wrong.status.code(), Some(2));
    says(&wrong, "has no command \"fly\"; there are");
}
