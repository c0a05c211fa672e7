//! The door of the pages: whose form is taken, whose is not, and that the API never reads a page's cookie.

mod account;
mod engineer;
mod evidence;
mod forms;
mod people;
mod planning;
mod unsent;

use crate::harness::{Client, DEMONSTRATION_PASSWORD, Event, Server};

const STAND_DOWN: &str = "/programmes/tallow/stand-down";

/// Somebody with a browser: it shows pages, and tells with every form where the form came from.
fn browser(server: &Server) -> Client {
    server.stranger().with("accept", "text/html").with("origin", &server.base)
}

fn encoded(text: &str) -> String {
    text.bytes().map(|byte| format!("%{byte:02X}")).collect()
}

pub fn fields(pairs: &[(&str, &str)]) -> Option<(&'static str, String)> {
    let pairs: Vec<_> =
        pairs.iter().map(|(name, value)| format!("{}={}", encoded(name), encoded(value))).collect();
    Some(("application/x-www-form-urlencoded", pairs.join("&")))
}

pub fn signs_in(server: &Server, handle: &str) -> Client {
    let form = fields(&[("to", "/"), ("handle", handle), ("password", DEMONSTRATION_PASSWORD)]);
    let answer = browser(server).send("POST", "/sign-in", form).has_status(303);
    let cookie = answer.headers.iter().find(|(name, _)| name == "set-cookie").unwrap().1.clone();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    browser(server).with("cookie", cookie.split(';').next().unwrap())
}

/// The token that every form of a page carries.
pub fn token(page: &str) -> &str {
    let from = page.split("name=\"form.token\" value=\"").nth(1).expect("a form with a token");
    from.split('"').next().unwrap()
}

#[test]
fn a_form_is_taken_only_from_a_page_of_ours_with_the_token_of_who_is_signed_in() {
    let server = Server::demonstration();
    let jonas = signs_in(&server, "jonas");
    let page = jonas.get(STAND_DOWN).has_status(200);
    let own = token(&page.text).to_owned();
    let ines = signs_in(&server, "ines");
    let of_ines = token(&ines.get(STAND_DOWN).has_status(200).text).to_owned();
    let call = |token: &str| {
        fields(&[("form.token", token), ("reason", "<script>alert(1)</script> smoke")])
    };

    for wrong in ["", "0", of_ines.as_str()] {
        jonas.send("POST", STAND_DOWN, call(wrong)).has_status(403);
    }
    let elsewhere = server.stranger().with("accept", "text/html");
    let cookie = jonas.headers.iter().find(|(name, _)| name == "cookie").unwrap().1.clone();
    for origin in ["https://else.example", "null", "http://127.0.0.1:1"] {
        let foreign = elsewhere.with("origin", origin).with("cookie", &cookie);
        foreign.send("POST", STAND_DOWN, call(&own)).has_status(403);
    }
    elsewhere.with("cookie", &cookie).send("POST", STAND_DOWN, call(&own)).has_status(403);
    browser(&server).send("POST", STAND_DOWN, call(&own)).has_status(401);
    let none = jonas.get(STAND_DOWN).has_status(200);
    assert!(none.text.contains("No stand-down is in force."), "nothing was done");

    jonas.send("POST", STAND_DOWN, call(&own)).has_status(303);

    let invented = ines.get(&format!("{STAND_DOWN}?recorded=999999")).has_status(200);
    assert!(!invented.text.contains("Recorded as no."), "a number that only the address tells");

    let shown = ines.get(STAND_DOWN).has_status(200);
    assert!(
        shown.text.contains("&lt;script&gt;alert(1)&lt;/script&gt; smoke"),
        "as it was written"
    );
    assert!(!shown.text.contains("<script>alert"), "{}", shown.text);
}

#[test]
fn a_page_tells_browsers_to_run_and_keep_nothing_of_others_and_the_api_reads_no_cookie() {
    let server = Server::demonstration();
    let viktor = signs_in(&server, "viktor");
    let page = viktor.get("/programmes/tallow").has_status(200);
    let header = |name: &str| {
        let found = page.headers.iter().find(|(known, _)| known == name);
        found.map(|(_, value)| value.clone()).unwrap_or_default()
    };
    let policy = header("content-security-policy");
    for part in
        ["default-src 'none'", "script-src 'self'", "frame-ancestors 'none'", "form-action 'self'"]
    {
        assert!(policy.contains(part), "{part} in {policy}");
    }
    assert!(!policy.contains("unsafe"), "{policy}");
    assert!(header("cache-control").contains("no-store"));
    assert_eq!(header("x-content-type-options"), "nosniff");

    viktor.get("/api/v1/programmes/tallow/points").has_status(401);
    viktor.get("/programmes/nowhere").has_status(404);
    let own = token(&viktor.get(STAND_DOWN).text).to_owned();
    let call = fields(&[("form.token", &own), ("reason", "to see whether it works")]);
    viktor.send("POST", STAND_DOWN, call).has_status(403);
    viktor.send("POST", "/sign-out", fields(&[("form.token", &own)])).has_status(303);
    viktor.get("/programmes/tallow").has_status(303);
}

#[test]
fn who_is_not_signed_in_is_led_to_the_door_and_a_wrong_password_opens_it_for_nobody() {
    let server = Server::demonstration();
    let answer = browser(&server).get("/programmes/tallow/ladder").has_status(303);
    let place = answer.headers.iter().find(|(name, _)| name == "location").unwrap().1.clone();
    assert!(place.starts_with("/sign-in?to="), "{place}");
    for (handle, password) in [("jonas", "wrong"), ("nobody", DEMONSTRATION_PASSWORD), ("<b>", "x")]
    {
        let form = fields(&[("to", "/"), ("handle", handle), ("password", password)]);
        let answer = browser(&server).send("POST", "/sign-in", form);
        assert!((400..500).contains(&answer.status), "{handle}: {}", answer.status);
        assert!(!answer.headers.iter().any(|(name, _)| name == "set-cookie"), "{handle}");
        assert!(!answer.text.contains("<b>"), "{}", answer.text);
    }
}

#[test]
fn an_open_page_hears_of_records_by_its_cookie_and_by_nothing_else() {
    let server = Server::demonstration();
    let stream = "/programmes/tallow/events";
    let [viktor, jonas] = ["viktor", "jonas"].map(|handle| signs_in(&server, handle));
    let page = viktor.get("/programmes/tallow").has_status(200).text;
    assert!(page.contains(&format!("data-live=\"{stream}\"")), "{page}");
    let seen = page.split("data-seq=\"").nth(1).and_then(|it| it.split('"').next()).unwrap();
    let seen: u64 = seen.parse().unwrap();

    let mut listener = viktor.with("accept-encoding", "gzip").listens(stream);
    assert_eq!(listener.status, 200);
    assert!(
        listener.headers.contains(&("cache-control".to_owned(), "private, no-store".to_owned())),
        "{:?}",
        listener.headers
    );
    assert_eq!(
        listener.next(),
        Event::Seq(seen),
        "nothing is compressed, so each event comes by itself"
    );
    let own = token(&jonas.get(STAND_DOWN).text).to_owned();
    jonas
        .send("POST", STAND_DOWN, fields(&[("form.token", &own), ("reason", "smoke")]))
        .has_status(303);
    assert_eq!(listener.next(), Event::Seq(seen + 1));

    let nobody = server.stranger().with("accept", "text/event-stream");
    assert_eq!(nobody.listens(stream).status, 401);
    assert_eq!(server.sign_in_to_demonstration("viktor").listens(stream).status, 401);
    assert_eq!(viktor.listens("/programmes/nowhere/events").status, 404);
    assert_eq!(viktor.listens("/api/v1/programmes/tallow/events").status, 401);

    let own = token(&viktor.get(STAND_DOWN).text).to_owned();
    viktor.send("POST", "/sign-out", fields(&[("form.token", &own)])).has_status(303);
    assert_eq!(listener.next(), Event::End);
    let who = viktor.get("/who").has_status(200);
    assert_eq!(who.json(), serde_json::json!({ "person": null, "token": null }));
}

#[test]
fn a_run_may_be_kept_on_a_device_for_whom_it_was_made_and_no_other_page_is() {
    let server = Server::demonstration();
    let jonas = signs_in(&server, "jonas");
    let run = jonas.get("/programmes/tallow/runs/1").has_status(200);
    assert_eq!(run.header("rungbook-keep"), Some("jonas"));
    assert_eq!(run.header("cache-control"), Some("private, no-store"));
    for path in ["/", "/programmes/tallow", "/programmes/tallow/ladder", STAND_DOWN] {
        assert_eq!(jonas.get(path).has_status(200).header("rungbook-keep"), None, "{path}");
    }
    let who = jonas.get("/who").has_status(200);
    assert_eq!(who.json()["person"], "jonas");
    assert_eq!(who.header("cache-control"), Some("private, no-store"));

    let worker = server.stranger().get("/worker.js").has_status(200);
    assert_eq!(worker.header("content-type"), Some("text/javascript; charset=utf-8"));
    assert_eq!(worker.header("cache-control"), Some("no-cache"));
    let tag = worker.header("etag").unwrap().to_owned();
    server.stranger().with("if-none-match", &tag).get("/worker.js").has_status(304);
    let style = worker.text.split('"').find(|it| it.ends_with(".css")).unwrap().to_owned();
    let style = server.stranger().get(&style).has_status(200);
    assert_eq!(style.header("cache-control"), Some("public, max-age=31536000, immutable"));
}

#[test]
fn a_page_shows_the_past_without_anything_that_could_be_sent_there_and_what_changed_since() {
    let server = Server::demonstration();
    let marit = signs_in(&server, "marit");
    let ledger = marit.get("/programmes/tallow/ledger").has_status(200).text;
    assert!(ledger.contains("<svg") && ledger.contains("rungbook/"), "a checkpoint to print");

    let then = marit.get("/programmes/tallow/ladder?as_of=40").has_status(200).text;
    assert!(then.contains("As it stood after record 40"), "{then}");
    assert!(then.contains("<fieldset class=\"past\" disabled>"), "{then}");
    let now = marit.get("/programmes/tallow/ladder").has_status(200).text;
    assert!(!now.contains("As it stood") && !now.contains("<fieldset class=\"past\""));
    marit.get("/programmes/tallow/ladder?as_of=999999").has_status(409);
    marit.get("/programmes/tallow?as_of=yesterday").has_status(400);

    let changed = marit.get("/programmes/tallow/changes?from=40&to=60").has_status(200).text;
    assert!(changed.contains("20 records in between"), "{changed}");
    assert!(changed.contains("No. 41, ") && !changed.contains("No. 61, "), "{changed}");
    marit.get("/programmes/tallow/changes?from=60&to=40").has_status(400);
}

#[test]
fn no_page_shows_the_present_under_the_words_of_the_past() {
    let server = Server::demonstration();
    let tomas = signs_in(&server, "tomas");
    // What stands only in the present of the demonstration, by page.
    for (page, of_now) in [
        ("", "22 runs, "),
        ("/today", "Grass dry."),
        ("/checks", "Two of ten releases"),
        ("/checks/C-HOOK", "Two of ten releases"),
        ("/hours", "21 counted runs"),
        ("/snags", "Clamp of the nose boom"),
        ("/days", "1 result"),
        ("/dates", "Test day, plan 3"),
        ("/configuration", "CP2 serial 03"),
        ("/envelope", "GR-07"),
        ("/recordings", "inverter_"),
        ("/tomorrow", "Plan 3"),
        ("/forecast", "First flight by"),
        ("/predictions", "rests on"),
    ] {
        let place = format!("/programmes/tallow{page}");
        let now = tomas.get(&place).has_status(200).text;
        assert!(now.contains(of_now), "{page}: {now}");
        let then = tomas.get(&format!("{place}?as_of=160"));
        // A page that has no past says so; one that has shows it.
        if then.status == 400 {
            continue;
        }
        let then = then.has_status(200).text;
        assert!(then.contains("As it stood after record 160"), "{page}: {then}");
        assert!(!then.contains(of_now), "{page} shows the present as the past: {then}");
    }
    let record = tomas.get("/programmes/tallow/ledger/40?as_of=20").has_status(200).text;
    assert!(!record.contains("As it stood"), "a record is the same at all times: {record}");
}
