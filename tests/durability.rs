//! Nothing that was acknowledged is lost, whenever the program is killed.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use serde_json::json;

use crate::harness::{Client, PROGRAMME, Team, records, verifies};

/// How often the program is killed.
const KILLS: u64 = 200;

/// A program that acknowledges nothing for so long is killed all the same.
const LONGEST_LIFE: Duration = Duration::from_secs(20);

/// Writes until told to stop or until the program is gone; gives the numbers of the records that were acknowledged, each
/// with the remark it must hold.
fn write(
    writer: &Client,
    name: &str,
    stop: &AtomicBool,
    answered: &AtomicU64,
) -> Vec<(u64, String)> {
    let mut acknowledged = Vec::new();
    for count in 0.. {
        if stop.load(Ordering::Relaxed) {
            break;
        }
        let remark = format!("{name}, observation {count}");
        let body = json!({ "weather": { "remarks": remark } }).to_string();
        let path = format!("{PROGRAMME}/weather");
        let Ok(answer) = writer.try_send("POST", &path, Some(("application/json", body))) else {
            break;
        };
        let answer = answer.has_status(201).json();
        let seq = answer["records"][0]["seq"].as_u64().expect("a record has a number");
        acknowledged.push((seq, remark));
        answered.fetch_add(1, Ordering::Relaxed);
    }
    acknowledged
}

#[test]
fn every_acknowledged_record_survives_two_hundred_kills_under_writers_and_none_is_half_there() {
    let mut team = Team::new();
    let mut acknowledged = Vec::new();
    for kill in 0..KILLS {
        let (stop, answered) = (AtomicBool::new(false), AtomicU64::new(0));
        let written = std::thread::scope(|scope| {
            let writers: Vec<_> = ["cas", "eve", "lea", "pip"]
                .into_iter()
                .flat_map(|person| [(person, 1), (person, 2)])
                .map(|(person, hand)| {
                    let writer = team.person(person).clone();
                    let (stop, answered) = (&stop, &answered);
                    scope.spawn(move || {
                        write(&writer, &format!("{person} {hand}, life {kill}"), stop, answered)
                    })
                })
                .collect();
            // Another moment each time, from before the first record to well under way, however busy the machine is.
            let began = Instant::now();
            while answered.load(Ordering::Relaxed) < kill % 9 && began.elapsed() < LONGEST_LIFE {
                std::thread::sleep(Duration::from_millis(1));
            }
            std::thread::sleep(Duration::from_millis(3 + kill * 7 % 60));
            team.server.kill_now();
            stop.store(true, Ordering::Relaxed);
            writers.into_iter().flat_map(|writer| writer.join().unwrap()).collect::<Vec<_>>()
        });
        acknowledged.extend(written);
        team = team.killed_and_started_again();
    }
    assert!(acknowledged.len() > 100, "only {} records were acknowledged", acknowledged.len());

    let kept = records(team.person("ivo"));
    for (seq, remark) in &acknowledged {
        let body = kept.get(seq).unwrap_or_else(|| panic!("record {seq} was acknowledged"));
        assert_eq!(body["weather"]["remarks"], json!(remark), "record {seq} was acknowledged");
    }
    assert_eq!(
        kept.keys().copied().collect::<Vec<_>>(),
        (1..=kept.len() as u64).collect::<Vec<_>>()
    );

    verifies(&team.server.data);
}
