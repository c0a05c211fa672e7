//! A disk that does not keep what it was given, and one that is full. The calls of the running program are made to fail by
//! `strace`; where that is not installed or may not look into other processes, these tests say so and end.

use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::json;

use crate::harness::{Client, PROGRAMME, Server, Team, remarks, verifies};

/// Makes calls of a program fail while it lives.
struct Failing(Child);

impl Failing {
    /// None where this machine does not allow it.
    fn begin(server: &Server, calls: &str, error: &str) -> Option<Self> {
        let log = tempfile::NamedTempFile::new().expect("a temporary file can be made");
        let started = Command::new("strace")
            .args(["-f", "-o"])
            .arg(log.path())
            .args(["-p", &server.process().to_string(), "-e", &format!("trace={calls}")])
            .args(["-e", &format!("inject={calls}:error={error}")])
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn();
        let Ok(mut child) = started else {
            eprintln!("strace is not installed: nothing was tried");
            return None;
        };
        // It says on its standard error that it is attached, or why not.
        let mut said = std::io::BufReader::new(child.stderr.take().expect("it is piped"));
        let mut line = String::new();
        let _ = std::io::BufRead::read_line(&mut said, &mut line);
        if !line.contains("attached") {
            eprintln!(
                "strace cannot look into the program here ({}): nothing was tried",
                line.trim()
            );
            let _ = child.kill();
            let _ = child.wait();
            return None;
        }
        std::thread::spawn(move || std::io::copy(&mut said, &mut std::io::sink()));
        Some(Self(child))
    }

    /// Lets the program go on as if nothing had been.
    fn end(mut self) {
        // Asked to end, it lets go of the program; killed, it would take it along.
        let asked = Command::new("kill").args(["-INT", &self.0.id().to_string()]).status();
        assert!(asked.is_ok_and(|status| status.success()), "strace can be asked to end");
        let _ = self.0.wait();
    }
}

/// Records one observation; gives the status, and the record's number where there is one.
fn observes(who: &Client, remark: &str) -> (u16, Option<u64>) {
    let body = json!({ "weather": { "remarks": remark } }).to_string();
    let path = format!("{PROGRAMME}/weather");
    let answer = who.try_send("POST", &path, Some(("application/json", body)));
    let answer = answer.expect("the program answers, whatever the disk does");
    let seq = (answer.status == 201).then(|| answer.json()["records"][0]["seq"].as_u64());
    (answer.status, seq.flatten())
}

#[test]
fn after_a_disk_failed_to_keep_something_nothing_more_is_acknowledged_and_what_was_stands() {
    let team = Team::new();
    let cas = team.person("cas");
    let (mut acknowledged, mut refused) = (Vec::new(), Vec::new());
    for count in 0..5 {
        let remark = format!("before, {count}");
        let (status, seq) = observes(cas, &remark);
        assert_eq!(status, 201);
        acknowledged.push((seq.unwrap(), remark));
    }
    let Some(failing) = Failing::begin(&team.server, "fsync,fdatasync", "EIO") else { return };
    std::thread::scope(|scope| {
        let writers: Vec<_> = ["cas", "eve", "lea", "pip"]
            .into_iter()
            .map(|name| {
                let who = team.person(name);
                scope.spawn(move || {
                    let each = (0..6).map(|count| {
                        let remark = format!("{name}, {count}");
                        (observes(who, &remark), remark)
                    });
                    each.collect::<Vec<_>>()
                })
            })
            .collect();
        for ((status, seq), remark) in writers.into_iter().flat_map(|it| it.join().unwrap()) {
            assert!(status == 503 && seq.is_none(), "{remark}: {status}");
            refused.push(remark);
        }
    });
    let anyone = team.server.stranger();
    anyone.get("/api/v1/health/ready").has_status(503);
    anyone.get("/api/v1/health/live").has_status(200);
    let seen = remarks(cas);
    assert!(refused.iter().all(|remark| !seen.values().any(|it| it == remark)), "none is shown");
    failing.end();
    let (status, _) = observes(cas, "the disk works again");
    assert_eq!(status, 503, "what the kernel dropped meanwhile is not known: only a start knows");

    let team = team.killed_and_started_again();
    let after = remarks(team.person("ivo"));
    for (seq, remark) in &acknowledged {
        assert_eq!(after.get(seq), Some(remark), "record {seq} was acknowledged");
    }
    let (status, _) = observes(team.person("cas"), "after the start");
    assert_eq!(status, 201);
    verifies(&team.server.data);
}

#[test]
fn a_full_disk_is_told_as_such_reading_goes_on_and_writing_too_once_there_is_space() {
    let team = Team::new();
    let cas = team.person("cas");
    assert_eq!(observes(cas, "before").0, 201);
    let Some(failing) = Failing::begin(&team.server, "pwrite64,fallocate,ftruncate", "ENOSPC")
    else {
        return;
    };
    for count in 0..3 {
        let remark = format!("refused, {count}");
        let body = json!({ "weather": { "remarks": remark } });
        cas.post(&format!("{PROGRAMME}/weather"), body).has_problem(507, "disk-full");
        assert!(!remarks(cas).values().any(|it| *it == remark), "it is not shown");
    }
    failing.end();
    let began = Instant::now();
    while observes(cas, "after").0 != 201 {
        assert!(began.elapsed() < Duration::from_secs(20), "writing does not go on");
        std::thread::sleep(Duration::from_millis(50));
    }
    let team = team.killed_and_started_again();
    let kept: Vec<String> = remarks(team.person("ivo")).into_values().collect();
    let told = |what: &str| kept.iter().filter(|it| *it == what).count();
    assert_eq!((told("before"), told("after")), (1, 1));
    assert!(!kept.iter().any(|it| it.starts_with("refused")), "{kept:?}");
    verifies(&team.server.data);
}
