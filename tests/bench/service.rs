//! How fast the running service answers and writes, each beside something to hold it against in the same run.
//!
//!     cargo bench --bench service
//!
//! Prints one JSON object a line. Rounds alternate between the service and a bare actix handler that sends the same bytes
//! from a process of its own, so that both meet the same machine; medians over the rounds.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs)]

mod load;

use std::process::{Child, Command, Stdio};
use std::time::Duration;

use load::Target;
use serde_json::{Value, json};

#[path = "../harness/mod.rs"]
mod harness;

use harness::{PROGRAMME, Server, Team};

const ROUNDS: usize = 7;
const ROUND: Duration = Duration::from_millis(1500);
const READERS: usize = 8;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if let Some(place) = arguments.iter().position(|argument| argument == "--bare") {
        return bare(std::path::Path::new(&arguments[place + 1]));
    }
    reading();
    writing();
    signing_in();
    memory();
}

/// Sends the same bytes to whoever asks, and does nothing else.
fn bare(bytes: &std::path::Path) {
    use actix_web::{App, HttpResponse, HttpServer, web};
    let body = web::Bytes::from(std::fs::read(bytes).unwrap());
    actix_web::rt::System::new().block_on(async move {
        let server = HttpServer::new(move || {
            let body = body.clone();
            App::new().default_service(web::to(move || {
                let body = body.clone();
                async move { HttpResponse::Ok().content_type("application/json").body(body) }
            }))
        })
        .workers(std::thread::available_parallelism().map_or(2, usize::from))
        .bind("127.0.0.1:0")
        .unwrap();
        println!("http://{}", server.addrs()[0]);
        server.run().await.unwrap();
    });
}

struct Bare {
    child: Child,
    address: String,
    _file: tempfile::NamedTempFile,
}

impl Bare {
    fn sending(bytes: &str) -> Self {
        use std::io::{BufRead, BufReader, Write};
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(bytes.as_bytes()).unwrap();
        let mut child = Command::new(std::env::current_exe().unwrap())
            .arg("--bare")
            .arg(file.path())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line.trim().trim_start_matches("http://").to_owned();
        Self { child, address, _file: file }
    }
}

impl Drop for Bare {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn told(what: &str, figures: Value) {
    println!("{}", json!({ "what": what, "figures": figures }));
}

fn reading() {
    let server = Server::demonstration();
    let lead = server.sign_in_to_demonstration("marit");
    let programme = lead.get("/api/v1/programmes").has_status(200).json()["items"][0]["id"]
        .as_str()
        .unwrap()
        .to_owned();
    let list = format!("/api/v1/programmes/{programme}/points?limit=50");
    let page = lead.get(&list).has_status(200);
    let code = page.json()["items"][20]["code"].as_str().unwrap().to_owned();
    let one = format!("/api/v1/programmes/{programme}/points/{code}");
    let point = lead.get(&one).has_status(200);
    for (what, path, bytes) in [("a point", one, point.text), ("fifty points", list, page.text)] {
        let bare = Bare::sending(&bytes);
        let service = Target::get(&server.base, &path, lead.token.as_deref());
        let other = Target::get(&bare.address, &path, lead.token.as_deref());
        let mut rates = (Vec::new(), Vec::new());
        for _ in 0..ROUNDS {
            rates.0.push(service.rate(READERS, ROUND));
            rates.1.push(other.rate(READERS, ROUND));
        }
        let (ours, theirs) = (median(rates.0), median(rates.1));
        told(
            &format!("reading {what}, signed in, beside a bare handler with the same bytes"),
            json!({ "bytes": bytes.len(), "per_s": ours.round(), "bare_per_s": theirs.round(), "ratio": ours / theirs }),
        );
    }
}

fn writing() {
    let team = Team::new();
    let crew = team.person("cas");
    let body = json!({ "weather": { "remarks": "a durable write" } }).to_string();
    let path = format!("{PROGRAMME}/weather");
    let target = Target::post(&team.server.base, &path, crew.token.as_deref(), &body);
    let mut rates = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        rates.0.push(target.rate(1, ROUND));
        rates.1.push(target.rate(64, ROUND));
    }
    let (one, many) = (median(rates.0), median(rates.1));
    told(
        "durable writes, one client and 64",
        json!({ "one_per_s": one.round(), "sixty_four_per_s": many.round(), "ratio": many / one }),
    );
}

/// How long it takes to be refused, for who is there and who is not: the same work, so that nobody learns handles by it.
fn signing_in() {
    let team = Team::served_with(&["--behind-proxy"]);
    let mut took = (Vec::new(), Vec::new());
    for round in 0..60 {
        // From another address each time, so that nobody is made to wait.
        let anyone = team.server.stranger().with("x-forwarded-for", &format!("192.0.2.{round}"));
        let refused = |handle: &str| {
            let began = std::time::Instant::now();
            let body = json!({ "handle": handle, "password": "a guess that is wrong" });
            anyone.post("/api/v1/sessions", body).has_status(401);
            began.elapsed().as_secs_f64() * 1e3
        };
        took.0.push(refused("lea"));
        took.1.push(refused(&format!("nobody-{round}")));
    }
    let spread = |values: &[f64]| {
        let middle = median(values.to_vec());
        median(values.iter().map(|value| (value - middle).abs()).collect())
    };
    told(
        "being refused with a wrong password and with a handle that nobody has",
        json!({
            "known_ms": median(took.0.clone()), "known_deviation_ms": spread(&took.0),
            "unknown_ms": median(took.1.clone()), "unknown_deviation_ms": spread(&took.1),
        }),
    );
}

/// Right after the first sign-in, and after every point was read once over some seconds: what the start and the password hash
/// needed is given back meanwhile.
fn memory() {
    let server = Server::demonstration();
    let lead = server.sign_in_to_demonstration("marit");
    let resident_mb = || {
        let status = std::fs::read_to_string(format!("/proc/{}/status", server.process())).unwrap();
        let resident = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
        resident.trim().trim_end_matches(" kB").parse::<f64>().unwrap() / 1024.0
    };
    let at_first = resident_mb();
    let points = lead.get("/api/v1/programmes/tallow/points?limit=500").has_status(200).json();
    for point in points["items"].as_array().unwrap() {
        let code = point["code"].as_str().unwrap();
        lead.get(&format!("/api/v1/programmes/tallow/points/{code}")).has_status(200);
        std::thread::sleep(Duration::from_millis(50));
    }
    told(
        "memory with the demonstration",
        json!({ "at_first_mb": at_first, "after_every_point_was_read_mb": resident_mb() }),
    );
}
