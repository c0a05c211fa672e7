//! A program that is told to end gives every reply that it owes, takes nothing new, and is gone in bounded time.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use serde_json::json;

use crate::harness::{Client, Event, PEOPLE, Server, Team, at};

/// How many write at once.
const WRITERS: usize = 32;

/// From being told to end until the program must be gone.
const LONGEST: Duration = Duration::from_secs(15);

/// Writes until no answer comes; gives the number of each record that was acknowledged, with the remark that it holds.
fn writes(person: &Client, name: &str, answered: &AtomicU64) -> BTreeMap<u64, String> {
    let mut acknowledged = BTreeMap::new();
    for count in 0.. {
        let remarks = format!("{name}, observation {count}");
        let body = json!({ "weather": { "remarks": remarks } }).to_string();
        let sent = person.try_send("POST", &at("weather"), Some(("application/json", body)));
        let Ok(answer) = sent else { break };
        let seq = answer.has_status(201).json()["records"][0]["seq"].as_u64().unwrap();
        acknowledged.insert(seq, remarks);
        answered.fetch_add(1, Ordering::Relaxed);
    }
    acknowledged
}

/// Sends a recorder's file and stops in the middle of it; whoever has the socket can read what is answered.
fn sends_half_a_file(person: &Client, server: &Server) -> TcpStream {
    let host = server.base.strip_prefix("http://").unwrap();
    let mut socket = TcpStream::connect(host).unwrap();
    let token = person.token.as_deref().unwrap();
    let path = at("recordings?recorder=logger&name=slow.csv");
    let head = format!(
        "POST {path} HTTP/1.1\r\nhost: {host}\r\nauthorization: Bearer {token}\r\n\
         content-type: text/csv\r\ncontent-length: 100000\r\n\r\nt,winding\n"
    );
    socket.write_all(head.as_bytes()).unwrap();
    socket
}

#[test]
fn of_32_who_write_while_the_program_is_told_to_end_each_has_a_reply_for_every_record_and_no_other()
{
    let mut team = Team::new();
    let answered = AtomicU64::new(0);
    let (lea, cas) = (team.person("lea").clone(), team.person("cas").clone());
    let mut stream = lea.listens(&at("events?lasts_s=600"));
    assert!(matches!(stream.next(), Event::Seq(_)));
    let mut slow = sends_half_a_file(&cas, &team.server);

    let acknowledged: BTreeMap<u64, String> = std::thread::scope(|scope| {
        let writing: Vec<_> = (0..WRITERS)
            .map(|number| {
                let handle =
                    PEOPLE.iter().filter(|handle| **handle != "ivo").nth(number % 5).unwrap();
                // A connection of their own, which they keep.
                let person = team.person(handle).speaking_to(&team.server);
                let answered = &answered;
                scope.spawn(move || writes(&person, &format!("writer {number}"), answered))
            })
            .collect();
        while answered.load(Ordering::Relaxed) < 200 {
            std::thread::sleep(Duration::from_millis(1));
        }
        team.server.is_asked_to_end();
        writing.into_iter().flat_map(|writer| writer.join().unwrap()).collect()
    });
    // Whoever only listened is told that it is over, and what was sent in part is answered before the connection is cut.
    while let Event::Seq(_) = stream.next() {}
    let mut told = String::new();
    slow.set_read_timeout(Some(LONGEST)).unwrap();
    slow.read_to_string(&mut told).unwrap();
    assert!(told.starts_with("HTTP/1.1 503 "), "{told}");
    assert!(told.contains("The server ended before this was answered"), "{told}");
    assert!(told.to_lowercase().contains("connection: close"), "{told}");
    let host = team.server.base.strip_prefix("http://").unwrap();
    assert!(TcpStream::connect(host).is_err(), "nobody new is let in");
    team.server.ends_within(LONGEST);

    let team = team.killed_and_started_again();
    let mut kept = BTreeMap::new();
    let mut next = Some(at("ledger/records?limit=500"));
    while let Some(path) = next {
        let page = team.person("ivo").get(&path).has_status(200).json();
        for record in page["items"].as_array().unwrap() {
            if let Some(remarks) = record["entry"]["body"]["weather"]["remarks"].as_str() {
                kept.insert(record["seq"].as_u64().unwrap(), remarks.to_owned());
            }
        }
        next = page["next"].as_str().map(str::to_owned);
    }
    assert!(acknowledged.len() >= 200, "{}", acknowledged.len());
    let lost: BTreeSet<_> =
        acknowledged.iter().filter(|(seq, remarks)| kept.get(seq) != Some(remarks)).collect();
    assert!(lost.is_empty(), "acknowledged and not kept: {lost:?}");
    let unanswered: BTreeSet<_> =
        kept.keys().filter(|seq| !acknowledged.contains_key(seq)).collect();
    assert!(unanswered.is_empty(), "kept and not acknowledged: {unanswered:?}");
}

#[test]
fn a_program_with_idle_connections_ends_soon() {
    let mut team = Team::new();
    // Each person's client has kept its connection since signing in.
    for handle in PEOPLE {
        team.person(handle).get(&at("ledger")).has_status(200);
    }
    team.server.is_asked_to_end();
    team.server.ends_within(Duration::from_secs(8));
}

#[test]
fn whoever_was_answered_can_tell_the_program_to_end_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    Server::begin(&data);
    for _ in 0..8 {
        let mut server = Server::serve(&data);
        server.stranger().get("/api/v1/health/live").has_status(200);
        server.ends_when_asked();
    }
}
