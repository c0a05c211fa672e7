//! A ledger that goes on from an older copy of itself.

use serde_json::json;

use super::Story;
use crate::harness::{PASSWORD, Server, at};

pub(super) const SHOWN: &[&str] = &["copies_read", "copies_acknowledge"];

#[test]
fn an_older_copy_in_the_place_of_the_database_says_so_and_nobody_signs_until_two_people_know() {
    let mut story = Story::begins();
    let data = story.team.server.data.clone();
    let database = data.join("rungbook.db");
    story.team.server.ends_when_asked();
    let older = std::fs::read(&database).unwrap();
    story.team = story.team.killed_and_started_again();
    let dry = json!({ "weather": { "remarks": "Dry." } });
    story.team.person("cas").post(&at("weather"), dry.clone()).has_status(201);
    story.team.server.ends_when_asked();
    std::fs::write(&database, older).unwrap();
    let told = Server::command(&data, &["verify"]);
    let told = String::from_utf8([told.stdout, told.stderr].concat()).unwrap();
    assert!(told.contains("is missing: the ledger had"), "{told}");

    story.team = story.team.killed_and_started_again();
    let [cas, eve, ivo, lea, _, sam] = story.people();
    let copy = ivo.get(&at("ledger/copy")).has_status(200).json();
    let records = copy["records"].as_u64().unwrap();
    assert_eq!((&copy["waits"], &copy["known"]), (&true.into(), &(records + 1).into()), "{copy:#}");
    assert_eq!(copy["missing"], json!(["lead", "safety"]));
    ivo.get(&at("ledger/copy?colour=red")).has_problem(400, "bad-query");
    eve.sign("GR-01", "plan-approval", json!({})).has_problem(409, "copy-not-acknowledged");
    // What is no signature is recorded, and no checkpoint of it is signed.
    cas.post(&at("weather"), dry).has_status(201);
    let checkpoint = ivo.get(&at("ledger/checkpoint")).has_status(200).text;
    assert_eq!(checkpoint.lines().nth(1), Some(records.to_string().as_str()), "{checkpoint}");

    let account = "One observation of the weather is missing; it was dry.";
    let knows = |records: u64, secret: &str| json!({ "records": records, "account": account, "secret": secret });
    lea.post(&at("ledger/copy"), knows(records + 1, PASSWORD)).has_problem(409, "another-copy");
    lea.post(&at("ledger/copy"), knows(records, "a guess")).has_status(403);
    let now = lea.post(&at("ledger/copy"), knows(records, PASSWORD)).has_status(201).json();
    assert_eq!(now["now"]["missing"], json!(["safety"]));
    lea.post(&at("ledger/copy"), knows(records, PASSWORD))
        .has_problem(409, "copy-acknowledged-already");
    eve.sign("GR-01", "plan-approval", json!({})).has_problem(409, "copy-not-acknowledged");
    let now = sam.post(&at("ledger/copy"), knows(records, PASSWORD)).has_status(201).json();
    assert_eq!(now["now"]["waits"], false);
    sam.post(&at("ledger/copy"), knows(records, PASSWORD)).has_problem(409, "no-copy");

    eve.sign("GR-01", "plan-approval", json!({})).has_status(201);
    let copy = ivo.get(&at("ledger/copy")).has_status(200).json();
    assert_eq!(copy, json!({ "waits": false, "acknowledged": [], "missing": [] }));
    let checkpoint = ivo.get(&at("ledger/checkpoint")).has_status(200).text;
    let size = ivo.get(&at("ledger")).has_status(200).json()["size"].to_string();
    assert_eq!(checkpoint.lines().nth(1), Some(size.as_str()), "{checkpoint}");
    let told = Server::command(&data, &["verify"]);
    assert!(told.status.success(), "{told:?}");

    story.has_shown(SHOWN);
}
