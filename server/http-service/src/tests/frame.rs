//! What is around every request.

use super::*;

#[actix_web::test]
async fn whatever_goes_wrong_is_a_problem_with_the_id_of_the_request() {
    let house = House::new().await;
    let token = house.token("keeper").await;
    house.get("/nowhere").answer().await.is_problem(404, "no-such-path");
    house.get("/api/v1/nowhere").answer().await.is_problem(404, "no-such-path");

    let wrong_method = house.delete("/api/v1/compute").answer().await;
    assert_eq!(wrong_method.header("allow"), "GET");
    wrong_method.is_problem(405, "method-not-allowed");

    let topic = "/api/v1/compute/atmosphere";
    let post = || house.post(topic).token(&token);
    post().bytes("text/plain", "{}").answer().await.is_problem(415, "unsupported-type");
    post().answer().await.is_problem(415, "unsupported-type");
    post().bytes("application/json", "{").answer().await.is_problem(400, "not-json");
    post().bytes("application/json", "{} {}").answer().await.is_problem(400, "not-json");
    post().bytes("application/json", vec![0xff, 0xfe]).answer().await.is_problem(400, "not-json");
    let deep = "[".repeat(100_000);
    post().bytes("application/json", deep).answer().await.is_problem(400, "too-deep");
    let problem =
        post().json(&json!({ "oat_c": "warm" })).answer().await.is_problem(422, "input-refused");
    assert!(problem["faults"].as_array().unwrap().len() >= 2, "every fault is told: {problem}");
    house
        .post("/api/v1/compute/astrology")
        .token(&token)
        .json(&json!({}))
        .answer()
        .await
        .is_problem(404, "unknown-topic");
}

#[actix_web::test]
async fn a_body_larger_than_is_read_is_refused_with_its_bound() {
    let house = House::with(Settings { largest_body: 1000, ..Settings::default() }).await;
    let body = json!({ "handle": "x".repeat(2000), "password": "y" });
    let problem =
        house.post("/api/v1/sessions").json(&body).answer().await.is_problem(413, "body-too-large");
    assert!(problem["detail"].as_str().unwrap().contains("1000 bytes"), "{problem}");
}

#[actix_web::test]
async fn unknown_fields_and_unknown_query_names_are_refused_and_named() {
    let house = House::new().await;
    let body = json!({ "handle": "keeper", "password": PASSWORD, "remember": true });
    let problem =
        house.post("/api/v1/sessions").json(&body).answer().await.is_problem(422, "invalid");
    assert_eq!(problem["faults"][0]["field"], "remember", "{problem}");

    let token = house.token("keeper").await;
    let strange = house.get("/api/v1/accounts?colour=red").token(&token).answer().await;
    let problem = strange.is_problem(400, "bad-query");
    assert_eq!(problem["faults"][0]["field"], "colour");
    house.get("/api/v1/account?x=1").token(&token).answer().await.is_problem(400, "bad-query");
    house.get("/api/v1/accounts?limit=0").token(&token).answer().await.is_problem(400, "bad-query");
    house.get("/api/v1/accounts?limit=x").token(&token).answer().await.is_problem(400, "bad-query");
}

#[actix_web::test]
async fn every_reply_has_an_id_and_tells_browsers_to_run_and_guess_nothing() {
    let house = House::new().await;
    let answer = house.get("/api/v1/health/live").answer().await.has_status(200);
    assert_eq!(answer.header("x-request-id").len(), 36);
    assert_eq!(answer.header("x-content-type-options"), "nosniff");
    assert!(answer.header("content-security-policy").contains("default-src 'none'"));
    let named =
        house.get("/api/v1/health/live").header("x-request-id", "tablet-7.00042").answer().await;
    assert_eq!(named.header("x-request-id"), "tablet-7.00042");
    house.get("/api/v1/health/ready").answer().await.has_status(200);
}

#[actix_web::test]
async fn what_a_reader_has_already_is_not_sent_again() {
    let house = House::new().await;
    let first = house.get("/api/v1/compute/risk").answer().await.has_status(200);
    let tag = first.header("etag").to_owned();
    let again = house
        .get("/api/v1/compute/risk")
        .header("if-none-match", &tag)
        .answer()
        .await
        .has_status(304);
    assert!(again.body.is_empty());
    house
        .get("/api/v1/compute/risk")
        .header("if-none-match", "\"x\"")
        .answer()
        .await
        .has_status(200);
}

#[actix_web::test]
async fn long_lists_come_in_pages_that_link_to_the_next() {
    let house = House::new().await;
    let token = house.token("keeper").await;
    for handle in ["ada", "bo", "cy"] {
        house.account(handle, false).await;
    }
    let mut seen = Vec::new();
    let mut next = Some("/api/v1/accounts?limit=3".to_owned());
    while let Some(path) = next {
        let page = house.get(&path).token(&token).answer().await.has_status(200).json();
        let items = page["items"].as_array().unwrap().clone();
        seen.extend(items.iter().map(|item| item["handle"].as_str().unwrap().to_owned()));
        next = page["next"].as_str().map(str::to_owned);
    }
    assert_eq!(seen, ["ada", "bo", "cy", "keeper"]);
}
