//! Forecasts with what they rest on, and plans of days.

use chrono::{DateTime, Days, NaiveTime, TimeDelta, Utc};
use serde_json::{Value, json};

use super::Story;
use crate::harness::{PASSWORD, Team, at};

pub(super) const SHOWN: &[&str] = &[
    "forecast_assumptions_read",
    "forecast_assumptions_assume",
    "forecasts_list",
    "forecasts_make",
    "forecasts_read",
    "forecasts_picture",
    "heating_read",
    "day_plans_list",
    "day_plans_propose",
    "day_plans_draft",
    "day_plans_read",
    "day_plans_picture",
    "day_plans_replan",
    "day_energy_read",
    "day_energy_picture",
];

/// Tomorrow at an hour, UTC.
fn tomorrow(hour: u32) -> DateTime<Utc> {
    let day = Utc::now().date_naive().checked_add_days(Days::new(1)).expect("there is a tomorrow");
    day.and_time(NaiveTime::from_hms_opt(hour, 0, 0).expect("an hour")).and_utc()
}

fn told(at: DateTime<Utc>) -> String {
    at.format("%Y-%m-%dT%H:%M:%SZ").to_string()
}

fn assumptions() -> Value {
    let (ground, flight) = ([0.8; 12], [0.5; 12]);
    json!({
        "starts": Utc::now().date_naive(),
        "days": { "ground-run": { "three-point": { "best": 1, "likely": 2, "worst": 6 } } },
        "repeats": { "ground-run": { "repeated": 1, "shown": 4 } },
        "works_on": ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"],
        "weather": { "ground": ground, "flight": flight },
        "runs_a_day": 2,
    })
}

/// A day at a field on the equator, where it is light from six to six all the year.
fn day() -> Value {
    let weather: Vec<Value> = (8..14)
        .map(|hour| {
            json!({ "from": told(tomorrow(hour)), "cloud": 0.2, "weather": { "temperature": { "value": 18, "unit": "degC" } } })
        })
        .collect();
    json!({
        "from": told(tomorrow(8)),
        "to": told(tomorrow(14)),
        "field": { "latitude_deg": 0, "longitude_deg": 0, "elevation_m": 20 },
        "weather": weather,
        "pack": { "usable_kwh": 10, "state": 0.8, "least_state": 0.3 },
        "charging": { "charger_kw": 3, "efficiency": 0.9, "mains_kw": 3 },
        "parts": [{ "name": "Winding", "time_constant_min": 15, "rise_c_per_kw": 2, "begins_c": 18, "most_c": 100 }],
        "set_up_min": { "ground-run": 20 },
        "turn_round_min": 15,
        "acceptance_min": 30,
        "crew": [{ "person": "pip", "from": told(tomorrow(8)), "to": told(tomorrow(14)), "most_on_board_min": 60 }],
        "most_runs": 3,
    })
}

/// Something was assumed, forecast and planned.
pub fn has_planned(team: &Team) {
    let lea = team.person("lea");
    lea.post(&at("forecast-assumptions"), assumptions()).has_status(200);
    lea.post(&at("forecasts"), json!({ "trials": 100, "seed": 1 })).has_status(201);
    lea.post(&at("day-plans"), json!({ "terms": day() })).has_status(201);
}

#[test]
fn the_lead_asks_when_it_will_fly_and_what_is_done_tomorrow_and_the_rest_of_a_day_is_planned_anew()
{
    let story = Story::begins();
    assumes_and_forecasts(&story);
    plans_tomorrow(&story);
    the_energy_of_the_day_allows_so_many_runs(&story);
    a_failed_point_is_planned_around(&story);
    story.has_shown(SHOWN);
}

fn assumes_and_forecasts(story: &Story) {
    let [.., ivo, lea, _, _] = story.people();
    ivo.get(&at("forecast-assumptions")).has_problem(404, "not-found");
    let trials = json!({ "trials": 400, "seed": 7 });
    lea.post(&at("forecasts"), trials.clone()).has_problem(409, "nothing-assumed");
    let mut never = assumptions();
    never["weather"]["ground"] = vec![0.0; 12].into();
    never["works_on"] = json!([]);
    let faults = lea.post(&at("forecast-assumptions"), never).has_problem(422, "invalid").json();
    let fields: Vec<&str> = faults["faults"]
        .as_array()
        .unwrap()
        .iter()
        .map(|it| it["field"].as_str().unwrap())
        .collect();
    assert_eq!(fields, ["works_on", "weather.ground"], "{faults:#}");
    lea.post(&at("forecast-assumptions"), assumptions()).has_status(200);
    let seen = ivo.get(&at("forecast-assumptions")).has_status(200).json();
    assert_eq!((&seen["by"], &seen["points_left"]), (&json!("lea"), &json!(2)), "{seen:#}");

    let before = ivo.rules_against("GR-01");
    let too_many = json!({ "trials": 1_000_000, "seed": 7 });
    lea.post(&at("forecasts"), too_many).has_problem(422, "invalid");
    let made = lea.post(&at("forecasts"), trials.clone()).has_status(201).json();
    assert_eq!(made["now"]["dates"]["forecast"], 1);
    lea.post(&at("forecasts"), trials).has_status(201);
    assert_eq!(ivo.rules_against("GR-01"), before, "no hold looks at a forecast");
    let (first, second) = (ivo.get(&at("forecasts/1")).json(), ivo.get(&at("forecasts/2")).json());
    assert_eq!(first["end"], second["end"], "the same seed gives the same answer");
    assert_eq!(second["dates"]["end"]["slip_days"], 0);
    assert_eq!(first["dates"]["end"]["slip_days"], Value::Null, "there was none before");
    assert_eq!(first["first_flight"], Value::Null, "the ladder has no flight");
    let by: Vec<&str> =
        first["end"]["by"].as_array().unwrap().iter().map(|it| it.as_str().unwrap()).collect();
    assert!(by.is_sorted() && by[0] < by[3], "{by:?}");
    // One waits for the other, so both are always on the longest way.
    let critical: Vec<f64> = first["points"]
        .as_array()
        .unwrap()
        .iter()
        .map(|it| it["critical"].as_f64().unwrap())
        .collect();
    assert_eq!(critical, [1.0, 1.0]);
    assert!(!first["drivers"].as_array().unwrap().is_empty());
    let listed = ivo.get(&at("forecasts?limit=1")).has_status(200).json();
    assert_eq!(listed["items"][0]["forecast"], 2);
    ivo.get(&at("forecasts?limit=0")).has_problem(400, "bad-query");
    let picture = ivo.get(&at("forecasts/1/picture")).has_status(200).text;
    assert!(picture.starts_with("<svg") && picture.contains("50 % by"), "{picture}");
    ivo.get(&at("forecasts/9")).has_problem(404, "not-found");
    ivo.get(&at("forecasts/9/picture")).has_problem(404, "not-found");
}

fn plans_tomorrow(story: &Story) {
    let [_, eve, ivo, lea, _, sam] = story.people();
    let heating = ivo.get(&at("heating")).has_status(200).json();
    assert_eq!(heating, json!({ "parts": [] }), "nothing was recorded yet");
    ivo.get(&at("heating?as_of=soon")).has_problem(400, "bad-query");
    // Nobody has approved a plan, and nothing on the day would.
    let draft = |terms: Value| ivo.post(&at("day-plans/draft"), json!({ "terms": terms }));
    let nothing = draft(day()).has_status(200).json();
    assert_eq!(nothing["runs"], json!([]), "{nothing:#}");
    assert_eq!(nothing["left_out"].as_array().unwrap().len(), 2);
    let fire = at("hazards/H-FIRE");
    let digest = ivo.get(&fire).has_status(200).json()["digest"].clone();
    let accepted = json!({ "digest": digest, "secret": PASSWORD });
    sam.post(&format!("{fire}/acceptance"), accepted).has_status(200);
    for point in ["GR-01", "GR-02"] {
        eve.sign(point, "plan-approval", json!({})).has_status(201);
    }
    let seen = draft(day()).has_status(200).json();
    assert_eq!(seen["runs"][0]["point"], "GR-01", "{seen:#}");
    let mut wrong = day();
    wrong["crew"] = json!([]);
    wrong["pack"]["usable_kwh"] = (-3).into();
    wrong["parts"][0]["rests_on"] = json!([7]);
    let refused = draft(wrong).has_problem(422, "invalid").json();
    let fields: Vec<&Value> =
        refused["faults"].as_array().unwrap().iter().map(|it| &it["field"]).collect();
    assert_eq!(fields, ["pack.usable_kwh", "parts[0].rests_on", "crew"], "{refused:#}");

    let mut upside_down = day();
    upside_down["to"] = upside_down["from"].clone();
    let refused = draft(upside_down).has_problem(422, "invalid").json();
    assert!(refused["faults"].to_string().contains("0 minutes after from"), "{refused:#}");

    let mut by_night = day();
    (by_night["from"], by_night["to"]) = (told(tomorrow(21)).into(), told(tomorrow(23)).into());
    lea.post(&at("day-plans"), json!({ "terms": by_night })).has_problem(422, "invalid");
    let csv = "from,cloud,temperature_c\n2026-06-21T12:00:00,0.2,18\n";
    let told_wrongly = json!({ "terms": day(), "weather_csv": csv });
    let fault = lea.post(&at("day-plans"), told_wrongly).has_problem(422, "invalid").json();
    assert_eq!(fault["faults"][0]["field"], "weather_csv, line 2, column from");
    let rows: Vec<String> =
        (8..14).map(|hour| format!("{},0.2,18", told(tomorrow(hour)))).collect();
    let csv = format!("from,cloud,temperature_c\n{}\n", rows.join("\n"));
    let mut terms = day();
    terms.as_object_mut().unwrap().remove("weather");
    let proposed = lea
        .post(&at("day-plans"), json!({ "terms": terms, "weather_csv": csv }))
        .has_status(201)
        .json();
    let plan = &proposed["now"]["day"];
    let runs: Vec<&Value> = plan["runs"].as_array().unwrap().iter().collect();
    let points: Vec<&Value> = runs.iter().map(|run| &run["point"]).collect();
    assert_eq!(points, ["GR-01", "GR-02"], "{plan:#}");
    assert_eq!(runs[1]["after"], json!(["GR-01"]));
    // 10 for a point that is always on the longest way.
    assert_eq!((&plan["value"], &plan["at_most"]), (&json!(20.0), &json!(20.0)));
    let charge = |run: &Value, of: &str| run[of].as_f64().unwrap();
    assert!(
        (charge(runs[0], "charge_before") - charge(runs[0], "charge_after") - 0.05).abs() < 1e-6
    );
    let needs = runs[0]["needs"].as_array().unwrap();
    assert!(needs.iter().any(|need| need["who"] == json!(["safety"])), "{needs:#?}");
    assert_eq!(plan["over_the_day"].as_array().unwrap().len(), 6 * 12 + 1);
    let held = ivo.rules_against("GR-01");
    assert!(held.contains(&"release-missing".to_owned()), "a plan releases nothing: {held:?}");
    assert_eq!(ivo.get(&at("day-plans/1")).has_status(200).json(), proposed["now"]);
    let picture = ivo.get(&at("day-plans/1/picture")).has_status(200).text;
    assert!(picture.starts_with("<svg") && picture.contains("GR-01"), "{picture}");
    ivo.get(&at("day-plans/9")).has_problem(404, "not-found");
    ivo.get(&at("day-plans/9/picture")).has_problem(404, "not-found");
    ivo.get(&at("day-plans?limit=0")).has_problem(400, "bad-query");
}

fn the_energy_of_the_day_allows_so_many_runs(story: &Story) {
    let [_, _, ivo, ..] = story.people();
    let of = |what: &str, run: &str| ivo.get(&at(&format!("day-plans/{what}?{run}")));
    let runs = "energy_kwh=2&run_min=10&set_up_min=20";
    let seen = of("1/energy", runs).has_status(200).json();
    let allowed: Vec<u64> = seen["allowed"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row["runs"].as_u64().unwrap())
        .collect();
    // 5 kWh above what stays in the pack are two runs; there are no panels and no battery on the ground.
    assert_eq!(allowed[..3], [2, 2, 2], "{seen:#}");
    // In 360 minutes there is room for eight runs of 45, which take 16 kWh: 5 and what the mains gives in between.
    assert!(allowed[3] > 2 && allowed[3] < 8, "{seen:#}");
    assert_eq!(seen["begins"].as_array().unwrap().len() as u64, allowed[3]);
    let last = seen["over_the_day"].as_array().unwrap().last().unwrap().clone();
    let figure = |of: &str| last[of].as_f64().unwrap();
    let balance = 8.0 + figure("mains_kwh") - 2.0 * allowed[3] as f64 - figure("pack_kwh");
    assert!(balance.abs() < 1e-6, "what came in is what went out or is there: {seen:#}");
    let picture = of("1/energy/picture", runs).has_status(200).text;
    assert!(picture.starts_with("<svg") && picture.contains("from the mains"), "{picture}");
    of("1/energy", "energy_kwh=-2&run_min=10&set_up_min=20").has_problem(422, "invalid");
    of("1/energy/picture", "energy_kwh=2").has_problem(400, "bad-query");
}

fn a_failed_point_is_planned_around(story: &Story) {
    let [_, _, ivo, lea, ..] = story.people();
    let again = |from: DateTime<Utc>, without: Value| {
        let body = json!({ "from": told(from), "state": 0.7, "parts_c": { "Winding": 40 }, "without": without });
        lea.post(&at("day-plans/1/replanning"), body)
    };
    again(tomorrow(15), json!([])).has_problem(422, "invalid");
    let later = tomorrow(9) + TimeDelta::minutes(30);
    let rest = again(later, json!(["GR-01"])).has_status(201).json();
    assert_eq!(rest["now"]["row"]["replaces"], 1);
    let day = &rest["now"]["day"];
    assert_eq!(day["runs"], json!([]), "GR-02 waits for it: {day:#}");
    let first = &day["over_the_day"][0];
    assert_eq!((&first["charge"], &first["parts_c"]), (&json!(0.7), &json!([40.0])));
    let listed = ivo.get(&at("day-plans")).has_status(200).json();
    assert_eq!(listed["items"][1]["replaced_by"], 2, "{listed:#}");
    lea.post(&at("day-plans/9/replanning"), json!({ "from": told(later), "state": 0.7 }))
        .has_problem(404, "not-found");
}

#[test]
fn a_result_that_was_not_met_keeps_its_point_out_of_the_rest_of_the_day() {
    let team = Team::new();
    let lea = team.person("lea");
    team.runs_the_first_point(75.0);
    let draft = lea.post(&at("day-plans/draft"), json!({ "terms": day() })).has_status(200).json();
    let left_out = draft["left_out"].as_array().unwrap();
    let first = left_out.iter().find(|it| it["point"] == "GR-01").expect("it is left out");
    assert!(first["because"][0].as_str().unwrap().contains("not met"), "{first:#}");
}
