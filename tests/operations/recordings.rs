//! Recorder files: taken in as they come, read again, and refused where nothing can be made of them.

use std::fmt::Write as _;

use super::Story;
use crate::harness::{Answer, Client, at};

pub(super) const SHOWN: &[&str] = &[
    "recordings_list",
    "recordings_take",
    "recordings_read",
    "recordings_quality",
    "recordings_original",
];

/// Ten rows a second from 2026-05-02 08:00 UTC on.
pub fn rows(count: usize, winding: impl Fn(usize) -> String) -> String {
    let mut text = String::from("t,winding\n");
    for row in 0..count {
        let (seconds, tenths) = (row / 10, row % 10);
        let (minute, second) = (seconds / 60, seconds % 60);
        let moment = format!("2026-05-02T08:{minute:02}:{second:02}.{tenths}Z");
        let _ = writeln!(text, "{moment},{}", winding(row));
    }
    text
}

/// Sends a file of the logger.
#[track_caller]
pub fn upload(person: &Client, name: &str, text: &str) -> Answer {
    let path = at(&format!("recordings?recorder=logger&name={name}"));
    person.send("POST", &path, Some(("text/csv", text.to_owned())))
}

#[test]
fn a_recorders_file_is_kept_as_it_came_and_what_was_refused_in_it_is_told_by_line() {
    let story = Story::begins();
    let [cas, eve, ivo, ..] = story.people();
    let text = rows(600, |row| match row {
        100 => "hot".to_owned(),
        200 => "999".to_owned(),
        300..340 => String::new(),
        _ => format!("{}", 20.0 + row as f64 / 10.0),
    });

    let taken = upload(&cas, "motor.csv", &text).has_status(201);
    let place = taken.header("location").expect("a place").to_owned();
    let now = &taken.json()["now"];
    assert_eq!((&now["rows"], &now["refused_rows"]), (&600.into(), &0.into()));
    let channel = &now["channels"][0];
    assert_eq!(channel["channel"], "motor_temp");
    assert_eq!((&channel["readings"], &channel["refused"]), (&558.into(), &2.into()));
    assert_eq!((&channel["missing"], &channel["gaps"]), (&40.into(), &1.into()));
    assert_eq!(now["started"], "2026-05-02T08:00:00Z");
    upload(&eve, "again.csv", &text).has_problem(409, "recording-known").reads("motor.csv");

    let read = ivo.get(&place).has_status(200).json();
    assert_eq!((&read["recording"], &read["name"]), (&now["recording"], &now["name"]));
    assert_eq!(ivo.get(&format!("{place}/original")).has_status(200).text, text);
    let quality = ivo.get(&format!("{place}/quality")).has_status(200).json();
    let refused = quality["quality"]["refused"].as_array().expect("refused cells").clone();
    assert_eq!(refused.len(), 2, "{refused:?}");
    assert_eq!((&refused[0]["line"], &refused[0]["rule"]), (&102.into(), &"not-a-number".into()));
    assert_eq!(
        (&refused[1]["column"], &refused[1]["found"]),
        (&"winding".into(), &"999.0 degC".into())
    );
    let all = ivo.get(&at("recordings?recorder=logger")).has_status(200).json();
    assert_eq!(all["items"].as_array().map(Vec::len), Some(1));
    assert_eq!(ivo.get(&at("recordings?run=1")).json()["items"].as_array().map(Vec::len), Some(0));

    let nothing = at(&format!("recordings/{}", "0".repeat(64)));
    for rest in ["", "/quality", "/original"] {
        ivo.get(&format!("{nothing}{rest}")).has_problem(404, "not-found");
    }
    ivo.get(&at("recordings/nothing")).has_problem(404, "not-found");
    ivo.get(&at("recordings?limit=0")).has_problem(400, "bad-query");
    story.has_shown(SHOWN);
}

#[test]
fn a_file_of_which_nothing_can_be_made_is_refused_with_the_reason_and_leaves_nothing_behind() {
    let story = Story::begins();
    let [cas, ..] = story.people();
    let refused = |text: &str, code: &str| {
        let answer = upload(&cas, "x.csv", text);
        let status = if code == "compressed" { 415 } else { 422 };
        answer.has_problem(status, code)
    };
    let unreadable = "recording-unreadable";
    refused("t,other\n2026-05-02T08:00:00Z,1\n", unreadable).reads("no column winding");
    refused("t,winding\n", unreadable).reads("no row");
    refused("t,winding\nnever,1\n", unreadable);
    refused("", unreadable);
    refused("t;winding\u{0}\u{1}\u{2}", unreadable);
    refused(&"x".repeat(5_000_000), unreadable).reads("Line 1");
    refused(&format!("t,{}", "c,".repeat(1_000_000)), unreadable);
    refused("PK\u{3}\u{4}winding", "compressed");
    let packed = cas.with("content-encoding", "gzip");
    upload(&packed, "x.csv", "t,winding\n").has_problem(415, "compressed");
    cas.send("POST", &at("recordings?recorder=none&name=x"), Some(("text/csv", "t".to_owned())))
        .has_problem(404, "not-found");
    cas.send(
        "POST",
        &at("recordings?recorder=logger&name=%20"),
        Some(("text/csv", "t".to_owned())),
    )
    .has_problem(422, "invalid");
    cas.send("POST", &at("recordings?recorder=logger"), Some(("text/csv", "t".to_owned())))
        .has_problem(400, "bad-query");
    cas.send("POST", &at("recordings?recorder=logger&name=x"), Some(("image/png", "t".to_owned())))
        .has_problem(415, "unsupported-type");

    assert_eq!(cas.get(&at("recordings")).json()["items"].as_array().map(Vec::len), Some(0));
    let folder = story.team.server.data.join("recordings");
    let left: Vec<_> = std::fs::read_dir(&folder).expect("the folder of the files").collect();
    assert_eq!(left.len(), 1, "only the folder for what comes: {left:?}");
    let coming = std::fs::read_dir(folder.join("incoming")).expect("a folder");
    assert_eq!(coming.count(), 0);
}
