//! What a programme is defined by: limits, checks, hazards, papers, people, configuration, and how each is changed.

use super::tug::{Tug, rows};
use super::*;

#[actix_web::test]
async fn whatever_exists_is_changed_at_the_version_that_was_read_and_whatever_does_not_is_created()
{
    let tug = Tug::with(&["tomas"]).await;
    let put = |path: &str, body: &Value| tug.ask("tomas", House::put, path).json(body);
    let channel = json!({ "code": "oat_2", "title": "Outside air", "unit": "degC" });
    let created = put("/channels/oat_2", &channel).header("if-none-match", "*").answer().await;
    let created = created.has_status(201);
    assert_eq!(created.header("location"), "/api/v1/programmes/tug/channels/oat_2");
    assert_eq!(created.json()["records"][0]["kind"], "channel-defined");
    let read = tug.get("tomas", "/channels/oat_2").await.has_status(200);
    assert_eq!(read.json(), channel, "what is read can be put");
    assert_eq!(read.header("etag"), created.header("etag"));

    let mut warmer = channel.clone();
    warmer["highest"] = json!(60.0);
    put("/channels/oat_2", &warmer).answer().await.is_problem(428, "if-match-required");
    let again = put("/channels/oat_2", &warmer).header("if-none-match", "*").answer().await;
    again.is_problem(412, "stale");
    let at = |tag: &str| put("/channels/oat_2", &warmer).header("if-match", tag).answer();
    let changed = at(read.header("etag")).await.has_status(200);
    at(read.header("etag")).await.is_problem(412, "stale");
    at(changed.header("etag")).await.is_problem(409, "nothing-changes");
    let other = put("/channels/wind", &warmer).answer().await.is_problem(422, "invalid");
    assert_eq!(other["faults"][0]["field"], "code", "path and body name the same");
    let mut absent = warmer.clone();
    absent["code"] = json!("wind");
    let absent = put("/channels/wind", &absent).header("if-match", "*").answer().await;
    absent.is_problem(412, "stale");
    tug.put("marit", "/channels/oat_2", channel).await.is_problem(403, "not-permitted");
}

#[actix_web::test]
async fn a_limit_changes_by_two_people_and_its_history_says_what_held_when() {
    let tug = Tug::with(&["tomas", "sofia", "viktor"]).await;
    let was = tug.read("/limits/L-BEARING").await;
    assert_eq!(was["revision"], 1);
    let mut lower = was["limit"].clone();
    lower["is"]["limit"] = json!(90.0);
    let propose = |limit: &Value| {
        let body = json!({ "limit": limit, "reason": "The builder lowered it." });
        tug.post("tomas", "/limit-proposals", body)
    };
    let mut unknown = lower.clone();
    unknown["channel"] = json!("no_such");
    let problem = propose(&unknown).await.is_problem(422, "invalid");
    assert_eq!(problem["faults"][0]["field"], "limit.channel");
    let proposed = propose(&lower).await.has_status(201);
    assert_eq!(proposed.header("location"), "/api/v1/programmes/tug/limit-proposals/1");
    let proposal = proposed.json()["now"].clone();
    assert_eq!(proposal["replaces"], was["limit"]);
    assert_eq!(tug.read("/limits/L-BEARING").await["open_proposal"], 1);
    propose(&lower).await.is_problem(409, "proposal-open");

    let body = json!({ "digest": proposal["digest"], "secret": PASSWORD });
    let agree = |who: &'static str| tug.post(who, "/limit-proposals/1/agreement", body.clone());
    agree("tomas").await.is_problem(403, "not-permitted");
    let agreed = agree("sofia").await.has_status(200).json();
    assert_eq!(agreed["now"]["standing"], "agreed");
    assert_eq!(agreed["now"]["decided_by"], "sofia");
    let now = tug.read("/limits/L-BEARING").await;
    assert_eq!((&now["revision"], &now["agreed_by"]), (&json!(2), &json!("sofia")));
    let history = tug.read("/limits/L-BEARING/history").await;
    let held: Vec<_> = rows(&history).iter().map(|row| &row["limit"]["is"]["limit"]).collect();
    assert_eq!(held, [90.0, 95.0]);
    assert_eq!(rows(&history)[1]["until"], rows(&history)[0]["since"]);
    assert!(rows(&history)[0]["until"].is_null());

    lower["is"]["limit"] = json!(93.0);
    propose(&lower).await.has_status(201);
    let reason = json!({ "reason": "A typing error." });
    tug.post("tomas", "/limit-proposals/2/withdrawal", reason.clone()).await.has_status(200);
    propose(&lower).await.has_status(201);
    tug.post("sofia", "/limit-proposals/3/declining", reason).await.has_status(200);
    let declined = tug.read("/limit-proposals?standing=declined").await;
    assert_eq!(rows(&declined).len(), 2);
    assert_eq!(rows(&declined)[0]["declined_because"], "A typing error.");
    tug.get("viktor", "/limit-proposals?standing=lost").await.is_problem(400, "bad-query");
}

#[actix_web::test]
async fn a_check_says_whether_it_is_good_until_when_and_what_ended_it() {
    let tug = Tug::with(&["pelle", "jonas"]).await;
    let read = || tug.read("/checks/C-BRAKE");
    assert_eq!(read().await["standing"], "never-passed");
    let report = |who: &'static str, passed: bool| {
        let body = json!({ "passed": passed, "findings": "5 mm; holds at 35 kW." });
        tug.post(who, "/checks/C-BRAKE/done", body)
    };
    report("jonas", true).await.is_problem(409, "check-for-another-role");
    report("pelle", false).await.has_status(201);
    assert_eq!(read().await["failure"]["findings"], "5 mm; holds at 35 kW.");
    let passed = report("pelle", true).await.has_status(201).json();
    assert_eq!(passed["now"]["standing"], "good");
    assert_eq!(passed["now"]["due_at"], "2026-06-01T08:00:00Z", "thirty days");
    assert_eq!(passed["now"]["powered_min_since"], 0);
    assert_eq!(rows(&tug.read("/checks/C-BRAKE/done").await).len(), 2);

    let happening = |event: &str| {
        let body = json!({ "event": event, "account": "Flat from a metre." });
        tug.post("jonas", "/happenings", body)
    };
    let unknown = happening("hard-landign").await.is_problem(422, "invalid");
    assert_eq!(unknown["faults"][0]["field"], "event");
    let reported = happening("hard-landing").await.has_status(201).json();
    let ended = read().await;
    assert_eq!(ended["standing"], "overdue");
    assert_eq!(ended["ended_by"], reported["now"]["seq"]);
    let before = reported["now"]["seq"].as_u64().unwrap() - 1;
    let then = tug.read(&format!("/checks/C-BRAKE?as_of={before}")).await;
    assert_eq!(then["standing"], "good", "as it stood then");
    assert_eq!(rows(&tug.read("/happenings").await)[0]["event"], "hard-landing");

    let mut shorter = read().await["check"].clone();
    shorter["validity"] = json!({ "days": 7 });
    let shorter = tug.put("marit", "/checks/C-BRAKE", shorter).await.has_status(200).json();
    assert_eq!(shorter["now"]["standing"], "good", "judged by the new definition");
    assert_eq!(shorter["now"]["due_at"], "2026-05-09T08:00:00Z");
}

#[actix_web::test]
async fn residual_risk_is_accepted_by_a_role_of_the_matrix_on_the_hazard_as_it_was_read() {
    let tug = Tug::with(&["tomas", "sofia"]).await;
    let mut hazard = tug.read("/hazards/H-BRAKE").await["hazard"].clone();
    hazard["after"]["probability"] = json!("occasional");
    let recorded = tug.put("tomas", "/hazards/H-BRAKE", hazard.clone()).await.has_status(200);
    let now = recorded.json()["now"].clone();
    assert_eq!(now["level_after"], "serious");
    assert_eq!(now["accepted_by_roles"], json!(["safety"]));
    assert_eq!(now["lacks"], json!(["acceptance"]));
    let accept = |who: &'static str, digest: &Value| {
        let body = json!({ "digest": digest, "secret": PASSWORD });
        tug.post(who, "/hazards/H-BRAKE/acceptance", body)
    };
    accept("tomas", &now["digest"]).await.is_problem(403, "not-permitted");
    let held = accept("marit", &now["digest"]).await.is_problem(409, "held");
    assert_eq!(held["holds"][0]["rule"], "risk-for-another-role");
    let accepted = accept("sofia", &now["digest"]).await.has_status(200).json();
    assert_eq!(accepted["now"]["accepted"]["by"], "sofia");
    assert_eq!(accepted["now"]["lacks"], json!([]));
    hazard["title"] = json!("Brakes fade");
    let anew = tug.put("tomas", "/hazards/H-BRAKE", hazard).await.has_status(200).json();
    assert_eq!(anew["now"]["lacks"], json!(["acceptance"]), "the change voids the acceptance");
    accept("sofia", &now["digest"]).await.is_problem(409, "card-changed");
}

#[actix_web::test]
async fn an_item_is_exchanged_with_a_reason_taken_off_and_fitted_again() {
    let tug = Tug::with(&["tomas"]).await;
    let software = |version: &str| json!({ "title": "Monitoring", "kind": "software", "version": version, "reason": "Newer." });
    let path = "/configuration/items/bms";
    let exchanged = tug.put("tomas", path, software("2.7")).await.has_status(200).json();
    assert_eq!(exchanged["now"]["last_change"]["before"], "2.6");
    let removal = json!({ "reason": "Sent in." });
    let remove =
        || tug.ask("tomas", House::post, "/configuration/items/bms/removal").json(&removal);
    remove().answer().await.is_problem(428, "if-match-required");
    let tag = tug.get("tomas", path).await;
    let removed = remove()
        .header("if-match", tag.header("etag"))
        .header("idempotency-key", "off")
        .answer()
        .await
        .has_status(200);
    assert!(removed.json()["now"]["fitted"].is_null());
    let replayed = remove().header("if-match", tag.header("etag")).header("idempotency-key", "off");
    assert_eq!(replayed.answer().await.has_status(200).json(), removed.json());
    assert!(tug.read("/configuration").await["fitted"]["bms"].is_null());
    let known = tug.read(path).await;
    assert_eq!(known["last_change"]["reason"], "Sent in.", "one that was taken off is known still");
    tug.get("tomas", "/configuration/items/none").await.is_problem(404, "not-found");
    tug.put("tomas", path, software("2.8")).await.has_status(200);
    let changes = tug.read("/configuration/changes?limit=3").await;
    let after: Vec<_> = rows(&changes).iter().map(|change| &change["after"]).collect();
    assert_eq!(after, [&json!("2.8"), &Value::Null, &json!("2.7")]);
    assert_eq!(tug.read("/configuration").await["fitted"]["bms"], "2.8");
}

#[actix_web::test]
async fn people_are_listed_by_others_and_what_they_may_do_changes_at_once() {
    let tug = Tug::with(&["sofia", "viktor"]).await;
    let mut viktor = tug.read("/people/viktor").await["person"].clone();
    viktor["roles"] = json!(["crew"]);
    viktor["qualifications"] = json!([{ "code": "hv-aware", "expires": "2026-05-02T08:00:00Z" }]);
    let call = || tug.post("viktor", "/stand-down", json!({ "reason": "Smoke." }));
    call().await.is_problem(403, "not-permitted");
    let listed = tug.put("marit", "/people/viktor", viktor.clone()).await.has_status(200).json();
    assert_eq!(listed["now"]["expired"], json!(["hv-aware"]), "good up to, not including, then");
    call().await.has_status(201);
    let mut own = tug.read("/people/marit").await["person"].clone();
    own["roles"] = json!(["lead", "engineer"]);
    let held = tug.put("marit", "/people/marit", own).await.is_problem(409, "held");
    assert_eq!(held["holds"][0]["rule"], "own-roles");
    viktor["roles"] = json!([]);
    let left = tug.put("sofia", "/people/viktor", viktor).await.has_status(200).json();
    assert_eq!(left["now"]["takes_part"], false);
    call().await.is_problem(404, "not-found");
}

#[actix_web::test]
async fn aircraft_policy_and_papers_are_read_and_put_whole() {
    let tug = Tug::with(&["sofia"]).await;
    let mut aircraft = tug.read("/aircraft").await;
    aircraft["registration"] = json!("X-1 (invented)");
    tug.put("marit", "/aircraft", aircraft.clone()).await.has_status(200);
    assert_eq!(tug.read("/aircraft").await, aircraft);
    aircraft["seats"] = json!(1);
    let seats = tug.put("marit", "/aircraft", aircraft.clone()).await.is_problem(422, "invalid");
    assert_eq!(seats["faults"][0]["field"], "seats");
    tug.put("sofia", "/aircraft", aircraft).await.is_problem(403, "not-permitted");

    let mut policy = tug.read("/policy").await;
    policy["weather_good_for_min"] = json!(0);
    let bad = tug.put("sofia", "/policy", policy.clone()).await.is_problem(422, "invalid");
    assert_eq!(bad["faults"][0]["field"], "weather_good_for_min");
    policy["weather_good_for_min"] = json!(45);
    tug.put("sofia", "/policy", policy.clone()).await.has_status(200);
    assert_eq!(tug.read("/policy").await, policy);

    let paper = json!({
        "code": "D-NEW", "title": "Insurance", "kind": "insurance", "reference": "no. 4 (invented)",
        "valid_from": "2026-05-02T08:09:00Z", "covers": ["taxi"],
    });
    let filed = tug.put("sofia", "/documents/D-NEW", paper).await.has_status(201).json();
    assert_eq!(filed["now"]["in_force"], false);
    tug.house.time_passes(TimeDelta::minutes(9));
    assert_eq!(tug.read("/documents/D-NEW").await["in_force"], true, "from that moment on");
}
