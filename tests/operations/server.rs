//! The server itself: its health, its description, the science, and its reference of rules. Anybody may ask for these.

use serde_json::{Value, json};

use super::Story;

pub(super) const SHOWN: &[&str] = &[
    "health_live",
    "health_ready",
    "description_read",
    "rules_list",
    "compute_list",
    "compute_read",
    "compute_compute",
];

#[test]
fn whoever_has_not_signed_in_learns_that_the_server_lives_and_what_it_can_be_asked() {
    let story = Story::begins();
    let anyone = story.anyone();

    let live = anyone.get("/api/v1/health/live").has_status(200).json();
    assert_eq!(live["live"], true);
    assert_eq!(live["version"], env!("CARGO_PKG_VERSION"));
    let ready = anyone.get("/api/v1/health/ready").has_status(200).json();
    assert!(ready["ready"] == true && ready["time"].is_string(), "{ready:#}");
    let document = anyone.get("/api/v1/openapi.json").has_status(200).json();
    assert!(document["openapi"].as_str().is_some_and(|version| version.starts_with("3.1")));
    let rules = anyone.get("/api/v1/rules").has_status(200).reads("plan-not-approved").json();
    let told = |rule: &Value| rule["code"].is_string() && rule["meaning"].is_string();
    assert!(rules.as_array().is_some_and(|rules| rules.iter().all(told)), "{rules:#}");

    let topics = anyone.get("/api/v1/compute").has_status(200).json();
    let named = |topic: &Value| topic["name"] == "atmosphere";
    assert!(topics.as_array().is_some_and(|topics| topics.iter().any(named)));
    let topic = anyone.get("/api/v1/compute/atmosphere").has_status(200).json();
    assert!(topic["sources"].as_array().is_some_and(|sources| !sources.is_empty()), "{topic:#}");
    anyone.get("/api/v1/compute/astrology").has_problem(404, "unknown-topic");
    for path in ["health/live", "health/ready", "openapi.json", "rules", "compute"] {
        anyone.get(&format!("/api/v1/{path}?colour=red")).has_problem(400, "bad-query");
    }

    let [cas, ..] = story.people();
    // U.S. Standard Atmosphere, 1976: 15 °C at sea level.
    let sea_level = json!({ "pressure_altitude_ft": 0 });
    let answer = cas.post("/api/v1/compute/atmosphere", sea_level).has_status(200).json();
    assert!((answer["temperature_c"].as_f64().unwrap() - 15.0).abs() < 1e-9, "{answer:#}");
    let problem = cas
        .post("/api/v1/compute/atmosphere", json!({ "pressure_altitude_ft": 1e9 }))
        .has_problem(422, "input-refused")
        .json();
    assert_eq!(problem["faults"][0]["field"], "pressure_altitude_ft");

    story.has_shown(SHOWN);
}
