//! Points: lists, plans, holds, and what can be done next.

use super::*;

fn codes(page: &Value) -> Vec<&str> {
    items(page).iter().map(|row| row["code"].as_str().unwrap()).collect()
}

#[actix_web::test]
async fn the_ladder_is_listed_in_the_order_planned_by_phase_state_and_page() {
    let bench = Bench::new().await;
    let all = bench.read("/points").await;
    assert_eq!(codes(&all), ["G-1", "G-2", "T-1"]);
    assert_eq!(items(&all)[0]["state"], "held", "its plan is not approved");
    assert!(items(&all)[0]["holds"].as_u64().unwrap() >= 1);
    let first = bench.read("/points?limit=2").await;
    assert_eq!(codes(&first), ["G-1", "G-2"]);
    assert_eq!(first["next"], format!("{AT}/points?after=G-2&limit=2"));
    let last = bench.read("/points?limit=2&after=G-2").await;
    assert_eq!(codes(&last), ["T-1"]);
    assert!(last["next"].is_null());
    assert_eq!(codes(&bench.read("/points?phase=taxi").await), ["T-1"]);

    bench.sign("eve", "G-1", "plan-approval", json!({})).await.has_status(201);
    let ready = bench.read("/points?state=ready").await;
    assert_eq!(codes(&ready), ["G-1"]);
    assert_eq!(items(&ready)[0]["holds_against_release"], 0);
    bench.get("viv", "/points?state=fine").await.is_problem(400, "bad-query");
    bench.get("viv", "/points?after=G-9").await.is_problem(400, "bad-query");

    let before = bench.read("/ledger").await["size"].as_u64().unwrap() - 1;
    let then = bench.read(&format!("/points?state=ready&as_of={before}")).await;
    assert_eq!(codes(&then), Vec::<&str>::new(), "as it stood before the approval");
}

#[actix_web::test]
async fn the_word_for_where_a_point_stands_follows_it_from_plan_to_acceptance_and_lapse() {
    let bench = Bench::new().await;
    let state = async || bench.read("/points/G-1").await["state"].as_str().unwrap().to_owned();
    assert_eq!(state().await, "held");
    bench.sign("eve", "G-1", "plan-approval", json!({})).await.has_status(201);
    assert_eq!(state().await, "ready");
    let tomorrow = json!({
        "valid_from": "2026-05-03T06:00:00Z", "valid_until": "2026-05-03T18:00:00Z",
    });
    bench.sign("sam", "G-1", "release", tomorrow).await.has_status(201);
    assert_eq!(state().await, "released", "for tomorrow");
    bench.sign("pat", "G-1", "acknowledgement", json!({})).await.has_status(201);
    bench.open(&["G-1"]).await.is_problem(409, "held");
    bench.house.time_passes(TimeDelta::hours(23));
    let opened = bench.open(&["G-1"]).await.has_status(201).json();
    assert_eq!(opened["now"]["run"], 1);
    assert_eq!(state().await, "in-run");
    bench.result(&json!(1), "G-1", json!(85.0)).await.has_status(201);
    assert_eq!(state().await, "not-met");
    let anew = json!({
        "values": [{ "parameter": "winding", "statistic": "max", "value": 75.0, "unit": "degC" }],
        "observations": "Read off the wrong line before.",
    });
    let at = "/runs/1/results/G-1";
    bench.put("lou", at, at, anew).await.has_status(200);
    assert_eq!(state().await, "awaiting-acceptance");
    bench.post("lou", "/runs/1/closing", json!({})).await.has_status(200);
    bench.sign("eve", "G-1", "engineering-acceptance", json!({})).await.has_status(201);
    bench.sign("sam", "G-1", "safety-acceptance", json!({})).await.has_status(201);
    assert_eq!(state().await, "accepted");
    let plan = bench.read("/points/G-1").await["plan"].clone();
    let mut longer = plan.clone();
    longer["duration_min"] = json!(12.0);
    bench.put("lou", "/points/G-1", "/points/G-1", longer).await.has_status(200);
    assert_eq!(state().await, "lapsed");
}

#[actix_web::test]
async fn a_plan_is_changed_only_by_who_read_it_as_it_is() {
    let bench = Bench::new().await;
    let read = bench.get("lou", "/points/G-1").await.has_status(200);
    let tag = read.header("etag").to_owned();
    let mut plan = read.json()["plan"].clone();
    plan["title"] = json!("First quarter turn");
    let ask = |plan: &Value| bench.ask("lou", House::put, "/points/G-1").json(plan);
    ask(&plan).answer().await.is_problem(428, "if-match-required");
    ask(&plan).header("if-none-match", "*").answer().await.is_problem(412, "stale");
    let changed = ask(&plan).header("if-match", &tag).answer().await.has_status(200);
    assert_eq!(changed.json()["records"][0]["kind"], "point-planned");
    assert_eq!(changed.json()["now"]["plan"]["title"], "First quarter turn");
    let now = bench.get("lou", "/points/G-1").await;
    assert_eq!(changed.header("etag"), now.header("etag"), "the reply is what a GET gives");
    plan["title"] = json!("Another");
    ask(&plan).header("if-match", &tag).answer().await.is_problem(412, "stale");

    // A signature is no change of the plan, so that the plan's revision stays.
    bench.sign("eve", "G-1", "plan-approval", json!({})).await.has_status(201);
    ask(&plan).header("if-match", changed.header("etag")).answer().await.has_status(200);

    plan["code"] = json!("G-9");
    let other = bench.ask("lou", House::put, "/points/G-8").json(&plan).answer().await;
    assert_eq!(other.is_problem(422, "invalid")["faults"][0]["field"], "code");
    let new = bench.ask("lou", House::put, "/points/G-9").json(&plan);
    let new = new.header("if-none-match", "*").answer().await.has_status(201);
    assert_eq!(new.header("location"), format!("{AT}/points/G-9"));
    bench
        .ask("pat", House::put, "/points/G-9")
        .json(&plan)
        .answer()
        .await
        .is_problem(403, "not-permitted");
}

#[actix_web::test]
async fn impossible_plans_are_refused_with_every_fault_and_the_path_of_a_cycle() {
    let bench = Bench::new().await;
    let mut plan = bench.read("/points/G-1").await["plan"].clone();
    plan["after_points"] = json!(["T-1"]);
    plan["duration_min"] = json!(-1.0);
    let refused = bench.put("lou", "/points/G-1", "/points/G-1", plan).await;
    let problem = refused.is_problem(422, "invalid");
    assert!(problem["faults"].as_array().unwrap().len() >= 2, "{problem}");
    let told = problem["faults"].to_string();
    assert!(told.contains("G-2") && told.contains("T-1"), "{told}");
}

#[actix_web::test]
async fn a_point_that_others_wait_for_stays_and_another_is_dropped_with_the_reason() {
    let bench = Bench::new().await;
    let drop = async |point: &str| {
        let tag = bench.get("lou", &format!("/points/{point}")).await.header("etag").to_owned();
        let ask = bench.ask("lou", House::post, &format!("/points/{point}/drop"));
        ask.header("if-match", &tag).json(&json!({ "reason": "Not needed." })).answer().await
    };
    let held = drop("G-2").await.is_problem(409, "held");
    assert_eq!(rules(&held["holds"]), ["point-waited-for"]);
    let body = json!({ "reason": "Not needed." });
    bench.post("lou", "/points/T-1/drop", body.clone()).await.is_problem(428, "if-match-required");
    let dropped = drop("T-1").await.has_status(200).json();
    assert_eq!(dropped["now"]["state"], "dropped");
    assert_eq!(dropped["now"]["dropped"]["reason"], "Not needed.");
    assert_eq!(codes(&bench.read("/points?state=dropped").await), ["T-1"]);
    bench.post("lou", "/points/T-9/drop", body).await.is_problem(404, "not-found");
}

#[actix_web::test]
async fn every_hold_is_told_with_what_clears_it_now_and_as_it_stood() {
    let bench = Bench::new().await;
    let then = bench.read("/ledger").await["size"].clone();
    let before = bench.read("/points/G-2/holds").await;
    let told = rules(&before["holds"]);
    assert!(told.len() >= 3, "the plan, what comes before, the release: {told:?}");
    for hold in before["holds"].as_array().unwrap() {
        for text in ["why", "clears", "source"] {
            assert!(!hold[text].as_str().unwrap().is_empty(), "{hold}");
        }
    }
    bench.show("G-1").await;
    let after = bench.read("/points/G-2/holds").await;
    assert!(after["holds"].as_array().unwrap().len() < told.len());
    let past = bench.read(&format!("/points/G-2/holds?as_of={then}")).await;
    assert_eq!(past["holds"], before["holds"]);
    bench.get("viv", "/points/G-9/holds").await.is_problem(404, "not-found");
}

#[actix_web::test]
async fn what_can_be_done_next_and_what_would_open_is_told() {
    let bench = Bench::new().await;
    let next = bench.read("/next").await;
    assert_eq!(next["ready_to_run"], json!([]));
    let group = next["would_open"].as_array().unwrap();
    let approval = group.iter().find(|group| group["points"] == json!(["G-1"])).unwrap();
    assert_eq!(approval["stage"], "release");
    assert!(approval["hold"]["clears"].is_string());
    bench.sign("eve", "G-1", "plan-approval", json!({})).await.has_status(201);
    let next = bench.read("/next").await;
    assert_eq!(next["held_for_run"][0]["point"]["code"], "G-1");
    assert!(!next["held_for_run"][0]["holds"].as_array().unwrap().is_empty());
    let until = json!({ "valid_until": "2026-05-02T18:00:00Z" });
    bench.sign("sam", "G-1", "release", until).await.has_status(201);
    bench.sign("pat", "G-1", "acknowledgement", json!({})).await.has_status(201);
    assert_eq!(bench.read("/next").await["ready_to_run"][0]["code"], "G-1");
}

#[actix_web::test]
async fn a_kept_view_of_a_point_never_outlives_a_release_or_a_record_nor_shows_another_persons_part()
 {
    let bench = Bench::new().await;
    bench.sign("eve", "G-1", "plan-approval", json!({})).await.has_status(201);
    // Ends in the middle of a second.
    let until = json!({ "valid_until": "2026-05-02T08:00:01.500Z" });
    bench.sign("sam", "G-1", "release", until).await.has_status(201);
    bench.sign("pat", "G-1", "acknowledgement", json!({})).await.has_status(201);
    let holds = async || {
        let seen = bench.read("/points/G-1").await;
        rules(&seen["holds"]).into_iter().map(str::to_owned).collect::<Vec<_>>()
    };
    assert!(holds().await.is_empty());
    bench.house.time_passes(TimeDelta::milliseconds(1_400));
    assert!(holds().await.is_empty());
    bench.house.time_passes(TimeDelta::milliseconds(99));
    assert!(holds().await.is_empty());
    bench.house.time_passes(TimeDelta::milliseconds(1));
    assert_eq!(holds().await, ["release-expired"], "in the same second");

    let first = bench.get("viv", "/points/G-1").await;
    let again = bench.ask("viv", House::get, "/points/G-1");
    let again = again.header("if-none-match", first.header("etag")).answer().await;
    assert_eq!(again.status, 304);
    let of_safety = bench.part("sam", "G-1", "release").await;
    let of_viewer = bench.part("viv", "G-1", "release").await;
    assert_eq!((&of_safety["permitted"], &of_viewer["permitted"]), (&json!(true), &json!(false)));
    let stop = json!({ "reason": "Smoke." });
    bench.post("pat", "/stand-down", stop).await.has_status(201);
    assert_eq!(holds().await[0], "stand-down", "in the same second, after another record");
}

#[actix_web::test]
async fn a_ladder_that_was_drawn_never_outlives_a_release_or_a_record_and_its_past_is_its_own() {
    let bench = Bench::new().await;
    let form = format!("to=%2F&handle=viv&password={}", PASSWORD.replace(' ', "+"));
    let sign_in = bench.house.post("/sign-in").header("host", "bench.test");
    let sign_in = sign_in.header("origin", "http://bench.test");
    let signed_in = sign_in.bytes("application/x-www-form-urlencoded", form).answer().await;
    let signed_in = signed_in.has_status(303);
    let cookie = signed_in.header("set-cookie").split(';').next().unwrap();
    // What the picture says of the first point, asked as often as it takes until what is kept is shown.
    let drawn = async |of: &str| {
        let mut told = Vec::new();
        for _ in 0..4 {
            let ask = bench.house.get(&format!("/programmes/bench/ladder{of}"));
            let page = ask.header("host", "bench.test").header("cookie", cookie).answer().await;
            let page = String::from_utf8(page.has_status(200).body).unwrap();
            let from = page.find("/points/G-1").unwrap();
            let told_of_it = page[from..].split("</a>").next().unwrap();
            told.push(told_of_it.to_owned());
        }
        assert!(told.iter().all(|it| *it == told[0]), "{told:?}");
        told.remove(0)
    };
    let at_first = drawn("").await;
    assert!(!drawn("?as=list").await.contains("translate"), "the list is no picture");
    let approved = bench.sign("eve", "G-1", "plan-approval", json!({})).await.has_status(201);
    let until = json!({ "valid_until": "2026-05-02T08:00:01.500Z" });
    bench.sign("sam", "G-1", "release", until).await.has_status(201);
    bench.sign("pat", "G-1", "acknowledgement", json!({})).await.has_status(201);
    bench.house.time_passes(TimeDelta::milliseconds(1_400));
    let released = drawn("").await;
    assert_ne!(at_first, released, "after other records");
    bench.house.time_passes(TimeDelta::milliseconds(99));
    assert_eq!(drawn("").await, released);
    bench.house.time_passes(TimeDelta::milliseconds(1));
    let ran_out = drawn("").await;
    assert_ne!(ran_out, released, "in the same second");
    let stop = json!({ "reason": "Smoke." });
    bench.post("pat", "/stand-down", stop).await.has_status(201);
    assert_ne!(drawn("").await, ran_out, "in the same second, after another record");
    let seq = approved.json()["records"][0]["seq"].as_u64().unwrap();
    assert_eq!(drawn(&format!("?as_of={}", seq - 1)).await, at_first);
}

#[actix_web::test]
async fn every_rule_that_holds_a_point_stands_in_the_reference() {
    let bench = Bench::new().await;
    let answer = bench.house.get("/api/v1/rules").answer().await.has_status(200);
    let reference = answer.json();
    let known: Vec<_> =
        reference.as_array().unwrap().iter().map(|rule| rule["code"].as_str().unwrap()).collect();
    let held = bench.read("/points/T-1/holds").await;
    for rule in rules(&held["holds"]) {
        assert!(known.contains(&rule), "{rule}");
    }
}
