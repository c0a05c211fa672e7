//! What is good at one host is good nowhere else, for every operation and every page.

use serde_json::Value;

use super::{heads, one_with_a_past_and_another};
use crate::harness::{Answer, Client, Description, HOSTS, Operation, PASSWORD, at};
use crate::operations::evidence::orders;
use crate::operations::foreign::{AS_IT_IS, ask, told};
use crate::operations::permissions::{SECOND_RECORDING, path_of};
use crate::pages::fields;

/// The table of pages, of which every one that can be opened is tried.
const PAGES: &str = include_str!("../../server/http-service/src/pages/routes.rs");

/// All that is told, but for what names the single request and moment.
fn said(answer: &Answer) -> (u16, Value, Vec<String>) {
    if answer.header("content-type").is_some_and(|kind| kind.contains("problem")) {
        return told(answer, AS_IT_IS);
    }
    let mut body: Value =
        serde_json::from_str(&answer.text).unwrap_or_else(|_| answer.text.clone().into());
    if let Some(body) = body.as_object_mut() {
        body.remove("time");
    }
    let own = ["x-request-id", "date", "content-length"];
    (answer.status, body, answer.headers_but(&own))
}

/// The same without the path that was asked for.
fn said_of_any(answer: &Answer) -> (u16, Value, Vec<String>) {
    let (status, mut body, headers) = said(answer);
    body.as_object_mut().unwrap().remove("instance");
    (status, body, headers)
}

/// Somebody with a token that is good nowhere.
fn forger(anyone: &Client) -> Client {
    anyone.with("authorization", "Bearer of.bad.news")
}

#[test]
fn whoever_is_signed_in_at_one_organisation_is_nobody_at_another_whatever_they_ask_for() {
    let both = one_with_a_past_and_another();
    let description = Description::read(&both.stranger(0));
    let before = heads(&both);
    let mut asked = 0;
    for operation in description.operations() {
        let path = path_of(operation);
        for (here, there) in [(0, 1), (1, 0)] {
            let stranger = both.stranger(here);
            let unknown = ask(&forger(&stranger), operation, &path);
            // Those of every role, and who manages the other server.
            for handle in ["lea", "sam", "eve", "ivo"] {
                let guest = both.person(there, handle).at_host(HOSTS[here]);
                let answer = ask(&guest, operation, &path);
                assert_eq!(said(&answer), said(&unknown), "{handle} at {}: {path}", HOSTS[here]);
            }
            if operation.needs_token {
                unknown.has_problem(401, "token-refused");
                ask(&stranger, operation, &path).has_problem(401, "not-signed-in");
            }
            let own = ask_own(&both.person(here, "lea"), operation, &path);
            assert!(!matches!(own, Some(401 | 421)), "{path}: {own:?}");
            asked += 1;
        }
    }
    assert!(asked > 320, "{asked}");
    assert_eq!(heads(&both), before, "nothing was recorded in either");
}

/// What somebody is answered at their own organisation; nothing is asked for that would end their sign-in.
fn ask_own(person: &Client, operation: &Operation, path: &str) -> Option<u16> {
    let ends = matches!(operation.id.as_str(), "sessions_end" | "account_remove_pin");
    (!ends).then(|| ask(person, operation, path).status)
}

#[test]
fn a_host_that_is_no_organisations_is_told_the_same_of_every_operation_and_every_page() {
    let both = one_with_a_past_and_another();
    let description = Description::read(&both.stranger(0));
    let nowhere = both.server.stranger().at_host("east.example.org");
    let usual = said_of_any(&nowhere.get("/").has_problem(421, "misdirected"));
    assert!(!usual.1.to_string().contains("north"), "{}", usual.1);
    // What is good at an organisation is good for nothing there, and neither does a name help that is nearly one.
    let mut askers = vec![nowhere.clone(), both.person(0, "lea").at_host("east.example.org")];
    for host in ["example.org", "x.north.example.org", "north.example.org.", "localhost"] {
        askers.push(both.person(0, "lea").at_host(host));
    }
    // Nobody is believed a host that a proxy would tell, where none stands in front.
    askers.push(
        nowhere.with("x-forwarded-host", HOSTS[0]).with("forwarded", "host=north.example.org"),
    );
    // The address itself is no organisation's either.
    askers.push(both.server.stranger());
    for operation in description.operations() {
        let path = path_of(operation);
        for asker in &askers {
            assert_eq!(said_of_any(&ask(asker, operation, &path)), usual, "{path}");
        }
    }
    for path in pages().iter().map(String::as_str).chain(["/no/such/page", "/metrics"]) {
        let html = nowhere.with("accept", "text/html");
        assert_eq!(said_of_any(&html.get(path)), usual, "{path}");
    }
    let capital = both.person(0, "lea").at_host("NORTH.Example.ORG:8440");
    capital.get(&at("ledger")).has_status(200);
}

/// Every page that can be opened, of things that are there.
fn pages() -> Vec<String> {
    let opened = PAGES.lines().filter_map(|line| line.trim().strip_prefix("opened \""));
    let pages: Vec<String> = opened
        .map(|line| {
            let mut path = line.split('"').next().unwrap().to_owned();
            for (name, value) in [
                ("programme", "small"),
                ("point", "GR-01"),
                ("recording", SECOND_RECORDING),
                ("recorder", "logger"),
                ("hazard", "H-FIRE"),
                ("check", "C-ISO"),
                ("day", "2026-05-02"),
                ("order", "0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d90"),
                ("name", "style.css"),
            ] {
                path = path.replace(&format!("{{{name}}}"), value);
            }
            for name in ["run", "interval", "exceedance", "snag", "seq", "plan"] {
                path = path.replace(&format!("{{{name}}}"), "1");
            }
            assert!(!path.contains('{'), "{path}");
            path
        })
        .collect();
    assert!(pages.len() > 40, "{pages:?}");
    pages
}

/// Signs in with a browser at an organisation's host, and gives the cookie.
fn cookie(anyone: &Client, host: &str) -> String {
    let form = fields(&[("to", "/"), ("handle", "lea"), ("password", PASSWORD)]);
    let browser = anyone.with("accept", "text/html").with("origin", &format!("http://{host}"));
    let answer = browser.send("POST", "/sign-in", form).has_status(303);
    let cookie = answer.header("set-cookie").unwrap().to_owned();
    // It is for this host alone: no domain is named to which others belong.
    assert!(!cookie.to_lowercase().contains("domain"), "{cookie}");
    cookie.split(';').next().unwrap().to_owned()
}

#[test]
fn a_cookie_of_another_organisation_opens_no_page() {
    let both = one_with_a_past_and_another();
    let html = [0, 1].map(|team| both.stranger(team).with("accept", "text/html"));
    let cookies = [0, 1].map(|team| cookie(&both.stranger(team), HOSTS[team]));
    let names = cookies.each_ref().map(|cookie| cookie.split('=').next().unwrap());
    assert_eq!(names[0], names[1], "else it would not be looked at");
    for (here, there) in [(0, 1), (1, 0)] {
        for path in pages() {
            let unknown = html[here].with("cookie", &format!("{}=of.bad.news", names[here]));
            let unknown = unknown.get(&path);
            let foreign = html[here].with("cookie", &cookies[there]).get(&path);
            let leads = |answer: &Answer| answer.header("location").map(str::to_owned);
            assert_eq!(
                (foreign.status, leads(&foreign)),
                (unknown.status, leads(&unknown)),
                "{path}"
            );
            if path.starts_with("/programmes/") || path == "/" {
                assert_eq!(foreign.status, 303, "{path}");
                assert!(leads(&foreign).unwrap().starts_with("/sign-in"), "{path}");
            }
            // The stream goes on for minutes.
            if here == 0 && !path.ends_with("/events") {
                let own = html[here].with("cookie", &cookies[here]).get(&path);
                let place = leads(&own).unwrap_or_default();
                assert!(!place.starts_with("/sign-in"), "{path}: {:?}", own.headers);
            }
        }
        // Each is shown where they sign in, and no other.
        let door = html[here].get("/sign-in").has_status(200);
        let door = door.reads(&format!("Sign in at Club at {}", HOSTS[here]));
        assert!(!door.text.contains(HOSTS[there]), "{}", door.text);
    }
}

#[test]
fn what_one_organisation_was_given_names_nothing_in_another() {
    let both = one_with_a_past_and_another();
    let [north, south] = [0, 1].map(|team| both.person(team, "lea"));
    // A private link.
    let made = north.send("PUT", &at("calendar-link"), None).has_status(200).json();
    let link = made["path"].as_str().unwrap();
    both.stranger(0).get(link).has_status(200);
    let unknown = link.rsplit_once('/').unwrap().0.to_owned() + "/" + &"0".repeat(64);
    let [known, none] = [link, &unknown].map(|path| said_of_any(&both.stranger(1).get(path)));
    assert_eq!((known.0, &known), (404, &none));
    // An order, and a file.
    let order = orders(&north, serde_json::json!({ "what": "risk-register" }));
    let id = order.rsplit('/').next().unwrap();
    north.get(&at(&format!("evidence/{id}"))).has_status(200);
    north.get(&at(&format!("recordings/{SECOND_RECORDING}"))).has_status(200);
    for (known, unknown) in [
        (format!("evidence/{id}"), "evidence/0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d91".to_owned()),
        (
            format!("evidence/{id}/file"),
            "evidence/0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d91/file".to_owned(),
        ),
        (format!("recordings/{SECOND_RECORDING}"), format!("recordings/{}", "a".repeat(64))),
        (
            format!("recordings/{SECOND_RECORDING}/original"),
            format!("recordings/{}/original", "a".repeat(64)),
        ),
    ] {
        let foreign = south.get(&at(&known)).has_problem(404, "not-found");
        let none = south.get(&at(&unknown));
        let (id, other) = (known.split('/').nth(1).unwrap(), unknown.split('/').nth(1).unwrap());
        assert_eq!(told(&foreign, (id, other)), told(&none, AS_IT_IS), "{known}");
    }
    let listed = south.get(&at("evidence")).has_status(200).json();
    assert_eq!(listed["items"].as_array().map(Vec::len), Some(0), "{listed}");
}
