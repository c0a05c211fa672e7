//! Packs: made, checked, altered, made to harm, and moved into another server.

use std::io::{Read as _, Write as _};

use programme::codes::PointCode;
use programme::ledger::checkpoint::Checkpoint;
use programme::nouns::Role;
use programme::record::{CopyAcknowledged, StandDownLifted};
use programme::scope::Scope;
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use super::forgeries::with_a_recording;
use super::*;

const FLIPS: usize = 400;

fn order(scope: Scope, recordings: RecordingsIn) -> PackOrder {
    let document = NamedFile { name: "document.pdf".to_owned(), bytes: b"%PDF".to_vec() };
    PackOrder { programme: tug(), scope, recordings, besides: vec![document] }
}

async fn packed(club: &Club, name: &str, order: &PackOrder) -> (PathBuf, PackMade) {
    let file = club.directory.path().join(name);
    let made = club.store.write_pack(order, &file, &Progress::default()).await.unwrap();
    (file, made)
}

fn whole() -> PackOrder {
    order(Scope::Programme, RecordingsIn::Included)
}

async fn club() -> Club {
    let club = Club::with_records(8).await;
    let many = (0..40).map(|number| remark(&format!("observed for the {number}th time")));
    let many: Vec<_> = many.collect();
    club.store.act(act(move |_| Ok(many))).await.unwrap();
    with_a_recording(&club, &b"2026-05-09T12:00:00Z,121.5\n".repeat(500)).await;
    club.store.change_key(&ada(), Utc::now(), "A laptop was lost.").await.unwrap();
    club.store.act(act(|_| Ok(vec![remark("and on")]))).await.unwrap();
    club
}

async fn checkpoint(club: &Club, size: u64) -> Checkpoint {
    club.store.checkpoint(&tug(), Some(size)).await.unwrap().unwrap().signed.checkpoint
}

/// Every part with its name, as a pack is read.
fn parts(pack: &Path) -> Option<Vec<(String, Vec<u8>)>> {
    let mut archive = ZipArchive::new(std::fs::File::open(pack).ok()?).ok()?;
    (0..archive.len())
        .map(|place| {
            let mut part = archive.by_index(place).ok()?;
            let mut bytes = Vec::new();
            part.read_to_end(&mut bytes).ok()?;
            Some((part.name().ok()?.into_owned(), bytes))
        })
        .collect()
}

/// Writes parts as somebody would who makes a pack of their own, with sums that fit.
fn forged(pack: &Path, mut parts: Vec<(String, Vec<u8>)>) -> PathBuf {
    use sha2::Digest as _;
    let digest = |bytes: &[u8]| crate::sql::hex(&sha2::Sha256::digest(bytes));
    parts.retain(|(name, _)| name != "SHA256SUMS");
    let sums: String =
        parts.iter().map(|(name, bytes)| format!("{}  {name}\n", digest(bytes))).collect();
    parts.push(("SHA256SUMS".to_owned(), sums.into_bytes()));
    let file = pack.with_extension("forged");
    let mut zip = ZipWriter::new(std::fs::File::create(&file).unwrap());
    for (name, bytes) in parts {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(&bytes).unwrap();
    }
    zip.finish().unwrap();
    file
}

#[tokio::test]
async fn a_pack_shows_what_it_has_and_the_same_order_gives_the_same_bytes() {
    let club = club().await;
    let early = checkpoint(&club, 5).await;
    let (file, made) = packed(&club, "one.zip", &whole()).await;
    let (other, again) = packed(&club, "two.zip", &whole()).await;
    assert_eq!(made, again);
    assert_eq!(std::fs::read(&file).unwrap(), std::fs::read(&other).unwrap());

    let mut differs = early.clone();
    differs.root = programme::ledger::leaf_hash(b"another");
    let mut beyond = early.clone();
    beyond.size = 500;
    let verdict = check_pack(&file, &[early, differs, beyond]).unwrap();

    assert_eq!(verdict.held, [Held::Stands, Held::Differs, Held::Beyond]);
    assert_eq!((verdict.records, verdict.checkpoint.size), (made.size, made.size));
    assert_eq!((verdict.digest, verdict.files), (made.digest, 1));
    assert_eq!((verdict.keys.len(), verdict.keys_by_two_people.len()), (2, 0));
    assert_eq!(verdict.signatures, verdict.checkpoints);
    assert_eq!(verdict.besides, ["document.pdf"]);
    assert_eq!(verdict.people.len(), 1);

    // A lean pack names the files by their digests, and a part leaves records out and keeps the keys.
    let lean = order(Scope::Day { day: noon().date_naive() }, RecordingsIn::Digests);
    let (file, _) = packed(&club, "lean.zip", &lean).await;
    let verdict = check_pack(&file, &[]).unwrap();
    assert_eq!((verdict.files, verdict.keys.len()), (1, 2));
    assert!(!parts(&file).unwrap().iter().any(|(name, _)| name.starts_with("recordings/")));
}

#[tokio::test]
async fn what_cannot_be_packed_is_refused_and_leaves_no_file() {
    let club = club().await;
    let to = club.directory.path().join("refused.zip");
    let point = Scope::Point { point: PointCode::new("GR-01").unwrap() };
    let try_it = async |order: PackOrder, progress: &Progress| {
        club.store.write_pack(&order, &to, progress).await.unwrap_err()
    };
    let nothing = try_it(order(point, RecordingsIn::Digests), &Progress::default()).await;
    assert!(matches!(nothing, PackError::Nothing(_)), "{nothing}");
    let mut taken = whole();
    taken.besides[0].name = "../document.pdf".to_owned();
    assert!(matches!(try_it(taken, &Progress::default()).await, PackError::Name { .. }));
    let stopped = Progress::default();
    stopped.stop();
    assert!(matches!(try_it(whole(), &stopped).await, PackError::Stopped));
    for group in std::fs::read_dir(club.data().join("recordings")).unwrap() {
        let group = group.unwrap().path();
        for file in std::fs::read_dir(&group).unwrap() {
            std::fs::write(file.unwrap().path(), "another").unwrap();
        }
    }
    assert!(matches!(try_it(whole(), &Progress::default()).await, PackError::Lost { .. }));
    assert!(!to.exists());
    std::fs::write(&to, "mine").unwrap();
    assert!(matches!(try_it(whole(), &Progress::default()).await, PackError::Exists { .. }));
    assert_eq!(std::fs::read(&to).unwrap(), b"mine");
}

#[tokio::test]
async fn whoever_alters_a_pack_and_its_sums_is_found_out() {
    let club = club().await;
    let (file, _) = packed(&club, "pack.zip", &whole()).await;
    let original = parts(&file).unwrap();
    let altered = |name: &str, from: &str, to: &str| {
        let mut parts = original.clone();
        let (_, bytes) = parts.iter_mut().find(|(known, _)| known == name).unwrap();
        let text = String::from_utf8(bytes.clone()).unwrap();
        assert!(text.contains(from), "{from} is not in {name}");
        *bytes = text.replacen(from, to, 1).into_bytes();
        check_pack(&forged(&file, parts), &[]).map(|_| ()).unwrap_err()
    };
    check_pack(&forged(&file, original.clone()), &[]).unwrap();
    let found = altered("records.jsonl", "the 7th time", "the 8th time");
    assert!(matches!(found, PackFault::Leaf { seq: 16 }), "{found}");
    let found = altered("proofs.jsonl", "\"proof\":[\"", "\"proof\":[\"0000\",\"");
    assert!(matches!(found, PackFault::Line { name: "proofs.jsonl", line: 1 }), "{found}");
    let found = altered("pack.json", "\"included\"", "\"digests\"");
    assert!(matches!(found, PackFault::Stray), "{found}");
    let found = altered("pack.json", "\"records\":", "\"records\":1");
    assert!(matches!(found, PackFault::Count), "{found}");
    let found = altered("checkpoints.jsonl", "\"signature\":\"", "\"signature\":\"00");
    assert!(matches!(found, PackFault::Checkpoint(_)), "{found}");
    let found = altered("checkpoint.txt", "=\n\n", "=\nmore\n\n");
    assert!(matches!(found, PackFault::About { name: "checkpoint.txt" }), "{found}");
    let found = altered("keys/1.pem", "\n-----END", "\n\n-----END");
    assert!(matches!(found, PackFault::Keys), "{found}");
    let found = altered("recordings.jsonl", "a recorder's file", "another file");
    assert!(matches!(found, PackFault::Line { name: "recordings.jsonl", .. }), "{found}");
    let leaves = String::from_utf8(
        original.iter().find(|(name, _)| name == "leaves.txt").unwrap().1.clone(),
    )
    .unwrap();
    let third = leaves.lines().nth(2).unwrap().to_owned();
    let found = altered("leaves.txt", &third, &"0".repeat(64));
    assert!(matches!(found, PackFault::Leaf { seq: 3 }), "{found}");
}

#[tokio::test]
async fn parts_that_lead_elsewhere_unfold_without_end_or_stand_there_twice_are_refused() {
    let club = club().await;
    let (file, _) = packed(&club, "pack.zip", &whole()).await;
    let original = parts(&file).unwrap();
    let with = |name: &str, bytes: Vec<u8>| {
        let mut parts = original.clone();
        parts.push((name.to_owned(), bytes));
        check_pack(&forged(&file, parts), &[]).map(|_| ()).unwrap_err()
    };
    for name in ["../../evil", "/etc/evil", "a\\b", ".profile", "keys/x.pem", "sub/x", "readme.TXT"]
    {
        let found = with(name, b"x".to_vec());
        assert!(matches!(found, PackFault::Name { .. }), "{name}: {found}");
    }
    let found = with("big.bin", vec![0; 8 << 20]);
    assert!(matches!(found, PackFault::Unfolds { .. }), "{found}");
    let found = with(&format!("recordings/{}", "ab".repeat(32)), b"x".to_vec());
    assert!(matches!(found, PackFault::Sum { .. }), "{found}");
    let mut fewer = original.clone();
    fewer.retain(|(name, _)| name != "leaves.txt");
    let found = check_pack(&forged(&file, fewer), &[]).unwrap_err();
    assert!(matches!(found, PackFault::Missing { .. }), "{found}");

    // Twice the same name: the writer makes no such thing, so one name is turned into another of the same length.
    let mut twice = original;
    twice.push(("document.pdg".to_owned(), b"another".to_vec()));
    let forged = forged(&file, twice);
    let mut bytes = std::fs::read(&forged).unwrap();
    let places: Vec<usize> =
        (0..bytes.len() - 12).filter(|at| bytes[*at..*at + 12] == *b"document.pdg").collect();
    for at in places {
        bytes[at..at + 12].copy_from_slice(b"document.pdf");
    }
    std::fs::write(&forged, &bytes).unwrap();
    let found = check_pack(&forged, &[]).unwrap_err();
    assert!(matches!(found, PackFault::Twice), "{found}");

    // Something before, behind or instead of a pack.
    let whole = std::fs::read(&file).unwrap();
    for wrong in [
        Vec::new(),
        b"PK\x05\x06".to_vec(),
        b"no pack".repeat(100),
        [b"before".as_slice(), &whole].concat(),
        [whole.as_slice(), b"behind"].concat(),
        whole[..whole.len() / 2].to_vec(),
    ] {
        std::fs::write(&forged, &wrong).unwrap();
        assert!(check_pack(&forged, &[]).is_err(), "{} bytes", wrong.len());
    }
    // A size that is not the true one: half of a part's bytes are claimed.
    let mut zip = ZipWriter::new(std::fs::File::create(&forged).unwrap());
    let stored = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    zip.start_file("README.txt", stored).unwrap();
    zip.write_all(&[b'x'; 1000]).unwrap();
    zip.finish().unwrap();
    let mut bytes = std::fs::read(&forged).unwrap();
    let size = 1000u32.to_le_bytes();
    let places: Vec<usize> =
        (0..bytes.len() - 4).filter(|at| bytes[*at..*at + 4] == size).collect();
    for at in places {
        bytes[at..at + 4].copy_from_slice(&500u32.to_le_bytes());
    }
    std::fs::write(&forged, &bytes).unwrap();
    assert!(check_pack(&forged, &[]).is_err());
}

#[tokio::test]
async fn turned_bits_of_a_pack_are_found_or_change_nothing_that_is_read_of_it() {
    let club = Club::with_records(4).await;
    with_a_recording(&club, &b"2026-05-09T12:00:00Z,121.5\n".repeat(40)).await;
    let (file, _) = packed(&club, "pack.zip", &whole()).await;
    let before = parts(&file).unwrap();
    let mut bytes = std::fs::read(&file).unwrap();
    let seed: u64 = rand::random();
    println!("seed {seed}");
    let flips = std::env::var("FLIPS").ok().and_then(|told| told.parse().ok()).unwrap_or(FLIPS);
    let mut chance = StdRng::seed_from_u64(seed);
    let mut found = 0;
    for _ in 0..flips {
        let bit = chance.random_range(0..bytes.len() * 8);
        bytes[bit / 8] ^= 1 << (bit % 8);
        std::fs::write(&file, &bytes).unwrap();
        if check_pack(&file, &[]).is_err() {
            found += 1;
        } else {
            assert_eq!(parts(&file).as_ref(), Some(&before), "seed {seed}: bit {bit} of the pack");
        }
        bytes[bit / 8] ^= 1 << (bit % 8);
    }
    println!("{found} of {flips} were found");
    assert!(found * 10 > flips * 8, "nearly every byte of a pack means something: {found}");
}

#[tokio::test]
async fn a_programme_that_moves_keeps_root_checkpoints_and_recordings_and_nobody_signs_at_first() {
    let club = club().await;
    let kept = club.store.checkpoint(&tug(), Some(5)).await.unwrap().unwrap();
    let (file, made) = packed(&club, "pack.zip", &whole()).await;
    let elsewhere = club.directory.path().join("elsewhere");
    Store::open(&elsewhere).await.unwrap().close().await;
    let move_in = async |same: &[PersonHandle]| {
        crate::move_in(&elsewhere.as_path().into(), &file, same, Utc::now(), |_| {
            "nobody knows".to_owned()
        })
        .await
    };

    let moved = move_in(&[]).await.unwrap();

    assert_eq!((moved.to_be_claimed, moved.known), (vec![ada()], vec![]));
    let trusted = TrustedHead { programme: tug(), size: 5, root: kept.signed.checkpoint.root };
    let verdict = verify(&elsewhere, &[trusted]).await.unwrap().remove(0);
    assert!(verdict.first_failure.is_none(), "{:?}", verdict.first_failure);
    assert_eq!((verdict.head.size, verdict.head.root), (made.size, made.root));
    assert_eq!((verdict.files_agreed, verdict.keys.len()), (1, 2));
    assert!(verdict.copy.is_some());
    assert!(matches!(move_in(&[]).await, Err(ImportPackError::Exists(_))));

    let store = Store::open(&elsewhere).await.unwrap();
    assert!(store.account(&ada()).unwrap().disabled_at.is_some());
    let same = store.checkpoint(&tug(), Some(5)).await.unwrap().unwrap();
    assert_eq!(same.signed, kept.signed, "it is the same checkpoint with the same signature");
    let lifting = || StandDownLifted { reasons: "Found.".to_owned() };
    let refused = store.act(act(move |_| Ok(vec![lifting().into()]))).await;
    assert!(matches!(refused, Err(ActError::CopyNotAcknowledged { .. })), "{refused:?}");
    store.act(act(|_| Ok(vec![remark("here")]))).await.unwrap();
    let last = store.checkpoint(&tug(), None).await.unwrap().unwrap();
    assert_eq!(last.signed.checkpoint.size, made.size, "what goes on from a copy is not signed");
    let copy = store.copy_of(&tug()).unwrap();
    for role in [Role::Lead, Role::Safety] {
        let programme::commands::GoneOnFrom { records, root, known, key } = copy;
        let account = "Moved.".to_owned();
        let knows = CopyAcknowledged { records, root, known, key, role, account };
        store.act(act(move |_| Ok(vec![knows.into()]))).await.unwrap();
    }
    store.act(act(move |_| Ok(vec![lifting().into()]))).await.unwrap();
    let last = store.checkpoint(&tug(), None).await.unwrap().unwrap();
    assert_eq!(last.key.key(), *copy.key.bytes(), "the key of this server signs from now on");
    // What moved once moves again, and says that the key was put in force by two people.
    let again = club.directory.path().join("again.zip");
    store.write_pack(&whole(), &again, &Progress::default()).await.unwrap();
    let told = check_pack(&again, &[kept.signed.checkpoint]).unwrap();
    assert_eq!((told.keys_by_two_people.len(), told.held), (1, vec![Held::Stands]));
    store.close().await;
    let settled = verify(&elsewhere, &[]).await.unwrap().remove(0);
    assert!(settled.first_failure.is_none(), "{:?}", settled.first_failure);
    assert!(settled.copy.is_none());
}

#[tokio::test]
async fn a_part_a_lean_pack_and_people_who_may_be_others_do_not_move_in() {
    let club = club().await;
    let elsewhere = club.directory.path().join("elsewhere");
    let store = Store::open(&elsewhere).await.unwrap();
    let account = NewAccount {
        handle: ada(),
        name: "Another Ada".to_owned(),
        password_hash: "x".to_owned(),
        pin_hash: None,
        administrator: true,
    };
    store.create_account(account, noon(), None).await.unwrap();
    store.close().await;
    let try_it = async |file: &Path, same: &[PersonHandle]| {
        move_in(&elsewhere.as_path().into(), file, same, noon(), |_| "x".to_owned()).await
    };
    let lean = order(Scope::Programme, RecordingsIn::Digests);
    let (lean, _) = packed(&club, "lean.zip", &lean).await;
    assert!(matches!(try_it(&lean, &[]).await, Err(ImportPackError::Part(_))));
    let (file, _) = packed(&club, "pack.zip", &whole()).await;
    let taken = try_it(&file, &[]).await.unwrap_err();
    assert!(taken.to_string().starts_with("ada has an account here already"), "{taken}");
    let mut damaged = std::fs::read(&file).unwrap();
    damaged[5000] ^= 1;
    let broken = club.directory.path().join("broken.zip");
    std::fs::write(&broken, damaged).unwrap();
    assert!(matches!(try_it(&broken, &[ada()]).await, Err(ImportPackError::Fails(_))));
    let moved = try_it(&file, &[ada()]).await.unwrap();
    assert_eq!((moved.to_be_claimed, moved.known), (vec![], vec![ada()]));
}
