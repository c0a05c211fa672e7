//! Papers of the demonstration, of an empty programme, and of one whose people wrote what could run as markup.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::sync::LazyLock;

use chrono::{DateTime, TimeZone, Utc};
use programme::nouns::Phase;
use programme::play::Player;
use programme::state::State;

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

#[test]
fn a_closing_statement_names_stall_best_angle_and_best_rate_whether_known_or_not() {
    let state = &*DEMONSTRATION;
    let words = words(&draft(Draft::ClosingStatement, state, noon()).unwrap(), state);
    for speed in ["stall", "best angle", "best rate"] {
        assert!(words.contains(&format!("[\"{speed}\",")), "{speed}");
    }
}
