//! How fast the running service answers, writes and starts, each beside something to hold it against in the same run.
//!
//!     cargo bench --bench service                    everything but the soak
//!     cargo bench --bench service -- reading mixed   some of it: reading, writing, postgres, mixed, starting, account
//!     cargo bench --bench service -- soak 30         the mixed load for so many minutes
//!
//! Prints one JSON object a line. Rounds alternate between the service and its peer, which runs in a process of its own, so
//! that both meet the same machine; figures are medians over the rounds.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs)]

mod account;
mod bare;
mod load;
mod mixed;
mod postgres;
mod reading;
mod starting;
mod writing;

use std::time::Duration;

use serde_json::{Value, json};

#[path = "../harness/mod.rs"]
mod harness;

const ROUNDS: usize = 7;
const ROUND: Duration = Duration::from_millis(1500);

type Section = (&'static str, fn());

const SECTIONS: [Section; 6] = [
    ("reading", reading::measure),
    ("writing", writing::measure),
    ("postgres", postgres::measure),
    ("mixed", mixed::measure),
    ("starting", starting::measure),
    ("account", account::measure),
];

fn main() {
    // Cargo says that this is a benchmark by a flag.
    let asked: Vec<String> = std::env::args().skip(1).filter(|it| it != "--bench").collect();
    match asked.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["--bare", bytes] => bare::answer(bytes.as_ref()),
        ["--on-postgres", url] => writing::beside_pgbench(url),
        ["soak", minutes] => mixed::soak(minutes.parse().expect("a number of minutes")),
        ref names => {
            let known = |name: &&str| SECTIONS.iter().any(|(known, _)| known == name);
            assert!(names.iter().all(known), "the sections are {:?}", SECTIONS.map(|it| it.0));
            for (name, measure) in SECTIONS {
                if names.is_empty() || names.contains(&name) {
                    measure();
                }
            }
        }
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// One figure more after the point than is needed to compare.
fn rounded(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

fn told(what: &str, figures: Value) {
    println!("{}", json!({ "what": what, "figures": figures }));
}

/// What a process has in memory.
fn resident_mb(process: u32) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap();
    let resident = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
    resident.trim().trim_end_matches(" kB").parse::<f64>().unwrap() / 1024.0
}
