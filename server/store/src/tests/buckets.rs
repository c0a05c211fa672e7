//! Files in a bucket: put whole or in parts, read part by part, and what becomes of those that no record speaks of. Where
//! `RUNGBOOK_TEST_S3` names no object store, nothing of it is tried; where it does, the variables that begin with AWS_ tell how to
//! reach it, as they do for the program.

use std::io::Read as _;

use programme::record::Digest;

use super::*;
use crate::objects::{Bucket, FilesAt};

/// Names the object store, by the address at which it answers.
const STORE: &str = "RUNGBOOK_TEST_S3";

/// More than is put as one, with a last part of its own length.
const LARGE: usize = 21_000_001;

/// A store in a folder whose files are in a bucket under a prefix of their own.
async fn club() -> Option<Club> {
    let Ok(_) = std::env::var(STORE) else {
        println!("{STORE} names no object store, so this was not tried");
        return None;
    };
    let directory = TempDir::new().unwrap();
    let name = uuid::Uuid::now_v7();
    let whereabouts = Whereabouts {
        data: directory.path().join("data"),
        database: None,
        recordings: Some(format!("s3://rungbook-stories/{name}").parse().unwrap()),
    };
    let store = Store::open_at(&whereabouts).await.unwrap();
    store.found("Glider tug".to_owned(), act(|_| Ok(vec![]))).await.unwrap();
    Some(Club { directory, whereabouts, store, database: None })
}

fn bucket(club: &Club) -> Bucket {
    match FilesAt::of(&club.whereabouts).unwrap() {
        FilesAt::Bucket(bucket) => bucket,
        FilesAt::Folder(folder) => panic!("in {}", folder.display()),
    }
}

/// Bytes that look like nothing.
fn noise(length: usize) -> Vec<u8> {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    std::iter::repeat_with(|| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state as u8
    })
    .take(length)
    .collect()
}

fn digest_of(bytes: &[u8]) -> Digest {
    crate::files::pass_on(&mut &bytes[..], &mut std::io::sink()).unwrap()
}

fn notes(club: &Club) -> usize {
    std::fs::read_dir(club.data().join("incoming")).unwrap().count()
}

#[tokio::test]
async fn files_of_any_size_come_back_whole_and_part_by_part() {
    let Some(club) = club().await else { return };
    let objects = club.store.objects();
    for length in [0, 1, 600_000, 16 << 20, LARGE] {
        let bytes = noise(length);
        let first = kept(&club, &bytes).await;
        assert_eq!((first.bytes, first.was_there), (length as u64, false));
        assert!(kept(&club, &bytes).await.was_there);
        assert!(objects.is_whole(&first.digest).await.unwrap(), "{length}");
        assert_eq!(objects.bytes_of(&first.digest).await.unwrap(), Some(length as u64));
        let mut file = objects.open_file(&first.digest).await.unwrap();
        let mut again = Vec::new();
        file.read_to_end(&mut again).unwrap();
        assert!(again == bytes, "{length}");
        for start in (0..length).step_by(300_007) {
            let part = file.part(start as u64, 800_000.min(length - start)).unwrap();
            assert!(part[..] == bytes[start..length.min(start + 800_000)], "{length} at {start}");
        }
        assert!(file.part(length as u64, 1).is_err());
    }
    let none = objects.open_file(&Digest::from_bytes([0; 32])).await;
    assert!(matches!(none, Err(ObjectError::Missing { .. })), "{none:?}");
}

#[tokio::test]
async fn what_breaks_off_or_is_something_else_leaves_nothing_in_the_bucket() {
    let Some(club) = club().await else { return };
    let bucket = bucket(&club);
    let bytes = noise(LARGE);
    let digest = digest_of(&bytes);

    /// Gives what it has, and then fails.
    struct Fails<'a>(&'a [u8]);
    impl std::io::Read for Fails<'_> {
        fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
            match self.0.read(into) {
                Ok(0) => Err(std::io::ErrorKind::ConnectionReset.into()),
                read => read,
            }
        }
    }
    let mut heard = Vec::new();
    let broken = bucket.put(&digest, &mut Fails(&bytes[..18 << 20]), LARGE as u64, &mut |id| {
        heard.push(id.cloned());
        Ok(())
    });
    assert!(broken.is_err());
    assert!(matches!(&heard[..], [Some(_), None]), "{heard:?}");
    // Other bytes than those of the name are none of it, put as one or in parts.
    for length in [LARGE, 5] {
        let mut other = noise(length);
        other[3] ^= 1;
        let digest = digest_of(&noise(length));
        let computed =
            bucket.put(&digest, &mut &other[..], length as u64, &mut |_| Ok(())).unwrap();
        assert_ne!(computed, digest);
        assert!(bucket.found(&digest).unwrap().is_none());
    }
    assert!(bucket.found(&digest).unwrap().is_none());
}

#[tokio::test]
async fn what_no_record_speaks_of_goes_at_the_next_start_unless_somebody_put_it_since() {
    let Some(club) = club().await else { return };
    let bytes = noise(LARGE);
    let (recording, columns) = (kept(&club, &bytes).await, kept(&club, b"PAR1").await);
    recorded(&club, &recording.digest, &columns.digest).await;
    let [orphan, put_again] =
        [kept(&club, b"its record was refused").await, kept(&club, b"two").await];
    // Killed in the middle of an upload in parts.
    let half = digest_of(&noise(LARGE - 1));
    let note = club.data().join("incoming").join("half.note");
    let begun = std::panic::AssertUnwindSafe(|| {
        let _ = bucket(&club).put(&half, &mut &noise(LARGE - 1)[..], LARGE as u64, &mut |id| {
            let id = id.expect("an upload");
            std::fs::write(&note, format!("{half} upload {id}\n")).unwrap();
            panic!("killed");
        });
    });
    assert!(std::panic::catch_unwind(begun).is_err());
    std::fs::write(club.data().join("incoming").join("cut.note"), "abc").unwrap();
    assert_eq!(notes(&club), 6);
    // Times in heads are of whole seconds.
    std::thread::sleep(std::time::Duration::from_millis(1100));
    let computed =
        bucket(&club).put(&put_again.digest, &mut &b"two"[..], 3, &mut |_| Ok(())).unwrap();
    assert_eq!(computed, put_again.digest);

    let club = club.reopened().await;
    assert_eq!(notes(&club), 0);
    let there = bucket(&club);
    assert!(there.found(&orphan.digest).unwrap().is_none());
    for kept in [&recording, &columns, &put_again] {
        assert!(there.found(&kept.digest).unwrap().is_some());
    }
    let verdict = club.verdict().await;
    assert_eq!((verdict.files_agreed, verdict.files_lost.len()), (2, 0));
}

#[tokio::test]
async fn an_older_copy_of_the_database_takes_nothing_out_of_the_bucket() {
    let Some(club) = club().await else { return };
    club.store.close().await;
    let database = crate::data_dir::database_in(&club.data());
    let earlier = std::fs::read(&database).unwrap();
    let club = club.reopened().await;
    let (recording, columns) = (kept(&club, b"a,b\n1,2\n").await, kept(&club, b"PAR1").await);
    recorded(&club, &recording.digest, &columns.digest).await;
    club.store.close().await;
    std::fs::write(&database, earlier).unwrap();
    let club = club.reopened().await;
    assert_eq!(notes(&club), 2);
    assert!(bucket(&club).found(&recording.digest).unwrap().is_some());
}
