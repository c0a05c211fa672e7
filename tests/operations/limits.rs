//! Channels, and the limits on them, which change by a proposal and an agreement.

use serde_json::{Value, json};

use super::Story;
use crate::harness::{Client, PASSWORD, at};

pub(super) const SHOWN: &[&str] = &[
    "channels_list",
    "channels_read",
    "channels_define",
    "limits_list",
    "limits_read",
    "limits_history",
    "limit_proposals_list",
    "limit_proposals_read",
    "limit_proposals_propose",
    "limit_proposals_agree",
    "limit_proposals_decline",
    "limit_proposals_withdraw",
];

/// Proposes another limit value for the motor.
pub fn propose(engineer: &Client, degrees: f64) -> crate::harness::Answer {
    let mut limit = engineer.get(&at("limits/L-MOTOR")).has_status(200).json()["limit"].clone();
    limit["is"]["limit"] = degrees.into();
    engineer
        .post(&at("limit-proposals"), json!({ "limit": limit, "reason": "The builder's letter." }))
}

#[test]
fn a_limit_changes_once_an_engineer_has_proposed_and_the_safety_officer_has_agreed() {
    let story = Story::begins();
    let [_, eve, ivo, .., sam] = story.people();
    defines_channels(&story);

    ivo.get(&at("limits")).has_status(200).reads("L-MOTOR");
    ivo.get(&at("limits?limit=0")).has_problem(400, "bad-query");
    ivo.get(&at("limits/L-NONE")).has_problem(404, "not-found");
    propose(&eve, 120.0).has_problem(409, "nothing-changes");
    propose(&eve, 90.0).has_problem(422, "invalid");
    let first = propose(&eve, 115.0).has_status(201);
    assert_eq!(first.header("location"), Some(at("limit-proposals/1").as_str()));
    propose(&eve, 110.0).has_problem(409, "proposal-open");
    assert_eq!(ivo.get(&at("limits/L-MOTOR")).json()["open_proposal"], 1);

    let agree = |number: u32, digest: &Value| {
        let body = json!({ "digest": digest, "secret": PASSWORD });
        sam.post(&at(&format!("limit-proposals/{number}/agreement")), body)
    };
    let seen = sam.get(&at("limit-proposals/1")).has_status(200).json();
    assert_eq!(seen["replaces"]["is"]["limit"], 120.0);
    sam.get(&at("limit-proposals/2")).has_problem(404, "not-found");
    agree(1, &json!("0".repeat(64))).has_problem(409, "card-changed");
    assert_eq!(agree(1, &seen["digest"]).has_status(200).json()["now"]["standing"], "agreed");
    agree(1, &seen["digest"]).has_problem(409, "proposal-settled");
    let limit = ivo.get(&at("limits/L-MOTOR")).has_status(200).json();
    assert_eq!(limit["limit"]["is"]["limit"], 115.0);
    assert_eq!((&limit["set_by"], &limit["agreed_by"]), (&json!("eve"), &json!("sam")));
    let history = ivo.get(&at("limits/L-MOTOR/history")).has_status(200).json();
    let values: Vec<_> =
        history["items"].as_array().unwrap().iter().map(|it| &it["limit"]["is"]["limit"]).collect();
    assert_eq!(values, [&json!(115.0), &json!(120.0)]);
    ivo.get(&at("limits/L-NONE/history")).has_problem(404, "not-found");

    // Declined by the safety officer, withdrawn by the proposer: either way the limit stays.
    let because = json!({ "reason": "Another batch." });
    propose(&eve, 110.0).has_status(201);
    let declining = at("limit-proposals/2/declining");
    sam.post(&declining, json!({ "reason": "" })).has_problem(422, "invalid");
    sam.post(&declining, because.clone()).has_status(200);
    propose(&eve, 112.0).has_status(201);
    let withdrawal = at("limit-proposals/3/withdrawal");
    eve.post(&withdrawal, because.clone()).has_status(200);
    eve.post(&withdrawal, because).has_problem(409, "proposal-settled");
    assert_eq!(ivo.get(&at("limits/L-MOTOR")).json()["limit"]["is"]["limit"], 115.0);
    let declined = ivo.get(&at("limit-proposals?standing=declined")).has_status(200).json();
    assert_eq!(declined["items"].as_array().map(Vec::len), Some(2), "{declined:#}");
    ivo.get(&at("limit-proposals?standing=forgotten")).has_problem(400, "bad-query");

    story.has_shown(SHOWN);
}

fn defines_channels(story: &Story) {
    let [_, eve, ivo, ..] = story.people();
    let pack = at("channels/pack_temp");
    let mut channel = json!({ "code": "pack_temp", "title": "Warmest cell", "unit": "degC", "lowest": 80.0, "highest": -20.0 });
    let problem = eve.change(&pack, channel.clone()).has_problem(422, "invalid").json();
    assert_eq!(problem["faults"][0]["field"], "highest");
    channel["lowest"] = json!(-40.0);
    channel["highest"] = json!(80.0);
    eve.change(&pack, channel.clone()).has_status(201);
    eve.change(&pack, channel).has_problem(409, "nothing-changes");
    let mut motor = ivo.get(&at("channels/motor_temp")).has_status(200).json();
    motor["unit"] = "kW".into();
    eve.change(&at("channels/motor_temp"), motor).has_problem(422, "invalid");
    ivo.get(&at("channels/none")).has_problem(404, "not-found");
    let all = ivo.get(&at("channels")).has_status(200).json();
    assert_eq!(all["items"].as_array().map(Vec::len), Some(2));
    ivo.get(&at("channels?limit=0")).has_problem(400, "bad-query");
}
