//! How fast holds are found: all of them from nothing, and after one more record.
//!
//! A ladder of 10,000 points, each with five prerequisites, and 50,000 results, all invented and drawn from a fixed
//! seed. Then 10,000 random records in about the proportions of a test campaign; after each of them the board is held
//! against the full evaluation of every point, outside the timed part.
//!
//! `cargo bench -p programme --bench holds`; a number after `--` is how many random records there are.

#![allow(missing_docs, clippy::unwrap_used, clippy::panic)]

mod ladder;

use std::collections::BTreeMap;
use std::hint::black_box;
use std::time::{Duration, Instant};

use ladder::Campaign;
use programme::board::Board;
use programme::holds;

/// The value below which a share of the sorted times lies.
fn share(times: &[Duration], share: f64) -> Duration {
    let place = (times.len() as f64 * share).ceil() as usize;
    times[place.clamp(1, times.len()) - 1]
}

fn told(name: &str, mut times: Vec<Duration>) {
    times.sort_unstable();
    println!(
        "{name:<58} p50 {:>10.1?}  p99 {:>10.1?}  max {:>10.1?}  (n = {})",
        share(&times, 0.5),
        share(&times, 0.99),
        times[times.len() - 1],
        times.len()
    );
}

fn main() {
    // `cargo test --benches` runs this too, with `--test`; then a small ladder shows that it works.
    let arguments: Vec<String> = std::env::args().collect();
    let tiny = arguments.iter().any(|argument| argument == "--test");
    let (points, results) = if tiny { (200, 1000) } else { (10_000, 50_000) };
    let asked = arguments.iter().find_map(|argument| argument.parse::<usize>().ok());
    let records = asked.unwrap_or(if tiny { 200 } else { 10_000 });

    let started = Instant::now();
    let mut campaign = Campaign::new(points, results);
    let state = &campaign.state;
    println!(
        "{} points, {} results, {} records folded in {:.2?}",
        state.ladder.rungs().len(),
        state.results.len(),
        state.length(),
        started.elapsed()
    );

    let mut from_nothing = Vec::new();
    let mut board_from_nothing = Vec::new();
    let mut found = 0;
    for _ in 0..if tiny { 2 } else { 50 } {
        let begin = Instant::now();
        let all: Vec<_> = (state.ladder.rungs().iter())
            .map(|rung| holds::reasons(state, rung, campaign.now))
            .collect();
        from_nothing.push(begin.elapsed());
        found = all.iter().map(Vec::len).sum();
        black_box(all);
        let begin = Instant::now();
        black_box(Board::new(state, campaign.now));
        board_from_nothing.push(begin.elapsed());
    }
    told(&format!("all holds from nothing ({found} of them)"), from_nothing);
    told("what the board keeps, from nothing", board_from_nothing);
    let begin = Instant::now();
    let sentences: usize = (state.ladder.rungs().iter())
        .map(|rung| holds::holds(state, rung, campaign.now).len())
        .sum();
    println!("all holds from nothing in sentences ({sentences}): {:.1?}", begin.elapsed());

    let mut board = Board::new(state, campaign.now);
    let (mut apply, mut take_in, mut both) = (Vec::new(), Vec::new(), Vec::new());
    let mut by_kind: BTreeMap<&'static str, Vec<Duration>> = BTreeMap::new();
    let mut compared = 0_usize;
    let mut looked_at = 0_usize;
    for _ in 0..records {
        let entry = campaign.next_record();

        let begin = Instant::now();
        campaign.state.apply(&entry);
        let applied = begin.elapsed();
        // Taking in the record, and telling the holds of every point that it made the board look at again.
        let places = board.take_in(&campaign.state, &entry);
        for place in &places {
            black_box(board.reasons(*place, &campaign.state, entry.at));
        }
        let whole = begin.elapsed();

        looked_at += places.len();
        apply.push(applied);
        take_in.push(whole - applied);
        both.push(whole);
        by_kind.entry(entry.record.kind()).or_default().push(whole - applied);

        for (place, rung) in campaign.state.ladder.rungs().iter().enumerate() {
            let kept = board.reasons(place, &campaign.state, entry.at);
            let afresh = holds::reasons(&campaign.state, rung, entry.at);
            assert!(*kept == *afresh, "{} after {:?}", rung.point.code, entry.record);
            compared += 1;
        }
    }
    println!(
        "\n{records} random records, {looked_at} points looked at again; {compared} comparisons with the full \
         evaluation, all equal"
    );
    told("after one record: take in, tell the points looked at", take_in);
    told("after one record: fold it into the state", apply);
    told("both", both);
    for (kind, times) in by_kind {
        told(&format!("  take in: {kind}"), times);
    }

    let (mut next, mut would_open) = (Vec::new(), Vec::new());
    for _ in 0..20 {
        let begin = Instant::now();
        black_box(board.next(&campaign.state, campaign.now));
        next.push(begin.elapsed());
        let begin = Instant::now();
        black_box(board.would_open(&campaign.state, campaign.now));
        would_open.push(begin.elapsed());
    }
    told("\nwhat can be done next", next);
    told("what would open if a hold cleared", would_open);
}
