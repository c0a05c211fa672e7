//! Runs, results and hours.

use super::*;

#[actix_web::test]
async fn an_accepted_point_opens_the_next_rung_and_shows_in_the_hours() {
    let bench = Bench::new().await;
    let waiting = bench.read("/points/G-2/holds").await;
    assert!(rules(&waiting["holds"]).contains(&"prerequisite-not-accepted"), "{waiting}");
    let run = bench.show("G-1").await;
    let open = bench.read("/points/G-2/holds").await;
    assert!(!rules(&open["holds"]).contains(&"prerequisite-not-accepted"), "{open}");
    let hours = bench.read("/hours").await;
    assert_eq!(hours["runs"][0]["run"], run);
    assert_eq!(hours["totals"]["powered_minutes"], 10);
    assert_eq!(hours["to_go"][0]["remaining"], 50);
    let before = bench.read("/hours?as_of=1").await;
    assert_eq!(before["totals"]["runs"], 0);
}

#[actix_web::test]
async fn a_run_is_opened_against_released_points_only_and_all_holds_are_told() {
    let bench = Bench::new().await;
    let held = bench.open(&["G-1", "G-2"]).await.is_problem(409, "held");
    let told = rules(&held["holds"]);
    assert!(told.iter().filter(|rule| **rule == "release-missing").count() == 2, "{told:?}");
    bench.open(&["G-9"]).await.is_problem(422, "invalid");
    bench.clear("G-1").await;
    let opened = bench.open(&["G-1"]).await.has_status(201);
    assert_eq!(opened.header("location"), format!("{AT}/runs/1"));
    assert_eq!(opened.json()["now"]["kind"], "ground-run");
    let second = bench.open(&["G-1"]).await.is_problem(409, "held");
    assert!(rules(&second["holds"]).contains(&"run-open"));
    assert_eq!(items(&bench.read("/runs?open=true").await).len(), 1);
    assert_eq!(items(&bench.read("/runs?open=false").await).len(), 0);
}

#[actix_web::test]
async fn energy_knock_off_and_closing_stand_in_the_run() {
    let bench = Bench::new().await;
    bench.clear("G-1").await;
    bench.open(&["G-1"]).await.has_status(201);
    let read = |moment: &str, percent: f64, counter: f64| {
        let body = json!({
            "moment": moment, "charge_percent": percent, "energy_counter_kwh": counter,
        });
        bench.post("pat", "/runs/1/energy", body)
    };
    read("before", 90.0, 100.0).await.has_status(200);
    read("before", 190.0, 100.0).await.is_problem(422, "invalid");
    let on = json!({ "event": "power-on" });
    bench.post("pat", "/runs/1/moments", on.clone()).await.has_status(200);
    bench.post("pat", "/runs/1/moments", on).await.is_problem(409, "moment-already-noted");
    let off = json!({ "reason": "A smell." });
    bench.post("viv", "/runs/1/knock-off", off.clone()).await.is_problem(403, "not-permitted");
    bench.post("eve", "/runs/1/knock-off", off).await.has_status(200);
    let closing = json!({ "debrief": "Stopped for a smell." });
    bench.post("lou", "/runs/1/closing", closing.clone()).await.is_problem(409, "run-unfinished");
    bench.post("pat", "/runs/1/moments", json!({ "event": "power-off" })).await.has_status(200);
    read("after", 88.0, 100.5).await.has_status(200);
    let closed = bench.post("lou", "/runs/1/closing", closing).await.has_status(200).json();
    let run = bench.read("/runs/1").await;
    assert_eq!(closed["now"], run);
    assert_eq!(run["energy_kwh"], 0.5);
    assert_eq!(run["knocked_off"]["by"], "eve");
    assert_eq!(run["closed"]["debrief"], "Stopped for a smell.");
    bench.get("viv", "/runs/2").await.is_problem(404, "not-found");
    bench.get("viv", "/runs/0").await.is_problem(404, "not-found");
}

#[actix_web::test]
async fn times_are_corrected_by_who_read_the_run_as_it_is_and_the_hours_follow() {
    let bench = Bench::new().await;
    bench.show("G-1").await;
    let tag = bench.get("lou", "/runs/1").await.header("etag").to_owned();
    let body = json!({
        "times": { "power_on": "2026-05-02T08:00:00Z", "power_off": "2026-05-02T08:07:00Z" },
        "reason": "As the recorder has it.",
    });
    let ask = |tag: &str| {
        bench.ask("lou", House::put, "/runs/1/times").header("if-match", tag).json(&body)
    };
    let bare = bench.ask("lou", House::put, "/runs/1/times").json(&body).answer().await;
    bare.is_problem(428, "if-match-required");
    let corrected = ask(&tag).answer().await.has_status(200).json();
    assert_eq!(corrected["now"]["powered_minutes"], 7);
    assert_eq!(corrected["now"]["corrections"][0]["before"]["power_off"], "2026-05-02T08:10:00Z");
    ask(&tag).answer().await.is_problem(412, "stale");
    assert_eq!(bench.read("/hours").await["totals"]["powered_minutes"], 7);
}

#[actix_web::test]
async fn a_result_has_its_verdict_worked_out_and_says_that_it_was_typed_in() {
    let bench = Bench::new().await;
    bench.clear("G-1").await;
    let run = bench.run(&["G-1"], 10).await;
    let missing = bench.result(&run, "G-1", Value::Null).await.has_status(201);
    assert_eq!(missing.header("location"), format!("{AT}/runs/1/results/G-1"));
    let missing = missing.json()["now"].clone();
    assert_eq!(missing["verdict"]["outcome"], "missing", "a missing reading is no pass");
    assert_eq!(missing["typed_in"], true);
    assert_eq!(missing["values"][0]["source"]["from"], "typed-in");
    bench.result(&run, "G-1", json!(70.0)).await.is_problem(412, "stale");
    bench.result(&run, "G-2", json!(70.0)).await.is_problem(409, "point-not-in-run");

    let at = "/runs/1/results/G-1";
    let anew = json!({
        "values": [{ "parameter": "winding", "statistic": "max", "value": 70.0, "unit": "degC" }],
        "observations": "The figure was on the second sheet.",
    });
    let bare = bench.ask("lou", House::put, at).json(&anew).answer().await;
    bare.is_problem(428, "if-match-required");
    let met = bench.put("lou", at, at, anew).await.has_status(200).json()["now"].clone();
    assert_eq!(met["verdict"]["criteria"][0]["outcome"], "met");
    assert_eq!(met["verdict"]["limits"][0]["outcome"], "within");
    assert_eq!(met["digest"], bench.part("eve", "G-1", "engineering-acceptance").await["digest"]);
    let list = bench.read("/runs/1/results?limit=1").await;
    assert_eq!(items(&list)[0]["standing"], "replaced");
    let next = bench.house.get(list["next"].as_str().unwrap()).token(&bench.tokens["viv"]);
    assert_eq!(items(&next.answer().await.json())[0]["standing"], "open");

    let own = bench.sign("sam", "G-1", "safety-acceptance", json!({})).await.has_status(201).json();
    assert_eq!(own["now"]["state"], "awaiting-acceptance");
    let read = bench.read(at).await;
    assert_eq!(read["acceptances"][0]["by"], "sam");
}
