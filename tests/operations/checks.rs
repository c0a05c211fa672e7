//! Checks, the happenings that end them, and hazards.

use serde_json::{Value, json};

use super::Story;
use crate::harness::{PASSWORD, at};

pub(super) const SHOWN: &[&str] = &[
    "checks_list",
    "checks_read",
    "checks_define",
    "checks_history",
    "checks_report",
    "happenings_list",
    "happenings_report",
    "hazards_list",
    "hazards_read",
    "hazards_record",
    "hazards_accept",
];

#[test]
fn a_check_is_good_once_it_was_passed_and_until_something_happens_that_ends_it() {
    let story = Story::begins();
    let [cas, eve, ivo, lea, pip, _] = story.people();
    let standing = || ivo.get(&at("checks/C-ISO")).has_status(200).json()["standing"].clone();
    let done = at("checks/C-ISO/done");

    assert_eq!(standing(), "never-passed");
    ivo.get(&at("checks/C-NONE")).has_problem(404, "not-found");
    let passed = json!({ "passed": true, "findings": "830 kΩ at 500 V." });
    pip.post(&done, passed.clone()).has_problem(409, "check-for-another-role");
    cas.post(&done, json!({ "passed": true, "findings": "" })).has_problem(422, "invalid");
    let tomorrow =
        json!({ "passed": true, "findings": "Good.", "observed_at": "2099-01-01T00:00:00Z" });
    cas.post(&done, tomorrow).has_problem(422, "invalid").reads("has not come yet");
    cas.post(&done, passed.clone()).has_status(201);
    assert_eq!(standing(), "good");
    cas.post(&done, json!({ "passed": false, "findings": "90 kΩ." })).has_status(201);
    assert_eq!(standing(), "failed");
    cas.post(&done, passed).has_status(201);
    let times = ivo.get(&done).has_status(200).json();
    let passes: Vec<_> =
        times["items"].as_array().unwrap().iter().map(|it| &it["passed"]).collect();
    assert_eq!(passes, [true, false, true], "newest first");
    ivo.get(&at("checks/C-NONE/done")).has_problem(404, "not-found");

    let landing = json!({ "event": "hard-landing", "account": "Flared too high." });
    pip.post(&at("happenings"), landing).has_status(201);
    assert_eq!(standing(), "overdue");
    assert!(ivo.rules_against("GR-01").iter().any(|rule| rule == "check-overdue"));
    let misspelt = json!({ "event": "hard-landng", "account": "Flared too high." });
    pip.post(&at("happenings"), misspelt).has_problem(422, "invalid");
    let happenings = ivo.get(&at("happenings")).has_status(200).json();
    assert_eq!(happenings["items"][0]["by"], "pip");
    ivo.get(&at("happenings?limit=0")).has_problem(400, "bad-query");

    let mut check = ivo.get(&at("checks/C-ISO")).json()["check"].clone();
    check["by"] = json!(["safety"]);
    eve.change(&at("checks/C-ISO"), check.clone()).has_problem(422, "invalid");
    check["by"] = json!(["crew", "engineer"]);
    eve.change(&at("checks/C-ISO"), check.clone()).has_status(200);
    check["code"] = "C-BOLT".into();
    lea.change(&at("checks/C-ISO"), check.clone()).has_problem(422, "invalid");
    lea.change(&at("checks/C-BOLT"), check).has_status(201);
    let all = ivo.get(&at("checks")).has_status(200).json();
    assert_eq!(all["items"].as_array().map(Vec::len), Some(2));
    ivo.get(&at("checks?limit=0")).has_problem(400, "bad-query");

    records_hazards(&story);
    story.has_shown(SHOWN);
}

fn records_hazards(story: &Story) {
    let [_, eve, ivo, lea, _, sam] = story.people();
    let fire = at("hazards/H-FIRE");
    let accept = |digest: &Value, secret: &str| {
        sam.post(&format!("{fire}/acceptance"), json!({ "digest": digest, "secret": secret }))
    };
    let seen = ivo.get(&fire).has_status(200).json();
    assert_eq!((&seen["level_after"], &seen["lacks"]), (&json!("medium"), &json!(["acceptance"])));
    ivo.get(&at("hazards/H-NONE")).has_problem(404, "not-found");
    accept(&json!("0".repeat(64)), PASSWORD).has_problem(409, "card-changed");
    accept(&seen["digest"], "not my password").has_problem(403, "secret-wrong");
    accept(&seen["digest"], PASSWORD).has_status(200);
    accept(&seen["digest"], PASSWORD).has_problem(409, "already-signed");
    assert_eq!(ivo.get(&fire).json()["lacks"], json!([]));

    // Judged anew, it waits for another acceptance.
    let mut hazard = seen["hazard"].clone();
    hazard["title"] = "".into();
    eve.change(&fire, hazard.clone()).has_problem(422, "invalid");
    hazard["title"] = "Fire in the pack".into();
    eve.change(&fire, hazard.clone()).has_status(200);
    assert_eq!(ivo.get(&fire).json()["lacks"], json!(["acceptance"]));
    hazard["code"] = "H-PROP".into();
    lea.change(&at("hazards/H-PROP"), hazard).has_status(201);
    let all = ivo.get(&at("hazards")).has_status(200).json();
    assert_eq!(all["items"].as_array().map(Vec::len), Some(2));
    ivo.get(&at("hazards?limit=0")).has_problem(400, "bad-query");
}

#[test]
fn whoever_recorded_a_hazard_does_not_accept_what_is_left_of_it() {
    let story = Story::begins();
    let [.., sam] = story.people();
    let fire = at("hazards/H-FIRE");
    let mut hazard = sam.get(&fire).has_status(200).json()["hazard"].clone();
    hazard["cause"] = "A cell fails after charging.".into();
    sam.change(&fire, hazard).has_status(200);
    let digest = sam.get(&fire).json()["digest"].clone();
    sam.post(&format!("{fire}/acceptance"), json!({ "digest": digest, "secret": PASSWORD }))
        .has_problem(409, "held")
        .names_hold("one-person-two-parts");
}
