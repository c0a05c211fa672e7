//! Everything to another place and back.

use programme::record::StandDownLifted;

use super::database::Database;
use super::forgeries::with_a_recording;
use super::*;

fn account() -> NewAccount {
    NewAccount {
        handle: ada(),
        name: "Ada".to_owned(),
        password_hash: "hash".to_owned(),
        pin_hash: Some("hash of a PIN".to_owned()),
        administrator: true,
    }
}

fn keyed() -> Act {
    let mut act = act(|_| Ok(vec![remark("once")]));
    act.idempotency = Some(Idempotency { key: "k".to_owned(), request_digest: [1; 32] });
    act
}

#[tokio::test]
async fn everything_moves_to_postgresql_and_back_with_the_same_roots_keys_and_people() {
    let Some(database) = Database::or_say_why_not().await else { return };
    let club = Club::in_a_file_with(3).await;
    with_a_recording(&club, b"a,b\n1,121\n").await;
    club.store.create_account(account(), noon(), None).await.unwrap();
    club.store.make_calendar_link(&ada(), &tug(), [9; 32], noon()).await.unwrap();
    club.store.change_key(&ada(), Utc::now(), "Once a year.").await.unwrap();
    let first = club.store.act(keyed()).await.unwrap();
    let before = club.store.tree(&tug()).unwrap();
    let signed = club.store.checkpoint(&tug(), None).await.unwrap().unwrap();
    let person = club.store.account(&ada()).unwrap();
    club.store.close().await;
    let there = Whereabouts {
        data: club.directory.path().join("there"),
        database: Some(database.url()),
        recordings: None,
    };

    let carried = relocate(&club.whereabouts, &there).await.unwrap();

    assert_eq!(carried.len(), 1);
    assert_eq!((carried[0].from, carried[0].to), (before, before));
    let again = relocate(&club.whereabouts, &there).await;
    assert!(matches!(again, Err(RelocateError::NotEmpty { .. })), "{again:?}");
    let store = Store::open_at(&there).await.unwrap();
    assert!(store.copy_of(&tug()).is_none(), "it is the ledger itself that goes on");
    assert_eq!(store.account(&ada()), Some(person.clone()));
    assert_eq!(store.calendar_link(&[9; 32]).await.unwrap(), Some((ada(), tug())));
    let replayed = store.act(keyed()).await.unwrap();
    assert!(replayed.replayed, "a request that was answered before the move is not done again");
    assert_eq!(replayed.reply, first.reply);
    let same = store.checkpoint(&tug(), None).await.unwrap().unwrap();
    assert_eq!(same.signed, signed.signed);
    store.act(act(|_| Ok(vec![remark("on at the new place")]))).await.unwrap();
    let next = store.checkpoint(&tug(), None).await.unwrap().unwrap();
    assert_eq!(next.key, signed.key, "the same key signs on");
    assert!(matches!(
        relocate(&there, &club.whereabouts).await,
        Err(RelocateError::NotEmpty { .. })
    ));
    let back = Whereabouts::from(club.directory.path().join("back").as_path());
    let in_use = relocate(&there, &back).await;
    assert!(matches!(in_use, Err(RelocateError::InUse { .. })), "{in_use:?}");
    let grown = store.tree(&tug()).unwrap();
    store.close().await;
    drop(store);

    let carried = relocate(&there, &back).await.unwrap();
    assert_eq!((carried[0].from, carried[0].to), (grown, grown));
    let store = Store::open_at(&back).await.unwrap();
    assert!(store.copy_of(&tug()).is_none());
    assert_eq!(store.account(&ada()), Some(person));
    let last = store.checkpoint(&tug(), None).await.unwrap().unwrap();
    assert_eq!((last.signed, last.key), (next.signed, next.key));
    store.close().await;
    let verdict = verify_at(&back, &[]).await.unwrap().remove(0);
    assert!(verdict.first_failure.is_none() && verdict.files_lost.is_empty(), "{verdict:?}");
    assert!(verdict.files_agreed > 0);

    // Who goes on with what was left behind goes on from a copy.
    for left in [&club.whereabouts, &there] {
        let store = Store::open_at(left).await.unwrap();
        assert!(store.copy_of(&tug()).is_some(), "{left}");
        let lifting = StandDownLifted { reasons: "Found.".to_owned() };
        let refused = store.act(act(move |_| Ok(vec![lifting.into()]))).await;
        assert!(matches!(refused, Err(ActError::CopyNotAcknowledged { .. })), "{refused:?}");
        store.close().await;
    }
}

#[tokio::test]
async fn what_fails_its_check_is_nowhere_or_is_the_same_folder_does_not_move() {
    let club = Club::in_a_file_with(3).await;
    club.store.close().await;
    let new = Whereabouts::from(club.directory.path().join("new").as_path());
    let nothing = relocate(&new, &club.whereabouts).await;
    assert!(matches!(nothing, Err(RelocateError::Nothing { .. })), "{nothing:?}");
    let same = relocate(&club.whereabouts, &club.whereabouts).await;
    assert!(matches!(same, Err(RelocateError::SameFolder { .. })), "{same:?}");
    club.tamper(
        "DROP TRIGGER ledger_is_never_updated; UPDATE ledger SET entry = '{}' WHERE seq = 2",
    )
    .await
    .unwrap();
    let fails = relocate(&club.whereabouts, &new).await;
    assert!(matches!(fails, Err(RelocateError::Fails { .. })), "{fails:?}");
    assert!(!holds_data(&new.data));
}
