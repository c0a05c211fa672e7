//! Builds states for tests as a story: given this happened, when that is asked, then …
//!
//! `Story::team()` has a policy, an aircraft, a configuration, channels, limits, a hazard whose risk was accepted,
//! checks that are good, a permit, people of every role, weather, and one approved point `A` that nothing but its
//! release holds. All of it is invented.

#![allow(clippy::unwrap_used, clippy::panic)]

pub(crate) mod chance;
pub(crate) mod predictions;
mod recordings;

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, TimeZone, Utc};

use crate::codes::{PointCode, RunNumber};
use crate::commands::{Command, Stamp};
use crate::entry::{Draft, Entry};
use crate::holds::{self, Hold, Stage};
use crate::measure::{Measure, Unit};
use crate::nouns::{
    AcceptingRole, Aircraft, AssessedRisk, Axis, BuildUpRule, Channel, Check, Comparison,
    Condition, CrewSeat, Criterion, Direction, Document, DocumentKind, Hazard, HeldQualification,
    Item, ItemKind, Limit, LimitKind, Person, Phase, Point, Policy, Probability, RiskLevel,
    RiskMatrix, Role, Severity, Statistic, Validity, WeatherMinima, WeatherObservation,
};
use crate::record::{
    AircraftDescribed, ChannelDefined, CheckDefined, CheckDone, CrewMember, Digest, DocumentFiled,
    EventHappened, ExceedanceNoted, HazardRecorded, ItemFitted, LimitSet, MeasuredValue, Part,
    PartSigned, PersonListed, PointPlanned, PolicySet, ProgrammeFounded, Record, ReleaseWindow,
    ResultRecorded, RiskAccepted, RunClosed, RunEvent, RunKind, RunMomentNoted, RunOpened,
    SigningRefused, SnagOpened, StandDownCalled, ValueSource, WeatherObserved,
};
use crate::refusal::Refusal;
use crate::state::{Rung, State};

pub(crate) use recordings::{recorded_value, recorder};

/// A programme as its records made it, and the moment at which its story stands.
#[derive(Clone)]
pub(crate) struct Story {
    pub state: State,
    pub now: DateTime<Utc>,
    pub entries: Vec<Entry>,
}

/// A code of any kind.
pub(crate) fn code<T: std::str::FromStr<Err = crate::codes::BadCode>>(text: &str) -> T {
    text.parse().unwrap()
}

/// The digest that tests sign with where nobody looks at it.
pub(crate) fn any_digest() -> Digest {
    Digest::from_bytes([7; 32])
}

/// The morning on which stories begin.
pub(crate) fn morning() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2031, 5, 12, 6, 0, 0).unwrap()
}

/// A figure typed in.
pub(crate) fn typed(
    parameter: &str,
    statistic: Statistic,
    value: impl Into<Option<f64>>,
    unit: Unit,
) -> MeasuredValue {
    MeasuredValue {
        parameter: code(parameter),
        statistic,
        value: value.into(),
        unit,
        source: ValueSource::TypedIn {},
    }
}

/// A condition: target and tolerance.
pub(crate) fn condition(target: f64, tolerance: f64, unit: Unit) -> Condition {
    Condition { target, tolerance, unit }
}

/// A matrix in which high is never acceptable, serious is for the safety officer and medium for safety or lead.
pub(crate) fn matrix() -> RiskMatrix {
    use RiskLevel::{Eliminated as E, High as H, Low as L, Medium as M, Serious as S};
    RiskMatrix {
        source: "the team's own matrix".to_owned(),
        rows: [[H, H, H, S, M, E], [H, H, S, M, M, E], [S, S, M, M, M, E], [M, M, L, L, L, E]],
        accepted_by: vec![
            AcceptingRole { level: RiskLevel::High, roles: vec![] },
            AcceptingRole { level: RiskLevel::Serious, roles: vec![Role::Safety] },
            AcceptingRole { level: RiskLevel::Medium, roles: vec![Role::Safety, Role::Lead] },
        ],
    }
}

/// A policy with a build-up in speed (first 20 kt, then 10 kt) and power (first 10 kW, then 10 kW).
pub(crate) fn policy() -> Policy {
    let rule = |axis, first, step, unit| BuildUpRule {
        axis,
        direction: Direction::Up,
        phases: Vec::new(),
        from_share: None,
        from: None,
        step: Measure::new(step, unit),
        first: Measure::new(first, unit),
        source: format!("the team's build-up in {axis}"),
    };
    Policy {
        weather_good_for_min: 60,
        longest_release_h: 24,
        risk: matrix(),
        build_up: vec![
            rule(Axis::Speed, 20.0, 10.0, Unit::Knot),
            rule(Axis::Power, 10.0, 10.0, Unit::Kilowatt),
        ],
        required_totals: Vec::new(),
        heating_order: Vec::new(),
        heating_horizon_min: None,
        quarantine: Vec::new(),
        build_up_pairs: Vec::new(),
        predictions: None,
    }
}

/// A point that every condition of [`Story::team`] allows: at most 60 °C, nothing else asked.
pub(crate) fn point(name: &str) -> Point {
    Point {
        code: code(name),
        title: format!("Point {name}"),
        phase: Phase::GroundRun,
        objective: "Show that it stays cool.".to_owned(),
        technique: "Run it.".to_owned(),
        conditions: BTreeMap::new(),
        axes_together: false,
        duration_min: 10.0,
        energy_kwh: 1.0,
        data_required: vec![code("winding")],
        criteria: vec![Criterion {
            parameter: code("winding"),
            statistic: Statistic::Max,
            comparison: Comparison::AtMost,
            value: 60.0,
            upper: None,
            unit: Unit::Celsius,
        }],
        limits: vec![code("L-winding")],
        stop_criteria: vec!["Smoke or smell.".to_owned()],
        hazards: vec![code("H-hot")],
        after_points: Vec::new(),
        after_checks: Vec::new(),
        after_documents: Vec::new(),
        crew: vec![CrewSeat {
            role: Role::Pilot,
            count: 1,
            on_board: true,
            qualifications: vec![code("medical")],
        }],
        most_on_board: 1,
        weather: WeatherMinima::default(),
        configuration: Vec::new(),
        sensitive_to: vec![code("motor")],
    }
}

/// A hazard at medium residual risk.
pub(crate) fn hazard(name: &str) -> Hazard {
    Hazard {
        code: code(name),
        title: "Windings overheat".to_owned(),
        cause: "Too little air.".to_owned(),
        effect: "Fire.".to_owned(),
        before: AssessedRisk {
            severity: Severity::Catastrophic,
            probability: Probability::Occasional,
        },
        mitigations: vec!["Temperature is watched; stop at the limit.".to_owned()],
        after: Some(AssessedRisk {
            severity: Severity::Critical,
            probability: Probability::Improbable,
        }),
    }
}

/// A check of ground runs, with a validity.
pub(crate) fn check(name: &str, validity: Validity) -> Check {
    Check {
        code: code(name),
        title: format!("Check {name}"),
        method: "Look and pull.".to_owned(),
        validity,
        phases: vec![Phase::GroundRun],
        by: vec![Role::Crew],
        source: "the motor's manual".to_owned(),
    }
}

/// A permit for ground runs, without end.
pub(crate) fn document(name: &str) -> Document {
    Document {
        code: code(name),
        title: format!("Document {name}"),
        kind: DocumentKind::Permit,
        reference: Some("No. 1".to_owned()),
        valid_from: None,
        valid_until: None,
        covers: vec![Phase::GroundRun],
        needed_in: vec![Phase::GroundRun],
    }
}

/// A limit of 80 °C, caution at 70, of ground runs.
pub(crate) fn limit(name: &str) -> Limit {
    Limit {
        code: code(name),
        title: "Winding temperature".to_owned(),
        channel: code("winding"),
        unit: Unit::Celsius,
        kind: LimitKind::Maximum { caution: Some(70.0), limit: 80.0 },
        dwell_s: 0.0,
        phases: vec![Phase::GroundRun],
        source: "the motor's data sheet".to_owned(),
    }
}

/// A person with one role and a medical without end.
pub(crate) fn person(handle: &str, role: Role) -> Person {
    Person {
        handle: code(handle),
        name: handle.to_owned(),
        roles: vec![role],
        qualifications: vec![HeldQualification { code: code("medical"), expires: None }],
    }
}

impl Story {
    /// A programme that was founded and nothing else.
    pub fn empty() -> Self {
        let mut story = Self { state: State::default(), now: morning(), entries: Vec::new() };
        story.record("lead", ProgrammeFounded { title: "A programme".to_owned() });
        story
    }

    /// A programme in which nothing but its release holds the point `A`.
    pub fn team() -> Self {
        let mut story = Self::empty();
        for (handle, role) in [
            ("lead", Role::Lead),
            ("pilot", Role::Pilot),
            ("safety", Role::Safety),
            ("engineer", Role::Engineer),
            ("crew", Role::Crew),
            ("viewer", Role::Viewer),
        ] {
            story.record("lead", PersonListed { person: person(handle, role) });
        }
        let aircraft = Aircraft {
            name: "Tug".to_owned(),
            registration: None,
            description: "A two-seat tug.".to_owned(),
            airfield: None,
            never_exceed_speed: None,
            maximum_altitude: None,
            maximum_mass: None,
            seats: 2,
            loading: Vec::new(),
            loading_limits: None,
            structure: None,
        };
        story.record("lead", AircraftDescribed { aircraft });
        story.record("lead", PolicySet { policy: policy() });
        story.fit("motor", "1").fit("pack", "1");
        for (name, unit) in [("winding", Unit::Celsius), ("speed", Unit::Knot)] {
            let channel = Channel {
                code: code(name),
                title: name.to_owned(),
                unit,
                lowest: None,
                highest: None,
                accuracy: None,
                derived_from: None,
            };
            story.record("engineer", ChannelDefined { channel });
        }
        story.record("engineer", LimitSet { limit: limit("L-winding") });
        story.record("engineer", HazardRecorded { hazard: hazard("H-hot") });
        story.accept_risk("safety", "H-hot", RiskLevel::Medium);
        let validity = Validity { days: Some(30), ..Validity::default() };
        story.record("engineer", CheckDefined { check: check("C-torque", validity) });
        story.check("C-torque", true);
        story.record("lead", DocumentFiled { document: document("D-permit") });
        story.plan(point("A"));
        story.approve("A");
        story
    }

    /// Time passes.
    pub fn later(&mut self, by: TimeDelta) -> &mut Self {
        self.now += by;
        self
    }

    /// Takes in a draft, a second after the record before.
    pub fn take_in(&mut self, by: &str, draft: Draft) -> &mut Self {
        let seq = self.state.length() + 1;
        self.now += TimeDelta::seconds(1);
        let entry = Entry::new(code("P"), seq, self.now, code(by), draft);
        self.state.apply(&entry);
        self.entries.push(entry);
        self
    }

    /// Somebody recorded something.
    pub fn record(&mut self, by: &str, record: impl Into<Record>) -> &mut Self {
        self.take_in(by, Draft { observed_at: None, record: record.into() })
    }

    /// Somebody recorded something that was observed at another moment.
    pub fn observed(
        &mut self,
        by: &str,
        at: DateTime<Utc>,
        record: impl Into<Record>,
    ) -> &mut Self {
        self.take_in(by, Draft { observed_at: Some(at), record: record.into() })
    }

    /// Somebody asks for something; what is decided is taken in.
    pub fn when(&mut self, by: &str, command: &impl Command) -> Result<Vec<Draft>, Refusal> {
        let stamp = Stamp { by: code(by), now: self.now };
        let drafts = crate::commands::decide(&self.state, command, &stamp)?;
        for draft in &drafts {
            self.take_in(by, draft.clone());
        }
        Ok(drafts)
    }

    pub fn fit(&mut self, item: &str, version: &str) -> &mut Self {
        let item = Item {
            code: code(item),
            title: item.to_owned(),
            kind: ItemKind::Part,
            version: version.to_owned(),
        };
        self.record("engineer", ItemFitted { item, reason: None })
    }

    pub fn plan(&mut self, point: Point) -> &mut Self {
        self.record("lead", PointPlanned { point })
    }

    /// Somebody signs a part; the digest is that of the card as it stands.
    pub fn sign(&mut self, by: &str, point: &str, part: Part) -> &mut Self {
        let with_configuration = !matches!(part, Part::PlanApproval {});
        let digest = self.state.card(self.rung(point), with_configuration).digest().unwrap();
        self.record(by, PartSigned { point: code(point), part, window: None, digest })
    }

    pub fn refuse(&mut self, by: &str, point: &str, part: Part) -> &mut Self {
        let reasons = "I am not content.".to_owned();
        self.record(by, SigningRefused { point: code(point), part, reasons })
    }

    pub fn approve(&mut self, point: &str) -> &mut Self {
        self.sign("engineer", point, Part::PlanApproval {})
    }

    /// A release from now on, for eight hours.
    pub fn release(&mut self, point: &str) -> &mut Self {
        self.release_within(point, self.now, self.now + TimeDelta::hours(8))
    }

    /// A release from a moment up to another.
    pub fn release_within(
        &mut self,
        point: &str,
        valid_from: DateTime<Utc>,
        valid_until: DateTime<Utc>,
    ) -> &mut Self {
        let window = Some(ReleaseWindow { valid_from, valid_until, conditions: None });
        let digest = self.state.card(self.rung(point), true).digest().unwrap();
        let point = code(point);
        self.record("safety", PartSigned { point, part: Part::Release {}, window, digest })
    }

    pub fn acknowledge(&mut self, point: &str) -> &mut Self {
        self.sign("pilot", point, Part::Acknowledgement {})
    }

    /// Opens a run with the points, and gives its number.
    pub fn open_run(&mut self, points: &[&str]) -> RunNumber {
        let run = RunNumber(u32::try_from(self.state.runs.len()).unwrap() + 1);
        let crew = vec![CrewMember { person: code("pilot"), role: Role::Pilot, on_board: true }];
        let points = points.iter().map(|name| code(name)).collect();
        self.record("lead", RunOpened { run, what: RunKind::GroundRun, points, crew });
        run
    }

    pub fn moment(&mut self, run: RunNumber, event: RunEvent) -> &mut Self {
        self.record("crew", RunMomentNoted { run, event })
    }

    pub fn close_run(&mut self, run: RunNumber) -> &mut Self {
        self.record("lead", RunClosed { run, debrief: None })
    }

    /// A run under power for some minutes, opened and closed, without a result.
    pub fn run_for(&mut self, points: &[&str], minutes: i64) -> RunNumber {
        let run = self.open_run(points);
        self.moment(run, RunEvent::PowerOn);
        self.later(TimeDelta::minutes(minutes) - TimeDelta::seconds(1));
        self.moment(run, RunEvent::PowerOff).close_run(run);
        run
    }

    pub fn result(
        &mut self,
        run: RunNumber,
        point: &str,
        values: Vec<MeasuredValue>,
        reached: BTreeMap<Axis, Measure>,
    ) -> &mut Self {
        let observations = "Nothing unusual.".to_owned();
        let point = code(point);
        self.record("engineer", ResultRecorded { run, point, values, reached, observations })
    }

    /// A run with a result at a winding temperature; with the conditions' targets reached exactly.
    pub fn show(&mut self, point: &str, winding: impl Into<Option<f64>>) -> RunNumber {
        let run = self.run_for(&[point], 10);
        let values = vec![typed("winding", Statistic::Max, winding, Unit::Celsius)];
        let conditions = &self.rung(point).point.conditions;
        let reached =
            conditions.iter().map(|(axis, condition)| (*axis, condition.target())).collect();
        self.result(run, point, values, reached);
        run
    }

    pub fn accept(&mut self, point: &str, run: RunNumber) -> &mut Self {
        self.sign("engineer", point, Part::EngineeringAcceptance { run }).sign(
            "safety",
            point,
            Part::SafetyAcceptance { run },
        )
    }

    /// Shown at 50 °C and accepted.
    pub fn show_and_accept(&mut self, point: &str) -> RunNumber {
        let run = self.show(point, 50.0);
        self.accept(point, run);
        run
    }

    pub fn accept_risk(&mut self, by: &str, hazard: &str, level: RiskLevel) -> &mut Self {
        self.record(by, RiskAccepted { hazard: code(hazard), level, digest: any_digest() })
    }

    pub fn check(&mut self, check: &str, passed: bool) -> &mut Self {
        let findings = "As found.".to_owned();
        self.record("crew", CheckDone { check: code(check), passed, findings })
    }

    pub fn happens(&mut self, event: &str) -> &mut Self {
        self.record("crew", EventHappened { event: code(event), account: "It did.".to_owned() })
    }

    pub fn snag(&mut self, grounding: bool, item: Option<&str>, phases: &[Phase]) -> &mut Self {
        let snag = crate::codes::SnagNumber(u32::try_from(self.state.snags.len()).unwrap() + 1);
        self.record(
            "crew",
            SnagOpened {
                snag,
                title: "A crack".to_owned(),
                grounding,
                severity: Severity::Marginal,
                item: item.map(code),
                run: None,
                phases: phases.to_vec(),
            },
        )
    }

    pub fn exceedance(&mut self, run: RunNumber, limit: &str) -> &mut Self {
        let number = u32::try_from(self.state.exceedances.len()).unwrap() + 1;
        self.record(
            "crew",
            ExceedanceNoted {
                exceedance: crate::codes::ExceedanceNumber(number),
                run,
                limit: code(limit),
                point: None,
                statistic: Statistic::Max,
                peak: 85.0,
                duration_s: None,
            },
        )
    }

    pub fn weather(&mut self, weather: WeatherObservation) -> &mut Self {
        self.record("crew", WeatherObserved { weather })
    }

    pub fn stand_down(&mut self) -> &mut Self {
        self.record("crew", StandDownCalled { reason: "Something smells.".to_owned() })
    }

    pub fn rung(&self, point: &str) -> &Rung {
        let point: PointCode = code(point);
        self.state.rung(&point).unwrap_or_else(|| panic!("no point {point}"))
    }

    /// The holds on a point now.
    pub fn holds(&self, point: &str) -> Vec<Hold> {
        holds::holds(&self.state, self.rung(point), self.now)
    }

    /// The codes of the rules that hold a point now, release and acknowledgement left out.
    pub fn rules(&self, point: &str) -> Vec<&'static str> {
        self.holds(point)
            .into_iter()
            .map(|hold| hold.rule)
            .filter(|rule| !rule.starts_with("release-") && !rule.starts_with("acknowledgement-"))
            .collect()
    }

    /// The codes of the rules that stand against an act.
    pub fn rules_against(&self, point: &str, stage: Stage) -> Vec<&'static str> {
        holds::against(&self.state, self.rung(point), self.now, stage)
            .into_iter()
            .map(|hold| hold.rule)
            .collect()
    }

    /// The one hold of a rule.
    pub fn hold(&self, point: &str, rule: &str) -> Hold {
        let mut of_rule: Vec<_> =
            self.holds(point).into_iter().filter(|hold| hold.rule == rule).collect();
        assert_eq!(of_rule.len(), 1, "{rule} on {point}: {:?}", self.holds(point));
        of_rule.remove(0)
    }
}

#[test]
fn nothing_but_its_release_holds_the_first_point_of_the_story() {
    assert!(Story::team().rules_against("A", Stage::Release).is_empty());
}
