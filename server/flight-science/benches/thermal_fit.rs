//! How long the thermal fit of an hour at ten samples a second takes: at most 50 ms are wanted.

use criterion::{Criterion, criterion_group, criterion_main};
use flight_science::thermal_fit::{
    BetweenSamples, ThermalParameters, ThermalSample, fit_thermal, thermal_response,
};

/// 36,000 samples of a run with changing power, with a scatter of a quarter of a degree that needs no random source.
fn recording() -> Vec<ThermalSample> {
    let truth = ThermalParameters { time_constant_s: 420.0, rise_c_per_kw: 1.8, start_c: 22.0 };
    let mut samples: Vec<ThermalSample> = (0..36_000)
        .map(|number| {
            let t_s = f64::from(number) * 0.1;
            ThermalSample {
                t_s,
                temperature_c: 0.0,
                ambient_c: 20.0 - t_s / 900.0,
                power_kw: 25.0 + 20.0 * (t_s / 300.0).sin().signum(),
            }
        })
        .collect();
    let response = thermal_response(truth, &samples, BetweenSamples::Straight);
    for (number, (sample, temperature)) in samples.iter_mut().zip(response).enumerate() {
        let scatter = (number as f64 * 12.9898).sin() * 43_758.545;
        sample.temperature_c = temperature + scatter.fract() * 0.5;
    }
    samples
}

fn thermal_fit(criterion: &mut Criterion) {
    let samples = recording();
    criterion.bench_function("thermal fit of 36,000 samples", |bencher| {
        bencher.iter(|| fit_thermal(std::hint::black_box(&samples), BetweenSamples::Straight));
    });
}

criterion_group!(benches, thermal_fit);
criterion_main!(benches);
