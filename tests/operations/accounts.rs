//! Signing in and out, one's own account, and the accounts that an administrator keeps.

use serde_json::json;

use super::Story;
use crate::harness::{PASSWORD, PROGRAMME};

pub(super) const SHOWN: &[&str] = &[
    "sessions_begin",
    "sessions_refresh",
    "sessions_list",
    "sessions_current",
    "sessions_end",
    "sessions_end_one",
    "account_read",
    "account_change_password",
    "account_change_pin",
    "account_remove_pin",
    "accounts_list",
    "accounts_create",
    "accounts_read",
    "accounts_amend",
    "accounts_reset_password",
    "accounts_end_sessions",
];

/// Another password.
const ANOTHER: &str = "wet grass and warm cells";

#[test]
fn people_sign_in_keep_their_account_and_sign_out_and_an_administrator_keeps_all_accounts() {
    let story = Story::begins();
    let (anyone, keeper) = (story.anyone(), story.keeper());
    let [cas, ..] = story.people();

    // Signing in, and staying so.
    let entry = json!({ "handle": "cas", "password": PASSWORD });
    let tokens = anyone.post("/api/v1/sessions", entry).has_status(201).json();
    assert_eq!(tokens["token_type"], "Bearer");
    let wrong = json!({ "handle": "cas", "password": "not my password" });
    anyone.post("/api/v1/sessions", wrong).has_problem(401, "sign-in-refused");
    let refresh = json!({ "refresh_token": tokens["refresh_token"] });
    let fresh = anyone.post("/api/v1/sessions/refresh", refresh).has_status(201).json();
    assert_eq!(fresh["session"], tokens["session"]);
    let made_up = json!({ "refresh_token": "0".repeat(64) });
    anyone.post("/api/v1/sessions/refresh", made_up).has_problem(401, "refresh-refused");
    let sessions = cas.get("/api/v1/sessions").has_status(200).json();
    assert_eq!(sessions["items"].as_array().map(Vec::len), Some(2), "{sessions:#}");
    assert_eq!(cas.get("/api/v1/sessions/current").has_status(200).json()["current"], true);

    // Signing out elsewhere; what is somebody else's is as if it were not there.
    let elsewhere = format!("/api/v1/sessions/{}", tokens["session"].as_str().unwrap());
    let [_, other, ..] = story.people();
    other.delete(&elsewhere).has_problem(404, "not-found");
    cas.delete(&format!("{elsewhere}?colour=red")).has_problem(400, "bad-query");
    cas.delete(&elsewhere).has_status(204);
    let ended = anyone
        .with("authorization", &format!("Bearer {}", fresh["access_token"].as_str().unwrap()));
    ended.get("/api/v1/account").has_problem(401, "token-refused");
    cas.delete(&elsewhere).has_problem(404, "not-found");
    cas.delete("/api/v1/sessions/mine").has_problem(404, "not-found");
    let sessions = cas.get("/api/v1/sessions").has_status(200).json();
    assert_eq!(sessions["items"].as_array().map(Vec::len), Some(1), "{sessions:#}");

    // One's own account.
    let own = cas.get("/api/v1/account").has_status(200).json();
    assert_eq!((&own["handle"], &own["has_pin"]), (&json!("cas"), &json!(false)));
    let pin = |secret: &str, pin: &str| {
        cas.put("/api/v1/account/pin", json!({ "secret": secret, "pin": pin }))
    };
    pin(PASSWORD, "123456").has_problem(422, "invalid");
    pin("not my password", "480213").has_problem(403, "secret-wrong");
    pin(PASSWORD, "480213").has_status(204);
    assert_eq!(cas.get("/api/v1/account").json()["has_pin"], true);
    cas.delete("/api/v1/account/pin").has_status(204);
    assert_eq!(cas.get("/api/v1/account").json()["has_pin"], false);
    for path in ["sessions", "sessions/current", "account"] {
        cas.get(&format!("/api/v1/{path}?colour=red")).has_problem(400, "bad-query");
    }
    for path in ["sessions/current", "account/pin"] {
        cas.delete(&format!("/api/v1/{path}?colour=red")).has_problem(400, "bad-query");
    }
    let password = |new: &str| {
        let body = json!({ "secret": PASSWORD, "new_password": new });
        cas.put("/api/v1/account/password", body)
    };
    password("too short").has_problem(422, "invalid");
    password(ANOTHER).has_status(204);
    cas.get("/api/v1/account").has_problem(401, "token-refused");
    let cas = story.team.server.sign_in_with("cas", ANOTHER);
    let cas = story.keeps_answers_of(&cas);
    cas.delete("/api/v1/sessions/current").has_status(204);
    cas.get("/api/v1/account").has_problem(401, "token-refused");

    // Everybody's accounts.
    let new = json!({ "handle": "otto", "name": "Otto", "password": PASSWORD });
    let made = keeper.post("/api/v1/accounts", new.clone()).has_status(201);
    assert_eq!(made.header("location"), Some("/api/v1/accounts/otto"));
    keeper.post("/api/v1/accounts", new).has_problem(409, "account-exists");
    let otto = story.team.server.sign_in("otto");
    otto.get(PROGRAMME).has_problem(404, "not-found");
    let all = keeper.get("/api/v1/accounts").has_status(200).json();
    let handles: Vec<_> =
        all["items"].as_array().unwrap().iter().map(|it| it["handle"].as_str().unwrap()).collect();
    assert_eq!(handles, ["cas", "eve", "ivo", "keeper", "lea", "otto", "pip", "sam"]);
    keeper.get("/api/v1/accounts?limit=501").has_problem(400, "bad-query");
    keeper.get("/api/v1/accounts/nobody").has_problem(404, "not-found");
    let named = json!({ "name": "Otto Quill", "administrator": false, "disabled": false });
    let path = "/api/v1/accounts/otto";
    keeper.put(path, named.clone()).has_problem(428, "if-match-required");
    assert_eq!(keeper.change(path, named).has_status(200).json()["name"], "Otto Quill");
    keeper.delete(&format!("{path}/sessions")).has_status(204);
    otto.get("/api/v1/account").has_problem(401, "token-refused");
    keeper.delete("/api/v1/accounts/nobody/sessions").has_problem(404, "not-found");
    let reset = |password: &str| {
        keeper.put(&format!("{path}/password"), json!({ "new_password": password }))
    };
    reset("too short").has_problem(422, "invalid");
    reset(ANOTHER).has_status(204);
    story.team.server.sign_in_with("otto", ANOTHER);

    story.has_shown(SHOWN);
}

#[test]
fn the_last_administrator_stays_one() {
    let story = Story::begins();
    let keeper = story.keeper();
    let path = "/api/v1/accounts/keeper";
    for (administrator, disabled) in [(false, false), (true, true)] {
        let body =
            json!({ "name": "Keeper", "administrator": administrator, "disabled": disabled });
        keeper.change(path, body).has_problem(409, "last-administrator");
    }
    assert_eq!(keeper.get(path).has_status(200).json()["administrator"], true);
}
