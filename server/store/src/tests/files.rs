//! Files under their digests, and what becomes of them with the ledger that speaks of them.

use std::io::Read as _;

use programme::record::Digest;

use super::*;
use crate::Lost;

fn all_in(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// A club whose ledger speaks of a file and its columns.
async fn with_a_recording() -> (Club, Digest, Digest) {
    let club = Club::in_a_file_with(2).await;
    let (recording, columns) = (kept(&club, b"a,b\n1,2\n").await, kept(&club, b"PAR1").await);
    recorded(&club, &recording.digest, &columns.digest).await;
    (club, recording.digest, columns.digest)
}

fn path_of(folder: &Path, digest: &Digest) -> PathBuf {
    crate::objects::path_in(&folder.join("recordings"), digest)
}

#[tokio::test]
async fn a_file_is_kept_under_the_digest_of_its_bytes_and_a_repeated_one_is_recognised() {
    let club = Club::in_a_file().await;
    let first = kept(&club, b"volts").await;
    // Computed by sha256sum of GNU coreutils.
    let by_hand = "7530fea44753405cb3c45615a3244b31aabea39062db3442928da3ccb1310a4f";
    assert_eq!(first.digest.to_string(), by_hand);
    assert_eq!((first.bytes, first.was_there), (5, false));
    let again = kept(&club, b"volts").await;
    assert_eq!((&again.digest, again.was_there), (&first.digest, true));
    let mut text = String::new();
    let mut file = club.store.objects().open_file(&first.digest).await.unwrap();
    file.read_to_string(&mut text).unwrap();
    assert_eq!(text, "volts");
    let none = club.store.objects().open_file(&Digest::from_bytes([0; 32])).await;
    assert!(matches!(none, Err(ObjectError::Missing { .. })), "{none:?}");
}

#[tokio::test]
async fn what_breaks_off_leaves_nothing_behind_also_when_the_program_was_killed_meanwhile() {
    let club = Club::in_a_file().await;
    let incoming = club.data().join("recordings").join("incoming");
    let mut broken = club.store.objects().begin().unwrap();
    broken.write_all(b"half of a file").unwrap();
    assert_eq!(all_in(&incoming).len(), 1);
    drop(broken);
    assert!(all_in(&incoming).is_empty());
    // As a killed program leaves it.
    std::fs::write(incoming.join("left"), b"half").unwrap();
    let club = club.reopened().await;
    assert!(all_in(&incoming).is_empty());
    assert_eq!(all_in(&club.data().join("recordings")), ["incoming"]);
}

#[tokio::test]
async fn a_file_whose_record_was_never_written_is_removed_at_the_next_start_and_no_other() {
    let (club, recording, columns) = with_a_recording().await;
    let orphan = kept(&club, b"its record was refused").await;
    let folder = club.data().join("recordings");
    std::fs::write(folder.join("notes.txt"), b"somebody else's").unwrap();
    let beside = path_of(&club.data(), &orphan.digest).with_file_name("README");
    std::fs::write(&beside, b"somebody else's").unwrap();
    let club = club.reopened().await;
    assert!(!path_of(&club.data(), &orphan.digest).exists());
    assert!(path_of(&club.data(), &recording).is_file());
    assert!(path_of(&club.data(), &columns).is_file());
    assert!(beside.is_file() && folder.join("notes.txt").is_file());
}

#[tokio::test]
async fn a_lost_or_altered_file_is_whole_again_once_the_same_bytes_are_kept_again() {
    let (club, recording, _) = with_a_recording().await;
    let objects = club.store.objects();
    assert!(objects.is_whole(&recording).await.unwrap());
    for damage in [None, Some(&b"a,b\n1,3\n"[..]), Some(&b""[..])] {
        let path = path_of(&club.data(), &recording);
        match damage {
            Some(bytes) => std::fs::write(&path, bytes).unwrap(),
            None => std::fs::remove_file(&path).unwrap(),
        }
        assert!(!objects.is_whole(&recording).await.unwrap(), "{damage:?}");
        kept(&club, b"a,b\n1,2\n").await;
        assert!(objects.is_whole(&recording).await.unwrap(), "{damage:?}");
    }
    let verdict = verify(&club.data(), &[]).await.unwrap().remove(0);
    assert_eq!((verdict.files_agreed, verdict.files_lost.len()), (2, 0));
}

#[tokio::test]
async fn verification_names_each_record_whose_file_was_altered_or_is_gone() {
    let (club, recording, columns) = with_a_recording().await;
    let verdict = verify(&club.data(), &[]).await.unwrap().remove(0);
    assert_eq!((verdict.files_agreed, verdict.files_lost.len()), (2, 0));

    std::fs::write(path_of(&club.data(), &recording), b"a,b\n1,3\n").unwrap();
    std::fs::remove_file(path_of(&club.data(), &columns)).unwrap();
    let verdict = verify(&club.data(), &[]).await.unwrap().remove(0);
    assert!(verdict.first_failure.is_none(), "the records themselves are whole");
    assert_eq!(verdict.files_agreed, 0);
    let [altered, gone] = &verdict.files_lost[..] else { panic!("{:?}", verdict.files_lost) };
    assert!(matches!(altered.why, Lost::Altered { .. }), "{altered}");
    assert_eq!((altered.file.seq, &altered.file.digest), (3, &recording));
    assert!(matches!(gone.why, Lost::Missing), "{gone}");
}

#[tokio::test]
async fn a_backup_has_the_files_and_a_later_one_shares_them_and_both_restore() {
    let (club, recording, columns) = with_a_recording().await;
    let shelf = club.directory.path().join("shelf");
    std::fs::create_dir(&shelf).unwrap();
    let verdicts = backup(&club.data(), &shelf.join("monday")).await.unwrap();
    assert_eq!(verdicts[0].files_agreed, 2);
    let there = path_of(&shelf, &recording);
    let written = std::fs::metadata(&there).unwrap().modified().unwrap();
    backup(&club.data(), &shelf.join("tuesday")).await.unwrap();
    assert_eq!(std::fs::metadata(&there).unwrap().modified().unwrap(), written);

    let elsewhere = club.directory.path().join("elsewhere");
    restore(&shelf.join("tuesday"), &elsewhere, noon()).await.unwrap();
    for digest in [&recording, &columns] {
        assert!(path_of(&elsewhere, digest).is_file());
    }
    let verdict = verify(&elsewhere, &[]).await.unwrap().remove(0);
    assert_eq!((verdict.files_agreed, verdict.files_lost.len()), (2, 0));
}

#[tokio::test]
async fn without_its_files_a_ledger_is_neither_backed_up_nor_restored() {
    let (club, recording, _) = with_a_recording().await;
    let shelf = club.directory.path().join("shelf");
    std::fs::create_dir(&shelf).unwrap();
    backup(&club.data(), &shelf.join("monday")).await.unwrap();
    std::fs::write(path_of(&shelf, &recording), b"other").unwrap();
    let elsewhere = club.directory.path().join("elsewhere");
    let refused = restore(&shelf.join("monday"), &elsewhere, noon()).await;
    assert!(matches!(refused, Err(RestoreError::Lost { .. })), "{refused:?}");
    assert!(all_in(&elsewhere).is_empty());

    std::fs::remove_file(path_of(&club.data(), &recording)).unwrap();
    std::fs::remove_file(path_of(&shelf, &recording)).unwrap();
    let refused = backup(&club.data(), &shelf.join("tuesday")).await;
    assert!(matches!(refused, Err(BackupError::Lost { .. })), "{refused:?}");
    assert!(!shelf.join("tuesday").exists());
}
