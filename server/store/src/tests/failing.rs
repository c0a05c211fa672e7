//! When the disk is full, or something else is at the database.

use super::*;

#[tokio::test]
async fn a_full_disk_is_said_so_loses_nothing_and_passes() {
    let club = Club::in_a_file_with(3).await;
    let before = club.store.tree(&tug()).unwrap();
    // SQLite's own limit on the number of pages gives the same answer as a disk without space.
    club.store
        .write(
            async |link| {
                crate::sql::run!(link, it => sqlx::query("PRAGMA max_page_count = 1").execute(it))?;
                Ok(())
            },
            |_, ()| {},
        )
        .await
        .unwrap();
    let large = "x".repeat(300_000);
    let acts = vec![
        act(move |_| Ok(vec![remark(&large)])),
        act(|_| Ok(vec![remark("small, and in the same transaction")])),
        act(|_| Err(refusal())),
    ];
    for refused in HeldWriter::of(&club).await.until_waiting(acts, &club.store).await {
        assert!(
            matches!(refused, Err(ActError::NotWritten(WriteError::DiskFull(_)))),
            "{refused:?}"
        );
    }
    assert!(matches!(club.store.health(), Health::DiskFull));
    assert_eq!(club.store.tree(&tug()).unwrap(), before);
    assert_eq!(club.store.entries(&tug(), 0, 10).await.unwrap().len(), 3);

    // The connection that is opened after a failure has no such limit: there is space again.
    let acted = club.store.act(act(|_| Ok(vec![remark("space again")]))).await.unwrap();
    assert_eq!(acted.entries[0].seq, 4);
    assert!(club.store.health().writes());
    let club = club.reopened().await;
    assert_eq!(club.length(), 4);
    assert!(club.verdict().await.first_failure.is_none());
}

#[tokio::test]
async fn a_ledger_that_something_else_wrote_to_stops_the_writing_and_not_the_reading() {
    let club = Club::in_a_file_with(3).await;
    club.tamper(
        "INSERT INTO ledger SELECT programme, 4, recorded_at, entry, leaf FROM ledger WHERE seq = 3",
    )
    .await
    .unwrap();
    for _ in 0..2 {
        let refused = club.store.act(act(|_| Ok(vec![remark("mine")]))).await;
        let Err(ActError::NotWritten(WriteError::Stopped(cause))) = refused else {
            panic!("{refused:?}");
        };
        assert!(matches!(*cause, StopCause::LedgerDiffers), "{cause:?}");
    }
    assert!(!club.store.health().writes());
    assert_eq!(club.length(), 3);
    let refused = club.store.end_session(uuid::Uuid::nil(), noon()).await;
    assert!(matches!(refused, Err(WriteError::Stopped(_))));
}

#[tokio::test]
async fn a_change_that_the_database_refuses_leaves_the_store_writing() {
    let club = Club::with_records(3).await;
    let refused = club
        .store
        .write(
            async |link| {
                crate::sql::run!(link, it => sqlx::query("DELETE FROM ledger").execute(it))?;
                Ok(())
            },
            |_, ()| {},
        )
        .await;
    assert!(matches!(refused, Err(WriteError::Database(_))), "{refused:?}");
    assert!(club.store.health().writes());
    club.store.act(act(|_| Ok(vec![remark("on")]))).await.unwrap();
    assert_eq!(club.length(), 4);
}
