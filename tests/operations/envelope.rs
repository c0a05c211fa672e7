//! The shown envelope, the next steps, and deviations from the build-up.

use serde_json::{Value, json};

use super::Story;
use crate::harness::{Client, PASSWORD, at};

pub(super) const SHOWN: &[&str] = &[
    "envelope_read",
    "envelope_picture",
    "next_steps_read",
    "deviations_list",
    "deviations_read",
    "deviations_propose",
    "deviations_agree",
    "deviations_end",
];

const PAIRS: [&str; 5] =
    ["speed-altitude", "speed-load-factor", "mass-centre-of-gravity", "power-time", "charge-power"];

#[test]
fn what_was_shown_what_comes_next_and_a_bolder_step_that_two_people_sign() {
    let story = Story::begins();
    tells_what_was_shown(&story);
    proposes_a_smaller_step(&story);
    deviates(&story);
    story.has_shown(SHOWN);
}

fn tells_what_was_shown(story: &Story) {
    let [_, _, ivo, ..] = story.people();
    let envelope = ivo.get(&at("envelope")).has_status(200).json();
    assert_eq!(envelope["axes"], json!([]), "nothing was run yet");
    let pairs: Vec<&Value> =
        envelope["pairs"].as_array().unwrap().iter().map(|it| &it["pair"]).collect();
    assert_eq!(pairs, PAIRS);
    assert_eq!(envelope["pairs"][0]["boundary"]["greatest"], 130.0, "the never-exceed speed");
    for pair in PAIRS {
        let picture = ivo.get(&at(&format!("envelope/{pair}/picture"))).has_status(200);
        assert_eq!(picture.header("content-type"), Some("image/svg+xml"));
        assert!(picture.text.starts_with("<svg ") && picture.text.contains("Small programme: Tug"));
        assert!(picture.text.contains("Nothing was shown of these two together."));
    }
    ivo.get(&at("envelope/speed-colour/picture")).has_problem(404, "not-found");
    let nothing = "0".repeat(64);
    ivo.get(&at(&format!("envelope?configuration={nothing}"))).has_problem(404, "not-found");
    ivo.get(&at("envelope?colour=blue")).has_problem(400, "bad-query");
}

/// Wants 45 kW where nothing was shown and a first point may reach 20 kW.
fn plans_boldly(story: &Story) {
    let [_, eve, _, lea, ..] = story.people();
    let mut plan = lea.get(&at("points/GR-02")).has_status(200).json()["plan"].clone();
    plan["code"] = "GR-09".into();
    plan["conditions"]["power"]["target"] = 45.0.into();
    eve.change(&at("points/GR-09"), plan).has_status(201);
}

fn proposes_a_smaller_step(story: &Story) {
    let [_, _, ivo, ..] = story.people();
    plans_boldly(story);
    let next = ivo.get(&at("next-steps")).has_status(200).json();
    let steps = next["steps"].as_array().unwrap();
    assert_eq!((steps.len(), &next["still_to_be_shown"]), (3, &json!(3)));
    assert_eq!(steps[0]["point"]["code"], "GR-01", "what holds it is cleared most easily");
    assert_eq!(steps[0]["opens"], 2);
    let bold = steps.iter().find(|it| it["point"]["code"] == "GR-09").unwrap();
    let kilowatt = |value: f64| json!({ "value": value, "unit": "kW" });
    assert_eq!(bold["proposed"][0]["propose"], kilowatt(20.0), "{bold:#}");
    assert_eq!(
        bold["proposed"][0]["then"],
        json!([kilowatt(30.0), kilowatt(40.0), kilowatt(45.0)])
    );
    let one = ivo.get(&at("next-steps?limit=1")).has_status(200).json();
    assert_eq!(one["steps"].as_array().map(Vec::len), Some(1));
    ivo.get(&at("next-steps?limit=0")).has_problem(400, "bad-query");
}

fn proposes(lead: &Client, point: &str, reason: &str) -> crate::harness::Answer {
    let seen = lead.to_sign(point, "plan-approval");
    let body =
        json!({ "point": point, "reason": reason, "digest": seen["digest"], "secret": PASSWORD });
    lead.post(&at("deviations"), body)
}

fn deviates(story: &Story) {
    let [_, eve, ivo, lea, _, sam] = story.people();
    let too_large = || ivo.rules_against("GR-09").contains(&"build-up-step-too-large".to_owned());
    let others = || -> Vec<String> {
        let mut rules = ivo.rules_against("GR-09");
        rules.retain(|rule| rule != "build-up-step-too-large");
        rules
    };
    let held_by = others();
    assert!(too_large());
    proposes(&lea, "GR-09", " ").has_problem(422, "invalid");
    proposes(&lea, "GR-01", "To try it.").has_problem(409, "no-step-to-deviate-from");
    let made = proposes(&lea, "GR-09", "The propeller hums in between.").has_status(201);
    assert_eq!(made.header("location"), Some(at("deviations/1").as_str()));
    assert!(too_large(), "one signature lifts nothing");
    let seen = sam.get(&at("deviations/1")).has_status(200).json();
    assert_eq!(seen["standing"], "open");
    assert_eq!(seen["steps"][0]["allowed"], json!({ "value": 20.0, "unit": "kW" }));
    sam.get(&at("deviations/2")).has_problem(404, "not-found");
    let agrees = |digest: &Value| {
        sam.post(&at("deviations/1/agreement"), json!({ "digest": digest, "secret": PASSWORD }))
    };
    agrees(&json!("0".repeat(64))).has_problem(409, "card-changed");
    assert_eq!(agrees(&seen["digest"]).has_status(200).json()["now"]["standing"], "agreed");
    assert!(!too_large());
    assert_eq!(others(), held_by, "nothing else is lifted");

    // A change of the plan voids it.
    let mut plan = lea.get(&at("points/GR-09")).json()["plan"].clone();
    plan["objective"] = "Show that it turns much faster.".into();
    eve.change(&at("points/GR-09"), plan).has_status(200);
    assert!(too_large());
    let all = ivo.get(&at("deviations")).has_status(200).json();
    assert_eq!(all["items"][0]["standing"], "void");
    ivo.get(&at("deviations?limit=0")).has_problem(400, "bad-query");

    let ends = |reason: &str| sam.post(&at("deviations/1/ending"), json!({ "reason": reason }));
    ends("").has_problem(422, "invalid");
    assert_eq!(ends("Planned anew.").has_status(200).json()["now"]["standing"], "ended");
    ends("Planned anew.").has_problem(409, "deviation-ended");
}
