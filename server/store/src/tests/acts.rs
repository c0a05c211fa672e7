//! Acting: one after the other, and many at once.

use std::sync::{Arc, Mutex};

use super::*;

#[tokio::test]
async fn an_act_is_seen_with_its_number_once_it_is_answered() {
    let club = Club::with_a_programme().await;

    let acted = club.store.act(act(|_| Ok(vec![stand_down("smoke")]))).await.unwrap();

    assert_eq!(acted.entries.len(), 1);
    assert_eq!(acted.entries[0].seq, 2);
    assert_eq!(acted.reply.body, b"2 records, 1 of them new");
    assert_eq!(club.length(), 2);
    let stored = club.store.entries(&tug(), 1, 10).await.unwrap();
    assert_eq!(Entry::from_json(&stored[0].text).unwrap(), acted.entries[0]);
    assert_eq!(club.store.tree(&tug()).unwrap().size, 2);
}

#[tokio::test]
async fn many_people_acting_at_once_each_see_the_records_of_all_before() {
    let club = Club::with_a_programme().await;
    let mut waiting = Vec::new();
    for person in 0..200 {
        let store = club.store.clone();
        waiting.push(tokio::spawn(async move {
            let act = act(move |state| {
                let seen = state.length();
                Ok(vec![remark(&format!("{person} saw {seen}")), remark("and one more")])
            });
            store.act(act).await.unwrap()
        }));
    }
    for one in waiting {
        let acted = one.await.unwrap();
        let programme::record::Record::WeatherObserved(first) = &acted.entries[0].record else {
            panic!("the record is not the one that was decided");
        };
        let seen = acted.entries[0].seq - 1;
        let remarks = first.weather.remarks.as_deref().unwrap();
        assert!(remarks.ends_with(&format!("saw {seen}")), "{remarks}, but {seen} were before");
        assert_eq!(acted.entries[1].seq, acted.entries[0].seq + 1);
    }
    assert_eq!(club.length(), 401);
    assert!(club.verdict().await.first_failure.is_none());
}

#[tokio::test]
async fn acts_that_wait_are_written_in_one_transaction_in_their_order_and_whoever_watches_hears_of_it()
 {
    let club = Club::with_a_programme().await;
    let heard = Arc::new(Mutex::new(Vec::new()));
    let hears = Arc::clone(&heard);
    club.store.watch_transactions(move |it| hears.lock().unwrap().push((it.acts, it.records)));
    club.store.act(act(|_| Err(refusal()))).await.unwrap_err();
    let acts = (0..64).map(|number| act(move |_| Ok(vec![remark(&number.to_string())]))).collect();
    let outcomes = HeldWriter::of(&club).await.until_waiting(acts, &club.store).await;
    for (seq, outcome) in (2..).zip(outcomes) {
        assert_eq!(outcome.unwrap().entries[0].seq, seq);
    }
    assert_eq!(*heard.lock().unwrap(), [(64, 64)], "nothing was written of what was refused");
    // One root for the founding, one for all that waited.
    assert_eq!(club.verdict().await.roots_agreed, 2);
}

#[tokio::test]
async fn of_two_who_want_the_same_one_wins_and_the_other_is_refused() {
    let club = Club::with_a_programme().await;
    let call = || {
        act(|state: &State| {
            if state.stand_downs.is_empty() { Ok(vec![stand_down("wind")]) } else { Err(refusal()) }
        })
    };
    let (one, other) = tokio::join!(club.store.act(call()), club.store.act(call()));
    assert_eq!(u8::from(one.is_ok()) + u8::from(other.is_ok()), 1);
    let refused = one.err().or(other.err()).unwrap();
    assert!(matches!(refused, ActError::Refused(_)), "{refused:?}");
    assert_eq!(club.length(), 2);
}

#[tokio::test]
async fn a_decision_that_fails_inside_the_program_hurts_nobody_else() {
    let club = Club::with_a_programme().await;

    let mut bad_reply = act(|_| Ok(vec![stand_down("never written")]));
    bad_reply.reply = Box::new(|_, _| panic!("a fault in making the reply"));
    let acts = vec![
        act(|_| Ok(vec![remark("before")])),
        act(|_| panic!("a fault in deciding")),
        bad_reply,
        act(|_| Ok(vec![remark("after")])),
    ];
    let outcomes = HeldWriter::of(&club).await.until_waiting(acts, &club.store).await;
    assert_eq!(outcomes[0].as_ref().unwrap().entries[0].seq, 2);
    assert!(matches!(outcomes[1], Err(ActError::Panicked)));
    assert!(matches!(outcomes[2], Err(ActError::Panicked)));
    assert_eq!(outcomes[3].as_ref().unwrap().entries[0].seq, 3);
    assert_eq!(club.length(), 3);
    assert!(club.store.read(&tug(), |state, _| state.stand_downs.is_empty()).unwrap());

    let club = club.reopened().await;
    assert_eq!(club.length(), 3);
}

#[tokio::test]
async fn an_act_goes_on_when_the_caller_stops_waiting() {
    let club = Club::with_a_programme().await;
    let mut news = club.store.subscribe();
    {
        let mut asked = std::pin::pin!(club.store.act(act(|_| Ok(vec![stand_down("smoke")]))));
        let gone = tokio::time::timeout(std::time::Duration::ZERO, &mut asked).await;
        assert!(gone.is_err() || gone.is_ok_and(|acted| acted.is_ok()));
    }
    assert_eq!(news.recv().await.unwrap(), News { programme: tug(), seq: 2 });
    assert_eq!(club.length(), 2);
}

#[tokio::test]
async fn programmes_do_not_mix_and_one_is_founded_once() {
    let club = Club::with_records(3).await;
    let other = ProgrammeId::new("motor-glider").unwrap();
    let mut unknown = act(|_| Ok(vec![]));
    unknown.programme = other.clone();
    assert!(matches!(club.store.act(unknown).await, Err(ActError::UnknownProgramme(_))));

    let found = || {
        let mut founding = act(|state: &State| {
            assert_eq!(state.title, "Motor glider");
            Ok(vec![remark("first light")])
        });
        founding.programme = other.clone();
        club.store.found("Motor glider".to_owned(), founding)
    };
    let (one, other_one) = tokio::join!(found(), found());
    assert!(one.is_ok());
    assert!(matches!(other_one, Err(ActError::ProgrammeExists(_))));

    let club = club.reopened().await;
    assert_eq!(club.store.programmes(), [other.clone(), tug()]);
    assert_eq!(club.store.tree(&other).unwrap().size, 2);
    assert_eq!(club.length(), 3);
}

#[tokio::test]
async fn a_programme_whose_first_records_are_refused_is_not_founded() {
    let club = Club::with_a_programme().await;
    let other = ProgrammeId::new("motor-glider").unwrap();
    let mut founding = act(|_| Err(refusal()));
    founding.programme = other.clone();
    let refused = club.store.found("Motor glider".to_owned(), founding).await;
    assert!(matches!(refused, Err(ActError::Refused(_))));
    assert_eq!(club.store.programmes(), [tug()]);

    let mut acting = act(|_| Ok(vec![remark("nothing to act on")]));
    acting.programme = other;
    assert!(matches!(club.store.act(acting).await, Err(ActError::UnknownProgramme(_))));
}

#[tokio::test]
async fn a_record_that_has_no_json_form_is_refused_and_nothing_of_the_act_is_written() {
    let club = Club::with_a_programme().await;
    let weather =
        WeatherObservation { wind_from_deg: Some(f64::NAN), ..WeatherObservation::default() };
    let drafts = vec![remark("fine"), WeatherObserved { weather }.into()];
    let refused = club.store.act(act(|_| Ok(drafts))).await;
    assert!(
        matches!(refused, Err(ActError::Unkeepable { kind: "weather-observed", .. })),
        "{refused:?}"
    );
    assert_eq!(club.length(), 1);
}

#[tokio::test]
async fn whatever_a_person_types_is_kept_to_the_byte() {
    let club = Club::with_a_programme().await;
    let texts =
        ["\u{0}", "\"\\\n\r\t\u{7f}\u{2028}", "Grüße 🛩 ''; DROP TABLE ledger", "\u{1}\u{1f}"];
    for text in texts {
        club.store.act(act(move |_| Ok(vec![remark(text)]))).await.unwrap();
    }
    let club = club.reopened().await;
    let kept = club
        .store
        .read(&tug(), |state, _| {
            state
                .weather
                .iter()
                .map(|seen| seen.weather.remarks.clone().unwrap())
                .collect::<Vec<_>>()
        })
        .unwrap();
    assert_eq!(kept, texts);
    assert!(club.verdict().await.first_failure.is_none());
}

#[tokio::test]
async fn listeners_hear_of_each_act() {
    let club = Club::with_a_programme().await;
    let mut news = club.store.subscribe();
    club.store.act(act(|_| Ok(vec![remark("a"), remark("b")]))).await.unwrap();
    assert_eq!(news.recv().await.unwrap(), News { programme: tug(), seq: 3 });
}
