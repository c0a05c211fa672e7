//! Keeping what was recorded: backups, restoring, verifying, and taking a programme elsewhere.

use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::json;

use crate::harness::{Server, Team, at};
use crate::operations::permissions::team_with_a_past;
use crate::operations::recordings::{rows, upload};

#[track_caller]
fn succeeds(output: Output) -> String {
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{}: {told}", output.status);
    String::from_utf8(output.stdout).unwrap()
}

#[track_caller]
fn fails(output: &Output) -> String {
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn text(path: &Path) -> &str {
    path.to_str().expect("temporary names are text")
}

/// Everything of the programme that is told about points, runs and the ledger.
fn picture(server: &Server) -> Vec<String> {
    let ivo = server.sign_in("ivo");
    let places = ["ledger", "points", "runs/1", "runs/1/results/GR-01", "hours", "document"];
    places.map(|place| ivo.get(&at(place)).has_status(200).text).to_vec()
}

#[test]
fn a_backup_made_beside_the_running_server_restores_the_same_root_and_points_elsewhere() {
    let team = team_with_a_past();
    let folder = tempfile::tempdir().unwrap();
    let (file, elsewhere) = (folder.path().join("evening.backup"), folder.path().join("elsewhere"));
    let data = team.server.data.clone();
    let root = team.person("ivo").get(&at("ledger")).json()["root"].as_str().unwrap().to_owned();

    let told = succeeds(Server::command(&data, &["backup", text(&file)]));
    assert!(told.contains(&root), "{told}");
    fails(&Server::command(&data, &["backup", text(&file)]));
    assert!(succeeds(Server::command(&data, &["verify"])).contains(&root), "beside the server");
    assert!(succeeds(Server::command(&data, &["verify", "--backup", text(&file)])).contains(&root));
    let before = picture(&team.server);

    // What comes after the backup is not in it.
    let later = json!({ "weather": { "remarks": "Rain." } });
    team.person("cas").post(&at("weather"), later).has_status(201);
    let told = succeeds(Server::command(&elsewhere, &["restore", text(&file)]));
    assert!(told.contains(&root) && told.contains("signs in anew"), "{told}");
    fails(&Server::command(&elsewhere, &["restore", text(&file)]));
    let restored = Server::serve(&elsewhere);
    assert_eq!(picture(&restored), before);
    // Nobody stays signed in with a session of before.
    team.person("cas").speaking_to(&restored).get(&at("points")).has_problem(401, "token-refused");
    let snag = json!({ "title": "Dent", "grounding": false, "severity": "marginal" });
    restored.sign_in("cas").post(&at("snags"), snag).has_status(201);
}

#[test]
fn what_was_recorded_is_in_the_kept_up_backup_within_seconds_even_if_the_server_is_killed() {
    let away = tempfile::tempdir().unwrap();
    let kept = away.path().join("other-disk");
    let mut team = Team::served_with(&["--backup-into", text(&kept)]);
    let snag = json!({ "title": "Dent", "grounding": false, "severity": "marginal" });
    team.person("cas").post(&at("snags"), snag).has_status(201);
    let head = team.person("ivo").get(&at("ledger")).json();
    let is_kept = || {
        let stands = team.server.stranger().get("/api/v1/health/ready").json()["backup"].clone();
        assert!(stands.get("failing_since").is_none(), "{stands}");
        stands["records"] == head["size"]
    };
    let waiting_since = std::time::Instant::now();
    while !is_kept() {
        assert!(waiting_since.elapsed().as_secs() < 60, "the backup stands still");
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    // Nobody else writes into the folder meanwhile.
    assert!(
        fails(&Server::command(&team.server.data, &["backup", "--into", text(&kept)]))
            .contains("in use")
    );
    team.server.kill();

    let elsewhere = away.path().join("elsewhere");
    let told = succeeds(Server::command(&elsewhere, &["restore", text(&kept)]));
    assert!(told.contains(head["root"].as_str().unwrap()), "{told}");
    // The next step, by hand, finds nothing new; another team's folder is never touched.
    let told = succeeds(Server::command(&team.server.data, &["backup", "--into", text(&kept)]));
    assert!(told.contains("Nothing was new"), "{told}");
    let other = Team::new();
    let refused = fails(&Server::command(&other.server.data, &["backup", "--into", text(&kept)]));
    assert!(refused.contains("nothing was changed in it"), "{refused}");
}

#[test]
fn a_pack_is_checked_with_the_program_alone_and_found_where_a_bit_of_it_was_turned() {
    let mut team = team_with_a_past();
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name);
    let kept = file("kept.txt");
    let checkpoint = team.person("ivo").get(&at("ledger/checkpoint")).has_status(200).text;
    std::fs::write(&kept, checkpoint).unwrap();
    let root = team.person("ivo").get(&at("ledger")).json()["root"].as_str().unwrap().to_owned();
    team.server.ends_when_asked();
    let data = team.server.data.clone();
    let whole = file("whole.zip");
    let told = succeeds(Server::command(&data, &["pack", text(&whole), "--programme", "small"]));
    assert!(told.contains(&root), "{told}");
    fails(&Server::command(&data, &["pack", text(&whole), "--programme", "small"]));
    let part = file("part.zip");
    let lean = ["pack", text(&part), "--programme", "small", "--point", "GR-01", "--digests-only"];
    succeeds(Server::command(&data, &lean));
    let nothing = file("nothing.zip");
    let unknown = ["pack", text(&nothing), "--programme", "small", "--point", "XX-99"];
    assert!(fails(&Server::command(&data, &unknown)).contains("XX-99"));
    assert!(!nothing.exists());

    // The same to read, and drafts to sign.
    for (which, name) in [("evidence", "evidence.pdf"), ("risk-register", "risks.pdf")] {
        let paper = file(name);
        let words = ["paper", which, text(&paper), "--programme", "small"];
        succeeds(Server::command(&data, &words));
        let bytes = std::fs::read(&paper).unwrap();
        assert!(bytes.starts_with(b"%PDF-") && bytes.len() > 10_000, "{which}");
        assert!(fails(&Server::command(&data, &words)).contains(name), "nothing is overwritten");
    }
    let of_a_part =
        ["paper", "log-entries", text(&nothing), "--programme", "small", "--point", "GR-01"];
    assert_eq!(Server::command(&data, &of_a_part).status.code(), Some(2));
    assert!(!nothing.exists());

    // Nothing but the file is needed, and what was kept elsewhere.
    let nowhere = file("nowhere");
    for pack in [&whole, &part] {
        let told = succeeds(Server::command(&nowhere, &["verify", "--pack", text(pack)]));
        assert!(told.contains(&root) && told.contains("--against"), "{told}");
        assert!(told.contains("nothing binds these to the ledger: document.pdf"), "{told}");
        let against = ["verify", "--pack", text(pack), "--against", text(&kept)];
        let told = succeeds(Server::command(&nowhere, &against));
        assert!(told.contains("still stands"), "{told}");
    }
    let mut other = Team::new();
    let theirs = other.person("ivo").get(&at("ledger/checkpoint")).has_status(200).text;
    other.server.ends_when_asked();
    std::fs::write(&kept, theirs).unwrap();
    let against = ["verify", "--pack", text(&whole), "--against", text(&kept)];
    assert!(fails(&Server::command(&nowhere, &against)).contains("another ledger"));

    let mut bytes = std::fs::read(&whole).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 4;
    std::fs::write(&whole, bytes).unwrap();
    fails(&Server::command(&nowhere, &["verify", "--pack", text(&whole)]));
    std::fs::write(&whole, "this is no pack").unwrap();
    assert!(
        fails(&Server::command(&nowhere, &["verify", "--pack", text(&whole)])).contains("no pack")
    );
}

#[test]
fn a_programme_moves_to_another_server_with_its_root_and_nobody_signs_until_two_have_acknowledged_it()
 {
    let mut team = team_with_a_past();
    let root = team.person("ivo").get(&at("ledger")).json()["root"].as_str().unwrap().to_owned();
    let hours = team.person("ivo").get(&at("hours")).has_status(200).text;
    team.server.ends_when_asked();
    let folder = tempfile::tempdir().unwrap();
    let (pack, elsewhere) = (folder.path().join("small.zip"), folder.path().join("elsewhere"));
    let data = team.server.data.clone();
    succeeds(Server::command(&data, &["pack", text(&pack), "--programme", "small"]));
    fails(&Server::command(&data, &["adopt", text(&pack)]));
    let import = ["import", text(&pack), "--programme", "other", "--by", "lea"];
    let refused = Server::command(&data, &import);
    assert!(String::from_utf8_lossy(&refused.stderr).contains("rungbook adopt"), "{refused:?}");
    let nowhere = Server::command(&elsewhere, &["adopt", text(&pack)]);
    assert_eq!(nowhere.status.code(), Some(2), "{nowhere:?}");
    Server::begin(&elsewhere);
    let told = succeeds(Server::command(&elsewhere, &["adopt", text(&pack)]));
    assert!(told.contains(&root) && told.contains("lea"), "{told}");
    assert!(fails(&Server::command(&elsewhere, &["adopt", text(&pack)])).contains("already"));
    assert!(succeeds(Server::command(&elsewhere, &["verify"])).contains(&root));
    for person in ["ivo", "eve"] {
        succeeds(Server::command(&elsewhere, &["person", "password", person]));
        succeeds(Server::command(&elsewhere, &["person", "enable", person]));
    }
    let moved = Server::serve(&elsewhere);
    let ivo = moved.sign_in("ivo");
    assert_eq!(ivo.get(&at("ledger")).json()["root"].as_str(), Some(root.as_str()));
    assert_eq!(ivo.get(&at("hours")).has_status(200).text, hours, "who left keeps their history");
    assert_eq!(ivo.get(&at("ledger/copy")).json()["waits"], true);
    let eve = moved.sign_in("eve");
    let signed = eve.sign("GR-01", "plan-approval", json!({}));
    assert_eq!(signed.status, 409, "{}", signed.text);
}

#[test]
fn a_programme_that_is_exported_and_imported_elsewhere_exports_the_same_again() {
    let mut team = team_with_a_past();
    team.server.ends_when_asked();
    let data = team.server.data.clone();
    let folder = tempfile::tempdir().unwrap();
    let elsewhere = folder.path().join("elsewhere");
    let export = |data: &Path, what: &str| {
        succeeds(Server::command(data, &["export", what, "--programme", "small"]))
    };
    let document = export(&data, "programme");
    let file = folder.path().join("programme.toml");
    std::fs::write(&file, &document).unwrap();

    succeeds(Server::command(&elsewhere, &["init", "--administrator", "keeper"]));
    let import = ["import", text(&file), "--programme", "small", "--by", "lea"];
    succeeds(Server::command(&elsewhere, &import));
    assert_eq!(export(&elsewhere, "programme"), document);
    assert_eq!(export(&elsewhere, "points"), export(&data, "points"));
    assert!(succeeds(Server::command(&elsewhere, &import)).contains("nothing was recorded"));

    let hours: serde_json::Value = serde_json::from_str(&export(&data, "hours")).unwrap();
    assert_eq!(hours["totals"]["runs"], 1, "{hours:#}");
    let unknown = Server::command(&data, &["export", "programme", "--programme", "large"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&unknown.stderr).contains("there is small"));
}

#[test]
fn an_import_with_anything_wrong_says_every_place_and_records_nothing() {
    let mut team = Team::new();
    team.server.ends_when_asked();
    let data = team.server.data.clone();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("wrong.toml");
    let document = "[[channels]]\ncode = \"pack_temp\"\ntitle = \"\"\nunit = \"degC\"\n\n\
        [[points]]\ncode = \"GR-01\"\ntitle = \"First run\"\nphase = \"ground-run\"\n";
    std::fs::write(&file, document).unwrap();
    let before = succeeds(Server::command(&data, &["verify"]));
    let output =
        Server::command(&data, &["import", text(&file), "--programme", "small", "--by", "lea"]);
    assert_eq!(output.status.code(), Some(2));
    let told = String::from_utf8_lossy(&output.stderr);
    for place in
        ["line 3, channels[0].title", "line 6, points[0].objective", "nothing was imported"]
    {
        assert!(told.contains(place), "\"{place}\" is not in:\n{told}");
    }
    assert_eq!(succeeds(Server::command(&data, &["verify"])), before);
}

/// Changes one letter in each place of a folder's database where a text stands; gives the number of places.
fn alter(data: &Path, from: &str, to: &str) -> usize {
    assert_eq!(from.len(), to.len());
    let file: PathBuf = data.join("rungbook.db");
    let mut bytes = std::fs::read(&file).unwrap();
    let places: Vec<usize> = bytes
        .windows(from.len())
        .enumerate()
        .filter(|(_, window)| *window == from.as_bytes())
        .map(|(place, _)| place)
        .collect();
    for place in &places {
        bytes[*place..place + to.len()].copy_from_slice(to.as_bytes());
    }
    std::fs::write(&file, bytes).unwrap();
    places.len()
}

#[test]
fn one_altered_letter_in_the_database_is_found_with_the_number_of_its_record_and_nothing_is_served()
{
    let mut team = Team::new();
    let body = json!({ "passed": true, "findings": "0.9 MΩ at 500 V, as measured by Cas." });
    let done = team.person("cas").post(&at("checks/C-ISO/done"), body).has_status(201).json();
    let seq = &done["records"][0]["seq"];
    let snag = json!({ "title": "Dent", "grounding": false, "severity": "marginal" });
    team.person("cas").post(&at("snags"), snag).has_status(201);
    let data = team.server.data.clone();
    team.server.ends_when_asked();
    let good = succeeds(Server::command(&data, &["verify"]));
    assert!(good.contains("all pass"), "{good}");

    assert!(alter(&data, "0.9 MΩ at 500 V, as measured", "9.9 MΩ at 500 V, as measured") > 0);
    let told = fails(&Server::command(&data, &["verify"]));
    assert!(told.contains(&format!("programme small: rungbook: record {seq} fails")), "{told}");
    assert!(told.contains("its text was altered"), "{told}");
    let copy = data.with_extension("backup");
    for command in [&["serve", "--listen", "127.0.0.1:0"][..], &["backup", text(&copy)][..]] {
        let refused = fails(&Server::command(&data, command));
        assert!(refused.contains(&format!("record {seq}")), "{command:?}: {refused}");
    }
    assert!(!copy.exists(), "no backup is left that would not pass");

    // Put back as it was, everything stands again.
    assert!(alter(&data, "9.9 MΩ at 500 V, as measured", "0.9 MΩ at 500 V, as measured") > 0);
    assert_eq!(succeeds(Server::command(&data, &["verify"])), good);
}

#[test]
fn a_recorders_file_goes_with_the_backup_and_one_altered_figure_in_it_is_found() {
    let mut team = Team::new();
    let file = rows(20, |row| row.to_string());
    let taken = upload(team.person("cas"), "motor.csv", &file).has_status(201).json();
    let digest = taken["now"]["recording"].as_str().unwrap().to_owned();
    let data = team.server.data.clone();
    let folder = tempfile::tempdir().unwrap();
    let (copy, elsewhere) = (folder.path().join("evening.backup"), folder.path().join("elsewhere"));

    let told = succeeds(Server::command(&data, &["backup", text(&copy)]));
    assert!(told.contains("2 files agree"), "{told}");
    let told = succeeds(Server::command(&elsewhere, &["restore", text(&copy)]));
    assert!(told.contains("2 files agree"), "{told}");
    let restored = Server::serve(&elsewhere);
    let original = at(&format!("recordings/{digest}/original"));
    assert_eq!(restored.sign_in("ivo").get(&original).has_status(200).text, file);

    team.server.ends_when_asked();
    let place = data.join("recordings").join(&digest[..2]).join(&digest);
    std::fs::write(&place, file.replacen(",7\n", ",9\n", 1)).unwrap();
    let told = fails(&Server::command(&data, &["verify"]));
    let seq = &taken["records"][0]["seq"];
    assert!(told.contains(&format!("record {seq}")) && told.contains(&digest), "{told}");
    assert_eq!(told.matches("it was altered").count(), 1, "{told}");
    // Where an earlier backup lies the whole file is there; elsewhere there is nothing whole to copy.
    let another = tempfile::tempdir().unwrap();
    let next = another.path().join("next.backup");
    assert!(fails(&Server::command(&data, &["backup", text(&next)])).contains(&digest));
    assert!(!next.exists(), "no backup is left that would not pass");
}
