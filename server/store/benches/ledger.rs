//! How long it takes to start with a long ledger, to look into the past, and to write durably, alone and together.
//!
//! Ratios are of one run on one machine; the times say as much about its disk as about the program.

#![allow(clippy::unwrap_used)]

use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

use chrono::{DateTime, Utc};
use programme::codes::{PersonHandle, ProgrammeId};
use programme::entry::Draft;
use programme::ledger::leaf_hash;
use programme::measure::{Measure, Unit};
use programme::nouns::WeatherObservation;
use programme::record::WeatherObserved;
use store::{Act, AsOf, Decide, Idempotency, Reply, Store, verify};

const RECORDS: u64 = 100_000;
const CLIENTS: usize = 64;
const WRITING_FOR: Duration = Duration::from_secs(3);

fn main() {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let directory = tempfile::TempDir::new().unwrap();
        starting(directory.path()).await;
        writing(directory.path()).await;
    });
}

async fn starting(data: &Path) {
    let store = Store::open(data).await.unwrap();
    store.found("Bench".to_owned(), act(None, Box::new(|_| Ok(vec![])))).await.unwrap();
    while store.tree(&programme()).unwrap().size < RECORDS {
        let some = (0..1000).map(observation).collect();
        store.act(act(None, Box::new(|_| Ok(some)))).await.unwrap();
    }
    let size = store.tree(&programme()).unwrap().size;
    store.close().await;
    drop(store);

    for _ in 0..5 {
        let began = Instant::now();
        let store = Store::open(data).await.unwrap();
        println!("start with {size} records: {:?}", began.elapsed());
        store.close().await;
    }
    let store = Store::open(data).await.unwrap();
    let began = Instant::now();
    store.as_of(&programme(), AsOf::Seq(size / 2)).await.unwrap();
    println!("state as of record {}: {:?}", size / 2, began.elapsed());
    let began = Instant::now();
    store.inclusion_proof(&programme(), size / 3, size).unwrap();
    println!("inclusion proof: {:?}", began.elapsed());
    let mut texts = Vec::new();
    while (texts.len() as u64) < size {
        let some = store.entries(&programme(), texts.len() as u64, 4096).await.unwrap();
        texts.extend(some.into_iter().map(|entry| entry.text));
    }
    store.close().await;
    let began = Instant::now();
    for text in &texts {
        black_box(leaf_hash(black_box(text.as_bytes())));
    }
    let bare = began.elapsed();
    println!("bare hashing of the same bytes: {bare:?}");
    let began = Instant::now();
    assert!(verify(data, &[]).await.unwrap()[0].first_failure.is_none());
    let checked = began.elapsed();
    let ratio = checked.as_secs_f64() / bare.as_secs_f64();
    println!("check of {size} records: {checked:?}, {ratio:.1} times the bare hashing");
}

async fn writing(data: &Path) {
    let store = Store::open(data).await.unwrap();
    let alone = acts_a_second(&store, 1).await;
    let together = acts_a_second(&store, CLIENTS).await;
    println!("durable acts a second, one client: {alone:.0}");
    println!("durable acts a second, {CLIENTS} clients: {together:.0}");
    println!("ratio: {:.1}", together / alone);
    store.close().await;
}

async fn acts_a_second(store: &Store, clients: usize) -> f64 {
    let began = Instant::now();
    let working: Vec<_> = (0..clients)
        .map(|client| {
            let store = store.clone();
            tokio::spawn(async move {
                let mut acts: u32 = 0;
                while began.elapsed() < WRITING_FOR {
                    let key = format!("{clients}-{client}-{acts}");
                    let decide: Decide = Box::new(|state| Ok(vec![observation(state.length())]));
                    store.act(act(Some(key), decide)).await.unwrap();
                    acts += 1;
                }
                acts
            })
        })
        .collect();
    let mut acts = 0;
    for client in working {
        acts += client.await.unwrap();
    }
    f64::from(acts) / began.elapsed().as_secs_f64()
}

fn programme() -> ProgrammeId {
    ProgrammeId::new("bench").unwrap()
}

fn act(key: Option<String>, decide: Decide) -> Act {
    let at: DateTime<Utc> = "2026-05-09T12:00:00Z".parse().unwrap();
    Act {
        programme: programme(),
        by: PersonHandle::new("ada").unwrap(),
        at,
        idempotency: key.map(|key| Idempotency { key, request_digest: [7; 32] }),
        decide,
        reply: Box::new(|state, _| Reply {
            status: 201,
            body: format!("{{\"records\":{}}}", state.length()).into_bytes(),
            headers: Vec::new(),
        }),
    }
}

fn observation(number: u64) -> Draft {
    let measure = |value, unit| Some(Measure { value, unit });
    let weather = WeatherObservation {
        wind: measure(8.0, Unit::Knot),
        wind_from_deg: Some((number % 360) as f64),
        crosswind: measure(3.5, Unit::Knot),
        visibility: measure(20.0, Unit::Kilometre),
        temperature: measure(17.3, Unit::Celsius),
        remarks: Some("grass dry and short, thermals from eleven on".to_owned()),
        ..WeatherObservation::default()
    };
    WeatherObserved { weather }.into()
}
