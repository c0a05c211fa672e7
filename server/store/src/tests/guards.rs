//! The ledger cannot be changed, not even with a database shell.

use super::database::Database;
use super::*;

#[tokio::test]
async fn no_statement_of_sqlite_changes_a_record_a_checkpoint_or_a_programme() {
    let club = Club::in_a_file_with(3).await;
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
async fn no_statement_of_postgresql_changes_a_record_a_checkpoint_or_a_programme() {
    let Some(database) = Database::or_say_why_not().await else { return };
    let club = Club::begun(Some(database)).await.grown_to(3).await;
    let before = club.store.entries(&tug(), 0, 10).await.unwrap();
    for (statement, says) in [
        ("UPDATE ledger SET entry = '{}' WHERE seq = 2", "never changed"),
        ("UPDATE ledger SET entry = '{}' WHERE false", "never changed"),
        ("DELETE FROM ledger WHERE seq = 3", "never deleted"),
        ("TRUNCATE ledger, checkpoint, checkpoint_signature", "never deleted"),
        ("TRUNCATE programme CASCADE", "never deleted"),
        (
            "INSERT INTO ledger SELECT programme, 9, recorded_at, entry, leaf FROM ledger WHERE seq = 3",
            "only grows",
        ),
        (
            "INSERT INTO ledger SELECT * FROM ledger WHERE seq = 2
             ON CONFLICT (programme, seq) DO UPDATE SET entry = '{}'",
            "never changed",
        ),
        (
            "MERGE INTO ledger USING (SELECT 2 AS seq) AS other ON ledger.seq = other.seq
             WHEN MATCHED THEN DELETE",
            "never deleted",
        ),
        ("SET session_replication_role = replica; DELETE FROM ledger", "never deleted"),
        ("UPDATE checkpoint SET root = '\\x'", "never changed"),
        ("DELETE FROM checkpoint", "never deleted"),
        ("INSERT INTO checkpoint SELECT programme, 4, root FROM checkpoint", "whole ledger"),
        ("UPDATE checkpoint_signature SET size = 1", "never changed"),
        ("DELETE FROM checkpoint_signature", "never deleted"),
        ("TRUNCATE checkpoint_signature", "never deleted"),
        ("UPDATE programme SET founded_at = 0", "never changed"),
        ("DELETE FROM programme", "never deleted"),
        ("INSERT INTO programme VALUES ('tug', 0)", "duplicate key"),
    ] {
        let error = club.tamper(statement).await.expect_err(statement).to_string();
        assert!(error.contains(says), "{statement}: {error}");
    }
    assert_eq!(club.store.entries(&tug(), 0, 10).await.unwrap(), before);
    assert!(club.verdict().await.first_failure.is_none());
}

#[tokio::test]
async fn a_guard_of_postgresql_that_is_taken_away_or_weakened_is_named() {
    for (statement, name) in [
        ("DROP TRIGGER ledger_is_never_deleted ON ledger", "trigger ledger_is_never_deleted"),
        (
            "ALTER TABLE checkpoint DISABLE TRIGGER checkpoint_is_never_updated",
            "trigger checkpoint_is_never_updated",
        ),
        (
            "CREATE OR REPLACE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN new; END'",
            "function refuse",
        ),
        ("ALTER TABLE ledger DROP CONSTRAINT ledger_pkey", "constraint ledger_pkey"),
        ("CREATE RULE away AS ON INSERT TO ledger DO INSTEAD NOTHING", "table ledger"),
        ("CREATE TABLE beside () INHERITS (ledger)", "table ledger"),
        ("ALTER TABLE ledger ENABLE ROW LEVEL SECURITY", "table ledger"),
        (
            "ALTER TABLE account ALTER COLUMN administrator SET DEFAULT true",
            "column account.administrator",
        ),
    ] {
        let Some(database) = Database::or_say_why_not().await else { return };
        let club = Club::begun(Some(database)).await;
        assert!(club.verdict().await.first_failure.is_none());
        club.tamper(statement).await.unwrap();
        let found = verify_at(&club.whereabouts, &[]).await;
        let Err(VerifyError::OtherTables { name: found }) = found else {
            panic!("{statement}: {found:?}");
        };
        assert!(found.ends_with(name) || name == "table ledger", "{statement}: {found}");
    }
}

#[tokio::test]
async fn the_database_runs_as_it_must_for_nothing_to_be_lost() {
    let club = Club::in_a_file().await;
    let mut connection =
        crate::sql::sqlite::connect_to_write(&club.data().join("rungbook.db")).await.unwrap();
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
