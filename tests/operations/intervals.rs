//! Intervals of recordings: found where conditions hold, and what they say for a point.

use std::fmt::Write as _;

use chrono::{DateTime, SecondsFormat, TimeDelta, Utc};
use serde_json::{Value, json};

use super::Story;
use super::recordings::upload;
use crate::harness::{Answer, Client, Team, at};

pub(super) const SHOWN: &[&str] =
    &["intervals_steady", "intervals_list", "intervals_take", "intervals_read", "intervals_values"];

/// A moment as it is sent.
pub fn told(moment: DateTime<Utc>) -> String {
    moment.to_rfc3339_opts(SecondsFormat::Micros, true)
}

/// A file of the logger with ten rows a second of a minute from a moment on; `winding` is given seconds.
pub fn a_minute(from: DateTime<Utc>, winding: impl Fn(f64) -> f64) -> String {
    let mut text = String::from("t,winding\n");
    for row in 0..=600_i32 {
        let moment = from + TimeDelta::milliseconds(i64::from(100 * row));
        let _ = writeln!(text, "{},{:.4}", told(moment), winding(f64::from(row) / 10.0));
    }
    text
}

/// What rings down after a pulse at 5 s, about a value: with a damping of 0.05 of critical at 0.5 Hz.
pub fn rings(about: f64, seconds: f64) -> f64 {
    let t = seconds - 5.0;
    let turning = std::f64::consts::TAU * 0.5;
    if t < 0.0 { about } else { about + 10.0 * (-0.05 * turning * t).exp() * (turning * t).cos() }
}

/// Run 1 with GR-01, whose power is on for a minute; gives when it came on.
pub fn runs_a_minute(team: &Team) -> DateTime<Utc> {
    team.clears_the_first_point();
    team.opens_a_run().has_status(201);
    let pip = team.person("pip");
    pip.post(&at("runs/1/moments"), json!({ "event": "power-on" })).has_status(200);
    let run = pip.get(&at("runs/1")).has_status(200).json();
    let power_on = run["times"]["power_on"].as_str().expect("a moment").to_owned();
    let power_on = DateTime::parse_from_rfc3339(&power_on).expect("a moment").with_timezone(&Utc);
    // Clocks may differ by as much.
    let off =
        json!({ "event": "power-off", "observed_at": told(power_on + TimeDelta::seconds(60)) });
    pip.post(&at("runs/1/moments"), off).has_status(200);
    power_on
}

/// A minute of the logger, taken in and attached to run 1; gives its SHA-256.
#[track_caller]
pub fn attached(by: &Client, text: &str) -> String {
    let place = upload(by, "minute.csv", text).has_status(201);
    let place = place.header("location").expect("a place").to_owned();
    by.post(&format!("{place}/attachment"), json!({ "run": 1 })).has_status(200);
    place.rsplit('/').next().expect("a digest").to_owned()
}

/// Takes an interval of a recording from one second after a moment to another.
pub fn take(by: &Client, recording: &str, from: DateTime<Utc>, (start, end): (i64, i64)) -> Answer {
    let moment = |seconds| told(from + TimeDelta::seconds(seconds));
    let how = json!({ "by": "times", "from": moment(start), "to": moment(end) });
    let body = json!({ "recording": recording, "run": 1, "point": "GR-01", "how": how });
    by.post(&at("intervals"), body)
}

fn steady_at(target: f64, at_least_s: f64) -> Value {
    let held = json!([
        { "channel": "motor_temp", "target": target, "tolerance": 1.0, "unit": "degC" },
    ]);
    json!({ "held": held, "at_least_s": at_least_s })
}

/// Both acceptances of the result of GR-01.
fn accept(story: &Story) {
    for (person, part) in [("eve", "engineering-acceptance"), ("sam", "safety-acceptance")] {
        story.team.person(person).sign("GR-01", part, json!({})).has_status(201);
    }
}

fn waits_for_the_first(lea: &Client) -> bool {
    lea.rules_against("GR-02").iter().any(|rule| rule.starts_with("prerequisite"))
}

#[test]
fn an_interval_fills_a_result_with_values_that_say_where_they_came_from_and_opens_the_next_rung() {
    let story = Story::begins();
    let [_, eve, ivo, lea, pip, _] = story.people();
    let power_on = runs_a_minute(&story.team);
    let recording = attached(&eve, &a_minute(power_on, |s| rings(40.0, s)));
    let place = at(&format!("recordings/{recording}"));

    let mut asked = steady_at(40.0, 20.0);
    asked["run"] = 1.into();
    asked["point"] = "GR-01".into();
    let found = ivo.post(&format!("{place}/steady"), asked.clone()).has_status(200).json();
    let candidate = &found["found"]["candidates"][0];
    assert!(candidate["seconds"].as_f64().expect("seconds") > 20.0, "{found:#}");
    asked["held"][0]["unit"] = "kW".into();
    ivo.post(&format!("{place}/steady"), asked).has_problem(422, "invalid").reads("held[0].unit");

    let mut how = steady_at(48.0, 20.0);
    how["by"] = "conditions".into();
    let mut body = json!({ "recording": recording, "run": 1, "point": "GR-01", "how": how });
    let refused = eve.post(&at("intervals"), body.clone()).has_problem(409, "not-steady");
    refused.reads("at most").reads("motor_temp left");
    body["how"]["held"][0]["target"] = 40.0.into();
    let taken = eve.post(&at("intervals"), body.clone()).has_status(201).json();
    assert_eq!(taken["now"]["from"], candidate["from"], "what was looked for before");
    assert_eq!(taken["now"]["how"]["by"], "conditions");
    eve.post(&at("intervals"), body).has_problem(409, "nothing-changes");
    take(&eve, &recording, power_on, (-30, 10)).has_problem(422, "invalid");
    take(&eve, &recording, power_on, (1, 50)).has_status(201);
    ivo.get(&at("intervals/9")).has_problem(404, "not-found");
    assert_eq!(ivo.get(&at("intervals/2")).has_status(200).json()["seconds"], 49.0);
    ivo.get(&at("intervals?limit=0")).has_problem(400, "bad-query");
    let all = ivo.get(&at("intervals?run=1&point=GR-01")).has_status(200).json();
    assert_eq!(all["items"].as_array().map(Vec::len), Some(2));

    ivo.get(&at("intervals/9/values")).has_problem(404, "not-found");
    ivo.get(&at("intervals/2/values?with=9")).has_problem(400, "bad-query");
    let proposed = ivo.get(&at("intervals/2/values")).has_status(200).json();
    let value = &proposed["values"][0];
    assert_eq!((&value["value"], &value["unit"]), (&json!(50.0), &json!("degC")));
    assert_eq!(value["source"]["recording"], recording.as_str());
    assert_eq!(value["source"]["share_missing"], 0.0);
    assert_eq!(proposed["verdict"]["outcome"], "met");

    let mut result = json!({
        "point": "GR-01", "values": [], "observations": "It rang.", "from_intervals": [2],
        "values_digest": "0".repeat(64),
    });
    let stale = pip.post(&at("runs/1/results"), result.clone()).has_problem(412, "stale").json();
    assert_eq!(stale["present"]["digest"], proposed["digest"]);
    result["values_digest"] = proposed["digest"].clone();
    assert!(waits_for_the_first(&lea));
    let recorded = pip.post(&at("runs/1/results"), result).has_status(201).json();
    let measured = &recorded["now"]["values"][0];
    assert_eq!(measured["value"], 50.0);
    assert_eq!(measured["source"]["recording"], recording.as_str(), "{measured:#}");
    assert_eq!(recorded["now"]["typed_in"], false);
    lea.post(&at("runs/1/closing"), json!({})).has_status(200);
    accept(&story);
    assert!(!waits_for_the_first(&lea), "{:?}", lea.rules_against("GR-02"));
    story.has_shown(SHOWN);
}

#[test]
fn an_interval_between_noted_moments_fills_a_result_that_is_amended() {
    let story = Story::begins();
    let [_, eve, ivo, _, pip, _] = story.people();
    let power_on = runs_a_minute(&story.team);
    let recording = attached(&eve, &a_minute(power_on, |s| rings(40.0, s)));
    let between = |from: Value, to: Value| {
        let how = json!({ "by": "event-marks", "from": from, "to": to });
        let body = json!({ "recording": recording, "run": 1, "point": "GR-01", "how": how });
        eve.post(&at("intervals"), body)
    };
    let on = json!({ "event": "power-on", "after_s": 2.0 });
    let off = json!({ "event": "power-off", "after_s": -5.0 });
    between(off.clone(), on.clone()).has_problem(422, "invalid");
    between(on.clone(), json!({ "event": "landing" })).has_problem(422, "invalid").reads("landing");
    let taken = between(on, off).has_status(201).json();
    assert_eq!(
        (&taken["now"]["seconds"], &taken["now"]["how"]["by"]),
        (&json!(53.0), &json!("event-marks"))
    );

    let typed = json!({
        "point": "GR-01", "observations": "It rang.",
        "values": [{ "parameter": "motor_temp", "statistic": "max", "value": 55.0, "unit": "degC" }],
    });
    let first = pip.post(&at("runs/1/results"), typed).has_status(201).json();
    assert_eq!(first["now"]["typed_in"], true);
    let place = at("runs/1/results/GR-01");
    let amended = |intervals: Value| json!({ "values": [], "observations": "Read again.", "from_intervals": intervals });
    pip.put(&place, amended(json!([1]))).has_problem(428, "if-match-required");
    pip.change(&place, amended(json!([9]))).has_problem(422, "invalid");
    let now = pip.change(&place, amended(json!([1]))).has_status(200).json()["now"].clone();
    assert_eq!(
        (&now["values"][0]["value"], &now["typed_in"]),
        (&json!(50.0), &json!(false)),
        "{now:#}"
    );
    assert_eq!(now["values"][0]["source"]["recording"], recording.as_str());
    assert_eq!(ivo.get(&place).has_status(200).json()["verdict"]["outcome"], "met");
}

#[test]
fn values_that_do_not_meet_the_criterion_hold_the_next_rung_and_silence_is_no_pass() {
    for (about, outcome) in [(55.0, "not-met"), (f64::NAN, "missing")] {
        let story = Story::begins();
        let [_, eve, _, lea, pip, _] = story.people();
        let power_on = runs_a_minute(&story.team);
        let quiet =
            |s: f64| if about.is_nan() && s > 20.0 { 1000.0 } else { rings(about.max(40.0), s) };
        let recording = attached(&eve, &a_minute(power_on, quiet));
        take(&eve, &recording, power_on, (1, 50)).has_status(201);
        let body = json!({
            "point": "GR-01", "values": [], "observations": "It rang.", "from_intervals": [1],
        });
        let recorded = pip.post(&at("runs/1/results"), body).has_status(201).json();
        assert_eq!(recorded["now"]["verdict"]["outcome"], outcome, "{recorded:#}");
        assert!(waits_for_the_first(&lea), "{:?}", lea.rules_against("GR-02"));
    }
}
