//! A signature is a person's own: it asks for their secret again, binds what they saw, and nobody signs two parts.

use serde_json::{Value, json};

use crate::harness::{PASSWORD, Team, at, in_hours, result};

fn records(team: &Team) -> Value {
    team.person("ivo").get(&at("ledger")).has_status(200).json()["size"].clone()
}

#[test]
fn a_wrong_secret_signs_nothing_and_leaves_no_record_and_a_pin_signs_as_well_as_the_password() {
    let team = Team::new();
    let eve = team.person("eve");
    let approve = |secret: Value| eve.sign("GR-01", "plan-approval", json!({ "secret": secret }));
    let before = records(&team);
    approve("not my password".into()).has_problem(403, "secret-wrong");
    approve(Value::Null).has_problem(422, "invalid");
    approve("480213".into()).has_problem(403, "secret-wrong");
    assert_eq!(records(&team), before);
    let pin = json!({ "secret": PASSWORD, "pin": "480213" });
    eve.put("/api/v1/account/pin", pin).has_status(204);
    approve("480213".into()).has_status(201);
    // A secret is in no record.
    let kept = team.person("ivo").get(&at("ledger/records?limit=500")).has_status(200);
    assert!(!kept.text.contains("480213") && !kept.text.contains(PASSWORD));
}

#[test]
fn whoever_guesses_at_a_secret_is_made_to_wait() {
    let team = Team::new();
    let eve = team.person("eve");
    let guess = || eve.sign("GR-01", "plan-approval", json!({ "secret": "not my password" }));
    let waits = (0..20).map(|_| guess()).find(|answer| answer.status != 403).unwrap();
    let waits = waits.has_problem(429, "too-many-attempts");
    let seconds: u64 = waits.header("retry-after").unwrap().parse().unwrap();
    assert!((1..=60).contains(&seconds), "{seconds}");
    eve.sign("GR-01", "plan-approval", json!({})).has_problem(429, "too-many-attempts");
}

#[test]
fn what_changed_since_it_was_read_cannot_be_signed_and_a_change_voids_what_was() {
    let team = Team::new();
    let [lea, eve, sam, ivo] = ["lea", "eve", "sam", "ivo"].map(|handle| team.person(handle));
    team.clears_the_first_point();
    assert!(ivo.rules_against("GR-01").is_empty());
    let seen = eve.to_sign("GR-01", "plan-approval")["digest"].clone();

    let mut plan = lea.get(&at("points/GR-01")).json()["plan"].clone();
    plan["technique"] = "Run up to 9 kW.".into();
    lea.change(&at("points/GR-01"), plan).has_status(200);
    eve.sign("GR-01", "plan-approval", json!({ "digest": seen })).has_problem(409, "card-changed");
    let held = ivo.rules_against("GR-01");
    assert!(held.contains(&"plan-changed-since-approval".to_owned()), "{held:?}");
    team.opens_a_run().has_problem(409, "held").names_hold("plan-changed-since-approval");

    // An exchanged item voids the release, though the plan stands.
    eve.sign("GR-01", "plan-approval", json!({})).has_status(201);
    let card = sam.to_sign("GR-01", "release")["digest"].clone();
    let motor = json!({ "title": "Motor", "kind": "part", "version": "M2", "reason": "Worn." });
    eve.change(&at("configuration/items/motor"), motor).has_status(200);
    let release = json!({ "digest": card, "valid_until": in_hours(2) });
    sam.sign("GR-01", "release", release).has_problem(409, "card-changed");
}

#[test]
fn nobody_signs_two_parts_of_one_step_whatever_roles_they_have() {
    let team = Team::new();
    let [lea, eve, sam, pip] = ["lea", "eve", "sam", "pip"].map(|handle| team.person(handle));
    // Eve is engineer, pilot and safety officer at once.
    let everything =
        json!({ "handle": "eve", "name": "Eve", "roles": ["engineer", "pilot", "safety"] });
    sam.change(&at("people/eve"), everything).has_status(200);
    let refused = |answer: crate::harness::Answer| {
        answer.has_problem(409, "held").names_hold("one-person-two-parts");
    };

    refused(lea.sign("GR-01", "plan-approval", json!({})));
    eve.sign("GR-01", "plan-approval", json!({})).has_status(201);
    let done = json!({ "passed": true, "findings": "2.1 MΩ at 500 V." });
    team.person("cas").post(&at("checks/C-ISO/done"), done).has_status(201);
    refused(eve.sign("GR-01", "release", json!({ "valid_until": in_hours(8) })));
    sam.sign("GR-01", "release", json!({ "valid_until": in_hours(8) })).has_status(201);
    refused(eve.sign("GR-01", "acknowledgement", json!({})));
    pip.sign("GR-01", "acknowledgement", json!({})).has_status(201);

    team.opens_a_run().has_status(201);
    team.person("lea").post(&at("runs/1/closing"), json!({})).has_status(200);
    pip.post(&at("runs/1/results"), result(50.0)).has_status(201);
    eve.sign("GR-01", "engineering-acceptance", json!({})).has_status(201);
    refused(eve.sign("GR-01", "safety-acceptance", json!({})));
    sam.sign("GR-01", "safety-acceptance", json!({})).has_status(201);
    assert_eq!(pip.get(&at("points/GR-01")).json()["state"], "accepted");
}

#[test]
fn whoever_recorded_a_result_accepts_no_part_of_it() {
    let team = Team::new();
    let eve = team.person("eve");
    team.clears_the_first_point();
    team.opens_a_run().has_status(201);
    team.person("lea").post(&at("runs/1/closing"), json!({})).has_status(200);
    eve.post(&at("runs/1/results"), result(50.0)).has_status(201);
    eve.sign("GR-01", "engineering-acceptance", json!({}))
        .has_problem(409, "held")
        .names_hold("one-person-two-parts");
}
