//! Damping of decays.

use proptest::prelude::*;
use serde_json::json;

use super::{Made, Noise, figure, is_near};

/// At rest at 1.0 until a pulse at 2 s, then decaying.
fn decay(damping_ratio: f64, frequency_hz: f64) -> impl Fn(f64) -> f64 {
    move |t_s| {
        let after_s = t_s - 2.0;
        if after_s < 0.0 {
            return 1.0;
        }
        let omega = std::f64::consts::TAU * frequency_hz;
        let natural = omega / (1.0 - damping_ratio * damping_ratio).sqrt();
        1.0 + 0.8 * (-damping_ratio * natural * after_s).exp() * (omega * after_s).cos()
    }
}

#[test]
fn damping_and_frequency_come_back_from_the_samples_after_the_pulse() {
    let truth = decay(0.04, 6.2);
    let mut random = Noise(17);
    let made =
        Made::lasting(8.0, 100.0).with("signal", "g", |t_s| truth(t_s) + 0.005 * random.next());
    let reduced = made.reduce("damping", json!({})).unwrap();
    is_near(figure(&reduced, "/damping_ratio"), 0.04, 0.001);
    is_near(figure(&reduced, "/frequency_hz"), 6.2, 0.01);
    is_near(reduced.rests_on.stretches[0].figures["value_at_rest"], 1.0, 0.01);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]
    #[test]
    fn peaks_give_the_damping_that_they_were_made_with(ratio in 0.01f64..0.12, frequency_hz in 2.0f64..8.0) {
        let made = Made::lasting(20.0, 200.0).with("signal", "g", decay(ratio, frequency_hz));
        let reduced = made.reduce("damping", json!({ "use": "peaks" })).unwrap();
        prop_assert!((figure(&reduced, "/damping_ratio") - ratio).abs() < 0.01 * ratio);
        prop_assert!((figure(&reduced, "/frequency_hz") - frequency_hz).abs() < 0.01 * frequency_hz);
    }
}

#[test]
fn a_signal_without_a_pulse_is_refused() {
    let made = Made::lasting(8.0, 100.0).with("signal", "g", |_| 1.0);
    let refused = made.reduce("damping", json!({})).unwrap_err();
    assert!(refused.to_string().contains("no pulse"), "{refused}");
}
