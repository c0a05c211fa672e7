//! What a person is told of a faulty input.

#![allow(clippy::unwrap_used, clippy::panic)]

use serde_json::json;

use super::*;

#[test]
fn every_fault_of_an_input_is_told_at_once() {
    let value = json!({
        "cas_kt": "NaN", "mass_kg": -1, "extra": 1,
        "legs": [{ "track_deg": 10 }, { "track_deg": 400 }, 7],
    });
    let mut reader = Reader::object(&value);
    let cas = reader.required_number("cas_kt", ANY);
    let mass = reader.required_number("mass_kg", above(0.0));
    let oat = reader.required_number("oat_c", -90.0..=60.0);
    let legs = reader.array("legs", 4, |leg| leg.required_number("track_deg", 0.0..=360.0));

    let refused = reader.finish(|| Some((cas?, mass?, oat?, legs?))).map(|_| ()).unwrap_err();

    let told: Vec<String> = refused
        .faults
        .iter()
        .map(|fault| format!("{}/{}", fault.field, fault.code.code()))
        .collect();
    assert_eq!(
        told,
        [
            "cas_kt/not-finite",
            "mass_kg/out-of-range",
            "oat_c/missing",
            "legs/too-few",
            "legs[1].track_deg/out-of-range",
            "legs[2]/wrong-type",
            "extra/unknown-field",
        ]
    );
    assert_eq!(refused.faults[1].why, "mass_kg is -1; a number above 0 is wanted.");
    assert_eq!(
        refused.faults[4].why,
        "legs[1].track_deg is 400; a number of at least 0 and at most 360 is wanted."
    );
}

#[test]
fn null_is_not_taken_for_an_absent_number() {
    let value = json!({ "oat_c": null });
    let mut reader = Reader::object(&value);
    let oat = reader.optional_number("oat_c", ANY);
    let refused = reader.finish(|| oat).unwrap_err();
    assert_eq!(refused.faults[0].code, FaultCode::NotANumber);
}

#[test]
fn exactly_one_of_several_numbers_is_taken() {
    let choices = [("cas_kt", 0.0..=400.0), ("tas_kt", 0.0..=400.0)];
    let two = json!({ "cas_kt": 100, "tas_kt": 110 });
    let none = json!({});
    let one = json!({ "tas_kt": 110 });
    let read = |value| {
        let mut reader = Reader::object(value);
        let speed = reader.exactly_one_number(&choices);
        reader.finish(|| speed)
    };
    assert_eq!(read(&two).unwrap_err().faults[0].code, FaultCode::Inconsistent);
    assert_eq!(read(&none).unwrap_err().faults[0].code, FaultCode::Missing);
    assert_eq!(read(&one).unwrap(), ("tas_kt", 110.0));
}

#[test]
fn a_flood_of_faults_is_cut_and_counted() {
    let value = json!({ "peaks": vec!["x"; 500] });
    let mut reader = Reader::object(&value);
    let peaks = reader.numbers("peaks", 2, ANY);
    let refused = reader.finish(|| peaks).unwrap_err();
    assert_eq!(refused.faults.len(), TOLD_FAULTS + 1);
    assert!(refused.faults[TOLD_FAULTS].why.starts_with("300 more faults"));
}
