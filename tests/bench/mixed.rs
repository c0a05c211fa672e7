//! A field day at its worst: many phones that look again and again, some that write, and a recorder's file coming in.

use std::fmt::Write as _;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use chrono::{DateTime, SecondsFormat, TimeDelta, Utc};
use serde_json::json;

use super::harness::{Client, PROGRAMME, Server, Team};
use super::load::Target;
use super::{resident_mb, rounded, told};

const POLLERS: usize = 200;
const WRITERS: usize = 20;
const FILE_BYTES: usize = 142_000_000;
const AT_LEAST: Duration = Duration::from_secs(20);

/// Two hundred who look at what may be done next every second, twenty who write four times a second, and one file.
pub fn measure() {
    let team = Team::new();
    let file = recorder_file(FILE_BYTES);
    let over = AtomicBool::new(false);
    let process = team.server.process();
    let ended = || over.load(Ordering::Relaxed);
    let (reads, writes, most_mb, upload_s) = std::thread::scope(|scope| {
        let reads = scope.spawn(|| {
            poll(&team.server, team.person("pip")).waits_ms(POLLERS, Duration::from_secs(1), ended)
        });
        let writes = scope.spawn(|| {
            write(&team.server, team.person("cas")).waits_ms(
                WRITERS,
                Duration::from_millis(250),
                ended,
            )
        });
        let most = scope.spawn(|| {
            let mut most: f64 = 0.0;
            while !ended() {
                most = most.max(resident_mb(process));
                std::thread::sleep(Duration::from_millis(20));
            }
            most
        });
        let began = Instant::now();
        let upload_s = upload(team.person("eve"), &file);
        std::thread::sleep(AT_LEAST.saturating_sub(began.elapsed()));
        over.store(true, Ordering::Relaxed);
        (reads.join().unwrap(), writes.join().unwrap(), most.join().unwrap(), upload_s)
    });
    told(
        "200 who look every second, 20 who write every 250 ms, and a recorder's file coming in",
        json!({
            "file_mb": FILE_BYTES / 1_000_000, "file_s": rounded(upload_s),
            "reads": reads.len(), "read_p50_ms": percentile(&reads, 0.5), "read_p99_ms": percentile(&reads, 0.99),
            "writes": writes.len(), "write_p50_ms": percentile(&writes, 0.5), "write_p99_ms": percentile(&writes, 0.99),
            "most_mb": rounded(most_mb),
        }),
    );
}

/// The same readers, and twenty who write every four seconds, for a while: memory in the course of it. Who reads and writes
/// signs in anew each minute.
pub fn soak(minutes: u64) {
    let team = Team::new();
    let (mut reads, mut writes, mut each_minute_mb) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..minutes {
        let [pip, cas] = ["pip", "cas"].map(|person| team.server.sign_in(person));
        let began = Instant::now();
        let over = || began.elapsed() >= Duration::from_secs(60);
        std::thread::scope(|scope| {
            let poll = poll(&team.server, &pip);
            let write = write(&team.server, &cas);
            let some = scope.spawn(move || poll.waits_ms(POLLERS, Duration::from_secs(1), over));
            writes.extend(write.waits_ms(WRITERS, Duration::from_secs(4), over));
            reads.extend(some.join().unwrap());
        });
        each_minute_mb.push(resident_mb(team.server.process()).round());
    }
    told(
        "memory at the end of each minute under load",
        json!({
            "minutes": minutes, "each_minute_mb": each_minute_mb,
            "reads": reads.len(), "read_p99_ms": percentile(&reads, 0.99),
            "writes": writes.len(), "write_p99_ms": percentile(&writes, 0.99),
        }),
    );
}

fn bearer(of: &Client) -> String {
    format!("authorization: Bearer {}\r\n", of.token.as_deref().unwrap())
}

fn poll(server: &Server, by: &Client) -> Target {
    Target::get(&server.base, &format!("{PROGRAMME}/next"), &bearer(by))
}

fn write(server: &Server, by: &Client) -> Target {
    let body = json!({ "weather": { "remarks": "one of many" } }).to_string();
    let path = format!("{PROGRAMME}/weather");
    Target::post(&server.base, &path, &bearer(by), &body)
}

/// Sends the file and gives how many seconds it took until it was in.
fn upload(engineer: &Client, file: &[u8]) -> f64 {
    let began = Instant::now();
    let path = format!("{PROGRAMME}/recordings?recorder=logger&name=long.csv");
    engineer.try_send_bytes("POST", &path, "text/csv", file).unwrap().has_status(201);
    began.elapsed().as_secs_f64()
}

/// A hundred rows a second of the team's logger.
fn recorder_file(bytes: usize) -> Vec<u8> {
    let began: DateTime<Utc> = "2026-05-02T08:00:00Z".parse().unwrap();
    let mut text = String::with_capacity(bytes + 100);
    text.push_str("t,winding\n");
    let mut row = 0;
    while text.len() < bytes {
        let moment = began + TimeDelta::milliseconds(10 * row);
        let warm = 40.0 + (row % 3000) as f64 / 100.0;
        let moment = moment.to_rfc3339_opts(SecondsFormat::Millis, true);
        let _ = writeln!(text, "{moment},{warm}");
        row += 1;
    }
    text.into_bytes()
}

fn percentile(waits: &[f64], share: f64) -> f64 {
    let mut sorted = waits.to_vec();
    sorted.sort_by(f64::total_cmp);
    let place = ((sorted.len() as f64 * share).ceil() as usize).clamp(1, sorted.len());
    rounded(sorted[place - 1])
}
