//! Reductions of intervals: made by a method, shown with what they rest on, and worked again of their exact input.

use serde_json::json;

use super::Story;
use super::intervals::{a_minute, attached, rings, runs_a_minute, take};
use crate::harness::at;

pub(super) const SHOWN: &[&str] = &[
    "reductions_methods",
    "reductions_list",
    "reductions_make",
    "reductions_read",
    "reductions_input",
    "reductions_rerun",
];

#[test]
fn a_reduction_says_what_it_rests_on_and_its_input_gives_the_same_answer_again() {
    let story = Story::begins();
    let [_, eve, ivo, ..] = story.people();
    let power_on = runs_a_minute(&story.team);
    let recording = attached(&eve, &a_minute(power_on, |s| rings(40.0, s)));
    take(&eve, &recording, power_on, (4, 30)).has_status(201);

    let methods = ivo.get("/api/v1/reduction-methods").has_status(200).json();
    ivo.get("/api/v1/reduction-methods?colour=red").has_problem(400, "bad-query");
    let methods = methods.as_array().expect("methods").clone();
    let damping = methods.iter().find(|it| it["name"] == "damping").expect("the method").clone();
    assert_eq!(damping["needs"][0]["name"], "signal");

    let asked = |method: &str, channel: &str| json!({ "interval": 1, "method": method, "channels": { "signal": channel } });
    eve.post(&at("reductions"), asked("guess", "motor_temp")).has_problem(422, "invalid");
    let refused = eve.post(&at("reductions"), asked("damping", "pack_v"));
    refused.has_problem(422, "input-refused").reads("pack_v");
    let mut fills = asked("damping", "motor_temp");
    fills["fills"] = json!({ "motor_temp": "/damping_ratio" });
    eve.post(&at("reductions"), fills).has_problem(422, "invalid").reads("does not compare");
    let made = eve.post(&at("reductions"), asked("damping", "motor_temp")).has_status(201).json();
    let now = &made["now"];
    assert_eq!(now["made"]["version"], damping["recorded_version"]);
    assert_eq!((&now["made"]["outdated"], &now["made"]["counts"]), (&json!(false), &json!(true)));
    let ratio = now["result"]["output"]["damping_ratio"].as_f64().expect("a ratio");
    assert!((ratio - 0.05).abs() < 0.005, "{ratio}");
    assert_eq!(now["result"]["recordings"]["signal"], recording.as_str());

    let input = ivo.get(&at("reductions/1/input")).has_status(200).json();
    let again = ivo.post("/api/v1/compute/damping", input).has_status(200).json();
    assert_eq!(again, now["result"]["output"], "the exact input gives the exact answer");
    eve.post(&at("reductions/1/rerun"), json!({})).has_problem(409, "nothing-changes");
    take(&eve, &recording, power_on, (4, 40)).has_status(201);

    let mut other = asked("damping", "motor_temp");
    other["given"] = json!({ "after_pulse_s": 1.0 });
    let other = eve.post(&at("reductions"), other).has_status(201).json();
    assert_eq!(other["now"]["made"]["replaces"], 1);
    assert_eq!(other["now"]["before"]["made"]["replaced_by"], 2);
    assert!(!other["now"]["before"]["differences"].as_array().expect("differences").is_empty());
    // The earlier one is made again, and takes the place of the later.
    let rerun = eve.post(&at("reductions/1/rerun"), json!({})).has_status(201).json();
    assert_eq!(rerun["now"]["made"]["replaces"], 2);
    assert_eq!(rerun["now"]["result"]["output"], now["result"]["output"]);

    let all = ivo.get(&at("reductions?method=damping&run=1")).has_status(200).json();
    assert_eq!(all["items"].as_array().map(Vec::len), Some(3));
    ivo.get(&at("reductions?limit=0")).has_problem(400, "bad-query");
    for rest in ["", "/input"] {
        ivo.get(&at("reductions/1")).has_status(200);
        ivo.get(&at(&format!("reductions/9{rest}"))).has_problem(404, "not-found");
    }
    eve.post(&at("reductions/9/rerun"), json!({})).has_problem(404, "not-found");
    story.has_shown(SHOWN);
}
