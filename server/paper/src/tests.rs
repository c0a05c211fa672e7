//! Papers of the demonstration, of an empty programme, and of one whose people wrote what could run as markup.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::sync::LazyLock;

use chrono::{DateTime, TimeZone, Utc};
use programme::entry::Entry;
use programme::nouns::Phase;
use programme::play::Player;
use programme::state::State;
use serde_json::json;

use programme::scope::Scope;

use crate::{CheckpointFacts, Draft, Manuscript, Trouble, draft, evidence};

const PROGRAMME: &str = include_str!("../../../seed/programme.toml");
const STORY: &str = include_str!("../../../seed/story.toml");

fn noon() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2031, 6, 18, 12, 0, 0).unwrap()
}

/// Played once: it takes seconds.
static DEMONSTRATION: LazyLock<State> = LazyLock::new(|| {
    let player = Player::new(PROGRAMME, STORY, noon()).unwrap();
    player.replay(&"tallow".parse().unwrap()).unwrap().0
});

fn facts(state: &State) -> CheckpointFacts {
    CheckpointFacts { records: state.length(), root: "9f86d081".repeat(8), at: noon() }
}

/// All that stands in a paper, as one text.
fn words(of: &Manuscript, state: &State) -> String {
    serde_json::to_string(&of.to_set(&facts(state))).unwrap()
}

fn is_pdf(bytes: &[u8]) -> bool {
    bytes.starts_with(b"%PDF-") && bytes.len() > 10_000
}

#[test]
fn the_evidence_of_the_programme_has_its_size_root_limits_results_and_signatures() {
    let state = &*DEMONSTRATION;
    let paper = evidence(&Scope::Programme, state, noon()).unwrap();
    let words = words(&paper, state);
    for result in &state.results {
        let signed = result.safety.as_ref().map(|signed| signed.digest.to_string());
        assert!(signed.is_none_or(|digest| words.contains(&digest)), "{}", result.point);
    }
    for limit in state.limits.by_code.values() {
        assert!(words.contains(limit.limit.code.as_str()));
    }
    assert!(words.contains(&format!("\"size\":\"{}\"", state.length())));
    assert!(words.contains(&"9f86d081".repeat(8)));
    assert!(words.contains("pilot in command"));
}

#[test]
fn the_same_state_gives_the_same_bytes() {
    let state = &*DEMONSTRATION;
    let point = state.results[0].point.clone();
    let scope = Scope::Point { point };
    let first = crate::document(&scope, state, &facts(state)).unwrap();
    assert!(is_pdf(&first));
    assert!(first == crate::document(&scope, state, &facts(state)).unwrap());
}

#[test]
fn a_scope_that_is_not_there_is_refused() {
    let state = &*DEMONSTRATION;
    let point = Scope::Point { point: "XX-99".parse().unwrap() };
    assert!(matches!(evidence(&point, state, noon()), Err(Trouble::NoSuchPoint { .. })));
    let day = Scope::Day { day: "1999-01-01".parse().unwrap() };
    assert!(matches!(evidence(&day, state, noon()), Err(Trouble::NothingThatDay { .. })));
}

#[test]
fn a_phase_tells_of_no_other_phase() {
    let state = &*DEMONSTRATION;
    let paper = evidence(&Scope::Phase { phase: Phase::Taxi }, state, noon()).unwrap();
    let words = words(&paper, state);
    let other = state.results.iter().find(|it| it.planned.phase != Phase::Taxi).unwrap();
    assert!(!words.contains(&format!("\"{}: {}\"", other.point, other.planned.title)));
}

#[test]
fn an_empty_programme_says_what_is_not_recorded() {
    let state = State::default();
    for which in Draft::ALL {
        let paper = draft(which, &state, noon()).unwrap();
        assert!(words(&paper, &state).contains("not recorded"), "{which}");
        assert!(is_pdf(&paper.typeset(&facts(&state)).unwrap()), "{which}");
    }
    assert!(is_pdf(&crate::document(&Scope::Programme, &state, &facts(&state)).unwrap()));
}

#[test]
fn what_people_wrote_cannot_run_as_markup() {
    let hostile = "#panic(\"x\") $x$ #read(\"/etc/passwd\") *b* @x <y> \u{202e}z";
    let mut state = State::default();
    hostile.clone_into(&mut state.title);
    let paper = draft(Draft::RiskRegister, &state, noon()).unwrap();
    assert!(!words(&paper, &state).contains('\u{202e}'), "nothing turns the direction of the text");
    assert!(is_pdf(&paper.typeset(&facts(&state)).unwrap()));
}

/// The demonstration with two reductions of an accepted result: what the methods really answer, in the form that is kept.
fn with_speeds_that_were_reduced() -> State {
    let mut state = DEMONSTRATION.clone();
    let accepted = state.results.iter().find(|it| it.is_accepted()).unwrap();
    let (run, point) = (accepted.run, accepted.point.clone());
    let kept = |topic: &str, input: serde_json::Value| {
        let output = flight_science::catalogue::compute(topic, &input).unwrap();
        let given = json!({ "mass_kg": 600, "reference_mass_kg": input["reference_mass_kg"] });
        json!({ "output": output, "rests_on": { "given": given } }).to_string()
    };
    let stall = json!({ "cas_kt": 50, "mass_kg": 600, "reference_mass_kg": 620 });
    let climbs = [(55, 640), (60, 688), (65, 700), (75, 630)].map(|(cas_kt, fpm)| {
        json!({ "cas_kt": cas_kt, "climb_rate_fpm": fpm, "mass_kg": 600, "pressure_altitude_ft": 3000, "oat_c": 9 })
    });
    let climbs = json!({ "reference_mass_kg": 620, "points": climbs });
    let taken = include_str!("../../programme/records/recording-taken-v1.json");
    let attached = include_str!("../../programme/records/recording-attached-v1.json");
    let reduced = include_str!("../../programme/records/reduction-made-v1.json");
    for (text, made) in [
        (taken, None),
        (attached, None),
        (reduced, Some(("stall-speed", kept("stall-speed", stall)))),
        (reduced, Some(("climb", kept("climb", climbs)))),
    ] {
        let mut entry: serde_json::Value = serde_json::from_str(text).unwrap();
        entry["seq"] = (state.length() + 1).into();
        if entry["body"].get("run").is_some() {
            entry["body"]["run"] = json!(run);
        }
        if let Some((topic, result)) = made {
            entry["body"]["topic"] = topic.into();
            entry["body"]["result"] = result.into();
            entry["body"]["point"] = json!(point);
            entry["body"]["reduction"] = (state.recordings.reductions.len() + 1).into();
        }
        state.apply(&Entry::from_json(&entry.to_string()).unwrap());
    }
    state
}

#[test]
fn speeds_that_were_reduced_stand_in_the_closing_statement_with_the_mass_they_are_carried_to() {
    let state = with_speeds_that_were_reduced();
    let rows = words(&draft(Draft::ClosingStatement, &state, noon()).unwrap(), &state);
    let row = |speed: &str| {
        let rest = rows.split(&format!("[\"{speed}\",")).nth(1);
        rest.and_then(|rest| rest.split(']').next())
            .unwrap_or_else(|| panic!("no {speed}"))
            .to_owned()
    };
    // 50 kt at 600 kg are 50 kt times the square root of 620 / 600 at 620 kg.
    assert!(row("stall").contains("50.827 kt calibrated"), "{}", row("stall"));
    for speed in ["stall", "best angle", "best rate"] {
        let row = row(speed);
        assert!(row.contains(" kt calibrated"), "{row}");
        assert!(row.contains("620 kg (carried to)"), "{row}");
        assert!(row.contains("result accepted"), "{row}");
    }
    // A recording that is set aside takes them away.
    let mut state = state;
    let aside = include_str!("../../programme/records/recording-set-aside-v1.json");
    let mut entry: serde_json::Value = serde_json::from_str(aside).unwrap();
    entry["seq"] = (state.length() + 1).into();
    let recording = "e9015b740ff23712260791bbb39b13c1092ecb5bfa3e4d78d0bf4dfb4b62b036";
    entry["body"]["recording"] = recording.into();
    state.apply(&Entry::from_json(&entry.to_string()).unwrap());
    let rows = words(&draft(Draft::ClosingStatement, &state, noon()).unwrap(), &state);
    assert!(!rows.contains("carried to"), "{rows}");
}

#[test]
fn a_closing_statement_names_stall_best_angle_and_best_rate_whether_known_or_not() {
    let state = &*DEMONSTRATION;
    let words = words(&draft(Draft::ClosingStatement, state, noon()).unwrap(), state);
    for speed in ["stall", "best angle", "best rate"] {
        assert!(words.contains(&format!("[\"{speed}\",")), "{speed}");
    }
}
