//! A request whose reply got lost can be sent again under its Idempotency-Key: it is done once, and answered as before.
//!
//! That each POST does so is shown by the stories in `operations`, whose people send each of them twice.

use serde_json::{Value, json};

use crate::harness::{Client, Team, at};

fn snag(title: &str) -> Value {
    json!({ "title": title, "grounding": false, "severity": "marginal" })
}

fn titles(reader: &Client) -> Vec<String> {
    let page = reader.get(&at("snags?limit=500")).has_status(200).json();
    let items = page["items"].as_array().unwrap().iter();
    items.map(|it| it["title"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn the_same_request_under_the_same_key_gives_the_same_reply_and_one_record_also_after_a_restart() {
    let mut team = Team::new();
    let first = team.person("cas").with("idempotency-key", "lost-in-the-grass");
    let first = first.post(&at("snags"), snag("Scratch")).has_status(201);
    assert_eq!(first.header("idempotency-replayed"), None);
    for _ in 0..2 {
        let cas = team.person("cas").with("idempotency-key", "lost-in-the-grass");
        cas.post(&at("snags"), snag("Scratch")).is_again(&first);
        assert_eq!(titles(team.person("ivo")), ["Scratch"]);
        team = team.killed_and_started_again();
    }
}

#[test]
fn the_same_key_with_another_request_is_refused_and_each_person_has_keys_of_their_own() {
    let team = Team::new();
    let keyed = |person: &str| team.person(person).with("idempotency-key", "k1");
    keyed("cas").post(&at("snags"), snag("Scratch")).has_status(201);
    keyed("cas").post(&at("snags"), snag("Dent")).has_problem(422, "idempotency-key-reused");
    let weather = json!({ "weather": { "remarks": "Dry." } });
    keyed("cas").post(&at("weather"), weather).has_problem(422, "idempotency-key-reused");
    keyed("pip").post(&at("snags"), snag("Dent")).has_status(201);
    assert_eq!(titles(team.person("ivo")), ["Dent", "Scratch"]);
}

#[test]
fn what_was_refused_is_decided_anew_under_its_key() {
    let team = Team::new();
    let cas = team.person("cas").with("idempotency-key", "too-early");
    let done = json!({ "event": "power-on" });
    cas.post(&at("runs/1/moments"), done.clone()).has_problem(404, "not-found");
    team.clears_the_first_point();
    team.opens_a_run().has_status(201);
    let noted = cas.post(&at("runs/1/moments"), done.clone()).has_status(200);
    cas.post(&at("runs/1/moments"), done).is_again(&noted);
}

#[test]
fn a_key_has_visible_characters_without_spaces_and_not_too_many() {
    let team = Team::new();
    for bad in ["two words", "", &"x".repeat(129)] {
        let cas = team.person("cas").with("idempotency-key", bad);
        cas.post(&at("snags"), snag("Scratch")).has_problem(400, "bad-header");
    }
    let cas = team.person("cas").with("idempotency-key", &"x".repeat(128));
    cas.post(&at("snags"), snag("Scratch")).has_status(201);
    assert_eq!(titles(team.person("ivo")).len(), 1);
}

#[test]
fn many_at_once_under_one_key_do_it_once_and_all_hear_the_same() {
    let team = Team::new();
    let answers: Vec<_> = std::thread::scope(|scope| {
        let asking: Vec<_> = (0..12)
            .map(|_| {
                let cas = team.person("cas").with("idempotency-key", "all-at-once");
                scope.spawn(move || cas.post(&at("snags"), snag("Scratch")).has_status(201))
            })
            .collect();
        asking.into_iter().map(|asking| asking.join().unwrap()).collect()
    });
    let replayed =
        answers.iter().filter(|it| it.header("idempotency-replayed") == Some("true")).count();
    assert_eq!(replayed, answers.len() - 1);
    assert!(answers.iter().all(|answer| answer.text == answers[0].text));
    assert_eq!(titles(team.person("ivo")), ["Scratch"]);
}
