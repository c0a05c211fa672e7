//! Ten ways in which somebody with all rights on the machine could forge a ledger, and what the check says of each.
//!
//! The guards of the database are no hindrance to the forger, who takes them away first and puts them back afterwards. Only a
//! ledger that is made anew as a whole, with all that stands beside it, passes: it is found against a checkpoint that was kept
//! elsewhere.

use programme::codes::RecorderCode;
use programme::ledger::checkpoint::{Checkpoint, Origin};
use programme::ledger::note::Signer;
use programme::ledger::{NodeHash, Tree, leaf_hash};
use programme::record::{Digest, RecordingTaken};
use sqlx::Row as _;

use super::*;
use crate::sql::hex;

/// Somebody with all rights, at a data folder that no program has open.
struct Forger {
    data: PathBuf,
    connection: SqliteConnection,
    guards: Vec<String>,
}

impl Forger {
    /// Takes the guards away.
    async fn at(data: &Path) -> Self {
        let options = sqlx::sqlite::SqliteConnectOptions::new()
            .filename(data.join("rungbook.db"))
            .foreign_keys(false);
        let mut connection = SqliteConnection::connect_with(&options).await.unwrap();
        let rows = sqlx::query("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            .fetch_all(&mut connection)
            .await
            .unwrap();
        let mut guards = Vec::new();
        for row in rows {
            let name: String = row.get(0);
            guards.push(row.get(1));
            let statement = format!("DROP TRIGGER {name}");
            sqlx::raw_sql(sqlx::AssertSqlSafe(statement)).execute(&mut connection).await.unwrap();
        }
        Self { data: data.to_owned(), connection, guards }
    }

    async fn runs(&mut self, statement: impl Into<String>) {
        let statement = sqlx::AssertSqlSafe(statement.into());
        sqlx::raw_sql(statement).execute(&mut self.connection).await.unwrap();
    }

    async fn text(&mut self, seq: i64) -> String {
        let query = sqlx::query_scalar("SELECT entry FROM ledger WHERE seq = ?1").bind(seq);
        query.fetch_one(&mut self.connection).await.unwrap()
    }

    /// Puts another text in a record's place, with its hash.
    async fn rewrites(&mut self, seq: i64, from: &str, to: &str) {
        let before = self.text(seq).await;
        let text = before.replace(from, to);
        assert_ne!(text, before, "{from} is not in {text}");
        let entry = programme::entry::Entry::from_json(&text).unwrap();
        sqlx::query("UPDATE ledger SET entry = ?1, leaf = ?2, recorded_at = ?3 WHERE seq = ?4")
            .bind(&text)
            .bind(&leaf_hash(text.as_bytes()).bytes()[..])
            .bind(entry.at.timestamp_micros())
            .bind(seq)
            .execute(&mut self.connection)
            .await
            .unwrap();
    }

    /// Computes every kept root anew.
    async fn makes_roots_anew(&mut self) -> Vec<(i64, NodeHash)> {
        let leaves: Vec<Vec<u8>> = sqlx::query_scalar("SELECT leaf FROM ledger ORDER BY seq")
            .fetch_all(&mut self.connection)
            .await
            .unwrap();
        let mut tree = Tree::default();
        let mut roots = Vec::new();
        for (size, leaf) in (1..).zip(leaves) {
            tree.push(NodeHash::from_bytes(leaf.try_into().unwrap()));
            let root = hex(tree.root().bytes());
            self.runs(format!("UPDATE checkpoint SET root = unhex('{root}') WHERE size = {size}"))
                .await;
            roots.push((size, tree.root()));
        }
        roots
    }

    /// Signs every checkpoint from a size on anew.
    async fn signs_anew(&mut self, secret: &[u8; 32], from: i64, roots: &[(i64, NodeHash)]) {
        let first = self.text(1).await;
        let origin = Origin::new(&tug(), &leaf_hash(first.as_bytes()));
        let signer = Signer::new(origin.as_str(), secret).unwrap();
        let (key, origin) = (hex(&signer.verifier().key()), &origin);
        for (size, root) in roots.iter().filter(|(size, _)| *size >= from) {
            let checkpoint =
                Checkpoint { origin: origin.clone(), size: size.unsigned_abs(), root: *root };
            let signature = hex(&signer.sign(&checkpoint.text()));
            self.runs(format!(
                "UPDATE checkpoint_signature SET public_key = unhex('{key}'),
                 signature = unhex('{signature}') WHERE size = {size}"
            ))
            .await;
        }
    }

    /// The secret by which the server signs.
    async fn secret(&mut self) -> [u8; 32] {
        let query = sqlx::query_scalar("SELECT bytes FROM secret WHERE name = 'checkpoint-key'");
        let secret: Vec<u8> = query.fetch_one(&mut self.connection).await.unwrap();
        secret.try_into().unwrap()
    }

    /// Puts the guards back, and goes.
    async fn leaves(mut self) {
        for guard in std::mem::take(&mut self.guards) {
            self.runs(guard).await;
        }
        self.connection.close().await.unwrap();
    }

    async fn found(self) -> FirstFailure {
        let data = self.data.clone();
        self.leaves().await;
        verdict_of(&data).await.first_failure.expect("the forgery is found")
    }
}

async fn verdict_of(data: &Path) -> ProgrammeVerdict {
    verify(data, &[]).await.unwrap().remove(0)
}

async fn six_records() -> Club {
    let club = Club::in_a_file_with(6).await;
    club.store.close().await;
    let verdict = verdict_of(&club.data()).await;
    assert!(verdict.first_failure.is_none(), "{:?}", verdict.first_failure);
    assert_eq!(verdict.signatures_right, 6);
    club
}

#[tokio::test]
async fn first_a_row_edited_with_its_hash_computed_again() {
    let club = six_records().await;
    let mut forger = Forger::at(&club.data()).await;
    forger.rewrites(4, "\"remarks\":\"4\"", "\"remarks\":\"44\"").await;
    let failure = forger.found().await;
    assert!(matches!(failure.wrong, Wrong::OtherRoot { size: 4, .. }), "{failure:?}");
}

#[tokio::test]
async fn first_again_with_the_roots_computed_again_and_not_signed() {
    let club = six_records().await;
    let mut forger = Forger::at(&club.data()).await;
    forger.rewrites(4, "\"remarks\":\"4\"", "\"remarks\":\"44\"").await;
    forger.makes_roots_anew().await;
    let failure = forger.found().await;
    // The file beside the database would tell as well, for the last root.
    assert!(matches!(failure.wrong, Wrong::BadSignature { size: 4 }), "{failure:?}");
}

#[tokio::test]
async fn second_a_tail_cut_off_with_its_roots_and_signatures() {
    let club = six_records().await;
    let mut forger = Forger::at(&club.data()).await;
    forger
        .runs(
            "DELETE FROM checkpoint_signature WHERE size > 4; DELETE FROM checkpoint WHERE size > 4;
             DELETE FROM ledger WHERE seq > 4;",
        )
        .await;
    let failure = forger.found().await;
    assert_eq!(failure.seq, 5);
    assert!(matches!(failure.wrong, Wrong::Missing { size: 6 }), "{failure:?}");
}

#[tokio::test]
async fn third_two_records_that_changed_places() {
    let club = six_records().await;
    let mut forger = Forger::at(&club.data()).await;
    forger
        .runs(
            "UPDATE ledger SET seq = 99 WHERE seq = 3; UPDATE ledger SET seq = 3 WHERE seq = 5;
             UPDATE ledger SET seq = 5 WHERE seq = 99;",
        )
        .await;
    // Each says now that it has the number of its new place.
    forger.rewrites(3, "\"seq\":5", "\"seq\":3").await;
    forger.rewrites(5, "\"seq\":3", "\"seq\":5").await;
    let failure = forger.found().await;
    assert!(matches!(failure.wrong, Wrong::OtherRoot { size: 3, .. }), "{failure:?}");
}

#[tokio::test]
async fn fourth_a_record_slipped_in_and_those_behind_it_moved_on() {
    let club = six_records().await;
    let mut forger = Forger::at(&club.data()).await;
    for seq in (4..=6).rev() {
        forger.runs(format!("UPDATE ledger SET seq = {} WHERE seq = {seq}", seq + 1)).await;
        forger.rewrites(seq + 1, &format!("\"seq\":{seq}"), &format!("\"seq\":{}", seq + 1)).await;
    }
    forger
        .runs("INSERT INTO ledger SELECT programme, 4, recorded_at, entry, leaf FROM ledger WHERE seq = 3")
        .await;
    forger.rewrites(4, "\"seq\":3", "\"seq\":4").await;
    let failure = forger.found().await;
    assert!(matches!(failure.wrong, Wrong::OtherRoot { size: 4, .. }), "{failure:?}");
}

#[tokio::test]
async fn fifth_the_whole_database_rolled_back_to_what_it_was() {
    let club = Club::in_a_file_with(4).await;
    club.store.close().await;
    let database = club.data().join("rungbook.db");
    let before = std::fs::read(&database).unwrap();
    let club = club.reopened().await;
    club.store.act(act(|_| Ok(vec![remark("5")]))).await.unwrap();
    club.store.close().await;

    std::fs::write(&database, before).unwrap();

    let failure = club.verdict().await.first_failure.unwrap();
    assert!(matches!(failure, FirstFailure { seq: 5, wrong: Wrong::Missing { size: 5 } }));
    // With what tells of it taken away, that it is not there is told.
    std::fs::remove_file(club.data().join("rungbook.fence")).unwrap();
    let failure = club.verdict().await.first_failure.unwrap();
    assert!(matches!(failure.wrong, Wrong::Unfenced), "{failure:?}");
}

#[tokio::test]
async fn sixth_another_key_in_the_place_of_the_one_that_signs() {
    let club = six_records().await;
    let mut forger = Forger::at(&club.data()).await;
    let other = hex(&[9; 32]);
    forger
        .runs(format!("UPDATE secret SET bytes = unhex('{other}') WHERE name = 'checkpoint-key'"))
        .await;
    let failure = forger.found().await;
    assert!(matches!(failure.wrong, Wrong::KeyLost), "{failure:?}");

    let mut forger = Forger::at(&club.data()).await;
    let roots = forger.makes_roots_anew().await;
    forger.signs_anew(&[9; 32], 4, &roots).await;
    let failure = forger.found().await;
    assert!(
        matches!(failure, FirstFailure { seq: 4, wrong: Wrong::OtherKey { .. } }),
        "{failure:?}"
    );
}

#[tokio::test]
async fn seventh_another_story_shown_to_somebody_and_signed_by_the_same_key() {
    let club = six_records().await;
    let shown = {
        let elsewhere = TempDir::new().unwrap();
        let data = elsewhere.path().join("data");
        std::fs::create_dir(&data).unwrap();
        std::fs::copy(club.data().join("rungbook.db"), data.join("rungbook.db")).unwrap();
        let mut forger = Forger::at(&data).await;
        forger.rewrites(6, "\"remarks\":\"6\"", "\"remarks\":\"66\"").await;
        let roots = forger.makes_roots_anew().await;
        let secret = forger.secret().await;
        forger.signs_anew(&secret, 1, &roots).await;
        forger.leaves().await;
        // The copy is sound by itself, as somebody is shown it.
        let verdict = verify(&data.join("rungbook.db"), &[]).await.unwrap().remove(0);
        assert!(verdict.first_failure.is_none(), "{:?}", verdict.first_failure);
        verdict.head
    };
    let kept = [TrustedHead { programme: tug(), size: shown.size, root: shown.root }];
    let verdict = verify(&club.data(), &kept).await.unwrap().remove(0);
    let failure = verdict.first_failure.unwrap();
    assert!(matches!(failure.wrong, Wrong::OtherRoot { size: 6, .. }), "{failure:?}");
}

#[tokio::test]
async fn eighth_the_time_of_a_record_edited_wherever_it_stands() {
    let club = six_records().await;
    let mut forger = Forger::at(&club.data()).await;
    forger.rewrites(2, "2026-05-09T12:00:00Z", "2026-05-08T12:00:00Z").await;
    let failure = forger.found().await;
    assert!(matches!(failure.wrong, Wrong::OtherRoot { size: 2, .. }), "{failure:?}");

    let club = six_records().await;
    let mut forger = Forger::at(&club.data()).await;
    forger.runs("UPDATE programme SET founded_at = founded_at - 1").await;
    let failure = forger.found().await;
    assert!(matches!(failure, FirstFailure { seq: 1, wrong: Wrong::OtherTime { .. } }));
}

/// A ledger that speaks of a recorder's file.
pub(super) async fn with_a_recording(club: &Club, bytes: &[u8]) -> Digest {
    use std::io::Write as _;
    let mut incoming = club.store.objects().begin().unwrap();
    incoming.write_all(bytes).unwrap();
    let kept = club.store.objects().keep(incoming).await.unwrap();
    let taken = RecordingTaken {
        recording: kept.digest.clone(),
        recorder: RecorderCode::new("logger").unwrap(),
        recorder_revision: 2,
        name: "a.csv".to_owned(),
        bytes: kept.bytes,
        started: noon(),
        ended: noon(),
        rows: 1,
        columns: kept.digest.clone(),
        channels: Vec::new(),
        refused_rows: 0,
    };
    club.store.act(act(move |_| Ok(vec![taken.into()]))).await.unwrap();
    kept.digest
}

#[tokio::test]
async fn ninth_another_file_in_the_place_of_a_recording() {
    let club = Club::in_a_file_with(3).await;
    let digest = with_a_recording(&club, b"a,b\n1,121\n").await;
    club.store.close().await;
    let file = crate::objects::path_in(&club.data().join("recordings"), &digest);
    std::fs::write(file, b"a,b\n1,119\n").unwrap();
    let verdict = club.verdict().await;
    assert!(verdict.first_failure.is_none());
    let lost = &verdict.files_lost[0];
    assert!(matches!(lost.why, Lost::Altered { .. }), "{lost:?}");
    assert_eq!(lost.file.seq, 4);

    // With the record edited as well, so that it names the other file, the root is another.
    let other = {
        use sha2::Digest as _;
        Digest::from_bytes(sha2::Sha256::digest(b"a,b\n1,119\n").into())
    };
    let mut forger = Forger::at(&club.data()).await;
    forger.rewrites(4, &digest.to_string(), &other.to_string()).await;
    let failure = forger.found().await;
    assert!(matches!(failure.wrong, Wrong::OtherRoot { size: 4, .. }), "{failure:?}");
}

#[tokio::test]
async fn tenth_the_whole_log_made_anew_passes_alone_and_not_against_a_checkpoint_kept_elsewhere() {
    let club = six_records().await;
    let kept = club.verdict().await.head;
    let mut forger = Forger::at(&club.data()).await;
    forger.rewrites(4, "\"remarks\":\"4\"", "\"remarks\":\"44\"").await;
    let roots = forger.makes_roots_anew().await;
    let secret = forger.secret().await;
    forger.signs_anew(&secret, 1, &roots).await;
    forger.leaves().await;
    let fence = club.data().join("rungbook.fence");
    let marks = std::fs::read_to_string(&fence).unwrap();
    let forged = roots[5].1.to_string();
    std::fs::write(&fence, marks.replace(&kept.root.to_string(), &forged)).unwrap();

    let alone = club.verdict().await;
    assert!(alone.first_failure.is_none(), "{:?}", alone.first_failure);
    let trusted = [TrustedHead { programme: tug(), size: 6, root: kept.root }];
    let failure = verify(&club.data(), &trusted).await.unwrap().remove(0).first_failure.unwrap();
    assert!(matches!(failure.wrong, Wrong::OtherRoot { size: 6, .. }), "{failure:?}");
}

#[tokio::test]
async fn guards_that_were_taken_away_are_missed() {
    let club = six_records().await;
    club.tamper("DROP TRIGGER ledger_is_never_updated").await.unwrap();
    let refused = verify(&club.data(), &[]).await;
    assert!(
        matches!(&refused, Err(VerifyError::OtherTables { name }) if name.contains("never_updated")),
        "{refused:?}"
    );
}
