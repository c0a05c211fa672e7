//! Recorder files that stop coming, come in part, come twice, or come while the programme changes.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;

use serde_json::{Value, json};

use super::together::at_once;
use crate::harness::{Answer, Client, PASSWORD, Server, Team, at};
use crate::operations::attached::{begins_a_run, file, warm};
use crate::operations::limits::propose;
use crate::operations::recordings::{rows, upload};

/// How often something is looked at again before it is called missing; each look is a request.
const LOOKS: usize = 20_000;

fn degrees(row: usize) -> String {
    format!("{:.1}", 20.0 + row as f64 / 10.0)
}

/// An upload over a connection of its own, of which nothing but the head was sent.
fn begins_to_upload(person: &Client, server: &Server, bytes: usize) -> TcpStream {
    let address = server.base.strip_prefix("http://").expect("plain HTTP");
    let mut stream = TcpStream::connect(address).expect("the server listens");
    let token = person.token.as_deref().expect("somebody who signed in");
    let path = at("recordings?recorder=logger&name=slow.csv");
    let head = format!(
        "POST {path} HTTP/1.1\r\nhost: {address}\r\nauthorization: Bearer {token}\r\ncontent-type: text/csv\r\n\
         content-length: {bytes}\r\nconnection: close\r\n\r\n"
    );
    stream.write_all(head.as_bytes()).expect("the server reads");
    stream
}

/// The status of an answer and its body.
fn answered(mut stream: TcpStream) -> (u16, Value) {
    let mut text = String::new();
    stream.read_to_string(&mut text).expect("an answer");
    let (head, body) = text.split_once("\r\n\r\n").expect("a head and a body");
    let status = head.split(' ').nth(1).and_then(|it| it.parse().ok()).expect("a status");
    // A body of unknown length comes in pieces, each behind its length.
    let json = body.find('{').zip(body.rfind('}')).map_or("", |(from, to)| &body[from..=to]);
    (status, serde_json::from_str(json).unwrap_or_else(|error| panic!("{error}: {text}")))
}

/// Files that are being written.
fn coming(team: &Team) -> usize {
    let folder = team.server.data.join("recordings").join("incoming");
    std::fs::read_dir(folder).expect("a folder").count()
}

/// Waits until so many files are being written.
#[track_caller]
fn until_coming(team: &Team, wanted: usize) {
    for _ in 0..LOOKS {
        if coming(team) == wanted {
            return;
        }
        team.server.stranger().get("/api/v1/health/live");
    }
    panic!("{} files are being written, not {wanted}", coming(team));
}

/// Nothing is there: no recording, and no file.
#[track_caller]
fn has_nothing(team: &Team) {
    let all = team.person("ivo").get(&at("recordings")).has_status(200).json();
    assert_eq!(all["items"], json!([]));
    until_coming(team, 0);
    let folder = team.server.data.join("recordings");
    assert_eq!(std::fs::read_dir(folder).expect("a folder").count(), 1, "only that for what comes");
}

#[test]
fn a_sender_that_falls_silent_is_told_so_and_nothing_is_kept() {
    let team = Team::served_with(&["--silent-sender", "1"]);
    let mut stream = begins_to_upload(team.person("cas"), &team.server, 1_000);
    stream.write_all(b"t,winding\n2026-05-02T08:00:00Z,20\n").expect("the server reads");
    let (status, problem) = answered(stream);
    assert_eq!((status, &problem["code"]), (408, &json!("request-timeout")), "{problem:#}");
    has_nothing(&team);
    upload(team.person("cas"), "whole.csv", &rows(10, degrees)).has_status(201);
}

#[test]
fn an_upload_that_is_cut_leaves_nothing_behind_and_may_be_sent_again() {
    let team = Team::new();
    let text = rows(20_000, degrees);
    for cut in [10, text.len() / 2, text.len() - 1] {
        let mut stream = begins_to_upload(team.person("cas"), &team.server, text.len());
        stream.write_all(&text.as_bytes()[..cut]).expect("the server reads");
        until_coming(&team, 1);
        drop(stream);
        has_nothing(&team);
    }
    upload(team.person("cas"), "whole.csv", &text).has_status(201);
}

#[test]
fn of_two_who_send_the_same_file_at_once_one_takes_it_in_and_the_other_is_told_who_did() {
    let team = Team::new();
    for round in 0..3 {
        let text = rows(2_000, |row| format!("{}", 20 + (row + round) % 50));
        let acts = ["cas", "eve"].map(|handle| -> Box<dyn FnOnce() -> Answer + Send> {
            let (person, text) = (team.person(handle).clone(), text.clone());
            Box::new(move || upload(&person, &format!("{handle}.csv"), &text))
        });
        let answers = at_once(Vec::from(acts));
        let first = answers.iter().position(|it| it.status == 201).expect("one takes it in");
        let other = answers[1 - first].clone().has_problem(409, "recording-known");
        other.reads(["cas", "eve"][first]);
        let all = team.person("ivo").get(&at("recordings")).has_status(200).json();
        assert_eq!(all["items"].as_array().map(Vec::len), Some(round + 1));
        let place = answers[first].header("location").expect("a place");
        let original = team.person("ivo").get(&format!("{place}/original")).has_status(200);
        assert_eq!(original.text, text);
        until_coming(&team, 0);
    }
}

/// The logger with another scale of its column.
fn rescales(team: &Team, scale: f64) -> Answer {
    let eve = team.person("eve");
    let mut recorder = eve.get(&at("recorders/logger")).has_status(200).json();
    recorder["columns"][0]["scale"] = scale.into();
    eve.change(&at("recorders/logger"), recorder)
}

#[test]
fn a_file_is_read_by_the_mapping_that_stands_once_it_has_come() {
    let team = Team::new();
    let text = rows(100, |_| "500".to_owned());
    let (first, rest) = text.as_bytes().split_at(200);
    let mut stream = begins_to_upload(team.person("cas"), &team.server, text.len());
    stream.write_all(first).expect("the server reads");
    until_coming(&team, 1);
    rescales(&team, 0.1).has_status(200);
    stream.write_all(rest).expect("the server reads");
    let (status, taken) = answered(stream);
    assert_eq!(status, 201, "{taken:#}");
    let channel = &taken["now"]["channels"][0];
    assert_eq!((&channel["readings"], &channel["refused"]), (&json!(100), &json!(0)), "{taken:#}");
}

#[test]
fn a_mapping_that_changes_while_a_file_is_read_is_told_and_the_file_may_be_sent_again() {
    let team = Team::new();
    let text = rows(36_000, |row| format!("{:.1}", 20.0 + (row % 900) as f64 / 10.0));
    let answer = std::thread::scope(|scope| {
        let sending = scope.spawn(|| upload(team.person("cas"), "long.csv", &text));
        // The file as it came, and its columns, which are being written.
        until_coming(&team, 2);
        rescales(&team, 0.01).has_status(200);
        sending.join().expect("an answer")
    });
    if answer.status == 201 {
        // A quick machine had read it before the mapping changed: then it is read by the one before.
        return;
    }
    answer.has_problem(412, "stale").reads("changed");
    // What was put in place already has no record and goes at the next start.
    let all = team.person("ivo").get(&at("recordings")).has_status(200).json();
    assert_eq!(all["items"], json!([]));
    upload(team.person("cas"), "long.csv", &text).has_status(201);
}

#[test]
fn whatever_limit_stands_when_a_recording_is_attached_is_the_one_that_it_was_held_against() {
    let team = Team::new();
    let (cas, eve, sam) = (team.person("cas"), team.person("eve"), team.person("sam"));
    let power_on = begins_a_run(&team);
    let hot = |row| if (300..340).contains(&row) { 118.0 } else { warm(row) };
    let place = upload(cas, "hot.csv", &file(power_on, 20_000, hot)).has_status(201);
    let place = place.header("location").expect("a place").to_owned();
    propose(eve, 116.0).has_status(201);
    let digest = sam.get(&at("limit-proposals/1")).has_status(200).json()["digest"].clone();
    let agreement = json!({ "digest": digest, "secret": PASSWORD });
    let acts: Vec<Box<dyn FnOnce() -> Answer + Send>> = vec![
        Box::new(|| eve.post(&format!("{place}/attachment"), json!({ "run": 1 }))),
        Box::new(|| sam.post(&at("limit-proposals/1/agreement"), agreement)),
    ];
    let [attached, agreed] = <[Answer; 2]>::try_from(at_once(acts)).expect("two answers");
    let (attached, agreed) = (attached.has_status(200).json(), agreed.has_status(200).json());
    let last = |answer: &Value| {
        let records = answer["records"].as_array().expect("records");
        records.last().and_then(|it| it["seq"].as_u64()).expect("a number")
    };
    // 118 °C is beyond the new limit of 116 and within the old one of 120.
    let judged_by_new = last(&attached) > last(&agreed);
    let found = attached["now"]["exceedances"].as_array().expect("exceedances").len();
    assert_eq!(found, usize::from(judged_by_new), "{attached:#}");
    let again = eve.post(&format!("{place}/attachment"), json!({ "run": 1 })).has_status(200);
    assert_eq!(again.json()["now"]["exceedances"].as_array().map(Vec::len), Some(1));
}

#[test]
fn a_file_that_was_lost_or_damaged_is_whole_again_once_it_is_sent_again() {
    let mut team = Team::new();
    let text = rows(100, degrees);
    let taken = upload(team.person("cas"), "a.csv", &text).has_status(201);
    let place = taken.header("location").expect("a place").to_owned();
    let digest = place.rsplit('/').next().expect("a digest").to_owned();
    let kept = team.server.data.join("recordings").join(&digest[..2]).join(&digest);
    let verify = |team: &Team| {
        let output = Server::command(&team.server.data, &["verify"]);
        let told =
            String::from_utf8_lossy(&output.stdout) + String::from_utf8_lossy(&output.stderr);
        (output.status.success(), told.into_owned())
    };
    for damaged in [None, Some(text.replace("20.0", "21.0"))] {
        match damaged {
            None => std::fs::remove_file(&kept).expect("the file is there"),
            Some(text) => std::fs::write(&kept, text).expect("the file is there"),
        }
        let (whole, told) = verify(&team);
        assert!(!whole && told.contains(&digest), "{told}");
        let known = upload(team.person("eve"), "a.csv", &text).has_problem(409, "recording-known");
        known.reads("whole again");
        assert_eq!(team.person("ivo").get(&format!("{place}/original")).has_status(200).text, text);
        let (whole, told) = verify(&team);
        assert!(whole, "{told}");
    }
    // Its columns, which come out of the file as they did.
    let folders = std::fs::read_dir(team.server.data.join("recordings")).expect("a folder");
    let files = folders
        .filter_map(|it| std::fs::read_dir(it.ok()?.path()).ok())
        .flatten()
        .map(|it| it.expect("a file").path());
    let columns = files.into_iter().find(|it| *it != kept).expect("columns");
    std::fs::remove_file(&columns).expect("they are there");
    let known = upload(team.person("eve"), "a.csv", &text).has_problem(409, "recording-known");
    known.reads("its columns had been lost or damaged");
    team.person("ivo").get(&format!("{place}/plot")).has_status(200);
    team.server.ends_when_asked();
    assert!(verify(&team).0);
}
