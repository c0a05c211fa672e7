//! What people at the field report: weather, snags, stand-downs.

use super::tug::{Tug, rows};
use super::*;

#[actix_web::test]
async fn anyone_stops_everything_and_only_the_safety_officer_lifts_what_was_read() {
    let tug = Tug::with(&["pelle", "sofia"]).await;
    let called = tug.post("pelle", "/stand-down", json!({ "reason": "Smoke." })).await;
    let called = called.has_status(201);
    assert_eq!(called.header("location"), "/api/v1/programmes/tug/stand-down");
    let first = called.json()["now"]["calls"][0]["seq"].as_u64().unwrap();
    tug.post("marit", "/stand-down", json!({ "reason": "And a smell." })).await.has_status(201);

    let lift = |calls: Value, secret: &str| {
        tug.post(
            "sofia",
            "/stand-down/lifting",
            json!({ "reasons": "It was the kettle.", "calls": calls, "secret": secret }),
        )
    };
    lift(json!([first]), "not this").await.is_problem(403, "secret-wrong");
    lift(json!([first]), PASSWORD).await.is_problem(409, "stand-down-called-since");
    let by_lead = json!({ "reasons": "Hm.", "calls": [first], "secret": PASSWORD });
    tug.post("marit", "/stand-down/lifting", by_lead).await.is_problem(403, "not-permitted");

    let in_force = tug.read("/stand-down").await;
    assert_eq!(in_force["in_force"], true);
    let calls: Vec<_> =
        in_force["calls"].as_array().unwrap().iter().map(|call| call["seq"].clone()).collect();
    let lifted = lift(json!(calls), PASSWORD).await.has_status(200).json();
    assert_eq!(lifted["now"], json!({ "in_force": false, "calls": [] }));
    assert_eq!(lifted["records"][0]["kind"], "stand-down-lifted");

    let all = tug.read("/stand-down/calls?limit=1").await;
    assert_eq!(rows(&all)[0]["reason"], "And a smell.", "newest first");
    let next = tug.house.get(all["next"].as_str().unwrap());
    let token = tug.house.token("marit").await;
    let next = next.token(&token).answer().await.has_status(200).json();
    assert_eq!(rows(&next)[0]["seq"], first);
    assert!(next["next"].is_null());
    let before = tug.read(&format!("/stand-down?as_of={first}")).await;
    assert_eq!(before["in_force"], true, "as it stood then");
}

#[actix_web::test]
async fn weather_that_is_reported_late_is_listed_and_does_not_replace_a_newer_one() {
    let tug = Tug::with(&["pelle", "viktor"]).await;
    tug.get("viktor", "/weather/latest").await.is_problem(404, "not-found");
    let observe = |wind: u32, at: Value| {
        let weather = json!({ "wind": { "value": wind, "unit": "kt" } });
        tug.post("pelle", "/weather", json!({ "weather": weather, "observed_at": at }))
    };
    tug.house.time_passes(TimeDelta::minutes(9));
    let first = observe(5, json!("2026-05-02T08:08:00Z")).await.has_status(201).json();
    assert_eq!(first["now"]["good_until"], "2026-05-02T09:08:00Z", "the policy says an hour");
    observe(9, json!("2026-05-02T08:02:00Z")).await.has_status(201);
    assert_eq!(tug.read("/weather/latest").await["weather"]["wind"]["value"], 5.0);
    let listed = tug.read("/weather").await;
    let winds: Vec<_> = rows(&listed).iter().map(|row| &row["weather"]["wind"]["value"]).collect();
    assert_eq!(winds, [9.0, 5.0]);
    let ahead = observe(5, json!("2026-05-03T09:30:00Z")).await.is_problem(422, "invalid");
    assert_eq!(ahead["faults"][0]["field"], "observed_at");
    let none = json!({ "weather": {} });
    tug.post("pelle", "/weather", none.clone()).await.is_problem(422, "invalid");
    tug.post("viktor", "/weather", none).await.is_problem(403, "not-permitted");
}

#[actix_web::test]
async fn a_snag_is_opened_worked_on_and_closed_on_what_the_engineer_read() {
    let tug = Tug::with(&["pelle", "tomas"]).await;
    let snag = json!({
        "title": "Chafed cable", "grounding": true, "severity": "critical", "item": "battery",
    });
    let opened = tug.post("pelle", "/snags", snag).await.has_status(201);
    assert_eq!(opened.header("location"), "/api/v1/programmes/tug/snags/1");
    assert!(opened.header("etag").starts_with('"'));
    let read = tug.get("tomas", "/snags/1").await.has_status(200);
    assert_eq!(read.json(), opened.json()["now"]);

    let closing = |digest: &Value| {
        let body = json!({
            "cause": "Clip missing.", "action": "Clip fitted; holds.",
            "digest": digest, "secret": PASSWORD,
        });
        tug.post("tomas", "/snags/1/closing", body)
    };
    let unread = read.json()["digest"].clone();
    closing(&unread).await.is_problem(409, "snag-not-worked");
    let worked = tug.post("pelle", "/snags/1/work", json!({ "action": "Sleeved." })).await;
    let worked = worked.has_status(200).json();
    closing(&unread).await.is_problem(409, "card-changed");
    let closed = closing(&worked["now"]["digest"]).await.has_status(200).json();
    assert_eq!(closed["now"]["closed"]["by"], "tomas");
    assert!(closed["now"]["digest"].is_null(), "there is nothing left to sign");

    assert_eq!(rows(&tug.read("/snags?open=true").await).len(), 0);
    assert_eq!(rows(&tug.read("/snags?open=false").await).len(), 1);
    tug.get("tomas", "/snags/2").await.is_problem(404, "not-found");
    tug.get("tomas", "/snags/one").await.is_problem(404, "not-found");
}
