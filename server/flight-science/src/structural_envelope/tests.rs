#![allow(clippy::unwrap_used, clippy::panic)]

use proptest::prelude::*;

use super::*;

fn design() -> Design {
    Design {
        basis: Basis::CsVla,
        mass: Mass::from_kilograms(680.0),
        wing_area: Area::from_square_metres(12.6),
        cl_max: 1.5,
        cl_min: -0.9,
        lift_slope_per_rad: 4.9,
        mean_chord: Length::from_metres(1.31),
        cruise: EquivalentAirspeed::from_knots(108.0),
        dive: EquivalentAirspeed::from_knots(150.0),
        altitude: PressureAltitude::from_feet(0.0),
    }
}

/// Designs of all three bases that are flyable: speeds are drawn as multiples of the stall speed and of VC.
fn designs() -> impl Strategy<Value = Design> {
    let basis = prop::sample::select(vec![Basis::Cs23Normal, Basis::Cs23Utility, Basis::CsVla]);
    let wing = (2.0f64..40.0, 0.8f64..2.5, -2.0f64..-0.2, 2.5f64..7.0, 0.3f64..3.0);
    let speeds = (1.1f64..6.0, 1.05f64..2.5, -2_000.0f64..50_000.0);
    (basis, 0.05f64..1.0, wing, speeds).prop_filter_map(
        "VD has to reach VA",
        |(
            basis,
            share,
            (area_m2, cl_max, cl_min, slope, chord_m),
            (over_stall, over_cruise, altitude_ft),
        )| {
            let mass = Mass::from_kilograms(share * basis.heaviest().kilograms());
            let wing_area = Area::from_square_metres(area_m2);
            let cruise_kt = over_stall * stall_speed_from_lift(mass, wing_area, cl_max).knots();
            let design = Design {
                basis,
                mass,
                wing_area,
                cl_max,
                cl_min,
                lift_slope_per_rad: slope,
                mean_chord: Length::from_metres(chord_m),
                cruise: EquivalentAirspeed::from_knots(cruise_kt),
                dive: EquivalentAirspeed::from_knots(cruise_kt * over_cruise),
                altitude: PressureAltitude::from_feet(altitude_ft),
            };
            design.envelope().is_ok().then_some(design)
        },
    )
}

fn corners(envelope: &StructuralEnvelope) -> Vec<(f64, f64)> {
    envelope
        .polygon()
        .iter()
        .map(|point| (point.speed.knots(), point.load_factor.ratio()))
        .collect()
}

/// Whether two stretches cross: the ends of each lie on either side of the other, by more than rounding.
fn cross(a: ((f64, f64), (f64, f64)), b: ((f64, f64), (f64, f64))) -> bool {
    // How far a corner lies off the line through p and q, with a sign for the side.
    let off = |(p, q): ((f64, f64), (f64, f64)), r: (f64, f64)| {
        let area = (q.0 - p.0) * (r.1 - p.1) - (r.0 - p.0) * (q.1 - p.1);
        area / (q.0 - p.0).hypot(q.1 - p.1)
    };
    let either_side = |first: f64, second: f64| {
        first.signum() != second.signum() && first.abs().min(second.abs()) > 1e-9
    };
    either_side(off(a, b.0), off(a, b.1)) && either_side(off(b, a.0), off(b, a.1))
}

fn encloses(corners: &[(f64, f64)], point: (f64, f64)) -> bool {
    let met = corners
        .windows(2)
        .filter(|pair| (pair[0].1 > point.1) != (pair[1].1 > point.1))
        .filter(|pair| {
            let share = (point.1 - pair[0].1) / (pair[1].1 - pair[0].1);
            pair[0].0 + share * (pair[1].0 - pair[0].0) > point.0
        })
        .count();
    met % 2 == 1
}

proptest! {
    #[test]
    fn the_boundary_is_closed_and_simple(design in designs()) {
        let corners = corners(&design.envelope().unwrap());
        prop_assert_eq!(corners.first(), corners.last());
        prop_assert!(corners.iter().all(|(speed, n)| speed.is_finite() && n.is_finite()));
        let edges: Vec<_> = corners.windows(2).map(|pair| (pair[0], pair[1])).collect();
        prop_assert!(edges.iter().all(|(from, to)| from != to), "two corners in one place: {:?}", corners);
        for (place, first) in edges.iter().enumerate() {
            for second in &edges[place + 1..] {
                prop_assert!(!cross(*first, *second), "{:?} crosses {:?}", first, second);
            }
        }
        // The only corners that share a place are the first and the last.
        for (place, corner) in corners.iter().enumerate().skip(1) {
            prop_assert!(!corners[1..place].contains(corner), "{:?} twice", corner);
        }
    }

    #[test]
    fn steady_flight_between_stall_and_dive_speed_is_inside(design in designs(), share in 0.0f64..=1.0) {
        let envelope = design.envelope().unwrap();
        let (stall_kt, dive_kt) = (envelope.stall.knots(), design.dive.knots());
        let at = |speed_kt| Point {
            speed: EquivalentAirspeed::from_knots(speed_kt),
            load_factor: LoadFactor::from_ratio(1.0),
        };
        prop_assert!(envelope.boundary.contains(at(stall_kt * 1.000_001 + share * (dive_kt - stall_kt * 1.000_002))));
        prop_assert!(!envelope.boundary.contains(at(stall_kt * 0.999)));
        prop_assert!(!envelope.boundary.contains(at(dive_kt * 1.001)));
        let corners = corners(&envelope);
        let inside_kt = stall_kt * 1.001 + share * (dive_kt * 0.999 - stall_kt * 1.001);
        prop_assert!(encloses(&corners, (inside_kt, 1.0)));
    }

    #[test]
    fn the_polygon_follows_the_lines_to_a_thousandth(design in designs(), share in 0.001f64..0.999) {
        let envelope = design.envelope().unwrap();
        let speed_kt = share * design.dive.knots();
        let (least, greatest) =
            envelope.boundary.limits_at(EquivalentAirspeed::from_knots(speed_kt)).unwrap();
        let corners = corners(&envelope);
        prop_assert!(encloses(&corners, (speed_kt, greatest.ratio() - 0.001)) || greatest.ratio() < 0.002);
        prop_assert!(!encloses(&corners, (speed_kt, greatest.ratio() + 0.001)));
        prop_assert!(encloses(&corners, (speed_kt, least.ratio() + 0.001)) || least.ratio() > -0.002);
        prop_assert!(!encloses(&corners, (speed_kt, least.ratio() - 0.001)));
    }

    #[test]
    fn both_the_manoeuvre_and_the_gusts_lie_inside_as_far_as_the_wing_lifts(design in designs()) {
        let envelope = design.envelope().unwrap();
        let dust = 1e-9;
        for gust in [envelope.at_cruise, envelope.at_dive] {
            let (least, greatest) = envelope.boundary.limits_at(gust.speed).unwrap();
            let lifts = (gust.speed.knots() / envelope.stall.knots()).powi(2);
            let lifts_inverted = (gust.speed.knots() / envelope.inverted_stall.knots()).powi(2);
            let asked = gust.up.ratio().max(envelope.positive.ratio()).min(lifts);
            prop_assert!((greatest.ratio() - asked).abs() <= dust);
            prop_assert!(least.ratio() <= gust.down.ratio().max(-lifts_inverted) + dust);
        }
    }

    #[test]
    fn a_lighter_aircraft_is_never_loaded_less_by_a_gust(design in designs(), share in 0.3f64..1.0) {
        let lighter = Design { mass: Mass::from_kilograms(design.mass.kilograms() * share), ..design };
        if let Ok(lighter) = lighter.envelope() {
            let heavier = design.envelope().unwrap();
            prop_assert!(lighter.at_cruise.up.ratio() >= heavier.at_cruise.up.ratio() - 1e-9);
        }
    }
}

#[test]
fn every_contradiction_is_told_at_once() {
    let heavy = Design {
        mass: Mass::from_kilograms(751.0),
        cruise: EquivalentAirspeed::from_knots(30.0),
        dive: EquivalentAirspeed::from_knots(25.0),
        ..design()
    };
    let found = heavy.envelope().unwrap_err();
    assert!(matches!(
        found[..],
        [
            Contradiction::TooHeavy { .. },
            Contradiction::CruiseBelowStall { .. },
            Contradiction::DiveBelowCruise { .. },
        ]
    ));
}

#[test]
fn the_order_of_speeds_is_refused_at_its_edge_and_taken_a_step_beyond() {
    let equal = Design { dive: design().cruise, ..design() };
    assert!(equal.envelope().is_err());
    let above = Design { dive: EquivalentAirspeed::from_knots(108.01), ..design() };
    assert!(above.envelope().is_ok());
}

#[test]
fn a_design_with_a_missing_figure_has_no_envelope() {
    let missing = f64::NAN;
    for design in [
        Design { mass: Mass::from_kilograms(missing), ..design() },
        Design { cl_max: missing, ..design() },
        Design { cl_min: missing, ..design() },
        Design { mean_chord: Length::from_metres(missing), ..design() },
        Design { cruise: EquivalentAirspeed::from_knots(missing), ..design() },
        Design { dive: EquivalentAirspeed::from_knots(missing), ..design() },
    ] {
        assert_eq!(design.envelope().unwrap_err(), [Contradiction::Unusable]);
    }
    let upright = Design { cl_min: 0.1, ..design() };
    assert_eq!(upright.envelope().unwrap_err(), [Contradiction::Unusable]);
}

#[test]
fn a_missing_speed_or_load_factor_is_outside() {
    let boundary = design().envelope().unwrap().boundary;
    let at = |speed_kt, n| Point {
        speed: EquivalentAirspeed::from_knots(speed_kt),
        load_factor: LoadFactor::from_ratio(n),
    };
    assert!(boundary.contains(at(90.0, 1.0)));
    assert!(!boundary.contains(at(f64::NAN, 1.0)));
    assert!(!boundary.contains(at(90.0, f64::NAN)));
}

#[test]
fn what_the_basis_would_not_accept_is_noted() {
    let slow = Design {
        cruise: EquivalentAirspeed::from_knots(90.0),
        dive: EquivalentAirspeed::from_knots(105.0),
        ..design()
    };
    let notes = slow.envelope().unwrap().notes();
    assert_eq!(notes.len(), 4, "{notes:#?}");
    let fast = Design { dive: EquivalentAirspeed::from_knots(151.0), ..design() };
    assert_eq!(fast.envelope().unwrap().notes(), Vec::<String>::new());
}
