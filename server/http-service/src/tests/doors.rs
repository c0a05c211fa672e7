//! Signing in, staying signed in, signing out; accounts.

use super::*;

async fn refresh(house: &House, token: &str) -> Answer {
    house.post("/api/v1/sessions/refresh").json(&json!({ "refresh_token": token })).answer().await
}

fn text<'v>(value: &'v Value, field: &str) -> &'v str {
    value[field].as_str().unwrap()
}

#[actix_web::test]
async fn a_wrong_password_and_an_unknown_handle_are_answered_alike() {
    let house = House::new().await;
    let mut details = Vec::new();
    for (handle, password) in
        [("keeper", "not the password"), ("nobody", PASSWORD), ("no body!", PASSWORD)]
    {
        let body = json!({ "handle": handle, "password": password });
        let problem = house
            .post("/api/v1/sessions")
            .json(&body)
            .answer()
            .await
            .is_problem(401, "sign-in-refused");
        details.push(problem["detail"].clone());
    }
    assert_eq!(details[0], details[1]);
    assert_eq!(details[0], details[2]);
}

#[actix_web::test]
async fn without_a_good_token_nothing_is_told() {
    let house = House::new().await;
    let token = house.token("keeper").await;
    let ask = || house.get("/api/v1/account");
    ask().token(&token).answer().await.has_status(200);
    let challenge = ask().answer().await;
    assert!(challenge.header("www-authenticate").starts_with("Bearer"));
    challenge.is_problem(401, "not-signed-in");
    ask()
        .header("authorization", &format!("Basic {token}"))
        .answer()
        .await
        .is_problem(401, "not-signed-in");
    ask().token(&token).token(&token).answer().await.is_problem(401, "not-signed-in");
    ask().token(&format!("{token}x")).answer().await.is_problem(401, "token-refused");
    ask().token("").answer().await.is_problem(401, "token-refused");
    house.time_passes(TimeDelta::minutes(10));
    ask().token(&token).answer().await.is_problem(401, "token-refused");
}

#[actix_web::test]
async fn signing_out_acts_at_once_on_both_tokens() {
    let house = House::new().await;
    let tokens = house.sign_in("keeper").await;
    let access = text(&tokens, "access_token");
    house.delete("/api/v1/sessions/current").token(access).answer().await.has_status(204);
    house.get("/api/v1/account").token(access).answer().await.is_problem(401, "token-refused");
    refresh(&house, text(&tokens, "refresh_token")).await.is_problem(401, "refresh-refused");
}

#[actix_web::test]
async fn a_refresh_token_that_comes_twice_ends_its_session() {
    let house = House::new().await;
    let first = house.sign_in("keeper").await;
    let second = refresh(&house, text(&first, "refresh_token")).await.has_status(201).json();
    assert_eq!(first["session"], second["session"]);
    house
        .get("/api/v1/account")
        .token(text(&second, "access_token"))
        .answer()
        .await
        .has_status(200);

    refresh(&house, text(&first, "refresh_token")).await.is_problem(401, "refresh-refused");
    refresh(&house, text(&second, "refresh_token")).await.is_problem(401, "refresh-refused");
    house
        .get("/api/v1/account")
        .token(text(&second, "access_token"))
        .answer()
        .await
        .is_problem(401, "token-refused");
    refresh(&house, "not a token").await.is_problem(401, "refresh-refused");
}

#[actix_web::test]
async fn a_refresh_whose_reply_was_lost_can_be_repeated_under_its_key() {
    let house = House::new().await;
    let tokens = house.sign_in("keeper").await;
    let ask = |token: &str| {
        house
            .post("/api/v1/sessions/refresh")
            .header("idempotency-key", "lost-in-the-grass")
            .json(&json!({ "refresh_token": token }))
    };
    let first = ask(text(&tokens, "refresh_token")).answer().await.has_status(201).json();
    let again = ask(text(&tokens, "refresh_token")).answer().await.has_status(201);
    assert_eq!(again.header("idempotency-replayed"), "true");
    let again = again.json();
    assert_eq!(first["refresh_token"], again["refresh_token"]);
    let next = ask(text(&again, "refresh_token")).answer().await.has_status(201).json();
    assert_ne!(next["refresh_token"], again["refresh_token"]);
    house.get("/api/v1/account").token(text(&next, "access_token")).answer().await.has_status(200);
}

#[actix_web::test]
async fn a_sign_in_repeated_under_its_key_is_the_same_session_and_still_asks_for_the_password() {
    let house = House::new().await;
    let ask = |password: &str| {
        house
            .post("/api/v1/sessions")
            .header("idempotency-key", "k1")
            .json(&json!({ "handle": "keeper", "password": password }))
    };
    let first = ask(PASSWORD).answer().await.has_status(201).json();
    let again = ask(PASSWORD).answer().await.has_status(201).json();
    assert_eq!(first["session"], again["session"]);
    assert_eq!(first["refresh_token"], again["refresh_token"]);
    ask("not the password").answer().await.is_problem(401, "sign-in-refused");
    let access = text(&first, "access_token");
    let sessions =
        house.get("/api/v1/sessions").token(access).answer().await.has_status(200).json();
    assert_eq!(sessions["items"].as_array().unwrap().len(), 1);
    assert_eq!(sessions["items"][0]["current"], true);
    assert!(sessions["items"][0]["began_at"].is_string());
}

#[actix_web::test]
async fn too_many_attempts_are_told_when_to_come_back() {
    let house = House::with(Settings {
        attempts_per_account: Pace::new(2, Duration::from_secs(600)),
        ..Settings::default()
    })
    .await;
    house.account("ada", false).await;
    let body = json!({ "handle": "keeper", "password": "not the password" });
    for _ in 0..2 {
        house
            .post("/api/v1/sessions")
            .json(&body)
            .answer()
            .await
            .is_problem(401, "sign-in-refused");
    }
    let right = json!({ "handle": "keeper", "password": PASSWORD });
    let waits = house.post("/api/v1/sessions").json(&right).answer().await;
    let seconds: u64 = waits.header("retry-after").parse().unwrap();
    assert!((1..=600).contains(&seconds), "{seconds}");
    waits.is_problem(429, "too-many-attempts");
    house.token("ada").await;
}

#[actix_web::test]
async fn disabling_an_account_ends_its_sessions_at_once() {
    let house = House::new().await;
    house.account("ada", false).await;
    let (keeper, ada) = (house.token("keeper").await, house.token("ada").await);
    let path = "/api/v1/accounts/ada";
    let account = house.get(path).token(&keeper).answer().await.has_status(200);
    let tag = account.header("etag").to_owned();
    let change = json!({ "name": "Ada Thorn", "administrator": false, "disabled": true });
    let put = || house.put(path).token(&keeper).json(&change);
    put().answer().await.is_problem(428, "if-match-required");
    put().header("if-match", "\"0000000000000000\"").answer().await.is_problem(412, "stale");
    put().header("if-match", "nonsense").answer().await.is_problem(400, "bad-header");
    let changed = put().header("if-match", &tag).answer().await.has_status(200).json();
    assert_eq!(changed["name"], "Ada Thorn");
    assert!(changed["disabled_at"].is_string());
    put().header("if-match", &tag).answer().await.is_problem(412, "stale");

    house.get("/api/v1/account").token(&ada).answer().await.is_problem(401, "token-refused");
    let body = json!({ "handle": "ada", "password": PASSWORD });
    house.post("/api/v1/sessions").json(&body).answer().await.is_problem(401, "sign-in-refused");
}

#[actix_web::test]
async fn accounts_are_for_administrators_and_the_last_one_stays() {
    let house = House::new().await;
    house.account("ada", false).await;
    let (keeper, ada) = (house.token("keeper").await, house.token("ada").await);
    house.get("/api/v1/accounts").token(&ada).answer().await.is_problem(403, "not-administrator");
    let own = house.get("/api/v1/accounts/keeper").token(&keeper).answer().await;
    let change = json!({ "name": "The keeper", "administrator": false, "disabled": false });
    house
        .put("/api/v1/accounts/keeper")
        .token(&keeper)
        .header("if-match", own.header("etag"))
        .json(&change)
        .answer()
        .await
        .is_problem(409, "last-administrator");
    house.get("/api/v1/accounts/nobody").token(&keeper).answer().await.is_problem(404, "not-found");
}

#[actix_web::test]
async fn making_an_account_twice_under_one_key_makes_it_once() {
    let house = House::new().await;
    let keeper = house.token("keeper").await;
    let ask = |name: &str| {
        house.post("/api/v1/accounts").token(&keeper).header("idempotency-key", "a-1").json(
            &json!({
                "handle": "dee", "name": name, "password": "wet grass and warm cells",
            }),
        )
    };
    let made = ask("Dee").answer().await.has_status(201);
    assert_eq!(made.header("location"), "/api/v1/accounts/dee");
    let again = ask("Dee").answer().await.has_status(201);
    assert_eq!(again.header("idempotency-replayed"), "true");
    assert_eq!(made.json(), again.json());
    ask("Deirdre").answer().await.is_problem(422, "idempotency-key-reused");
    let other = house.post("/api/v1/accounts").token(&keeper).json(&json!({
        "handle": "dee", "name": "Dee", "password": "wet grass and warm cells",
    }));
    other.answer().await.is_problem(409, "account-exists");
    let plain = house.post("/api/v1/accounts").token(&keeper).json(&json!({
        "handle": "eve", "name": "Eve", "password": "short",
    }));
    let problem = plain.answer().await.is_problem(422, "invalid");
    assert_eq!(problem["faults"][0]["field"], "password");
    let spaced = house.post("/api/v1/accounts").token(&keeper).header("idempotency-key", "a b");
    spaced.json(&json!({})).answer().await.is_problem(400, "bad-header");
}

#[actix_web::test]
async fn changing_the_password_ends_every_session_and_asks_for_the_old_one() {
    let house = House::new().await;
    house.account("ada", false).await;
    let ada = house.token("ada").await;
    let put = |secret: &str| {
        house.put("/api/v1/account/password").token(&ada).json(&json!({
            "secret": secret, "new_password": "dry grass and cool cells",
        }))
    };
    put("not the password").answer().await.is_problem(403, "secret-wrong");
    put(PASSWORD).answer().await.has_status(204);
    house.get("/api/v1/account").token(&ada).answer().await.is_problem(401, "token-refused");
    house.time_passes(TimeDelta::seconds(1));
    let body = json!({ "handle": "ada", "password": "dry grass and cool cells" });
    let tokens = house.post("/api/v1/sessions").json(&body).answer().await.has_status(201).json();
    let ada = text(&tokens, "access_token").to_owned();

    let pin = json!({ "secret": "dry grass and cool cells", "pin": "480213" });
    house.put("/api/v1/account/pin").token(&ada).json(&pin).answer().await.has_status(204);
    let own = house.get("/api/v1/account").token(&ada).answer().await.has_status(200).json();
    assert_eq!(own["has_pin"], true);
    let weak = json!({ "secret": "dry grass and cool cells", "pin": "123456" });
    house
        .put("/api/v1/account/pin")
        .token(&ada)
        .json(&weak)
        .answer()
        .await
        .is_problem(422, "invalid");
}
