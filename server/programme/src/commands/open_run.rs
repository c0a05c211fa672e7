//! Opens a run: points of one phase that nothing holds, and a crew that fits them.

use serde::Deserialize;

use super::given::{Given, one};
use super::held::unless_held;
use super::{Command, Stamp, crew};
use crate::codes::{PointCode, RunNumber};
use crate::entry::Draft;
use crate::holds::{self, Hold, Stage, Subject};
use crate::people::Act;
use crate::prediction::predictions;
use crate::record::{CrewMember, KeptPrediction, PredictionsMade, RunKind, RunOpened};
use crate::refusal::{Fault, Refusal};
use crate::state::{Rung, State};

/// What a person gives to open a run.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RunTerms {
    /// Points in the order planned, all of one phase.
    pub points: Vec<PointCode>,
    /// Who is there, in which role, and who is on board.
    pub crew: Vec<CrewMember>,
}

/// Asks for a run to be opened.
#[derive(Debug, Clone)]
pub struct OpenRun {
    /// What was given.
    pub terms: RunTerms,
}

impl Command for OpenRun {
    fn act(&self) -> Act {
        Act::ConductRuns
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let RunTerms { points, crew } = &self.terms;
        let (rungs, mut faults) = rungs(points, state);
        faults.extend(crew::faults(crew, state));
        Given::new(state, stamp).faults(faults).settled()?;
        let mut holds: Vec<Hold> = open_run(state).into_iter().collect();
        for rung in &rungs {
            let of_point = holds::against(state, rung, stamp.now, Stage::Run);
            for hold in of_point.into_iter().chain(crew::against(crew, rung, state, stamp.now)) {
                // What holds the whole programme is told once, not once a point.
                if !holds.contains(&hold) {
                    holds.push(hold);
                }
            }
        }
        unless_held(holds)?;
        let Some(first) = rungs.first() else { return Ok(Vec::new()) };
        let run = next_run(state);
        let mut drafts = one(RunOpened {
            run,
            what: RunKind::of_phase(first.point.phase),
            points: points.clone(),
            crew: crew.clone(),
        });
        let predictions = predicted(&rungs, state, stamp);
        if !predictions.is_empty() {
            drafts.extend(one(PredictionsMade { run, predictions }));
        }
        Ok(drafts)
    }
}

/// The rungs, and what is wrong with the list: nothing in it, strangers, repeats, several phases.
fn rungs<'a>(points: &[PointCode], state: &'a State) -> (Vec<&'a Rung>, Vec<Fault>) {
    let mut faults = Vec::new();
    let mut rungs: Vec<&Rung> = Vec::new();
    if points.is_empty() {
        faults.push(Fault::at("points", "must name at least one"));
    }
    for (place, code) in points.iter().enumerate() {
        let at = format!("points[{place}]");
        if points[..place].contains(code) {
            faults.push(Fault::at(at, format!("{code} is named twice")));
            continue;
        }
        let Some(rung) = state.rung(code) else {
            faults.push(Fault::at(at, format!("there is no point {code}")));
            continue;
        };
        if let Some(first) = rungs.first().filter(|first| first.point.phase != rung.point.phase) {
            let (is, was) = (rung.point.phase, first.point.phase);
            let why = format!(
                "{code} is of the phase {is}, and {} of {was}: a run has one phase",
                first.point.code
            );
            faults.push(Fault::at(at, why));
        }
        rungs.push(rung);
    }
    (rungs, faults)
}

/// What is predicted for each point, kept so that it can be held against what the run shows.
fn predicted(rungs: &[&Rung], state: &State, stamp: &Stamp) -> Vec<KeptPrediction> {
    let of_point = |rung: &&Rung| {
        let made = predictions(state, &rung.point, stamp.now).made.into_iter();
        made.map(|it| it.kept(&rung.point)).collect::<Vec<_>>()
    };
    rungs.iter().flat_map(of_point).collect()
}

fn open_run(state: &State) -> Option<Hold> {
    let run = state.open_run()?.number;
    Some(Hold {
        rule: "run-open",
        subject: Subject { what: "run", code: run.to_string() },
        why: format!("Run {run} is open, and the aircraft can be in one run only."),
        clears: format!("Run {run} is closed."),
        source: "Rungbook rule: one run at a time".to_owned(),
        stage: Stage::Run,
    })
}

fn next_run(state: &State) -> RunNumber {
    RunNumber(u32::try_from(state.runs.len()).unwrap_or(u32::MAX).saturating_add(1))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeDelta;

    use super::*;
    use crate::commands::asked::{faults, held, no_permission, rules};
    use crate::nouns::{CrewSeat, HeldQualification, Phase, Role};
    use crate::record::PersonListed;
    use crate::story::{Story, code, person, point};

    fn member(name: &str, role: Role, on_board: bool) -> CrewMember {
        CrewMember { person: code(name), role, on_board }
    }

    fn run(points: &[&str], crew: Vec<CrewMember>) -> OpenRun {
        let points = points.iter().map(|name| code(name)).collect();
        OpenRun { terms: RunTerms { points, crew } }
    }

    fn alone() -> Vec<CrewMember> {
        vec![member("pilot", Role::Pilot, true)]
    }

    fn released() -> Story {
        let mut story = Story::team();
        story.release("A").acknowledge("A");
        story
    }

    #[test]
    fn a_run_is_opened_with_released_and_acknowledged_points() {
        let mut story = released();
        story.when("lead", &run(&["A"], alone())).unwrap();
        let opened = story.state.open_run().unwrap();
        assert_eq!((opened.number, opened.what), (RunNumber(1), RunKind::GroundRun));
    }

    #[test]
    fn a_run_is_refused_with_all_holds_of_all_points_and_of_the_crew() {
        let mut story = released();
        story.plan(point("B")).stand_down();
        let crew = vec![member("pilot", Role::Pilot, false)];
        let found = rules(story.when("lead", &run(&["A", "B"], crew)));
        let count = |rule| found.iter().filter(|found| **found == rule).count();
        assert_eq!(count("stand-down"), 1, "{found:?}");
        assert_eq!(count("plan-not-approved"), 1, "{found:?}");
        assert_eq!(count("release-missing"), 1, "{found:?}");
        assert_eq!(count("crew-seat-empty"), 2, "{found:?}");
    }

    #[test]
    fn there_is_one_run_at_a_time() {
        let mut story = released();
        story.open_run(&["A"]);
        assert!(rules(story.when("lead", &run(&["A"], alone()))).contains(&"run-open"));
    }

    #[test]
    fn a_run_has_points_of_one_phase_each_once() {
        let mut story = released();
        let mut taxi = point("T");
        taxi.phase = Phase::Taxi;
        story.plan(taxi);
        let places = |points: &[&str]| faults(story.clone().when("lead", &run(points, alone())));
        assert_eq!(places(&[]), ["points"]);
        assert_eq!(places(&["A", "T"]), ["points[1]"]);
        assert_eq!(places(&["A", "A", "Z"]), ["points[1]", "points[2]"]);
    }

    #[test]
    fn a_crew_is_of_listed_people_in_roles_that_they_have() {
        let mut story = released();
        let crew = vec![
            member("pilot", Role::Pilot, true),
            member("pilot", Role::Lead, false),
            member("ghost", Role::Crew, false),
            member("viewer", Role::Viewer, false),
        ];
        assert_eq!(
            faults(story.when("lead", &run(&["A"], crew))),
            ["crew[1].person", "crew[1].role", "crew[2].person", "crew[3].role"]
        );
        assert_eq!(faults(story.when("lead", &run(&["A"], vec![]))), ["crew"]);
    }

    #[test]
    fn a_lapsed_medical_of_the_pilot_who_is_there_holds_the_run() {
        let mut story = released();
        // Another pilot has a good medical, so that nothing but the crew of this run is wrong.
        story.record("lead", PersonListed { person: person("second", Role::Pilot) });
        let mut pilot = person("pilot", Role::Pilot);
        let expires = Some(story.now + TimeDelta::minutes(1));
        pilot.qualifications = vec![HeldQualification { code: code("medical"), expires }];
        story.record("lead", PersonListed { person: pilot });
        story.clone().when("lead", &run(&["A"], alone())).unwrap();
        story.later(TimeDelta::minutes(1));
        let holds = held(story.when("lead", &run(&["A"], alone())));
        assert_eq!(holds[0].rule, "crew-seat-empty");
        assert!(holds[0].why.contains("medical of pilot lapsed"), "{}", holds[0].why);
    }

    #[test]
    fn no_more_are_on_board_than_plan_and_aircraft_allow() {
        let mut story = released();
        let crew = vec![
            member("pilot", Role::Pilot, true),
            member("engineer", Role::Engineer, true),
            member("crew", Role::Crew, true),
        ];
        assert_eq!(
            rules(story.when("lead", &run(&["A"], crew))),
            ["crew-too-many-on-board", "crew-more-than-seats"]
        );
    }

    #[test]
    fn people_move_between_seats_until_all_are_filled() {
        let mut story = Story::team();
        let mut plan = point("A");
        let seat = |qualifications: &[&str]| CrewSeat {
            role: Role::Crew,
            count: 1,
            on_board: false,
            qualifications: qualifications.iter().map(|name| code(name)).collect(),
        };
        plan.crew.extend([seat(&[]), seat(&["fire"])]);
        story.plan(plan);
        let mut trained = person("trained", Role::Crew);
        trained.qualifications.push(HeldQualification { code: code("fire"), expires: None });
        story.record("lead", PersonListed { person: trained });
        story.approve("A").release("A").acknowledge("A");
        let mut crew = alone();
        crew.push(member("trained", Role::Crew, false));
        assert_eq!(rules(story.when("lead", &run(&["A"], crew.clone()))), ["crew-seat-empty"]);
        crew.push(member("crew", Role::Crew, false));
        story.when("lead", &run(&["A"], crew)).unwrap();
    }

    #[test]
    fn the_pilot_who_runs_a_point_has_acknowledged_its_card() {
        let mut story = released();
        story.record("lead", PersonListed { person: person("second", Role::Pilot) });
        let crew = vec![member("second", Role::Pilot, true)];
        assert_eq!(rules(story.when("lead", &run(&["A"], crew))), ["acknowledged-by-another"]);
    }

    #[test]
    fn neither_safety_officer_nor_inspector_opens_runs() {
        let mut story = released();
        no_permission(&mut story, &run(&["A"], alone()), &["safety", "viewer"]);
    }
}
