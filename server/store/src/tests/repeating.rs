//! Asking again with the same key.

use super::*;

fn keyed(key: &str, request: u8, at: DateTime<Utc>) -> Act {
    let mut act = act(|_| Ok(vec![stand_down("smoke")]));
    act.idempotency = Some(Idempotency { key: key.to_owned(), request_digest: [request; 32] });
    act.at = at;
    act
}

#[tokio::test]
async fn the_same_key_and_request_is_done_once_and_answered_the_same() {
    let club = Club::with_a_programme().await;
    let first = club.store.act(keyed("k", 1, noon())).await.unwrap();
    let second = club.store.act(keyed("k", 1, noon())).await.unwrap();
    assert!(!first.replayed && second.replayed);
    assert_eq!(first.reply, second.reply);
    assert!(second.entries.is_empty());

    let club = club.reopened().await;
    let third = club.store.act(keyed("k", 1, noon())).await.unwrap();
    assert!(third.replayed);
    assert_eq!(first.reply, third.reply);
    assert_eq!(club.length(), 2);
}

#[tokio::test]
async fn many_who_ask_with_the_same_key_at_once_have_it_done_once() {
    let club = Club::with_a_programme().await;
    let acts = (0..50).map(|_| keyed("k", 1, noon())).collect();
    let mut done = 0;
    for outcome in HeldWriter::of(&club).await.until_waiting(acts, &club.store).await {
        let acted = outcome.unwrap();
        assert_eq!(acted.reply.body, b"2 records, 1 of them new");
        done += u32::from(!acted.replayed);
    }
    assert_eq!(done, 1);
    assert_eq!(club.length(), 2);
}

#[tokio::test]
async fn the_same_key_for_another_request_is_refused_also_while_the_first_waits() {
    let club = Club::with_a_programme().await;
    let acts = vec![keyed("k", 1, noon()), keyed("k", 2, noon())];
    let outcomes = HeldWriter::of(&club).await.until_waiting(acts, &club.store).await;
    assert!(outcomes[0].is_ok());
    assert!(matches!(&outcomes[1], Err(ActError::KeyReused(key)) if key == "k"));
    assert!(matches!(club.store.act(keyed("k", 3, noon())).await, Err(ActError::KeyReused(_))));
    assert_eq!(club.length(), 2);
}

#[tokio::test]
async fn two_people_may_use_the_same_key() {
    let club = Club::with_a_programme().await;
    club.store.act(keyed("k", 1, noon())).await.unwrap();
    let mut other = keyed("k", 2, noon());
    other.by = PersonHandle::new("bea").unwrap();
    assert!(!club.store.act(other).await.unwrap().replayed);
}

#[tokio::test]
async fn a_refusal_is_not_remembered() {
    let club = Club::with_a_programme().await;
    let mut refused = keyed("k", 1, noon());
    refused.decide = Box::new(|_| Err(refusal()));
    assert!(matches!(club.store.act(refused).await, Err(ActError::Refused(_))));
    assert!(!club.store.act(keyed("k", 1, noon())).await.unwrap().replayed);
}

#[tokio::test]
async fn a_reply_without_records_is_remembered_too() {
    let club = Club::with_a_programme().await;
    let nothing_new = || {
        let mut nothing_new = keyed("k", 1, noon());
        nothing_new.decide = Box::new(|_| Ok(vec![]));
        nothing_new
    };
    assert!(!club.store.act(nothing_new()).await.unwrap().replayed);
    assert!(club.store.act(nothing_new()).await.unwrap().replayed);
}

#[tokio::test]
async fn a_key_is_forgotten_after_thirty_days_and_no_earlier() {
    let club = Club::with_a_programme().await;
    club.store.act(keyed("k", 1, noon())).await.unwrap();
    let late = noon() + KEPT_FOR;
    assert!(club.store.act(keyed("k", 1, late)).await.unwrap().replayed);
    let too_late = late + TimeDelta::seconds(1);
    assert!(!club.store.act(keyed("k", 2, too_late)).await.unwrap().replayed);
    assert!(club.store.act(keyed("k", 2, too_late)).await.unwrap().replayed);
}

#[tokio::test]
async fn replies_to_requests_that_are_no_acts_can_be_remembered() {
    let club = Club::with_a_programme().await;
    let asked = Idempotency { key: "k".to_owned(), request_digest: [7; 32] };
    let remembered = club.store.remembered(&ada(), &asked, noon()).await.unwrap();
    assert_eq!(remembered, Remembered::Nothing);

    let reply = Reply { status: 201, body: b"\xff\x00".to_vec(), headers: vec![] };
    club.store.remember(&ada(), asked.clone(), reply.clone(), noon()).await.unwrap();
    let remembered = club.store.remembered(&ada(), &asked, noon()).await.unwrap();
    assert_eq!(remembered, Remembered::Same(reply));
    let other = Idempotency { request_digest: [8; 32], ..asked };
    let remembered = club.store.remembered(&ada(), &other, noon()).await.unwrap();
    assert_eq!(remembered, Remembered::Another);
}
