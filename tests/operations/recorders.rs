//! Recorders: the files that they write, and which column is which channel.

use serde_json::json;

use super::Story;
use crate::harness::at;

pub(super) const SHOWN: &[&str] =
    &["recorders_list", "recorders_read", "recorders_describe", "recorder_files_look"];

#[test]
fn an_engineer_says_which_column_of_a_recorders_files_is_which_channel() {
    let story = Story::begins();
    let [_, eve, ivo, ..] = story.people();

    let logger = at("recorders/seat");
    let mut recorder = json!({
        "code": "seat", "title": "Logger on the seat",
        "file": { "format": "csv", "time": { "column": "t", "form": "seconds-since-start" } },
        "columns": [{ "column": "winding", "channel": "none", "unit": "degC" }],
    });
    let problem = eve.change(&logger, recorder.clone()).has_problem(422, "invalid").json();
    assert_eq!(problem["faults"][0]["field"], "columns[0].channel");
    recorder["columns"][0]["channel"] = json!("motor_temp");
    recorder["columns"][0]["unit"] = json!("V");
    let problem = eve.change(&logger, recorder.clone()).has_problem(422, "invalid").json();
    assert_eq!(problem["faults"][0]["field"], "columns[0].unit");
    recorder["columns"][0]["unit"] = json!("K");
    let described = eve.change(&logger, recorder.clone()).has_status(201);
    assert_eq!(described.header("location"), Some(logger.as_str()));
    assert_eq!(described.json()["records"][0]["kind"], "recorder-described");
    eve.change(&logger, recorder.clone()).has_problem(409, "nothing-changes");
    recorder["title"] = json!("Logger behind the seat");
    eve.change(&at("recorders/logger"), recorder.clone()).has_problem(422, "invalid");
    eve.change(&logger, recorder.clone()).has_status(200);

    assert_eq!(ivo.get(&logger).has_status(200).json(), recorder);
    ivo.get(&at("recorders/none")).has_problem(404, "not-found");
    let all = ivo.get(&at("recorders")).has_status(200).json();
    assert_eq!((&all["items"][0]["code"], &all["items"][1]), (&json!("logger"), &recorder));
    ivo.get(&at("recorders?limit=0")).has_problem(400, "bad-query");

    looks_at_an_unknown_file(&story);

    story.has_shown(SHOWN);
}

/// What is offered of an unknown file becomes a recorder once a person has filled the gaps.
fn looks_at_an_unknown_file(story: &Story) {
    let [_, eve, ivo, ..] = story.people();
    let look = |query: &str, text: &str| {
        let path = at(&format!("recorder-files/look{query}"));
        ivo.send("POST", &path, Some(("text/csv", text.to_owned())))
    };
    let file = "Logger 3\nZeit;Motor temp [°F];n\n2026-05-02T09:04:40,0Z;105,8;3\n2026-05-02T09:04:41,0Z;107,6;4\n2026-05";
    let seen = look("", file).has_status(200).json();
    assert_eq!((&seen["delimiter"], &seen["decimal"]), (&json!(";"), &json!(",")));
    assert_eq!((&seen["header_line"], &seen["unit_row"]), (&json!(2), &json!(false)));
    assert_eq!(seen["time"][0]["form"], "iso8601");
    assert_eq!(seen["time"][0]["first_row"], "2026-05-02T09:04:40Z");
    assert_eq!(seen["columns"][1]["may_be"][0]["channel"], "motor_temp", "{seen:#}");
    let mut draft = seen["recorder"].clone();
    assert_eq!(draft["columns"][0]["unit"], "degF");
    eve.change(&at("recorders/fahrenheit"), draft.clone()).has_problem(422, "invalid");
    draft["code"] = json!("fahrenheit");
    draft["title"] = json!("Logger in degrees Fahrenheit");
    eve.change(&at("recorders/fahrenheit"), draft).has_status(201);

    // Through the eyes of a recorder that does not fit.
    let seen = look("?recorder=logger&header_line=2", file).has_status(200).json();
    assert!(seen["gaps"].to_string().contains("winding"), "{seen:#}");
    look("?recorder=none", file).has_problem(400, "bad-query");
    look("?format=candump", file).has_problem(400, "bad-query").reads("format dbc");
    look("?delimiter=ab", file).has_problem(400, "bad-query");
    look("", "nothing in it").has_problem(422, "invalid").reads("two cells");
    look("", "PK\u{3}\u{4}").has_problem(422, "invalid").reads("ZIP");
    look("?format=gpx", "no track").has_problem(422, "invalid");
    look("", &"1;2\n".repeat(3 << 20)).has_problem(413, "body-too-large").reads("beginning");
    look("", &"1;2\n".repeat(1 << 20)).has_status(200);

    // What a CAN bus carries stands in its database, from which a recorder is described before it has written anything.
    let seen = look("?format=dbc", DATABASE).has_status(200).json();
    let draft = &seen["recorder"];
    assert_eq!(draft["file"], json!({ "format": "candump", "dbc": DATABASE }));
    assert_eq!(seen["columns"][0]["column"], "Inverter.MotorTemp", "{seen:#}");
    assert_eq!(seen["columns"][0]["may_be"][0]["channel"], "motor_temp", "{seen:#}");
    let mut bus = draft.clone();
    bus["code"] = json!("bus");
    bus["title"] = json!("Frames of the bus");
    bus["columns"] =
        json!([{ "column": "Inverter.MotorTemp", "channel": "motor_temp", "unit": "degC" }]);
    eve.change(&at("recorders/bus"), bus).has_status(201);
    let frames = "(1777712680.100000) can0 101#5300\n(1777712680.200000) can0 101#5400\n";
    let seen = look("?recorder=bus", frames).has_status(200).json();
    assert_eq!(seen["columns"][0]["column"], "Inverter.MotorTemp", "{seen:#}");
    look("?format=dbc", "no database").has_problem(422, "invalid");
    look("?format=dbc", &"x".repeat(1 << 20)).has_problem(413, "body-too-large").reads("messages");
}

/// A message with one signal of sixteen bits, written for this test in the DBC format.
const DATABASE: &str = "VERSION \"\"\n\nNS_ :\n\nBS_:\n\nBU_: Inverter\n\nBO_ 257 Inverter: 2 Inverter\n SG_ MotorTemp : 0|16@1+ (1,0) [0|200] \"degC\" Vector__XXX\n";
