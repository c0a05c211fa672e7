//! An invented campaign on a large ladder, drawn from a fixed seed.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, TimeZone, Utc};
use programme::codes::{
    BadCode, ExceedanceNumber, PointCode, ProposalNumber, RunNumber, SnagNumber,
};
use programme::entry::{Draft, Entry};
use programme::measure::{Measure, Unit};
use programme::nouns::{
    AcceptingRole, Aircraft, AssessedRisk, Axis, BuildUpRule, Check, Comparison, Condition,
    CrewSeat, Criterion, Direction, Document, DocumentKind, Hazard, HeldQualification, Item,
    ItemKind, Limit, LimitKind, Person, Phase, Point, Policy, Probability, RequiredItem, RiskLevel,
    RiskMatrix, Role, Severity, Statistic, Validity, WeatherMinima, WeatherObservation,
};
use programme::record::{
    AircraftDescribed, CheckDefined, CheckDone, CrewMember, Digest, DocumentFiled, EventHappened,
    ExceedanceClosed, ExceedanceExplained, ExceedanceNoted, HazardRecorded, ItemFitted,
    LimitChangeAgreed, LimitChangeProposed, LimitSet, MeasuredValue, Part, PartSigned,
    PersonListed, PointPlanned, PolicySet, Record, ReleaseWindow, ResultRecorded, RiskAccepted,
    RunClosed, RunEvent, RunKind, RunMomentNoted, RunOpened, SignatureWithdrawn, SigningRefused,
    SnagClosed, SnagOpened, StandDownCalled, StandDownLifted, ValueSource, WeatherObserved,
};
use programme::state::State;

const LIMITS: usize = 15;
const HAZARDS: usize = 12;
const CHECKS: usize = 10;
const DOCUMENTS: usize = 4;
const ITEMS: usize = 12;
const PEOPLE: [(&str, Role); 8] = [
    ("lead", Role::Lead),
    ("pilot", Role::Pilot),
    ("copilot", Role::Pilot),
    ("safety", Role::Safety),
    ("engineer", Role::Engineer),
    ("analyst", Role::Engineer),
    ("crew", Role::Crew),
    ("mechanic", Role::Crew),
];

/// A 64-bit xorshift generator (Marsaglia 2003, shifts 13, 7, 17).
struct Chance(u64);

impl Chance {
    fn below(&mut self, bound: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % bound as u64).unwrap()
    }

    fn of<T: Copy>(&mut self, things: &[T]) -> T {
        things[self.below(things.len())]
    }
}

fn code<T: std::str::FromStr<Err = BadCode>>(text: &str) -> T {
    text.parse().unwrap()
}

fn number(count: usize) -> u32 {
    u32::try_from(count).unwrap()
}

/// A programme and what happens to it next.
pub struct Campaign {
    /// As the records so far made it.
    pub state: State,
    /// The moment of the last record.
    pub now: DateTime<Utc>,
    chance: Chance,
    points: usize,
}

fn point_code(place: usize) -> PointCode {
    code(&format!("P-{place:05}"))
}

fn phase_of(place: usize, points: usize) -> Phase {
    Phase::ALL[place * Phase::ALL.len() / points]
}

fn limit(place: usize, highest: f64) -> Limit {
    Limit {
        code: code(&format!("L-{place:02}")),
        title: format!("Limit {place}"),
        channel: code(&format!("ch-{place:02}")),
        unit: Unit::Celsius,
        kind: LimitKind::Maximum { caution: Some(highest - 10.0), limit: highest },
        dwell_s: 0.0,
        phases: vec![Phase::ALL[place % 5], Phase::ALL[(place + 1) % 5]],
        source: "an invented data sheet".to_owned(),
    }
}

fn hazard(place: usize, cause: &str) -> Hazard {
    Hazard {
        code: code(&format!("H-{place:02}")),
        title: format!("Hazard {place}"),
        cause: cause.to_owned(),
        effect: "Something breaks.".to_owned(),
        before: AssessedRisk { severity: Severity::Critical, probability: Probability::Occasional },
        mitigations: vec!["It is watched.".to_owned()],
        after: Some(AssessedRisk {
            severity: Severity::Critical,
            probability: Probability::Improbable,
        }),
    }
}

fn person(handle: &str, role: Role) -> Person {
    Person {
        handle: code(handle),
        name: handle.to_owned(),
        roles: vec![role],
        qualifications: vec![HeldQualification { code: code("medical"), expires: None }],
    }
}

fn document(place: usize, now: DateTime<Utc>) -> Document {
    Document {
        code: code(&format!("D-{place}")),
        title: format!("Document {place}"),
        kind: DocumentKind::Permit,
        reference: Some("No. 1".to_owned()),
        valid_from: Some(now - TimeDelta::days(1)),
        valid_until: Some(now + TimeDelta::days(3650)),
        covers: Phase::ALL.to_vec(),
        needed_in: vec![Phase::ALL[place % 5]],
    }
}

fn policy() -> Policy {
    use RiskLevel::{Eliminated as E, High as H, Low as L, Medium as M, Serious as S};
    let rule = |axis, first, step, unit| BuildUpRule {
        axis,
        direction: Direction::Up,
        phases: Vec::new(),
        from_share: None,
        from: None,
        step: Measure::new(step, unit),
        first: Measure::new(first, unit),
        source: "an invented build-up".to_owned(),
    };
    Policy {
        weather_good_for_min: 600,
        longest_release_h: 240,
        risk: RiskMatrix {
            source: "an invented matrix".to_owned(),
            rows: [[H, H, H, S, M, E], [H, H, S, M, M, E], [S, S, M, M, M, E], [M, M, L, L, L, E]],
            accepted_by: vec![
                AcceptingRole { level: H, roles: vec![] },
                AcceptingRole { level: S, roles: vec![Role::Safety] },
                AcceptingRole { level: M, roles: vec![Role::Safety, Role::Lead] },
            ],
        },
        build_up: vec![
            rule(Axis::Speed, 30.0, 5.0, Unit::Knot),
            rule(Axis::Power, 20.0, 5.0, Unit::Kilowatt),
            rule(Axis::PressureAltitude, 1000.0, 500.0, Unit::Foot),
        ],
        required_totals: Vec::new(),
        heating_order: Vec::new(),
        heating_horizon_min: None,
        quarantine: Vec::new(),
        build_up_pairs: Vec::new(),
        predictions: None,
    }
}

impl Campaign {
    /// A ladder with some points, each with up to five prerequisites among those shortly before it, and some results.
    pub fn new(points: usize, results: usize) -> Self {
        let mut campaign = Self {
            state: State::default(),
            now: Utc.with_ymd_and_hms(2031, 5, 12, 6, 0, 0).unwrap(),
            chance: Chance(0x5EED_2031_0512_0600),
            points,
        };
        campaign.found();
        for place in 0..points {
            let point = campaign.plan(place, "as first planned");
            campaign.record("lead", PointPlanned { point });
            campaign.sign("engineer", place, Part::PlanApproval {});
        }
        campaign.fly(results);
        campaign
    }

    fn found(&mut self) {
        for (handle, role) in PEOPLE {
            self.record("lead", PersonListed { person: person(handle, role) });
        }
        let aircraft = Aircraft {
            name: "Invented".to_owned(),
            registration: None,
            description: "An invented two-seater.".to_owned(),
            airfield: None,
            never_exceed_speed: None,
            maximum_altitude: None,
            maximum_mass: None,
            seats: 2,
            loading: Vec::new(),
            loading_limits: None,
            structure: None,
        };
        self.record("lead", AircraftDescribed { aircraft });
        self.record("lead", PolicySet { policy: policy() });
        for place in 0..ITEMS {
            self.fit(place, "1");
        }
        for place in 0..LIMITS {
            self.record("engineer", LimitSet { limit: limit(place, 100.0) });
        }
        for place in 0..HAZARDS {
            self.record("engineer", HazardRecorded { hazard: hazard(place, "Wear.") });
            self.accept_risk(place);
        }
        for place in 0..CHECKS {
            let validity = Validity {
                powered_hours: (place % 2 == 0).then_some(100_000.0),
                clock_hours: None,
                days: Some(3650),
                until: vec![code("hard-landing")],
                until_changed: Vec::new(),
            };
            let check = Check {
                code: code(&format!("C-{place}")),
                title: format!("Check {place}"),
                method: "Look.".to_owned(),
                validity,
                phases: vec![Phase::ALL[place % 5]],
                by: vec![Role::Crew],
                source: "an invented manual".to_owned(),
            };
            self.record("engineer", CheckDefined { check });
            self.check(place, true);
        }
        for place in 0..DOCUMENTS {
            let document = document(place, self.now);
            self.record("lead", DocumentFiled { document });
        }
        self.weather();
    }

    fn plan(&mut self, place: usize, title: &str) -> Point {
        let earlier = place.min(40);
        let mut after_points: Vec<PointCode> = Vec::new();
        while after_points.len() < earlier.min(5) {
            let before = point_code(place - 1 - self.chance.below(earlier));
            if !after_points.contains(&before) {
                after_points.push(before);
            }
        }
        let share = place as f64 / self.points as f64;
        let target = |target: f64, unit| Condition { target: target.round(), tolerance: 2.0, unit };
        let phase = phase_of(place, self.points);
        let limit = place % LIMITS;
        Point {
            code: point_code(place),
            title: format!("Point {place}, {title}"),
            phase,
            objective: "Show it.".to_owned(),
            technique: "Do it.".to_owned(),
            conditions: BTreeMap::from([
                (Axis::Speed, target(30.0 + 100.0 * share, Unit::Knot)),
                (Axis::Power, target(20.0 + 60.0 * share, Unit::Kilowatt)),
                (Axis::PressureAltitude, target(1000.0 + 9000.0 * share, Unit::Foot)),
            ]),
            axes_together: true,
            duration_min: 10.0,
            energy_kwh: 2.0,
            data_required: vec![code(&format!("ch-{limit:02}"))],
            criteria: vec![Criterion {
                parameter: code(&format!("ch-{limit:02}")),
                statistic: Statistic::Max,
                comparison: Comparison::AtMost,
                value: 90.0,
                upper: None,
                unit: Unit::Celsius,
            }],
            limits: vec![code(&format!("L-{limit:02}"))],
            stop_criteria: vec!["Smoke.".to_owned()],
            hazards: vec![
                code(&format!("H-{:02}", place % HAZARDS)),
                code(&format!("H-{:02}", (place + 5) % HAZARDS)),
            ],
            after_points,
            after_checks: vec![code(&format!("C-{}", place % CHECKS))],
            after_documents: vec![code(&format!("D-{}", place % DOCUMENTS))],
            crew: vec![
                CrewSeat {
                    role: Role::Pilot,
                    count: 1,
                    on_board: true,
                    qualifications: vec![code("medical")],
                },
                CrewSeat { role: Role::Crew, count: 1, on_board: false, qualifications: vec![] },
            ],
            most_on_board: 1,
            weather: WeatherMinima {
                wind_at_most: Some(Measure::new(15.0, Unit::Knot)),
                visibility_at_least: Some(Measure::new(5000.0, Unit::Metre)),
                dry: true,
                ..WeatherMinima::default()
            },
            configuration: vec![RequiredItem {
                item: code(&format!("I-{}", place % ITEMS)),
                version: None,
            }],
            sensitive_to: vec![code(&format!("I-{}", (place + 3) % ITEMS))],
        }
    }

    /// Runs of ten points each, from the bottom of the ladder, over and over until there are enough results; about the
    /// lower half of the ladder comes to be accepted.
    fn fly(&mut self, results: usize) {
        let reach = self.points / 2;
        let mut place = 0;
        while self.state.results.len() < results {
            let places: Vec<usize> = (0..10).map(|next| (place + next) % reach).collect();
            place = (place + 10) % reach;
            let run = self.open_run(&places);
            self.record("crew", RunMomentNoted { run, event: RunEvent::PowerOn });
            self.now += TimeDelta::minutes(10);
            for place in &places {
                let value = if self.chance.below(50) == 0 { 95.0 } else { 60.0 };
                self.result(run, *place, value);
                if value < 90.0 && self.chance.below(10) > 0 {
                    self.sign("engineer", *place, Part::EngineeringAcceptance { run });
                    self.sign("safety", *place, Part::SafetyAcceptance { run });
                }
            }
            self.record("crew", RunMomentNoted { run, event: RunEvent::PowerOff });
            self.record("lead", RunClosed { run, debrief: None });
        }
        self.weather();
    }

    fn entry(&self, by: &str, record: impl Into<Record>) -> Entry {
        let draft = Draft { observed_at: None, record: record.into() };
        Entry::new(code("bench"), self.state.length() + 1, self.now, code(by), draft)
    }

    fn record(&mut self, by: &str, record: impl Into<Record>) {
        self.now += TimeDelta::seconds(1);
        let entry = self.entry(by, record);
        self.state.apply(&entry);
    }

    fn signed(&mut self, place: usize, part: Part) -> PartSigned {
        let window = (part == Part::Release {}).then(|| ReleaseWindow {
            valid_from: self.now,
            valid_until: self.now + TimeDelta::minutes(30 + self.chance.below(600) as i64),
            conditions: None,
        });
        PartSigned { point: point_code(place), part, window, digest: Digest::from_bytes([1; 32]) }
    }

    fn sign(&mut self, by: &str, place: usize, part: Part) {
        let signed = self.signed(place, part);
        self.record(by, signed);
    }

    fn fit(&mut self, place: usize, version: &str) {
        let fitted = self.fitted(place, version);
        self.record("engineer", fitted);
    }

    fn fitted(&self, place: usize, version: &str) -> ItemFitted {
        let item = Item {
            code: code(&format!("I-{place}")),
            title: format!("Item {place}"),
            kind: ItemKind::Part,
            version: version.to_owned(),
        };
        ItemFitted { item, reason: None }
    }

    fn risk_accepted(&self, place: usize) -> RiskAccepted {
        let digest = Digest::from_bytes([1; 32]);
        RiskAccepted { hazard: code(&format!("H-{place:02}")), level: RiskLevel::Medium, digest }
    }

    fn accept_risk(&mut self, place: usize) {
        let accepted = self.risk_accepted(place);
        self.record("safety", accepted);
    }

    fn check_done(&self, place: usize, passed: bool) -> CheckDone {
        CheckDone { check: code(&format!("C-{place}")), passed, findings: "As found.".to_owned() }
    }

    fn check(&mut self, place: usize, passed: bool) {
        let done = self.check_done(place, passed);
        self.record("crew", done);
    }

    fn observed(&mut self) -> WeatherObserved {
        let wind = self.chance.of(&[5.0, 10.0, 20.0]);
        WeatherObserved {
            weather: WeatherObservation {
                wind: Some(Measure::new(wind, Unit::Knot)),
                visibility: Some(Measure::new(9000.0, Unit::Metre)),
                precipitation: Some(false),
                ..WeatherObservation::default()
            },
        }
    }

    fn weather(&mut self) {
        let observed = self.observed();
        self.record("crew", observed);
    }

    fn opened(&self, places: &[usize]) -> RunOpened {
        RunOpened {
            run: RunNumber(number(self.state.runs.len() + 1)),
            what: RunKind::GroundRun,
            points: places.iter().map(|place| point_code(*place)).collect(),
            crew: vec![CrewMember { person: code("pilot"), role: Role::Pilot, on_board: true }],
        }
    }

    fn open_run(&mut self, places: &[usize]) -> RunNumber {
        let opened = self.opened(places);
        let run = opened.run;
        self.record("lead", opened);
        run
    }

    fn recorded(&self, run: RunNumber, place: usize, value: f64) -> ResultRecorded {
        let rung = &self.state.ladder.rungs()[place];
        let conditions = &rung.point.conditions;
        ResultRecorded {
            run,
            point: point_code(place),
            values: vec![MeasuredValue {
                parameter: code(&format!("ch-{:02}", place % LIMITS)),
                statistic: Statistic::Max,
                value: Some(value),
                unit: Unit::Celsius,
                source: ValueSource::TypedIn {},
            }],
            reached: conditions.iter().map(|(axis, c)| (*axis, c.target())).collect(),
            observations: "Nothing unusual.".to_owned(),
        }
    }

    fn result(&mut self, run: RunNumber, place: usize, value: f64) {
        let recorded = self.recorded(run, place, value);
        self.record("engineer", recorded);
    }

    /// What happens next: a record in about the proportions of a test campaign, of any kind that holds depend on.
    pub fn next_record(&mut self) -> Entry {
        self.now += TimeDelta::seconds(1 + self.chance.below(120) as i64);
        let place = self.chance.below(self.points * 6 / 10);
        let last_run = number(self.state.runs.len());
        let run = RunNumber(last_run);
        match self.chance.below(1000) {
            0..190 => {
                let value = self.chance.of(&[50.0, 60.0, 70.0, 80.0, 95.0]);
                self.entry("engineer", self.recorded(run, place, value))
            }
            190..400 => {
                let recent = self.state.results.len() - 1 - self.chance.below(50);
                let result = &self.state.results[recent];
                let (point, run) = (result.point.clone(), result.run);
                let part = if result.engineering.is_none() {
                    Part::EngineeringAcceptance { run }
                } else {
                    Part::SafetyAcceptance { run }
                };
                let digest = Digest::from_bytes([1; 32]);
                self.entry("safety", PartSigned { point, part, window: None, digest })
            }
            400..450 => {
                let signed = self.signed(place, Part::PlanApproval {});
                self.entry("engineer", signed)
            }
            450..540 => {
                let signed = self.signed(place, Part::Release {});
                self.entry("safety", signed)
            }
            540..620 => {
                let signed = self.signed(place, Part::Acknowledgement {});
                self.entry("pilot", signed)
            }
            620..660 => self.entry("lead", self.opened(&[place])),
            660..740 => {
                let event = self.chance.of(&[
                    RunEvent::PowerOn,
                    RunEvent::OffBlocks,
                    RunEvent::OnBlocks,
                    RunEvent::PowerOff,
                ]);
                self.entry("crew", RunMomentNoted { run, event })
            }
            740..780 => self.entry("lead", RunClosed { run, debrief: None }),
            780..830 => {
                let observed = self.observed();
                self.entry("crew", observed)
            }
            830..870 => {
                let (check, passed) = (self.chance.below(CHECKS), self.chance.below(8) > 0);
                self.entry("crew", self.check_done(check, passed))
            }
            870..890 => {
                let point = self.plan(place, "as planned again");
                self.entry("lead", PointPlanned { point })
            }
            890..905 => {
                let snag = SnagNumber(number(self.state.snags.len() + 1));
                let item = Some(code(&format!("I-{}", self.chance.below(ITEMS))));
                let phases = vec![self.chance.of(&Phase::ALL)];
                let grounding = self.chance.below(3) == 0;
                let (title, severity) = ("A crack".to_owned(), Severity::Marginal);
                self.entry(
                    "crew",
                    SnagOpened { snag, title, grounding, severity, item, run: None, phases },
                )
            }
            905..920 => {
                let open = self.state.open_snags().next().map_or(SnagNumber(1), |s| s.number);
                let (cause, action) = ("Wear.".to_owned(), "Exchanged.".to_owned());
                let digest = Digest::from_bytes([1; 32]);
                self.entry("engineer", SnagClosed { snag: open, cause, action, digest })
            }
            920..932 => {
                let exceedance = ExceedanceNumber(number(self.state.exceedances.len() + 1));
                let limit = self.chance.below(LIMITS);
                self.entry(
                    "crew",
                    ExceedanceNoted {
                        exceedance,
                        run,
                        limit: code(&format!("L-{limit:02}")),
                        point: None,
                        statistic: Statistic::Max,
                        peak: 105.0,
                        duration_s: None,
                    },
                )
            }
            932..944 => {
                let open = self.state.open_exceedances().next();
                let exceedance = open.map_or(ExceedanceNumber(1), |open| open.number);
                if open.is_some_and(|open| open.explained.is_some()) {
                    let digest = Digest::from_bytes([1; 32]);
                    self.entry("safety", ExceedanceClosed { exceedance, digest })
                } else {
                    let (explanation, action) = ("Dust.".to_owned(), "Cleaned.".to_owned());
                    self.entry("engineer", ExceedanceExplained { exceedance, explanation, action })
                }
            }
            944..956 => {
                let (point, part) = (point_code(place), self.chance.of(&PARTS));
                let reasons = "I am not content.".to_owned();
                self.entry("safety", SigningRefused { point, part, reasons })
            }
            956..970 => {
                let (point, part) = (point_code(place), self.chance.of(&PARTS));
                let reason = "Settled.".to_owned();
                self.entry("safety", SignatureWithdrawn { point, part, reason })
            }
            970..975 => {
                let (handle, role) = self.chance.of(&PEOPLE);
                let mut person = person(handle, role);
                if self.chance.below(3) == 0 {
                    person.qualifications.clear();
                }
                self.entry("lead", PersonListed { person })
            }
            975..980 => {
                let mut document = document(self.chance.below(DOCUMENTS), self.now);
                if self.chance.below(3) == 0 {
                    document.reference = None;
                }
                self.entry("lead", DocumentFiled { document })
            }
            980..984 => {
                let account = "It did.".to_owned();
                self.entry("crew", EventHappened { event: code("hard-landing"), account })
            }
            984..986 => self.entry("crew", StandDownCalled { reason: "Smell.".to_owned() }),
            986..989 => self.entry("safety", StandDownLifted { reasons: "Found.".to_owned() }),
            989..991 => {
                let mut policy = policy();
                policy.build_up[0].step.value = self.chance.of(&[5.0, 10.0]);
                self.entry("lead", PolicySet { policy })
            }
            991..993 => {
                let version = self.chance.of(&["1", "2"]);
                self.entry("engineer", self.fitted(self.chance_item(), version))
            }
            993..995 => self.limit_change(),
            995..997 => {
                let cause = self.chance.of(&["Wear.", "Heat."]);
                let hazard = hazard(self.chance.below(HAZARDS), cause);
                self.entry("engineer", HazardRecorded { hazard })
            }
            _ => {
                let hazard = self.chance.below(HAZARDS);
                self.entry("safety", self.risk_accepted(hazard))
            }
        }
    }

    fn chance_item(&self) -> usize {
        usize::try_from(self.state.length()).unwrap() % ITEMS
    }

    /// Agrees to the last proposal where it is open; else proposes.
    fn limit_change(&mut self) -> Entry {
        let proposals = &self.state.limits.proposals;
        let digest = Digest::from_bytes([1; 32]);
        let open = proposals
            .last()
            .filter(|last| matches!(last.fate, programme::state::ProposalFate::Open));
        if let Some(open) = open {
            let proposal = open.number;
            return self.entry("safety", LimitChangeAgreed { proposal, digest });
        }
        let proposal = ProposalNumber(number(proposals.len() + 1));
        let highest = self.chance.of(&[85.0, 100.0, 110.0]);
        let limit = limit(self.chance.below(LIMITS), highest);
        let reason = "Learnt.".to_owned();
        self.entry("engineer", LimitChangeProposed { proposal, limit, reason, digest })
    }
}

const PARTS: [Part; 3] = [Part::PlanApproval {}, Part::Release {}, Part::Acknowledgement {}];
