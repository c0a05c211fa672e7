//! A backup that is kept up step by step, and the way back from it.

use super::forgeries::with_a_recording;
use super::*;

async fn remarks(club: &Club, texts: &[&str]) {
    for text in texts {
        let remark = remark(text);
        club.store.act(act(move |_| Ok(vec![remark]))).await.unwrap();
    }
}

async fn kept_up(club: &Club) -> (StepwiseBackup, PathBuf) {
    let folder = club.directory.path().join("kept-up");
    (StepwiseBackup::open(&club.whereabouts, &folder).await.unwrap(), folder)
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name != "rungbook.lock")
        .collect();
    names.sort();
    names
}

async fn restored(club: &Club, folder: &Path) -> Store {
    let elsewhere = TempDir::new_in(club.directory.path()).unwrap().keep();
    restore(folder, &elsewhere, minutes_after_noon(60)).await.unwrap();
    let verdict = verify(&elsewhere, &[]).await.unwrap().remove(0);
    assert!(verdict.first_failure.is_none() && verdict.files_lost.is_empty());
    Store::open(&elsewhere).await.unwrap()
}

#[tokio::test]
async fn every_step_brings_what_is_new_and_all_of_them_restore_to_the_same_root() {
    let club = Club::in_a_file_with(4).await;
    let (mut backup, folder) = kept_up(&club).await;
    assert_eq!(backup.step().await.unwrap(), Stepped::Whole);
    assert_eq!(backup.step().await.unwrap(), Stepped::Nothing);
    remarks(&club, &["gusts", "calm"]).await;
    assert_eq!(backup.step().await.unwrap(), Stepped::Forward { records: 2 });
    let digest = with_a_recording(&club, b"a,b\n1,121\n").await;
    assert_eq!(backup.step().await.unwrap(), Stepped::Forward { records: 1 });
    assert_eq!(backup.step().await.unwrap(), Stepped::Nothing);
    assert_eq!(backup.records(), 7);
    assert_eq!(
        names(&folder),
        ["recordings", "step-000000002.db", "step-000000003.db", "whole-000000001.db"]
    );

    let restored = restored(&club, &folder).await;
    assert_eq!(restored.tree(&tug()), club.store.tree(&tug()));
    assert!(restored.objects().is_whole(&digest).await.unwrap());
    restored.act(act(|_| Ok(vec![remark("and on")]))).await.unwrap();
}

#[tokio::test]
async fn accounts_come_along_as_they_are_and_nobody_stays_signed_in() {
    let club = Club::in_a_file().await;
    let (mut backup, folder) = kept_up(&club).await;
    backup.step().await.unwrap();
    let account = NewAccount {
        handle: ada(),
        name: "Ada".to_owned(),
        password_hash: "first".to_owned(),
        pin_hash: None,
        administrator: false,
    };
    club.store.create_account(account, noon(), None).await.unwrap();
    assert_eq!(backup.step().await.unwrap(), Stepped::Forward { records: 0 });
    let session = NewSession {
        id: uuid::Uuid::from_u128(7),
        handle: ada(),
        token_hash: [1; 32],
        at: noon(),
        expires_at: minutes_after_noon(600),
    };
    club.store.begin_session(session).await.unwrap();
    assert_eq!(backup.step().await.unwrap(), Stepped::Nothing, "who signs in is not kept");
    club.store.disable_account(&ada(), minutes_after_noon(5)).await.unwrap();
    assert_eq!(backup.step().await.unwrap(), Stepped::Forward { records: 0 });

    let restored = restored(&club, &folder).await;
    assert!(restored.account(&ada()).unwrap().disabled_at.is_some());
}

#[tokio::test]
async fn it_goes_on_where_another_process_left_it_and_a_new_whole_replaces_many_steps() {
    let club = Club::in_a_file_with(3).await;
    let (mut backup, folder) = kept_up(&club).await;
    backup.step().await.unwrap();
    remarks(&club, &["one"]).await;
    backup.step().await.unwrap();
    let second = StepwiseBackup::open(&club.whereabouts, &folder).await;
    assert!(matches!(second, Err(BackupError::Folder(DataDirError::InUse { .. }))), "{second:?}");
    drop(backup);

    let (mut backup, _) = kept_up(&club).await;
    assert_eq!(backup.step().await.unwrap(), Stepped::Nothing, "nothing changed meanwhile");
    for number in 3..=6 {
        remarks(&club, &["more"]).await;
        let stepped = backup.step().await.unwrap();
        assert_eq!(stepped, Stepped::Forward { records: 1 }, "step {number}");
    }
    remarks(&club, &["and one too many"]).await;
    assert_eq!(backup.step().await.unwrap(), Stepped::Whole);
    assert_eq!(names(&folder), ["whole-000000007.db"]);
    assert_eq!(restored(&club, &folder).await.tree(&tug()), club.store.tree(&tug()));
}

#[tokio::test]
async fn what_was_written_under_load_restores_to_one_of_the_checkpoints() {
    let club = Club::in_a_file_with(2).await;
    let (mut backup, folder) = kept_up(&club).await;
    let store = club.store.clone();
    let writing = tokio::spawn(async move {
        for number in 0..60 {
            store.act(act(move |_| Ok(vec![remark(&number.to_string())]))).await.unwrap();
        }
    });
    for _ in 0..4 {
        backup.step().await.unwrap();
        tokio::task::yield_now().await;
    }
    let held = backup.records();
    let restored = restored(&club, &folder).await;
    assert_eq!(restored.tree(&tug()), club.store.tree_at(&tug(), held));
    writing.await.unwrap();
}

#[tokio::test]
async fn a_backup_is_never_replaced_by_less_nor_by_another_ledger() {
    let club = Club::in_a_file_with(3).await;
    let (mut backup, folder) = kept_up(&club).await;
    backup.step().await.unwrap();
    remarks(&club, &["more"]).await;
    backup.step().await.unwrap();
    drop(backup);
    let before = names(&folder);

    let fewer = Club::in_a_file_with(2).await;
    let refused = StepwiseBackup::open(&fewer.whereabouts, &folder).await;
    assert!(matches!(refused, Err(BackupError::OtherLedger { records: 4, .. })), "{refused:?}");
    let other = Club::in_a_file().await;
    remarks(&other, &["x", "y", "z"]).await;
    let refused = StepwiseBackup::open(&other.whereabouts, &folder).await;
    assert!(matches!(refused, Err(BackupError::OtherLedger { records: 4, .. })), "{refused:?}");
    assert_eq!(names(&folder), before);
}

#[tokio::test]
async fn a_step_that_is_missing_or_was_altered_is_told_and_nothing_is_restored() {
    let club = Club::in_a_file_with(2).await;
    let (mut backup, folder) = kept_up(&club).await;
    backup.step().await.unwrap();
    for text in ["one", "two", "three"] {
        remarks(&club, &[text]).await;
        backup.step().await.unwrap();
    }
    let elsewhere = club.directory.path().join("elsewhere");
    let third = folder.join("step-000000003.db");
    let whole = std::fs::read(&third).unwrap();
    std::fs::remove_file(&third).unwrap();
    let refused = restore(&folder, &elsewhere, noon()).await;
    let Err(RestoreError::File { source, .. }) = &refused else { panic!("{refused:?}") };
    assert!(source.to_string().contains("step-000000003.db is missing"), "{source}");

    let place = whole.windows(5).position(|part| part == b"\"two\"").unwrap();
    let mut altered = whole;
    altered[place + 1] = b'T';
    std::fs::write(&third, altered).unwrap();
    let refused = restore(&folder, &elsewhere, noon()).await;
    assert!(
        matches!(refused, Err(RestoreError::Fails { failure: FirstFailure { seq: 4, .. }, .. })),
        "{refused:?}"
    );
    assert!(std::fs::read_dir(&elsewhere).unwrap().next().is_none());

    let nothing = TempDir::new().unwrap();
    let refused = restore(nothing.path(), &elsewhere, noon()).await;
    assert!(matches!(refused, Err(RestoreError::NoBackup { .. })), "{refused:?}");
}
