//! A record that was made by a clock that was wrong.

use serde_json::json;

use super::Story;
use crate::harness::{PASSWORD, Server, SettableClock, at, in_hours, program_at};

pub(super) const SHOWN: &[&str] = &["clock_read", "clock_compare"];

#[test]
fn a_record_of_tomorrow_holds_every_point_until_the_safety_officer_has_compared_the_clock() {
    let Some(clock) = SettableClock::or_say_why_not() else { return };
    let mut story = Story::begins();
    let data = story.team.server.data.clone();
    story.team.server.ends_when_asked();
    // Every record counts, also one that no person makes.
    clock.set("+1d");
    let mut changes = program_at(&data);
    changes.args(["key", "change", "--by", "keeper", "--reason", "The machine was away."]);
    assert!(clock.of(&mut changes).status().unwrap().success());
    story.team = story.team.killed_and_started_again();

    let [cas, eve, ivo, _, _, sam] = story.people();
    let seen = ivo.get(&at("ledger/clock")).has_status(200).json();
    assert_eq!(seen["behind"], true, "{seen}");
    ivo.get(&at("ledger/clock?colour=red")).has_problem(400, "bad-query");
    assert!(ivo.rules_against("GR-01").contains(&"clock-behind".to_owned()));
    // What is seen meanwhile is kept, and does not set the ledger back.
    cas.post(&at("weather"), json!({ "weather": { "remarks": "Dry." } })).has_status(201);
    assert!(ivo.rules_against("GR-01").contains(&"clock-behind".to_owned()));

    let shows = |shown: String, other: &str, secret: &str| json!({ "shown": shown, "other": other, "secret": secret });
    let radio = "The time signal on the radio";
    eve.post(&at("ledger/clock"), shows(in_hours(0), radio, PASSWORD))
        .has_problem(403, "not-permitted");
    sam.post(&at("ledger/clock"), shows(in_hours(24), radio, PASSWORD))
        .has_problem(409, "clocks-differ");
    sam.post(&at("ledger/clock"), shows(in_hours(0), "", PASSWORD)).has_status(422);
    sam.post(&at("ledger/clock"), shows(in_hours(0), radio, "a guess")).has_status(403);
    let done = sam.post(&at("ledger/clock"), shows(in_hours(0), radio, PASSWORD)).has_status(201);
    assert_eq!(done.json()["now"]["behind"], false);
    assert!(!ivo.rules_against("GR-01").contains(&"clock-behind".to_owned()));
    sam.post(&at("ledger/clock"), shows(in_hours(0), radio, PASSWORD))
        .has_problem(409, "clock-not-behind");
    story.has_shown(SHOWN);

    story.team.server.ends_when_asked();
    let told = Server::command(&data, &["verify"]);
    assert!(told.status.success(), "{told:?}");
}
