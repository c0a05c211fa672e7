//! Points: planned, dropped, held, signed, refused, taken back.

use serde_json::json;

use super::Story;
use crate::harness::{PASSWORD, at, in_hours};

pub(super) const SHOWN: &[&str] = &[
    "points_list",
    "points_read",
    "points_plan",
    "points_drop",
    "points_holds",
    "next_read",
    "sign_offs_sign",
    "sign_offs_refuse",
    "sign_offs_withdraw",
];

#[test]
fn points_are_planned_dropped_and_signed_and_say_what_holds_them() {
    let story = Story::begins();
    plans_and_drops(&story);
    signs_refuses_and_takes_back(&story);
    story.has_shown(SHOWN);
}

fn plans_and_drops(story: &Story) {
    let [_, eve, ivo, lea, ..] = story.people();
    let mut plan = ivo.get(&at("points/GR-02")).has_status(200).json()["plan"].clone();
    ivo.get(&at("points/GR-99")).has_problem(404, "not-found");
    plan["code"] = "GR-03".into();
    plan["after_points"] = json!(["GR-02", "GR-77"]);
    eve.change(&at("points/GR-03"), plan.clone()).has_problem(422, "invalid").reads("GR-77");
    plan["after_points"] = json!(["GR-02"]);
    eve.change(&at("points/GR-03"), plan.clone()).has_status(201);
    let waits = ivo.get(&at("points/GR-02")).json();
    assert_eq!(waits["waited_for_by"], json!(["GR-03"]));

    // A cycle is refused with its path.
    let mut second = waits["plan"].clone();
    second["after_points"] = json!(["GR-01", "GR-03"]);
    let circle = eve.change(&at("points/GR-02"), second).has_problem(422, "invalid");
    assert!(circle.text.contains("GR-02") && circle.text.contains("GR-03"), "{}", circle.text);

    let drop = |point: &str| {
        let present = lea.get(&at(&format!("points/{point}"))).has_status(200);
        let lea = lea.with("if-match", present.header("etag").unwrap());
        lea.post(&at(&format!("points/{point}/drop")), json!({ "reason": "Covered by GR-01." }))
    };
    drop("GR-02").has_problem(409, "held").names_hold("point-waited-for");
    drop("GR-03").has_status(200);
    let dropped = ivo.get(&at("points?state=dropped")).has_status(200).json();
    assert_eq!(dropped["items"][0]["code"], "GR-03");
    ivo.get(&at("points?phase=cruise")).has_problem(400, "bad-query");
    let ladder = ivo.get(&at("points")).has_status(200).json();
    assert_eq!(ladder["items"].as_array().map(Vec::len), Some(3));
}

fn signs_refuses_and_takes_back(story: &Story) {
    let [cas, eve, ivo, lea, pip, sam] = story.people();
    let held = ivo.get(&at("points/GR-01/holds")).has_status(200).json();
    for hold in held["holds"].as_array().unwrap() {
        for told in ["rule", "why", "clears", "source"] {
            assert!(hold[told].as_str().is_some_and(|text| !text.is_empty()), "{hold:#}");
        }
    }
    ivo.get(&at("points/GR-99/holds")).has_problem(404, "not-found");
    lea.sign("GR-01", "plan-approval", json!({}))
        .has_problem(409, "held")
        .names_hold("one-person-two-parts");
    eve.sign("GR-01", "plan-approval", json!({})).has_status(201);
    cas.post(&at("checks/C-ISO/done"), json!({ "passed": true, "findings": "Good." }))
        .has_status(201);

    let refuse = |reasons: &str| {
        sam.post(&at("points/GR-01/refusals"), json!({ "part": "release", "reasons": reasons }))
    };
    refuse("").has_problem(422, "invalid");
    let refused = refuse("The reading of this morning is not explained.").has_status(201);
    assert!(refused.header("location").is_some_and(|place| place.contains("/ledger/records/")));
    assert!(ivo.rules_against("GR-01").contains(&"release-refused".to_owned()));
    let take_back = |person: &crate::harness::Client, secret: &str| {
        let body = json!({ "part": "release", "reason": "Explained.", "secret": secret });
        person.post(&at("points/GR-01/withdrawals"), body)
    };
    take_back(&sam, "not my password").has_problem(403, "secret-wrong");
    take_back(&sam, PASSWORD).has_status(201);
    take_back(&sam, PASSWORD).has_problem(409, "nothing-to-withdraw");
    assert!(!ivo.rules_against("GR-01").contains(&"release-refused".to_owned()));

    let too_long = json!({ "valid_until": in_hours(100) });
    sam.sign("GR-01", "release", too_long).has_problem(422, "invalid").reads("12 hours");
    let released = sam.sign("GR-01", "release", json!({ "valid_until": in_hours(8) }));
    assert_eq!(released.has_status(201).json()["now"]["state"], "released");
    assert_eq!(ivo.rules_against("GR-01"), ["acknowledgement-missing"]);
    let next = ivo.get(&at("next")).has_status(200).json();
    assert_eq!(next["would_open"][0]["rule"], "acknowledgement-missing", "{next:#}");
    assert_eq!(next["held_for_run"][0]["point"]["code"], "GR-01");
    ivo.get(&at("next?as_of=99999")).has_problem(409, "not-yet");
    pip.sign("GR-01", "acknowledgement", json!({})).has_status(201);
    assert_eq!(ivo.get(&at("next")).json()["ready_to_run"][0]["code"], "GR-01");

    // What changed since is told to whoever signs again.
    let before = lea.get(&at("points/GR-01")).json()["plan"].clone();
    let mut plan = before;
    plan["technique"] = "Run up to 9 kW.".into();
    lea.change(&at("points/GR-01"), plan).has_status(200);
    assert_eq!(
        ivo.rules_against("GR-01"),
        ["plan-changed-since-approval", "release-plan-changed"],
        "the change voids what was signed"
    );
    let again = eve.sign("GR-01", "plan-approval", json!({})).has_status(201).json();
    assert_eq!(again["now"]["signed_before"], true);
    assert!(again["now"]["changed_since"].to_string().contains("9 kW"), "{again:#}");
}
