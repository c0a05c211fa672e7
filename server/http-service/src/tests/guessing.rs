//! Whoever guesses at passwords learns nothing by how long it takes, is made to wait, and keeps nobody else from their work.

use futures_util::future::join;

use super::*;

fn entry(handle: &str, password: &str) -> Value {
    json!({ "handle": handle, "password": password })
}

/// How many hashes were computed so far.
fn hashes(house: &House) -> u64 {
    house.service.office().unwrap().metrics.secrets.hashes.get()
}

#[actix_web::test]
async fn every_attempt_to_sign_in_takes_one_hash_whoever_is_named() {
    let house = House::new().await;
    house.account("ada", false).await;
    let keeper = house.token("keeper").await;
    let path = "/api/v1/accounts/ada";
    let present = house.get(path).token(&keeper).answer().await.has_status(200);
    let off = json!({ "name": "Ada", "administrator": false, "disabled": true });
    let change = house.put(path).token(&keeper).header("if-match", present.header("etag"));
    change.json(&off).answer().await.has_status(200);
    for (what, handle, password, status) in [
        ("right", "keeper", PASSWORD, 201),
        ("a wrong password", "keeper", "not the password", 401),
        ("an empty password", "keeper", "", 401),
        ("nobody", "nobody", PASSWORD, 401),
        ("what cannot be a handle", "no body!", PASSWORD, 401),
        ("a handle that is far too long", &"x".repeat(500), PASSWORD, 401),
        ("an account that was disabled", "ada", PASSWORD, 401),
    ] {
        let before = hashes(&house);
        let asked = house.post("/api/v1/sessions").json(&entry(handle, password));
        asked.answer().await.has_status(status);
        assert_eq!(hashes(&house) - before, 1, "{what}");
    }
}

#[actix_web::test]
async fn while_people_wait_for_their_turn_to_sign_in_everything_else_is_answered() {
    let house = House::with(Settings { hashes_at_once: 1, ..Settings::default() }).await;
    let token = house.token("keeper").await;
    let secrets = &house.service.office().unwrap().secrets;
    let waiting = &house.service.office().unwrap().metrics.secrets.waiting;
    let turn = secrets.a_turn().await;
    let signs_in = house.post("/api/v1/sessions").json(&entry("keeper", PASSWORD)).answer();
    let meanwhile = async {
        while waiting.get() == 0 {
            tokio::task::yield_now().await;
        }
        for path in ["/api/v1/health/live", "/api/v1/health/ready", "/api/v1/account"] {
            house.get(path).token(&token).answer().await.has_status(200);
        }
        assert_eq!(waiting.get(), 1, "it still waits");
        drop(turn);
    };
    let (signed_in, ()) = join(signs_in, meanwhile).await;
    signed_in.has_status(201);
    assert_eq!(waiting.get(), 0);
}

#[actix_web::test]
async fn one_address_can_try_so_often_whatever_account_it_names_and_others_are_not_kept_out() {
    let house = House::with(Settings {
        attempts_per_address: Pace::new(3, Duration::from_secs(600)),
        attempts_per_account: Pace::new(100, Duration::from_millis(1)),
        behind_proxy: true,
        ..Settings::default()
    })
    .await;
    let from = |address: &str, handle: &str, password: &str| {
        let asked = house.post("/api/v1/sessions").header("x-forwarded-for", address);
        asked.json(&entry(handle, password)).answer()
    };
    for handle in ["ada", "bo", "cy"] {
        from("192.0.2.1", handle, "a guess that is wrong").await.is_problem(401, "sign-in-refused");
    }
    let before = hashes(&house);
    let waits = from("192.0.2.1", "keeper", PASSWORD).await;
    assert!((1..=600).contains(&waits.header("retry-after").parse::<u64>().unwrap()));
    waits.is_problem(429, "too-many-attempts");
    assert_eq!(hashes(&house), before, "what is put off takes no hash");
    let refresh = house.post("/api/v1/sessions/refresh").header("x-forwarded-for", "192.0.2.1");
    let refresh = refresh.json(&json!({ "refresh_token": "0".repeat(64) })).answer().await;
    refresh.is_problem(429, "too-many-attempts");
    // What the client wrote before the proxy added the address is believed by nobody.
    let hidden = from("198.51.100.7, 192.0.2.1", "keeper", PASSWORD).await;
    hidden.is_problem(429, "too-many-attempts");
    let hidden = house.post("/api/v1/sessions").header("forwarded", "for=198.51.100.8");
    let hidden = hidden.header("x-forwarded-for", "192.0.2.1").json(&entry("keeper", PASSWORD));
    hidden.answer().await.is_problem(429, "too-many-attempts");
    from("192.0.2.2", "keeper", PASSWORD).await.has_status(201);
}

#[actix_web::test]
async fn who_guesses_at_an_account_does_not_keep_its_owner_out_who_comes_from_elsewhere() {
    let house = House::with(Settings {
        attempts_per_account: Pace::new(2, Duration::from_secs(600)),
        behind_proxy: true,
        ..Settings::default()
    })
    .await;
    let from = |address: &str, password: &str| {
        let asked = house.post("/api/v1/sessions").header("x-forwarded-for", address);
        asked.json(&entry("keeper", password)).answer()
    };
    for _ in 0..2 {
        from("192.0.2.1", "a guess that is wrong").await.is_problem(401, "sign-in-refused");
    }
    from("192.0.2.1", PASSWORD).await.is_problem(429, "too-many-attempts");
    from("192.0.2.2", PASSWORD).await.has_status(201);
}

#[actix_web::test]
async fn without_a_proxy_of_ours_nobody_is_believed_another_address() {
    let house = House::with(Settings {
        attempts_per_address: Pace::new(2, Duration::from_secs(600)),
        ..Settings::default()
    })
    .await;
    for (address, status) in [("192.0.2.1", 401), ("192.0.2.2", 401), ("192.0.2.3", 429)] {
        let asked = house.post("/api/v1/sessions").header("x-forwarded-for", address);
        let asked = asked.json(&entry("keeper", "a guess that is wrong"));
        asked.answer().await.has_status(status);
    }
}
