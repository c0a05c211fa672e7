//! What is sent to harm: the program stays small, answers others meanwhile, and tells each what is wrong with it.

use std::io::{Cursor, Write};
use std::net::TcpStream;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::harness::{Client, PROGRAMME, Server, Team};

/// What the program may have in memory at most, at any moment of all this.
const MOST_MEMORY_MB: u64 = 300;

/// Longer than this nobody waits to hear that the program lives. What a quiet machine does in milliseconds, a busy one does in this.
const LIVES_WITHIN: Duration = Duration::from_secs(2);

/// Megabytes of memory that a program had at its most.
fn most_memory_mb(server: &Server) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", server.process())).unwrap();
    let most = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
    most.trim().trim_end_matches(" kB").trim().parse::<u64>().unwrap() / 1024
}

/// A workbook of a megabyte that unfolds to a gigabyte.
fn bomb() -> Vec<u8> {
    let mut file = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let deflated = zip::write::SimpleFileOptions::default()
        .compression_method(zip::CompressionMethod::Deflated);
    file.start_file("xl/worksheets/sheet1.xml", deflated).unwrap();
    let nothing = vec![0; 1 << 20];
    (0..1024).for_each(|_| file.write_all(&nothing).unwrap());
    file.finish().unwrap().into_inner()
}

fn sends(who: &Client, path: &str, kind: &str, body: &[u8]) -> (u16, String) {
    let sent = who.try_send_bytes("POST", &format!("{PROGRAMME}/{path}"), kind, body);
    let answer = sent.expect("the program answers");
    (answer.status, answer.text)
}

/// Somebody who sends a byte of a form now and then, for as long as it goes on.
fn dawdles(service: &str, over: &AtomicBool) {
    let Ok(mut stream) = TcpStream::connect(service) else { return };
    let head = format!(
        "POST {PROGRAMME}/snags HTTP/1.1\r\nhost: {service}\r\ncontent-type: application/json\r\ncontent-length: 100000\r\n\r\n"
    );
    if stream.write_all(head.as_bytes()).is_err() {
        return;
    }
    while !over.load(Ordering::Relaxed) && stream.write_all(b" ").is_ok() {
        std::thread::sleep(Duration::from_millis(200));
    }
}

#[test]
fn bombs_slow_senders_deep_and_huge_bodies_leave_the_program_small_and_alive() {
    let team = Team::new();
    let (lead, keeper) = (team.person("lea"), team.server.stranger());
    let service = team.server.base.trim_start_matches("http://").to_owned();
    let over = AtomicBool::new(false);
    let (mut slowest, mut told) = (Duration::ZERO, Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..200 {
            scope.spawn(|| dawdles(&service, &over));
        }
        let attacks = scope.spawn(|| {
            let xlsx = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";
            let json = "application/json";
            let toml = "application/toml";
            let deep = "[".repeat(250_000);
            let heading = lead.get(&format!("{PROGRAMME}/points-table")).has_status(200).text;
            let heading = heading.lines().next().unwrap().to_owned();
            let column = |name: &str| heading.split(',').position(|it| it == name).unwrap();
            let (code, after) = (column("code"), column("after_points"));
            // Each point waits for the one before it: 100,000 of them.
            let mut chain = format!("{heading}\n");
            for at in 1..=100_000 {
                let mut cells = vec![String::new(); heading.split(',').count()];
                cells[code] = format!("P-{at}");
                cells[after] = format!("P-{}", at - 1);
                chain += &cells.join(",");
                chain.push('\n');
            }
            let huge = "1;2;3\n".repeat(8 << 20);
            [
                (422, "points-table", xlsx, bomb()),
                (400, "snags", json, deep.clone().into_bytes()),
                (422, "document", toml, format!("a = {}", "[".repeat((8 << 20) - 10)).into_bytes()),
                (
                    422,
                    "document",
                    toml,
                    format!("{}a = 1", "a.".repeat((4 << 20) - 10)).into_bytes(),
                ),
                (422, "document", toml, format!("{}a = 1", "a.".repeat(699_990)).into_bytes()),
                (422, "document", toml, format!("a = {}", "[".repeat(699_990)).into_bytes()),
                (422, "points-table", "text/csv", chain.into_bytes()),
                (413, "points-table", "text/csv", huge.clone().into_bytes()),
                (413, "recorder-files/look", "text/csv", huge.into_bytes()),
            ]
            .map(|(wanted, path, kind, body)| (wanted, path, sends(lead, path, kind, &body)))
        });
        while !attacks.is_finished() {
            let began = Instant::now();
            keeper.get("/api/v1/health/live").has_status(200);
            slowest = slowest.max(began.elapsed());
            std::thread::sleep(Duration::from_millis(20));
        }
        over.store(true, Ordering::Relaxed);
        told = attacks.join().unwrap().to_vec();
    });
    for (wanted, path, (status, text)) in &told {
        assert_eq!(status, wanted, "{path}: {text}");
        assert!(text.contains("\"code\""), "{path} tells a problem: {text}");
    }
    let most = most_memory_mb(&team.server);
    eprintln!("at most {most} MB of memory; the slowest sign of life took {slowest:?}");
    assert!(most < MOST_MEMORY_MB, "{most} MB");
    assert!(slowest < LIVES_WITHIN, "{slowest:?}");
    lead.get(&format!("{PROGRAMME}/points")).has_status(200);
}
