//! Recordings attached to runs: what they show beyond limits, whose clock was wrong, and what was set aside.

use std::fmt::Write as _;

use chrono::{DateTime, SecondsFormat, TimeDelta, Utc};
use serde_json::{Value, json};

use super::Story;
use super::recordings::upload;
use crate::harness::{Answer, Client, PASSWORD, Team, at};

pub(super) const SHOWN: &[&str] = &[
    "recordings_attach",
    "recordings_judged",
    "recordings_set_aside",
    "recordings_clock_estimate",
    "recordings_confirm_clock",
];

/// A file of the logger with ten rows a second from a moment on.
pub fn file(from: DateTime<Utc>, count: i64, winding: impl Fn(i64) -> f64) -> String {
    let mut text = String::from("t,winding\n");
    for row in 0..count {
        let moment = from + TimeDelta::milliseconds(100 * row);
        let moment = moment.to_rfc3339_opts(SecondsFormat::Micros, true);
        let _ = writeln!(text, "{moment},{:.3}", winding(row));
    }
    text
}

/// Warm and moving, so that two lines of it can be laid over each other.
pub fn warm(row: i64) -> f64 {
    let row = row as f64;
    60.0 + 20.0 * (row / 37.0).sin() + 10.0 * (row / 11.3).sin()
}

/// Begins run 1 and says when its power came on.
pub fn begins_a_run(team: &Team) -> DateTime<Utc> {
    team.clears_the_first_point();
    team.opens_a_run().has_status(201);
    let pip = team.person("pip");
    for event in ["power-on", "power-off"] {
        pip.post(&at("runs/1/moments"), json!({ "event": event })).has_status(200);
    }
    let run = pip.get(&at("runs/1")).has_status(200).json();
    let power_on = run["times"]["power_on"].as_str().expect("a moment").to_owned();
    DateTime::parse_from_rfc3339(&power_on).expect("a moment").with_timezone(&Utc)
}

/// Takes a file in and gives the recording's place.
#[track_caller]
fn taken(person: &Client, name: &str, text: &str) -> String {
    let answer = upload(person, name, text).has_status(201);
    answer.header("location").expect("a place").to_owned()
}

#[track_caller]
fn attach(person: &Client, place: &str, run: u32) -> Answer {
    person.post(&format!("{place}/attachment"), json!({ "run": run }))
}

/// Sends what amends a recording with the ETag of what is there.
#[track_caller]
fn amend(person: &Client, place: &str, what: &str, body: Value) -> Answer {
    let present = person.get(place).has_status(200);
    let tag = present.header("etag").expect("a tag");
    person.with("if-match", tag).post(&format!("{place}/{what}"), body)
}

fn kinds(answer: &Answer) -> Vec<String> {
    let records = answer.json()["records"].as_array().expect("records").clone();
    records.iter().filter_map(|it| Some(it["kind"].as_str()?.to_owned())).collect()
}

#[test]
fn a_recording_beyond_a_limit_holds_the_next_rung_until_that_is_explained_and_closed() {
    let story = Story::begins();
    let [cas, eve, ivo, _, _, sam] = story.people();
    let power_on = begins_a_run(&story.team);
    // 4 s above 120 °C, which may be passed for 2 s.
    let hot = |row| if (300..340).contains(&row) { 125.5 } else { warm(row) };
    let place = taken(&cas, "hot.csv", &file(power_on, 600, hot));
    let long_ago = "2026-05-02T08:00:00Z".parse().expect("a moment");
    let other = taken(&cas, "other.csv", &file(long_ago, 600, warm));
    let nothing = at(&format!("recordings/{}", "0".repeat(64)));

    let is_held = || eve.rules_against("GR-02").iter().any(|rule| rule.starts_with("exceedance"));
    assert!(!is_held());
    let dry = ivo.get(&format!("{place}/judged?run=1")).has_status(200).json();
    let judged = &dry["limits"][0];
    assert_eq!((&judged["limit"], &judged["outcome"]), (&json!("L-MOTOR"), &json!("exceeded")));
    assert_eq!(judged["exceedances"][0]["peak"], 125.5);
    assert_eq!(ivo.get(&at("exceedances")).json()["items"], json!([]), "nothing was recorded");
    ivo.get(&format!("{other}/judged?run=1")).has_problem(409, "recording-outside-run");
    ivo.get(&format!("{place}/judged?run=9")).has_problem(404, "not-found");
    ivo.get(&format!("{place}/judged")).has_problem(400, "bad-query");

    attach(&eve, &place, 9).has_problem(404, "not-found");
    attach(&eve, &nothing, 1).has_problem(404, "not-found");
    attach(&eve, &other, 1).has_problem(409, "recording-outside-run");
    let attached = attach(&eve, &place, 1).has_status(200);
    assert_eq!(kinds(&attached), ["recording-attached", "exceedance-found"]);
    let now = attached.json()["now"].clone();
    assert_eq!(now["recording"]["runs"], json!([1]));
    let exceedance = &now["exceedances"][0];
    assert_eq!((&exceedance["limit"], &exceedance["peak"]), (&json!("L-MOTOR"), &json!(125.5)));
    assert_eq!(exceedance["duration_s"], 4.0);
    assert_eq!(exceedance["found"]["recording"], now["recording"]["recording"]);
    assert_eq!(exceedance["found"]["started_at"], exceedance["found"]["started_in_run"]);
    assert_eq!(exceedance["found"]["dwell_s"], 2.0);
    let again = attach(&eve, &place, 1).has_status(200);
    assert!(kinds(&again).is_empty(), "what was told is not told twice");

    assert!(is_held(), "{:?}", eve.rules_against("GR-02"));
    let place = at("exceedances/1");
    let present = eve.get(&place).has_status(200);
    let why = json!({ "explanation": "The flap was shut.", "action": "Flap checked." });
    eve.with("if-match", present.header("etag").expect("a tag"))
        .put(&format!("{place}/explanation"), why)
        .has_status(200);
    assert!(is_held(), "explained, and not closed");
    let digest = sam.get(&place).json()["digest"].clone();
    let closing = json!({ "digest": digest, "secret": PASSWORD });
    sam.post(&format!("{place}/closing"), closing).has_status(200);
    assert!(!is_held(), "{:?}", eve.rules_against("GR-02"));
    story.has_shown(&SHOWN[..2]);
}

#[test]
fn a_clock_is_estimated_confirmed_by_a_person_and_a_recording_is_set_aside_with_a_reason() {
    let story = Story::begins();
    let [cas, eve, ivo, lea, ..] = story.people();
    let power_on = begins_a_run(&story.team);
    let reference = taken(&cas, "reference.csv", &file(power_on, 900, warm));
    let hot = |row| if row == 400 { 119.0 } else { warm(row) };
    let ahead = power_on + TimeDelta::milliseconds(4700);
    let place = taken(&cas, "ahead.csv", &file(ahead, 900, hot));
    let sha = |place: &str| place.rsplit('/').next().expect("a digest").to_owned();
    let against = sha(&reference);

    let asked = format!("clock-estimate?against={against}&channel=motor_temp");
    let estimate = ivo.get(&format!("{place}/{asked}")).has_status(200).json();
    let offset_s = estimate["offset_s"].as_f64().expect("an offset");
    assert!((offset_s - 4.7).abs() < 0.1, "{estimate}");
    assert!(estimate["correlation"].as_f64().expect("a correlation") > 0.9, "{estimate}");
    assert!(estimate["sentence"].as_str().expect("a sentence").contains("ahead"), "{estimate}");
    ivo.get(&format!("{reference}/{asked}")).has_problem(422, "invalid");
    let other_channel = format!("clock-estimate?against={against}&channel=oil_temp");
    ivo.get(&format!("{place}/{other_channel}")).has_problem(422, "invalid");
    ivo.get(&format!("{place}/{asked}&most_s=0")).has_problem(422, "invalid");

    let confirmed = |offset_s: f64, against: &str| json!({ "against": against, "channel": "motor_temp", "offset_s": offset_s, "correlation": 0.98 });
    eve.post(&format!("{place}/clock"), confirmed(4.7, &against))
        .has_problem(428, "if-match-required");
    amend(&eve, &place, "clock", confirmed(1e9, &against)).has_problem(422, "invalid");
    let now = amend(&eve, &place, "clock", confirmed(4.7, &against)).has_status(200).json();
    assert_eq!(now["now"]["clock"]["offset_s"], 4.7);
    amend(&eve, &place, "clock", confirmed(4.7, &against)).has_problem(409, "nothing-changes");
    amend(&eve, &reference, "clock", confirmed(-4.7, &sha(&place)))
        .has_problem(409, "clock-not-a-reference");

    let reason = |reason: &str| json!({ "reason": reason });
    amend(&lea, &place, "setting-aside", reason("")).has_problem(422, "invalid");
    let aside = amend(&lea, &place, "setting-aside", reason("Of another tug.")).has_status(200);
    assert_eq!(aside.json()["now"]["set_aside"]["by"], "lea");
    attach(&eve, &place, 1).has_problem(409, "recording-set-aside");
    amend(&lea, &place, "setting-aside", reason("Again.")).has_problem(409, "recording-set-aside");
    story.has_shown(&SHOWN[2..]);
}
