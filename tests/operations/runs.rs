//! Runs, their results, exceedances, and the hours that they come to.

use serde_json::{Value, json};

use super::Story;
use crate::harness::{PASSWORD, at, result};

pub(super) const SHOWN: &[&str] = &[
    "runs_list",
    "runs_open",
    "runs_read",
    "runs_note_moment",
    "runs_read_energy",
    "runs_knock_off",
    "runs_close",
    "runs_correct",
    "results_list",
    "results_record",
    "results_read",
    "results_amend",
    "exceedances_list",
    "exceedances_note",
    "exceedances_read",
    "exceedances_explain",
    "exceedances_close",
    "hours_read",
];

#[test]
fn a_run_is_opened_noted_stopped_and_closed_and_what_it_showed_is_recorded_and_counted() {
    let story = Story::begins();
    is_conducted(&story);
    shows_something(&story);
    goes_beyond_a_limit(&story);
    counts(&story);
    story.has_shown(SHOWN);
}

fn is_conducted(story: &Story) {
    let [cas, _, ivo, lea, pip, sam] = story.people();
    let open = |points: &[&str]| {
        let crew = json!([{ "person": "pip", "role": "pilot", "on_board": true }]);
        lea.post(&at("runs"), json!({ "points": points, "crew": crew }))
    };
    let problem = open(&["GR-01", "GR-02"]).has_problem(409, "held").names_hold("release-missing");
    let held = problem.json()["holds"].as_array().map(Vec::len).unwrap();
    assert!(held > 5, "every hold of both points at once, and not only {held}");
    open(&["GR-99"]).has_problem(422, "invalid");
    story.team.clears_the_first_point();
    let opened = open(&["GR-01"]).has_status(201);
    assert_eq!(opened.header("location"), Some(at("runs/1").as_str()));
    open(&["GR-01"]).has_problem(409, "held").names_hold("run-open");

    let note = |event: &str| pip.post(&at("runs/1/moments"), json!({ "event": event }));
    note("power-off").has_problem(409, "moment-out-of-order");
    note("power-on").has_status(200);
    note("power-on").has_problem(409, "moment-already-noted");
    let read = |moment: &str, charge: f64, counter: f64| {
        let body =
            json!({ "moment": moment, "charge_percent": charge, "energy_counter_kwh": counter });
        cas.post(&at("runs/1/energy"), body)
    };
    read("before", 182.0, 10.0).has_problem(422, "invalid");
    read("before", 82.0, 10.0).has_status(200);
    read("after", 81.0, 9.0).has_problem(422, "invalid").reads("only rises");
    read("after", 81.0, 10.4).has_status(200);
    lea.post(&at("runs/1/closing"), json!({})).has_problem(409, "run-unfinished");
    let stop = |reason: &str| sam.post(&at("runs/1/knock-off"), json!({ "reason": reason }));
    stop("").has_problem(422, "invalid");
    stop("Pack warning on the panel.").has_status(200);
    note("power-off").has_status(200);
    lea.post(&at("runs/1/closing"), json!({ "debrief": "A loose sensor." })).has_status(200);

    let run = ivo.get(&at("runs/1")).has_status(200).json();
    assert_eq!((&run["knocked_off"]["by"], &run["closed"]["by"]), (&json!("sam"), &json!("lea")));
    assert_eq!(run["fitted"], json!({ "motor": "M1" }));
    ivo.get(&at("runs/2")).has_problem(404, "not-found");
    let closed = ivo.get(&at("runs?open=false")).has_status(200).json();
    assert_eq!(closed["items"][0]["run"], 1);
    ivo.get(&at("runs?open=perhaps")).has_problem(400, "bad-query");
}

fn shows_something(story: &Story) {
    let [_, eve, ivo, _, pip, sam] = story.people();
    let results = at("runs/1/results");
    let mut unknown = result(50.0);
    unknown["values"][0]["parameter"] = "oil_temp".into();
    pip.post(&results, unknown).has_problem(422, "invalid");
    let first = pip.post(&results, result(75.0)).has_status(201).json();
    assert_eq!(first["now"]["verdict"]["outcome"], "not-met");
    pip.post(&results, result(50.0)).has_problem(412, "stale");
    sam.sign("GR-01", "safety-acceptance", json!({}))
        .has_problem(409, "held")
        .names_hold("result-not-met");
    let place = at("runs/1/results/GR-01");
    let mut again = result(50.0);
    again.as_object_mut().unwrap().remove("point");
    pip.put(&place, again.clone()).has_problem(428, "if-match-required");
    let second = pip.change(&place, again).has_status(200).json();
    assert_eq!(second["now"]["verdict"]["outcome"], "met");
    assert_eq!(ivo.get(&place).has_status(200).json()["standing"], "open");
    ivo.get(&at("runs/1/results/GR-02")).has_problem(404, "not-found");
    let all = ivo.get(&results).has_status(200).json();
    let standings: Vec<_> =
        all["items"].as_array().unwrap().iter().map(|it| &it["standing"]).collect();
    assert_eq!(standings, ["replaced", "open"]);
    ivo.get(&at("runs/9/results")).has_problem(404, "not-found");
    eve.sign("GR-01", "engineering-acceptance", json!({})).has_status(201);
    assert_eq!(ivo.get(&place).json()["standing"], "open", "one acceptance is not enough");
}

fn goes_beyond_a_limit(story: &Story) {
    let [cas, eve, ivo, _, _, sam] = story.people();
    let note = |peak: f64| {
        let body = json!({ "run": 1, "limit": "L-MOTOR", "statistic": "max", "peak": peak, "duration_s": 4.0 });
        cas.post(&at("exceedances"), body)
    };
    note(100.0).has_problem(422, "invalid");
    note(124.5).has_status(201);
    let place = at("exceedances/1");
    let close = |digest: &Value| {
        let body = json!({ "digest": digest, "secret": PASSWORD });
        sam.post(&at("exceedances/1/closing"), body)
    };
    let nothing = json!("0".repeat(64));
    close(&nothing).has_problem(409, "exceedance-not-explained");
    let explain = |explanation: &str| {
        let present = eve.get(&place).has_status(200);
        let body = json!({ "explanation": explanation, "action": "Flap checked before power on." });
        eve.with("if-match", present.header("etag").unwrap())
            .put(&at("exceedances/1/explanation"), body)
    };
    explain("").has_problem(422, "invalid");
    explain("The cowling flap was shut.").has_status(200);
    close(&nothing).has_problem(409, "card-changed");
    let seen = sam.get(&place).json();
    close(&seen["digest"]).has_status(200);
    close(&seen["digest"]).has_problem(409, "exceedance-closed");
    ivo.get(&at("exceedances/2")).has_problem(404, "not-found");
    let of_run = ivo.get(&at("exceedances?run=1&open=false")).has_status(200).json();
    assert_eq!(of_run["items"][0]["closed"]["by"], "sam");
    ivo.get(&at("exceedances?run=first")).has_problem(400, "bad-query");
}

fn counts(story: &Story) {
    let [_, _, ivo, lea, ..] = story.people();
    let run = lea.get(&at("runs/1")).has_status(200);
    let correct = |times: &Value| {
        let body = json!({ "times": times, "reason": "The recorder says so." });
        lea.with("if-match", run.header("etag").unwrap()).put(&at("runs/1/times"), body)
    };
    let mut times = run.json()["times"].clone();
    let (on, off) = (times["power_on"].clone(), times["power_off"].clone());
    times["power_on"] = off.clone();
    times["power_off"] = on.clone();
    correct(&times).has_problem(422, "invalid").reads("times.power_off");
    // A minute later, which the clock of a phone may well be ahead.
    let later = chrono::DateTime::parse_from_rfc3339(on.as_str().unwrap()).unwrap()
        + chrono::TimeDelta::seconds(60);
    times["power_on"] = on;
    times["power_off"] = later.to_rfc3339().into();
    correct(&times).has_status(200);
    correct(&times).has_problem(412, "stale");
    let hours = ivo.get(&at("hours")).has_status(200).json();
    assert_eq!(hours["totals"]["powered_minutes"], 1, "{hours:#}");
    assert_eq!(hours["totals"]["energy_wh"], 400);
    ivo.get(&at("hours?as_of=99999")).has_problem(409, "not-yet");
}
