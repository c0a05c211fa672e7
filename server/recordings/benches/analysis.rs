//! How long it takes to analyse a recording of 500,000 rows and 29 channels, and one of an hour.
//!
//! Wanted: a limit over 30 s of one channel in less than 1 ms; the offset of two clocks from an hour in a few hundred ms.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use recordings::bins::bins;
use recordings::clock_offset::clock_offset;
use recordings::envelope::{MOST_POINTS, envelope};
use recordings::limits::{KindOfLimit, LimitRule, TimedRating, WatchOptions, exceedances};
use recordings::{Micros, Series};

const ROWS: usize = 500_000;
const CHANNELS: usize = 29;

/// Rows at 10 Hz.
fn times(rows: usize) -> Vec<Micros> {
    (0..rows as i64).map(|row| Micros(1_700_000_000_000_000 + row * 100_000)).collect()
}

/// Slow waves with a scatter that needs no random source, and every thousandth reading missing.
fn column(rows: usize, number: usize) -> Vec<f64> {
    (0..rows)
        .map(|row| {
            if row % 1_000 == 999 {
                return f64::NAN;
            }
            let t = row as f64 * 0.1;
            let scatter = ((row + number) as f64 * 12.9898).sin() * 43_758.545;
            60.0 + 30.0 * (t / 97.3).sin()
                + 10.0 * (t / 13.1 + number as f64).sin()
                + scatter.fract()
        })
        .collect()
}

fn kinds() -> Vec<(&'static str, KindOfLimit)> {
    let timed = vec![TimedRating { value: 110.0, seconds: 60.0 }];
    vec![
        ("maximum", KindOfLimit::Maximum { caution: None, limit: 95.0 }),
        ("rate", KindOfLimit::Rate { caution_per_s: None, limit_per_s: 2.0 }),
        (
            "spread",
            KindOfLimit::Spread { with: vec!["b".into(), "c".into()], caution: None, limit: 22.0 },
        ),
        ("time above", KindOfLimit::TimeAbove { threshold: 90.0, caution_s: None, limit_s: 60.0 }),
        ("rating", KindOfLimit::Rating { continuous: 80.0, timed }),
    ]
}

fn analysis(criterion: &mut Criterion) {
    let times = times(ROWS);
    let columns: Vec<_> = (0..CHANNELS).map(|number| column(ROWS, number)).collect();
    let all: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    criterion.bench_function("one-second bins of 29 channels of 500,000 rows", |bencher| {
        bencher.iter(|| bins(black_box(&times), black_box(&all), 0..ROWS, 1_000_000));
    });
    let series = |number: usize| Series { times: &times, values: &columns[number] };
    criterion.bench_function("a plot of 500,000 rows", |bencher| {
        let (from, to) = (times[0], times[ROWS - 1]);
        bencher.iter(|| envelope(black_box(series(0)), from, to, MOST_POINTS, 1.0));
    });
    let series_of = |code: &str| match code {
        "b" => Some(series(1)),
        "c" => Some(series(2)),
        _ => Some(series(0)),
    };
    for (name, kind) in kinds() {
        let rule = LimitRule {
            code: "L".to_owned(),
            channel: "a".to_owned(),
            unit: "°C".to_owned(),
            kind,
            dwell_s: 1.0,
        };
        let window = (times[100_000], times[100_300]);
        for (over, what) in [(Some(window), "30 s"), (None, "500,000 rows")] {
            let options = WatchOptions { over, ..WatchOptions::default() };
            criterion.bench_function(&format!("{name} over {what}"), |bencher| {
                bencher.iter(|| exceedances(black_box(&rule), &series_of, &options));
            });
        }
    }
    let hour = |behind: i64| -> (Vec<Micros>, Vec<f64>) {
        let rows = times[..36_000].iter().zip(&columns[0]);
        rows.map(|(time, value)| (Micros(time.0 - behind), *value)).unzip()
    };
    let (first, other) = (hour(0), hour(12_345_678));
    criterion.bench_function(
        "offset of two clocks from an hour at 10 Hz, 10 minutes either way",
        |bencher| {
            bencher.iter(|| {
                clock_offset(
                    black_box(Series { times: &first.0, values: &first.1 }),
                    black_box(Series { times: &other.0, values: &other.1 }),
                    600.0,
                )
            });
        },
    );
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(20);
    targets = analysis
}
criterion_main!(benches);
