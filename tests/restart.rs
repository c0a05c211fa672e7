//! The ledger is the truth: a program that was killed and started again says what it said before.

use serde_json::Value;

use crate::harness::{Client, Description, Team, at};
use crate::operations::permissions::{Who, path_of, team_with_a_past, who_may};

/// Everything that can be read of the programme, without the moment at which it was looked at.
fn everything(reader: &Client) -> Vec<(String, Value)> {
    let description = Description::read(reader);
    let of_programme = description.operations().filter(|operation| {
        operation.method == "GET"
            && matches!(who_may(&operation.id), Some(Who::To(_)))
            // The one recording is of another day than the run, and a clock is held against that of another.
            && !matches!(&*operation.id, "recordings_clock_estimate" | "recordings_judged")
            // What was ordered is made of the programme and is not of it: it ends with the server.
            && !operation.id.starts_with("evidence_")
    });
    let mut all: Vec<_> = of_programme
        .map(|operation| {
            let path = path_of(operation);
            let answer = reader.get(&path).has_status(200);
            let mut said =
                serde_json::from_str(&answer.text).unwrap_or_else(|_| Value::from(answer.text));
            if let Some(fields) = said.as_object_mut() {
                fields.remove("looked_at");
            }
            (path, said)
        })
        .collect();
    for point in ["GR-01", "GR-02"] {
        let path = at(&format!("points/{point}"));
        all.push((path.clone(), reader.get(&path).has_status(200).json()));
    }
    all
}

#[track_caller]
fn are_the_same(before: &[(String, Value)], after: &[(String, Value)]) {
    assert_eq!(before.len(), after.len());
    for ((path, said), (_, says)) in before.iter().zip(after) {
        assert!(said == says, "{path} said {said:#}\nand says {says:#}");
    }
}

#[test]
fn after_a_kill_and_a_start_everything_reads_as_before_to_the_root_of_the_ledger() {
    let team = team_with_a_past();
    let before = everything(team.person("ivo"));
    assert!(before.len() > 40, "only {} places were read", before.len());
    let team = team.killed_and_started_again();
    are_the_same(&before, &everything(team.person("ivo")));
}

#[test]
fn a_program_that_is_asked_to_end_does_so_and_starts_with_the_same_state() {
    let mut team = team_with_a_past();
    let before = everything(team.person("ivo"));
    team.server.ends_when_asked();
    let team = team.killed_and_started_again();
    are_the_same(&before, &everything(team.person("ivo")));
}

#[test]
fn the_state_as_it_stood_after_the_last_record_is_the_state_as_it_stands() {
    let team: Team = team_with_a_past();
    let ivo = team.person("ivo");
    let size = ivo.get(&at("ledger")).json()["size"].clone();
    for place in
        ["runs/1", "runs/1/results/GR-01", "snags", "limits", "hours", "document", "people"]
    {
        let now = ivo.get(&at(place)).has_status(200);
        let then = ivo.get(&at(&format!("{place}?as_of={size}"))).has_status(200);
        assert_eq!(now.text, then.text, "{place}");
    }
    // And as it stood before anything was run.
    let before = ivo.get(&at("runs?as_of=20")).has_status(200).json();
    assert_eq!(before["items"], serde_json::json!([]));
}
