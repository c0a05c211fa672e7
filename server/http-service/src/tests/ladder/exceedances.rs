//! Exceedances: noted by results and people, explained, closed.

use super::*;

#[actix_web::test]
async fn a_result_beyond_a_limit_is_accepted_only_after_its_exceedance_was_explained_and_closed() {
    let bench = Bench::new().await;
    // A criterion wider than the limit, so that the result is met and beyond.
    let mut plan = bench.read("/points/G-1").await["plan"].clone();
    plan["criteria"][0]["value"] = json!(200.0);
    bench.put("lou", "/points/G-1", "/points/G-1", plan).await.has_status(200);
    bench.clear("G-1").await;
    let run = bench.run(&["G-1"], 10).await;
    let recorded = bench.result(&run, "G-1", json!(120.0)).await.has_status(201).json();
    let kinds: Vec<_> = recorded["records"]
        .as_array()
        .unwrap()
        .iter()
        .map(|it| it["kind"].as_str().unwrap())
        .collect();
    assert_eq!(kinds, ["result-recorded", "exceedance-noted"]);
    assert_eq!(recorded["now"]["exceedances"], json!([1]));
    let held = bench.sign("eve", "G-1", "engineering-acceptance", json!({})).await;
    assert_eq!(rules(&held.is_problem(409, "held")["holds"]), ["exceedance-open"]);

    let seen = bench.read("/exceedances/1").await;
    assert_eq!((&seen["peak"], &seen["unit"]), (&json!(120.0), &json!("degC")));
    assert!(seen["digest"].is_null(), "there is nothing to close yet");
    let close = async |who: &str, digest: &Value| {
        let body = json!({ "digest": digest, "secret": PASSWORD });
        bench.post(who, "/exceedances/1/closing", body).await
    };
    close("sam", &json!("0".repeat(64))).await.is_problem(409, "exceedance-not-explained");
    let explanation =
        json!({ "explanation": "The flap was shut.", "action": "It is on the card now." });
    let bare = bench.ask("eve", House::put, "/exceedances/1/explanation").json(&explanation);
    bare.answer().await.is_problem(428, "if-match-required");
    let (at, of) = ("/exceedances/1/explanation", "/exceedances/1");
    let explained = bench.put("eve", at, of, explanation).await.has_status(200).json();
    close("eve", &explained["now"]["digest"]).await.is_problem(403, "not-permitted");
    close("sam", &json!("0".repeat(64))).await.is_problem(409, "card-changed");
    let closed = close("sam", &explained["now"]["digest"]).await.has_status(200).json();
    assert_eq!(closed["now"]["closed"]["by"], "sam");
    bench.sign("eve", "G-1", "engineering-acceptance", json!({})).await.has_status(201);
    assert_eq!(items(&bench.read("/exceedances?open=true").await).len(), 0);
    assert_eq!(items(&bench.read("/exceedances?run=1").await).len(), 1);
    assert_eq!(items(&bench.read("/exceedances?run=2").await).len(), 0);
}

#[actix_web::test]
async fn what_somebody_saw_is_noted_and_has_to_lie_beyond_the_limit() {
    let bench = Bench::new().await;
    bench.clear("G-1").await;
    bench.run(&["G-1"], 10).await;
    let note = |peak: f64| {
        let body = json!({ "run": 1, "limit": "L-W", "statistic": "max", "peak": peak });
        bench.post("pat", "/exceedances", body)
    };
    let within = note(110.0).await.is_problem(422, "invalid");
    assert_eq!(within["faults"][0]["field"], "peak");
    let noted = note(110.5).await.has_status(201);
    assert_eq!(noted.header("location"), format!("{AT}/exceedances/1"));
    bench.get("viv", "/exceedances/2").await.is_problem(404, "not-found");
}
