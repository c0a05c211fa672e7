//! How the programme gets on, and days that were lost.

use chrono::{Days, Utc};
use serde_json::json;

use super::Story;
use crate::harness::{Team, at};

pub(super) const SHOWN: &[&str] = &["progress_read", "progress_picture", "progress_note_lost_day"];

#[test]
fn the_lead_sees_how_the_points_come_along_and_what_a_day_was_lost_to() {
    let story = Story::begins();
    let [cas, _, ivo, lea, ..] = story.people();
    let read = || ivo.get(&at("progress")).has_status(200).json();
    let before = read();
    let ground = |seen: &serde_json::Value, of: &str| seen["points"]["ground-run"][of].as_u64();
    assert_eq!(ground(&before, "not_run"), Some(2), "{before:#}");
    assert_eq!(before["points"]["envelope"]["not_run"], 0);
    assert_eq!(before["days"].as_array().unwrap().len(), 1, "{before:#}");
    assert_eq!(
        (&before["spent"]["working_days"], &before["spent"]["from"]),
        (&json!(0), &json!(null))
    );
    let picture = ivo.get(&at("progress/picture")).has_status(200).text;
    assert!(picture.starts_with("<svg") && picture.contains("0 of 2 accepted"), "{picture}");

    let today = Utc::now().date_naive();
    let note = |date: chrono::NaiveDate, account: &str| {
        let body = json!({ "date": date, "cause": "weather", "account": account });
        cas.post(&at("lost-days"), body)
    };
    let refused = note(today + Days::new(2), " ").has_problem(422, "invalid").json();
    let fields: Vec<_> =
        refused["faults"].as_array().unwrap().iter().map(|it| it["field"].clone()).collect();
    assert_eq!(fields, ["date", "account"], "{refused:#}");
    let unheard_of = json!({ "date": today, "cause": "laziness", "account": "Nobody came." });
    cas.post(&at("lost-days"), unheard_of).has_problem(422, "invalid");
    let noted = note(today, "Fog until the evening.").has_status(201).json();
    assert_eq!((&noted["now"]["cause"], &noted["now"]["by"]), (&json!("weather"), &json!("cas")));
    let body = json!({ "date": today, "account": "Nobody meant to work." });
    let corrected = lea.post(&at("lost-days"), body).has_status(201).json();
    assert_eq!(corrected["now"]["cause"], json!(null), "what is noted last holds");
    let then = ivo.get(&at("progress?as_of=1")).has_status(200).json();
    assert_eq!((&then["records"], ground(&then, "not_run")), (&json!(1), Some(0)), "{then:#}");
    ivo.get(&at("progress?as_of=soon")).has_problem(400, "bad-query");
    ivo.get(&at("progress/picture?as_of=soon")).has_problem(400, "bad-query");
    story.has_shown(SHOWN);
}

#[test]
fn a_result_moves_its_point_and_a_day_with_a_run_is_not_lost() {
    let team = Team::new();
    team.runs_the_first_point(75.0);
    let ivo = team.person("ivo");
    let seen = ivo.get(&at("progress")).has_status(200).json();
    assert_eq!(seen["points"]["ground-run"]["not_met"], 1, "{seen:#}");
    assert_eq!(seen["repeats"]["ground-run"]["repeated"], 1, "{seen:#}");
    let today = Utc::now().date_naive();
    let body = json!({ "date": today, "cause": "aircraft", "account": "It got too hot." });
    let refused =
        team.person("lea").post(&at("lost-days"), body).has_problem(422, "invalid").json();
    let why = refused["faults"][0]["why"].as_str().unwrap();
    assert!(why.starts_with("run 1 was made on"), "{why}");
}
