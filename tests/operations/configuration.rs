//! What a programme stands on: the aircraft, policy, people, configuration and papers.

use serde_json::json;

use super::Story;
use crate::harness::at;

pub(super) const SHOWN: &[&str] = &[
    "aircraft_read",
    "aircraft_describe",
    "policy_read",
    "policy_set",
    "people_list",
    "people_read",
    "people_list_person",
    "configuration_read",
    "configuration_list",
    "configuration_read_item",
    "configuration_changes",
    "configuration_fit",
    "configuration_remove",
    "documents_list",
    "documents_read",
    "documents_file",
];

#[test]
fn the_lead_describes_the_aircraft_the_safety_officer_sets_the_policy_and_the_engineer_fits_items()
{
    let story = Story::begins();
    describes_the_aircraft(&story);
    sets_the_policy(&story);
    lists_people(&story);
    fits_items(&story);
    files_papers(&story);
    story.has_shown(SHOWN);
}

fn describes_the_aircraft(story: &Story) {
    let [_, _, ivo, lea, ..] = story.people();
    let mut aircraft = ivo.get(&at("aircraft")).has_status(200).json();
    assert_eq!(aircraft["name"], "Tug");
    ivo.get(&at("aircraft?as_of=99999")).has_problem(409, "not-yet");
    aircraft["seats"] = 0.into();
    lea.change(&at("aircraft"), aircraft.clone()).has_problem(422, "invalid");
    aircraft["seats"] = 1.into();
    let changed = lea.change(&at("aircraft"), aircraft.clone()).has_status(200).json();
    assert_eq!(changed["records"][0]["kind"], "aircraft-described");
    lea.change(&at("aircraft"), aircraft).has_problem(409, "nothing-changes");
}

fn sets_the_policy(story: &Story) {
    let [_, _, ivo, _, _, sam] = story.people();
    let mut policy = ivo.get(&at("policy")).has_status(200).json();
    ivo.get(&at("policy?as_of=99999")).has_problem(409, "not-yet");
    policy["longest_release_h"] = 0.into();
    let problem = sam.change(&at("policy"), policy.clone()).has_problem(422, "invalid").json();
    assert_eq!(problem["faults"][0]["field"], "longest_release_h");
    policy["longest_release_h"] = 10.into();
    sam.change(&at("policy"), policy).has_status(200);
    assert_eq!(ivo.get(&at("policy")).json()["longest_release_h"], 10);
}

fn lists_people(story: &Story) {
    let [_, _, ivo, lea, _, sam] = story.people();
    let all = ivo.get(&at("people")).has_status(200).json();
    assert_eq!(all["items"].as_array().map(Vec::len), Some(6));
    ivo.get(&at("people?limit=0")).has_problem(400, "bad-query");
    ivo.get(&at("people/nobody")).has_problem(404, "not-found");
    let mut pip = ivo.get(&at("people/pip")).has_status(200).json()["person"].clone();
    pip["qualifications"] = json!([{ "code": "medical", "expires": "2020-01-01T00:00:00Z" }]);
    let listed = lea.change(&at("people/pip"), pip).has_status(200).json();
    assert_eq!(listed["now"]["expired"], json!(["medical"]));
    let listing = |handle: &str, roles: &[&str]| json!({ "handle": handle, "name": "Somebody", "roles": roles });
    lea.change(&at("people/ned"), listing("ned", &["crew"])).has_status(201);
    lea.change(&at("people/ned"), listing("ned", &["safety"]))
        .has_problem(409, "held")
        .names_hold("safety-role-by-another");
    lea.change(&at("people/lea"), listing("lea", &["lead", "engineer"]))
        .has_problem(409, "held")
        .names_hold("own-roles");
    sam.change(&at("people/lea"), listing("lea", &["crew"]))
        .has_problem(409, "held")
        .names_hold("last-of-role");
    sam.change(&at("people/ned"), listing("ned", &["viewer", "crew"])).has_problem(422, "invalid");
}

fn fits_items(story: &Story) {
    let [_, eve, ivo, ..] = story.people();
    let short = ivo.get(&at("configuration")).has_status(200).json();
    assert_eq!(short["fitted"], json!({ "motor": "M1" }));
    ivo.get(&at("configuration?as_of=99999")).has_problem(409, "not-yet");
    ivo.get(&at("configuration/items")).has_status(200).reads("M1");
    ivo.get(&at("configuration/items?limit=0")).has_problem(400, "bad-query");
    ivo.get(&at("configuration/items/wing")).has_problem(404, "not-found");
    let motor = at("configuration/items/motor");
    let mut terms = json!({ "title": "Motor", "kind": "part", "version": "M2" });
    let problem = eve.change(&motor, terms.clone()).has_problem(422, "invalid").json();
    assert_eq!(problem["faults"][0]["field"], "reason");
    terms["reason"] = "The bearing ran dry.".into();
    eve.change(&motor, terms).has_status(200);
    assert_eq!(ivo.get(&motor).has_status(200).json()["fitted"]["version"], "M2");
    let changes = ivo.get(&at("configuration/changes")).has_status(200).json();
    assert_eq!(
        (&changes["items"][0]["before"], &changes["items"][0]["after"]),
        (&json!("M1"), &json!("M2"))
    );
    ivo.get(&at("configuration/changes?limit=0")).has_problem(400, "bad-query");

    let hook = at("configuration/items/hook");
    let terms = json!({ "title": "Tow hook", "kind": "part", "version": "H1" });
    eve.change(&hook, terms).has_status(201);
    let remove = |body| {
        let present = eve.get(&hook);
        eve.with("if-match", present.header("etag").unwrap()).post(&format!("{hook}/removal"), body)
    };
    remove(json!({ "reason": "" })).has_problem(422, "invalid");
    remove(json!({ "reason": "Not used yet." })).has_status(200);
    remove(json!({ "reason": "Not used yet." })).has_problem(409, "not-fitted");
    assert_eq!(ivo.get(&at("configuration")).json()["fitted"], json!({ "motor": "M2" }));
}

fn files_papers(story: &Story) {
    let [_, _, ivo, lea, ..] = story.people();
    let permit = at("documents/D-PERMIT");
    let mut paper = ivo.get(&permit).has_status(200).json()["document"].clone();
    ivo.get(&at("documents/D-NONE")).has_problem(404, "not-found");
    paper["valid_until"] = "2020-01-01T00:00:00Z".into();
    lea.change(&permit, paper.clone()).has_problem(422, "invalid");
    paper["valid_from"] = "2019-01-01T00:00:00Z".into();
    assert_eq!(lea.change(&permit, paper).has_status(200).json()["now"]["in_force"], false);
    assert!(ivo.rules_against("GR-02").iter().any(|rule| rule.starts_with("document-")));
    assert_eq!(ivo.get(&at("documents")).has_status(200).json()["items"][0]["in_force"], false);
    ivo.get(&at("documents?limit=0")).has_problem(400, "bad-query");
}
