//! How long airspeed conversions take: one by one, as a topic with its JSON, and a million in one batch.

use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use flight_science::airspeed::{Airspeeds, true_from_calibrated_batch};
use flight_science::atmosphere::Air;
use flight_science::catalogue;
use quantities::{CalibratedAirspeed, PressureAltitude, Temperature};
use rand::rngs::SmallRng;
use rand::{RngExt, SeedableRng};

const ROWS: usize = 1_000_000;

/// Columns of airspeed in kt, altitude in ft and temperature in °C, as a light aircraft meets them.
fn columns() -> (Vec<f64>, Vec<f64>, Vec<f64>) {
    let mut random = SmallRng::seed_from_u64(20_240_501);
    let mut column =
        |low: f64, high: f64| (0..ROWS).map(|_| random.random_range(low..high)).collect();
    (column(30.0, 250.0), column(-1_000.0, 18_000.0), column(-40.0, 40.0))
}

fn single(cas_kt: f64, altitude_ft: f64, oat_c: f64) -> Option<f64> {
    let temperature = Temperature::from_celsius(oat_c);
    let air = Air::at(PressureAltitude::from_feet(altitude_ft), Some(temperature)).ok()?;
    let speeds = Airspeeds::from_calibrated(CalibratedAirspeed::from_knots(cas_kt), air).ok()?;
    Some(speeds.true_airspeed.knots())
}

fn conversions(criterion: &mut Criterion) {
    let (cas_kt, altitude_ft, oat_c) = columns();

    let mut one = criterion.benchmark_group("airspeed");
    one.bench_function("one conversion", |bencher| {
        let mut rows = (0..ROWS).cycle();
        bencher.iter_batched(
            || rows.next().unwrap_or(0),
            |row| single(cas_kt[row], altitude_ft[row], oat_c[row]),
            BatchSize::SmallInput,
        );
    });
    one.bench_function("one conversion as a topic", |bencher| {
        let input =
            serde_json::json!({ "cas_kt": 78.0, "pressure_altitude_ft": 3200.0, "oat_c": 18.0 });
        bencher.iter(|| catalogue::compute("airspeed", std::hint::black_box(&input)));
    });
    one.throughput(Throughput::Elements(ROWS as u64));
    one.bench_function("a million in one batch", |bencher| {
        bencher.iter(|| true_from_calibrated_batch(&cas_kt, &altitude_ft, Some(&oat_c)));
    });
    one.finish();
}

criterion_group!(benches, conversions);
criterion_main!(benches);
