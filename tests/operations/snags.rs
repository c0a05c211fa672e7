//! Snags: opened by whoever found one, worked on, closed by another engineer.

use serde_json::json;

use super::Story;
use crate::harness::{PASSWORD, at};

pub(super) const SHOWN: &[&str] =
    &["snags_list", "snags_open", "snags_read", "snags_work", "snags_close"];

#[test]
fn a_snag_is_opened_worked_on_by_the_crew_and_closed_by_an_engineer_with_their_password() {
    let story = Story::begins();
    let [cas, eve, ivo, lea, ..] = story.people();
    let found = json!({
        "title": "Chafed cable at the rear battery box", "grounding": true, "severity": "critical", "item": "motor",
    });

    let opened = cas.post(&at("snags"), found.clone()).has_status(201);
    assert_eq!(opened.header("location"), Some(at("snags/1").as_str()));
    let opened = opened.json();
    assert_eq!(opened["records"][0]["kind"], "snag-opened");
    assert_eq!(opened["now"]["by"], "cas");
    assert!(lea.rules_against("GR-01").contains(&"snag-grounding".to_owned()));
    let mut of_nothing = found.clone();
    of_nothing["item"] = "wing".into();
    cas.post(&at("snags"), of_nothing).has_problem(422, "invalid").reads("there is no item wing");

    cas.post(&at("snags/1/work"), json!({ "action": "Cable sleeved, clip fitted." }))
        .has_status(200);
    cas.post(&at("snags/1/work"), json!({})).has_problem(422, "invalid");
    cas.post(&at("snags/9/work"), json!({ "action": "Looked." })).has_problem(404, "not-found");

    let seen = eve.get(&at("snags/1")).has_status(200).json();
    assert_eq!(seen["work"][0]["by"], "cas");
    ivo.get(&at("snags/2")).has_problem(404, "not-found");
    let closing = |secret: &str, digest: &serde_json::Value| json!({ "cause": "The clip was missing.", "action": "Pulled by hand, holds.", "digest": digest, "secret": secret });
    let stale = json!("0".repeat(64));
    eve.post(&at("snags/1/closing"), closing(PASSWORD, &stale)).has_problem(409, "card-changed");
    eve.post(&at("snags/1/closing"), closing("not my password", &seen["digest"]))
        .has_problem(403, "secret-wrong");
    let closed =
        eve.post(&at("snags/1/closing"), closing(PASSWORD, &seen["digest"])).has_status(200).json();
    assert_eq!(closed["now"]["closed"]["by"], "eve");
    assert!(!lea.rules_against("GR-01").contains(&"snag-grounding".to_owned()));
    eve.post(&at("snags/1/closing"), closing(PASSWORD, &seen["digest"]))
        .has_problem(409, "snag-closed");

    let open = ivo.get(&at("snags?open=true")).has_status(200).json();
    assert_eq!(open["items"], json!([]));
    assert_eq!(ivo.get(&at("snags?open=false")).json()["items"][0]["snag"], 1);
    ivo.get(&at("snags?open=perhaps")).has_problem(400, "bad-query");

    story.has_shown(SHOWN);
}

#[test]
fn whoever_did_the_last_work_on_a_snag_that_grounds_does_not_close_it() {
    let story = Story::begins();
    let [_, eve, ..] = story.people();
    let found = json!({ "title": "Loose connector", "grounding": true, "severity": "critical" });
    eve.post(&at("snags"), found).has_status(201);
    let close = || {
        let digest = eve.get(&at("snags/1")).json()["digest"].clone();
        let closing = json!({ "cause": "Not locked.", "action": "Locked.", "digest": digest, "secret": PASSWORD });
        eve.post(&at("snags/1/closing"), closing)
    };
    close().has_problem(409, "snag-not-worked");
    eve.post(&at("snags/1/work"), json!({ "action": "Locked." })).has_status(200);
    close().has_problem(409, "one-person-two-parts");
    assert!(eve.get(&at("snags/1")).json()["closed"].is_null());
}
