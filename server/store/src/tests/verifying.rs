//! What an inspector finds when somebody went behind the program's back.

use super::*;

const NO_GUARDS: &str = "
    DROP TRIGGER ledger_only_grows; DROP TRIGGER ledger_is_never_updated;
    DROP TRIGGER ledger_is_never_deleted; DROP TRIGGER checkpoint_is_never_updated;
    DROP TRIGGER checkpoint_is_never_deleted; DROP TRIGGER checkpoint_only_grows;";

/// Writes records, takes the guards away, runs the statements, and tells the first failure.
async fn first_failure(statements: &'static str) -> (FirstFailure, Club) {
    let club = Club::in_a_file_with(6).await;
    assert!(club.verdict().await.first_failure.is_none());
    club.store.close().await;
    club.tamper(NO_GUARDS).await.unwrap();
    club.tamper(statements).await.unwrap();
    let failure = club.verdict().await.first_failure.unwrap();
    let refused = Store::open(&club.data()).await;
    assert!(matches!(refused, Err(OpenError::Damaged { .. })), "{refused:?}");
    (failure, club)
}

#[tokio::test]
async fn an_edited_record_is_named() {
    let (failure, _club) = first_failure(
        "UPDATE ledger SET entry = replace(entry, '\"remarks\":\"4\"', '\"remarks\":\"44\"') WHERE seq = 4",
    )
    .await;
    assert_eq!(failure.seq, 4);
    assert!(matches!(failure.wrong, Wrong::Altered { .. }), "{failure:?}");
}

#[tokio::test]
async fn a_record_edited_together_with_its_hash_is_named_by_the_root() {
    let club = Club::in_a_file_with(6).await;
    let text = club.store.entries(&tug(), 3, 1).await.unwrap().remove(0).text;
    club.store.close().await;
    club.tamper(NO_GUARDS).await.unwrap();
    let forged = text.replace("\"remarks\":\"4\"", "\"remarks\":\"44\"");
    let leaf = programme::ledger::leaf_hash(forged.as_bytes());
    let options =
        sqlx::sqlite::SqliteConnectOptions::new().filename(club.data().join("rungbook.db"));
    let mut connection = SqliteConnection::connect_with(&options).await.unwrap();
    sqlx::query("UPDATE ledger SET entry = ?1, leaf = ?2 WHERE seq = 4")
        .bind(&forged)
        .bind(&leaf.bytes()[..])
        .execute(&mut connection)
        .await
        .unwrap();
    connection.close().await.unwrap();

    let failure = club.verdict().await.first_failure.unwrap();
    assert_eq!(failure.seq, 4);
    assert!(matches!(failure.wrong, Wrong::OtherRoot { size: 4, .. }), "{failure:?}");
    assert!(matches!(Store::open(&club.data()).await, Err(OpenError::Damaged { .. })));
}

#[tokio::test]
async fn a_cut_tail_is_named_by_the_first_record_missing() {
    let (failure, _club) = first_failure("DELETE FROM ledger WHERE seq > 4").await;
    assert_eq!(failure.seq, 5);
    assert!(matches!(failure.wrong, Wrong::Missing { size: 6 }), "{failure:?}");
}

#[tokio::test]
async fn a_record_taken_out_of_the_middle_is_named() {
    let (failure, _club) = first_failure("DELETE FROM ledger WHERE seq = 3").await;
    assert_eq!(failure.seq, 3);
    assert!(matches!(failure.wrong, Wrong::Gap { found: 4 }), "{failure:?}");
}

#[tokio::test]
async fn records_that_changed_places_are_named() {
    let (failure, _club) = first_failure(
        "UPDATE ledger SET seq = 99 WHERE seq = 3; UPDATE ledger SET seq = 3 WHERE seq = 5;
         UPDATE ledger SET seq = 5 WHERE seq = 99",
    )
    .await;
    assert_eq!(failure.seq, 3);
    assert!(matches!(failure.wrong, Wrong::OtherNumber { found: 5 }), "{failure:?}");
}

#[tokio::test]
async fn a_record_filed_under_another_time_is_named() {
    let (failure, _club) =
        first_failure("UPDATE ledger SET recorded_at = recorded_at - 1 WHERE seq = 2").await;
    assert_eq!(failure.seq, 2);
    assert!(matches!(failure.wrong, Wrong::OtherTime { .. }), "{failure:?}");
}

#[tokio::test]
async fn a_record_that_was_slipped_in_is_named() {
    let club = Club::in_a_file_with(3).await;
    let text = club.store.entries(&tug(), 2, 1).await.unwrap().remove(0).text;
    let forged = text.replace("\"seq\":3", "\"seq\":4");
    let leaf = programme::ledger::leaf_hash(forged.as_bytes());
    let options =
        sqlx::sqlite::SqliteConnectOptions::new().filename(club.data().join("rungbook.db"));
    let mut connection = SqliteConnection::connect_with(&options).await.unwrap();
    sqlx::query(
        "INSERT INTO ledger SELECT programme, 4, recorded_at, ?1, ?2 FROM ledger WHERE seq = 3",
    )
    .bind(&forged)
    .bind(&leaf.bytes()[..])
    .execute(&mut connection)
    .await
    .unwrap();
    connection.close().await.unwrap();
    let failure = club.verdict().await.first_failure.unwrap();
    assert_eq!(failure.seq, 4);
    assert!(matches!(failure.wrong, Wrong::Uncovered), "{failure:?}");
}

#[tokio::test]
async fn a_ledger_written_anew_as_a_whole_is_caught_by_a_root_that_somebody_kept() {
    let club = Club::in_a_file_with(4).await;
    let kept = club.store.tree(&tug()).unwrap();
    let trusted = |root| [TrustedHead { programme: tug(), size: 4, root }];
    let good = verify(&club.data(), &trusted(kept.root)).await.unwrap().remove(0);
    assert!(good.first_failure.is_none());
    assert_eq!(good.roots_agreed, 5);

    let other = Club::in_a_file_with(3).await;
    other.store.act(act(|_| Ok(vec![remark("another story")]))).await.unwrap();
    assert!(other.verdict().await.first_failure.is_none());
    let bad = verify(&other.data(), &trusted(kept.root)).await.unwrap().remove(0);
    let failure = bad.first_failure.unwrap();
    assert_eq!(failure.seq, 4);
    assert!(matches!(failure.wrong, Wrong::OtherRoot { size: 4, .. }), "{failure:?}");

    let shorter = Club::in_a_file_with(2).await;
    let bad = verify(&shorter.data(), &trusted(kept.root)).await.unwrap().remove(0);
    assert!(matches!(
        bad.first_failure.unwrap(),
        FirstFailure { seq: 3, wrong: Wrong::Missing { size: 4 } }
    ));
}

#[tokio::test]
async fn a_programme_that_vanished_is_missed_by_a_root_that_somebody_kept() {
    let club = Club::in_a_file_with(2).await;
    let other = ProgrammeId::new("vanished").unwrap();
    let root = club.store.tree(&tug()).unwrap().root;
    let trusted = [TrustedHead { programme: other, size: 2, root }];
    let verdicts = verify(&club.data(), &trusted).await.unwrap();
    assert_eq!(verdicts.len(), 2);
    assert!(matches!(
        verdicts[1].first_failure,
        Some(FirstFailure { seq: 1, wrong: Wrong::Missing { size: 2 } })
    ));
}

#[tokio::test]
async fn the_check_works_beside_writers() {
    let club = Club::in_a_file_with(3).await;
    let store = club.store.clone();
    let writing = tokio::spawn(async move {
        for number in 0..100 {
            store.act(act(move |_| Ok(vec![remark(&number.to_string())]))).await.unwrap();
        }
    });
    while !writing.is_finished() {
        assert!(club.verdict().await.first_failure.is_none());
    }
    writing.await.unwrap();
    assert_eq!(club.verdict().await.head.size, 103);
}

#[tokio::test]
async fn where_there_is_no_database_the_check_says_so() {
    let nowhere = TempDir::new().unwrap();
    let refused = verify(nowhere.path(), &[]).await.unwrap_err();
    assert!(matches!(refused, VerifyError::NotFound { .. }));
}

#[tokio::test]
async fn a_signature_that_was_altered_is_not_given_out() {
    let club = Club::in_a_file_with(3).await;
    let notarised = club.store.checkpoint(&tug(), None).await.unwrap().unwrap();
    assert!(notarised.signed.is_signed_by(&notarised.key));
    assert_eq!(notarised.signed.checkpoint.size, 3);
    assert!(club.store.checkpoint(&tug(), Some(2)).await.unwrap().is_some(), "one a transaction");
    assert!(club.store.checkpoint(&tug(), Some(9)).await.unwrap().is_none());
    club.store.close().await;
    club.tamper("UPDATE checkpoint_signature SET signature = zeroblob(64)").await.unwrap_err();
    club.tamper(
        "DROP TRIGGER checkpoint_signature_is_never_updated;
         UPDATE checkpoint_signature SET signature = zeroblob(64) WHERE size = 3",
    )
    .await
    .unwrap();

    let store = Store::open(&club.data()).await.unwrap();

    assert!(store.checkpoint(&tug(), None).await.is_err(), "nobody is shown what was not signed");
    assert!(store.checkpoint(&tug(), Some(2)).await.unwrap().is_some());
}
