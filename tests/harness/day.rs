//! What a team does on a day at the field, so that stories can begin in the middle of one.

use chrono::{TimeDelta, Utc};
use serde_json::{Value, json};

use super::server::PASSWORD;
use super::team::PROGRAMME;
use super::{Answer, Client, Team};

/// A place in the programme.
pub fn at(rest: &str) -> String {
    format!("{PROGRAMME}/{rest}")
}

/// A moment so many hours from now.
pub fn in_hours(hours: i64) -> String {
    (Utc::now() + TimeDelta::hours(hours)).to_rfc3339()
}

impl Client {
    /// One part of a point's step as this person would sign it.
    #[track_caller]
    pub fn to_sign(&self, point: &str, part: &str) -> Value {
        let view = self.get(&at(&format!("points/{point}"))).has_status(200).json();
        let parts = view["to_sign"]["parts"].as_array().cloned().unwrap_or_default();
        let found = parts.into_iter().find(|it| it["part"] == part);
        found.unwrap_or_else(|| panic!("there is no {part} to sign in {view:#}"))
    }

    /// Signs a part of a point as it stands now, with whatever its terms are besides digest and secret.
    #[track_caller]
    pub fn sign(&self, point: &str, part: &str, besides: Value) -> Answer {
        let seen = self.to_sign(point, part);
        let mut body = json!({ "part": part, "digest": seen["digest"], "secret": PASSWORD });
        if let Some(run) = seen["run"].as_u64() {
            body["run"] = run.into();
        }
        for (name, value) in besides.as_object().into_iter().flatten() {
            body[name] = value.clone();
        }
        self.post(&at(&format!("points/{point}/sign-offs")), body)
    }

    /// Puts something in the place of what stands there now, if anything does.
    #[track_caller]
    pub fn change(&self, path: &str, body: Value) -> Answer {
        let present = self.get(path);
        match present.header("etag") {
            Some(tag) => self.with("if-match", tag).put(path, body),
            None => self.put(path, body),
        }
    }

    /// The rules of all holds on a point.
    #[track_caller]
    pub fn rules_against(&self, point: &str) -> Vec<String> {
        let view = self.get(&at(&format!("points/{point}/holds"))).has_status(200).json();
        let holds = view["holds"].as_array().cloned().unwrap_or_default();
        holds.iter().filter_map(|hold| Some(hold["rule"].as_str()?.to_owned())).collect()
    }
}

impl Team {
    /// GR-01 on its way to a run: its check done, its plan approved, released and acknowledged.
    #[track_caller]
    pub fn clears_the_first_point(&self) {
        let done = json!({ "passed": true, "findings": "2.1 MΩ at 500 V." });
        self.person("cas").post(&at("checks/C-ISO/done"), done).has_status(201);
        let until = json!({ "valid_until": in_hours(8) });
        self.person("eve").sign("GR-01", "plan-approval", json!({})).has_status(201);
        self.person("sam").sign("GR-01", "release", until).has_status(201);
        self.person("pip").sign("GR-01", "acknowledgement", json!({})).has_status(201);
    }

    /// Opens a run with GR-01.
    #[track_caller]
    pub fn opens_a_run(&self) -> Answer {
        let crew = json!([{ "person": "pip", "role": "pilot", "on_board": true }]);
        self.person("lea").post(&at("runs"), json!({ "points": ["GR-01"], "crew": crew }))
    }

    /// Run 1 with GR-01, opened and closed again, and its result: this greatest temperature of the motor, in °C.
    #[track_caller]
    pub fn runs_the_first_point(&self, temperature: f64) {
        self.clears_the_first_point();
        self.opens_a_run().has_status(201);
        for event in ["power-on", "power-off"] {
            self.person("pip")
                .post(&at("runs/1/moments"), json!({ "event": event }))
                .has_status(200);
        }
        self.person("lea").post(&at("runs/1/closing"), json!({})).has_status(200);
        self.person("pip").post(&at("runs/1/results"), result(temperature)).has_status(201);
    }
}

/// A result for GR-01.
pub fn result(temperature: f64) -> Value {
    json!({
        "point": "GR-01",
        "values": [
            { "parameter": "motor_temp", "statistic": "max", "value": temperature, "unit": "degC" },
        ],
        "observations": "Smooth.",
    })
}
