//! A log that was cut anywhere, and databases that earlier programs made.

use std::collections::BTreeMap;
use std::fs;

use sqlx::sqlite::SqliteConnectOptions;

use super::*;
use crate::sql::sqlite::MIGRATIONS;

/// Parts of a disk that are written whole.
const SECTOR: usize = 512;

#[tokio::test]
async fn a_log_that_was_cut_at_any_sector_gives_a_beginning_of_what_was_acknowledged() {
    let club = Club::in_a_file().await;
    let database = club.data().join("rungbook.db");
    // What was founded is in the database itself, so that no cut takes it away.
    tamper(&club.data(), "PRAGMA wal_checkpoint(TRUNCATE)").await.unwrap();
    let mut acknowledged = BTreeMap::from([(1, club.store.tree(&tug()).unwrap().root)]);
    for number in 0..8 {
        let text = format!("{number}, {}", "long enough for a page of its own ".repeat(90));
        club.store.act(act(move |_| Ok(vec![remark(&text)]))).await.unwrap();
        let head = club.store.tree(&tug()).unwrap();
        acknowledged.insert(head.size, head.root);
    }
    let whole = fs::read(&database).unwrap();
    let log = fs::read(club.data().join("rungbook.db-wal")).unwrap();
    assert!(log.len() > 100 * SECTOR, "the log has {} bytes", log.len());

    let mut before = 0;
    for cut in (0..=log.len()).step_by(SECTOR).chain([log.len()]) {
        let torn = TempDir::new().unwrap();
        fs::write(torn.path().join("rungbook.db"), &whole).unwrap();
        fs::write(torn.path().join("rungbook.db-wal"), &log[..cut]).unwrap();
        let store = Store::open(torn.path()).await.unwrap();
        let head = store.tree(&tug()).unwrap();
        assert_eq!(acknowledged.get(&head.size), Some(&head.root), "cut after {cut} bytes");
        assert!(head.size >= before, "cut after {cut} bytes: {} after {before}", head.size);
        before = head.size;
        store.close().await;
    }
    assert_eq!(before, 9, "the whole log gives everything");
}

#[tokio::test]
async fn a_database_of_each_earlier_program_is_brought_up_to_date_with_its_root() {
    let club = Club::in_a_file_with(12).await;
    let head = club.store.tree(&tug()).unwrap();
    club.store.close().await;
    let versions: Vec<i64> = MIGRATIONS.iter().map(|migration| migration.version).collect();
    for version in versions {
        let earlier = TempDir::new().unwrap();
        let options = SqliteConnectOptions::new()
            .filename(earlier.path().join("rungbook.db"))
            .create_if_missing(true);
        let mut connection = SqliteConnection::connect_with(&options).await.unwrap();
        MIGRATIONS.run_to(version, &mut connection).await.unwrap();
        // What that program could have kept: the ledger, with a checkpoint of each of its sizes.
        sqlx::query("ATTACH ?1 AS present")
            .bind(club.data().join("rungbook.db").to_string_lossy().into_owned())
            .execute(&mut connection)
            .await
            .unwrap();
        for seq in 1..=12_i64 {
            if seq == 1 {
                let founded = "INSERT INTO programme SELECT * FROM present.programme";
                sqlx::raw_sql(founded).execute(&mut connection).await.unwrap();
            }
            for statement in [
                "INSERT INTO ledger SELECT * FROM present.ledger WHERE seq = ?1",
                "INSERT INTO checkpoint SELECT * FROM present.checkpoint WHERE size = ?1",
            ] {
                sqlx::query(statement).bind(seq).execute(&mut connection).await.unwrap();
            }
        }
        connection.close().await.unwrap();

        let store = Store::open(earlier.path()).await.unwrap();
        assert_eq!(store.tree(&tug()), Some(head), "from version {version}");
        let act = store.act(act(|_| Ok(vec![remark("after the upgrade")]))).await;
        assert!(act.is_ok(), "from version {version}: {act:?}");
        store.close().await;
        let verdict = verify(earlier.path(), &[]).await.unwrap().remove(0);
        assert!(verdict.first_failure.is_none(), "from version {version}: {verdict:?}");
        assert_eq!(verdict.head.size, 13);
    }
}
