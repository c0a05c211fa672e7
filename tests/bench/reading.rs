//! Reading a point, a list of fifty and a page, beside a bare handler that sends the same bytes.

use serde_json::json;

use super::bare::Bare;
use super::harness::{Client, DEMONSTRATION_PASSWORD, Server};
use super::load::Target;
use super::{ROUND, ROUNDS, median, rounded, told};

const READERS: usize = 8;

pub fn measure() {
    let server = Server::demonstration();
    let lead = server.sign_in_to_demonstration("marit");
    let programme = lead.get("/api/v1/programmes").has_status(200).json()["items"][0]["id"]
        .as_str()
        .unwrap()
        .to_owned();
    let list = format!("/api/v1/programmes/{programme}/points?limit=50");
    let page = lead.get(&list).has_status(200);
    let code = page.json()["items"][20]["code"].as_str().unwrap().to_owned();
    let one = format!("/api/v1/programmes/{programme}/points/{code}");
    let point = lead.get(&one).has_status(200);
    let bearer = format!("authorization: Bearer {}\r\n", lead.token.as_deref().unwrap());
    beside_bare("a point", &server, &one, &bearer, &point.bytes);
    beside_bare("fifty points", &server, &list, &bearer, &page.bytes);

    let cookie = cookie(&server);
    let ladder = format!("/programmes/{programme}/ladder");
    let shown = server.stranger().with("cookie", &cookie).get(&ladder).has_status(200);
    beside_bare(
        "the page of the ladder",
        &server,
        &ladder,
        &format!("cookie: {cookie}\r\n"),
        &shown.bytes,
    );
}

fn beside_bare(what: &str, server: &Server, path: &str, headers: &str, bytes: &[u8]) {
    let bare = Bare::sending(bytes);
    let service = Target::get(&server.base, path, headers);
    let other = Target::get(&bare.base, path, headers);
    let mut rates = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        rates.0.push(service.rate(READERS, ROUND));
        rates.1.push(other.rate(READERS, ROUND));
    }
    let (ours, theirs) = (median(rates.0), median(rates.1));
    told(
        &format!("reading {what}, signed in, beside a bare handler with the same bytes"),
        json!({ "bytes": bytes.len(), "per_s": ours.round(), "bare_per_s": theirs.round(), "ratio": rounded(ours / theirs) }),
    );
}

/// Signs in as a browser does.
fn cookie(server: &Server) -> String {
    let browser: Client = server.stranger().with("origin", &server.base);
    let form = format!("to=%2F&handle=marit&password={}", DEMONSTRATION_PASSWORD.replace(' ', "+"));
    let answer = browser
        .send("POST", "/sign-in", Some(("application/x-www-form-urlencoded", form)))
        .has_status(303);
    answer.header("set-cookie").unwrap().split(';').next().unwrap().to_owned()
}
