#![allow(clippy::unwrap_used, clippy::panic)]

use proptest::prelude::*;

use super::*;

fn envelope(corners: &[[f64; 2]]) -> Result<LoadingEnvelope, EnvelopeError> {
    LoadingEnvelope::from_corners(
        corners.iter().map(|&[cg_mm, mass_kg]| Corner { cg_mm, mass_kg }).collect(),
    )
}

fn at(cg_mm: f64, mass_kg: f64) -> Balance {
    Balance { mass: Mass::from_kilograms(mass_kg), cg: Length::from_millimetres(cg_mm) }
}

fn station(mass_kg: f64, arm_mm: f64) -> Station {
    Station { mass: Mass::from_kilograms(mass_kg), arm: Length::from_millimetres(arm_mm) }
}

fn stations() -> impl Strategy<Value = Vec<Station>> {
    let station =
        (0.1f64..500.0, -2000.0f64..4000.0).prop_map(|(mass_kg, arm_mm)| station(mass_kg, arm_mm));
    prop::collection::vec(station, 1..12)
}

proptest! {
    #[test]
    fn the_centre_of_gravity_lies_between_the_stations_in_any_order(stations in stations()) {
        let whole = balance(&stations).unwrap();
        let foremost = stations.iter().map(|station| station.arm.millimetres()).fold(f64::INFINITY, f64::min);
        let aftmost = stations.iter().map(|station| station.arm.millimetres()).fold(f64::NEG_INFINITY, f64::max);
        prop_assert!(whole.cg.millimetres() >= foremost - 1e-9 && whole.cg.millimetres() <= aftmost + 1e-9);
        let mut turned = stations;
        turned.reverse();
        let turned = balance(&turned).unwrap();
        prop_assert!((turned.cg.millimetres() - whole.cg.millimetres()).abs() < 1e-9);
        prop_assert!((turned.mass.kilograms() - whole.mass.kilograms()).abs() < 1e-9);
    }

    #[test]
    fn a_move_shorter_than_to_the_nearest_edge_stays_on_its_side(
        cg_mm in 0.0f64..600.0, mass_kg in 400.0f64..800.0, share in 0.0f64..0.999,
    ) {
        let envelope = envelope(&[[220.0, 480.0], [440.0, 480.0], [440.0, 750.0], [280.0, 750.0]]).unwrap();
        let placing = envelope.place(at(cg_mm, mass_kg));
        match placing.nearest_edge_mm {
            Some(nearest_mm) => {
                for moved in [cg_mm - share * nearest_mm, cg_mm + share * nearest_mm] {
                    prop_assert_eq!(envelope.place(at(moved, mass_kg)).inside, placing.inside);
                }
            }
            None => prop_assert!(!placing.inside && !(480.0..=750.0).contains(&mass_kg)),
        }
    }

    #[test]
    fn the_envelope_may_start_at_any_corner_and_run_either_way(
        cg_mm in 200.0f64..460.0, mass_kg in 470.0f64..760.0, start in 0usize..4,
    ) {
        let corners = [[220.0, 480.0], [440.0, 480.0], [440.0, 750.0], [280.0, 750.0]];
        let plain = envelope(&corners).unwrap().place(at(cg_mm, mass_kg));
        let mut other = corners;
        other.rotate_left(start);
        other.reverse();
        let turned = envelope(&other).unwrap().place(at(cg_mm, mass_kg));
        prop_assert_eq!(turned.inside, plain.inside);
        prop_assert_eq!(turned.nearest_edge_mm.is_some(), plain.nearest_edge_mm.is_some());
        if let (Some(turned), Some(plain)) = (turned.nearest_edge_mm, plain.nearest_edge_mm) {
            prop_assert!((turned - plain).abs() < 1e-9);
        }
    }
}

#[test]
fn an_edge_and_a_corner_are_inside_and_a_step_beyond_is_not() {
    let envelope =
        envelope(&[[200.0, 500.0], [400.0, 500.0], [400.0, 700.0], [200.0, 700.0]]).unwrap();
    for (cg_mm, mass_kg, inside) in [
        (400.0, 600.0, true),
        (400.001, 600.0, false),
        (300.0, 500.0, true),
        (300.0, 499.999, false),
        (200.0, 700.0, true),
        (200.0, 700.001, false),
        (199.999, 700.0, false),
    ] {
        assert_eq!(envelope.place(at(cg_mm, mass_kg)).inside, inside, "{cg_mm} {mass_kg}");
    }
    let on_the_edge = envelope.place(at(400.0, 600.0));
    assert_eq!(on_the_edge.nearest_edge_mm, Some(0.0));
}

#[test]
fn a_notch_in_the_envelope_is_outside() {
    // The aft limit steps forward between 550 and 650 kg.
    let notched =
        envelope(&[[200.0, 500.0], [400.0, 500.0], [300.0, 600.0], [400.0, 700.0], [200.0, 700.0]])
            .unwrap();
    assert!(notched.place(at(290.0, 600.0)).inside);
    let beyond = notched.place(at(330.0, 600.0));
    assert!(!beyond.inside);
    assert!((beyond.nearest_edge_mm.unwrap() - 30.0).abs() < 1e-9);
    assert_eq!(beyond.aft_limit_mm, None);
}

#[test]
fn corners_that_cross_fold_back_or_enclose_nothing_are_no_envelope() {
    let bow_tie = envelope(&[[200.0, 500.0], [400.0, 700.0], [400.0, 500.0], [200.0, 700.0]]);
    assert!(matches!(bow_tie, Err(EnvelopeError::Crossing { .. } | EnvelopeError::NoArea)));
    let line = envelope(&[[200.0, 500.0], [300.0, 500.0], [400.0, 500.0]]);
    assert_eq!(line, Err(EnvelopeError::NoArea));
    let spike = envelope(&[[200.0, 500.0], [400.0, 500.0], [300.0, 500.0], [300.0, 700.0]]);
    assert!(matches!(spike, Err(EnvelopeError::Crossing { .. })));
    let touching = envelope(&[
        [200.0, 500.0],
        [400.0, 500.0],
        [300.0, 600.0],
        [400.0, 700.0],
        [200.0, 700.0],
        [300.0, 600.0],
    ]);
    assert!(matches!(touching, Err(EnvelopeError::Crossing { .. })));
    let pair = envelope(&[[200.0, 500.0], [400.0, 500.0], [200.0, 500.0]]);
    assert_eq!(pair, Err(EnvelopeError::TooFewCorners { count: 2 }));
    let missing = envelope(&[[200.0, 500.0], [f64::NAN, 500.0], [300.0, 700.0]]);
    assert_eq!(missing, Err(EnvelopeError::NotFinite { index: 1 }));
}

#[test]
fn a_station_without_a_mass_has_no_balance() {
    assert_eq!(balance(&[station(-1.0, 0.0)]), Err(BalanceError::NotAStation { index: 0 }));
    assert_eq!(
        balance(&[station(1.0, 0.0), station(f64::NAN, 0.0)]),
        Err(BalanceError::NotAStation { index: 1 })
    );
    assert_eq!(balance(&[station(0.0, 10.0)]), Err(BalanceError::NoMass));
    assert_eq!(balance(&[]), Err(BalanceError::NoMass));
}
