//! A network that loses requests and replies: whoever sends again under the same key has done it once.

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use serde_json::json;

use crate::harness::{Chance, Client, PROGRAMME, Team, remarks};

/// How many things are done, each by as many requests as it takes.
const POSTS: u64 = 5000;

/// What becomes of a request that comes by.
#[derive(Clone, Copy)]
enum Fate {
    /// It never arrives.
    Lost,
    /// It arrives, and nothing of the reply comes back.
    ReplyLost,
    /// It arrives, and half of the reply comes back.
    ReplyTorn,
    Whole,
}

/// One message of HTTP with its body, by its length or until the other side is done; none where none came.
fn message(from: &mut TcpStream) -> Option<Vec<u8>> {
    let (mut bytes, mut some) = (Vec::new(), [0; 16 * 1024]);
    loop {
        let head = bytes.windows(4).position(|four| four == b"\r\n\r\n").map(|at| at + 4);
        if let Some(head) = head {
            let text = String::from_utf8_lossy(&bytes[..head]).to_lowercase();
            let length = text.lines().find_map(|line| line.strip_prefix("content-length:"));
            let length: usize = length.and_then(|it| it.trim().parse().ok()).unwrap_or(0);
            if bytes.len() >= head + length {
                return Some(bytes);
            }
        }
        match from.read(&mut some) {
            Ok(0) | Err(_) => return None,
            Ok(read) => bytes.extend_from_slice(&some[..read]),
        }
    }
}

/// Passes on one request and its reply, as its fate has it.
fn passes(mut client: TcpStream, service: &str, fate: Fate) -> Option<()> {
    let request = message(&mut client)?;
    if matches!(fate, Fate::Lost) {
        return None;
    }
    let mut server = TcpStream::connect(service).ok()?;
    server.write_all(&request).ok()?;
    let reply = message(&mut server)?;
    let part = match fate {
        Fate::Lost | Fate::ReplyLost => 0,
        Fate::ReplyTorn => reply.len() / 2,
        Fate::Whole => reply.len(),
    };
    client.write_all(&reply[..part]).ok()
}

/// Sends until an answer comes whole; gives it with how often it was sent.
fn done_once(through: &Client, remark: &str) -> (u64, u64) {
    let body = json!({ "weather": { "remarks": remark } }).to_string();
    let path = format!("{PROGRAMME}/weather");
    let keyed = through.with("idempotency-key", remark);
    for times in 1..1000 {
        let Ok(answer) = keyed.try_send("POST", &path, Some(("application/json", body.clone())))
        else {
            continue;
        };
        let told = answer.has_status(201).json();
        return (told["records"][0]["seq"].as_u64().unwrap(), times);
    }
    panic!("{remark} was never answered");
}

#[test]
fn of_five_thousand_posts_through_a_network_that_cuts_each_has_exactly_one_effect() {
    let team = Team::new();
    let service = team.server.base.trim_start_matches("http://").to_owned();
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = listener.local_addr().expect("an address");
    let chance = Mutex::new(Chance::new("a network that cuts"));
    let (over, done) = (AtomicBool::new(false), AtomicU64::new(0));
    let numbers = Mutex::new(BTreeMap::new());
    let sent = AtomicU64::new(0);
    std::thread::scope(|scope| {
        let (service, chance, over, listener) = (&service, &chance, &over, &listener);
        scope.spawn(move || {
            for client in listener.incoming().filter_map(Result::ok) {
                if over.load(Ordering::Relaxed) {
                    break;
                }
                let fate = match chance.lock().unwrap().below(5) {
                    0 => Fate::Lost,
                    1 => Fate::ReplyLost,
                    2 => Fate::ReplyTorn,
                    _ => Fate::Whole,
                };
                scope.spawn(move || passes(client, service, fate));
            }
        });
        let senders: Vec<_> = ["cas", "eve", "lea", "pip", "sam"]
            .into_iter()
            .map(|name| {
                let through = team.person(name).speaking_at(&format!("http://{address}"));
                let through = through.with("connection", "close");
                let (done, numbers, sent) = (&done, &numbers, &sent);
                scope.spawn(move || {
                    while let number @ 0..POSTS = done.fetch_add(1, Ordering::Relaxed) {
                        let remark = format!("observation-{number}");
                        let (seq, times) = done_once(&through, &remark);
                        sent.fetch_add(times, Ordering::Relaxed);
                        assert_eq!(numbers.lock().unwrap().insert(seq, remark), None, "{seq}");
                    }
                })
            })
            .collect();
        let ended: Vec<_> = senders.into_iter().map(std::thread::ScopedJoinHandle::join).collect();
        over.store(true, Ordering::Relaxed);
        let _ = TcpStream::connect(address);
        assert!(ended.iter().all(Result::is_ok), "every sender had its answers");
    });
    let sent = sent.into_inner();
    assert!(sent > POSTS * 3 / 2, "{sent} requests for {POSTS} posts: the network cut too little");

    let numbers = numbers.into_inner().unwrap();
    assert_eq!(numbers.len() as u64, POSTS);
    let seen = remarks(team.person("ivo"));
    assert_eq!(seen, numbers, "each is on record once, under the number that its sender was told");
}
