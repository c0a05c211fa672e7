//! Who may ask for what: the team's own table, held against the description and against what the program does.

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::json;

use super::intervals::{a_minute, attached, rings, take, told};
use super::recordings::upload;
use crate::harness::{Answer, Client, Description, Operation, PASSWORD, PROGRAMME, Team, at};

/// Who may ask.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who {
    /// Anybody, so that nobody is without permission.
    Anyone,
    /// Whoever has signed in.
    SignedIn,
    /// Administrators of the server.
    Administrator,
    /// People of the programme in these roles.
    To(&'static [&'static str]),
}

const EVERYBODY: Who = Who::To(&["lead", "pilot", "safety", "engineer", "crew", "viewer"]);
/// All but the inspector, who writes nothing.
const TAKES_PART: Who = Who::To(&["lead", "pilot", "safety", "engineer", "crew"]);
const LEAD: Who = Who::To(&["lead"]);
const ENGINEER: Who = Who::To(&["engineer"]);
const SAFETY: Who = Who::To(&["safety"]);
const LEAD_OR_ENGINEER: Who = Who::To(&["lead", "engineer"]);
const LEAD_OR_SAFETY: Who = Who::To(&["lead", "safety"]);
const CONDUCTS: Who = Who::To(&["lead", "pilot", "engineer", "crew"]);

/// The table. An operation that is in no line, or in two, fails a test.
#[rustfmt::skip]
const TABLE: &[(Who, &[&str])] = &[
    (Who::Anyone, &[
        "health_live", "health_ready", "description_read", "rules_list", "reductions_methods", "compute_list", "compute_read",
        "sessions_begin", "sessions_refresh", "calendars_read",
    ]),
    (Who::SignedIn, &[
        "sessions_list", "sessions_current", "sessions_end", "sessions_end_one", "account_read", "account_change_password",
        "account_change_pin", "account_remove_pin", "compute_compute", "programmes_list",
    ]),
    (Who::Administrator, &[
        "accounts_list", "accounts_create", "accounts_read", "accounts_amend", "accounts_reset_password",
        "accounts_end_sessions", "programmes_found",
    ]),
    (EVERYBODY, &[
        "programmes_read", "document_read", "points_table_read", "aircraft_read", "policy_read",
        "people_list", "people_read", "configuration_read", "configuration_list", "configuration_read_item",
        "configuration_changes", "documents_list", "documents_read", "channels_list", "channels_read",
        "recorders_list", "recorders_read", "recorder_files_look",
        "limits_list", "limits_read", "limits_history", "limit_proposals_list", "limit_proposals_read",
        "checks_list", "checks_read", "checks_history", "happenings_list", "hazards_list", "hazards_read",
        "stand_down_read", "stand_down_list", "weather_list", "weather_latest", "snags_list", "snags_read",
        "points_list", "points_read", "points_holds", "next_read", "runs_list", "runs_read", "results_list",
        "results_read", "exceedances_list", "exceedances_read", "hours_read", "ledger_head", "ledger_list",
        "ledger_read", "ledger_inclusion", "ledger_consistency", "checkpoints_read", "checkpoints_keys", "copies_read", "clock_read",
        "differences_read", "envelope_read", "envelope_picture",
        "next_steps_read", "deviations_list", "deviations_read", "predictions_read", "predictions_list",
        "changes_dry_run", "changes_read_narrowing", "events_listen",
        "evidence_list", "evidence_order", "evidence_read", "evidence_file",
        "calendars_look", "calendars_make", "calendars_end",
        "heating_read", "progress_read", "progress_picture", "forecast_assumptions_read", "forecasts_list", "forecasts_read", "forecasts_picture",
        "day_plans_list", "day_plans_read", "day_plans_picture", "day_plans_draft",
        "day_energy_read", "day_energy_picture",
        "recordings_list", "recordings_read", "recordings_quality", "recordings_original",
        "recordings_judged", "recordings_clock_estimate",
        "recordings_plot", "recordings_data",
        "intervals_steady", "intervals_list", "intervals_read", "intervals_values", "reductions_list",
        "reductions_read", "reductions_input",
        // Which part somebody signs decides who may: see PARTS.
        "sign_offs_sign", "sign_offs_refuse", "sign_offs_withdraw",
    ]),
    (TAKES_PART, &[
        "happenings_report", "stand_down_call", "weather_observe", "snags_open", "runs_knock_off",
        "exceedances_note", "progress_note_lost_day",
    ]),
    (LEAD, &[
        "aircraft_describe", "deviations_propose", "forecast_assumptions_assume", "forecasts_make", "day_plans_propose",
        "day_plans_replan",
    ]),
    (ENGINEER, &[
        "configuration_fit", "configuration_remove", "channels_define", "limit_proposals_propose",
        "limit_proposals_withdraw", "snags_close", "exceedances_explain", "recordings_confirm_clock",
        "reductions_make", "reductions_rerun", "predictions_judge_damping",
    ]),
    (SAFETY, &["policy_set", "limit_proposals_agree", "limit_proposals_decline", "stand_down_lift", "clock_compare", "exceedances_close", "deviations_agree", "changes_narrow"]),
    (Who::To(&["safety", "engineer"]), &["predictions_review"]),
    (LEAD_OR_ENGINEER, &[
        "document_import", "points_table_import", "points_plan", "points_drop", "checks_define", "runs_correct",
        "recordings_attach", "recordings_set_aside",
        "recorders_describe",
        "intervals_take",
    ]),
    (LEAD_OR_SAFETY, &["copies_acknowledge", "people_list_person", "documents_file", "hazards_accept", "deviations_end"]),
    (Who::To(&["lead", "safety", "engineer"]), &["hazards_record"]),
    (Who::To(&["engineer", "crew"]), &["snags_work"]),
    (Who::To(&["lead", "engineer", "crew"]), &["recordings_take"]),
    (CONDUCTS, &[
        "checks_report", "runs_open", "runs_note_moment", "runs_read_energy", "runs_close", "results_record",
        "results_amend",
    ]),
];

/// Who signs which part.
const PARTS: &[(&str, &[&str])] = &[
    ("plan-approval", &["lead", "engineer"]),
    ("release", &["safety"]),
    ("acknowledgement", &["pilot"]),
    ("engineering-acceptance", &["engineer"]),
    ("safety-acceptance", &["safety"]),
];

/// The people of the team, each with the one role that they have.
pub const ROLES: [(&str, &str, &str); 6] = [
    ("lead", "lea", "the test lead"),
    ("pilot", "pip", "the test pilot"),
    ("safety", "sam", "the safety officer"),
    ("engineer", "eve", "an engineer"),
    ("crew", "cas", "the ground crew"),
    ("viewer", "ivo", "an inspector"),
];

/// Who may ask for an operation; none where the table does not say so, or says it twice.
pub fn who_may(operation: &str) -> Option<Who> {
    let mut lines = TABLE.iter().filter(|(_, operations)| operations.contains(&operation));
    let (who, _) = lines.next()?;
    lines.next().is_none().then_some(*who)
}

/// A file of the logger, and its SHA-256.
const FILE: &str = "t,winding\n2026-05-02T08:00:00Z,55\n2026-05-02T08:00:01Z,56\n";
const RECORDING: &str = "109e12f1a96cc86b27aa2bf1aa06fd46a85e324781b52893f87bc9972806f5e1";

/// Another one.
const SECOND_FILE: &str = "t,winding\n2026-05-02T08:00:00Z,57\n2026-05-02T08:00:01Z,58\n";
pub const SECOND_RECORDING: &str =
    "18a96a856a72b1a122637288d552d7e9a8a4a23d747013478b65c121e719d3c3";

/// The path of something that is there.
pub fn path_of(operation: &Operation) -> String {
    let mut path = operation.path.clone();
    for (name, value) in [
        ("programme", "small"),
        ("person", "cas"),
        ("point", "GR-01"),
        ("item", "motor"),
        ("channel", "motor_temp"),
        ("recorder", "logger"),
        ("limit", "L-MOTOR"),
        ("check", "C-ISO"),
        ("hazard", "H-FIRE"),
        ("document", "D-PERMIT"),
        ("recorder", "logger"),
        ("recording", RECORDING),
        ("run", "1"),
        ("snag", "1"),
        ("exceedance", "1"),
        ("interval", "1"),
        ("reduction", "1"),
        ("proposal", "1"),
        ("deviation", "1"),
        ("forecast", "1"),
        ("plan", "1"),
        ("pair", "speed-altitude"),
        ("topic", "atmosphere"),
        ("seq", "1"),
        ("link", RECORDING),
        ("session", "0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d91"),
        ("order", "0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d90"),
    ] {
        path = path.replace(&format!("{{{name}}}"), value);
    }
    match operation.id.as_str() {
        "recordings_take" => path.push_str("?recorder=logger&name=x.csv"),
        "recordings_judged" => path.push_str("?run=1"),
        "recordings_clock_estimate" => {
            path.push_str(&format!("?against={RECORDING}&channel=motor_temp"));
        }
        "events_listen" => path.push_str("?lasts_s=1"),
        "day_energy_read" | "day_energy_picture" => {
            path.push_str("?energy_kwh=1&run_min=10&set_up_min=10");
        }
        "ledger_inclusion" => path.push_str("?seq=1"),
        "ledger_consistency" => path.push_str("?first=1"),
        "differences_read" => path.push_str("?from=1"),
        // Ending the sessions of somebody would end the test.
        "accounts_end_sessions" => path = path.replace("cas", "nobody"),
        _ => {}
    }
    path
}

/// Asks for an operation with a body that nothing accepts, so that nothing is changed by those who may.
fn ask(person: &Client, operation: &Operation, path: &str) -> Answer {
    let body =
        operation.reads_body.then(|| ("application/json", json!({ "colour": "red" }).to_string()));
    person.send(&operation.method, path, body)
}

/// A team that has done something of everything, so that each path leads somewhere.
pub fn team_with_a_past() -> Team {
    let team = Team::new();
    team.runs_the_first_point(55.0);
    let [lea, eve, cas] = ["lea", "eve", "cas"].map(|handle| team.person(handle));
    let beyond = json!({ "run": 1, "limit": "L-MOTOR", "statistic": "max", "peak": 125.0 });
    cas.post(&at("exceedances"), beyond).has_status(201);
    let snag = json!({ "title": "Scratch", "grounding": false, "severity": "negligible" });
    cas.post(&at("snags"), snag).has_status(201);
    cas.post(&at("weather"), json!({ "weather": { "remarks": "Dry." } })).has_status(201);
    upload(cas, "first.csv", FILE).has_status(201);
    // A step too bold, and a proposal to make it all the same.
    let mut plan = lea.get(&at("points/GR-02")).has_status(200).json()["plan"].clone();
    plan["code"] = "GR-09".into();
    plan["conditions"]["power"]["target"] = 95.0.into();
    eve.change(&at("points/GR-09"), plan).has_status(201);
    let seen = lea.to_sign("GR-09", "plan-approval");
    let body = json!({
        "point": "GR-09", "reason": "The propeller hums in between.", "digest": seen["digest"],
        "secret": PASSWORD,
    });
    lea.post(&at("deviations"), body).has_status(201);
    upload(cas, "second.csv", SECOND_FILE).has_status(201);
    has_reduced_a_recording(&team);
    let mut limit = lea.get(&at("limits/L-MOTOR")).has_status(200).json()["limit"].clone();
    limit["is"]["caution"] = json!(100.0);
    let proposal = json!({ "limit": limit, "reason": "A hot day." });
    eve.post(&at("limit-proposals"), proposal).has_status(201);
    super::planning::has_planned(&team);
    team
}

/// Power was on for a minute, as it turned out, and of that there is a recording with an interval and a reduction.
fn has_reduced_a_recording(team: &Team) {
    let [lea, eve] = ["lea", "eve"].map(|handle| team.person(handle));
    let run = lea.get(&at("runs/1")).has_status(200);
    let power_on = run.json()["times"]["power_on"].as_str().expect("a moment").to_owned();
    let power_on: DateTime<Utc> = power_on.parse().expect("a moment");
    let power_off = told(power_on + TimeDelta::seconds(60));
    let times = json!({ "power_on": told(power_on), "power_off": power_off });
    let body = json!({ "times": times, "reason": "Noted too early." });
    lea.with("if-match", run.header("etag").expect("a tag"))
        .put(&at("runs/1/times"), body)
        .has_status(200);
    let recording = attached(eve, &a_minute(power_on, |seconds| rings(40.0, seconds)));
    take(eve, &recording, power_on, (4, 30)).has_status(201);
    let reduction =
        json!({ "interval": 1, "method": "damping", "channels": { "signal": "motor_temp" } });
    eve.post(&at("reductions"), reduction).has_status(201);
}

#[test]
fn each_operation_is_for_those_in_the_table_and_nobody_else() {
    let team = team_with_a_past();
    let keeper = team.server.sign_in("keeper");
    let new = json!({ "handle": "otto", "name": "Otto", "password": PASSWORD });
    keeper.post("/api/v1/accounts", new).has_status(201);
    let otto = team.server.sign_in("otto");
    let stranger = team.server.stranger();
    let description = Description::read(&stranger);
    let before = team.person("ivo").get(&at("ledger")).has_status(200).json();

    for operation in description.operations() {
        let id = operation.id.as_str();
        let who = who_may(id).unwrap_or_else(|| panic!("no line, or two lines, for {id}"));
        let path = path_of(operation);
        assert_eq!(operation.needs_token, who != Who::Anyone, "{id}: what the description says");
        // Signing out and taking one's PIN away ask for nothing that could be wrong.
        let acts = matches!(id, "sessions_end" | "account_remove_pin");

        let answer = ask(&stranger, operation, &path);
        match who {
            Who::Anyone => is_let_in(&answer, operation),
            _ => drop(answer.has_problem(401, "not-signed-in")),
        }
        match who {
            Who::Anyone => {}
            Who::SignedIn if acts => {}
            Who::SignedIn => is_let_in(&ask(&otto, operation, &path), operation),
            Who::Administrator => {
                is_let_in(&ask(&keeper, operation, &path), operation);
                for person in ["lea", "sam", "ivo"].map(|handle| team.person(handle)) {
                    ask(person, operation, &path).has_problem(403, "not-administrator");
                }
                ask(&otto, operation, &path).has_problem(403, "not-administrator");
            }
            Who::To(roles) => {
                says_whom_it_is_for(operation, roles);
                for (role, handle, _) in ROLES {
                    let answer = ask(team.person(handle), operation, &path);
                    if roles.contains(&role) {
                        is_let_in(&answer, operation);
                    } else {
                        is_barred(answer, roles);
                    }
                }
                // To somebody from outside it is as if the programme were not there, also to who manages the server.
                let elsewhere = path.replace(PROGRAMME, "/api/v1/programmes/nowhere");
                for outsider in [&otto, &keeper] {
                    let hidden = ask(outsider, operation, &path).has_problem(404, "not-found");
                    let nowhere =
                        ask(outsider, operation, &elsewhere).has_problem(404, "not-found");
                    let detail = hidden.json()["detail"].as_str().map(str::to_owned);
                    let told = nowhere.json()["detail"].as_str().map(str::to_owned);
                    assert_eq!(detail.map(|it| it.replace("small", "nowhere")), told, "{id}");
                }
            }
        }
    }
    let after = team.person("ivo").get(&at("ledger")).has_status(200).json();
    assert_eq!(before, after, "nothing was recorded");
}

/// The answer is about what was asked, not about who asked.
#[track_caller]
fn is_let_in(answer: &Answer, operation: &Operation) {
    let expected: &[u16] = match operation.method.as_str() {
        // The recording is of another day than the run, and no clock is held against itself.
        "GET" if operation.id == "recordings_judged" => &[409],
        "GET" if operation.id == "recordings_clock_estimate" => &[422],
        // Nobody has such a link, and to make one is no record.
        "GET" if operation.id == "calendars_read" => &[404],
        // Nothing was ordered, or it was forgotten since.
        "GET" if matches!(operation.id.as_str(), "evidence_read" | "evidence_file") => &[404],
        "PUT" if operation.id == "calendars_make" => &[200],
        "GET" => &[200],
        _ if operation.reads_body => &[415, 422],
        // Nobody has such an account.
        _ => &[204, 404],
    };
    assert!(
        expected.contains(&answer.status),
        "{}: {} {}",
        answer.asked,
        answer.status,
        answer.text
    );
}

/// The answer says that the roles do not allow it, and which would.
#[track_caller]
fn is_barred(answer: Answer, roles: &[&str]) {
    let problem = answer.has_problem(403, "not-permitted").json();
    let mut allowed: Vec<_> =
        problem["allowed"].as_array().unwrap().iter().map(|role| role.as_str().unwrap()).collect();
    let mut roles = roles.to_vec();
    allowed.sort_unstable();
    roles.sort_unstable();
    assert_eq!(allowed, roles, "{problem:#}");
}

/// The description names exactly these roles.
#[track_caller]
fn says_whom_it_is_for(operation: &Operation, roles: &[&str]) {
    let said = operation.about.lines().last().unwrap_or_default();
    if operation.id.starts_with("sign_offs_") {
        return says_whom_each_part_is_for(operation, said);
    }
    assert!(said.starts_with("For "), "{}: {said}", operation.id);
    for (role, _, words) in ROLES {
        assert_eq!(said.contains(words), roles.contains(&role), "{}: {said}", operation.id);
    }
}

#[track_caller]
fn says_whom_each_part_is_for(operation: &Operation, said: &str) {
    for (part, roles) in PARTS {
        let of_roles = ROLES.iter().filter(|(role, ..)| roles.contains(role));
        let words: Vec<_> = of_roles.map(|(_, _, words)| *words).collect();
        let sentence = format!("`{part}` for {}", words.join(" or "));
        assert!(said.contains(&sentence), "{}: {said}", operation.id);
    }
}

#[test]
fn each_part_is_signed_refused_and_taken_back_by_those_whom_it_is_for_and_nobody_else() {
    let team = team_with_a_past();
    let before = team.person("ivo").get(&at("ledger")).has_status(200).json();
    for (part, roles) in PARTS {
        for (role, handle, _) in ROLES {
            let person = team.person(handle);
            let mut sign = json!({ "part": part, "digest": "0".repeat(64), "secret": PASSWORD });
            let mut refuse = json!({ "part": part, "reasons": "" });
            let mut take_back = json!({ "part": part, "reason": "", "secret": PASSWORD });
            if part.ends_with("acceptance") {
                for body in [&mut sign, &mut refuse, &mut take_back] {
                    body["run"] = 1.into();
                }
            }
            if *part == "release" {
                sign["valid_until"] = "2026-01-01T00:00:00Z".into();
            }
            let signed = person.post(&at("points/GR-01/sign-offs"), sign);
            let refused = person.post(&at("points/GR-01/refusals"), refuse);
            let taken_back = person.post(&at("points/GR-01/withdrawals"), take_back);
            if roles.contains(&role) {
                let told = &signed.text;
                assert!(matches!(signed.status, 409 | 422), "{role} {part}: {told}");
                refused.has_problem(422, "invalid");
                taken_back.has_problem(422, "invalid");
            } else {
                for answer in [signed, refused, taken_back] {
                    is_barred(answer, roles);
                }
            }
        }
    }
    let after = team.person("ivo").get(&at("ledger")).has_status(200).json();
    assert_eq!(before, after, "nothing was recorded");
}
