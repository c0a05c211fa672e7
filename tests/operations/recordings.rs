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
    "recordings_plot",
    "recordings_data",
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

    plots_and_gives_out(&ivo, &place);

    let nothing = at(&format!("recordings/{}", "0".repeat(64)));
    for rest in ["", "/quality", "/original", "/plot", "/data"] {
        ivo.get(&format!("{nothing}{rest}")).has_problem(404, "not-found");
    }
    ivo.get(&at("recordings/nothing")).has_problem(404, "not-found");
    ivo.get(&at("recordings?limit=0")).has_problem(400, "bad-query");
    story.has_shown(SHOWN);
}

#[test]
fn every_cell_and_row_that_is_refused_names_its_line_column_value_and_rule() {
    let story = Story::begins();
    let [cas, eve, ivo, ..] = story.people();
    let at_second = |second: u32| format!("2026-05-02T08:00:{second:02}Z");
    let lines = [
        "t,winding".to_owned(),
        format!("{},20", at_second(1)),
        format!("{},NaN", at_second(2)),
        format!("{},inf", at_second(3)),
        format!("{},21", at_second(1)),
        format!("{},22", at_second(3)),
        format!("{};23", at_second(4)),
        format!("{},24,25", at_second(5)),
        format!("{},-41", at_second(6)),
        "2 May,26".to_owned(),
        format!("{},27", at_second(7)),
    ];
    let taken = upload(&cas, "odd.csv", &(lines.join("\n") + "\n")).has_status(201);
    let now = &taken.json()["now"];
    assert_eq!((&now["rows"], &now["refused_rows"]), (&5.into(), &5.into()), "{now:#}");
    let place = taken.header("location").expect("a place").to_owned();
    let quality = ivo.get(&format!("{place}/quality")).has_status(200).json();
    let refused = quality["quality"]["refused"].as_array().expect("refused cells").clone();
    let told: Vec<_> = refused
        .iter()
        .map(|it| {
            let text = |key: &str| it[key].as_str().unwrap_or("-").to_owned();
            (it["line"].as_u64().unwrap(), text("column"), text("found"), text("rule"))
        })
        .collect();
    let expected = [
        (3, "winding", "NaN", "not-finite"),
        (4, "winding", "inf", "not-finite"),
        (5, "-", "2026-05-02T08:00:01.000000Z", "time-backward"),
        (6, "-", "2026-05-02T08:00:03.000000Z", "time-doubled"),
        (7, "-", "2026-05-02T08:00:04Z;23", "wrong-width"),
        (8, "-", "2026-05-02T08:00:05Z,24,25", "wrong-width"),
        (9, "winding", "-41.0 degC", "below-lowest"),
        (10, "t", "2 May", "not-a-moment"),
    ];
    let expected = expected.map(|(line, column, found, rule)| {
        (line, column.to_owned(), found.to_owned(), rule.to_owned())
    });
    assert_eq!(told, expected, "{refused:#?}");

    // A recorder that says what parts its cells, and a file in which something else does.
    let mut recorder = eve.get(&at("recorders/logger")).has_status(200).json();
    recorder["file"]["delimiter"] = ",".into();
    eve.change(&at("recorders/logger"), recorder).has_status(200);
    let text = rows(10, |_| "20".to_owned()).replace(',', ";");
    upload(&cas, "semicolons.csv", &text)
        .has_problem(422, "recording-unreadable")
        .reads("t;winding");
}

/// The plot has the extremes, the gap and the limit; the data are those of the file.
fn plots_and_gives_out(reader: &Client, place: &str) {
    let ask = |what: &str| reader.get(&format!("{place}/{what}"));
    let plot = ask("plot?channel=motor_temp&points=20").has_status(200).json();
    let channel = &plot["channels"][0];
    assert_eq!((&channel["unit"], &channel["readings"]), (&"degC".into(), &558.into()));
    let points = channel["points"].as_array().expect("points");
    assert!(points.len() <= 20, "{plot:#}");
    assert_eq!(
        (&points[0]["at"], &points[0]["value"]),
        (&"2026-05-02T08:00:00Z".into(), &20.0.into())
    );
    assert_eq!(points.iter().filter(|point| point["after_gap"] == true).count(), 1, "{plot:#}");
    assert_eq!(points.last().expect("a point")["value"], 79.9);
    let limit = &channel["limits"][0];
    assert_eq!((&limit["limit"], &limit["levels"][1]["value"]), (&"L-MOTOR".into(), &120.0.into()));
    assert_eq!(limit["stretches"], 0);
    let window = "from=2026-05-02T08:00:05Z&to=2026-05-02T08:00:06%2B00:00";
    let plot = ask(&format!("plot?channel=motor_temp,motor_temp&{window}")).has_status(200).json();
    assert_eq!(plot["channels"][0]["points"].as_array().map(Vec::len), Some(11), "{plot:#}");
    assert_eq!(ask("plot").has_status(200).json()["channels"].as_array().map(Vec::len), Some(1));

    let data = ask(&format!("data?{window}&unit_row=true")).has_status(200);
    assert_eq!(data.header("content-type"), Some("text/csv; charset=utf-8"));
    let name = data.header("content-disposition").expect("a name");
    assert_eq!(name, "attachment; filename=\"motor_channels.csv\"");
    let lines: Vec<_> = data.text.lines().collect();
    assert_eq!(lines[..3], ["time,motor_temp", "UTC,degC", "2026-05-02T08:00:05.000000Z,25.0"]);
    assert_eq!(lines.len(), 13);
    let whole = ask("data?format=csv").has_status(200);
    assert_eq!(whole.text.lines().count(), 601, "also rows without a value are rows");
    let parquet = ask("data?channel=motor_temp&format=parquet").has_status(200);
    assert_eq!(parquet.header("content-type"), Some("application/vnd.apache.parquet"));
    assert!(parquet.text.starts_with("PAR1") && parquet.text.ends_with("PAR1"));

    let refused = [
        "channel=none",
        "from=noon",
        "to=2026-05-02",
        "from=2026-05-02T08:01:00Z&to=2026-05-02T08:00:00Z",
        "colour=red",
    ];
    for query in refused {
        for what in ["plot", "data"] {
            ask(&format!("{what}?{query}")).has_problem(400, "bad-query");
        }
    }
    for points in ["0", "3", "2001", "many"] {
        ask(&format!("plot?points={points}")).has_problem(400, "bad-query");
    }
    ask("plot?channel=none").has_problem(400, "bad-query").reads("it has motor_temp");
    ask("data?format=xlsx").has_problem(400, "bad-query");
    let wants_pictures = reader.with("accept", "image/png");
    wants_pictures.get(&format!("{place}/data")).has_problem(406, "not-acceptable");
    let wants_parquet = reader.with("accept", "application/vnd.apache.parquet");
    let sent = wants_parquet.get(&format!("{place}/data")).has_status(200);
    assert_eq!(sent.header("content-type"), Some("application/vnd.apache.parquet"));
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
