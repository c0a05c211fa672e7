//! Plans a day of bare figures, for checks beside other solvers.
//!
//! Reads a [`PlainDay`] as JSON from standard input; prints `{"seconds": …, "runs": [[run, step]], "value": …, "at_most": …}`.

#![allow(clippy::unwrap_used)]

use std::io::Read;
use std::sync::atomic::AtomicBool;
use std::time::Instant;

use programme::day_plan::{PlainDay, order_of_runs};

fn main() {
    let mut text = String::new();
    std::io::stdin().read_to_string(&mut text).unwrap();
    let day: PlainDay = serde_json::from_str(&text).unwrap();
    let started = Instant::now();
    let found = order_of_runs(&day, &AtomicBool::new(false)).unwrap();
    let seconds = started.elapsed().as_secs_f64();
    let answer = serde_json::json!({
        "seconds": seconds, "runs": found.runs, "value": found.value, "at_most": found.at_most,
    });
    println!("{answer}");
}
