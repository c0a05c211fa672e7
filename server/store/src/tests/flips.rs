//! Thousands of single bits turned anywhere in database and recordings: each is found, or nothing that the ledger keeps reads
//! otherwise than before.

use std::io::{Read, Seek, SeekFrom, Write};

use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

use super::forgeries::with_a_recording;
use super::*;

/// How many bits are turned, over all threads, where `FLIPS` does not say otherwise: 5,000 take about a minute.
const FLIPS: usize = 400;

/// Everything that the ledger keeps, as it is read: what a bit that is not found must not have changed.
async fn evidence(database: &Path) -> Result<Vec<String>, sqlx::Error> {
    let mut connection = crate::sql::sqlite::connect_to_read(database).await?;
    let mut all = Vec::new();
    for statement in [
        "SELECT quote(id) || quote(founded_at) FROM programme ORDER BY id",
        "SELECT quote(programme) || quote(seq) || quote(recorded_at) || quote(entry) || quote(leaf)
         FROM ledger ORDER BY programme, seq",
        "SELECT quote(programme) || quote(size) || quote(root) FROM checkpoint ORDER BY programme, size",
        "SELECT quote(programme) || quote(size) || quote(public_key) || quote(signature)
         FROM checkpoint_signature ORDER BY programme, size",
        "SELECT quote(bytes) FROM secret WHERE name LIKE 'checkpoint-key%'",
        "SELECT type || quote(name) || quote(sql) FROM sqlite_master
         WHERE tbl_name <> '_sqlx_migrations' ORDER BY type, name",
    ] {
        let rows: Vec<String> = sqlx::query_scalar(statement).fetch_all(&mut connection).await?;
        all.extend(rows);
    }
    connection.close().await?;
    Ok(all)
}

/// Whether a check finds something wrong.
async fn is_found(data: &Path) -> bool {
    match verify(data, &[]).await {
        Err(_) => true,
        Ok(verdicts) => {
            verdicts.len() != 1
                || verdicts[0].first_failure.is_some()
                || !verdicts[0].files_lost.is_empty()
        }
    }
}

fn turn(file: &Path, bit: u64) {
    let mut file =
        std::fs::OpenOptions::new().read(true).write(true).open(file).expect("the file is there");
    let mut byte = [0];
    file.seek(SeekFrom::Start(bit / 8)).unwrap();
    file.read_exact(&mut byte).unwrap();
    byte[0] ^= 1 << (bit % 8);
    file.seek(SeekFrom::Start(bit / 8)).unwrap();
    file.write_all(&byte).unwrap();
}

/// Turns bits one after the other in a copy of the folder, and gives how many were found.
async fn turned(original: PathBuf, seed: u64, flips: usize) -> usize {
    let copy = TempDir::new().unwrap();
    let data = copy.path().join("data");
    let mut files = vec![data.join("rungbook.db")];
    std::fs::create_dir(&data).unwrap();
    for name in ["rungbook.db", "rungbook.fence"] {
        std::fs::copy(original.join(name), data.join(name)).unwrap();
    }
    for group in std::fs::read_dir(original.join("recordings")).unwrap() {
        let group = group.unwrap();
        let folder = data.join("recordings").join(group.file_name());
        std::fs::create_dir_all(&folder).unwrap();
        for file in std::fs::read_dir(group.path()).unwrap() {
            let file = file.unwrap();
            std::fs::copy(file.path(), folder.join(file.file_name())).unwrap();
            files.push(folder.join(file.file_name()));
        }
    }
    let before = evidence(&files[0]).await.unwrap();
    let sizes: Vec<u64> =
        files.iter().map(|file| std::fs::metadata(file).unwrap().len() * 8).collect();
    let whole = std::fs::read(&files[0]).unwrap();
    assert!(!is_found(&data).await, "all is well before");

    let mut chance = StdRng::seed_from_u64(seed);
    let mut found = 0;
    for flip in 0..flips {
        let mut bit = chance.random_range(0..sizes.iter().sum());
        let place = sizes.iter().position(|size| {
            let here = bit < *size;
            bit -= if here { 0 } else { *size };
            here
        });
        let file = &files[place.unwrap()];
        turn(file, bit);
        if is_found(&data).await {
            found += 1;
        } else {
            assert_eq!(file, &files[0], "seed {seed}, flip {flip}: a recording was altered unseen");
            let now = evidence(file).await.unwrap_or_default();
            assert!(
                now == before,
                "seed {seed}, flip {flip}: bit {bit} of the database was altered unseen"
            );
        }
        if place == Some(0) {
            // What a check may have left beside it goes as well.
            for beside in ["rungbook.db-wal", "rungbook.db-shm", "rungbook.db-journal"] {
                let _ = std::fs::remove_file(data.join(beside));
            }
            std::fs::write(file, &whole).unwrap();
        } else {
            turn(file, bit);
        }
    }
    assert!(!is_found(&data).await, "all is well again");
    found
}

#[test]
fn turned_bits_are_found_or_change_nothing_that_the_ledger_keeps() {
    let seed: u64 = rand::random();
    println!("seed {seed}");
    let flips = std::env::var("FLIPS").ok().and_then(|told| told.parse().ok()).unwrap_or(FLIPS);
    let runtime = || tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let club = runtime().block_on(async {
        let club = Club::in_a_file_with(8).await;
        let many = (0..60).map(|number| remark(&format!("observed for the {number}th time")));
        let many: Vec<_> = many.collect();
        club.store.act(act(move |_| Ok(many))).await.unwrap();
        with_a_recording(&club, &b"2026-05-09T12:00:00Z,121.5\n".repeat(2000)).await;
        club.store.close().await;
        club
    });
    let threads = 2;
    let found: usize = std::thread::scope(|scope| {
        let working: Vec<_> = (0..threads)
            .map(|thread| {
                let data = club.data();
                let turned = turned(data, seed.wrapping_add(thread), flips / threads as usize);
                scope.spawn(move || runtime().block_on(turned))
            })
            .collect();
        working.into_iter().map(|one| one.join().unwrap()).sum()
    });
    println!("{found} of {flips} were found; the others changed nothing that the ledger keeps");
    assert!(found > flips / 4, "most bytes of these files mean something: {found}");
}
