//! The field: weather as people see it, and the stop that anyone calls.

use serde_json::json;

use super::Story;
use crate::harness::{PASSWORD, at};

pub(super) const SHOWN: &[&str] = &[
    "weather_list",
    "weather_latest",
    "weather_observe",
    "stand_down_read",
    "stand_down_call",
    "stand_down_list",
    "stand_down_lift",
];

#[test]
fn anyone_who_takes_part_notes_the_weather_and_stops_everything_and_the_safety_officer_alone_lifts_it()
 {
    let story = Story::begins();
    let [cas, _, ivo, lea, pip, sam] = story.people();

    ivo.get(&at("weather/latest")).has_problem(404, "not-found");
    let wind = |knots: f64, gust: f64| {
        let speed = |value: f64| json!({ "value": value, "unit": "kt" });
        json!({ "weather": { "wind": speed(knots), "gust": speed(gust) } })
    };
    cas.post(&at("weather"), wind(8.0, 5.0)).has_problem(422, "invalid");
    cas.post(&at("weather"), wind(8.0, 12.0)).has_status(201);
    let latest = ivo.get(&at("weather/latest")).has_status(200).json();
    assert_eq!((&latest["by"], &latest["weather"]["wind"]["value"]), (&json!("cas"), &json!(8.0)));
    let all = ivo.get(&at("weather")).has_status(200).json();
    assert_eq!(all["items"].as_array().map(Vec::len), Some(1));
    ivo.get(&at("weather?limit=0")).has_problem(400, "bad-query");

    assert_eq!(ivo.get(&at("stand-down")).has_status(200).json()["in_force"], false);
    ivo.get(&at("stand-down?as_of=99999")).has_problem(409, "not-yet");
    cas.post(&at("stand-down"), json!({ "reason": "" })).has_problem(422, "invalid");
    let call = |person: &crate::harness::Client, reason: &str| {
        let called = person.post(&at("stand-down"), json!({ "reason": reason })).has_status(201);
        called.json()["records"][0]["seq"].as_u64().unwrap()
    };
    let first = call(&cas, "Smoke from the rear box.");
    for point in ["GR-01", "GR-02"] {
        assert!(lea.rules_against(point).contains(&"stand-down".to_owned()), "{point}");
    }
    let second = call(&pip, "I saw it too.");
    let lift = |calls: &[u64]| {
        let body = json!({ "reasons": "It was the kettle.", "calls": calls, "secret": PASSWORD });
        sam.post(&at("stand-down/lifting"), body)
    };
    lift(&[first]).has_problem(409, "stand-down-called-since");
    lift(&[first, second]).has_status(200).reads("\"in_force\":false");
    lift(&[]).has_problem(409, "no-stand-down");
    assert!(!lea.rules_against("GR-01").contains(&"stand-down".to_owned()));
    let calls = ivo.get(&at("stand-down/calls")).has_status(200).json();
    assert_eq!(calls["items"][0]["seq"], second);
    assert_eq!(calls["items"][1]["lifted"]["by"], "sam");
    ivo.get(&at("stand-down/calls?limit=0")).has_problem(400, "bad-query");

    story.has_shown(SHOWN);
}
