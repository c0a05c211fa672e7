//! Signing, refusing and taking back.

use super::*;

#[actix_web::test]
async fn signing_asks_for_the_secret_again_and_binds_what_was_seen() {
    let bench = Bench::new().await;
    let seen = bench.part("eve", "G-1", "plan-approval").await;
    assert_eq!((&seen["permitted"], &seen["holds"]), (&json!(true), &json!([])));
    let body = |digest: &Value, secret: &str| json!({ "part": "plan-approval", "digest": digest, "secret": secret });
    let at = "/points/G-1/sign-offs";
    let none = json!({ "part": "plan-approval", "digest": seen["digest"] });
    bench.post("eve", at, none).await.is_problem(422, "invalid");
    bench.post("eve", at, body(&seen["digest"], "wrong")).await.is_problem(403, "secret-wrong");
    bench.post("pat", at, body(&seen["digest"], "wrong")).await.is_problem(403, "not-permitted");
    let other = bench.part("eve", "G-2", "plan-approval").await;
    let stale = bench.post("eve", at, body(&other["digest"], PASSWORD)).await;
    stale.is_problem(409, "card-changed");
    let own = bench.sign("lou", "G-1", "plan-approval", json!({})).await.is_problem(409, "held");
    assert_eq!(rules(&own["holds"]), ["one-person-two-parts"], "lou wrote the plan");

    let signed = bench.post("eve", at, body(&seen["digest"], PASSWORD)).await.has_status(201);
    let told = signed.json();
    assert_eq!(told["now"]["part"], "plan-approval");
    assert_eq!(told["now"]["digest"], seen["digest"]);
    assert_eq!(told["now"]["signed_before"], false);
    let record = bench.house.get(signed.header("location")).token(&bench.tokens["viv"]);
    let record = record.answer().await.has_status(200).json();
    assert_eq!(record["entry"]["kind"], "part-signed");
    assert_eq!(record["entry"]["by"], "eve");
    let approval = bench.read("/points/G-1").await["signatures"][0].clone();
    assert_eq!((&approval["by"], &approval["stands"]), (&json!("eve"), &json!(true)));
}

#[actix_web::test]
async fn the_reply_tells_what_changed_since_the_person_last_signed_the_point() {
    let bench = Bench::new().await;
    bench.sign("eve", "G-1", "plan-approval", json!({})).await.has_status(201);
    let mut plan = bench.read("/points/G-1").await["plan"].clone();
    plan["duration_min"] = json!(15.0);
    bench.put("lou", "/points/G-1", "/points/G-1", plan).await.has_status(200);
    let point = bench.get("eve", "/points/G-1").await.json();
    assert_eq!(point["signatures"][0]["stands"], false, "a change voids");
    assert_eq!(point["to_sign"]["signed_before"], true);
    assert_eq!(point["to_sign"]["changed_since"][0]["at"], "point.duration_min");
    let signed = bench.sign("eve", "G-1", "plan-approval", json!({})).await.has_status(201).json();
    let changed = &signed["now"]["changed_since"];
    assert_eq!(signed["now"]["signed_before"], true);
    assert_eq!(changed, &json!([{ "at": "point.duration_min", "before": 10.0, "after": 15.0 }]));
}

#[actix_web::test]
async fn a_release_is_refused_with_every_hold_and_binds_its_window() {
    let bench = Bench::new().await;
    let until =
        json!({ "valid_until": "2026-05-02T18:00:00Z", "conditions": "Fire watch manned." });
    let held = bench.sign("sam", "G-2", "release", until.clone()).await.is_problem(409, "held");
    assert!(held["holds"].as_array().unwrap().len() >= 2, "all at once: {held}");
    bench.sign("eve", "G-1", "plan-approval", json!({})).await.has_status(201);
    let too_long = json!({ "valid_until": "2026-05-03T18:00:00Z" });
    let refused = bench.sign("sam", "G-1", "release", too_long).await.is_problem(422, "invalid");
    assert_eq!(refused["faults"][0]["field"], "valid_until");
    let released = bench.sign("sam", "G-1", "release", until).await.has_status(201).json();
    assert_eq!(released["now"]["state"], "released");
    let card = bench.part("sam", "G-1", "release").await;
    assert_ne!(released["now"]["digest"], card["digest"], "the window is signed too");
    let release = &bench.read("/points/G-1").await["signatures"][1];
    assert_eq!(release["conditions"], "Fire watch manned.");
    assert_eq!(release["digest"], released["now"]["digest"]);
}

#[actix_web::test]
async fn a_refusal_holds_until_whoever_refused_takes_it_back() {
    let bench = Bench::new().await;
    bench.sign("eve", "G-1", "plan-approval", json!({})).await.has_status(201);
    let no = json!({ "part": "release", "reasons": "The reading is not explained." });
    bench.post("lou", "/points/G-1/refusals", no.clone()).await.is_problem(403, "not-permitted");
    let refused = bench.post("sam", "/points/G-1/refusals", no).await.has_status(201).json();
    assert_eq!(refused["now"]["state"], "held");
    assert_eq!(
        bench.read("/points/G-1").await["refusals"][0]["reasons"],
        "The reading is not explained."
    );
    let back = |secret: Value| {
        let body = json!({ "part": "release", "reason": "It is now.", "secret": secret });
        bench.post("sam", "/points/G-1/withdrawals", body)
    };
    back(json!("wrong")).await.is_problem(403, "secret-wrong");
    let taken = back(json!(PASSWORD)).await.has_status(201).json();
    assert_eq!(taken["now"]["state"], "ready");
    back(json!(PASSWORD)).await.is_problem(409, "nothing-to-withdraw");
}

#[actix_web::test]
async fn an_unknown_part_or_a_field_of_another_part_is_refused() {
    let bench = Bench::new().await;
    let digest = "0".repeat(64);
    for body in [
        json!({ "part": "blessing", "digest": digest, "secret": PASSWORD }),
        json!({ "part": "plan-approval", "digest": digest, "valid_until": "2026-05-02T18:00:00Z", "secret": PASSWORD }),
        json!({ "part": "safety-acceptance", "digest": digest, "secret": PASSWORD }),
        json!({ "part": "plan-approval", "digest": "abc", "secret": PASSWORD }),
    ] {
        bench.post("eve", "/points/G-1/sign-offs", body).await.is_problem(422, "invalid");
    }
}

#[actix_web::test]
async fn the_same_signature_sent_twice_under_one_key_is_one_signature() {
    let bench = Bench::new().await;
    let seen = bench.part("eve", "G-1", "plan-approval").await;
    let body = json!({ "part": "plan-approval", "digest": seen["digest"], "secret": PASSWORD });
    let ask = |body: &Value| {
        let ask = bench.ask("eve", House::post, "/points/G-1/sign-offs");
        ask.header("idempotency-key", "one").json(body)
    };
    let first = ask(&body).answer().await.has_status(201);
    let again = ask(&body).answer().await.has_status(201);
    assert_eq!(again.header("idempotency-replayed"), "true");
    assert_eq!(first.json(), again.json());
    let mut wrong = body.clone();
    wrong["secret"] = json!("wrong");
    ask(&wrong).answer().await.is_problem(403, "secret-wrong");
    let mut other = body;
    other["digest"] = json!("0".repeat(64));
    ask(&other).answer().await.is_problem(422, "idempotency-key-reused");
}
