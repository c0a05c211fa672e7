//! Programmes: begun, read, and given and taken as the document and the table that teams write.

use serde_json::json;

use super::Story;
use crate::harness::{PROGRAMME, at};

pub(super) const SHOWN: &[&str] = &[
    "programmes_list",
    "programmes_found",
    "programmes_read",
    "document_read",
    "document_import",
    "points_table_read",
    "points_table_import",
];

#[test]
fn an_administrator_begins_a_programme_with_its_first_two_people_and_stays_outside() {
    let story = Story::begins();
    let keeper = story.keeper();
    let [_, _, ivo, lea, _, sam] = story.people();
    let begin = |id: &str, lead: &str, safety: &str| {
        let body = json!({ "id": id, "title": "A glider tug", "lead": lead, "safety": safety });
        keeper.post("/api/v1/programmes", body)
    };

    let alone = begin("tug", "lea", "lea").has_problem(422, "invalid").json();
    assert_eq!(alone["faults"][0]["field"], "safety");
    let strangers = begin("tug", "nobody", "noone").has_problem(422, "invalid").json();
    assert_eq!(strangers["faults"].as_array().map(Vec::len), Some(2), "{strangers:#}");
    begin("small", "lea", "sam").has_problem(409, "programme-exists");
    begin("tug", "lea", "sam").has_status(201).reads("\"title\":\"A glider tug\"");

    let ids = |person: &crate::harness::Client| -> Vec<String> {
        let own = person.get("/api/v1/programmes").has_status(200).json();
        let items = own["items"].as_array().unwrap().iter();
        items.map(|it| it["id"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(ids(&lea), ["small", "tug"]);
    assert_eq!(ids(&ivo), ["small"]);
    assert!(ids(&keeper).is_empty());
    ivo.get("/api/v1/programmes?colour=red").has_problem(400, "bad-query");
    ivo.get("/api/v1/programmes/tug").has_problem(404, "not-found");
    let small = sam.get(PROGRAMME).has_status(200).json();
    assert_eq!(
        (&small["title"], &small["counts"]["points"]),
        (&json!("Small programme"), &json!(2))
    );
    sam.get(&format!("{PROGRAMME}?as_of=yesterday")).has_problem(400, "bad-query");
    sam.get(&format!("{PROGRAMME}?as_of=99999")).has_problem(409, "not-yet");

    gives_and_takes_its_document_and_its_points(&story);
    story.has_shown(SHOWN);
}

fn gives_and_takes_its_document_and_its_points(story: &Story) {
    let [_, _, ivo, lea, ..] = story.people();
    let import =
        |text: &str| lea.send("POST", &at("document"), Some(("application/toml", text.to_owned())));
    let document = ivo.get(&at("document")).has_status(200);
    assert_eq!(document.header("content-type"), Some("application/toml"));
    let same = import(&document.text).has_status(200).json();
    assert_eq!(same["records"], json!([]), "what was given is what is there");
    ivo.get(&at("document?as_of=99999")).has_problem(409, "not-yet");

    let wrong = "[[points]]\ncode = \"GR-03\"\ntitle = \"\"\nphase = \"cruise\"\n";
    let problem = import(wrong).has_problem(422, "invalid").json();
    let first = problem["faults"][0]["field"].as_str().unwrap();
    assert!(first.starts_with("line "), "{problem:#}");
    lea.get(&at("points/GR-03")).has_problem(404, "not-found");
    let one_more = "[[channels]]\ncode = \"pack_temp\"\ntitle = \"Pack\"\nunit = \"degC\"\n";
    assert_eq!(import(one_more).has_status(200).json()["now"]["channels"], 2);
    lea.post(&at("document"), json!({})).has_problem(415, "unsupported-type");

    let plan = |csv: String| lea.send("POST", &at("points-table"), Some(("text/csv", csv)));
    let table = ivo.get(&at("points-table")).has_status(200);
    assert!(table.header("content-type").unwrap().starts_with("text/csv"));
    assert_eq!(plan(table.text.clone()).has_status(200).json()["records"], json!([]));
    let renamed = table.text.replace("Second run", "The second run");
    let changed = plan(renamed).has_status(200).json();
    assert_eq!(changed["records"].as_array().map(Vec::len), Some(1), "{changed:#}");
    assert_eq!(ivo.get(&at("points/GR-02")).json()["plan"]["title"], "The second run");
    let nowhere = table.text.replace("ground-run", "cruise");
    plan(nowhere).has_problem(422, "invalid").reads("line 2, column phase");
    ivo.get(&at("points-table?as_of=99999")).has_problem(409, "not-yet");
}
