//! Whatever people with several roles try in whatever order: nobody signs two parts of one step, and the ledger read
//! back folds to the state that they saw.
//!
//! The steps are told here from the records alone, so that the rule is not held against itself.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};

use chrono::TimeDelta;
use proptest::prelude::*;
use proptest::test_runner::{TestCaseError, TestRunner};

use super::*;
use crate::codes::{PointCode, RunNumber};
use crate::entry::Entry;
use crate::measure::Unit;
use crate::nouns::{Person, Point, Role, Statistic};
use crate::record::{Digest, Part, PersonListed, Record};
use crate::story::{Story, any_digest, code, person, point};

const PEOPLE: [&str; 7] = ["ada", "ben", "cleo", "dan", "eva", "finn", "gil"];
const ROLES: [Role; 5] = [Role::Lead, Role::Pilot, Role::Safety, Role::Engineer, Role::Crew];
const POINTS: [&str; 2] = ["A", "B"];

/// What somebody tries.
#[derive(Debug, Clone, Copy)]
enum Attempt {
    Plan,
    Approve,
    Release,
    Acknowledge,
    RecordResult,
    Accept(Acceptance),
    Refuse(u8),
    Withdraw(u8),
}

/// Who tries what on which point; with `stale`, after having seen something else.
#[derive(Debug, Clone, Copy)]
struct Try {
    by: usize,
    point: usize,
    attempt: Attempt,
    stale: bool,
    pick: u8,
}

fn tries() -> impl Strategy<Value = Vec<Try>> {
    let attempt = prop_oneof![
        1 => Just(Attempt::Plan),
        4 => Just(Attempt::Approve),
        4 => Just(Attempt::Release),
        4 => Just(Attempt::Acknowledge),
        2 => Just(Attempt::RecordResult),
        3 => Just(Attempt::Accept(Acceptance::Engineering)),
        3 => Just(Attempt::Accept(Acceptance::Safety)),
        1 => (0..5u8).prop_map(Attempt::Refuse),
        2 => (0..5u8).prop_map(Attempt::Withdraw),
    ];
    let one = (0..PEOPLE.len(), 0..POINTS.len(), attempt, 0..12u8, any::<u8>()).prop_map(
        |(by, point, attempt, stale, pick)| Try { by, point, attempt, stale: stale == 0, pick },
    );
    proptest::collection::vec(one, 1..160)
}

/// For each of the people the roles that they have; at least one, mostly several.
fn roles() -> impl Strategy<Value = Vec<Vec<Role>>> {
    let some = proptest::sample::subsequence(ROLES.to_vec(), 1..=ROLES.len());
    proptest::collection::vec(some, PEOPLE.len())
}

fn team(roles: &[Vec<Role>]) -> Story {
    let mut story = Story::team();
    for (name, roles) in PEOPLE.iter().zip(roles) {
        let listed = Person { roles: roles.clone(), ..person(name, Role::Crew) };
        story.record("lead", PersonListed { person: listed });
    }
    story.plan(point("B")).approve("B");
    story
}

impl Story {
    /// The run in which the point was planned last.
    fn last_run(&self, point: &PointCode) -> Option<RunNumber> {
        let mut runs = self.state.runs.iter().rev();
        runs.find(|run| run.points.contains(point)).map(|run| run.number)
    }

    fn part_to_settle(&self, which: u8, point: &PointCode) -> Part {
        let run = self.last_run(point).unwrap_or(RunNumber(1));
        match which {
            0 => Part::PlanApproval {},
            1 => Part::Release {},
            2 => Part::Acknowledgement {},
            3 => Part::EngineeringAcceptance { run },
            _ => Part::SafetyAcceptance { run },
        }
    }

    /// Tries it; gives what was attempted and how it went, and nothing where there was nothing to try.
    fn attempts(&mut self, it: Try) -> Option<(String, Result<(), Refusal>)> {
        let (by, name) = (PEOPLE[it.by], POINTS[it.point]);
        let point: PointCode = code(name);
        let seen = |digest: Digest| if it.stale { any_digest() } else { digest };
        let answer = match it.attempt {
            Attempt::Plan => {
                let planned = &self.rung(name).point;
                let duration_min = planned.duration_min + 1.0;
                let changed = Point { duration_min, ..(**planned).clone() };
                self.when(by, &PlanPoint { point: changed, expected: it.stale.then_some(1) })
            }
            Attempt::Approve => {
                let digest = seen(digests::plan(&self.state, self.rung(name)).unwrap());
                self.when(by, &ApprovePlan { point, terms: ApprovalTerms { digest } })
            }
            Attempt::Release => {
                let digest = seen(digests::card(&self.state, self.rung(name)).unwrap());
                let valid_until = self.now + TimeDelta::hours(1 + i64::from(it.pick % 12));
                let terms =
                    ReleaseTerms { digest, valid_from: None, valid_until, conditions: None };
                self.when(by, &ReleasePoint { point, terms })
            }
            Attempt::Acknowledge => {
                let rung = self.rung(name);
                let part = Part::Acknowledgement {};
                let digest = digests::of_part(&self.state, rung, part, None).unwrap();
                let terms = AcknowledgementTerms { digest: seen(digest?) };
                self.when(by, &AcknowledgeCard { point, terms })
            }
            Attempt::RecordResult => {
                // Every other time the result of the last run is recorded anew.
                let run = match self.last_run(&point) {
                    Some(run) if it.pick.is_multiple_of(2) => run,
                    Some(_) | None => self.run_for(&[name], 10),
                };
                let value = Some(if it.pick < 224 { 50.0 } else { 61.0 });
                let typed = TypedValue {
                    parameter: code("winding"),
                    statistic: Statistic::Max,
                    value,
                    unit: Unit::Celsius,
                };
                let terms = ResultTerms {
                    values: vec![typed],
                    reached: BTreeMap::new(),
                    observations: "Nothing unusual.".to_owned(),
                    observed_at: None,
                };
                let expected = it.stale.then_some(1);
                self.when(by, &RecordResult { run, point, terms, recorded: Vec::new(), expected })
            }
            Attempt::Accept(acceptance) => {
                let run = self.last_run(&point)?;
                let (_, result) = self.state.result(run, &point)?;
                let digest = seen(digests::acceptance(&self.state, result).unwrap());
                let terms = AcceptanceTerms { digest };
                self.when(by, &AcceptResult { run, point, acceptance, terms })
            }
            Attempt::Refuse(which) => {
                let part = self.part_to_settle(which, &point);
                let terms = RefusalTerms { reasons: "I am not content.".to_owned() };
                self.when(by, &RefusePart { point, part, terms })
            }
            Attempt::Withdraw(which) => {
                let part = self.part_to_settle(which, &point);
                let terms = WithdrawalTerms { reason: "A doubt.".to_owned() };
                self.when(by, &WithdrawPart { point, part, terms })
            }
        };
        let what = match it.attempt {
            Attempt::Refuse(_) => "Refuse".to_owned(),
            Attempt::Withdraw(_) => "Withdraw".to_owned(),
            other => format!("{other:?}"),
        };
        Some((what, answer.map(|_| ())))
    }
}

/// The step that a record is part of: a point's plan, or a run's result for it.
type Step = (PointCode, Option<RunNumber>);

/// For each step that goes on who had which part in it.
#[derive(Clone, Default)]
pub(super) struct Hands(BTreeMap<Step, BTreeMap<String, BTreeSet<&'static str>>>);

impl Hands {
    fn begins(&mut self, step: Step, entry: &Entry, part: &'static str) {
        let first = BTreeMap::from([(entry.by.to_string(), BTreeSet::from([part]))]);
        self.0.insert(step, first);
    }

    pub(super) fn take_in(&mut self, entry: &Entry) {
        if let Record::PointPlanned(body) = &entry.record {
            self.begins((body.point.code.clone(), None), entry, "author");
        } else if let Record::ResultRecorded(body) = &entry.record {
            self.begins((body.point.clone(), Some(body.run)), entry, "recorder");
        } else if let Record::PartSigned(body) = &entry.record {
            let step = self.0.entry((body.point.clone(), body.part.run())).or_default();
            step.entry(entry.by.to_string()).or_default().insert(body.part.in_words());
        }
    }

    pub(super) fn with_two_parts(&self) -> Option<String> {
        self.0.iter().find_map(|(step, hands)| {
            let (who, parts) = hands.iter().find(|(_, parts)| parts.len() > 1)?;
            Some(format!("{who} has {parts:?} of {step:?}"))
        })
    }
}

/// Who bears the parts of steps that stand now: no name twice in any.
fn standing_parts(state: &State) -> Vec<Vec<PersonHandle>> {
    let plans = state.ladder.rungs().iter().map(|rung| {
        let release = rung.release.as_ref().map(|release| &release.signature);
        let signatures = [rung.approval.as_ref(), release, rung.acknowledgement.as_ref()];
        let standing =
            signatures.into_iter().flatten().filter(|it| state.plan_signature_stands(rung, it));
        standing.map(|it| &it.by).chain([&rung.planned_by]).cloned().collect()
    });
    let results = state.results.iter().map(|result| {
        let signatures = [result.engineering.as_ref(), result.safety.as_ref()];
        let by = signatures.into_iter().flatten().map(|it| &it.by);
        by.chain([&result.by]).cloned().collect()
    });
    plans.chain(results).collect()
}

/// The state that the ledger, written and read, folds to. Every signature that was asked for after the first records
/// carries the digest that whoever verifies the ledger works out.
fn read_back(story: &Story, first: usize) -> Result<State, TestCaseError> {
    let mut state = State::default();
    for (place, entry) in story.entries.iter().enumerate() {
        let read = Entry::from_json(&entry.canonical_json().unwrap()).unwrap();
        prop_assert_eq!(&read, entry);
        if place >= first
            && let Some(signed) = digests::of_record(&state, &read.record).unwrap()
        {
            prop_assert_eq!(Some(signed.carried), signed.due.as_ref());
        }
        state.apply(&read);
    }
    Ok(state)
}

#[test]
fn whatever_seven_people_try_in_any_order_nobody_signs_two_parts_of_one_step() {
    let went_through: RefCell<BTreeMap<String, u32>> = RefCell::default();
    let config = ProptestConfig { cases: 192, failure_persistence: None, ..Default::default() };
    let answer = TestRunner::new(config).run(&(roles(), tries()), |(roles, tries)| {
        let mut story = team(&roles);
        let mut hands = Hands::default();
        let first = story.entries.len();
        let mut looked_at = 0;
        for it in tries {
            let tried = story.attempts(it);
            for entry in &story.entries[looked_at..] {
                hands.take_in(entry);
            }
            looked_at = story.entries.len();
            let twice = hands.with_two_parts();
            prop_assert!(twice.is_none(), "{:?}", twice);
            for mut parts in standing_parts(&story.state) {
                let all = parts.len();
                parts.sort();
                parts.dedup();
                prop_assert_eq!(parts.len(), all, "{:?}", parts);
            }
            let mut went_through = went_through.borrow_mut();
            match tried {
                Some((what, Ok(()))) => *went_through.entry(what).or_default() += 1,
                Some((_, Err(Refusal::Held { holds })))
                    if holds.iter().any(|hold| hold.rule == "one-person-two-parts") =>
                {
                    *went_through.entry("one-person-two-parts".to_owned()).or_default() += 1;
                }
                Some((_, Err(_))) | None => {}
            }
        }
        prop_assert_eq!(read_back(&story, first)?, story.state);
        Ok(())
    });
    if let Err(why) = answer {
        panic!("{why}");
    }
    // The rule is worth something only where people get far, and where it stops some of them.
    let went_through = went_through.into_inner();
    for what in [
        "Plan",
        "Approve",
        "Release",
        "Acknowledge",
        "RecordResult",
        "Accept(Engineering)",
        "Accept(Safety)",
        "Refuse",
        "Withdraw",
        "one-person-two-parts",
    ] {
        let times = went_through.get(what).copied().unwrap_or_default();
        assert!(times >= 20, "{what} went through {times} times: {went_through:?}");
    }
}

#[test]
fn two_parts_of_one_step_by_one_person_would_be_seen_also_where_the_first_was_withdrawn() {
    let told = |story: &Story| {
        let mut hands = Hands::default();
        story.entries.iter().for_each(|entry| hands.take_in(entry));
        hands.with_two_parts()
    };
    let mut story = team(&vec![ROLES.to_vec(); PEOPLE.len()]);
    let run = story.show("A", 50.0);
    story.sign("ada", "A", Part::Release {}).sign("ben", "A", Part::Acknowledgement {});
    story.sign("cleo", "A", Part::EngineeringAcceptance { run });
    assert_eq!(told(&story), None);
    let mut author = story.clone();
    author.sign("lead", "A", Part::PlanApproval {});
    assert!(told(&author).is_some());
    let mut in_turn = story.clone();
    in_turn.withdraws("ada", "A", Part::Release {}).sign("ada", "A", Part::PlanApproval {});
    assert!(told(&in_turn).is_some());
    let mut recorder = story.clone();
    recorder.sign("engineer", "A", Part::SafetyAcceptance { run });
    assert!(told(&recorder).is_some());
    story.plan(Point { duration_min: 11.0, ..point("A") }).sign("ada", "A", Part::PlanApproval {});
    assert_eq!(told(&story), None, "a changed plan begins the step anew");
}
