use proptest::prelude::*;

use super::*;

fn day(sun_kw: f64, mains_kw: f64, run_kwh: f64, run_min: usize) -> Day {
    Day {
        panels_kw: vec![sun_kw; 600],
        pack: Store { usable_kwh: 24.0, begins_kwh: 20.0, least_kwh: 6.0, power_kw: 10.0 },
        taper: None,
        ground: Some(Store { usable_kwh: 15.0, begins_kwh: 10.0, least_kwh: 1.0, power_kw: 6.0 }),
        mains_kw,
        efficiency: 0.9,
        run_kwh,
        run_min,
        turn_round_min: 10,
    }
}

proptest! {
    #[test]
    fn energy_is_neither_made_nor_lost_and_more_sources_allow_no_fewer_runs(
        sun_kw in 0.0f64..8.0, mains_kw in 0.0f64..8.0, run_kwh in 1.0f64..18.0, run_min in 5usize..60,
    ) {
        let day = day(sun_kw, mains_kw, run_kwh, run_min);
        let went = play(&day, Sources { panels: true, ground: true, mains: true });
        let [pack_kwh, ground_kwh] = went.stored_kwh[599];
        let in_kwh = went.from_panels_kwh + went.from_ground_kwh + went.from_mains_kwh;
        prop_assert!((20.0 + in_kwh - went.began.len() as f64 * run_kwh - pack_kwh).abs() < 1e-6);
        let stored = went.harvest_kwh - went.spilt_kwh - went.from_panels_kwh / 0.9;
        prop_assert!((10.0 + stored - went.from_ground_kwh / 0.9 - ground_kwh).abs() < 1e-6);
        for [pack_kwh, ground_kwh] in &went.stored_kwh {
            prop_assert!((6.0 - 1e-6..=24.0 + 1e-6).contains(pack_kwh) && (1.0 - 1e-6..=15.0 + 1e-6).contains(ground_kwh));
        }
        let with = |panels, ground, mains| play(&day, Sources { panels, ground, mains }).began.len();
        let counts = [with(false, false, false), with(true, false, false), with(true, true, false), went.began.len()];
        prop_assert!(counts.is_sorted(), "{counts:?}");
    }
}
