//! Accounts and sessions.

use uuid::Uuid;

use super::*;

fn new_account(handle: &str, administrator: bool) -> NewAccount {
    NewAccount {
        handle: PersonHandle::new(handle).unwrap(),
        name: handle.to_uppercase(),
        password_hash: "hash of a password".to_owned(),
        pin_hash: None,
        administrator,
    }
}

fn bea() -> PersonHandle {
    PersonHandle::new("bea").unwrap()
}

const SESSION: Uuid = Uuid::from_u128(7);

async fn club_with_accounts() -> Club {
    let club = Club::with_a_programme().await;
    club.store.create_account(new_account("ada", true), noon(), None).await.unwrap();
    club.store.create_account(new_account("bea", false), noon(), None).await.unwrap();
    club
}

async fn signed_in_bea() -> Club {
    let club = club_with_accounts().await;
    let session = NewSession {
        id: SESSION,
        handle: bea(),
        token_hash: [1; 32],
        at: noon(),
        expires_at: minutes_after_noon(600),
    };
    club.store.begin_session(session).await.unwrap();
    assert!(bea_is_in(&club));
    club
}

fn bea_is_in(club: &Club) -> bool {
    club.store.signed_in(&bea(), SESSION, minutes_after_noon(1)).is_ok()
}

async fn rotate(club: &Club, given: u8, next: u8, minutes: i64) -> Result<(), RotateError> {
    let rotation = Rotation {
        given_hash: [given; 32],
        next_hash: [next; 32],
        at: minutes_after_noon(minutes),
        expires_at: minutes_after_noon(minutes + 600),
    };
    club.store.rotate(rotation).await.map(|(handle, session)| {
        assert_eq!((handle, session), (bea(), SESSION));
    })
}

#[tokio::test]
async fn accounts_are_listed_and_found_again_after_a_restart() {
    let club = club_with_accounts().await;
    club.store.set_pin_hash(&bea(), Some("hash of a pin".to_owned()), noon()).await.unwrap();
    club.store.set_name(&bea(), "Bea Beispiel".to_owned(), noon()).await.unwrap();
    let before = club.store.accounts();
    let club = club.reopened().await;
    assert_eq!(club.store.accounts(), before);
    let bea = club.store.account(&bea()).unwrap();
    assert_eq!(bea.name, "Bea Beispiel");
    assert_eq!(bea.pin_hash.as_deref(), Some("hash of a pin"));
    assert!(!bea.administrator);
    assert!(!format!("{bea:?}").contains("hash of"));
}

#[tokio::test]
async fn a_handle_is_given_once_also_when_its_owner_has_left() {
    let club = club_with_accounts().await;
    club.store.disable_account(&bea(), noon()).await.unwrap();
    let refused = club.store.create_account(new_account("bea", false), noon(), None).await;
    assert!(matches!(refused, Err(AccountError::Exists(_))), "{refused:?}");
    let nobody = PersonHandle::new("nobody").unwrap();
    let refused = club.store.set_name(&nobody, String::new(), noon()).await;
    assert!(matches!(refused, Err(AccountError::Unknown(_))), "{refused:?}");
}

#[tokio::test]
async fn the_last_administrator_stays() {
    let club = club_with_accounts().await;
    let refused = club.store.disable_account(&ada(), noon()).await;
    assert!(matches!(refused, Err(AccountError::LastAdministrator(_))), "{refused:?}");
    let refused = club.store.set_administrator(&ada(), false, noon()).await;
    assert!(matches!(refused, Err(AccountError::LastAdministrator(_))), "{refused:?}");

    club.store.set_administrator(&bea(), true, noon()).await.unwrap();
    club.store.disable_account(&ada(), noon()).await.unwrap();
    let refused = club.store.disable_account(&bea(), noon()).await;
    assert!(matches!(refused, Err(AccountError::LastAdministrator(_))), "{refused:?}");
    club.store.enable_account(&ada(), noon()).await.unwrap();
    club.store.set_administrator(&bea(), false, noon()).await.unwrap();
}

#[tokio::test]
async fn making_an_account_remembers_the_reply_in_the_same_step() {
    let club = club_with_accounts().await;
    let asked = Idempotency { key: "k".to_owned(), request_digest: [7; 32] };
    let reply = Reply { status: 201, body: b"made".to_vec(), headers: vec![] };
    let remember = Some((ada(), asked.clone(), reply.clone()));
    club.store.create_account(new_account("cem", false), noon(), remember).await.unwrap();
    let remembered = club.store.remembered(&ada(), &asked, noon()).await.unwrap();
    assert_eq!(remembered, Remembered::Same(reply));
}

#[tokio::test]
async fn a_session_goes_on_by_its_refresh_tokens_each_good_once() {
    let club = signed_in_bea().await;
    rotate(&club, 1, 2, 10).await.unwrap();
    rotate(&club, 2, 3, 20).await.unwrap();
    let club = club.reopened().await;
    assert!(bea_is_in(&club));
    rotate(&club, 3, 4, 30).await.unwrap();
    assert!(bea_is_in(&club));
}

#[tokio::test]
async fn a_refresh_token_used_twice_ends_its_session_with_all_tokens() {
    let club = signed_in_bea().await;
    rotate(&club, 1, 2, 10).await.unwrap();
    let stolen = rotate(&club, 1, 9, 11).await;
    assert!(matches!(stolen, Err(RotateError::Reused { .. })), "{stolen:?}");
    assert!(!bea_is_in(&club));
    let refused = rotate(&club, 2, 3, 12).await;
    assert!(matches!(refused, Err(RotateError::Ended)), "{refused:?}");
    assert!(!bea_is_in(&club.reopened().await));
}

#[tokio::test]
async fn of_two_exchanges_of_one_token_at_once_only_one_succeeds() {
    let club = signed_in_bea().await;
    let (one, other) = tokio::join!(rotate(&club, 1, 2, 10), rotate(&club, 1, 3, 10));
    assert_eq!(u8::from(one.is_ok()) + u8::from(other.is_ok()), 1);
    assert!(!bea_is_in(&club));
}

#[tokio::test]
async fn an_expired_or_unknown_refresh_token_is_refused() {
    let club = signed_in_bea().await;
    let refused = rotate(&club, 1, 2, 600).await;
    assert!(matches!(refused, Err(RotateError::Ended)), "{refused:?}");
    let refused = rotate(&club, 8, 9, 10).await;
    assert!(matches!(refused, Err(RotateError::Ended)), "{refused:?}");
}

#[tokio::test]
async fn signing_out_acts_at_once_and_lasts() {
    let club = signed_in_bea().await;
    club.store.end_session(SESSION, minutes_after_noon(5)).await.unwrap();
    assert!(!bea_is_in(&club));
    let club = club.reopened().await;
    assert!(!bea_is_in(&club));
    assert!(matches!(rotate(&club, 1, 2, 10).await, Err(RotateError::Ended)));
}

#[tokio::test]
async fn a_new_password_ends_the_sessions_begun_with_the_old_one() {
    let club = signed_in_bea().await;
    let at = minutes_after_noon(5);
    club.store.set_password_hash(&bea(), "another".to_owned(), at).await.unwrap();
    assert!(!bea_is_in(&club));
    assert!(matches!(rotate(&club, 1, 2, 10).await, Err(RotateError::Ended)));

    let id = Uuid::from_u128(8);
    let session = NewSession {
        id,
        handle: bea(),
        token_hash: [5; 32],
        at,
        expires_at: minutes_after_noon(600),
    };
    club.store.begin_session(session).await.unwrap();
    assert!(club.store.signed_in(&bea(), id, at).is_ok());
    let before = club.store.signed_in(&bea(), id, minutes_after_noon(4));
    assert_eq!(before, Err(NotSignedIn::Ended));
}

#[tokio::test]
async fn who_signs_in_by_a_clock_that_was_set_back_is_signed_in() {
    let club = signed_in_bea().await;
    club.store
        .set_password_hash(&bea(), "another".to_owned(), minutes_after_noon(5))
        .await
        .unwrap();
    let (id, at) = (Uuid::from_u128(8), minutes_after_noon(-600));
    let session = NewSession {
        id,
        handle: bea(),
        token_hash: [5; 32],
        at,
        expires_at: minutes_after_noon(0),
    };
    club.store.begin_session(session).await.unwrap();
    assert!(club.store.signed_in(&bea(), id, at).is_ok());
    assert!(!bea_is_in(&club), "who was signed in with the old password is not");
}

#[tokio::test]
async fn who_is_disabled_is_out_at_once_and_cannot_sign_in() {
    let club = signed_in_bea().await;
    club.store.disable_account(&bea(), minutes_after_noon(5)).await.unwrap();
    let refused = club.store.signed_in(&bea(), SESSION, minutes_after_noon(6));
    assert_eq!(refused, Err(NotSignedIn::NoAccount));
    let session = NewSession {
        id: Uuid::from_u128(8),
        handle: bea(),
        token_hash: [5; 32],
        at: minutes_after_noon(6),
        expires_at: minutes_after_noon(600),
    };
    let refused = club.store.begin_session(session).await;
    assert!(matches!(refused, Err(BeginError::NoAccount(_))), "{refused:?}");
    club.store.enable_account(&bea(), minutes_after_noon(7)).await.unwrap();
    assert!(!bea_is_in(&club));
}

#[tokio::test]
async fn a_session_serves_its_own_person_only() {
    let club = signed_in_bea().await;
    let other = club.store.signed_in(&ada(), SESSION, minutes_after_noon(1));
    assert_eq!(other, Err(NotSignedIn::Ended));
}
