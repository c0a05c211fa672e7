//! What the demonstration tells of itself.

use serde_json::{Value, json};

use crate::harness::{Client, Server};

const TALLOW: &str = "/api/v1/programmes/tallow";

#[test]
fn its_inverter_came_first_behind_a_plate_its_motor_once_that_was_out_and_no_hold_is_left_of_it() {
    let server = Server::demonstration();
    let reader = server.sign_in_to_demonstration("viktor");
    let get = |path: &str| get(&reader, path);
    let heating = |run: u32| {
        let of_run = get(&format!("recordings?run={run}"))["items"].clone();
        let recording = of_run[0]["recording"].as_str().expect("a recording").to_owned();
        get(&format!("recordings/{recording}/judged?run={run}"))["heating"].clone()
    };
    let told = |run: u32| {
        let heating = heating(run);
        let text = |key: &str| heating[key].as_str().unwrap_or_default().to_owned();
        (text("outcome"), text("first"))
    };
    let is = |outcome: &str, first: &str| (outcome.to_owned(), first.to_owned());
    assert_eq!(told(12), is("out-of-order", "L-INVERTER"));
    assert_eq!(told(17), is("in-order", "L-WINDING"));
    // Nothing would be reached in the heat soak within the horizon, and the sweep had no steady load.
    assert_eq!((heating(16), heating(22)), (Value::Null, Value::Null));
    for point in ["GR-13", "TX-03", "FF-01"] {
        let rules = get(&format!("points/{point}/holds"))["holds"].clone();
        assert!(!rules.to_string().contains("heating-order"), "{point}: {rules:#}");
    }
}

/// What everybody signs with in the demonstration.
const PIN: &str = "271845";

fn get(person: &Client, path: &str) -> Value {
    person.get(&format!("{TALLOW}/{path}")).has_status(200).json()
}

fn rules(person: &Client, point: &str) -> Vec<String> {
    let holds = get(person, &format!("points/{point}/holds"))["holds"].clone();
    let rules = holds.as_array().expect("holds").iter();
    rules.map(|hold| hold["rule"].as_str().expect("a rule").to_owned()).collect()
}

fn signs(person: &Client, point: &str, part: &str) {
    let view = get(person, &format!("points/{point}"));
    let mut parts = view["to_sign"]["parts"].as_array().expect("parts").iter();
    let seen = parts.find(|it| it["part"] == part).expect("a part to sign");
    let mut body = json!({ "part": part, "digest": seen["digest"], "secret": PIN });
    if let Some(run) = seen["run"].as_u64() {
        body["run"] = run.into();
    }
    person.post(&format!("{TALLOW}/points/{point}/sign-offs"), body).has_status(201);
}

/// What the sweep of run 22 showed of vibration is explained by the engineer and closed by the safety officer.
fn settles_the_vibration(engineer: &Client, safety: &Client) {
    let listed = get(safety, "exceedances")["items"].clone();
    let open = listed.as_array().expect("exceedances").iter().filter(|it| it["closed"].is_null());
    for number in open.map(|it| it["exceedance"].as_u64().expect("a number")) {
        let place = format!("{TALLOW}/exceedances/{number}");
        let mut seen = safety.get(&place).has_status(200);
        if seen.json()["explanation"].is_null() {
            let tag = seen.header("etag").expect("a revision").to_owned();
            let terms = json!({
                "explanation": "The mount resonates between 2300 and 2360 rpm.",
                "action": "Softer mounts fitted; these speeds are barred until the sweep is met.",
            });
            let engineer = engineer.with("if-match", &tag);
            engineer.put(&format!("{place}/explanation"), terms).has_status(200);
            seen = safety.get(&place).has_status(200);
        }
        let seen = seen.json();
        let digest = [&seen["digest"], &seen["closing"]["digest"]];
        let digest = digest.into_iter().find(|it| it.is_string()).expect("a digest to sign");
        let closing = json!({ "digest": digest, "secret": PIN });
        safety.post(&format!("{place}/closing"), closing).has_status(200);
    }
}

#[test]
fn accepting_a_step_of_the_tie_down_opens_the_next_one_with_the_temperatures_to_expect_there() {
    let server = Server::demonstration();
    let [tomas, sofia] = ["tomas", "sofia"].map(|it| server.sign_in_to_demonstration(it));
    settles_the_vibration(&tomas, &sofia);
    signs(&tomas, "GR-06", "plan-approval");
    let waits = ["prerequisite-not-accepted", "build-up-step-too-large", "release-used-up"];
    assert_eq!(rules(&sofia, "GR-06"), waits);
    signs(&tomas, "GR-05", "engineering-acceptance");
    signs(&sofia, "GR-05", "safety-acceptance");
    assert_eq!(rules(&sofia, "GR-06"), ["release-used-up"], "only the safety officer's release");
    let next = get(&sofia, "next-steps")["steps"][0].clone();
    assert_eq!(next["point"]["code"], "GR-06", "the first of the next steps");
    let predicted = next["predictions"].as_array().expect("predictions");
    for limit in ["L-WINDING", "L-INVERTER", "L-COOLANT-T"] {
        let mut predicted = predicted.iter();
        let found = predicted.find(|it| it["what"]["limit"] == limit);
        let found = found.unwrap_or_else(|| panic!("{limit} is not predicted: {next:#}"));
        let end = |name: &str| found["value"][name].as_f64().expect("a temperature");
        // Between the air of the day and the limit, and never without its interval.
        assert!(end("low") < end("estimate") && end("estimate") < end("high"), "{found:#}");
        assert!((17.0..=105.0).contains(&end("estimate")), "{found:#}");
        assert_eq!(found["rests_on"]["runs"], json!([22]), "since the pump was exchanged");
    }
}

#[test]
fn another_motor_controller_would_lapse_exactly_the_runs_that_looked_at_heat_and_a_bold_step_is_held()
 {
    let server = Server::demonstration();
    let reader = server.sign_in_to_demonstration("viktor");
    let change = json!({ "change": "fitted", "item": "inverter", "version": "IV3 serial 03" });
    let told = reader.post(&format!("{TALLOW}/changes/dry-run"), change).has_status(200).json();
    let lapsing = told["lapsing"].as_array().expect("results");
    let points: Vec<&str> = lapsing.iter().filter_map(|it| it["point"].as_str()).collect();
    assert_eq!(points, ["GR-02", "GR-03", "GR-04", "GR-07"]);
    for lapse in lapsing {
        assert_eq!(lapse["why"]["is"], "IV3 serial 03", "{lapse:#}");
    }
    assert_eq!(told["checks"], json!(["C-COOLANT", "C-ISO", "C-SAFETY-CHAIN"]));
    assert_eq!(told["repeat"]["points"], json!(["GR-04", "GR-07"]));

    let holds = get(&reader, "points/TX-09/holds")["holds"].clone();
    let mut holds = holds.as_array().expect("holds").iter();
    let step = holds.find(|it| it["rule"] == "build-up-step-too-large").expect("a step too bold");
    let clears = step["clears"].as_str().expect("a sentence");
    assert!(clears.contains("at up to 32.4 kt"), "{clears}");
}
