//! Keys that hand over to one another, and ledgers that go on from copies.

use programme::nouns::Role;
use programme::record::{CopyAcknowledged, StandDownLifted};

use super::*;

async fn signed_last(club: &Club) -> Notarised {
    club.store.checkpoint(&tug(), None).await.unwrap().unwrap()
}

async fn records_a_remark(club: &Club) {
    club.store.act(act(|_| Ok(vec![remark("and on")]))).await.unwrap();
}

#[tokio::test]
async fn a_new_key_signs_after_the_record_of_it_that_the_old_one_signed_and_both_stay_good() {
    let club = Club::with_records(3).await;
    let before = signed_last(&club).await;

    let changed = club.store.change_key(&ada(), Utc::now(), "A laptop was lost.").await.unwrap();

    assert!(changed.waiting.is_empty());
    let over = signed_last(&club).await;
    assert_eq!((over.signed.checkpoint.size, &over.key), (4, &before.key));
    assert_eq!(club.store.signed_with(&tug(), 4).await.unwrap(), Some(4));
    records_a_remark(&club).await;
    let after = signed_last(&club).await;
    assert_eq!((after.signed.checkpoint.size, after.key.key()), (5, *changed.key.bytes()));
    let club = club.reopened().await;
    records_a_remark(&club).await;
    assert_eq!(signed_last(&club).await.key, after.key, "it is the same after a start");
    assert!(signed_last(&club).await.signed.is_signed_by(&after.key));
    let verdict = club.verdict().await;
    assert!(verdict.first_failure.is_none(), "{:?}", verdict.first_failure);
    assert_eq!(verdict.keys, [before.key.clone(), after.key.clone()]);
    assert!(verdict.keys_by_two_people.is_empty());
    // Once more, and a programme that is begun afterwards is signed by the newest.
    let newest = club.store.change_key(&ada(), Utc::now(), "Once a year.").await.unwrap();
    records_a_remark(&club).await;
    assert_eq!(signed_last(&club).await.key.key(), *newest.key.bytes());
    assert_eq!(club.verdict().await.keys.len(), 3);
}

#[tokio::test]
async fn a_key_that_no_record_names_is_not_believed_where_another_is_in_force() {
    let club = Club::in_a_file_with(3).await;
    club.store.change_key(&ada(), Utc::now(), "A laptop was lost.").await.unwrap();
    records_a_remark(&club).await;
    club.store.close().await;
    // The first key again, where the second one signed.
    club.tamper(
        "DROP TRIGGER checkpoint_signature_is_never_updated;
         UPDATE checkpoint_signature SET public_key = (SELECT public_key FROM checkpoint_signature WHERE size = 3)
         WHERE size = 5",
    )
    .await
    .unwrap();
    let failure = club.verdict().await.first_failure.unwrap();
    assert!(matches!(failure, FirstFailure { seq: 5, wrong: Wrong::OtherKey { size: 5, .. } }));
}

fn acknowledged(copy: programme::commands::GoneOnFrom, role: Role) -> Draft {
    let programme::commands::GoneOnFrom { records, root, known, key } = copy;
    let account = "Nothing is missing.".to_owned();
    CopyAcknowledged { records, root, known, key, role, account }.into()
}

#[tokio::test]
async fn a_restored_backup_is_a_copy_that_nobody_signs_in_until_two_people_know_of_it() {
    let club = Club::in_a_file_with(3).await;
    let file = club.directory.path().join("club.backup");
    backup(&club.data(), &file).await.unwrap();
    let elsewhere = club.directory.path().join("elsewhere");
    restore(&file, &elsewhere, noon()).await.unwrap();
    let check = async || verify(&elsewhere, &[]).await.unwrap().remove(0);
    let fresh = check().await;
    assert!(fresh.first_failure.is_none(), "{:?}", fresh.first_failure);
    assert_eq!(fresh.copy.map(|copy| (copy.head.size, copy.known)), Some((3, None)));

    let store = Store::open(&elsewhere).await.unwrap();
    let copy = store.copy_of(&tug()).unwrap();
    assert_eq!((copy.records, copy.known), (3, None));
    let lifting = || StandDownLifted { reasons: "Found.".to_owned() };
    let refused = store.act(act(move |_| Ok(vec![lifting().into()]))).await;
    assert!(matches!(refused, Err(ActError::CopyNotAcknowledged { records: 3 })), "{refused:?}");
    store.act(act(|_| Ok(vec![stand_down("smoke")]))).await.unwrap();
    let last = store.checkpoint(&tug(), None).await.unwrap().unwrap();
    assert_eq!(last.signed.checkpoint.size, 3, "what goes on from a copy is not signed");
    store.close().await;
    let waiting = check().await;
    assert!(waiting.first_failure.is_none(), "{:?}", waiting.first_failure);

    // It is the same copy after a start, though there are more records now.
    let store = Store::open(&elsewhere).await.unwrap();
    assert_eq!(store.copy_of(&tug()), Some(copy));
    store.act(act(move |_| Ok(vec![acknowledged(copy, Role::Lead)]))).await.unwrap();
    assert!(store.copy_of(&tug()).is_some());
    store.act(act(move |_| Ok(vec![acknowledged(copy, Role::Safety)]))).await.unwrap();
    assert!(store.copy_of(&tug()).is_none());
    store.act(act(move |_| Ok(vec![lifting().into()]))).await.unwrap();
    let last = store.checkpoint(&tug(), None).await.unwrap().unwrap();
    assert_eq!(last.signed.checkpoint.size, 7);
    store.close().await;
    let settled = check().await;
    assert!(settled.first_failure.is_none(), "{:?}", settled.first_failure);
    assert!(settled.copy.is_none());
    assert!(Store::open(&elsewhere).await.unwrap().copy_of(&tug()).is_none());
}

#[tokio::test]
async fn a_folder_that_is_opened_again_and_again_is_no_copy() {
    let mut club = Club::with_records(2).await;
    for _ in 0..3 {
        club = club.reopened().await;
        assert!(club.store.copy_of(&tug()).is_none());
        records_a_remark(&club).await;
    }
    // Killed, so that nothing was closed: the file beside the database may lag behind, and is no trouble.
    let fence = club.data().join("rungbook.fence");
    let text = std::fs::read_to_string(&fence).unwrap();
    let cut = text.trim_end().rfind('\n').unwrap();
    club.store.close().await;
    std::fs::write(&fence, &text[..cut + 10]).unwrap();
    let store = club.open_again().await.unwrap();
    assert!(store.copy_of(&tug()).is_none());
    store.close().await;
    assert!(club.verdict().await.first_failure.is_none());
}
