//! Packs and papers: ordered, made in the background, fetched, and checked where there is no server.

use std::path::Path;
use std::time::{Duration, Instant};

use chrono::TimeDelta;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use super::Story;
use super::intervals::{runs_a_minute, take, told};
use super::permissions::team_with_a_past;
use crate::harness::{Client, Server, at};

pub(super) const SHOWN: &[&str] =
    &["evidence_list", "evidence_order", "evidence_read", "evidence_file"];

/// Asks for an order until it is ready or failed, and gives it.
#[track_caller]
pub fn comes_to_an_end(person: &Client, place: &str) -> Value {
    let began = Instant::now();
    loop {
        let order = person.get(place).has_status(200).json();
        match order["state"].as_str().expect("a state") {
            "ready" | "failed" => return order,
            "waiting" => assert!(order["ahead"].is_u64(), "{order:#}"),
            "being-made" => assert_eq!(order["done"].is_u64(), order["of"].is_u64(), "{order:#}"),
            other => panic!("{other} is no state"),
        }
        assert!(began.elapsed() < Duration::from_secs(240), "it is not made: {order:#}");
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// Orders something, and gives where it is looked at.
#[track_caller]
pub fn orders(person: &Client, wanted: Value) -> String {
    let taken = person.post(&at("evidence"), wanted).has_status(202);
    let place = taken.header("location").expect("a place").to_owned();
    assert!(place.ends_with(taken.json()["order"].as_str().expect("an id")), "{place}");
    place
}

/// What the file of an order has, after it was held against what the order says of it.
#[track_caller]
pub fn fetched(person: &Client, order: &Value) -> Vec<u8> {
    assert_eq!(order["state"], "ready", "{order:#}");
    let file = person.get(order["file"]["path"].as_str().expect("a path")).has_status(200);
    assert_eq!(file.header("content-type"), order["file"]["media_type"].as_str());
    let disposition = file.header("content-disposition").expect("a name");
    assert!(disposition.contains(order["file"]["name"].as_str().expect("a name")), "{disposition}");
    assert_eq!(file.bytes.len() as u64, order["file"]["bytes"]);
    let digest: String = Sha256::digest(&file.bytes).iter().map(|b| format!("{b:02x}")).collect();
    assert_eq!(digest, order["file"]["sha256"].as_str().expect("a digest"));
    file.bytes
}

/// What the program says of a pack where there is no server, and whether it believes it.
fn verified(pack: &Path, against: Option<&Path>) -> (bool, String) {
    let nowhere = pack.with_extension("nowhere");
    let text = |path: &Path| path.to_str().expect("temporary names are text").to_owned();
    let mut words = vec!["verify".to_owned(), "--pack".to_owned(), text(pack)];
    words.extend(against.into_iter().flat_map(|kept| ["--against".to_owned(), text(kept)]));
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let told = Server::command(&nowhere, &words);
    let said = [told.stdout, told.stderr].concat();
    (told.status.success(), String::from_utf8_lossy(&said).into_owned())
}

#[test]
fn a_pack_is_ordered_made_beside_others_fetched_and_checked_and_a_turned_bit_is_found() {
    let story = Story::begins();
    let [cas, _, ivo, ..] = story.people();
    story.team.runs_the_first_point(55.0);
    let folder = tempfile::tempdir().unwrap();
    let kept = folder.path().join("kept.txt");
    std::fs::write(&kept, ivo.get(&at("ledger/checkpoint")).has_status(200).text).unwrap();
    let head = ivo.get(&at("ledger")).has_status(200).json();

    let whole = orders(&ivo, json!({ "what": "pack" }));
    let part = orders(
        &ivo,
        json!({ "what": "pack", "scope": { "of": "point", "point": "GR-01" }, "digests_only": true }),
    );
    // It comes after the first, which takes a while.
    ivo.get(&format!("{part}/file")).has_problem(409, "not-made");
    // Others work on meanwhile.
    cas.post(&at("weather"), json!({ "weather": { "remarks": "Dry." } })).has_status(201);
    for place in [&whole, &part] {
        let order = comes_to_an_end(&ivo, place);
        // It is as of the checkpoint of the moment in which it was made.
        let records = order["file"]["records"].as_u64().expect("how many records");
        assert!(records >= head["size"].as_u64().unwrap(), "{order:#}");
        let pack = folder.path().join(order["file"]["name"].as_str().unwrap());
        std::fs::write(&pack, fetched(&cas, &order)).unwrap();
        let (good, said) = verified(&pack, Some(&kept));
        assert!(good && said.contains(order["file"]["root"].as_str().unwrap()), "{said}");
        assert!(said.contains("still stands") && said.contains("document.pdf"), "{said}");

        let mut bytes = std::fs::read(&pack).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 4;
        std::fs::write(&pack, bytes).unwrap();
        let (good, said) = verified(&pack, None);
        assert!(!good, "a turned bit is found: {said}");
    }
    let order = ivo.get(&whole).json();
    let path = order["file"]["path"].as_str().unwrap();
    let tag = ivo.get(path).header("etag").expect("a tag").to_owned();
    ivo.with("if-none-match", &tag).get(path).has_status(304);
    let all = cas.get(&at("evidence")).has_status(200).json();
    assert_eq!(all["items"][1], order, "everybody of the programme sees it, the newest first");

    // The same part of the same ledger is the same file.
    let again = [0, 1].map(|_| {
        let order = comes_to_an_end(&cas, &orders(&cas, json!({ "what": "pack" })));
        order["file"]["sha256"].clone()
    });
    assert_eq!(again[0], again[1]);

    for (wrong, field) in [
        (json!({ "what": "pack", "scope": { "of": "point", "point": "XX-99" } }), "scope.point"),
        (json!({ "what": "risk-register", "scope": { "of": "phase", "phase": "taxi" } }), "scope"),
        (json!({ "what": "evidence-document", "digests_only": true }), "digests_only"),
        (json!({ "what": "pamphlet" }), "what"),
        (json!({ "what": "pack", "colour": "red" }), "colour"),
    ] {
        let refused = ivo.post(&at("evidence"), wrong).has_problem(422, "invalid").json();
        assert_eq!(refused["faults"][0]["field"], field, "{refused:#}");
    }
    let nothing = json!({ "what": "pack", "scope": { "of": "day", "day": "1999-01-01" } });
    let failed = comes_to_an_end(&ivo, &orders(&ivo, nothing));
    assert_eq!(failed["state"], "failed", "{failed:#}");
    assert!(failed["why"].as_str().unwrap().contains("1999-01-01"), "{failed:#}");
    ivo.get(&at("evidence?colour=red")).has_problem(400, "bad-query");
    for unknown in ["0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d90", "pack"] {
        ivo.get(&at(&format!("evidence/{unknown}"))).has_problem(404, "not-found");
        ivo.get(&at(&format!("evidence/{unknown}/file"))).has_problem(404, "not-found");
    }
    story.keeper().get(&whole).has_problem(404, "not-found");
    story.anyone().get(&format!("{whole}/file")).has_problem(401, "not-signed-in");
    story.has_shown(SHOWN);
}

#[test]
fn only_a_few_orders_wait_at_a_time_and_an_order_that_a_restart_lost_says_what_to_do() {
    let team = crate::harness::Team::new();
    team.runs_the_first_point(55.0);
    let ivo = team.person("ivo");
    let places: Vec<String> =
        (0..3).map(|_| orders(ivo, json!({ "what": "flight-test-programme" }))).collect();
    let refused = ivo.post(&at("evidence"), json!({ "what": "pack" }));
    let refused = refused.has_problem(429, "too-many-orders");
    assert!(refused.header("retry-after").is_some());
    let order = comes_to_an_end(ivo, &places[0]);
    assert!(fetched(team.person("cas"), &order).starts_with(b"%PDF-"));
    let made = team.server.data.join("made");
    assert!(std::fs::read_dir(&made).unwrap().count() > 0);

    let team = team.killed_and_started_again();
    let lost = team.person("ivo").get(&places[0]).has_problem(404, "not-found");
    lost.reads("Order it again");
    let left = std::fs::read_dir(made).unwrap().count();
    assert_eq!(left, 0, "what an earlier run made is gone");
    // Another programme's order is not found by its id alone, and nobody is let in who may not sign in any more.
    let place = orders(team.person("ivo"), json!({ "what": "risk-register" }));
    comes_to_an_end(team.person("cas"), &place);
    let keeper = team.server.sign_in("keeper");
    let gone = json!({ "name": "Ivo", "administrator": false, "disabled": true });
    keeper.change("/api/v1/accounts/ivo", gone).has_status(200);
    team.person("ivo").get(&format!("{place}/file")).has_problem(401, "token-refused");
    team.person("ivo")
        .post(&at("evidence"), json!({ "what": "pack" }))
        .has_problem(401, "token-refused");
    team.person("cas").get(&format!("{place}/file")).has_status(200);
}

#[test]
fn every_paper_is_ordered_and_is_a_pdf() {
    let team = team_with_a_past();
    for what in [
        "evidence-document",
        "flight-test-programme",
        "risk-register",
        "configuration-and-limitations",
        "closing-statement",
        "log-entries",
    ] {
        let lea = team.person("lea");
        let order = comes_to_an_end(lea, &orders(lea, json!({ "what": what })));
        assert!(fetched(lea, &order).starts_with(b"%PDF-"), "{order:#}");
    }
    // The last few are kept; the oldest gave way to none yet.
    let all = team.person("ivo").get(&at("evidence")).has_status(200).json();
    assert_eq!(all["items"].as_array().map(Vec::len), Some(6));
    let lea = team.person("lea");
    comes_to_an_end(lea, &orders(lea, json!({ "what": "log-entries" })));
    let now = lea.get(&at("evidence")).has_status(200).json();
    assert_eq!(now["items"].as_array().map(Vec::len), Some(6), "the oldest made room");
}

#[test]
fn what_a_person_did_stays_under_their_name_after_they_may_not_sign_in_any_more() {
    let team = team_with_a_past();
    let ivo = team.person("ivo");
    let of_eve = || {
        let records = ivo.get(&at("ledger/records?limit=500")).has_status(200).json();
        let all = records["items"].as_array().expect("records").clone();
        all.into_iter().filter(|it| it["entry"]["by"] == "eve").collect::<Vec<_>>()
    };
    let places = ["people/eve", "points/GR-01", "runs/1/results/GR-01", "hours", "limit-proposals"];
    let seen = || places.map(|place| ivo.get(&at(place)).has_status(200).text);
    let (before, seen_before) = (of_eve(), seen());
    assert!(before.len() > 3 && seen_before[4].contains("\"eve\""), "she proposed a limit");
    let keeper = team.server.sign_in("keeper");
    let gone = json!({ "name": "Eve", "administrator": false, "disabled": true });
    keeper.change("/api/v1/accounts/eve", gone).has_status(200);
    team.person("eve").get(&at("points")).has_problem(401, "token-refused");

    assert_eq!(of_eve(), before, "no record is gone or is another's");
    assert_eq!(seen(), seen_before);
    let order = comes_to_an_end(ivo, &orders(ivo, json!({ "what": "pack" })));
    let folder = tempfile::tempdir().unwrap();
    let pack = folder.path().join("pack.zip");
    std::fs::write(&pack, fetched(ivo, &order)).unwrap();
    assert!(verified(&pack, None).0);
    // Whoever takes the programme over from the pack has the same history.
    let elsewhere = folder.path().join("elsewhere");
    Server::begin(&elsewhere);
    let adopted = Server::command(&elsewhere, &["adopt", pack.to_str().unwrap()]);
    assert!(adopted.status.success(), "{adopted:?}");
    for command in ["password", "enable"] {
        assert!(Server::command(&elsewhere, &["person", command, "ivo"]).status.success());
    }
    let moved = Server::serve(&elsewhere);
    let there = moved.sign_in("ivo").get(&at("ledger/records?limit=500")).has_status(200).json();
    let there = there["items"].as_array().expect("records").iter();
    let there: Vec<_> = there.filter(|it| it["entry"]["by"] == "eve").cloned().collect();
    assert_eq!(there, before);
}

#[test]
fn a_stall_that_was_reduced_stands_in_the_ledger_where_the_closing_statement_looks_for_it() {
    let story = Story::begins();
    let [_, eve, ivo, ..] = story.people();
    let power_on = runs_a_minute(&story.team);
    let airspeed = json!({ "code": "cas", "title": "Calibrated airspeed", "unit": "kt" });
    eve.change(&at("channels/cas"), airspeed).has_status(201);
    let mut logger = eve.get(&at("recorders/logger")).has_status(200).json();
    logger["code"] = "air".into();
    logger["columns"] = json!([{ "column": "cas", "channel": "cas", "unit": "kt" }]);
    eve.change(&at("recorders/air"), logger).has_status(201);
    // A knot slower each second, down to 45 kt after 20 s, and faster again.
    let rows = (0..=400_i32).map(|row| {
        let seconds = f64::from(row) / 10.0;
        let moment = told(power_on + TimeDelta::milliseconds(i64::from(100 * row)));
        format!("{moment},{:.3}\n", 45.0 + (seconds - 20.0).abs())
    });
    let text = format!("t,cas\n{}", rows.collect::<String>());
    let taken =
        eve.send("POST", &at("recordings?recorder=air&name=air.csv"), Some(("text/csv", text)));
    let place = taken.has_status(201).header("location").expect("a place").to_owned();
    eve.post(&format!("{place}/attachment"), json!({ "run": 1 })).has_status(200);
    let recording = place.rsplit('/').next().expect("a digest");
    take(&eve, recording, power_on, (2, 38)).has_status(201);
    let asked = json!({
        "interval": 1, "method": "stall-speed", "channels": { "cas": "cas" },
        "given": { "mass_kg": 600, "reference_mass_kg": 620 },
    });
    eve.post(&at("reductions"), asked).has_status(201);

    let records = ivo.get(&at("ledger/records?limit=500")).has_status(200).json();
    let mut records = records["items"].as_array().expect("records").iter();
    let made = records.find(|it| it["entry"]["kind"] == "reduction-made").expect("the record");
    let result: Value =
        serde_json::from_str(made["entry"]["body"]["result"].as_str().unwrap()).unwrap();
    let speed_kt = result.pointer("/output/cas_reference_kt").and_then(Value::as_f64);
    let speed_kt = speed_kt.unwrap_or_else(|| panic!("{result:#}"));
    // The second's average of the lowest, and 620 kg instead of 600: the square root of their ratio.
    assert!((speed_kt - 45.25 * (620.0_f64 / 600.0).sqrt()).abs() < 0.3, "{speed_kt}");
    let mass_kg = result.pointer("/rests_on/given/reference_mass_kg").and_then(Value::as_f64);
    assert_eq!(mass_kg, Some(620.0), "{result:#}");
    let order = comes_to_an_end(&ivo, &orders(&ivo, json!({ "what": "closing-statement" })));
    assert!(fetched(&ivo, &order).starts_with(b"%PDF-"));
}
