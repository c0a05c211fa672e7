//! A PostgreSQL database to which connections are cut, and one that is away: what is known can be read, nobody is told that
//! something is kept which is not, and work goes on by itself once the database is back. Without `RUNGBOOK_TEST_POSTGRES` these
//! stories say so and end.

use std::collections::BTreeMap;
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use serde_json::json;

use crate::harness::{
    Chance, Client, Server, Team, at, postgres_or_say_why_not, remarks, verifies,
};

/// How often connections are cut while people write.
const CUTS: u64 = 8;

/// How long a server may take to find a database that is back: the longest pause between two tries, and a busy machine.
const BACK_WITHIN: Duration = Duration::from_secs(20);

/// The way to a database, which can be cut.
struct Line {
    address: String,
    open: Arc<AtomicBool>,
    connections: Arc<Mutex<Vec<TcpStream>>>,
}

impl Line {
    /// The way to the server of a URL.
    fn to(url: &str) -> Self {
        let (_, after) = url.split_once('@').expect("a URL with a user");
        let (server, _) = after.split_once('/').expect("a URL with a database");
        let (server, listener) = (server.to_owned(), TcpListener::bind("127.0.0.1:0").unwrap());
        let address = listener.local_addr().unwrap().to_string();
        let (open, connections) = (Arc::new(AtomicBool::new(true)), Arc::default());
        let line = Self { address, open: Arc::clone(&open), connections: Arc::clone(&connections) };
        std::thread::spawn(move || {
            for client in listener.incoming().flatten() {
                if !open.load(Ordering::SeqCst) {
                    continue;
                }
                let Ok(database) = TcpStream::connect(&server) else { continue };
                let both = [(&client, &database), (&database, &client)];
                for (from, to) in both.map(|(from, to)| (from.try_clone(), to.try_clone())) {
                    let (Ok(mut from), Ok(mut to)) = (from, to) else { continue };
                    std::thread::spawn(move || {
                        let _ = std::io::copy(&mut from, &mut to);
                        let _ = to.shutdown(Shutdown::Both);
                    });
                }
                connections.lock().unwrap().extend([client, database]);
            }
        });
        line
    }

    /// Cuts every connection; new ones can be made.
    fn cut(&self) {
        for connection in self.connections.lock().unwrap().drain(..) {
            let _ = connection.shutdown(Shutdown::Both);
        }
    }

    fn away(&self) {
        self.open.store(false, Ordering::SeqCst);
        self.cut();
    }

    fn back(&self) {
        self.open.store(true, Ordering::SeqCst);
    }
}

/// A team whose server reaches its database by such a line.
fn team_by_line() -> Option<(Team, Server, Line)> {
    let postgres = postgres_or_say_why_not()?;
    let mut team = Team::new();
    team.server.ends_when_asked();
    let line = Line::to(&postgres);
    let (before, after) = postgres.split_once('@').unwrap();
    let by_line = format!("{before}@{}/{}", line.address, after.split_once('/').unwrap().1);
    let server = Server::serve_from(&team.server.data, &by_line);
    Some((team, server, line))
}

fn observes(person: &Client, remark: &str) -> u16 {
    let body = json!({ "weather": { "remarks": remark } }).to_string();
    let answer = person.try_send("POST", &at("weather"), Some(("application/json", body)));
    answer.expect("the program answers, whatever the database does").status
}

#[test]
fn while_the_database_is_away_reading_goes_on_and_nothing_is_said_to_be_kept() {
    let Some((team, server, line)) = team_by_line() else { return };
    let cas = team.person("cas").speaking_to(&server);
    assert_eq!(observes(&cas, "before"), 201);
    line.away();
    let began = Instant::now();
    assert_eq!(observes(&cas, "meanwhile"), 503);
    println!("refused after {:?}", began.elapsed());
    server.stranger().get("/api/v1/health/live").has_status(200);
    server.stranger().get("/api/v1/health/ready").has_problem(503, "not-writing");
    cas.get(&at("points/GR-01")).has_status(200);
    cas.get(&at("next")).has_status(200);
    line.back();
    let began = Instant::now();
    while server.stranger().get("/api/v1/health/ready").status != 200 {
        assert!(began.elapsed() < BACK_WITHIN, "not ready {BACK_WITHIN:?} after it was back");
        std::thread::sleep(Duration::from_millis(50));
    }
    assert_eq!(observes(&cas, "after"), 201);
    let kept: Vec<String> = remarks(&cas).into_values().collect();
    assert_eq!(kept, ["before", "after"]);
    verifies(&team.server.data);
}

/// Sends until it is done, each time under the same key; gives the record's number.
fn done_once(person: &Client, remark: &str) -> u64 {
    let keyed = person.with("idempotency-key", remark);
    let body = json!({ "weather": { "remarks": remark } }).to_string();
    loop {
        let sent = ("application/json", body.clone());
        let answer = keyed.try_send("POST", &at("weather"), Some(sent)).expect("an answer");
        match answer.status {
            201 => return answer.json()["records"][0]["seq"].as_u64().unwrap(),
            503 => std::thread::sleep(Duration::from_millis(20)),
            _ => panic!("{}", answer.text),
        }
    }
}

#[test]
fn what_is_sent_again_under_its_key_while_connections_are_cut_is_done_once() {
    let Some((team, server, line)) = team_by_line() else { return };
    let mut chance = Chance::new("a database whose connections are cut");
    let (begun, over) = (AtomicU64::new(0), AtomicBool::new(false));
    let mut done = BTreeMap::new();
    std::thread::scope(|scope| {
        let writers: Vec<_> = ["cas", "eve", "lea", "pip"]
            .map(|handle| {
                let person = team.person(handle).speaking_to(&server);
                let (begun, over) = (&begun, &over);
                scope.spawn(move || {
                    let mut done = Vec::new();
                    while !over.load(Ordering::Relaxed) {
                        let remark = format!("cut-{}", begun.fetch_add(1, Ordering::Relaxed));
                        done.push((done_once(&person, &remark), remark));
                    }
                    done
                })
            })
            .into();
        for _ in 0..CUTS {
            // Longer than it takes to find the database again, so that something is done in between.
            std::thread::sleep(Duration::from_millis(1000 + chance.below(1500)));
            line.cut();
        }
        over.store(true, Ordering::Relaxed);
        for writer in writers {
            done.extend(writer.join().unwrap());
        }
    });
    let ivo = team.person("ivo").speaking_to(&server);
    assert_eq!(remarks(&ivo), done, "each once, under the number that was told");
    println!("{} observations through {CUTS} cuts", done.len());
    assert!(done.len() > 50, "hardly anything was done");
    verifies(&team.server.data);
}
