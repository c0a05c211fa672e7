//! Whatever cannot be answered is answered with a problem that says what to do (RFC 9457).

use serde_json::json;

use crate::harness::{Client, Description, PASSWORD, Team, at};
use crate::operations::permissions::{Who, path_of, team_with_a_past, who_may};

/// Somebody who may ask for an operation.
fn somebody_who_may<'t>(team: &'t Team, keeper: &'t Client, operation: &str) -> &'t Client {
    let roles = match who_may(operation) {
        Some(Who::To(roles)) => roles,
        _ => return keeper,
    };
    let handles = [("lead", "lea"), ("safety", "sam"), ("engineer", "eve"), ("crew", "cas")];
    let who = handles.iter().find(|(role, _)| roles.contains(role));
    team.person(who.map_or_else(|| panic!("nobody for {operation}"), |(_, handle)| handle))
}

#[test]
fn every_operation_refuses_a_name_in_the_query_string_that_it_does_not_know() {
    let team = team_with_a_past();
    let keeper = team.server.sign_in("keeper");
    for operation in Description::read(&keeper).operations() {
        let person = somebody_who_may(&team, &keeper, &operation.id);
        let path = path_of(operation);
        let joint = if path.contains('?') { '&' } else { '?' };
        let body = operation.reads_body.then(|| ("application/json", "{}".to_owned()));
        let path = format!("{path}{joint}colour=red");
        let answer = person.send(&operation.method, &path, body);
        let problem = answer.has_problem(400, "bad-query").json();
        assert_eq!(problem["faults"][0]["field"], "colour", "{}: {problem:#}", operation.id);
    }
}

#[test]
fn every_operation_refuses_a_field_that_it_does_not_know_and_names_it() {
    let team = team_with_a_past();
    let keeper = team.server.sign_in("keeper");
    let mut asked = 0;
    for operation in Description::read(&keeper).operations().filter(|it| it.reads_body) {
        let person = somebody_who_may(&team, &keeper, &operation.id);
        let path = path_of(operation);
        // Tables, documents and recorder files have columns and keys of their own.
        if matches!(
            &*operation.id,
            "document_import" | "points_table_import" | "recordings_take" | "recorder_files_look"
        ) {
            continue;
        }
        let mut body = operation.example.clone().unwrap_or_else(|| json!({}));
        body["colour"] = "red".into();
        let answer =
            person.send(&operation.method, &path, Some(("application/json", body.to_string())));
        let code = if operation.id == "compute_compute" { "input-refused" } else { "invalid" };
        let problem = answer.has_problem(422, code);
        assert!(problem.text.contains("colour"), "{}: {}", operation.id, problem.text);
        asked += 1;
    }
    assert!(asked > 40, "only {asked} operations read JSON");
    let toml = |text: &str| {
        let lea = team.person("lea");
        lea.send("POST", &at("document"), Some(("application/toml", text.to_owned())))
    };
    let problem = toml("title = \"Small\"\ncolour = \"red\"\n").has_problem(422, "invalid").json();
    assert!(problem["faults"][0]["field"].as_str().unwrap().starts_with("line 2"), "{problem:#}");
}

#[test]
fn what_is_not_there_not_understood_or_too_large_is_told_as_a_problem_with_its_request_id() {
    let team = Team::new();
    let cas = team.person("cas");
    let snags = at("snags");
    cas.get("/api/v1/snacks").has_problem(404, "no-such-path");
    cas.get("/snacks").has_problem(404, "no-such-path");
    let not_so = cas.delete(&snags).has_problem(405, "method-not-allowed");
    assert_eq!(not_so.header("allow"), Some("GET, POST"));
    for path in [snags.as_str(), "/sign-in", "/no/such/path"] {
        let traced = cas.with("accept", "text/html").send("TRACE", path, None);
        assert!([403, 404, 405].contains(&traced.status), "{path}: {}", traced.status);
        assert!(!traced.text.contains("Bearer"), "what was asked comes back: {}", traced.text);
    }
    cas.send("PATCH", &snags, Some(("application/json", "{}".to_owned())))
        .has_problem(405, "method-not-allowed");

    let post = |kind: &str, body: String| cas.send("POST", &snags, Some((kind, body)));
    post("text/plain", "{}".to_owned()).has_problem(415, "unsupported-type");
    post("application/xml", "<snag/>".to_owned()).has_problem(415, "unsupported-type");
    post("application/json", "{\"title\": ".to_owned()).has_problem(400, "not-json");
    post("application/json", "{} {}".to_owned()).has_problem(422, "invalid");
    post("application/json", "[".repeat(40)).has_problem(400, "too-deep");
    let long = format!("{{\"title\": \"{}\"}}", "x".repeat(300_000));
    post("application/json", long).has_problem(413, "body-too-large").reads("262144 bytes");
    let document = format!("title = \"{}\"", "x".repeat(9 * 1024 * 1024));
    let lea = team.person("lea");
    lea.send("POST", &at("document"), Some(("application/toml", document)))
        .has_problem(413, "body-too-large");
    cas.get(&at("snags?limit=1&limit=2")).has_problem(400, "bad-query");
    cas.get(&at("snags?as_of=yesterday")).has_problem(400, "bad-query");

    // The API speaks JSON, whatever else a client says that it would take.
    let page = cas.with("accept", "text/html").get(&snags).has_status(200);
    assert_eq!(page.header("content-type"), Some("application/json"));
    let asked = cas.with("x-request-id", "tablet-7.00042");
    let found = asked.get(&snags).has_status(200);
    assert_eq!(found.header("x-request-id"), Some("tablet-7.00042"));
    let problem = asked.get(&at("snags/9")).has_problem(404, "not-found");
    assert_eq!(problem.json()["request_id"], "tablet-7.00042");
    assert_eq!(problem.json()["instance"], at("snags/9"));
    let ours = cas.get(&at("snags/9"));
    assert_eq!(ours.header("x-request-id"), ours.json()["request_id"].as_str());
    assert_ne!(ours.header("x-request-id"), cas.get(&snags).header("x-request-id"));
}

#[test]
fn a_reader_may_ask_for_the_head_alone_and_browsers_are_told_to_guess_and_run_nothing() {
    let team = Team::new();
    let cas = team.person("cas");
    let head = cas.send("HEAD", &at("points"), None).has_status(200);
    assert!(head.text.is_empty());
    assert_eq!(head.header("etag"), cas.get(&at("points")).header("etag"));
    for answer in [cas.get(&at("points")), cas.get("/nothing"), team.server.stranger().get("/")] {
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"));
        assert!(answer.header("cache-control").is_some_and(|it| it.contains("no-cache")));
        let policy = answer.header("content-security-policy").unwrap_or_default();
        assert!(policy.contains("default-src 'none'"), "{}", answer.asked);
    }
    let entry = json!({ "handle": "cas", "password": PASSWORD });
    let tokens = team.server.stranger().post("/api/v1/sessions", entry).has_status(201);
    assert_eq!(tokens.header("cache-control"), Some("no-store"));
}

#[test]
fn a_problem_names_every_fault_at_once_with_its_field() {
    let team = Team::new();
    let mut plan = team.person("lea").get(&at("points/GR-02")).json()["plan"].clone();
    plan["title"] = "".into();
    plan["duration_min"] = json!(-1.0);
    plan["hazards"] = json!(["H-NONE"]);
    plan["limits"] = json!(["L-NONE"]);
    let problem =
        team.person("lea").change(&at("points/GR-02"), plan).has_problem(422, "invalid").json();
    let faults = problem["faults"].as_array().unwrap();
    let fields: Vec<&str> = faults.iter().map(|fault| fault["field"].as_str().unwrap()).collect();
    for field in ["title", "duration_min", "hazards[0]", "limits[0]"] {
        assert!(fields.contains(&field), "{field} is not in {fields:?}");
    }
    assert!(faults.iter().all(|fault| fault["why"].as_str().is_some_and(|why| !why.is_empty())));
}
