//! Opening, closing, and opening again.

use super::*;

#[tokio::test]
async fn what_was_acknowledged_is_there_again_with_the_same_root() {
    let club = Club::with_records(40).await;
    let before = club.store.tree(&tug()).unwrap();
    let club = club.reopened().await;
    assert_eq!(club.store.tree(&tug()).unwrap(), before);
    assert_eq!(club.length(), 40);

    club.store.act(act(|_| Ok(vec![remark("on and on")]))).await.unwrap();
    assert_eq!(club.length(), 41);
    assert!(club.verdict().await.first_failure.is_none());
}

#[tokio::test]
async fn a_ledger_longer_than_is_read_at_a_time_is_read_whole() {
    let club = Club::with_a_programme().await;
    let drafts: Vec<_> = (0..9000).map(|number| remark(&number.to_string())).collect();
    club.store.act(act(|_| Ok(drafts))).await.unwrap();
    let before = club.store.tree(&tug()).unwrap();
    let club = club.reopened().await;
    assert_eq!(club.store.tree(&tug()).unwrap(), before);
    let last = club
        .store
        .read(&tug(), |state, _| state.weather.last().unwrap().weather.remarks.clone())
        .unwrap();
    assert_eq!(last.as_deref(), Some("8999"));
    let verdict = club.verdict().await;
    assert_eq!(verdict.head, before);
    assert_eq!(verdict.roots_agreed, 2);
}

#[tokio::test]
async fn a_second_process_is_told_that_the_directory_is_in_use() {
    let club = Club::with_a_programme().await;
    let refused = club.open_again().await.unwrap_err();
    assert!(matches!(refused, OpenError::DataDir(DataDirError::InUse { .. })), "{refused:?}");
    assert!(refused.to_string().contains("in use by another process"));
    club.reopened().await;
}

#[tokio::test]
async fn the_lock_is_given_back_when_the_last_handle_is_gone() {
    let directory = TempDir::new().unwrap();
    let store = Store::open(directory.path()).await.unwrap();
    drop(store);
    // The writer's thread ends by itself; there is nothing to wait on but the lock.
    while let Err(error) = Store::open(directory.path()).await {
        assert!(matches!(error, OpenError::DataDir(DataDirError::InUse { .. })), "{error:?}");
        tokio::task::yield_now().await;
    }
}

#[cfg(unix)]
#[tokio::test]
async fn only_its_owner_may_read_what_the_store_keeps() {
    use std::os::unix::fs::PermissionsExt;
    let club = Club::in_a_file().await;
    let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&club.data()), 0o700);
    for file in std::fs::read_dir(club.data()).unwrap() {
        let path = file.unwrap().path();
        let wanted = if path.is_dir() { 0o700 } else { 0o600 };
        assert_eq!(mode(&path), wanted, "{}", path.display());
    }
}

#[tokio::test]
async fn a_mistyped_directory_can_be_told_from_one_that_holds_data() {
    let club = Club::in_a_file().await;
    assert!(holds_data(&club.data()));
    assert!(!holds_data(&club.directory.path().join("dta")));
}

#[tokio::test]
async fn a_database_of_a_newer_program_is_left_alone() {
    let club = Club::with_a_programme().await;
    club.store.close().await;
    club.tamper(
        "INSERT INTO _sqlx_migrations
         SELECT 9999, 'later', installed_on, success, checksum, execution_time
         FROM _sqlx_migrations LIMIT 1",
    )
    .await
    .unwrap();
    let refused = club.open_again().await.unwrap_err();
    assert!(matches!(refused, OpenError::Newer(_)), "{refused:?}");
}

#[tokio::test]
async fn a_store_that_was_closed_writes_no_more_and_says_so() {
    let club = Club::with_a_programme().await;
    club.store.close().await;
    let refused = club.store.act(act(|_| Ok(vec![]))).await;
    assert!(matches!(refused, Err(ActError::NotWritten(WriteError::Stopped(_)))), "{refused:?}");
    assert!(!club.store.health().writes());
    assert_eq!(club.length(), 1);
}

#[tokio::test]
async fn a_secret_is_made_once_and_not_shown() {
    let club = Club::with_a_programme().await;
    let first = club.store.secret("token-key", noon()).await.unwrap();
    let other = club.store.secret("checkpoint-key", noon()).await.unwrap();
    assert_eq!(first.bytes().len(), 32);
    assert_ne!(first, other);
    assert_eq!(format!("{first:?}"), "Secret(..)");
    let club = club.reopened().await;
    assert_eq!(club.store.secret("token-key", noon()).await.unwrap(), first);
}
