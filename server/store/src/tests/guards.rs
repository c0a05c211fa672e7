//! The ledger cannot be changed, not even with a database shell.

use super::*;

#[tokio::test]
async fn no_statement_changes_a_record_a_checkpoint_or_a_programme() {
    let club = Club::with_records(3).await;
    let before = club.store.entries(&tug(), 0, 10).await.unwrap();
    for (statement, says) in [
        ("UPDATE ledger SET entry = '{}' WHERE seq = 2", "never changed"),
        ("UPDATE OR REPLACE ledger SET seq = 3 WHERE seq = 2", "never changed"),
        ("UPDATE OR IGNORE ledger SET entry = '{}'", "never changed"),
        ("DELETE FROM ledger WHERE seq = 3", "never deleted"),
        ("DELETE FROM ledger", "never deleted"),
        (
            "INSERT OR REPLACE INTO ledger SELECT programme, seq, recorded_at, '{}', leaf FROM ledger WHERE seq = 2",
            "only grows",
        ),
        (
            "REPLACE INTO ledger SELECT programme, seq, recorded_at, '{}', leaf FROM ledger WHERE seq = 3",
            "only grows",
        ),
        (
            "INSERT OR IGNORE INTO ledger SELECT programme, 9, recorded_at, entry, leaf FROM ledger WHERE seq = 3",
            "only grows",
        ),
        (
            "INSERT INTO ledger SELECT * FROM ledger WHERE seq = 2
             ON CONFLICT DO UPDATE SET entry = '{}'",
            "only grows",
        ),
        ("UPDATE checkpoint SET root = zeroblob(32)", "never changed"),
        ("DELETE FROM checkpoint", "never deleted"),
        ("REPLACE INTO checkpoint VALUES ('tug', 3, zeroblob(32))", "whole ledger"),
        ("INSERT INTO checkpoint VALUES ('tug', 4, zeroblob(32))", "whole ledger"),
        ("UPDATE programme SET founded_at = 0", "never changed"),
        ("DELETE FROM programme", "never deleted"),
        ("REPLACE INTO programme VALUES ('tug', 0)", "exists"),
    ] {
        let error = club.tamper(statement).await.expect_err(statement).to_string();
        assert!(error.contains(says), "{statement}: {error}");
    }
    assert_eq!(club.store.entries(&tug(), 0, 10).await.unwrap(), before);
    assert!(club.verdict().await.first_failure.is_none());
}

#[tokio::test]
async fn the_database_runs_as_it_must_for_nothing_to_be_lost() {
    let club = Club::with_a_programme().await;
    let mut connection =
        crate::sqlite::connect_to_write(&club.data().join("rungbook.db")).await.unwrap();
    for (pragma, expected) in [
        ("PRAGMA journal_mode", "wal"),
        // 2 is FULL.
        ("PRAGMA synchronous", "2"),
        ("PRAGMA foreign_keys", "1"),
        ("PRAGMA recursive_triggers", "1"),
    ] {
        let row = sqlx::query(pragma).fetch_one(&mut connection).await.unwrap();
        let found = sqlx::Row::try_get_unchecked::<String, _>(&row, 0).unwrap();
        assert_eq!(found, expected, "{pragma}");
    }
}
