//! Checkpoints kept elsewhere: what somebody can tell with one who does not trust the server.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::harness::Server;

/// A team's server that is asked for what an inspector keeps, and then goes on.
struct Kept {
    server: Server,
    checkpoint: PathBuf,
    key: String,
}

impl Kept {
    fn begins() -> Self {
        let server = Server::demonstration();
        let inspector = server.sign_in_to_demonstration("viktor");
        let tallow = |rest: &str| format!("/api/v1/programmes/tallow/{rest}");
        let note = inspector.get(&tallow("ledger/checkpoint")).has_status(200).text;
        let keys = inspector.get(&tallow("ledger/keys")).has_status(200).json();
        let checkpoint = server.data.join("kept.txt");
        std::fs::write(&checkpoint, note).unwrap();
        let pilot = server.sign_in_to_demonstration("jonas");
        let smoke = serde_json::json!({ "reason": "Smoke seen from the hangar." });
        pilot.post(&tallow("stand-down"), smoke).has_status(201);
        let key = keys["keys"][0].as_str().unwrap().to_owned();
        Self { server, checkpoint, key }
    }

    fn verify(&self, more: &[&str]) -> (bool, String) {
        let mut arguments = vec!["verify", "--against", self.checkpoint.to_str().unwrap()];
        arguments.extend(more);
        let output = Server::command(&self.server.data, &arguments);
        let told = [output.stdout, output.stderr].concat();
        (output.status.success(), String::from_utf8(told).unwrap())
    }

    fn tampers(&self, statements: &str) {
        let database = self.server.data.join("rungbook.db");
        sql(&database, statements);
    }
}

/// The demonstration with a past and a key of its own, and not a copy of the one that others have.
fn made_anew() -> Server {
    let folder = tempfile::tempdir().unwrap();
    Server::demonstration_in(&folder.path().join("data")).keeping(folder)
}

fn sql(database: &Path, statements: &str) {
    let done = Command::new("python3")
        .args(["-c", "import sqlite3,sys; c=sqlite3.connect(sys.argv[1]); c.executescript(sys.argv[2]); c.commit()"])
        .arg(database)
        .arg(statements)
        .output()
        .unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
}

#[test]
fn a_ledger_that_only_grew_stands_against_a_checkpoint_that_was_kept() {
    let kept = Kept::begins();

    let (stands, told) = kept.verify(&["--key", &kept.key]);

    assert!(stands && told.contains("still stands"), "{told}");
    let stranger = "log+34b3b1a5+AQ==";
    assert!(!kept.verify(&["--key", stranger]).0, "no key at all");
    std::fs::write(&kept.checkpoint, "not a note").unwrap();
    let (stands, told) = kept.verify(&[]);
    assert!(!stands && told.contains("kept.txt"), "{told}");
}

#[test]
fn a_ledger_rewritten_as_a_whole_passes_alone_and_fails_against_a_checkpoint_that_was_kept() {
    let mut kept = Kept::begins();
    kept.server.kill();
    // Somebody with all rights makes the whole ledger anew: another demonstration, with its own key, in the place of this one.
    let mut forged = made_anew();
    forged.kill();
    for file in ["rungbook.db", "rungbook.db-wal", "rungbook.db-shm", "rungbook.fence"] {
        let _ = std::fs::remove_file(kept.server.data.join(file));
        let from = forged.data.join(file);
        if from.exists() {
            std::fs::copy(from, kept.server.data.join(file)).unwrap();
        }
    }
    let copied = |folder: &str| {
        Command::new("cp")
            .args(["-r"])
            .arg(forged.data.join(folder))
            .arg(&kept.server.data)
            .status()
    };
    assert!(copied("recordings").unwrap().success());

    let alone = Server::command(&kept.server.data, &["verify"]);
    let (stands, told) = kept.verify(&[]);

    assert!(alone.status.success(), "a whole new ledger is whole: {alone:?}");
    assert!(!stands && told.contains("tallow"), "{told}");
}

#[test]
fn a_checkpoint_that_another_key_signed_is_not_believed() {
    let kept = Kept::begins();
    let other = made_anew();
    let inspector = other.sign_in_to_demonstration("viktor");
    let keys = inspector.get("/api/v1/programmes/tallow/ledger/keys").has_status(200).json();
    let key = keys["keys"][0].as_str().unwrap();

    let (stands, told) = kept.verify(&["--key", key]);

    assert!(!stands && told.contains("signed"), "{told}");
}

#[test]
fn a_tail_that_was_cut_off_with_its_roots_is_missed_beside_the_database_and_by_who_kept_the_checkpoint()
 {
    let mut kept = Kept::begins();
    kept.server.kill();
    kept.tampers(
        "DROP TRIGGER ledger_is_never_deleted; DROP TRIGGER checkpoint_is_never_deleted;
         DROP TRIGGER checkpoint_signature_is_never_deleted; PRAGMA foreign_keys=OFF;
         DELETE FROM checkpoint_signature WHERE size > 400; DELETE FROM ledger WHERE seq > 400;
         DELETE FROM checkpoint WHERE size > 400;",
    );

    let alone = Server::command(&kept.server.data, &["verify"]);
    let (stands, told) = kept.verify(&[]);

    let alone = String::from_utf8([alone.stdout, alone.stderr].concat()).unwrap();
    assert!(alone.contains("is missing: the ledger had"), "what stands beside it tells: {alone}");
    std::fs::remove_file(kept.server.data.join("rungbook.fence")).unwrap();
    let alone = Server::command(&kept.server.data, &["verify"]);
    let alone = String::from_utf8([alone.stdout, alone.stderr].concat()).unwrap();
    assert!(alone.contains("rungbook.fence is not there"), "that it is gone is told: {alone}");
    assert!(!stands && told.contains("is missing: the ledger had"), "{told}");
}

/// Somebody elsewhere looks at a server.
fn witness(server: &Server, keep: &Path, more: &[&str]) -> (Option<i32>, String) {
    let output = Command::new(crate::harness::PROGRAM)
        .args(["witness", "--server", &server.base, "--programme", "tallow", "--handle", "viktor"])
        .arg("--keep")
        .arg(keep)
        .args(more)
        .env("RUNGBOOK_PASSWORD", crate::harness::DEMONSTRATION_PASSWORD)
        .output()
        .unwrap();
    let told = [output.stdout, output.stderr].concat();
    (output.status.code(), String::from_utf8(told).unwrap())
}

#[test]
fn a_witness_follows_a_ledger_that_grows_and_is_not_taken_in_by_another_past() {
    let kept = Kept::begins();
    let folder = tempfile::tempdir().unwrap();
    let notes = folder.path().join("notes");

    let (first, told) = witness(&kept.server, &notes, &[]);
    assert_eq!(first, Some(0), "{told}");
    assert!(told.contains(&kept.key), "the key is noted: {told}");
    let pilot = kept.server.sign_in_to_demonstration("ines");
    let smoke = serde_json::json!({ "reason": "Again." });
    pilot.post("/api/v1/programmes/tallow/stand-down", smoke).has_status(201);
    let (second, told) = witness(&kept.server, &notes, &[]);
    assert_eq!(second, Some(0), "{told}");
    assert!(told.contains("follow from"), "{told}");

    // The same people and the same programme, made anew: another key first, then the witness is asked to trust that key.
    let other = made_anew();
    let (foreign, told) = witness(&other, &notes, &[]);
    assert_eq!(foreign, Some(1));
    assert!(told.contains("not signed by") && told.contains("refused-"), "{told}");
    let inspector = other.sign_in_to_demonstration("viktor");
    let keys = inspector.get("/api/v1/programmes/tallow/ledger/keys").has_status(200).json();
    let (foreign, told) = witness(&other, &notes, &["--key", keys["keys"][0].as_str().unwrap()]);
    assert_eq!(foreign, Some(1));
    assert!(told.contains("not believed"), "{told}");
    let (third, told) = witness(&kept.server, &notes, &[]);
    assert_eq!(third, Some(0), "what was refused takes nothing's place: {told}");
}

#[test]
fn a_new_key_is_followed_by_a_witness_and_by_who_noted_the_old_one() {
    let mut kept = Kept::begins();
    let folder = tempfile::tempdir().unwrap();
    let notes = folder.path().join("notes");
    assert_eq!(witness(&kept.server, &notes, &[]).0, Some(0));
    kept.server.ends_when_asked();

    let change = |reason: &str| {
        let arguments = ["key", "change", "--by", "marit", "--reason", reason];
        let output = Server::command(&kept.server.data, &arguments);
        let told = [output.stdout, output.stderr].concat();
        (output.status.code(), String::from_utf8(told).unwrap())
    };
    assert_eq!(change(" ").0, Some(2));
    let (changed, told) = change("The club's laptop was lost.");
    assert_eq!(changed, Some(0), "{told}");

    kept.server = kept.server.kill_and_serve_again();
    let pilot = kept.server.sign_in_to_demonstration("jonas");
    let smoke = serde_json::json!({ "reason": "Smoke again." });
    pilot.post("/api/v1/programmes/tallow/stand-down", smoke).has_status(201);
    let (followed, told) = witness(&kept.server, &notes, &[]);
    assert_eq!(followed, Some(0), "{told}");
    assert!(told.contains("handed over to another one") && told.contains("follow from"), "{told}");
    assert_eq!(witness(&kept.server, &notes, &[]).0, Some(0), "the new key is noted now");

    // What the new key signed is believed by who noted the old one alone.
    let latest = notes.join("tallow.latest.checkpoint");
    std::fs::copy(latest, &kept.checkpoint).unwrap();
    let (stands, told) = kept.verify(&["--key", &kept.key]);
    assert!(stands && told.contains("still stands"), "{told}");
    assert!(told.contains("signed by one key after the other"), "{told}");
}
