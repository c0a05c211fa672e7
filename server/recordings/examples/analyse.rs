//! Analyses readings: one JSON object a line in, one a line out. `tests/reference` compares the answers with NumPy and SciPy.
//!
//!     analyse < QUESTIONS
//!
//! A question has `what`, and `groups`: lists of `[microseconds, value or null]`.

use std::error::Error;
use std::io::BufRead;

use recordings::bins::bins;
use recordings::clock_offset::clock_offset;
use recordings::heating::{Component, order_of_heating};
use recordings::limits::{
    KindOfLimit, LimitRule, WatchOptions, exceedances, modified_z_scores, rates, seconds_above,
    spreads,
};
use recordings::statistics::{Demands, Wanted, take};
use recordings::{Micros, Series};
use serde::Deserialize;
use serde_json::{Value, json};

#[derive(Deserialize)]
struct Question {
    what: String,
    groups: Vec<Vec<(i64, Option<f64>)>>,
    #[serde(default)]
    figure: f64,
}

fn main() -> Result<(), Box<dyn Error>> {
    for line in std::io::stdin().lock().lines() {
        let question: Question = serde_json::from_str(&line?)?;
        println!("{}", answer(&question)?);
    }
    Ok(())
}

fn answer(question: &Question) -> Result<Value, Box<dyn Error>> {
    let columns: Vec<(Vec<Micros>, Vec<f64>)> = question
        .groups
        .iter()
        .map(|group| {
            group.iter().map(|(at, value)| (Micros(*at), value.unwrap_or(f64::NAN))).unzip()
        })
        .collect();
    let group: Vec<Series<'_>> =
        columns.iter().map(|(times, values)| Series { times, values }).collect();
    let first = *group.first().ok_or("a question needs a group")?;
    let ends = || first.times.first().copied().zip(first.times.last().copied());
    let options = WatchOptions::default();
    let moments = |figures: Vec<(Micros, f64)>| {
        json!(figures.iter().map(|(at, figure)| (at.0, *figure)).collect::<Vec<_>>())
    };
    Ok(match question.what.as_str() {
        "rates" => moments(rates(first, &options)),
        "spreads" => moments(spreads(&group, &options)),
        "scores" => json!(modified_z_scores(first.values)),
        "mean" => {
            let demands = Demands { most_missing: 1.0, ..Demands::default() };
            let interval = ends().ok_or("no readings")?;
            json!(take(Wanted::Mean, &[("t", first)], interval, &demands)?.value)
        }
        "seconds-above" => {
            let end = ends().ok_or("no readings")?.1;
            json!(seconds_above(first.present(), question.figure, end))
        }
        "exceedances" => {
            let rule = LimitRule {
                code: "L".to_owned(),
                channel: "t".to_owned(),
                unit: String::new(),
                kind: KindOfLimit::Maximum { caution: None, limit: question.figure },
                dwell_s: 0.0,
            };
            let judged = exceedances(&rule, &|_| Some(first), &options);
            json!(judged.found.iter().map(|it| (it.start.0, it.end.0, it.peak)).collect::<Vec<_>>())
        }
        "bins" => {
            let values: Vec<&[f64]> = group.iter().map(|series| series.values).collect();
            let bins = bins(first.times, &values, 0..first.times.len(), 1_000_000);
            json!({ "starts": bins.starts, "channels": bins.channels })
        }
        "offset" => {
            let other = *group.get(1).ok_or("an offset needs two groups")?;
            json!(clock_offset(first, other, question.figure)?)
        }
        "time-to-limit" => {
            let component = Component {
                limit_code: "L".to_owned(),
                channel: "t".to_owned(),
                limit: question.figure,
            };
            let stretch = ends().ok_or("no readings")?;
            json!(order_of_heating(&[component], &|_| Some(first), stretch, None).components)
        }
        other => return Err(format!("no analysis is called {other}").into()),
    })
}
