//! Completed hours: what the closed runs add up to, by phase, configuration and person, and what is still to go.
//!
//! How minutes are cut: each moment is cut to its minute, its seconds dropped, and whole minutes are counted from one
//! cut moment to the other, as log books do. This is common practice; there is no source for it. Because every moment
//! is cut in the same way, taxi and airborne minutes of a run are always exactly its block minutes.
//!
//! Every total is exactly the sum of its rows. A closed run whose moments are not all known is listed and not counted:
//! unknown time is not counted as time, and not as none.

mod incomplete;
mod sums;
mod table;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;

pub use incomplete::IncompleteRun;
pub use sums::{HoursTotals, TotalToGo};
pub use table::runs_csv;

use crate::card::Fitted;
use crate::codes::{ItemCode, PersonHandle, ProgrammeId, RunNumber};
use crate::nouns::Phase;
use crate::record::{CrewMember, Digest, RunKind};
use crate::state::{EnergyReading, Run, State};

/// How the minutes below are cut, for readers of the export.
const HOW_MINUTES_ARE_CUT: &str = "Each moment is cut to its minute, its seconds dropped, and whole minutes are counted \
    from one to the other; taxi is block less airborne. Common practice, no source.";

/// So many hexadecimal digits of a digest are enough to tell a programme's configurations apart by eye.
const SHORT_DIGITS: usize = 12;

/// All that the closed runs of a programme add up to.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct CompletedHours {
    /// The programme; absent while it is not founded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub programme: Option<ProgrammeId>,
    /// What the programme is called.
    pub title: String,
    /// How many records of the ledger this was counted from.
    pub records: u64,
    /// How the minutes are cut, in a sentence.
    pub how_minutes_are_cut: &'static str,
    /// One row for each closed run whose moments are all known, by number.
    pub runs: Vec<RunHours>,
    /// The sum of all rows.
    pub totals: HoursTotals,
    /// The sums by phase: all five, in order.
    pub by_phase: Vec<PhaseHours>,
    /// The sums by what was fitted, in the order in which each configuration first ran.
    pub by_configuration: Vec<ConfigurationHours>,
    /// The sums by person, by handle: everybody who was of the crew of a counted run.
    pub by_person: Vec<PersonHours>,
    /// Closed runs that are not counted, and what is missing.
    pub incomplete: Vec<IncompleteRun>,
    /// Runs that are not closed, and therefore not counted yet.
    pub open: Vec<RunNumber>,
    /// How often times were corrected, over counted and incomplete runs. What is counted are the corrected times.
    pub time_corrections: u32,
    /// What the programme requires, how much of it is done, and how much is still to go.
    pub to_go: Vec<TotalToGo>,
}

/// What one closed run counts.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct RunHours {
    /// Which run.
    pub run: RunNumber,
    /// The day, in UTC, on which power was switched on.
    pub date: NaiveDate,
    /// Ground run, taxi run or flight.
    pub kind: RunKind,
    /// The phase of its points.
    pub phase: Phase,
    /// What was fitted when it was opened.
    pub configuration: ConfigurationDigest,
    /// Who was there, in which role, and who was on board.
    pub crew: Vec<CrewMember>,
    /// When the high-voltage system was switched on.
    pub power_on: DateTime<Utc>,
    /// When it was switched off.
    pub power_off: DateTime<Utc>,
    /// When the aircraft began to move; absent where it did not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub off_blocks: Option<DateTime<Utc>>,
    /// When it came to rest; absent where it did not move.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on_blocks: Option<DateTime<Utc>>,
    /// Whole minutes under power.
    pub powered_minutes: u32,
    /// Whole minutes moving on the ground: block less airborne.
    pub taxi_minutes: u32,
    /// Whole minutes in the air.
    pub airborne_minutes: u32,
    /// Whole minutes from off blocks to on blocks; 0 where it did not move.
    pub block_minutes: u32,
    /// Landings; each touch-and-go is one.
    pub landings: u32,
    /// Energy out of the pack, in watt-hours: the difference of the counter's readings, each rounded to the watt-hour.
    /// Absent where the counter was not read both before and after, or the readings contradict each other.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub energy_wh: Option<u64>,
    /// How often its times were corrected.
    pub time_corrections: u32,
}

/// Names what was fitted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct ConfigurationDigest {
    /// SHA-256 of the RFC 8785 form of the fitted items and their versions.
    pub digest: Digest,
    /// Its first 12 digits, for people.
    pub short: String,
}

impl ConfigurationDigest {
    /// The name of what is fitted.
    pub fn of(fitted: &Fitted) -> Self {
        let digest =
            Digest::of(fitted).expect("a map of texts to texts always has an RFC 8785 form");
        let short = digest.to_string().chars().take(SHORT_DIGITS).collect();
        Self { digest, short }
    }
}

/// What runs of one phase add up to.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct PhaseHours {
    /// The phase.
    pub phase: Phase,
    /// The sum of its rows.
    pub totals: HoursTotals,
}

/// What runs of one configuration add up to.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct ConfigurationHours {
    /// Names it.
    pub configuration: ConfigurationDigest,
    /// The items that were fitted, and their versions.
    pub items: BTreeMap<ItemCode, String>,
    /// The sum of its rows.
    pub totals: HoursTotals,
}

/// What the runs of one person add up to.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct PersonHours {
    /// Who.
    pub person: PersonHandle,
    /// Their name; absent where nobody of that handle is listed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The sum of the rows of whose crew they were, on board or not.
    pub totals: HoursTotals,
    /// The sum of those rows in which they were on board.
    pub on_board: HoursTotals,
}

/// What the closed runs add up to, with the times as they hold now: a correction counts, and how many there were is
/// told.
///
/// A run is counted once it is closed and all its moments are known. Power on and power off always belong to it; off
/// and on blocks do where it is a taxi run or a flight or has moved; a take-off does where it is a flight. A run that
/// was knocked off may have ended before it moved or left the ground. So a ground run that stayed on the spot counts its
/// powered minutes and itself, and no block minutes.
pub fn completed(state: &State) -> CompletedHours {
    let mut configurations = Configurations::default();
    let mut runs = Vec::new();
    let mut incomplete = Vec::new();
    let mut open = Vec::new();
    for run in &state.runs {
        if run.closed.is_none() {
            open.push(run.number);
            continue;
        }
        match row(run, &mut configurations) {
            Some(row) => runs.push(row),
            None => incomplete.push(IncompleteRun::of(run)),
        }
    }
    let corrected = runs.iter().map(|row| row.time_corrections);
    let time_corrections = corrected.chain(incomplete.iter().map(|run| run.time_corrections)).sum();
    CompletedHours {
        programme: state.id.clone(),
        title: state.title.clone(),
        records: state.length(),
        how_minutes_are_cut: HOW_MINUTES_ARE_CUT,
        totals: HoursTotals::of(&runs),
        by_phase: sums::by_phase(&runs),
        by_configuration: sums::by_configuration(&runs, &configurations),
        by_person: sums::by_person(&runs, state),
        to_go: sums::to_go(&runs, state),
        runs,
        incomplete,
        open,
        time_corrections,
    }
}

/// The row of a run; absent where one of its moments is not known, or they cannot have been so.
fn row(run: &Run, configurations: &mut Configurations) -> Option<RunHours> {
    if !incomplete::missing(run).is_empty() || !incomplete::out_of_order(&run.times).is_empty() {
        return None;
    }
    let (power_on, power_off) = (run.times.power_on?, run.times.power_off?);
    let moved = run.times.off_blocks.is_some();
    let (block_minutes, taxi_minutes) =
        if moved { (run.block_minutes()?, run.taxi_minutes()?) } else { (0, 0) };
    Some(RunHours {
        run: run.number,
        date: power_on.date_naive(),
        kind: run.what,
        phase: run.phase,
        configuration: configurations.named(run),
        crew: run.crew.clone(),
        power_on,
        power_off,
        off_blocks: run.times.off_blocks,
        on_blocks: run.times.on_blocks,
        powered_minutes: run.powered_minutes()?,
        taxi_minutes,
        airborne_minutes: run.airborne_minutes()?,
        block_minutes,
        landings: count(&run.times.landings),
        energy_wh: energy_wh(run.before.as_ref(), run.after.as_ref()),
        time_corrections: count(&run.corrections),
    })
}

/// Each reading is rounded to the watt-hour before one is taken from the other, so that runs that follow each other
/// add up to exactly what the counter shows.
fn energy_wh(before: Option<&EnergyReading>, after: Option<&EnergyReading>) -> Option<u64> {
    let whole_wh = |reading: Option<&EnergyReading>| {
        let wh = (reading?.energy_counter_kwh? * 1000.0).round();
        // Up to 2^53 every whole number has a figure of its own; beyond it, or not a number, nothing is known.
        (0.0..=9_007_199_254_740_992.0).contains(&wh).then_some(wh as u64)
    };
    whole_wh(after)?.checked_sub(whole_wh(before)?)
}

fn count<T>(things: &[T]) -> u32 {
    u32::try_from(things.len()).unwrap_or(u32::MAX)
}

/// The configurations that ran, each with its name, in the order in which they first did.
#[derive(Debug, Default)]
struct Configurations {
    names: BTreeMap<std::sync::Arc<Fitted>, ConfigurationDigest>,
    in_order: Vec<std::sync::Arc<Fitted>>,
}

impl Configurations {
    fn named(&mut self, run: &Run) -> ConfigurationDigest {
        let fitted = run.fitted();
        if let Some(known) = self.names.get(&fitted) {
            return known.clone();
        }
        let name = ConfigurationDigest::of(&fitted);
        self.names.insert(std::sync::Arc::clone(&fitted), name.clone());
        self.in_order.push(fitted);
        name
    }

    fn each(&self) -> impl Iterator<Item = (&Fitted, &ConfigurationDigest)> {
        self.in_order.iter().filter_map(|fitted| Some((&**fitted, self.names.get(fitted)?)))
    }
}
