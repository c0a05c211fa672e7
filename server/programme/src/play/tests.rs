//! The demonstration, and stories with faults.

#![allow(clippy::unwrap_used, clippy::panic)]

mod climb;
mod expanding;
mod past;

use chrono::{DateTime, TimeZone, Utc};

use super::*;

const PROGRAMME: &str = include_str!("../../../../seed/programme.toml");
const STORY: &str = include_str!("../../../../seed/story.toml");

fn noon() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2031, 6, 18, 12, 0, 0).unwrap()
}

fn played(now: DateTime<Utc>) -> (State, Vec<Entry>) {
    let player = Player::new(PROGRAMME, STORY, now).unwrap_or_else(|error| panic!("{error}"));
    player.replay(&"tallow-two".parse().unwrap()).unwrap_or_else(|error| panic!("{error}"))
}

#[test]
fn the_demonstration_is_played_whole_at_any_time_of_the_day_and_nothing_is_refused() {
    for (hour, minute) in [(0, 0), (0, 45), (5, 30), (12, 0), (23, 59)] {
        let now = Utc.with_ymd_and_hms(2031, 6, 18, hour, minute, 0).unwrap();
        let (state, entries) = played(now);
        assert_eq!(state.length(), entries.len() as u64);
        assert!(entries.iter().all(|entry| entry.at <= now));
    }
}

/// The faults with which a story is refused, each as its place and its reason.
fn faults(story: &str) -> Vec<(String, String)> {
    match Player::new(PROGRAMME, story, noon()) {
        Err(PlayError::Story { faults }) => {
            faults.into_iter().map(|fault| (fault.field, fault.why)).collect()
        }
        other => panic!("{other:?}"),
    }
}

const FOUNDED: &str = "[[act]]\nday = -3\ntime = \"08:00\"\nby = \"marit\"\ndo = \"found\"\n\n";

#[test]
fn an_unknown_act_or_field_is_told_with_the_number_and_line_of_its_act() {
    let story = format!(
        "{FOUNDED}[[act]]\nday = -2\ntime = \"08:00\"\nby = \"marit\"\ndo = \"dance\"\n\n\
         [[act]]\nday = -2\ntime = \"09:00\"\nby = \"marit\"\ndo = \"close-run\"\nrnu = 3\n"
    );
    let faults = faults(&story);
    assert_eq!(faults.len(), 2, "{faults:?}");
    assert_eq!(faults[0].0, "line 11, act 2, do");
    assert!(faults[0].1.starts_with("\"dance\" is nothing that can be done"), "{faults:?}");
    assert_eq!(faults[1].0, "line 18, act 3, rnu");
    assert!(faults[1].1.starts_with("there is no field rnu here"), "{faults:?}");
}

#[test]
fn acts_out_of_order_after_now_or_without_a_moment_are_told() {
    let act = |when: &str| {
        format!("[[act]]\n{when}\nby = \"ruth\"\ndo = \"call-stand-down\"\nreason = \"Smoke.\"\n")
    };
    for (when, why) in [
        ("day = -4\ntime = \"08:00\"", "is before the act before it"),
        ("day = 0\ntime = \"12:01\"", "has not come yet"),
        ("day = 0", "say when"),
        ("day = 0\ntime = \"11:00\"\nminutes_ago = 3", "say when"),
    ] {
        let faults = faults(&format!("{FOUNDED}{}", act(when)));
        assert_eq!(faults.len(), 1, "{faults:?}");
        assert!(
            faults[0].0.starts_with("line 7, act 2") && faults[0].1.contains(why),
            "{faults:?}"
        );
    }
}

#[test]
fn a_story_begins_with_the_founding_and_founds_once() {
    let twice = format!("{FOUNDED}{FOUNDED}");
    assert_eq!(
        faults(&twice),
        [("line 11, act 2, do".to_owned(), "a programme is founded once".to_owned())]
    );
    let never = FOUNDED.replace("\"found\"", "\"close-run\"");
    assert_eq!(faults(&never)[0].0, "line 5, act 1, do");
}

#[test]
fn an_act_that_the_rules_refuse_is_told_with_its_place_and_every_reason() {
    let story = format!(
        "{FOUNDED}[[act]]\nday = -2\ntime = \"08:00\"\nby = \"sofia\"\ndo = \"release\"\npoints = [\"ST-02\"]\nuntil = \"day -2 18:00\"\n"
    );
    let player = Player::new(PROGRAMME, &story, noon()).unwrap();
    let error = player.replay(&"tug".parse().unwrap()).unwrap_err().to_string();
    for part in
        ["act 2 (line 7, release) by sofia", "plan-not-approved", "prerequisite-not-accepted"]
    {
        assert!(error.contains(part), "{error}");
    }
}

#[test]
fn the_founding_is_decided_the_same_where_a_store_has_written_the_first_record_already() {
    let player = Player::new(PROGRAMME, FOUNDED, noon()).unwrap();
    let founding = player.into_steps().next().unwrap();
    assert_eq!(founding.founds(), Some("Tallowmere electric tug"));
    let mut state = State::default();
    let whole = founding.decide(&state).unwrap();
    let (at, by) = (founding.at, founding.by.clone());
    state.apply(&Entry::new("tug".parse().unwrap(), 1, at, by, whole[0].clone()));
    assert_eq!(founding.decide(&state).unwrap(), whole[1..]);
}

#[test]
fn what_a_story_sets_otherwise_is_read_as_a_person_would_give_it() {
    let plan = |set: &str| {
        let story = format!(
            "{FOUNDED}[[act]]\nday = -2\ntime = \"08:00\"\nby = \"marit\"\ndo = \"plan-point\"\n\
             point = \"TX-01\"\nset = {{ {set} }}\n"
        );
        Player::new(PROGRAMME, &story, noon()).unwrap().replay(&"tug".parse().unwrap())
    };
    let (state, _) = plan("duration_min = 25.0").unwrap();
    let planned = &state.rung(&"TX-01".parse().unwrap()).unwrap().point;
    assert!((planned.duration_min - 25.0).abs() < f64::EPSILON);
    assert_eq!(planned.title, "Taxi at 10 kt", "the rest stays as it is");
    for (set, why) in [
        ("duration_mni = 25.0", "unknown field `duration_mni`"),
        ("duration_min = -1.0", "duration_min"),
        ("after_points = [\"TX-02\"]", "a point cannot wait for itself"),
    ] {
        let error = plan(set).unwrap_err().to_string();
        assert!(error.contains("act 2 (line 7, plan-point)") && error.contains(why), "{error}");
    }
}
