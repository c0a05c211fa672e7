//! Plans the rest of a day anew, from where it stands.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::terms::DayTerms;
use crate::codes::PointCode;
use crate::refusal::Fault;
use crate::state::{ProposedDay, Run, State};

/// What a person gives to have the rest of a day planned anew.
#[derive(Debug, Clone, PartialEq, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AgainTerms {
    /// From when on.
    pub from: DateTime<Utc>,
    /// Charge state of the pack then, 0 to 1, as somebody read it.
    pub state: f64,
    /// Charge state of the battery on the ground, where there is one; absent: as the plan expected it.
    #[serde(default)]
    pub ground_state: Option<f64>,
    /// Temperatures of parts then, by name, in degrees Celsius; of those left out, as the plan expected them.
    #[serde(default)]
    pub parts_c: BTreeMap<String, f64>,
    /// Points that were not met, or that are not to be run for another reason.
    #[serde(default)]
    pub without: BTreeSet<PointCode>,
}

/// The terms of the rest of a day: those of its plan, from where the day stands.
///
/// Runs that were opened since the day began count against the most runs, and their minutes under power against those of
/// the people on board. What was taken out of the day before stays out of it.
///
/// # Errors
///
/// Every fault of what was given.
pub fn rest_of_day(
    state: &State,
    planned: &ProposedDay,
    given: &AgainTerms,
) -> Result<DayTerms, Vec<Fault>> {
    let mut terms = planned.terms.clone();
    let mut faults = Vec::new();
    if !(terms.from <= given.from && given.from < terms.to) {
        let why = format!("is outside the planned window from {} to {}", terms.from, terms.to);
        faults.push(Fault::at("from", why));
    }
    for name in given.parts_c.keys() {
        if !terms.parts.iter().any(|part| part.name == *name) {
            let why = "is for no part of the plan; take the names of its parts";
            faults.push(Fault::at(format!("parts_c.{name}"), why));
        }
    }
    let made: Vec<&Run> = state
        .runs
        .iter()
        .filter(|run| terms.from <= run.opened_at && run.opened_at <= given.from)
        .collect();
    let left = terms.most_runs.saturating_sub(u32::try_from(made.len()).unwrap_or(u32::MAX));
    if left == 0 {
        let why = format!(
            "leaves no run: {} of {} were made, so that the day is over",
            made.len(),
            terms.most_runs
        );
        faults.push(Fault::at("from", why));
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let expected = planned.day.over_the_day.iter().rev().find(|moment| moment.at <= given.from);
    for (place, part) in terms.parts.iter_mut().enumerate() {
        let expected_c = expected.and_then(|moment| moment.parts_c.get(place)).copied();
        part.begins_c =
            given.parts_c.get(&part.name).copied().or(expected_c).unwrap_or(part.begins_c);
    }
    if let Some(ground) = &mut terms.charging.ground_battery {
        let expected = expected.map(|moment| moment.ground_battery_kwh / ground.usable_kwh);
        ground.state = given.ground_state.or(expected).unwrap_or(ground.state);
    }
    for member in &mut terms.crew {
        let Some(most_min) = &mut member.most_on_board_min else { continue };
        let on_board = made.iter().filter(|run| {
            run.crew.iter().any(|seat| seat.on_board && seat.person == member.person)
        });
        let spent_min: u32 = on_board.filter_map(|run| run.powered_minutes()).sum();
        *most_min = (*most_min - f64::from(spent_min)).max(0.0);
    }
    terms.from = given.from;
    terms.pack.state = given.state;
    terms.most_runs = left;
    terms.without.extend(given.without.iter().cloned());
    Ok(terms)
}
