//! Log lines: each of a request tells which request and which trace it belongs to, and none tells a secret.

use serde_json::{Value, json};

use crate::harness::{PASSWORD, Server, Team, at};

const TRACE: &str = "4bf92f3577b34da6a3ce929d0e0e4736";
const PARENT: &str = "00f067aa0ba902b7";

/// The lines of a log, each the JSON object that it is.
fn lines(log: &std::path::Path) -> Vec<Value> {
    let text = std::fs::read_to_string(log).unwrap();
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}")))
        .collect()
}

/// A team whose program is started again and writes its log of this level into a file of its folder.
fn team_that_logs(level: &str) -> (Team, Server, std::path::PathBuf) {
    let mut team = Team::new();
    team.server.kill();
    let log = team.server.data.with_file_name("log");
    let server = Server::serve_logging(&team.server.data, level, &log);
    (team, server, log)
}

#[test]
fn each_line_of_a_request_tells_its_id_and_its_trace_and_nothing_of_it_goes_back() {
    let (team, mut server, log) = team_that_logs("info");
    let cas = team.person("cas").speaking_to(&server);
    let body = || json!({ "weather": { "remarks": "Dry." } });
    let told = format!("00-{TRACE}-{PARENT}-01");
    let answers = [
        cas.with("traceparent", &told).with("tracestate", "a=1").post(&at("weather"), body()),
        cas.with("traceparent", &told.to_uppercase()).post(&at("weather"), body()),
        cas.post(&at("weather"), body()),
        // Nothing is there, and whoever asks names the request.
        cas.with("traceparent", &told)
            .with("x-request-id", "tablet-7.00042")
            .post("/nowhere", body()),
    ];
    for answer in &answers {
        for header in ["traceparent", "tracestate", "traceresponse"] {
            assert_eq!(answer.header(header), None, "{}", answer.asked);
        }
    }
    let ids: Vec<&str> =
        answers.iter().map(|answer| answer.header("x-request-id").unwrap()).collect();
    server.ends_when_asked();

    let lines = lines(&log);
    let of = |id: &str| {
        let spans = lines.iter().filter(|line| line["span"]["id"] == id);
        let spans: Vec<&Value> = spans.map(|line| &line["span"]).collect();
        assert!(!spans.is_empty(), "no line of {id}");
        assert!(spans.iter().all(|span| *span == spans[0]), "{spans:?}");
        spans[0].clone()
    };
    for id in [ids[0], ids[3]] {
        assert_eq!((&of(id)["trace"], &of(id)["parent"]), (&json!(TRACE), &json!(PARENT)));
    }
    assert_eq!(ids[3], "tablet-7.00042");
    // A trace that begins here has the digits of its request.
    for id in [ids[1], ids[2]] {
        assert_eq!(of(id)["trace"], id.replace('-', ""));
        assert!(of(id)["parent"].is_null());
    }
    assert!(
        lines.iter().any(|line| line["message"].as_str().unwrap_or_default().contains("ended"))
    );
}

#[test]
fn no_secret_is_in_any_line_of_the_log_however_much_is_logged() {
    let (team, mut server, log) = team_that_logs("trace");
    let (wrong, new, pin) = ("canary of a wrong password", "canary of a new password", "480213");
    let anyone = server.stranger();
    let entry = |password: &str| {
        let body = json!({ "handle": "cas", "password": password });
        anyone.post("/api/v1/sessions", body)
    };
    entry(wrong).has_status(401);
    let tokens = entry(PASSWORD).has_status(201).json();
    let again = json!({ "refresh_token": tokens["refresh_token"] });
    let second = anyone.post("/api/v1/sessions/refresh", again).has_status(201).json();
    let mut cas = server.stranger();
    cas.token = second["access_token"].as_str().map(str::to_owned);
    let link = cas.put(&at("calendar-link"), json!({})).has_status(200).json();
    let path = link["path"].as_str().unwrap().to_owned();
    anyone.get(&path).has_status(200);
    cas.put("/api/v1/account/pin", json!({ "secret": PASSWORD, "pin": pin })).has_status(204);
    let eve = team.person("eve").speaking_to(&server);
    eve.sign("GR-01", "plan-approval", json!({ "secret": wrong })).has_status(403);
    eve.sign("GR-01", "plan-approval", json!({})).has_status(201);
    // A body that cannot be read is not shown either.
    let broken = format!("{{\"handle\": \"cas\", \"password\": \"{wrong}\"");
    anyone.send("POST", "/api/v1/sessions", Some(("application/json", broken))).has_status(400);
    let form = format!("to=%2F&handle=cas&password={}", wrong.replace(' ', "+"));
    let browser = anyone.with("accept", "text/html").with("origin", &server.base);
    browser.send("POST", "/sign-in", Some(("application/x-www-form-urlencoded", form)));
    let change = json!({ "secret": PASSWORD, "new_password": new });
    cas.put("/api/v1/account/password", change).has_status(204);
    server.ends_when_asked();

    let log = std::fs::read_to_string(&log).unwrap();
    assert!(log.lines().count() > 50, "{log}");
    let mut secrets = vec![wrong.to_owned(), new.to_owned(), PASSWORD.to_owned(), pin.to_owned()];
    for answer in [&tokens, &second] {
        secrets.extend(
            ["access_token", "refresh_token"].map(|it| answer[it].as_str().unwrap().to_owned()),
        );
    }
    secrets.push(path.rsplit('/').next().unwrap().to_owned());
    secrets.push(wrong.replace(' ', "+"));
    for secret in secrets {
        let line = log.lines().find(|line| line.contains(&secret));
        assert_eq!(line, None, "\"{secret}\" is in the log");
    }
}
