//! Sums of rows: overall, by phase, by configuration, by person, and against what the programme requires.

use std::collections::BTreeMap;

use serde::Serialize;

use super::{ConfigurationHours, Configurations, PersonHours, PhaseHours, RunHours};
use crate::codes::PersonHandle;
use crate::nouns::{Phase, RequiredTotal, Total};
use crate::state::State;

/// A sum of rows.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct HoursTotals {
    /// Runs.
    pub runs: u64,
    /// Whole minutes under power.
    pub powered_minutes: u64,
    /// Whole minutes moving on the ground.
    pub taxi_minutes: u64,
    /// Whole minutes in the air.
    pub airborne_minutes: u64,
    /// Whole minutes from off blocks to on blocks.
    pub block_minutes: u64,
    /// Landings.
    pub landings: u64,
    /// Energy out of the pack, in watt-hours, over the runs whose energy is known.
    pub energy_wh: u64,
    /// Runs whose energy is known; the energy of the others is in no sum.
    pub runs_with_energy: u64,
}

impl HoursTotals {
    /// The sum of some rows.
    pub fn of<'a>(rows: impl IntoIterator<Item = &'a RunHours>) -> Self {
        let mut totals = Self::default();
        for row in rows {
            totals.add(row);
        }
        totals
    }

    fn add(&mut self, row: &RunHours) {
        self.runs += 1;
        self.powered_minutes += u64::from(row.powered_minutes);
        self.taxi_minutes += u64::from(row.taxi_minutes);
        self.airborne_minutes += u64::from(row.airborne_minutes);
        self.block_minutes += u64::from(row.block_minutes);
        self.landings += u64::from(row.landings);
        if let Some(energy_wh) = row.energy_wh {
            self.energy_wh += energy_wh;
            self.runs_with_energy += 1;
        }
    }

    /// How much of a total there is, in minutes or in number.
    pub const fn of_total(&self, total: Total) -> u64 {
        match total {
            Total::PoweredMinutes => self.powered_minutes,
            Total::TaxiMinutes => self.taxi_minutes,
            Total::AirborneMinutes => self.airborne_minutes,
            Total::BlockMinutes => self.block_minutes,
            Total::Landings => self.landings,
            Total::Runs => self.runs,
        }
    }
}

/// A total that the programme must reach, and how far it has come. Figures are minutes or numbers, as `total` says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct TotalToGo {
    /// What is counted.
    pub total: Total,
    /// Counted in these phases only; none: in all.
    pub phases: Vec<Phase>,
    /// How much must be reached.
    pub required: u64,
    /// How much is done; only counted runs are in it.
    pub done: u64,
    /// How much is still to go; 0 once as much as required is done.
    pub remaining: u64,
    /// Who asks for it.
    pub source: String,
}

pub(super) fn by_phase(rows: &[RunHours]) -> Vec<PhaseHours> {
    let of = |phase| HoursTotals::of(rows.iter().filter(|row| row.phase == phase));
    Phase::ALL.into_iter().map(|phase| PhaseHours { phase, totals: of(phase) }).collect()
}

pub(super) fn by_configuration(
    rows: &[RunHours],
    configurations: &Configurations,
) -> Vec<ConfigurationHours> {
    configurations
        .each()
        .map(|(fitted, configuration)| ConfigurationHours {
            configuration: configuration.clone(),
            items: fitted.clone(),
            totals: HoursTotals::of(rows.iter().filter(|row| row.configuration == *configuration)),
        })
        .collect()
}

/// Somebody who has two seats in a run, such as pilot and lead, was there once.
pub(super) fn by_person(rows: &[RunHours], state: &State) -> Vec<PersonHours> {
    let mut sums: BTreeMap<&PersonHandle, (HoursTotals, HoursTotals)> = BTreeMap::new();
    for row in rows {
        let mut there: BTreeMap<&PersonHandle, bool> = BTreeMap::new();
        for member in &row.crew {
            *there.entry(&member.person).or_default() |= member.on_board;
        }
        for (person, is_on_board) in there {
            let (totals, on_board) = sums.entry(person).or_default();
            totals.add(row);
            if is_on_board {
                on_board.add(row);
            }
        }
    }
    sums.into_iter()
        .map(|(person, (totals, on_board))| PersonHours {
            person: person.clone(),
            name: state.people.get(person).map(|listed| listed.name.clone()),
            totals,
            on_board,
        })
        .collect()
}

pub(super) fn to_go(rows: &[RunHours], state: &State) -> Vec<TotalToGo> {
    let required = state.policy.iter().flat_map(|policy| &policy.required_totals);
    required
        .map(|RequiredTotal { total, at_least, phases, source }| {
            let counted =
                rows.iter().filter(|row| phases.is_empty() || phases.contains(&row.phase));
            let done = HoursTotals::of(counted).of_total(*total);
            let required = u64::from(*at_least);
            TotalToGo {
                total: *total,
                phases: phases.clone(),
                required,
                done,
                remaining: required.saturating_sub(done),
                source: source.clone(),
            }
        })
        .collect()
}
