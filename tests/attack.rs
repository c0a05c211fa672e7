//! Tokens as an attacker would make them: each is refused, and none learns why.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde_json::{Value, json};

use crate::harness::{Answer, Client, PASSWORD, Server, Team};

fn encoded(bytes: &[u8]) -> String {
    URL_SAFE_NO_PAD.encode(bytes)
}

fn decoded(text: &str) -> Vec<u8> {
    URL_SAFE_NO_PAD.decode(text).unwrap()
}

fn part(value: &Value) -> String {
    encoded(value.to_string().as_bytes())
}

/// Every token that is tried, by what is wrong with it.
fn hostile(good: &str, refresh: &str, cookie: &str, others: &str) -> Vec<(String, String)> {
    let parts: Vec<&str> = good.split('.').collect();
    let [header, payload, signature] = parts[..] else { panic!("a token has three parts") };
    let claims: Value = serde_json::from_slice(&decoded(payload)).unwrap();
    let mut all: Vec<(String, String)> = Vec::new();
    let mut add = |what: &str, token: String| all.push((what.to_owned(), token));

    for none in ["none", "None", "NONE", "nOnE", ""] {
        let header = part(&json!({ "alg": none, "typ": "at+jwt" }));
        add(&format!("algorithm {none:?}, no signature"), format!("{header}.{payload}."));
        add(
            &format!("algorithm {none:?}, the old signature"),
            format!("{header}.{payload}.{signature}"),
        );
    }
    for other in ["HS384", "HS512", "RS256", "ES256", "EdDSA", "PS512", "HS257"] {
        let header = part(&json!({ "alg": other, "typ": "at+jwt" }));
        add(&format!("algorithm {other}"), format!("{header}.{payload}.{signature}"));
    }
    for (what, more) in [
        ("a key by its name", json!({ "kid": "../../rungbook.db" })),
        ("a key by a query", json!({ "kid": "x' UNION SELECT 'secret" })),
        ("a key at an address", json!({ "jku": "https://example.org/keys" })),
        ("a certificate at an address", json!({ "x5u": "https://example.org/cert" })),
        ("a key of its own", json!({ "jwk": { "kty": "oct", "k": "AAAA" } })),
        ("something critical", json!({ "crit": ["b64"], "b64": false })),
        ("compressed", json!({ "zip": "DEF" })),
        ("another type", json!({ "typ": "JWT" })),
        ("no type", json!({ "typ": null })),
    ] {
        let mut header = json!({ "alg": "HS256", "typ": "at+jwt" });
        header.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        add(what, format!("{}.{payload}.{signature}", part(&header)));
    }
    for (field, value) in [
        ("sub", json!("keeper")),
        ("aud", json!("everybody")),
        ("aud", json!(["rungbook-api", "everybody"])),
        ("iss", json!("somebody")),
        ("exp", json!(99_999_999_999_i64)),
        ("exp", json!("never")),
        ("exp", json!(-1)),
        ("nbf", json!(0)),
        ("iat", json!(9e99)),
        ("typ", json!("refresh")),
        ("sid", json!("00000000-0000-0000-0000-000000000000")),
        ("admin", json!(true)),
    ] {
        let mut changed = claims.clone();
        changed[field] = value.clone();
        add(&format!("{field} made {value}"), format!("{header}.{}.{signature}", part(&changed)));
    }
    let mut flipped = decoded(signature);
    flipped[7] ^= 1;
    add("a bit of the signature", format!("{header}.{payload}.{}", encoded(&flipped)));
    add("half a signature", format!("{header}.{payload}.{}", &signature[..signature.len() / 2]));
    add("no signature", format!("{header}.{payload}."));
    add("two parts", format!("{header}.{payload}"));
    add("four parts", format!("{good}.{signature}"));
    add(
        "the signature of another",
        format!("{header}.{payload}.{}", others.rsplit('.').next().unwrap()),
    );
    add("the claims of another", {
        let theirs = others.split('.').nth(1).unwrap();
        format!("{header}.{theirs}.{signature}")
    });
    add("padding", format!("{header}.{payload}.{signature}="));
    add("letters that are none", format!("{header}.{payload}.+/{}", &signature[2..]));
    add("claims that are no object", format!("{header}.{}.{signature}", part(&json!([1, 2]))));
    add("claims that are no JSON", format!("{header}.{}.{signature}", encoded(b"{\"sub\":")));
    add("a header that is no JSON", format!("{}.{payload}.{signature}", encoded(b"\xff\xfe")));
    add("a token in a token", format!("{header}.{}.{signature}", encoded(good.as_bytes())));
    add("oversize", format!("{header}.{}.{signature}", "A".repeat(7_000)));
    add("dots", ".".repeat(500));
    add("a refresh token", refresh.to_owned());
    add("what a browser keeps", cookie.to_owned());
    all
}

/// What is told to whoever has no good token, without what names the single request.
fn told(answer: &Answer) -> Value {
    let mut body = answer.json();
    for of_the_request in ["instance", "request_id"] {
        body.as_object_mut().unwrap().remove(of_the_request);
    }
    body
}

fn asks(anyone: &Client, token: &str) -> Answer {
    anyone.with("authorization", &format!("Bearer {token}")).get("/api/v1/account")
}

#[test]
fn every_hostile_token_is_refused_alike() {
    let team = Team::new();
    let server: &Server = &team.server;
    let anyone = server.stranger();
    let entry = |handle: &str| {
        let body = json!({ "handle": handle, "password": PASSWORD });
        anyone.post("/api/v1/sessions", body).has_status(201).json()
    };
    let (lea, pip) = (entry("lea"), entry("pip"));
    let text = |of: &Value, field: &str| of[field].as_str().unwrap().to_owned();
    let form = format!("to=%2F&handle=lea&password={}", PASSWORD.replace(' ', "+"));
    let browser = anyone.with("accept", "text/html").with("origin", &server.base);
    let signed_in = browser
        .send("POST", "/sign-in", Some(("application/x-www-form-urlencoded", form)))
        .has_status(303);
    let cookie = signed_in.header("set-cookie").unwrap();
    let cookie = cookie.split(';').next().unwrap().split_once('=').unwrap().1.to_owned();

    let good = text(&lea, "access_token");
    asks(&anyone, &good).has_status(200);
    let hostile =
        hostile(&good, &text(&lea, "refresh_token"), &cookie, &text(&pip, "access_token"));
    assert!(hostile.len() > 50, "{}", hostile.len());
    let usual = told(&asks(&anyone, "nonsense").has_problem(401, "token-refused"));
    for (what, token) in &hostile {
        let answer = asks(&anyone, token);
        assert_eq!(answer.status, 401, "{what}: {}", answer.text);
        assert_eq!(told(&answer), usual, "{what}");
        assert!(answer.header("www-authenticate").is_some(), "{what}");
    }

    // A token of a session that was ended is one of them from then on.
    anyone
        .with("authorization", &format!("Bearer {good}"))
        .delete("/api/v1/sessions/current")
        .has_status(204);
    assert_eq!(told(&asks(&anyone, &good).has_status(401)), usual);
    let again = json!({ "refresh_token": text(&lea, "refresh_token") });
    anyone.post("/api/v1/sessions/refresh", again).has_problem(401, "refresh-refused");
}
