//! Predictions, who judges them, and what a change would undo.

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use super::Story;
use super::intervals::{a_minute, attached, rings, runs_a_minute, take};
use crate::harness::{PASSWORD, at, in_hours, result};

pub(super) const SHOWN: &[&str] = &[
    "predictions_read",
    "predictions_list",
    "predictions_review",
    "predictions_judge_damping",
    "changes_dry_run",
    "changes_read_narrowing",
    "changes_narrow",
];

#[test]
fn earlier_runs_predict_the_next_people_judge_that_and_a_change_tells_what_it_undoes() {
    let story = Story::begins();
    let power_on = minds_the_motor(&story);
    shows_the_first_point(&story, power_on);
    predicts_the_next(&story);
    reviews_the_model(&story);
    judges_the_damping(&story);
    changes_the_motor(&story);
    story.has_shown(SHOWN);
}

/// GR-01 is sensitive to the motor, and runs for a minute.
fn minds_the_motor(story: &Story) -> DateTime<Utc> {
    let lea = story.team.person("lea");
    let mut plan = lea.get(&at("points/GR-01")).has_status(200).json()["plan"].clone();
    plan["sensitive_to"] = json!(["motor"]);
    lea.change(&at("points/GR-01"), plan).has_status(200);
    runs_a_minute(&story.team)
}

/// It took 0.6 kWh where 0.5 kWh were planned, showed a damping, and was accepted.
fn shows_the_first_point(story: &Story, power_on: DateTime<Utc>) {
    let [cas, eve, lea, pip, sam] =
        ["cas", "eve", "lea", "pip", "sam"].map(|handle| story.team.person(handle));
    for (moment, charge, counter) in [("before", 90.0, 100.0), ("after", 88.0, 100.6)] {
        let read =
            json!({ "moment": moment, "charge_percent": charge, "energy_counter_kwh": counter });
        cas.post(&at("runs/1/energy"), read).has_status(200);
    }
    let recording = attached(eve, &a_minute(power_on, |s| rings(40.0, s)));
    take(eve, &recording, power_on, (4, 30)).has_status(201);
    let damping =
        json!({ "interval": 1, "method": "damping", "channels": { "signal": "motor_temp" } });
    eve.post(&at("reductions"), damping).has_status(201);
    lea.post(&at("runs/1/closing"), json!({})).has_status(200);
    pip.post(&at("runs/1/results"), result(55.0)).has_status(201);
    eve.sign("GR-01", "engineering-acceptance", json!({})).has_status(201);
    sam.sign("GR-01", "safety-acceptance", json!({})).has_status(201);
}

fn predicts_the_next(story: &Story) {
    let [_, _, ivo, _, _, sam] = story.people();
    let nothing = ivo.get(&at("points/GR-02/predictions")).has_status(200).json();
    assert_eq!(nothing["predictions"], json!([]), "the policy says nothing of predictions yet");
    let mut policy = sam.get(&at("policy")).has_status(200).json();
    policy["predictions"] = json!({
        "components": [{ "limit": "L-MOTOR", "depends_on": ["motor"] }],
        "demanded": [{ "kind": "temperature", "phases": ["ground-run"] }],
        "model_error_percent": 10, "model_error_runs": 4,
        "temperature_margin": { "value": 5, "unit": "K" },
        "usable_energy": { "value": 36, "unit": "kWh" },
        "reserves": [{ "rule": "in-sight-of-field", "power": { "value": 48, "unit": "kW" }, "source": "the team" }],
        "damping_judged_from": { "value": 80, "unit": "kt" },
        "source": "the team",
    });
    let mut wrong = policy.clone();
    wrong["predictions"]["model_error_percent"] = 0.into();
    let problem = sam.change(&at("policy"), wrong).has_problem(422, "invalid").json();
    assert_eq!(problem["faults"][0]["field"], "predictions.model_error_percent");
    sam.change(&at("policy"), policy).has_status(200);

    let seen = ivo.get(&at("points/GR-02/predictions?pack_c=20")).has_status(200).json();
    let energy = &seen["predictions"][0];
    // 0.8 kWh are planned, and the run before took 1.2 times what was.
    assert_eq!(energy["what"], json!({ "of": "energy" }), "{seen:#}");
    assert!((energy["value"]["estimate"].as_f64().unwrap() - 0.96).abs() < 1e-9);
    assert_eq!(energy["rests_on"]["runs"], json!([1]));
    assert!((energy["extrapolated_percent"].as_f64().unwrap() - 60.0).abs() < 1e-9);
    let charge = seen["minimum_charge"]["for_energy_percent"].as_f64().unwrap();
    let high = energy["value"]["high"].as_f64().unwrap();
    assert!((charge - 100.0 * (high + 8.0) / 36.0).abs() < 1e-9, "10 min at 48 kW are 8 kWh");
    let missing = &seen["unavailable"][0];
    assert_eq!(missing["what"], json!({ "of": "temperature", "limit": "L-MOTOR" }));
    assert!(ivo.rules_against("GR-02").contains(&"prediction-unavailable".to_owned()));
    let next = ivo.get(&at("next-steps")).has_status(200).json();
    let step = next["steps"].as_array().unwrap().iter().find(|it| it["point"]["code"] == "GR-02");
    assert_eq!(step.unwrap()["predictions"], seen["predictions"]);
    ivo.get(&at("points/GR-77/predictions")).has_problem(404, "not-found");
    ivo.get(&at("points/GR-02/predictions?pack_c=warm")).has_problem(400, "bad-query");
}

fn reviews_the_model(story: &Story) {
    let [_, eve, ivo, .., sam] = story.people();
    let energy = json!({ "what": { "of": "energy" }, "findings": "The counter was read late." });
    eve.post(&at("predictions/reviews"), energy.clone()).has_problem(404, "not-found");
    // The result used the release up.
    let until = json!({ "valid_until": in_hours(8) });
    story.team.person("sam").sign("GR-01", "release", until).has_status(201);
    story.team.person("pip").sign("GR-01", "acknowledgement", json!({})).has_status(201);
    story.team.opens_a_run().has_status(201);
    let kept = ivo.get(&at("predictions")).has_status(200).json();
    let row = &kept["items"][0];
    assert_eq!((&row["run"], &row["verdict"]), (&json!(2), &json!("waiting")), "{kept:#}");
    assert_eq!(row["predicted"]["point"], "GR-01");
    ivo.get(&at("predictions?limit=0")).has_problem(400, "bad-query");
    story.team.person("lea").post(&at("runs/2/closing"), json!({})).has_status(200);
    sam.post(&at("predictions/reviews"), energy.clone())
        .has_problem(409, "no-review-by-an-engineer");
    eve.post(&at("predictions/reviews"), energy.clone()).has_status(200);
    let both = sam.post(&at("predictions/reviews"), energy).has_status(200).json();
    assert_eq!(both["now"]["missed"], json!([]));
    let by: Vec<&Value> =
        both["now"]["reviews"].as_array().unwrap().iter().map(|it| &it["by"]).collect();
    assert_eq!(by, ["sam", "eve"]);
}

/// A flight at 90 kt, where damping is judged from 80 kt on.
fn judges_the_damping(story: &Story) {
    let [_, eve, ivo, ..] = story.people();
    let mut plan = ivo.get(&at("points/GR-02")).has_status(200).json()["plan"].clone();
    plan["code"] = "FL-01".into();
    plan["phase"] = "envelope".into();
    plan["limits"] = json!([]);
    plan["conditions"] = json!({ "speed": { "target": 90, "tolerance": 2, "unit": "kt" } });
    story.team.person("lea").change(&at("points/FL-01"), plan).has_status(201);
    let seen = ivo.get(&at("points/FL-01/predictions")).has_status(200).json();
    assert_eq!(seen["damping_step"]["reductions"], json!([1]), "{seen:#}");
    let held = || ivo.rules_against("FL-01").contains(&"damping-step-not-judged".to_owned());
    assert!(held());
    let judge = |reductions: Value| {
        let body = json!({ "go_on": true, "reductions": reductions, "reasons": "Well damped." });
        eve.post(&at("points/FL-01/damping-judgements"), body)
    };
    judge(json!([])).has_problem(409, "damping-changed");
    let judged = judge(json!([1])).has_status(200).json();
    assert_eq!(judged["now"]["damping_step"]["judged"]["by"], "eve");
    assert!(!held());
}

fn changes_the_motor(story: &Story) {
    let [_, eve, ivo, _, _, sam] = story.people();
    let suppose = |change: Value| ivo.post(&at("changes/dry-run"), change);
    let exchange = json!({ "change": "fitted", "item": "motor", "version": "M2" });
    let told = suppose(exchange).has_status(200).json();
    assert_eq!(
        told["lapsing"],
        json!([{ "point": "GR-01", "run": 1, "why": { "because": "item-changed", "item": "motor", "was": "M1", "is": "M2" } }])
    );
    assert_eq!(told["repeat"], json!({ "points": ["GR-01"], "covered": [] }));
    let lost = told["predictions"].as_array().unwrap();
    assert!(lost.iter().any(|it| it["point"] == "GR-02" && it["runs"] == json!([1])), "{told:#}");
    suppose(json!({ "change": "removed", "item": "wing" })).has_problem(422, "invalid");
    suppose(json!({ "change": "happened", "event": "rain" })).has_problem(422, "invalid");
    let landed = suppose(json!({ "change": "happened", "event": "hard-landing" }));
    assert_eq!(landed.has_status(200).json()["checks"], json!(["C-ISO"]));
    let standing = |of: &str| ivo.get(&at("runs/1/results/GR-01")).json()["standing"] == of;
    assert!(standing("accepted"), "nothing was recorded");

    let narrowing = at("runs/1/results/GR-01/narrowing");
    let narrow = |changes: Value| {
        let reason = "The same motor; its label was wrong.";
        sam.post(&narrowing, json!({ "changes": changes, "reason": reason, "secret": PASSWORD }))
    };
    narrow(json!([])).has_problem(409, "not-lapsed-by-a-change");
    let motor =
        json!({ "title": "Motor", "kind": "part", "version": "M2", "reason": "New label." });
    eve.change(&at("configuration/items/motor"), motor).has_status(200);
    assert!(standing("lapsed"));
    let seen = ivo.get(&narrowing).has_status(200).json();
    assert_eq!(seen["changes"], json!([{ "item": "motor", "was": "M1", "is": "M2" }]));
    ivo.get(&at("runs/9/results/GR-01/narrowing")).has_problem(404, "not-found");
    narrow(json!([])).has_problem(409, "changes-changed");
    let stands = narrow(seen["changes"].clone()).has_status(200).json();
    assert_eq!(stands["now"]["stands"], true);
    assert!(standing("accepted"));
}
