//! Two people act at once: one wins, and the other is told how things stand.

use serde_json::{Value, json};

use crate::harness::{Answer, Client, Team, at};

/// Lets everybody do something at the same moment.
pub fn at_once<T: Send>(acts: Vec<Box<dyn FnOnce() -> T + Send + '_>>) -> Vec<T> {
    let start = std::sync::Barrier::new(acts.len());
    std::thread::scope(|scope| {
        let acting: Vec<_> = acts
            .into_iter()
            .map(|act| {
                let start = &start;
                scope.spawn(move || {
                    start.wait();
                    act()
                })
            })
            .collect();
        acting.into_iter().map(|acting| acting.join().unwrap()).collect()
    })
}

#[test]
fn of_two_who_change_the_same_version_one_wins_and_the_other_reads_what_now_stands_there() {
    let team = Team::new();
    let path = at("points/GR-02");
    for round in 0..5 {
        let present = team.person("lea").get(&path).has_status(200);
        let change = |handle: &'static str| -> Box<dyn FnOnce() -> Answer + Send> {
            let person = team.person(handle).with("if-match", present.header("etag").unwrap());
            let mut plan = present.json()["plan"].clone();
            plan["title"] = format!("Second run, as {handle} has it in round {round}").into();
            let path = path.clone();
            Box::new(move || person.put(&path, plan))
        };
        let answers = at_once(vec![change("lea"), change("eve")]);
        let winner = answers.iter().position(|answer| answer.status == 200).expect("one wins");
        let lost = answers[1 - winner].clone().has_problem(412, "stale");
        let stands = team.person("ivo").get(&path).json();
        assert_eq!(stands["planned_by"], ["lea", "eve"][winner]);
        assert_eq!(lost.json()["present"]["plan"], stands["plan"], "the loser is shown it");
    }
}

#[test]
fn of_many_who_open_a_run_at_once_one_does_and_the_others_are_told_which_is_open() {
    let team = Team::new();
    team.clears_the_first_point();
    let crew = json!([{ "person": "pip", "role": "pilot", "on_board": true }]);
    let body = json!({ "points": ["GR-01"], "crew": crew });
    let acts = ["lea", "eve", "cas", "pip"].map(|handle| -> Box<dyn FnOnce() -> Answer + Send> {
        let (person, body) = (team.person(handle).clone(), body.clone());
        Box::new(move || person.post(&at("runs"), body))
    });
    let answers = at_once(Vec::from(acts));
    assert_eq!(answers.iter().filter(|answer| answer.status == 201).count(), 1);
    for answer in answers.into_iter().filter(|answer| answer.status != 201) {
        answer.has_problem(409, "held").names_hold("run-open").reads("Run 1 is open");
    }
    let runs = team.person("ivo").get(&at("runs")).json();
    assert_eq!(runs["items"].as_array().map(Vec::len), Some(1));
}

#[test]
fn a_stop_called_while_a_run_is_opened_is_never_lost() {
    let team = Team::new();
    team.clears_the_first_point();
    let (lea, cas): (Client, Client) = (team.person("lea").clone(), team.person("cas").clone());
    let crew = json!([{ "person": "pip", "role": "pilot", "on_board": true }]);
    let answers = at_once(vec![
        Box::new(|| lea.post(&at("runs"), json!({ "points": ["GR-01"], "crew": crew }))),
        Box::new(|| cas.post(&at("stand-down"), json!({ "reason": "Smoke." }))),
    ]);
    let called = answers[1].clone().has_status(201).json();
    let stop = called["records"][0]["seq"].as_u64().unwrap();
    // Either the run was opened before the stop, or the stop kept it from being opened.
    match answers[0].status {
        201 => assert!(answers[0].json()["records"][0]["seq"].as_u64().unwrap() < stop),
        _ => drop(answers[0].clone().has_problem(409, "held").names_hold("stand-down")),
    }
    assert!(team.person("ivo").rules_against("GR-02").contains(&"stand-down".to_owned()));
}

#[test]
fn records_of_many_who_write_at_once_follow_one_another_without_gap_and_verify() {
    let team = Team::new();
    let before = team.person("ivo").get(&at("ledger")).json()["size"].as_u64().unwrap();
    let acts =
        ["cas", "eve", "lea", "pip", "sam"].map(|handle| -> Box<dyn FnOnce() -> Vec<u64> + Send> {
            let person = team.person(handle).clone();
            Box::new(move || {
                let write = |count: u32| {
                    let remarks = format!("{handle}, {count}");
                    let body = json!({ "weather": { "remarks": remarks } });
                    let answer = person.post(&at("weather"), body).has_status(201).json();
                    answer["records"][0]["seq"].as_u64().unwrap()
                };
                (0..20).map(write).collect()
            })
        });
    let mut numbers: Vec<u64> = at_once(Vec::from(acts)).into_iter().flatten().collect();
    numbers.sort_unstable();
    assert_eq!(numbers, (before + 1..=before + 100).collect::<Vec<_>>());
    let head: Value = team.person("ivo").get(&at("ledger")).json();
    assert_eq!(head["size"], before + 100);
}
