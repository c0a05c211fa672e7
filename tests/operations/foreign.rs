//! What is somebody else's: to who takes no part in a programme it is as if it were not there, to the letter, and to who is not
//! signed in everything is alike. Every operation of the description is asked for, so a new one is too.

use serde_json::{Value, json};

use super::permissions::{Who, path_of, team_with_a_past, who_may};
use crate::harness::{Answer, Client, Description, Operation, PASSWORD, PROGRAMME, Team, at};

/// A programme that nobody has.
const NOWHERE: &str = "/api/v1/programmes/nowhere";
/// The own programme of somebody who takes no part in the team's.
const OWN: &str = "/api/v1/programmes/own";
/// The digest of no recording.
const NO_RECORDING: &str = "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa";

/// No name in place of another.
pub const AS_IT_IS: (&str, &str) = ("nowhere", "nowhere");

/// Asks for an operation with a body that nothing accepts.
pub fn ask(person: &Client, operation: &Operation, path: &str) -> Answer {
    let body =
        operation.reads_body.then(|| ("application/json", json!({ "colour": "red" }).to_string()));
    person.send(&operation.method, path, body)
}

/// All that is told, but for what names the single request; with a name in place of another.
pub fn told(answer: &Answer, named: (&str, &str)) -> (u16, Value, Vec<String>) {
    let mut body = answer.json();
    let request = body.as_object_mut().unwrap().remove("request_id");
    assert!(request.is_some(), "{}", answer.text);
    let body = serde_json::from_str(&body.to_string().replace(named.0, named.1)).unwrap();
    // The connection is closed where a body was not read to its end.
    let own = ["x-request-id", "date", "content-length", "connection"];
    (answer.status, body, answer.headers_but(&own))
}

/// A person with a programme of their own, in which they have every role but the inspector's.
fn somebody_elsewhere(team: &Team) -> Client {
    let keeper = team.server.sign_in("keeper");
    for handle in ["otto", "uma"] {
        let new = json!({ "handle": handle, "name": handle, "password": PASSWORD });
        keeper.post("/api/v1/accounts", new).has_status(201);
    }
    let own = json!({ "id": "own", "title": "Of their own", "lead": "otto", "safety": "uma" });
    keeper.post("/api/v1/programmes", own).has_status(201);
    let otto = team.server.sign_in("otto");
    let every = json!(["lead", "pilot", "safety", "engineer", "crew"]);
    let roles = json!({ "handle": "otto", "name": "Otto", "roles": every });
    // Nobody gives themselves a role.
    team.server.sign_in("uma").change(&format!("{OWN}/people/otto"), roles).has_status(200);
    otto
}

#[test]
fn nothing_shows_of_a_programme_in_which_somebody_takes_no_part_whatever_they_may_in_their_own() {
    let team = team_with_a_past();
    let order = team.person("ivo").post(&at("evidence"), json!({ "what": "risk-register" }));
    let order = order.has_status(202).json()["order"].as_str().unwrap().to_owned();
    let recording = team.person("ivo").get(&at("recordings")).json();
    let recording = recording["items"][0]["recording"].as_str().unwrap().to_owned();
    let otto = somebody_elsewhere(&team);
    let listed = otto.get("/api/v1/programmes").has_status(200).json();
    assert_eq!(listed["items"].as_array().map(Vec::len), Some(1), "{listed}");
    assert_eq!(listed["items"][0]["id"], "own");

    let description = Description::read(&otto);
    let mut asked = 0;
    for operation in description.operations() {
        let Some(Who::To(_)) = who_may(&operation.id) else { continue };
        let path = path_of(operation);
        let hidden = ask(&otto, operation, &path).has_problem(404, "not-found");
        let nowhere = ask(&otto, operation, &path.replace(PROGRAMME, NOWHERE));
        assert_eq!(told(&hidden, ("small", "nowhere")), told(&nowhere, AS_IT_IS), "{path}");
        asked += 1;

        // A name that the whole server knows opens nothing through another programme either.
        let (recording, order) = (recording.as_str(), order.as_str());
        for (name, known, unknown) in [
            ("{recording}", recording, NO_RECORDING),
            ("{order}", order, "0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d91"),
        ] {
            if operation.method != "GET" || !operation.path.contains(name) {
                continue;
            }
            let own = operation.path.replace("/api/v1/programmes/{programme}", OWN);
            let of = |value: &str| otto.get(&own.replace(name, value));
            let foreign = of(known);
            assert!(matches!(foreign.status, 400 | 404 | 409), "{own}: {}", foreign.text);
            let none = of(unknown);
            assert_eq!(told(&foreign, (known, unknown)), told(&none, AS_IT_IS), "{own}");
        }
    }
    assert!(asked > 150, "{asked}");
}

#[test]
fn whoever_is_not_signed_in_is_told_the_same_of_everything() {
    let team = Team::new();
    let stranger = team.server.stranger();
    let forger = stranger.with("authorization", "Bearer of.bad.news");
    let description = Description::read(&stranger);
    let same = |answer: &Answer| {
        let (status, mut body, headers) = told(answer, AS_IT_IS);
        body.as_object_mut().unwrap().remove("instance");
        (status, body, headers)
    };
    let usual = same(&stranger.get(PROGRAMME).has_problem(401, "not-signed-in"));
    let refused = same(&forger.get(PROGRAMME).has_problem(401, "token-refused"));
    let mut asked = 0;
    for operation in description.operations() {
        let path = path_of(operation);
        for path in [path.clone(), path.replace(PROGRAMME, NOWHERE)] {
            if !operation.needs_token {
                continue;
            }
            assert_eq!(same(&ask(&stranger, operation, &path)), usual, "{path}");
            assert_eq!(same(&ask(&forger, operation, &path)), refused, "{path}");
            // What could not be asked at all is not told to strangers either.
            let odd = format!("{path}{}colour=red", if path.contains('?') { '&' } else { '?' });
            assert_eq!(same(&ask(&stranger, operation, &odd)), usual, "{odd}");
            asked += 1;
        }
    }
    assert!(asked > 320, "{asked}");
}
