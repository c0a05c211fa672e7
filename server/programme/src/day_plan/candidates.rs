//! Which points a day can be planned with: those that are open, and those that only what is done on the day holds.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::codes::PointCode;
use crate::holds::{self, CheckFault, NotShown, Prerequisite, Reason, ReleaseFault, WeatherFault};
use crate::nouns::{Point, Role};
use crate::state::{Rung, State};

/// Something that somebody has to do on the day before a point can be run.
#[derive(
    Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema,
)]
#[serde(deny_unknown_fields)]
pub struct Need {
    /// What is to be done, in a sentence.
    pub what: String,
    /// For whom it is.
    pub who: Vec<Role>,
}

/// A point that is not planned, and what holds it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LeftOut {
    /// The point.
    pub point: PointCode,
    /// Everything that holds it and that nothing on the day would clear, in sentences.
    pub because: Vec<String>,
}

/// A point that can be planned.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Open {
    pub point: Arc<Point>,
    /// What has to be done before.
    pub needs: BTreeSet<Need>,
    /// Points of the day that have to be accepted before.
    pub after: Vec<PointCode>,
    /// Its release is good from then on only.
    pub not_before: Option<DateTime<Utc>>,
}

/// What would clear a reason on the day.
enum Clears {
    /// A signature, a check, an observation.
    Done(Need),
    /// A release that is good from then on, or another one.
    From(DateTime<Utc>),
    /// Another point, shown before.
    Point(PointCode),
    /// Nothing that can be counted on: work, decisions of others, time, or luck.
    Nothing,
}

fn clears(reason: &Reason, rung: &Rung, state: &State) -> Clears {
    let done = |who: &[Role]| {
        Clears::Done(Need { what: reason.told(rung, state).clears, who: who.to_vec() })
    };
    match reason {
        Reason::Release(ReleaseFault::NotYet(from)) => Clears::From(*from),
        Reason::Release(
            ReleaseFault::Missing
            | ReleaseFault::UsedUp
            | ReleaseFault::PlanChanged { .. }
            | ReleaseFault::ConfigurationChanged { .. }
            | ReleaseFault::Expired(_),
        ) => done(&[Role::Safety]),
        Reason::Release(ReleaseFault::Unacknowledged | ReleaseFault::AcknowledgedBefore) => {
            done(&[Role::Pilot])
        }
        Reason::Check(check) => match check.fault {
            CheckFault::NeverPassed | CheckFault::Overdue { .. } | CheckFault::HoursUnknown(_) => {
                let known = state.checks.by_code.get(&check.check);
                done(known.map_or(&[][..], |known| known.check.by.as_slice()))
            }
            // A failure stands until what failed is mended, and nobody knows when that is.
            CheckFault::Failed | CheckFault::Unknown => Clears::Nothing,
        },
        Reason::Weather(
            WeatherFault::NotObserved | WeatherFault::TooOld { .. } | WeatherFault::Unknown(_),
        ) => done(&[Role::Crew, Role::Pilot, Role::Lead]),
        Reason::Prerequisite(Prerequisite { point, because }) => match because {
            NotShown::NoResult
            | NotShown::NotMet(_)
            | NotShown::Lapsed(_)
            | NotShown::SetAside(_) => Clears::Point(point.clone()),
            NotShown::Waiting(_) | NotShown::Unknown | NotShown::Dropped => Clears::Nothing,
        },
        // Only time would clear it.
        Reason::Weather(WeatherFault::Outside { .. })
        // A plan is approved, and paper obtained, before a day is planned with it.
        | Reason::Plan(_)
        | Reason::Policy(_)
        | Reason::Hazard(_)
        | Reason::Document(_)
        | Reason::Refused(_)
        | Reason::Crew(_)
        // Somebody looks into the clock.
        | Reason::Clock(_)
        // Work on the aircraft, an explanation, or another point first that nobody has planned.
        | Reason::Configuration(_)
        | Reason::Quarantined(_)
        | Reason::OpenExceedance(_)
        | Reason::Heating(_)
        | Reason::Snag(_)
        | Reason::BuildUp(_)
        | Reason::BadResult(_)
        | Reason::BeyondDesign(_)
        | Reason::Coupled(_)
        // What is predicted changes with what is recorded and judged, not with the day.
        | Reason::PredictedLimit(_)
        | Reason::PredictedReserve(_)
        | Reason::PredictionMissing(_)
        | Reason::ModelNeedsReview(_)
        | Reason::DampingStep(_)
        | Reason::StandDown(_) => Clears::Nothing,
    }
}

/// The points that a day can be planned with, in the ladder's order, and those that it cannot.
///
/// What holds is looked at for both ends of the window: what lapses in between holds the whole day. `window` are its ends,
/// and `without` are points that are not to be run.
pub(super) fn open(
    state: &State,
    window: [DateTime<Utc>; 2],
    without: &BTreeSet<PointCode>,
) -> (Vec<Open>, Vec<LeftOut>) {
    let mut open: Vec<Open> = Vec::new();
    let mut because: BTreeMap<PointCode, Vec<String>> = BTreeMap::new();
    let to_be_shown = state
        .ladder
        .rungs()
        .iter()
        .filter(|rung| rung.dropped.is_none() && state.accepted_result_of(rung).is_none());
    for rung in to_be_shown {
        let mut found = Open {
            point: Arc::clone(&rung.point),
            needs: BTreeSet::new(),
            after: Vec::new(),
            not_before: None,
        };
        let mut held: Vec<String> = Vec::new();
        if without.contains(&rung.point.code) {
            held.push("Whoever asked for the plan wants it left out.".to_owned());
        }
        for at in window {
            for reason in holds::reasons(state, rung, at) {
                match clears(&reason, rung, state) {
                    Clears::Done(need) => {
                        found.needs.insert(need);
                    }
                    Clears::From(from) => found.not_before = found.not_before.max(Some(from)),
                    Clears::Point(point) if !found.after.contains(&point) => {
                        found.after.push(point)
                    }
                    Clears::Point(_) => {}
                    Clears::Nothing => {
                        let why = reason.told(rung, state).why;
                        if !held.contains(&why) {
                            held.push(why);
                        }
                    }
                }
            }
        }
        if held.is_empty() {
            open.push(found);
        } else {
            because.insert(rung.point.code.clone(), held);
        }
    }
    // What waits for a point that cannot be planned cannot be either, and so on up the ladder.
    loop {
        let codes: BTreeSet<PointCode> = open.iter().map(|it| it.point.code.clone()).collect();
        let before = open.len();
        open.retain(|it| {
            let missing: Vec<_> = it.after.iter().filter(|code| !codes.contains(*code)).collect();
            for code in &missing {
                let why = format!("{code} must come before, and cannot be planned for the day.");
                because.entry(it.point.code.clone()).or_default().push(why);
            }
            missing.is_empty()
        });
        if open.len() == before {
            break;
        }
    }
    let left_out = because.into_iter().map(|(point, because)| LeftOut { point, because }).collect();
    (open, left_out)
}
