//! From a planned point to an accepted one that opens the next rung, and counts in the hours.

mod exceedances;
mod points;
mod races;
mod runs;
mod sign_offs;

use std::collections::HashMap;

use super::*;

const AT: &str = "/api/v1/programmes/bench";

/// A programme so small that nothing but signatures holds its first point. All of it is invented.
const DOCUMENT: &str = r#"
[aircraft]
name = "Bench"
description = "A motor on a bench; invented."
airfield = "None"
never_exceed_speed = { value = 100.0, unit = "kt" }
maximum_mass = { value = 500.0, unit = "kg" }
seats = 1

[policy]
weather_good_for_min = 60
longest_release_h = 12
required_totals = [{ total = "powered-minutes", at_least = 60, source = "our own plan" }]

[policy.risk]
source = "our own matrix"
rows = [
  ["high", "high", "high", "serious", "medium", "eliminated"],
  ["high", "high", "serious", "medium", "medium", "eliminated"],
  ["serious", "serious", "medium", "medium", "medium", "eliminated"],
  ["medium", "medium", "low", "low", "low", "eliminated"],
]
accepted_by = [
  { level = "high", roles = [] },
  { level = "serious", roles = ["safety"] },
  { level = "medium", roles = ["lead", "safety"] },
]

[[people]]
handle = "pat"
name = "Pat"
roles = ["pilot"]

[[people]]
handle = "eve"
name = "Eve"
roles = ["engineer"]

[[people]]
handle = "viv"
name = "Viv"
roles = ["viewer"]

[[items]]
code = "motor"
title = "Motor"
kind = "part"
version = "1"

[[channels]]
code = "winding"
title = "Winding temperature"
unit = "degC"

[[limits]]
code = "L-W"
title = "Winding"
channel = "winding"
unit = "degC"
is = { kind = "maximum", caution = 90.0, limit = 110.0 }
dwell_s = 0.0
phases = ["ground-run"]
source = "the motor's maker"

[[points]]
code = "G-1"
title = "First turn"
phase = "ground-run"
objective = "Show that it stays cool."
technique = "Turn it."
duration_min = 10.0
energy_kwh = 1.0
data_required = ["winding"]
criteria = [{ parameter = "winding", statistic = "max", comparison = "at-most", value = 80.0, unit = "degC" }]
limits = ["L-W"]
stop_criteria = ["Smoke."]
crew = [{ role = "pilot", count = 1, on_board = true }]
most_on_board = 1
sensitive_to = ["motor"]

[[points]]
code = "G-2"
title = "Second turn"
phase = "ground-run"
objective = "Show it again."
technique = "Turn it."
duration_min = 10.0
energy_kwh = 1.0
criteria = [{ parameter = "winding", statistic = "max", comparison = "at-most", value = 80.0, unit = "degC" }]
stop_criteria = ["Smoke."]
after_points = ["G-1"]
crew = [{ role = "pilot", count = 1, on_board = true }]
most_on_board = 1

[[points]]
code = "T-1"
title = "Roll"
phase = "taxi"
objective = "Show that it rolls."
technique = "Roll."
duration_min = 10.0
energy_kwh = 1.0
criteria = [{ parameter = "winding", statistic = "max", comparison = "at-most", value = 80.0, unit = "degC" }]
stop_criteria = ["Smoke."]
after_points = ["G-2"]
crew = [{ role = "pilot", count = 1, on_board = true }]
most_on_board = 1
"#;

/// A service with the programme, and everybody signed in: lou leads, pat flies, sam keeps safe, eve is the engineer,
/// viv looks on.
pub(super) struct Bench {
    house: House,
    tokens: HashMap<&'static str, String>,
}

impl Bench {
    async fn new() -> Self {
        // The stories last for days.
        let house = House::with(Settings {
            access_token_lasts: TimeDelta::days(7),
            attempts_per_account: Pace::new(10_000, Duration::from_millis(1)),
            ..Settings::default()
        })
        .await;
        for handle in ["lou", "pat", "sam", "eve", "viv"] {
            house.account(handle, false).await;
        }
        let keeper = house.token("keeper").await;
        let body = json!({ "id": "bench", "title": "Bench", "lead": "lou", "safety": "sam" });
        let founded = house.post("/api/v1/programmes").token(&keeper).json(&body).answer().await;
        founded.has_status(201);
        let mut tokens = HashMap::new();
        for person in ["lou", "pat", "sam", "eve", "viv"] {
            tokens.insert(person, house.token(person).await);
        }
        let bench = Self { house, tokens };
        let document = bench.ask("lou", House::post, "/document");
        document.bytes("application/toml", DOCUMENT).answer().await.has_status(200);
        bench
    }

    fn ask<'a>(&'a self, who: &str, how: fn(&'a House, &str) -> Ask<'a>, path: &str) -> Ask<'a> {
        how(&self.house, &format!("{AT}{path}")).token(&self.tokens[who])
    }

    async fn get(&self, who: &str, path: &str) -> Answer {
        self.ask(who, House::get, path).answer().await
    }

    /// Reads something that is there.
    async fn read(&self, path: &str) -> Value {
        self.get("viv", path).await.has_status(200).json()
    }

    async fn post(&self, who: &str, path: &str, body: Value) -> Answer {
        self.ask(who, House::post, path).json(&body).answer().await
    }

    /// Puts something at the version that stands there now, if any.
    async fn put(&self, who: &str, path: &str, at: &str, body: Value) -> Answer {
        let present = self.get(who, at).await;
        let ask = self.ask(who, House::put, path).json(&body);
        match present.header("etag") {
            "" => ask.answer().await,
            tag => ask.header("if-match", tag).answer().await,
        }
    }

    /// The part of a point as a person would sign it.
    async fn part(&self, who: &str, point: &str, part: &str) -> Value {
        let seen = self.get(who, &format!("/points/{point}")).await.has_status(200).json();
        let parts = seen["to_sign"]["parts"].as_array().unwrap().clone();
        let found = parts.into_iter().find(|it| it["part"] == part);
        found.unwrap_or_else(|| panic!("there is no {part} of {point}"))
    }

    /// Signs what stands there now.
    async fn sign(&self, who: &str, point: &str, part: &str, besides: Value) -> Answer {
        let seen = self.part(who, point, part).await;
        let mut body = json!({ "part": part, "digest": seen["digest"], "secret": PASSWORD });
        if let Some(run) = seen["run"].as_u64() {
            body["run"] = run.into();
        }
        for (name, value) in besides.as_object().unwrap() {
            body[name] = value.clone();
        }
        self.post(who, &format!("/points/{point}/sign-offs"), body).await
    }

    /// A point on its way to a run: approved, released, acknowledged.
    async fn clear(&self, point: &str) {
        self.sign("eve", point, "plan-approval", json!({})).await.has_status(201);
        let until = json!({ "valid_until": "2026-05-02T18:00:00Z" });
        self.sign("sam", point, "release", until).await.has_status(201);
        self.sign("pat", point, "acknowledgement", json!({})).await.has_status(201);
    }

    async fn open(&self, points: &[&str]) -> Answer {
        let crew = json!([{ "person": "pat", "role": "pilot", "on_board": true }]);
        self.post("lou", "/runs", json!({ "points": points, "crew": crew })).await
    }

    /// A run that opens now, is under power for the minutes given, and closes.
    async fn run(&self, points: &[&str], minutes: i64) -> Value {
        let opened = self.open(points).await.has_status(201).json();
        let run = &opened["now"]["run"];
        let moments = format!("/runs/{run}/moments");
        self.post("pat", &moments, json!({ "event": "power-on" })).await.has_status(200);
        self.house.time_passes(TimeDelta::minutes(minutes));
        self.post("pat", &moments, json!({ "event": "power-off" })).await.has_status(200);
        self.post("lou", &format!("/runs/{run}/closing"), json!({})).await.has_status(200);
        run.clone()
    }

    async fn result(&self, run: &Value, point: &str, winding: Value) -> Answer {
        let body = json!({
            "point": point,
            "values": [{ "parameter": "winding", "statistic": "max", "value": winding, "unit": "degC" }],
            "observations": "Nothing unusual.",
        });
        self.post("lou", &format!("/runs/{run}/results"), body).await
    }

    /// Everything from the plan to the accepted result.
    async fn show(&self, point: &str) -> Value {
        self.clear(point).await;
        let run = self.run(&[point], 10).await;
        self.result(&run, point, json!(60.0)).await.has_status(201);
        self.sign("eve", point, "engineering-acceptance", json!({})).await.has_status(201);
        self.sign("sam", point, "safety-acceptance", json!({})).await.has_status(201);
        run
    }
}

fn rules(holds: &Value) -> Vec<&str> {
    holds.as_array().unwrap().iter().map(|hold| hold["rule"].as_str().unwrap()).collect()
}

fn items(page: &Value) -> &Vec<Value> {
    page["items"].as_array().unwrap()
}
