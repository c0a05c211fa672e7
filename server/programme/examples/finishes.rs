//! Draws trials of a network of steps, for checks beside other libraries.
//!
//! Reads `{"after": [[…]], "days": [[best, likely, worst]], "trials": …, "seed": …, "threads": …}` from standard input; prints
//! `{"seconds": …, "whole_days": […], "critical": […]}`.

#![allow(clippy::unwrap_used)]

use std::io::Read;
use std::sync::atomic::AtomicBool;
use std::time::Instant;

use programme::forecast::{Network, Spread, ThreePoint, finishes};

#[derive(serde::Deserialize)]
struct Asked {
    after: Vec<Vec<usize>>,
    days: Vec<[f64; 3]>,
    trials: u32,
    seed: u64,
    threads: usize,
}

fn main() {
    let mut text = String::new();
    std::io::stdin().read_to_string(&mut text).unwrap();
    let asked: Asked = serde_json::from_str(&text).unwrap();
    let days: Vec<Spread> = asked
        .days
        .iter()
        .map(|[best, likely, worst]| {
            Spread::ThreePoint(ThreePoint { best: *best, likely: *likely, worst: *worst })
        })
        .collect();
    let pool = rayon::ThreadPoolBuilder::new().num_threads(asked.threads).build().unwrap();
    let started = Instant::now();
    let told = pool
        .install(|| {
            let network = Network::new(&asked.after).unwrap();
            finishes(&network, &days, asked.trials, asked.seed, &AtomicBool::new(false))
        })
        .unwrap();
    let seconds = started.elapsed().as_secs_f64();
    let answer = serde_json::json!({
        "seconds": seconds, "whole_days": told.whole_days, "critical": told.critical,
    });
    println!("{answer}");
}
