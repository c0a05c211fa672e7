//! The ladder, end to end: from a held point to an accepted one that opens the next rung and shows in the hours.

use serde_json::{Value, json};

use crate::harness::{Answer, Client, PASSWORD, PEOPLE, PROGRAMME, Team};

fn path(rest: &str) -> String {
    format!("{PROGRAMME}/{rest}")
}

/// The digest of a part that a person would sign, as the point shows it to them.
#[track_caller]
fn digest(person: &Client, point: &str, part: &str) -> String {
    let view = person.get(&path(&format!("points/{point}"))).has_status(200).json();
    let parts = view["to_sign"]["parts"].as_array().unwrap();
    let found = parts.iter().find(|it| it["part"] == part);
    found
        .and_then(|it| it["digest"].as_str())
        .unwrap_or_else(|| panic!("no {part} to sign in {parts:#?}"))
        .to_owned()
}

/// Signs a part of a point, with whatever its terms are besides digest and secret.
#[track_caller]
fn sign(person: &Client, point: &str, part: &str, terms: Value) -> Answer {
    let mut body =
        json!({ "part": part, "digest": digest(person, point, part), "secret": PASSWORD });
    for (name, value) in terms.as_object().into_iter().flatten() {
        body[name] = value.clone();
    }
    person.post(&path(&format!("points/{point}/sign-offs")), body)
}

#[track_caller]
fn rules_against(person: &Client, point: &str) -> Vec<String> {
    let view = person.get(&path(&format!("points/{point}/holds"))).has_status(200).json();
    let holds = view["holds"].as_array().unwrap();
    holds.iter().map(|hold| hold["rule"].as_str().unwrap().to_owned()).collect()
}

fn in_hours(hours: i64) -> String {
    (chrono::Utc::now() + chrono::TimeDelta::hours(hours)).to_rfc3339()
}

/// So many seconds from now; clocks in the field may be ahead of the server's by two minutes.
fn in_seconds(seconds: i64) -> String {
    (chrono::Utc::now() + chrono::TimeDelta::seconds(seconds)).to_rfc3339()
}

#[test]
fn a_held_point_is_cleared_released_run_accepted_opens_the_next_rung_and_shows_in_the_hours() {
    let team = Team::new();
    let [cas, eve, ivo, lea, pip, sam] = PEOPLE.map(|handle| team.person(handle));

    // Held, and every reason is told at once.
    assert_eq!(
        rules_against(ivo, "GR-01"),
        ["plan-not-approved", "check-not-passed", "release-missing", "acknowledgement-missing"]
    );
    assert!(rules_against(ivo, "GR-02").contains(&"prerequisite-not-accepted".to_owned()));
    sign(sam, "GR-01", "release", json!({ "valid_until": in_hours(8) }))
        .has_problem(409, "held")
        .names_hold("plan-not-approved")
        .names_hold("check-not-passed");

    // The morning: the check is done, the plan is approved, the point is released and acknowledged.
    cas.post(&path("checks/C-ISO/done"), json!({ "passed": true, "findings": "2.1 MΩ at 500 V." }))
        .has_status(201);
    sign(eve, "GR-01", "plan-approval", json!({})).has_status(201);
    sign(sam, "GR-01", "release", json!({ "valid_until": in_hours(8) })).has_status(201);
    assert_eq!(rules_against(ivo, "GR-01"), ["acknowledgement-missing"]);
    let crew = json!({ "points": ["GR-01"], "crew": [
        { "person": "pip", "role": "pilot", "on_board": true },
        { "person": "cas", "role": "crew", "on_board": false },
    ] });
    lea.post(&path("runs"), crew.clone())
        .has_problem(409, "held")
        .names_hold("acknowledgement-missing");
    sign(pip, "GR-01", "acknowledgement", json!({})).has_status(201);
    assert!(rules_against(ivo, "GR-01").is_empty());

    // The run.
    let run = lea.post(&path("runs"), crew).has_status(201).json();
    assert_eq!(run["now"]["run"], 1, "{run:#}");
    cas.post(
        &path("runs/1/energy"),
        json!({ "moment": "before", "charge_percent": 82, "energy_counter_kwh": 10.0 }),
    )
    .succeeds();
    // Times are noted as they come, and corrected where the paper log says otherwise.
    lea.post(&path("runs/1/moments"), json!({ "event": "power-on" })).succeeds();
    lea.post(&path("runs/1/moments"), json!({ "event": "power-off" })).succeeds();
    cas.post(
        &path("runs/1/energy"),
        json!({ "moment": "after", "charge_percent": 80, "energy_counter_kwh": 10.6 }),
    )
    .succeeds();
    lea.post(&path("runs/1/closing"), json!({})).succeeds();
    let (on, off) = (in_seconds(10), in_seconds(70));
    let times = json!({ "times": { "power_on": on, "power_off": off }, "reason": "Typed in from the paper log." });
    let revision = lea.get(&path("runs/1")).has_status(200);
    let tag = revision.header("etag").unwrap().to_owned();
    lea.with("if-match", &tag).put(&path("runs/1/times"), times).has_status(200);

    // A missing reading is not a pass; the right one is.
    let result = |value: Value| {
        json!({ "point": "GR-01", "values": [{ "parameter": "motor_temp", "statistic": "max", "value": value, "unit": "degC" }],
            "observations": "Smooth." })
    };
    let first = pip.post(&path("runs/1/results"), result(Value::Null)).has_status(201).json();
    assert_eq!(first["now"]["verdict"]["outcome"], "missing", "{first:#}");
    assert!(rules_against(ivo, "GR-02").contains(&"prerequisite-not-met".to_owned()));
    let tag = pip.get(&path("runs/1/results/GR-01")).header("etag").unwrap().to_owned();
    let mut again = result(json!(47.5));
    again.as_object_mut().unwrap().remove("point");
    pip.with("if-match", &tag)
        .put(&path("runs/1/results/GR-01"), again)
        .has_status(200)
        .reads("\"met\"");

    // Two others accept it: the recorder may not, and one alone is not enough.
    sign(eve, "GR-01", "engineering-acceptance", json!({ "run": 1 })).has_status(201);
    assert!(rules_against(ivo, "GR-02").contains(&"prerequisite-not-accepted".to_owned()));
    sign(sam, "GR-01", "safety-acceptance", json!({ "run": 1 })).has_status(201);
    assert_eq!(ivo.get(&path("points/GR-01")).json()["state"], "accepted");
    let next = rules_against(ivo, "GR-02");
    assert!(!next.iter().any(|rule| rule.starts_with("prerequisite")), "{next:?}");

    // And it counts.
    let hours = ivo.get(&path("hours")).has_status(200).json();
    assert_eq!(hours["totals"]["powered_minutes"], 1, "{hours:#}");
    assert_eq!(hours["totals"]["energy_wh"], 600);
    let summed: u64 = hours["runs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["powered_minutes"].as_u64().unwrap())
        .sum();
    assert_eq!(summed, 1);
}
