//! Copies of everything, and the way back.

use super::*;

#[tokio::test]
async fn a_backup_made_beside_writers_restores_to_a_ledger_that_passes() {
    let club = Club::in_a_file_with(5).await;
    let file = club.directory.path().join("club.backup");
    let store = club.store.clone();
    let writing = tokio::spawn(async move {
        for number in 0..50 {
            store.act(act(move |_| Ok(vec![remark(&number.to_string())]))).await.unwrap();
        }
    });
    let verdicts = backup(&club.data(), &file).await.unwrap();
    writing.await.unwrap();
    let copied = verdicts[0].head;
    assert!(copied.size >= 5);
    assert_eq!(club.store.tree_at(&tug(), copied.size), Some(copied));

    let elsewhere = club.directory.path().join("elsewhere");
    restore(&file, &elsewhere, minutes_after_noon(60)).await.unwrap();
    let restored = Store::open(&elsewhere).await.unwrap();
    assert_eq!(restored.tree(&tug()), Some(copied));
    restored.act(act(|_| Ok(vec![remark("and on")]))).await.unwrap();
    assert_eq!(restored.tree(&tug()).unwrap().size, copied.size + 1);
}

#[cfg(unix)]
#[tokio::test]
async fn only_its_owner_may_read_a_backup() {
    use std::os::unix::fs::PermissionsExt;
    let club = Club::in_a_file_with(2).await;
    let file = club.directory.path().join("club.backup");
    backup(&club.data(), &file).await.unwrap();
    assert_eq!(std::fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
    let left: Vec<_> = std::fs::read_dir(club.directory.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name())
        .filter(|name| name != "data" && name != "club.backup")
        .collect();
    assert!(left.is_empty(), "{left:?}");
}

#[tokio::test]
async fn a_backup_never_overwrites_and_never_restores_over_something() {
    let club = Club::in_a_file_with(2).await;
    let file = club.directory.path().join("club.backup");
    backup(&club.data(), &file).await.unwrap();
    let refused = backup(&club.data(), &file).await;
    assert!(matches!(refused, Err(BackupError::Exists { .. })), "{refused:?}");
    let refused = restore(&file, &club.data(), noon()).await;
    assert!(matches!(refused, Err(RestoreError::NotEmpty { .. })), "{refused:?}");
    let nowhere = club.directory.path().join("nowhere");
    let refused = backup(&nowhere, &club.directory.path().join("other.backup")).await;
    assert!(matches!(refused, Err(BackupError::NoDatabase { .. })), "{refused:?}");
}

#[tokio::test]
async fn a_backup_that_was_altered_is_not_restored_and_leaves_nothing_behind() {
    let club = Club::in_a_file_with(3).await;
    let file = club.directory.path().join("club.backup");
    backup(&club.data(), &file).await.unwrap();
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(&file);
    let mut connection = SqliteConnection::connect_with(&options).await.unwrap();
    sqlx::raw_sql(
        "DROP TRIGGER ledger_is_never_updated;
         UPDATE ledger SET entry = replace(entry, '\"3\"', '\"4\"') WHERE seq = 3",
    )
    .execute(&mut connection)
    .await
    .unwrap();
    connection.close().await.unwrap();

    let elsewhere = club.directory.path().join("elsewhere");
    let refused = restore(&file, &elsewhere, noon()).await;
    assert!(
        matches!(refused, Err(RestoreError::Fails { failure: FirstFailure { seq: 3, .. }, .. })),
        "{refused:?}"
    );
    assert!(std::fs::read_dir(&elsewhere).unwrap().next().is_none());

    std::fs::write(&file, "this is no database").unwrap();
    let refused = restore(&file, &elsewhere, noon()).await;
    assert!(matches!(refused, Err(RestoreError::Database(_))), "{refused:?}");
    assert!(std::fs::read_dir(&elsewhere).unwrap().next().is_none());
}

#[tokio::test]
async fn after_a_restore_everybody_signs_in_anew() {
    let club = Club::in_a_file().await;
    let account = NewAccount {
        handle: ada(),
        name: "Ada".to_owned(),
        password_hash: String::new(),
        pin_hash: None,
        administrator: true,
    };
    club.store.create_account(account, noon(), None).await.unwrap();
    let id = uuid::Uuid::from_u128(7);
    let session = NewSession {
        id,
        handle: ada(),
        token_hash: [1; 32],
        at: noon(),
        expires_at: minutes_after_noon(600),
    };
    club.store.begin_session(session).await.unwrap();
    let file = club.directory.path().join("club.backup");
    backup(&club.data(), &file).await.unwrap();
    let elsewhere = club.directory.path().join("elsewhere");
    restore(&file, &elsewhere, minutes_after_noon(10)).await.unwrap();
    let restored = Store::open(&elsewhere).await.unwrap();
    assert!(restored.account(&ada()).is_some());
    assert!(restored.signed_in(&ada(), id, minutes_after_noon(1)).is_err());
    assert!(club.store.signed_in(&ada(), id, minutes_after_noon(1)).is_ok());
}
