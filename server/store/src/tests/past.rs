//! The ledger's pages, its past, and its proofs.

use programme::ledger::{consistency_holds, inclusion_holds};

use super::*;

#[tokio::test]
async fn the_ledger_is_read_page_by_page() {
    let club = Club::with_records(5).await;
    let page = |after, limit| {
        let store = club.store.clone();
        async move {
            let entries = store.entries(&tug(), after, limit).await.unwrap();
            entries.iter().map(|entry| entry.seq).collect::<Vec<_>>()
        }
    };
    assert_eq!(page(0, 2).await, [1, 2]);
    assert_eq!(page(2, 2).await, [3, 4]);
    assert_eq!(page(4, 2).await, [5]);
    assert!(page(5, 2).await.is_empty());
    assert!(page(u64::MAX, 2).await.is_empty());
}

#[tokio::test]
async fn the_state_as_of_a_record_is_the_state_there_was_then() {
    let club = Club::with_records(6).await;
    for seq in 0..=6 {
        let state = club.store.as_of(&tug(), AsOf::Seq(seq)).await.unwrap();
        assert_eq!(state.length(), seq);
        assert_eq!(state.weather.len() as u64, seq.saturating_sub(1));
    }
    let refused = club.store.as_of(&tug(), AsOf::Seq(7)).await;
    assert!(matches!(refused, Err(AsOfError::NotYet { asked: 7, length: 6 })), "{refused:?}");
    let other = ProgrammeId::new("other").unwrap();
    for as_of in [AsOf::Seq(0), AsOf::At(noon())] {
        let refused = club.store.as_of(&other, as_of).await;
        assert!(matches!(refused, Err(AsOfError::UnknownProgramme(_))), "{refused:?}");
    }
}

#[tokio::test]
async fn the_state_as_of_a_time_has_all_that_was_recorded_by_then() {
    let club = Club::with_a_programme().await;
    // The clock was set back between the third and the fourth record.
    for minutes in [10, 20, 15, 30] {
        let mut later = act(|_| Ok(vec![remark("later")]));
        later.at = minutes_after_noon(minutes);
        club.store.act(later).await.unwrap();
    }
    for (minutes, records) in [(-1, 0), (0, 1), (9, 1), (10, 2), (15, 4), (20, 4), (31, 5)] {
        let as_of = AsOf::At(minutes_after_noon(minutes));
        let state = club.store.as_of(&tug(), as_of).await.unwrap();
        assert_eq!(state.length(), records, "{minutes} minutes after noon");
    }
}

#[tokio::test]
async fn anybody_can_check_a_record_and_the_growth_of_the_ledger() {
    let club = Club::with_records(11).await;
    let head = club.store.tree(&tug()).unwrap();
    for stored in club.store.entries(&tug(), 0, 100).await.unwrap() {
        let (leaf, proof) = club.store.inclusion_proof(&tug(), stored.seq, 11).unwrap();
        assert_eq!(leaf, programme::ledger::leaf_hash(stored.text.as_bytes()));
        assert!(inclusion_holds(leaf, stored.seq - 1, head.size, &proof, head.root));
    }
    for size in 1..=11 {
        let earlier = club.store.tree_at(&tug(), size).unwrap();
        let proof = club.store.consistency_proof(&tug(), size, 11).unwrap();
        assert!(consistency_holds(size, 11, &proof, earlier.root, head.root));
    }
    assert!(club.store.inclusion_proof(&tug(), 0, 11).is_none());
    assert!(club.store.inclusion_proof(&tug(), 12, 11).is_none());
    assert!(club.store.consistency_proof(&tug(), 3, 12).is_none());
    assert!(club.store.tree_at(&tug(), 12).is_none());
}
