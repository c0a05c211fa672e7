//! Documents read, checked, imported and given back.

#![allow(clippy::unwrap_used, clippy::panic)]

mod chance;
mod faults;
mod sheets;

use chrono::{DateTime, TimeZone, Utc};
use proptest::prelude::*;

use super::*;
use crate::codes::{PersonHandle, ProposalNumber};
use crate::commands::{Stamp, decide};
use crate::entry::{Draft, Entry};
use crate::nouns::{LimitKind, Phase};
use crate::record::{
    Digest, LimitChangeAgreed, LimitChangeProposed, Part, PartSigned, PointDropped, Record,
};
use crate::refusal::Refusal;
use crate::state::State;

/// A small programme in which everything is said once.
const SMALL: &str = include_str!("tests/small.toml");

fn now() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2026, 5, 1, 8, 0, 0).unwrap()
}

fn person(handle: &str) -> PersonHandle {
    handle.parse().unwrap()
}

fn append(state: &mut State, by: &str, drafts: Vec<Draft>) {
    for draft in drafts {
        let seq = state.length() + 1;
        state.apply(&Entry::new("tug".parse().unwrap(), seq, now(), person(by), draft));
    }
}

fn founded(text: &str) -> State {
    let mut state = State::default();
    append(&mut state, "lea", found(text).unwrap());
    state
}

fn import(state: &State, by: &str, toml: &str) -> Result<Vec<Draft>, Refusal> {
    let command = ImportDocument { toml: toml.to_owned() };
    decide(state, &command, &Stamp { by: person(by), now: now() })
}

/// Places and sentences of a refusal for faults.
fn faults_of(refused: Result<Vec<Draft>, Refusal>) -> Vec<(String, String)> {
    match refused {
        Err(Refusal::Invalid { faults }) => {
            faults.into_iter().map(|fault| (fault.field, fault.why)).collect()
        }
        other => panic!("{other:?}"),
    }
}

fn sign_the_plan(state: &mut State) {
    let rung = &state.ladder.rungs()[0];
    let digest = Digest::of(&state.card(rung, false)).unwrap();
    let signed = PartSigned {
        point: rung.point.code.clone(),
        part: Part::PlanApproval {},
        digest,
        window: None,
    };
    append(state, "eve", vec![signed.into()]);
}

#[test]
fn the_same_document_again_gives_no_record() {
    let state = founded(SMALL);
    assert_eq!(import(&state, "lea", SMALL).unwrap(), vec![]);
}

#[test]
fn only_what_differs_is_recorded() {
    let state = founded(SMALL);
    let changed = SMALL.replace("Run up to 20 kW.", "Run up to 20 kW, slowly.");
    let drafts = import(&state, "lea", &changed).unwrap();
    assert!(matches!(
        drafts.as_slice(),
        [Draft { record: Record::PointPlanned(planned), .. }] if planned.point.code.as_str() == "GR-02"
    ));
}

#[test]
fn a_programme_given_back_founds_the_same_programme() {
    let text = export(&founded(SMALL)).unwrap();
    assert_eq!(read_toml(&text).unwrap(), read_toml(SMALL).unwrap());
    assert_eq!(export(&founded(&text)).unwrap(), text);
}

#[test]
fn points_taken_out_of_the_plan_and_people_who_left_are_not_given_back() {
    let mut state = founded(SMALL);
    let point = "GR-02".parse().unwrap();
    append(
        &mut state,
        "lea",
        vec![PointDropped { point, reason: "Not needed.".to_owned() }.into()],
    );
    let mut leaving = state.people[&person("cas")].clone();
    leaving.roles.clear();
    append(&mut state, "lea", vec![crate::record::PersonListed { person: leaving }.into()]);
    let document = ProgrammeDocument::of(&state);
    assert_eq!(document.points.len(), 1);
    assert!(!document.people.iter().any(|person| person.handle.as_str() == "cas"));
}

#[test]
fn a_point_taken_out_of_the_plan_comes_back_with_the_document() {
    let mut state = founded(SMALL);
    let point = "GR-02".parse().unwrap();
    append(
        &mut state,
        "lea",
        vec![PointDropped { point, reason: "Not needed.".to_owned() }.into()],
    );
    assert_eq!(import(&state, "lea", SMALL).unwrap().len(), 1);
}

#[test]
fn a_limit_in_force_is_not_changed_by_an_import_once_a_plan_was_signed() {
    let mut state = founded(SMALL);
    let wider = SMALL.replace("limit = 120.0", "limit = 140.0");
    assert_eq!(import(&state, "eve", &wider).unwrap().len(), 1, "nothing was signed yet");
    sign_the_plan(&mut state);
    let faults = faults_of(import(&state, "eve", &wider));
    assert!(faults[0].0.contains("limits[0]"), "{faults:?}");
    assert!(faults[0].1.contains("the safety officer agrees"), "{faults:?}");
}

#[test]
fn a_new_limit_is_not_set_by_an_import_once_a_plan_was_signed() {
    let mut state = founded(SMALL);
    let mut document = ProgrammeDocument::of(&state);
    let mut second = document.limits[0].clone();
    second.code = "L-SECOND".parse().unwrap();
    document.limits.push(second);
    let text = document.to_toml().unwrap();
    assert_eq!(import(&state, "eve", &text).unwrap().len(), 1, "nothing was signed yet");
    sign_the_plan(&mut state);
    let faults = faults_of(import(&state, "eve", &text));
    assert!(faults[0].0.contains("limits[1]"), "{faults:?}");
    assert!(faults[0].1.contains("the safety officer agrees"), "{faults:?}");
}

#[test]
fn a_limit_that_two_people_changed_is_not_changed_by_an_import_though_no_plan_was_signed() {
    let mut state = founded(SMALL);
    let mut limit = (*state.limits.by_code.values().next().unwrap().limit).clone();
    limit.dwell_s += 1.0;
    let (proposal, digest) = (ProposalNumber(1), Digest::from_bytes([7; 32]));
    let reason = "Learnt.".to_owned();
    let proposed = LimitChangeProposed { proposal, limit, reason, digest: digest.clone() };
    append(&mut state, "eve", vec![proposed.into()]);
    append(&mut state, "sol", vec![LimitChangeAgreed { proposal, digest }.into()]);
    let faults = faults_of(import(&state, "eve", SMALL));
    assert!(faults[0].1.contains("the safety officer agrees"), "{faults:?}");
}

#[test]
fn two_limits_do_not_count_the_time_of_one_channel_above_different_figures_in_one_phase() {
    let mut document = read_toml(SMALL).unwrap();
    let mut second = document.limits[0].clone();
    second.code = "L-SECOND".parse().unwrap();
    let above = |threshold| LimitKind::TimeAbove { threshold, caution_s: None, limit_s: 60.0 };
    document.limits[0].kind = above(100.0);
    second.kind = above(110.0);
    document.limits.push(second);
    let faults = |document: &ProgrammeDocument| check(document, &State::default());
    assert_eq!(faults(&document).len(), 1, "{:?}", faults(&document));
    assert_eq!(faults(&document)[0].field, "limits[1].channel");
    document.limits[1].kind = above(100.0);
    assert_eq!(faults(&document), vec![], "the same figure is one time");
    document.limits[1].kind = above(110.0);
    document.limits[1].phases = vec![Phase::Envelope];
    assert_eq!(faults(&document), vec![], "another phase is another result");
    let state = founded(&document.to_toml().unwrap());
    let mut proposed = document.limits[1].clone();
    proposed.phases.extend(&document.limits[0].phases);
    assert_eq!(check_proposed(&proposed, &state).len(), 1);
}

#[test]
fn nobody_gives_themselves_a_role_by_an_import() {
    let state = founded(SMALL);
    let grasping = SMALL.replace("roles = [\"lead\"]", "roles = [\"lead\", \"safety\"]");
    let faults = faults_of(import(&state, "lea", &grasping));
    assert!(faults[0].1.starts_with("nobody gives themselves a role"), "{faults:?}");
}

#[test]
fn once_a_plan_was_signed_no_import_makes_a_safety_officer_but_that_of_another() {
    let mut state = founded(SMALL);
    let mut document = ProgrammeDocument::of(&state);
    let crew = document.people.iter_mut().find(|it| it.handle.as_str() == "cas").unwrap();
    crew.roles = vec![crate::nouns::Role::Safety];
    let text = document.to_toml().unwrap();
    assert_eq!(import(&state, "lea", &text).unwrap().len(), 1, "nothing was signed yet");
    sign_the_plan(&mut state);
    let faults = faults_of(import(&state, "lea", &text));
    assert!(faults[0].0.ends_with("roles"), "{faults:?}");
    assert!(faults[0].1.contains("A safety officer lists the person so"), "{faults:?}");
}

#[test]
fn once_a_plan_was_signed_each_section_asks_for_its_own_permission() {
    let mut state = founded(SMALL);
    sign_the_plan(&mut state);
    let refitted = SMALL.replace("version = \"M1\"", "version = \"M2\"");
    assert!(
        faults_of(import(&state, "lea", &refitted))[0]
            .1
            .contains("lea may not change the configuration")
    );
    assert_eq!(
        import(&state, "eve", &refitted).unwrap().len(),
        2,
        "the item, and the point that asks for it"
    );
}

#[test]
fn an_inspector_imports_nothing() {
    let state = founded(SMALL);
    assert!(matches!(import(&state, "ivo", SMALL), Err(Refusal::NotPermitted { .. })));
}

#[test]
fn a_document_of_another_programme_is_refused() {
    let state = founded(SMALL);
    let other = SMALL.replace("title = \"Small programme\"", "title = \"Another\"");
    let faults = faults_of(import(&state, "lea", &other));
    assert_eq!(faults[0].0, "line 1, title");
}

#[test]
fn a_cycle_through_points_already_planned_is_told_with_its_path() {
    let state = founded(SMALL);
    let mut document = ProgrammeDocument {
        points: vec![read_toml(SMALL).unwrap().points[0].clone()],
        ..Default::default()
    };
    document.points[0].after_points = vec!["GR-02".parse().unwrap()];
    let faults = check(&document, &state);
    assert_eq!(faults.len(), 1, "{faults:?}");
    assert_eq!(faults[0].field, "points[0].after_points");
    assert_eq!(faults[0].why, "a point cannot wait for itself: GR-01 → GR-02 → GR-01");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// Import and export are each other's inverse, as data and as text.
    #[test]
    fn any_sound_programme_given_back_and_imported_is_the_same(document in chance::documents()) {
        let text = document.to_toml().unwrap();
        let read = read_toml(&text);
        prop_assert_eq!(read.as_ref(), Ok(&document), "{}", text);
        prop_assert_eq!(check(&document, &State::default()), vec![]);
        let state = founded(&text);
        prop_assert_eq!(&ProgrammeDocument::of(&state), &document);
        let exported = export(&state).unwrap();
        prop_assert_eq!(&export(&founded(&exported)).unwrap(), &exported);
        prop_assert_eq!(import(&state, "lea", &exported).unwrap(), vec![]);
    }

    #[test]
    fn any_points_written_to_a_sheet_read_back(document in chance::documents()) {
        let sheet = points_table::export_csv(&document.points).unwrap();
        let read = points_table::read_csv(sheet.as_bytes());
        prop_assert_eq!(read.map(|table| table.points), Ok(document.points), "{}", sheet);
    }

    #[test]
    fn no_text_makes_reading_fail_otherwise_than_by_faults(text in "\\PC{0,200}", cut in 0..SMALL.len()) {
        let _ = read_toml(&text);
        let cut = SMALL.floor_char_boundary(cut);
        let _ = read_toml(&format!("{}{text}{}", &SMALL[..cut], &SMALL[cut..]));
        let _ = points_table::read_csv(text.as_bytes());
        let _ = points_table::read_xlsx(text.as_bytes());
    }
}

/// The demonstration's programme.
const DEMONSTRATION: &str = include_str!("../../../../seed/programme.toml");

#[test]
fn the_demonstration_programme_has_no_faults_and_is_given_back_whole() {
    let document = read_toml(DEMONSTRATION).unwrap();
    assert_eq!(check(&document, &State::default()), vec![]);
    let exported = export(&founded(DEMONSTRATION)).unwrap();
    let again = read_toml(&exported).unwrap();
    assert_eq!(again.points, document.points);
    assert_eq!(export(&founded(&exported)).unwrap(), exported);
    let sheet = points_table::export_csv(&document.points).unwrap();
    assert_eq!(points_table::read_csv(sheet.as_bytes()).unwrap().points, document.points);
}
