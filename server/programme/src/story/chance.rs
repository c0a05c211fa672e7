//! Records as chance would have them: any act that people can record, in any order, on a small ladder.

use chrono::TimeDelta;
use proptest::prelude::*;

use super::*;
use crate::codes::{ExceedanceNumber, ProposalNumber, ReductionNumber, SnagNumber};
use crate::nouns::{QuarantineRule, RequiredItem};
use crate::record::{
    ClockOffsetConfirmed, ExceedanceClosed, ExceedanceExplained, HeatingOutcome, ItemRemoved,
    KnockedOff, LimitChangeAgreed, LimitChangeDeclined, LimitChangeProposed, PointDropped,
    ReductionMade, RunTimesCorrected, SignatureWithdrawn, SnagClosed, SnagWorked, StandDownLifted,
};

const POINTS: [&str; 8] = ["A", "B", "C", "D", "E", "F", "G", "H"];
const PEOPLE: [&str; 6] = ["lead", "pilot", "safety", "engineer", "crew", "second"];
const PHASES: [Phase; 3] = [Phase::Static, Phase::GroundRun, Phase::Taxi];
const ITEMS: [&str; 2] = ["motor", "pack"];
const LIMITS: [&str; 3] = ["L-winding", "L-second", "L-none"];
const HAZARDS: [&str; 2] = ["H-hot", "H-second"];
const CHECKS: [&str; 3] = ["C-torque", "C-hours", "C-landing"];
const DOCUMENTS: [&str; 2] = ["D-permit", "D-second"];

/// What somebody does next: the kind of act, and the choices in it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Step {
    kind: u8,
    pick: u64,
}

/// Any steps, up to a number of them.
pub(crate) fn steps(most: usize) -> impl Strategy<Value = Vec<Step>> {
    let step = (0..KINDS, any::<u64>()).prop_map(|(kind, pick)| Step { kind, pick });
    proptest::collection::vec(step, 1..=most)
}

/// More trouble of any kind, which must never open anything.
pub(crate) fn trouble() -> impl Strategy<Value = Step> {
    (0..TROUBLES, any::<u64>()).prop_map(|(kind, pick)| Step { kind, pick })
}

const KINDS: u8 = 58;
const TROUBLES: u8 = 12;

/// A recording that nobody has taken in.
static UNHEARD_OF: Digest = Digest::from_bytes([0; 32]);

/// Draws choices from one number.
struct Picks(u64);

impl Picks {
    fn below(&mut self, bound: u64) -> u64 {
        let picked = self.0 % bound;
        // A step of a linear congruential generator (Knuth's MMIX constants), so that one number gives many choices.
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407)
                ^ (self.0 >> 29);
        picked
    }

    fn of<T: Copy>(&mut self, things: &[T]) -> T {
        things[usize::try_from(self.below(things.len() as u64)).unwrap()]
    }

    fn one_in(&mut self, bound: u64) -> bool {
        self.below(bound) == 0
    }

    fn number(&mut self, most: usize) -> u32 {
        1 + u32::try_from(self.below(most.max(1) as u64)).unwrap()
    }
}

impl Story {
    /// The programme of [`Story::team`], with a second person, hazard, limit, document and more checks, and points
    /// that wait for each other.
    pub fn ladder() -> Self {
        let mut story = Self::team();
        story.record("lead", PersonListed { person: person("second", Role::Pilot) });
        story.record("engineer", HazardRecorded { hazard: hazard("H-second") });
        story.accept_risk("safety", "H-second", RiskLevel::Medium);
        let hours = Validity { powered_hours: Some(1.0), ..Validity::default() };
        story.record("engineer", CheckDefined { check: check("C-hours", hours) });
        let landing = Validity { until: vec![code("hard-landing")], ..Validity::default() };
        story.record("engineer", CheckDefined { check: check("C-landing", landing) });
        story.check("C-hours", true).check("C-landing", true);
        for (place, name) in POINTS.iter().enumerate().skip(1) {
            let before = code(POINTS[(place - 1) / 2]);
            story.plan(Point { after_points: vec![before], ..point(name) }).approve(name);
        }
        story
    }

    fn some_point(picks: &mut Picks) -> &'static str {
        picks.of(&POINTS)
    }

    fn some_plan(picks: &mut Picks) -> Point {
        let place = usize::try_from(picks.below(POINTS.len() as u64)).unwrap();
        let mut planned = point(POINTS[place]);
        if picks.one_in(2) {
            planned.phase = picks.of(&PHASES);
        }
        planned.after_points =
            POINTS[..place].iter().filter(|_| picks.one_in(3)).map(|name| code(name)).collect();
        if picks.one_in(16) {
            planned.after_points.push(code("nowhere"));
        }
        if picks.one_in(2) {
            let target = 5.0 * picks.below(12) as f64;
            planned.conditions.insert(Axis::Speed, condition(target, 1.0, Unit::Knot));
        }
        if picks.one_in(3) {
            let target = 5.0 * picks.below(8) as f64;
            planned.conditions.insert(Axis::Power, condition(target, 1.0, Unit::Kilowatt));
        }
        planned.axes_together = picks.one_in(2);
        planned.hazards = HAZARDS.iter().filter(|_| picks.one_in(2)).map(|h| code(h)).collect();
        planned.limits = LIMITS.iter().filter(|_| picks.one_in(3)).map(|l| code(l)).collect();
        if picks.one_in(3) {
            planned.after_checks = vec![code(picks.of(&CHECKS))];
        }
        if picks.one_in(3) {
            planned.after_documents = vec![code(picks.of(&DOCUMENTS))];
        }
        if picks.one_in(3) {
            planned.weather.wind_at_most = Some(Measure::new(10.0, Unit::Knot));
            planned.weather.dry = picks.one_in(2);
        }
        if picks.one_in(3) {
            let version = picks.one_in(2).then(|| picks.of(&["1", "2"]).to_owned());
            planned.configuration = vec![RequiredItem { item: code(picks.of(&ITEMS)), version }];
        }
        if picks.one_in(3) {
            planned.sensitive_to = vec![code("pack")];
        }
        if picks.one_in(3) {
            planned.crew[0].count = 2;
            planned.most_on_board = picks.of(&[1, 2]);
        }
        planned
    }

    fn some_part(&self, picks: &mut Picks) -> Part {
        let run = RunNumber(picks.number(self.state.runs.len()));
        match picks.below(5) {
            0 => Part::PlanApproval {},
            1 => Part::Release {},
            2 => Part::Acknowledgement {},
            3 => Part::EngineeringAcceptance { run },
            _ => Part::SafetyAcceptance { run },
        }
    }

    fn some_limit(picks: &mut Picks) -> Limit {
        let mut changed = limit(picks.of(&LIMITS[..2]));
        let highest = picks.of(&[45.0, 58.0, 80.0, 100.0]);
        changed.kind = LimitKind::Maximum { caution: None, limit: highest };
        changed.phases = PHASES.into_iter().filter(|_| picks.one_in(2)).collect();
        changed
    }

    fn some_values(picks: &mut Picks) -> Vec<MeasuredValue> {
        let value = picks.of(&[Some(40.0), Some(50.0), Some(60.0), Some(70.0), Some(90.0), None]);
        vec![typed("winding", Statistic::Max, value, Unit::Celsius)]
    }

    /// Some result of some point; mostly with the targets reached.
    fn some_result(&mut self, run: RunNumber, picks: &mut Picks) {
        let point = Self::some_point(picks);
        let values = Self::some_values(picks);
        let conditions = &self.rung(point).point.conditions;
        let reached: BTreeMap<_, _> = conditions
            .iter()
            .filter(|_| !picks.one_in(8))
            .map(|(axis, condition)| (*axis, condition.target()))
            .collect();
        self.result(run, point, values, reached);
    }

    /// Does a step.
    pub fn step(&mut self, step: Step) {
        let picks = &mut Picks(step.pick);
        let by = picks.of(&PEOPLE);
        let point = Self::some_point(picks);
        match step.kind {
            0 | 1 => {
                self.plan(Self::some_plan(picks));
            }
            2 => {
                let reason = "No need.".to_owned();
                self.record("lead", PointDropped { point: code(point), reason });
            }
            3..=5 => {
                self.approve(point);
            }
            6 | 7 => {
                self.release(point);
            }
            8 | 9 => {
                self.acknowledge(point);
            }
            10 | 11 => {
                let part = self.some_part(picks);
                if part == (Part::Release {}) {
                    let from = self.now + TimeDelta::minutes(picks.of(&[-60, 0, 30]));
                    let until = from + TimeDelta::minutes(picks.of(&[90, 600]));
                    self.release_within(point, from, until);
                } else {
                    self.sign(by, point, part);
                }
            }
            12 => {
                let run = self.run_for(&[point], 10);
                self.some_result(run, picks);
            }
            13 => {
                let run = RunNumber(picks.number(self.state.runs.len() + 1));
                self.some_result(run, picks);
            }
            14..=17 => {
                let run = self.show(point, 50.0);
                self.accept(point, run);
            }
            18 | 19 => {
                if let Some(id) = self.rung(point).last_result() {
                    let run = self.state.results[id.0].run;
                    self.accept(point, run);
                }
            }
            20 => {
                let part = self.some_part(picks);
                self.refuse(by, point, part);
            }
            21 | 22 => {
                let (part, reason) = (self.some_part(picks), "Settled.".to_owned());
                self.record(by, SignatureWithdrawn { point: code(point), part, reason });
            }
            23 => {
                let version = picks.of(&["1", "1", "2"]);
                self.fit(picks.of(&ITEMS), version);
            }
            24 => {
                let reason = "Bench.".to_owned();
                self.record("engineer", ItemRemoved { item: code(picks.of(&ITEMS)), reason });
            }
            25 => {
                self.record("engineer", LimitSet { limit: Self::some_limit(picks) });
            }
            26 => {
                let proposal =
                    ProposalNumber(u32::try_from(self.state.limits.proposals.len()).unwrap() + 1);
                self.record(
                    "engineer",
                    LimitChangeProposed {
                        proposal,
                        limit: Self::some_limit(picks),
                        reason: "Learnt.".to_owned(),
                        digest: any_digest(),
                    },
                );
                if picks.one_in(3) {
                    let reason = "No.".to_owned();
                    self.record("safety", LimitChangeDeclined { proposal, reason });
                } else {
                    self.record("safety", LimitChangeAgreed { proposal, digest: any_digest() });
                }
            }
            27 | 28 => {
                let (name, passed) = (picks.of(&CHECKS), !picks.one_in(4));
                let at = self.now - TimeDelta::minutes(picks.of(&[0, 0, 90]));
                let findings = "As found.".to_owned();
                self.observed("crew", at, CheckDone { check: code(name), passed, findings });
            }
            29 => {
                self.happens(picks.of(&["hard-landing", "rain"]));
            }
            30 => {
                let mut changed = hazard(picks.of(&HAZARDS));
                changed.after = picks.of(&[None, changed.after, Some(changed.before)]);
                if picks.one_in(4) {
                    changed.mitigations.clear();
                }
                self.record("engineer", HazardRecorded { hazard: changed });
            }
            31 => {
                let level = picks.of(&[RiskLevel::Medium, RiskLevel::Serious]);
                self.accept_risk(by, picks.of(&HAZARDS), level);
            }
            32 => {
                let mut filed = document(picks.of(&DOCUMENTS));
                filed.valid_from =
                    picks.one_in(3).then(|| self.now + TimeDelta::minutes(picks.of(&[-30, 30])));
                filed.valid_until =
                    picks.one_in(3).then(|| self.now + TimeDelta::minutes(picks.of(&[-30, 300])));
                filed.covers = PHASES.into_iter().filter(|_| !picks.one_in(4)).collect();
                filed.reference = (!picks.one_in(4)).then(|| "No. 2".to_owned());
                self.record("lead", DocumentFiled { document: filed });
            }
            33 => {
                let mut listed = person(picks.of(&["pilot", "second"]), Role::Pilot);
                let in_a_while = self.now + TimeDelta::minutes(picks.of(&[-30, 120]));
                listed.qualifications[0].expires = picks.one_in(2).then_some(in_a_while);
                if picks.one_in(4) {
                    listed.roles.clear();
                }
                self.record("lead", PersonListed { person: listed });
            }
            34 => {
                let run = RunNumber(picks.number(self.state.runs.len()));
                self.exceedance(run, picks.of(&LIMITS));
            }
            35 => {
                let exceedance = ExceedanceNumber(picks.number(self.state.exceedances.len()));
                self.record(
                    "engineer",
                    ExceedanceExplained {
                        exceedance,
                        explanation: "A blocked inlet.".to_owned(),
                        action: "Cleared.".to_owned(),
                    },
                );
                if picks.one_in(2) {
                    self.record("safety", ExceedanceClosed { exceedance, digest: any_digest() });
                }
            }
            36 => {
                let item = picks.of(&[None, Some("motor"), Some("pack")]);
                self.snag(picks.one_in(2), item, &[picks.of(&PHASES)]);
            }
            37 => {
                let snag = SnagNumber(picks.number(self.state.snags.len()));
                let grounds_now = picks.one_in(4);
                self.record("crew", SnagWorked { snag, cause: None, action: None, grounds_now });
                if !grounds_now {
                    let (cause, action) = ("Wear.".to_owned(), "Exchanged.".to_owned());
                    let digest = any_digest();
                    self.record("engineer", SnagClosed { snag, cause, action, digest });
                }
            }
            38 => {
                let wind = picks.of(&[None, Some(5.0), Some(10.0), Some(15.0)]);
                let weather = WeatherObservation {
                    wind: wind.map(|wind| Measure::new(wind, Unit::Knot)),
                    precipitation: picks.of(&[None, Some(true), Some(false)]),
                    ..WeatherObservation::default()
                };
                let at = self.now - TimeDelta::minutes(picks.of(&[0, 0, 40]));
                self.observed("crew", at, WeatherObserved { weather });
            }
            39 => {
                self.stand_down();
                if !picks.one_in(4) {
                    self.record("safety", StandDownLifted { reasons: "Found.".to_owned() });
                }
            }
            40 => {
                let mut changed = policy();
                changed.weather_good_for_min = picks.of(&[30, 60]);
                changed.build_up[0].step.value = picks.of(&[5.0, 10.0]);
                if picks.one_in(2) {
                    let mut finer = changed.build_up[0].clone();
                    finer.from = Some(Measure::new(picks.of(&[10.0, 25.0]), Unit::Knot));
                    finer.step.value = 2.0;
                    changed.build_up.push(finer);
                }
                if picks.one_in(2) {
                    changed.risk.accepted_by[2].roles = vec![Role::Safety];
                }
                if picks.one_in(2) {
                    changed.quarantine.push(QuarantineRule {
                        event: code("hard-landing"),
                        items: vec![code(picks.of(&ITEMS))],
                        until_checks: vec![code(picks.of(&CHECKS))],
                        source: "the handbook".to_owned(),
                    });
                }
                self.record("lead", PolicySet { policy: changed });
            }
            41 => {
                let run = self.open_run(&[point]);
                if picks.one_in(2) {
                    let reason = "Smell.".to_owned();
                    self.moment(run, RunEvent::PowerOn).record("crew", KnockedOff { run, reason });
                }
                if picks.one_in(2) {
                    self.close_run(run);
                }
            }
            42 => {
                let run = RunNumber(picks.number(self.state.runs.len()));
                let mut times =
                    self.state.run(run).map(|run| run.times.clone()).unwrap_or_default();
                times.power_off = picks.of(&[None, Some(self.now)]);
                let reason = "Wrong clock.".to_owned();
                self.record("lead", RunTimesCorrected { run, times, reason });
            }
            43..=45 => self.put_right(picks),
            46..=53 => self.step_of_recordings(step.kind, point, picks),
            _ => {
                self.later(TimeDelta::minutes(picks.of(&[1, 10, 45, 60, 300, 1500])));
            }
        }
    }

    /// A recording that was taken in, or the first that would be.
    fn some_recording(&self, picks: &mut Picks) -> Digest {
        let order = &self.state.recordings.order;
        let place = usize::try_from(picks.below(order.len().max(1) as u64)).unwrap();
        order.get(place).cloned().unwrap_or_else(any_digest)
    }

    fn some_outcome(picks: &mut Picks) -> HeatingOutcome {
        use HeatingOutcome::{InOrder, OutOfOrder, Unknown};
        picks.of(&[InOrder, InOrder, OutOfOrder, Unknown])
    }

    fn step_of_recordings(&mut self, kind: u8, point: &str, picks: &mut Picks) {
        let recording = self.some_recording(picks);
        let run = RunNumber(picks.number(self.state.runs.len()));
        match kind {
            46 => {
                let which = 1 + u8::try_from(picks.below(4)).unwrap();
                let at = self.now - TimeDelta::minutes(10);
                let recording = self.recorded_from(which, at, 600.0);
                self.attach(&recording, run);
            }
            47 | 48 => {
                let (recording, run) = self.recorded_run(point);
                self.judged(&recording, run, Self::some_outcome(picks));
            }
            49 => {
                self.show_recorded(point);
            }
            50 => {
                self.judged(&recording, run, Self::some_outcome(picks));
            }
            51 => {
                self.found(&recording, run, picks.of(&LIMITS));
            }
            52 => {
                if picks.one_in(2) {
                    self.set_aside(&recording);
                } else {
                    let channel = code("speed");
                    let (offset_s, correlation) = (picks.of(&[-2.5, 40.0]), 0.97);
                    let against = self.some_recording(picks);
                    self.record(
                        "engineer",
                        ClockOffsetConfirmed { recording, against, channel, offset_s, correlation },
                    );
                }
            }
            _ => {
                let heating_order = ["L-winding", "L-second"].map(code).to_vec();
                self.record("engineer", LimitSet { limit: limit("L-second") })
                    .record("safety", PolicySet { policy: Policy { heating_order, ..policy() } });
                let made = u32::try_from(self.state.recordings.reductions.len()).unwrap();
                self.record(
                    "engineer",
                    ReductionMade {
                        reduction: ReductionNumber(made + 1),
                        recording,
                        run,
                        point: None,
                        interval: None,
                        topic: "pack-energy".to_owned(),
                        version: "1".to_owned(),
                        channels: vec![code("winding")],
                        others: Vec::new(),
                        given: any_digest(),
                        result: "{}".to_owned(),
                        replaces: made.checked_sub(1).map(ReductionNumber),
                    },
                );
            }
        }
    }

    /// Puts right most of what went wrong, as a team does in an evening, so that points open again.
    fn put_right(&mut self, picks: &mut Picks) {
        for (run, limit) in self.state.unnoted_exceedances().to_vec() {
            self.exceedance(run, limit.as_str());
        }
        let open: Vec<_> = self.state.open_exceedances().map(|open| open.number).collect();
        for exceedance in open {
            let (explanation, action) = ("Dust.".to_owned(), "Cleaned.".to_owned());
            let explained = ExceedanceExplained { exceedance, explanation, action };
            self.record("engineer", explained)
                .record("safety", ExceedanceClosed { exceedance, digest: any_digest() });
        }
        let open: Vec<_> = self.state.open_snags().map(|open| open.number).collect();
        for snag in open {
            let (cause, action, digest) =
                ("Wear.".to_owned(), "Exchanged.".to_owned(), any_digest());
            self.record("engineer", SnagClosed { snag, cause, action, digest });
        }
        if self.state.stand_down().is_some() {
            self.record("safety", StandDownLifted { reasons: "Found.".to_owned() });
        }
        for item in ITEMS {
            self.fit(item, "1");
        }
        for name in HAZARDS {
            self.record("engineer", HazardRecorded { hazard: hazard(name) });
            self.accept_risk("safety", name, RiskLevel::Medium);
        }
        for name in DOCUMENTS {
            let covers = PHASES.to_vec();
            self.record("lead", DocumentFiled { document: Document { covers, ..document(name) } });
        }
        for run in self.state.runs.clone() {
            if run.powered_minutes().is_none() {
                let times = crate::record::RunTimes {
                    power_on: Some(run.opened_at),
                    power_off: Some(run.opened_at),
                    ..run.times
                };
                let reason = "Forgotten.".to_owned();
                self.record("lead", RunTimesCorrected { run: run.number, times, reason });
            }
        }
        for name in CHECKS {
            self.check(name, true);
        }
        self.record("lead", PersonListed { person: person("pilot", Role::Pilot) });
        for name in POINTS {
            if picks.one_in(4) {
                self.plan(Point { limits: Vec::new(), ..point(name) });
            }
            self.approve(name);
            if picks.one_in(3) {
                self.release(name).acknowledge(name);
            }
        }
    }

    /// Adds more trouble: one record.
    pub fn worsen(&mut self, step: Step) {
        let picks = &mut Picks(step.pick);
        let by = picks.of(&PEOPLE);
        let point = Self::some_point(picks);
        match step.kind {
            0 => {
                let run = RunNumber(picks.number(self.state.runs.len() + 1));
                self.exceedance(run, picks.of(&LIMITS));
            }
            1 => {
                let item = picks.of(&[None, Some("motor"), Some("pack")]);
                let phases = [picks.of(&PHASES)];
                let phases = if picks.one_in(2) { &phases[..] } else { &[] };
                self.snag(picks.one_in(2), item, phases);
            }
            2 => {
                let snag = SnagNumber(picks.number(self.state.snags.len()));
                let (cause, action) = (None, None);
                self.record("crew", SnagWorked { snag, cause, action, grounds_now: true });
            }
            3 => {
                let at = self.now - TimeDelta::minutes(picks.of(&[0, 90]));
                let (name, findings) = (picks.of(&CHECKS), "Loose.".to_owned());
                let failed = CheckDone { check: code(name), passed: false, findings };
                self.observed("crew", at, failed);
            }
            4 => {
                self.happens(picks.of(&["hard-landing", "rain"]));
            }
            5 => {
                // Of a run that had no result yet, or recorded anew. Too hot, or not measured.
                let run = if picks.one_in(2) {
                    RunNumber(picks.number(self.state.runs.len()))
                } else {
                    RunNumber(u32::try_from(self.state.results.len()).unwrap() + 1000)
                };
                let value = picks.of(&[Some(61.0), Some(81.0), None]);
                let values = vec![typed("winding", Statistic::Max, value, Unit::Celsius)];
                let conditions = &self.rung(point).point.conditions;
                let reached = conditions.iter().map(|(a, c)| (*a, c.target())).collect();
                self.result(run, point, values, reached);
            }
            6 | 7 => {
                let part = self.some_part(picks);
                self.refuse(by, point, part);
            }
            9 => {
                let recording = self.some_recording(picks);
                let run = RunNumber(picks.number(self.state.runs.len() + 1));
                self.found(&recording, run, picks.of(&LIMITS));
            }
            10 => {
                let recording = self.some_recording(picks);
                let run = RunNumber(picks.number(self.state.runs.len() + 1));
                let outcome = picks.of(&[HeatingOutcome::OutOfOrder, HeatingOutcome::Unknown]);
                self.judged(&recording, run, outcome);
            }
            11 => {
                // To set aside what showed the order wrong takes trouble away, as the mistake that it was.
                let recording = self.some_recording(picks);
                let showed_wrong = self.state.heating.values().any(|judged| {
                    judged.recording == recording && judged.outcome == HeatingOutcome::OutOfOrder
                });
                self.set_aside(if showed_wrong { &UNHEARD_OF } else { &recording });
            }
            _ => {
                self.stand_down();
            }
        }
    }
}
