#![allow(clippy::unwrap_used, clippy::panic)]

use proptest::prelude::*;

use super::*;
use crate::measure::Unit;
use crate::nouns::{CertificationBasis, LoadingCorner, LoadingLimits, StructuralDesign};
use crate::record::{AircraftDescribed, LimitSet};
use crate::story::{Story, condition, limit, point};

type Reached<'a> = &'a [(Axis, f64, Unit)];

/// Points that were shown and accepted, each with what was reached.
fn shown(points: &[(&str, Reached<'_>)]) -> Story {
    let mut story = Story::team();
    for (name, reached) in points {
        shows(&mut story, name, reached);
    }
    story
}

fn shows(story: &mut Story, name: &str, reached: Reached<'_>) {
    let mut planned = point(name);
    planned.conditions =
        reached.iter().map(|(axis, at, unit)| (*axis, condition(*at, 1.0, *unit))).collect();
    story.plan(planned).approve(name).show_and_accept(name);
}

fn shown_by(story: &Story, pair: Pair, at: [f64; 2]) -> Option<Vec<String>> {
    let envelope = Envelope::present(&story.state);
    let by = envelope.pair(pair).unwrap().shown_by(&story.state, at)?;
    Some(by.into_iter().map(|id| story.state.results[id.0].point.to_string()).collect())
}

fn flights() -> Story {
    let flight = |speed, altitude| {
        [(Axis::Speed, speed, Unit::Knot), (Axis::PressureAltitude, altitude, Unit::Foot)]
    };
    shown(&[("LOW", &flight(100.0, 2000.0)), ("HIGH", &flight(60.0, 8000.0))])
}

#[test]
fn a_state_is_shown_where_a_result_dominates_it_and_not_where_two_results_would_together() {
    let story = flights();
    for (at, by) in [
        ([100.0, 2000.0], Some("LOW")),
        ([80.0, 1000.0], Some("LOW")),
        ([60.0, 8000.0], Some("HIGH")),
        ([60.0, 8000.1], None),
        ([60.1, 8000.0], None),
        ([100.0, 8000.0], None),
        ([f64::NAN, 1000.0], None),
    ] {
        let by = by.map(|name| vec![name.to_owned()]);
        assert_eq!(shown_by(&story, Pair::SpeedAltitude, at), by, "{at:?}");
    }
}

#[test]
fn the_region_of_two_results_is_a_stair_with_what_bounds_it() {
    let story = flights();
    let envelope = Envelope::present(&story.state);
    let pair = envelope.pair(Pair::SpeedAltitude).unwrap();
    let [region] = pair.regions.as_slice() else { panic!("{:?}", pair.regions) };
    assert_eq!(
        region.polygon,
        [[0.0, 0.0], [0.0, 8000.0], [60.0, 8000.0], [60.0, 2000.0], [100.0, 2000.0], [100.0, 0.0]]
    );
    let bounds: Vec<_> = region.bounds.iter().map(|it| it.at).collect();
    assert_eq!(bounds, [[100.0, 2000.0], [60.0, 8000.0]]);
}

#[test]
fn the_region_ends_at_the_never_exceed_speed() {
    let mut story = flights();
    let mut aircraft = story.state.aircraft.clone().unwrap();
    aircraft.never_exceed_speed = Some(Measure::new(90.0, Unit::Knot));
    story.record("lead", AircraftDescribed { aircraft });
    let envelope = Envelope::present(&story.state);
    let region = &envelope.pair(Pair::SpeedAltitude).unwrap().regions[0];
    assert!(region.polygon.iter().all(|corner| corner[0] <= 90.0), "{:?}", region.polygon);
    assert!(region.polygon.contains(&[90.0, 2000.0]));
    assert_eq!(shown_by(&story, Pair::SpeedAltitude, [95.0, 1000.0]), None);
    let speed = envelope.axes.iter().find(|it| it.axis == Axis::Speed).unwrap();
    assert_eq!(speed.greatest.reached, Measure::new(100.0, Unit::Knot));
    assert_eq!(speed.design_greatest, Some(Measure::new(90.0, Unit::Knot)));
}

#[test]
fn the_region_ends_at_the_greatest_altitude() {
    let mut story = flights();
    let mut aircraft = story.state.aircraft.clone().unwrap();
    aircraft.maximum_altitude = Some(Measure::new(7000.0, Unit::Foot));
    story.record("lead", AircraftDescribed { aircraft });
    let envelope = Envelope::present(&story.state);
    let pair = envelope.pair(Pair::SpeedAltitude).unwrap();
    assert_eq!(pair.boundary.notes[1], "Greatest altitude 7000 ft of the aircraft.");
    let highest = pair.regions[0].polygon.iter().map(|corner| corner[1]).fold(0.0, f64::max);
    assert!((highest - 7000.0).abs() < 1e-9, "{:?}", pair.regions[0].polygon);
    assert!(shown_by(&story, Pair::SpeedAltitude, [50.0, 7000.0]).is_some());
    assert_eq!(shown_by(&story, Pair::SpeedAltitude, [50.0, 7001.0]), None);
}

#[test]
fn a_lower_charge_state_is_more_demanding() {
    let story = shown(&[(
        "LAND",
        &[(Axis::ChargeState, 30.0, Unit::Percent), (Axis::Power, 40.0, Unit::Kilowatt)],
    )]);
    assert!(shown_by(&story, Pair::ChargePower, [30.0, 40.0]).is_some());
    assert!(shown_by(&story, Pair::ChargePower, [90.0, 20.0]).is_some());
    assert!(shown_by(&story, Pair::ChargePower, [29.0, 20.0]).is_none());
    assert!(shown_by(&story, Pair::ChargePower, [90.0, 41.0]).is_none());
    assert!(shown_by(&story, Pair::ChargePower, [101.0, 20.0]).is_none());
    let envelope = Envelope::present(&story.state);
    let region = &envelope.pair(Pair::ChargePower).unwrap().regions[0];
    assert_eq!(region.polygon, [[100.0, 0.0], [100.0, 40.0], [30.0, 40.0], [30.0, 0.0]]);
}

/// The published example of the reduction `structural-envelope`: CS-VLA, VC 108 kt, VD 150 kt.
fn structure() -> StructuralDesign {
    StructuralDesign {
        basis: CertificationBasis::CsVla,
        wing_area_m2: 12.6,
        cl_max: 1.5,
        cl_min: -0.9,
        lift_slope_per_rad: 4.9,
        mean_chord: Measure::new(1.31, Unit::Metre),
        cruise_speed: Measure::new(108.0, Unit::Knot),
        dive_speed: Measure::new(150.0, Unit::Knot),
        source: "an invented design".to_owned(),
    }
}

#[test]
fn load_factors_count_both_ways_from_level_flight_and_inside_the_structural_boundary() {
    let manoeuvre = |speed, n, mass| {
        [
            (Axis::Speed, speed, Unit::Knot),
            (Axis::LoadFactor, n, Unit::G),
            (Axis::Mass, mass, Unit::Kilogram),
        ]
    };
    let mut story =
        shown(&[("PULL", &manoeuvre(100.0, 2.0, 680.0)), ("PUSH", &manoeuvre(90.0, 0.2, 680.0))]);
    let shown = |story: &Story, at| shown_by(story, Pair::SpeedLoadFactor, at).is_some();
    assert!(
        shown(&story, [100.0, 2.0]) && shown(&story, [90.0, 0.2]) && shown(&story, [20.0, 2.0])
    );
    assert!(
        !shown(&story, [90.0, 0.1]) && !shown(&story, [91.0, 0.9]) && !shown(&story, [99.0, 2.1])
    );
    // Below the stall line nobody flies: at 20 kt the wing does not lift 2 g.
    let mut aircraft = story.state.aircraft.clone().unwrap();
    aircraft.structure = Some(structure());
    story.record("lead", AircraftDescribed { aircraft });
    assert!(
        shown(&story, [100.0, 2.0]) && shown(&story, [90.0, 0.2]) && !shown(&story, [20.0, 2.0])
    );
    let envelope = Envelope::present(&story.state);
    let pair = envelope.pair(Pair::SpeedLoadFactor).unwrap();
    assert_eq!(pair.regions.len(), 2);
    let structure = &structures(&story.state)[0];
    for corner in pair.regions[0].polygon.iter().filter(|corner| corner[1] > 1.0) {
        assert!(
            pair_is_beyond(&story.state, Pair::SpeedLoadFactor, [corner[0], corner[1] + 0.01])
                || corner[1] >= 2.0,
            "{corner:?}"
        );
        assert!(corner[0] >= structure.stall.knots() - 1e-9, "{corner:?}");
    }
}

#[test]
fn what_the_aircraft_does_not_state_is_told_as_not_known() {
    let envelope = Envelope::present(&Story::team().state);
    assert!(envelope.axes.is_empty());
    for pair in &envelope.pairs {
        assert!(pair.regions.is_empty() && !pair.boundary.notes.is_empty(), "{}", pair.pair);
    }
}

#[test]
fn loadings_between_those_flown_are_shown_inside_the_loading_limits() {
    let loading = |cg, mass| {
        [(Axis::CentreOfGravity, cg, Unit::PercentMac), (Axis::Mass, mass, Unit::Kilogram)]
    };
    let mut story = shown(&[
        ("M1", &loading(20.0, 600.0)),
        ("M2", &loading(28.0, 600.0)),
        ("M3", &loading(28.0, 760.0)),
    ]);
    let shown = |story: &Story, at| shown_by(story, Pair::MassCentreOfGravity, at).is_some();
    assert!(
        shown(&story, [27.0, 650.0])
            && shown(&story, [24.0, 600.0])
            && shown(&story, [28.0, 760.0])
    );
    assert!(!shown(&story, [21.0, 700.0]) && !shown(&story, [28.1, 650.0]));
    let corner = |cg, mass| LoadingCorner {
        centre_of_gravity: Measure::new(cg, Unit::PercentMac),
        mass: Measure::new(mass, Unit::Kilogram),
    };
    let mut aircraft = story.state.aircraft.clone().unwrap();
    aircraft.loading_limits = Some(LoadingLimits {
        chord_leading_edge: Measure::new(0.36, Unit::Metre),
        chord_length: Measure::new(1.3, Unit::Metre),
        corners: vec![
            corner(18.0, 500.0),
            corner(30.0, 500.0),
            corner(30.0, 720.0),
            corner(18.0, 720.0),
        ],
        source: "invented".to_owned(),
    });
    story.record("lead", AircraftDescribed { aircraft });
    assert!(shown(&story, [27.0, 650.0]) && !shown(&story, [28.0, 760.0]));
    let envelope = Envelope::present(&story.state);
    let region = &envelope.pair(Pair::MassCentreOfGravity).unwrap().regions[0];
    let top = region.polygon.iter().map(|corner| corner[1]).fold(0.0, f64::max);
    assert!((top - 720.0).abs() < 1e-9, "{:?}", region.polygon);
}

#[test]
fn power_is_shown_for_as_long_as_it_was_held_and_its_limit_is_a_stair() {
    let mut story = shown(&[(
        "PWR",
        &[(Axis::Power, 60.0, Unit::Kilowatt), (Axis::TimeAtPower, 2.0, Unit::Minute)],
    )]);
    assert!(shown_by(&story, Pair::PowerTime, [120.0, 60.0]).is_some());
    assert!(shown_by(&story, Pair::PowerTime, [121.0, 60.0]).is_none());
    let mut rated = limit("L-power");
    rated.unit = Unit::Kilowatt;
    rated.phases = vec![crate::nouns::Phase::Envelope];
    rated.kind = crate::nouns::LimitKind::Rating {
        continuous: 50.0,
        timed: vec![crate::nouns::TimedRating { value: 70.0, seconds: 60.0 }],
    };
    story.record("engineer", LimitSet { limit: rated });
    assert!(shown_by(&story, Pair::PowerTime, [60.0, 60.0]).is_some());
    assert!(shown_by(&story, Pair::PowerTime, [61.0, 60.0]).is_none(), "beyond the rating");
    assert!(shown_by(&story, Pair::PowerTime, [120.0, 50.0]).is_some());
    let envelope = Envelope::present(&story.state);
    let region = &envelope.pair(Pair::PowerTime).unwrap().regions[0];
    assert_eq!(
        region.polygon,
        [[0.0, 0.0], [0.0, 60.0], [60.0, 60.0], [60.0, 50.0], [120.0, 50.0], [120.0, 0.0]]
    );
}

#[test]
fn a_configuration_of_the_past_keeps_what_was_shown_in_it() {
    let mut story = flights();
    let before = configurations(&story.state);
    assert_eq!(before.len(), 1);
    assert!(before[0].is_present && before[0].results.len() == 2);
    story.fit("motor", "2");
    assert!(Envelope::present(&story.state).results.is_empty());
    let after = configurations(&story.state);
    assert_eq!(after.len(), 1);
    assert_eq!(after[0].digest, before[0].digest);
    assert!(!after[0].is_present);
    let past = Envelope::of(&story.state, after[0].results.clone());
    assert_eq!(past.pair(Pair::SpeedAltitude).unwrap().evidence.len(), 2);
    // A plan that changed since speaks against it there too.
    let mut changed = (*story.rung("LOW").point).clone();
    changed.objective = "Show something else.".to_owned();
    story.plan(changed);
    assert_eq!(configurations(&story.state)[0].results.len(), 1);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn another_accepted_result_never_shrinks_what_is_shown_and_one_not_met_never_grows_it(
        flown in proptest::collection::vec((10.0..120.0, 0.0..9000.0, -1.0..3.0), 1..8),
        more in (10.0..120.0_f64, 0.0..9000.0_f64, -1.0..3.0_f64),
        probes in proptest::collection::vec((0.0..130.0, 0.0..10_000.0, -1.5..3.5), 24),
    ) {
        let reached = |(speed, altitude, n): (f64, f64, f64)| {
            [
                (Axis::Speed, speed, Unit::Knot),
                (Axis::PressureAltitude, altitude, Unit::Foot),
                (Axis::LoadFactor, n, Unit::G),
            ]
        };
        let mut story = Story::team();
        for (place, state) in flown.iter().enumerate() {
            shows(&mut story, &format!("F{place}"), &reached(*state));
        }
        let mut failed = story.clone();
        let mut planned = point("MORE");
        planned.conditions = reached(more)
            .iter()
            .map(|(axis, at, unit)| (*axis, condition(*at, 1.0, *unit)))
            .collect();
        failed.plan(planned).approve("MORE");
        let run = failed.show("MORE", 70.0);
        failed.accept("MORE", run);
        prop_assert_eq!(&failed.state.envelope, &story.state.envelope);
        let mut met = story.clone();
        shows(&mut met, "MORE", &reached(more));
        let envelopes = [&story, &met, &failed].map(|story| Envelope::present(&story.state));
        for (speed, altitude, n) in probes {
            for (pair, at) in
                [(Pair::SpeedAltitude, [speed, altitude]), (Pair::SpeedLoadFactor, [speed, n])]
            {
                let [before, after, failed] = [0, 1, 2].map(|it| {
                    envelopes[it].pair(pair).unwrap().shown_by(&story.state, at).is_some()
                });
                prop_assert!(!before || after, "{pair} {at:?}");
                prop_assert_eq!(before, failed);
            }
        }
    }

    #[test]
    fn a_lapse_never_opens_a_rung(
        flown in proptest::collection::vec((10.0..120.0_f64, 5.0..60.0_f64), 1..6),
        target in (10.0..130.0_f64, 5.0..70.0_f64),
        lapses in 0usize..6,
    ) {
        let mut story = Story::team();
        let conditions = |(speed, power): (f64, f64)| {
            [(Axis::Speed, speed, Unit::Knot), (Axis::Power, power, Unit::Kilowatt)]
        };
        for (place, state) in flown.iter().enumerate() {
            shows(&mut story, &format!("F{place}"), &conditions(*state));
        }
        let mut planned = point("B");
        planned.conditions = conditions(target)
            .iter()
            .map(|(axis, at, unit)| (*axis, condition(*at, 1.0, *unit)))
            .collect();
        story.plan(planned).approve("B");
        let before = story.rules("B");
        let mut changed = (*story.rung(&format!("F{}", lapses % flown.len())).point).clone();
        changed.objective = "Show something else.".to_owned();
        story.plan(changed);
        let after = story.rules("B");
        prop_assert!(before.iter().all(|rule| after.contains(rule)), "{:?} {:?}", before, after);
    }
}
