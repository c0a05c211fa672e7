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

#[test]
fn who_failed_to_sign_in_is_told_with_the_address_and_named_where_the_handle_is_somebodys() {
    let (_team, mut server, log) = team_that_logs("info");
    let fails = |handle: &str| {
        let body = json!({ "handle": handle, "password": "not the password" });
        server.stranger().post("/api/v1/sessions", body).has_status(401);
    };
    fails("cas");
    // A password in the wrong field looks like a handle, too.
    fails("canary-in-the-wrong-field");
    server.ends_when_asked();
    let log = std::fs::read_to_string(&log).unwrap();
    let lines: Vec<&str> =
        log.lines().filter(|line| line.contains("a sign-in was refused")).collect();
    assert_eq!(lines.len(), 2, "{log}");
    assert!(lines.iter().all(|line| line.contains("127.0.0.1")), "{lines:?}");
    assert!(lines[0].contains("cas") && !log.contains("canary"), "{lines:?}");
}

/// A collector of traces: whatever is sent to it.
struct Collector {
    address: String,
    sent: std::sync::mpsc::Receiver<Value>,
}

impl Collector {
    fn begins() -> Self {
        use std::io::{Read, Write};
        let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let address = format!("http://{}", listener.local_addr().unwrap());
        let (told, sent) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            for mut stream in listener.incoming().flatten() {
                let told = told.clone();
                std::thread::spawn(move || {
                    let (mut bytes, mut some) = (Vec::new(), [0; 16 * 1024]);
                    while let Ok(read) = stream.read(&mut some)
                        && read > 0
                    {
                        bytes.extend_from_slice(&some[..read]);
                        let head = bytes.windows(4).position(|it| it == b"\r\n\r\n");
                        let Some(head) = head else { continue };
                        let text = String::from_utf8_lossy(&bytes[..head]).to_lowercase();
                        assert!(text.starts_with("post /v1/traces "), "{text}");
                        assert!(text.contains("content-type: application/json"), "{text}");
                        let length =
                            text.lines().find_map(|it| it.strip_prefix("content-length: "));
                        let length: usize = length.unwrap().trim().parse().unwrap();
                        if bytes.len() < head + 4 + length {
                            continue;
                        }
                        told.send(serde_json::from_slice(&bytes[head + 4..]).unwrap()).unwrap();
                        bytes.clear();
                        let _ = stream.write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 2\r\n\r\n{}");
                    }
                });
            }
        });
        Self { address, sent }
    }
}

#[test]
fn what_became_of_each_request_is_told_to_a_collector_and_nothing_that_was_in_it() {
    let collector = Collector::begins();
    let team = Team::served_with(&["--otlp", &collector.address]);
    let cas = team.person("cas");
    let told = format!("00-{TRACE}-{PARENT}-01");
    let body = json!({ "weather": { "remarks": "a canary of remarks" } });
    cas.with("traceparent", &told).post(&at("weather"), body).has_status(201);
    cas.get(&at("points/GR-01")).has_status(200);
    cas.get("/nowhere/a-canary-of-paths").has_status(404);
    let mut server = team.server;
    server.ends_when_asked();
    let sent: Vec<Value> = collector.sent.try_iter().collect();
    let spans = sent.iter().flat_map(|batch| {
        let of = &batch["resourceSpans"][0];
        assert_eq!(of["resource"]["attributes"][0]["value"]["stringValue"], "rungbook");
        of["scopeSpans"][0]["spans"].as_array().unwrap().clone()
    });
    let spans: Vec<Value> = spans.collect();
    let named = |name: &str| {
        let found = spans.iter().find(|span| span["name"] == name);
        found.unwrap_or_else(|| panic!("{name} is not among {spans:#?}"))
    };
    let wrote = named("POST /api/v1/programmes/{programme}/weather");
    assert_eq!((&wrote["traceId"], &wrote["parentSpanId"]), (&json!(TRACE), &json!(PARENT)));
    assert_eq!((&wrote["kind"], wrote.get("status")), (&json!(2), None));
    assert_eq!(wrote["spanId"].as_str().unwrap().len(), 16);
    let nanos = |of: &str| wrote[of].as_str().unwrap().parse::<u128>().unwrap();
    assert!(nanos("startTimeUnixNano") < nanos("endTimeUnixNano"));
    let attributes = json!([
        { "key": "http.request.method", "value": { "stringValue": "POST" } },
        { "key": "http.route", "value": { "stringValue": "/api/v1/programmes/{programme}/weather" } },
        { "key": "http.response.status_code", "value": { "intValue": "201" } },
    ]);
    assert_eq!(wrote["attributes"], attributes);
    assert_eq!(
        named("GET /api/v1/programmes/{programme}/points/{point}").get("parentSpanId"),
        None
    );
    // Everybody of the team signed in, and all of it was sent before the end.
    let signed_in = spans.iter().filter(|span| span["name"] == "POST /api/v1/sessions").count();
    assert_eq!(signed_in, 6);
    let everything = serde_json::to_string(&sent).unwrap();
    for secret in ["canary", "cas", "small", "GR-01", PASSWORD] {
        assert!(!everything.contains(secret), "{secret} is in {everything}");
    }
}

#[test]
fn a_collector_that_is_away_or_answers_nothing_keeps_nobody_waiting() {
    let silent = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("http://{}", silent.local_addr().unwrap());
    for collector in ["http://127.0.0.1:9", &address] {
        let team = Team::served_with(&["--otlp", collector]);
        let cas = team.person("cas");
        let began = std::time::Instant::now();
        for _ in 0..50 {
            cas.get(&at("points/GR-01")).has_status(200);
        }
        println!("50 reads took {:?}", began.elapsed());
        let mut server = team.server;
        server.is_asked_to_end();
        server.ends_within(std::time::Duration::from_secs(20));
    }
    let data = tempfile::tempdir().unwrap();
    let refused = Server::command(data.path(), &["serve", "--otlp", "127.0.0.1:4318"]);
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(!refused.status.success() && told.contains("begins with http://"), "{told}");
}
