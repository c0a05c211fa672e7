//! What the demonstration's past has come to.

use std::collections::{BTreeMap, BTreeSet};

use chrono::TimeDelta;

use super::*;
use crate::board::Board;
use crate::codes::PointCode;
use crate::commands::{self, Acceptance, Command, decide, digests};
use crate::holds::{self, Hold};
use crate::record::{CrewMember, RunEvent};
use crate::state::{Lapse, Rung, Standing};

/// Rules that the demonstration cannot show beside the others, each with why. Each is tested where it is written.
const NOT_SEEN: &[(&str, &str)] = &[
    ("stand-down", "would hold everything"),
    ("clock-behind", "would hold everything"),
    ("policy-not-set", "would hold everything"),
    ("configuration-unknown", "would hold everything"),
    ("risk-matrix-missing", "would hold everything"),
    ("crew-seats-unknown", "would hold everything"),
    ("weather-not-observed", "the weather was observed"),
    ("weather-too-old", "the weather was observed just now"),
    ("limit-unknown", "no command plans a point with an unknown limit"),
    ("hazard-unknown", "no command plans a point with an unknown hazard"),
    ("check-unknown", "no command plans a point with an unknown check"),
    ("document-missing", "no command plans a point with an unknown document"),
    ("prerequisite-unknown", "no command plans a point after an unknown one"),
    ("prerequisite-dropped", "no command drops a point that another waits for"),
    ("crew-too-many-on-board", "no command plans more people than seats"),
    ("exceedance-not-noted", "the command that records a result notes its exceedances"),
    ("recording-set-aside", "a story tells no recordings, which come from files"),
    ("target-beyond-design-boundary", "no point is planned beyond what the aircraft is built for"),
    ("coupled-step-too-large", "the policy has no step of two axes at once"),
    ("predicted-beyond-limit", "a story tells no recordings, which come from files"),
    ("prediction-model-needs-review", "no model of the story missed twice"),
    ("heating-order", "a story tells no recordings, which come from files"),
    ("heating-order-unknown", "a story tells no recordings, which come from files"),
];

fn point(code: &str) -> PointCode {
    code.parse().unwrap()
}

fn rung<'a>(state: &'a State, code: &str) -> &'a Rung {
    state.rung(&point(code)).unwrap()
}

fn rules(state: &State, code: &str) -> BTreeSet<&'static str> {
    holds::holds(state, rung(state, code), noon()).into_iter().map(|hold| hold.rule).collect()
}

fn accepted(state: &State) -> Vec<&str> {
    let standing = state.ladder.rungs().iter();
    let accepted = standing.filter(|rung| state.accepted_result_of(rung).is_some());
    accepted.map(|rung| rung.point.code.as_str()).collect()
}

#[test]
fn every_rule_that_can_be_seen_beside_the_others_holds_a_point_of_the_demonstration() {
    let (state, _) = played(noon());
    let mut seen: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for rung in state.ladder.rungs() {
        for Hold { rule, .. } in holds::holds(&state, rung, noon()) {
            seen.entry(rule).or_default().push(rung.point.code.as_str());
        }
    }
    let all: BTreeSet<_> = holds::reference().map(|(_, rule)| rule.code).collect();
    let not_seen: BTreeSet<_> =
        all.iter().copied().filter(|rule| !seen.contains_key(rule)).collect();
    let expected: BTreeSet<_> = NOT_SEEN.iter().map(|(rule, _)| *rule).collect();
    assert_eq!(not_seen, expected, "{seen:#?}");
}

#[test]
fn about_twenty_points_of_the_demonstration_are_accepted_and_some_lapsed_again() {
    let (state, _) = played(noon());
    assert_eq!(
        accepted(&state),
        [
            "ST-01", "ST-02", "ST-03", "ST-04", "ST-05", "ST-06", "ST-07", "ST-08", "ST-09",
            "GR-01", "GR-02", "GR-03", "GR-04", "GR-05", "GR-07", "GR-09", "GR-12", "TX-01",
            "TX-02",
        ]
    );
    let lapse = |code| {
        let id = *rung(&state, code).results.last().unwrap();
        match &state.results[id.0].standing {
            Standing::Lapsed(lapse) => lapse.clone(),
            other => panic!("{code}: {other:?}"),
        }
    };
    assert!(
        matches!(lapse("GR-08"), Lapse::ItemChanged { item, .. } if item.as_str() == "coolant-pump")
    );
    assert_eq!(lapse("GR-06"), Lapse::LimitChanged);
}

#[test]
fn each_hold_of_the_demonstration_stands_where_its_story_put_it() {
    let (state, _) = played(noon());
    for (code, rule) in [
        ("GR-10", "result-not-met"),
        ("GR-15", "prerequisite-not-met"),
        ("GR-11", "result-incomplete"),
        ("GR-11", "prerequisite-lapsed"),
        ("GR-14", "acceptance-refused"),
        ("GR-08", "release-refused"),
        ("GR-13", "acknowledgement-refused"),
        ("GR-13", "release-plan-changed"),
        ("ST-10", "release-configuration-changed"),
        ("ST-11", "release-not-yet-valid"),
        ("ST-12", "release-expired"),
        ("ST-12", "acknowledgement-older-than-release"),
        ("XW-02", "plan-refused"),
        ("FF-01", "plan-changed-since-approval"),
        ("FF-01", "snag-grounding"),
        ("FF-04", "point-dropped"),
        ("TW-01", "check-failed"),
        ("TW-01", "check-hours-unknown"),
        ("TW-03", "item-not-fitted"),
        ("TW-02", "crew-seat-not-filled"),
        ("TW-02", "residual-risk-not-acceptable"),
        ("CL-03", "document-expired"),
        ("CL-03", "document-not-covering"),
        ("TW-05", "document-not-yet-in-force"),
        ("SP-01", "residual-risk-not-accepted"),
    ] {
        let rules = rules(&state, code);
        assert!(rules.contains(rule), "{code}: {rules:?}");
    }
}

#[test]
fn the_demonstration_has_hours_in_its_log_and_a_limit_waiting_for_the_safety_officer() {
    let (state, _) = played(noon());
    assert_eq!(state.runs.len(), 22);
    assert!(state.open_run().is_none());
    assert!(state.powered_minutes() > 600, "{}", state.powered_minutes());
    let open =
        state.limits.proposals.iter().filter(|it| it.fate == crate::state::ProposalFate::Open);
    assert_eq!(open.count(), 1);
    assert_eq!(state.stand_downs.len(), 1);
    assert!(state.stand_down().is_none());
}

/// A newcomer at the demonstration, who acts as whoever the step asks for.
struct Newcomer {
    state: State,
    now: DateTime<Utc>,
}

impl Newcomer {
    fn does(&mut self, by: &str, command: &impl Command) {
        self.now += TimeDelta::seconds(30);
        let by: PersonHandle = by.parse().unwrap();
        let stamp = Stamp { by: by.clone(), now: self.now };
        let drafts = decide(&self.state, command, &stamp)
            .unwrap_or_else(|refusal| panic!("{}", reasons(&refusal)));
        for draft in drafts {
            let seq = self.state.length() + 1;
            self.state.apply(&Entry::new("tug".parse().unwrap(), seq, self.now, by.clone(), draft));
        }
    }

    fn approves(&mut self, by: &str, code: &str) {
        let digest = digests::plan(&self.state, rung(&self.state, code)).unwrap();
        let terms = commands::ApprovalTerms { digest };
        self.does(by, &commands::ApprovePlan { point: point(code), terms });
    }

    fn releases(&mut self, by: &str, code: &str) {
        let digest = digests::card(&self.state, rung(&self.state, code)).unwrap();
        let valid_until = self.now + TimeDelta::hours(8);
        let terms =
            commands::ReleaseTerms { digest, valid_from: None, valid_until, conditions: None };
        self.does(by, &commands::ReleasePoint { point: point(code), terms });
    }

    fn acknowledges(&mut self, by: &str, code: &str) {
        let rung = rung(&self.state, code);
        let release = &rung.release.as_ref().unwrap().signature.digest;
        let digest = digests::acknowledgement(&self.state, rung, release).unwrap();
        let terms = commands::AcknowledgementTerms { digest };
        self.does(by, &commands::AcknowledgeCard { point: point(code), terms });
    }

    fn opens_a_run(&mut self, by: &str, code: &str, crew: Vec<CrewMember>) {
        let terms = commands::RunTerms { points: vec![point(code)], crew };
        self.does(by, &commands::OpenRun { terms });
        for event in
            [RunEvent::PowerOn, RunEvent::OffBlocks, RunEvent::OnBlocks, RunEvent::PowerOff]
        {
            self.now += TimeDelta::minutes(4);
            let terms = commands::MomentTerms { event, observed_at: None };
            let run = self.state.runs.last().unwrap().number;
            self.does(by, &commands::NoteMoment { run, terms });
        }
        let run = self.state.runs.last().unwrap().number;
        self.does(by, &commands::CloseRun { run, terms: commands::ClosingTerms { debrief: None } });
    }

    fn accepts(&mut self, by: &str, code: &str, acceptance: Acceptance) {
        let run = self.state.runs.last().unwrap().number;
        let (_, result) = self.state.result(run, &point(code)).unwrap();
        let digest = digests::acceptance(&self.state, result).unwrap();
        let terms = commands::AcceptanceTerms { digest };
        self.does(by, &commands::AcceptResult { run, point: point(code), acceptance, terms });
    }

    fn can_be_released(&self) -> Vec<PointCode> {
        Board::new(&self.state, self.now).next(&self.state, self.now).held_for_run
    }
}

/// As the story's beginning tells a newcomer.
#[test]
fn a_newcomer_takes_one_point_of_the_demonstration_from_held_to_accepted_and_the_next_rungs_open() {
    let (state, _) = played(noon());
    let mut newcomer = Newcomer { state, now: noon() };
    assert_eq!(
        rules(&newcomer.state, "TX-03"),
        ["acknowledgement-missing", "plan-not-approved", "release-missing"].into()
    );
    let before = newcomer.can_be_released();
    assert!(!before.contains(&point("TX-05")) && !before.contains(&point("TX-06")), "{before:?}");
    newcomer.approves("tomas", "TX-03");
    newcomer.releases("sofia", "TX-03");
    newcomer.acknowledges("jonas", "TX-03");
    let seats = ["jonas pilot on-board", "tomas engineer", "ruth crew"];
    let crew = seats.map(|seat| words::Seat::try_from(seat.to_owned()).unwrap().0);
    newcomer.opens_a_run("marit", "TX-03", crew.to_vec());
    let readings = [
        "ground_speed max 28.3 kt",
        "brake_distance max 71 m",
        "motor_winding_t_1 max 52 degC",
        "iso_ohm_v min 4050 ohm/V",
    ];
    let values = readings.map(|it| words::Reading::try_from(it.to_owned()).unwrap().0);
    let reached = words::Figure::try_from("28.3 kt".to_owned()).unwrap().0;
    let terms = commands::ResultTerms {
        values: values.to_vec(),
        reached: [(crate::nouns::Axis::Speed, reached)].into(),
        observations: "Straight, rudder works.".to_owned(),
        observed_at: None,
    };
    let run = newcomer.state.runs.last().unwrap().number;
    newcomer.does(
        "marit",
        &commands::RecordResult {
            run,
            point: point("TX-03"),
            terms,
            recorded: Vec::new(),
            expected: Some(0),
        },
    );
    newcomer.accepts("tomas", "TX-03", Acceptance::Engineering);
    newcomer.accepts("sofia", "TX-03", Acceptance::Safety);
    assert!(accepted(&newcomer.state).contains(&"TX-03"));
    let after = newcomer.can_be_released();
    assert!(after.contains(&point("TX-05")) && after.contains(&point("TX-06")), "{after:?}");
    newcomer.releases("sofia", "TX-05");
}

/// A first digest of a story's whole ledger: the same story told from the same moment gives the same records.
#[test]
fn the_same_story_from_the_same_moment_gives_the_same_records() {
    let (_, one) = played(noon());
    let (_, other) = played(noon());
    assert_eq!(one, other);
}
