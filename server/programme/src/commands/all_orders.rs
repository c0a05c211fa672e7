//! Every order in which three people and a planner can take two points through their life, to the end: each state that can be
//! reached is reached once, and the rules that never bend are looked at in each.
//!
//! Two states are taken for one where plans, signatures with whether they stand, runs, results and hands that were laid on are
//! the same; numbers of records and seconds of the clock are left out. How often a point is amended and run, and how many of
//! its signatures are withdrawn, is bounded, so that there is an end.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::collections::{BTreeMap, HashSet};
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};

use super::any_order::Hands;
use super::*;
use crate::codes::{PointCode, RunNumber};
use crate::entry::Entry;
use crate::holds;
use crate::measure::Unit;
use crate::nouns::{Person, Point, Role, Statistic};
use crate::record::{CrewMember, Digest, Part, PersonListed};
use crate::state::{Rung, Standing};
use crate::story::{Story, code, person, point};

/// Three people, each with several roles, so that the rules have something to stop; `lead` plans.
const PEOPLE: [(&str, &[Role]); 3] = [
    ("ada", &[Role::Lead, Role::Engineer]),
    ("ben", &[Role::Pilot, Role::Engineer, Role::Crew]),
    ("cleo", &[Role::Safety, Role::Lead]),
];
const POINTS: [&str; 2] = ["A", "B"];
const PARTS: [PartOf; 5] = [
    PartOf::Approval,
    PartOf::Release,
    PartOf::Acknowledgement,
    PartOf::Engineering,
    PartOf::Safety,
];

/// A part, without the run that an acceptance is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
enum PartOf {
    Approval,
    Release,
    Acknowledgement,
    Engineering,
    Safety,
}

/// What somebody tries on a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Deed {
    Amend,
    Sign(PartOf),
    /// Signs what was seen before the plan was amended: a phone that was away sends it late.
    SignAsBefore(PartOf),
    Withdraw(PartOf),
    Open,
    Close,
    Record {
        met: bool,
    },
}

/// Of each point: how often it is run, amended, and has a signature withdrawn, at most.
#[derive(Debug, Clone, Copy)]
struct Most {
    runs: [usize; 2],
    amended: [u8; 2],
    withdrawn: [u8; 2],
}

/// Where the model stands.
#[derive(Clone)]
struct Place {
    /// Without its records, which are kept apart so that places share them.
    story: Story,
    records: Vec<Arc<Entry>>,
    hands: Hands,
    amended: [u8; 2],
    withdrawn: [u8; 2],
    /// What each part of a point would have signed before its plan was amended.
    before: [BTreeMap<PartOf, Digest>; 2],
}

/// A signature: by whom, and whether it stands.
type Signed = Option<(String, bool)>;

/// What makes two places the same.
#[derive(Debug, PartialEq, Eq, Hash)]
struct Key {
    points: Vec<PointKey>,
    open: Option<usize>,
}

#[derive(Debug, PartialEq, Eq, Hash)]
struct PointKey {
    amended: u8,
    withdrawn: u8,
    planned_by: String,
    signatures: [Signed; 3],
    signers: Vec<(String, String, bool)>,
    runs: Vec<RunKey>,
}

#[derive(Debug, PartialEq, Eq, Hash)]
struct RunKey {
    closed: bool,
    results: Vec<ResultKey>,
}

#[derive(Debug, PartialEq, Eq, Hash)]
struct ResultKey {
    standing: String,
    /// Whether the plan that was run is the plan now.
    of_this_plan: bool,
    engineering: Signed,
    safety: Signed,
    signers: Vec<String>,
    by: String,
}

impl Place {
    fn begins() -> Self {
        let mut story = Story::team();
        for (name, roles) in PEOPLE {
            let listed = Person { roles: roles.to_vec(), ..person(name, Role::Crew) };
            story.record("lead", PersonListed { person: listed });
        }
        // Points as they are planned, with nothing signed.
        for name in POINTS {
            let after_points = if name == "B" { vec![code("A")] } else { Vec::new() };
            let duration_min = 11.0;
            story.plan(Point { after_points, duration_min, ..point(name) });
        }
        let mut hands = Hands::default();
        for entry in &story.entries {
            hands.take_in(entry);
        }
        let records = story.entries.drain(..).map(Arc::new).collect();
        let before = [BTreeMap::new(), BTreeMap::new()];
        Self { story, records, hands, amended: [0; 2], withdrawn: [0; 2], before }
    }

    /// Takes what was just recorded to the records that places share.
    fn settle(&mut self) {
        for entry in self.story.entries.drain(..) {
            self.hands.take_in(&entry);
            self.records.push(Arc::new(entry));
        }
    }

    fn rung(&self, place: usize) -> &Rung {
        self.story.rung(POINTS[place])
    }

    fn runs_of(&self, place: usize) -> Vec<RunNumber> {
        let code: PointCode = code(POINTS[place]);
        let runs = self.story.state.runs.iter();
        runs.filter(|run| run.points.contains(&code)).map(|run| run.number).collect()
    }

    /// The digest that a part would sign now.
    fn digest(&self, place: usize, part: PartOf) -> Option<Digest> {
        let state = &self.story.state;
        let rung = self.rung(place);
        match part {
            PartOf::Approval => digests::plan(state, rung).ok(),
            PartOf::Release => digests::card(state, rung).ok(),
            PartOf::Acknowledgement => {
                let release = &rung.release.as_ref()?.signature.digest;
                digests::acknowledgement(state, rung, release).ok()
            }
            PartOf::Engineering | PartOf::Safety => {
                let run = *self.runs_of(place).last()?;
                let (_, result) = state.result(run, &rung.point.code)?;
                digests::acceptance(state, result).ok()
            }
        }
    }

    fn key(&self) -> Key {
        let state = &self.story.state;
        let points = (0..POINTS.len()).map(|place| {
            let rung = self.rung(place);
            let by = |it: &crate::state::Signature, stands: bool| Some((it.by.to_string(), stands));
            let approval = rung.approval.as_ref();
            let release = rung.release.as_ref().map(|it| &it.signature);
            let card = self.digest(place, PartOf::Acknowledgement);
            let signatures = [
                approval.and_then(|it| by(it, state.plan_signature_stands(rung, it))),
                release.and_then(|it| by(it, state.release_signature_stands(rung, it))),
                rung.acknowledgement.as_ref().and_then(|it| {
                    let stands = state.plan_signature_stands(rung, it);
                    by(it, stands && card.as_ref() == Some(&it.digest))
                }),
            ];
            let mut signers: Vec<_> = rung
                .signers
                .iter()
                .map(|it| {
                    let is_of_this_plan = it.seq > rung.changed_at;
                    (it.by.to_string(), it.part.in_words().to_owned(), is_of_this_plan)
                })
                .collect();
            signers.sort();
            signers.dedup();
            let runs = self.runs_of(place).into_iter().map(|run| {
                let of_run = rung.results.iter().map(|id| &state.results[id.0]);
                let results = of_run.filter(|result| result.run == run).map(|result| {
                    let signed = |it: &Option<crate::state::Signature>| {
                        it.as_ref().map(|it| (it.by.to_string(), true))
                    };
                    let mut signers: Vec<String> = result
                        .signers
                        .iter()
                        .map(|it| format!("{} {}", it.by, it.part.in_words()))
                        .collect();
                    signers.sort();
                    signers.dedup();
                    let standing = match &result.standing {
                        Standing::Lapsed(_) => "lapsed".to_owned(),
                        other => format!("{other:?}"),
                    };
                    ResultKey {
                        standing,
                        of_this_plan: *result.planned == *rung.point,
                        engineering: signed(&result.engineering),
                        safety: signed(&result.safety),
                        signers,
                        by: result.by.to_string(),
                    }
                });
                let closed = state.run(run).unwrap().closed.is_some();
                RunKey { closed, results: results.collect() }
            });
            PointKey {
                amended: self.amended[place],
                withdrawn: self.withdrawn[place],
                planned_by: rung.planned_by.to_string(),
                signatures,
                signers,
                runs: runs.collect(),
            }
        });
        let open = state.open_run().map(|run| run.number);
        let open = open.and_then(|open| (0..2).find(|place| self.runs_of(*place).contains(&open)));
        Key { points: points.collect(), open }
    }

    /// Every deed that is worth trying on a point. What the bounds of the model leave out is not tried.
    fn deeds(&self, place: usize, most: Most) -> Vec<Deed> {
        let mut deeds = Vec::new();
        if most.runs[place] == 0 {
            return deeds;
        }
        if self.amended[place] < most.amended[place] {
            deeds.push(Deed::Amend);
        }
        for part in PARTS {
            deeds.push(Deed::Sign(part));
            if self.before[place].contains_key(&part) {
                deeds.push(Deed::SignAsBefore(part));
            }
            if self.withdrawn[place] < most.withdrawn[place] {
                deeds.push(Deed::Withdraw(part));
            }
        }
        let runs = self.runs_of(place);
        if runs.len() < most.runs[place] {
            deeds.push(Deed::Open);
        }
        if let Some(run) = runs.last() {
            deeds.push(Deed::Close);
            // One result of a run; that it can be recorded anew is another story.
            if self.story.state.result(*run, &code(POINTS[place])).is_none() {
                deeds.extend([Deed::Record { met: true }, Deed::Record { met: false }]);
            }
        }
        deeds
    }

    fn part(&self, place: usize, part: PartOf) -> Part {
        let run = self.runs_of(place).last().copied().unwrap_or(RunNumber(1));
        match part {
            PartOf::Approval => Part::PlanApproval {},
            PartOf::Release => Part::Release {},
            PartOf::Acknowledgement => Part::Acknowledgement {},
            PartOf::Engineering => Part::EngineeringAcceptance { run },
            PartOf::Safety => Part::SafetyAcceptance { run },
        }
    }

    fn sign(&mut self, by: &str, place: usize, part: PartOf, digest: Digest) -> Answer {
        let point: PointCode = code(POINTS[place]);
        let run = self.runs_of(place).last().copied().unwrap_or(RunNumber(1));
        let accept = |acceptance| AcceptResult {
            run,
            point: code(POINTS[place]),
            acceptance,
            terms: AcceptanceTerms { digest: digest.clone() },
        };
        match part {
            PartOf::Approval => {
                let terms = ApprovalTerms { digest };
                self.story.when(by, &ApprovePlan { point, terms })
            }
            PartOf::Release => {
                let valid_until = end_of_day();
                let terms =
                    ReleaseTerms { digest, valid_from: None, valid_until, conditions: None };
                self.story.when(by, &ReleasePoint { point, terms })
            }
            PartOf::Acknowledgement => {
                let terms = AcknowledgementTerms { digest };
                self.story.when(by, &AcknowledgeCard { point, terms })
            }
            PartOf::Engineering => self.story.when(by, &accept(Acceptance::Engineering)),
            PartOf::Safety => self.story.when(by, &accept(Acceptance::Safety)),
        }
    }

    /// Somebody does something, if the rules let them.
    fn does(&mut self, by: &str, place: usize, deed: Deed) -> Option<Answer> {
        let point: PointCode = code(POINTS[place]);
        Some(match deed {
            Deed::Amend => {
                let seen =
                    PARTS.iter().filter_map(|part| Some((*part, self.digest(place, *part)?)));
                let seen: BTreeMap<PartOf, Digest> = seen.collect();
                let planned = self.rung(place).point.clone();
                let changed = Point { duration_min: 12.0, ..(*planned).clone() };
                let answer = self.story.when(by, &PlanPoint { point: changed, expected: None });
                if answer.is_ok() {
                    self.amended[place] += 1;
                    self.before[place] = seen;
                }
                answer
            }
            Deed::Sign(part) => {
                let digest = self.digest(place, part)?;
                self.sign(by, place, part, digest)
            }
            Deed::SignAsBefore(part) => {
                let digest = self.before[place].get(&part)?.clone();
                if self.digest(place, part).as_ref() == Some(&digest) {
                    // What was measured then is what was measured: nothing of it was amended.
                    return None;
                }
                self.sign(by, place, part, digest)
            }
            Deed::Withdraw(part) => {
                let part = self.part(place, part);
                let terms = WithdrawalTerms { reason: "A doubt.".to_owned() };
                let answer = self.story.when(by, &WithdrawPart { point, part, terms });
                if answer.is_ok() {
                    self.withdrawn[place] += 1;
                }
                answer
            }
            Deed::Open => {
                let pilot = CrewMember { person: code("ben"), role: Role::Pilot, on_board: true };
                let terms = RunTerms { points: vec![point], crew: vec![pilot] };
                self.story.when(by, &OpenRun { terms })
            }
            Deed::Close => {
                let run = *self.runs_of(place).last()?;
                let terms = ClosingTerms { debrief: None };
                self.story.when(by, &CloseRun { run, terms })
            }
            Deed::Record { met } => {
                let run = *self.runs_of(place).last()?;
                let typed = TypedValue {
                    parameter: code("winding"),
                    statistic: Statistic::Max,
                    value: Some(if met { 50.0 } else { 61.0 }),
                    unit: Unit::Celsius,
                };
                let terms = ResultTerms {
                    values: vec![typed],
                    reached: BTreeMap::new(),
                    observations: "Nothing unusual.".to_owned(),
                    observed_at: None,
                };
                let recorded = Vec::new();
                self.story.when(by, &RecordResult { run, point, terms, recorded, expected: None })
            }
        })
    }
}

type Answer = Result<Vec<Draft>, Refusal>;

fn end_of_day() -> DateTime<Utc> {
    crate::story::morning() + TimeDelta::hours(20)
}

fn has_role(place: &Place, by: &str, role: Role) -> bool {
    place.story.state.roles(&code(by)).contains(&role)
}

/// What must hold of a deed that went through.
fn looks_right(before: &Place, after: &Place, by: &str, place: usize, deed: Deed) {
    let told = || format!("{by}: {deed:?} on {}", POINTS[place]);
    match deed {
        Deed::Sign(part) => {
            let role = match part {
                PartOf::Release | PartOf::Safety => Role::Safety,
                PartOf::Acknowledgement => Role::Pilot,
                PartOf::Engineering => Role::Engineer,
                PartOf::Approval if has_role(before, by, Role::Engineer) => Role::Engineer,
                PartOf::Approval => Role::Lead,
            };
            assert!(has_role(before, by, role), "{}", told());
        }
        Deed::SignAsBefore(_) => {
            panic!("what was seen before the plan was amended was signed: {}", told())
        }
        Deed::Open => {
            let state = &before.story.state;
            let rung = before.rung(place);
            let release = rung.release.as_ref().unwrap_or_else(|| panic!("no release: {}", told()));
            assert!(state.release_signature_stands(rung, &release.signature), "{}", told());
            let approval =
                rung.approval.as_ref().unwrap_or_else(|| panic!("not approved: {}", told()));
            assert!(state.plan_signature_stands(rung, approval), "{}", told());
            assert!(rung.acknowledgement.is_some() && state.open_run().is_none(), "{}", told());
            for needed in &rung.point.after_points {
                assert!(
                    state.accepted_result(needed).is_some(),
                    "{needed} is not shown: {}",
                    told()
                );
            }
        }
        Deed::Amend => {
            let (state, rung) = (&after.story.state, after.rung(place));
            let release = rung.release.as_ref().map(|it| &it.signature);
            for signature in [rung.approval.as_ref(), release, rung.acknowledgement.as_ref()] {
                let stands = signature.is_some_and(|it| state.plan_signature_stands(rung, it));
                assert!(!stands, "a signature outlived its plan: {}", told());
            }
            assert!(state.accepted_result(&rung.point.code).is_none(), "{}", told());
        }
        Deed::Record { met: false } => {
            let code = &after.rung(place).point.code;
            assert!(after.story.state.accepted_result(code).is_none(), "{}", told());
        }
        Deed::Withdraw(_) | Deed::Close | Deed::Record { met: true } => {}
    }
}

/// What must hold wherever the model stands.
fn stands_right(at: &Place) {
    let state = &at.story.state;
    assert_eq!(at.hands.with_two_parts(), None);
    for rung in state.ladder.rungs() {
        let Some(id) = state.accepted_result_of(rung) else { continue };
        let result = &state.results[id.0];
        let (engineering, safety) =
            (result.engineering.as_ref().unwrap(), result.safety.as_ref().unwrap());
        assert_ne!(engineering.by, safety.by);
        assert!(
            result.by != engineering.by && result.by != safety.by,
            "who recorded it accepts it not"
        );
        assert_eq!(engineering.digest, safety.digest, "two people accept the same, or nothing");
        assert_eq!(*result.planned, *rung.point, "of another plan");
    }
    // Read back, the ledger folds to what people saw.
    let mut replayed = State::default();
    for entry in &at.records {
        replayed.apply(entry);
    }
    assert!(replayed == *state, "the ledger folds to another state");
}

/// A refusal must say everything at once: what is named is what the rules find, and each says what clears it.
fn says_everything(at: &Place, place: usize, deed: Deed, refusal: &Refusal) {
    let Refusal::Held { holds } = refusal else { return };
    assert!(!holds.is_empty() && holds.iter().all(|hold| !hold.clears.is_empty()));
    if deed == Deed::Open {
        let found =
            holds::against(&at.story.state, at.rung(place), at.story.now, holds::Stage::Run);
        for hold in &found {
            assert!(holds.contains(hold), "{} is not told", hold.rule);
        }
    }
}

/// Goes everywhere; tells how many places there are.
fn everywhere(most: Most) -> usize {
    let mut seen = HashSet::new();
    let mut ahead = vec![Place::begins()];
    seen.insert(ahead[0].key());
    let (mut tried, mut went_through, mut all_shown) = (0_u64, 0_u64, 0_u32);
    while let Some(at) = ahead.pop() {
        stands_right(&at);
        let shown = |name: &str| at.story.state.accepted_result(&code(name)).is_some();
        all_shown += u32::from(shown("A") && (shown("B") || most.runs[1] == 0));
        // What is refused changes nothing, so that the same copy serves until something goes through.
        let mut next = at.clone();
        for by in PEOPLE.map(|(by, _)| by).into_iter().chain(["lead"]) {
            for place in 0..POINTS.len() {
                for deed in at.deeds(place, most) {
                    let Some(answer) = next.does(by, place, deed) else { continue };
                    tried += 1;
                    if let Err(refusal) = answer {
                        says_everything(&at, place, deed, &refusal);
                        continue;
                    }
                    went_through += 1;
                    next.settle();
                    looks_right(&at, &next, by, place, deed);
                    let there = std::mem::replace(&mut next, at.clone());
                    if seen.insert(there.key()) {
                        ahead.push(there);
                    }
                }
            }
        }
    }
    println!("{most:?}: {} states, {tried} deeds tried, {went_through} went through", seen.len());
    assert!(all_shown > 0, "nobody ever got every point shown");
    seen.len()
}

#[test]
fn in_every_order_that_there_is_the_rules_hold() {
    let states = everywhere(Most { runs: [1, 1], amended: [0, 0], withdrawn: [0, 0] });
    assert!(states > 1_000, "{states} states are fewer than there must be");
}

#[test]
fn in_every_order_with_an_amendment_the_rules_hold() {
    let states = everywhere(Most { runs: [1, 0], amended: [1, 0], withdrawn: [0, 0] });
    assert!(states > 1_000, "{states} states are fewer than there must be");
}

#[test]
fn in_every_order_with_a_withdrawal_the_rules_hold() {
    let states = everywhere(Most { runs: [1, 0], amended: [0, 0], withdrawn: [1, 0] });
    assert!(states > 200, "{states} states are fewer than there must be");
}

/// Both points with an amendment and a withdrawal of the first: tens of minutes.
#[test]
#[ignore = "long: cargo test --release --workspace --lib -- --ignored --nocapture in_every_order"]
fn in_every_order_of_two_points_with_an_amendment_and_a_withdrawal_the_rules_hold() {
    let states = everywhere(Most { runs: [1, 1], amended: [1, 0], withdrawn: [1, 0] });
    assert!(states > 40_000, "{states} states are fewer than there must be");
}
