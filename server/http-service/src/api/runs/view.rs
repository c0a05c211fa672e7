//! What is shown of a run.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use programme::card::Fitted;
use programme::codes::{ExceedanceNumber, PersonHandle, PointCode, RunNumber};
use programme::nouns::Phase;
use programme::record::{CrewMember, RunKind, RunTimes};
use programme::state::{Amendable, EnergyReading, Run, State};
use serde::Serialize;

use crate::api::results::ResultRow;
use crate::desk::Shown;
use crate::problem::Problem;

/// A run in a list.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct RunRow<'a> {
    /// Its number.
    pub run: RunNumber,
    /// Ground run, taxi run or flight.
    pub kind: RunKind,
    /// The phase of its points.
    pub phase: Phase,
    /// Points in the order planned.
    pub points: &'a [PointCode],
    /// When it was opened.
    pub opened_at: DateTime<Utc>,
    /// Whether it is open.
    pub open: bool,
    /// Whether knock-it-off was called.
    pub knocked_off: bool,
    /// Whole minutes under power; absent while a moment is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub powered_minutes: Option<u32>,
    /// Landings.
    pub landings: usize,
}

impl<'a> From<&'a Run> for RunRow<'a> {
    fn from(run: &'a Run) -> Self {
        Self {
            run: run.number,
            kind: run.what,
            phase: run.phase,
            points: &run.points,
            opened_at: run.opened_at,
            open: run.closed.is_none(),
            knocked_off: run.knocked_off.is_some(),
            powered_minutes: run.powered_minutes(),
            landings: run.times.landings.len(),
        }
    }
}

/// What was read off the pack.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = EnergyReading)]
pub struct EnergyView<'a> {
    /// By whom.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Charge state, per cent.
    #[schema(minimum = 0, maximum = 100)]
    pub charge_percent: f64,
    /// Energy counter, kilowatt-hours taken out of the pack in its life.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub energy_counter_kwh: Option<f64>,
}

impl<'a> From<&'a EnergyReading> for EnergyView<'a> {
    fn from(reading: &'a EnergyReading) -> Self {
        Self {
            by: &reading.by,
            at: reading.at,
            charge_percent: reading.charge_percent,
            energy_counter_kwh: reading.energy_counter_kwh,
        }
    }
}

/// A knock-it-off.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = KnockOff)]
pub struct KnockOffView<'a> {
    /// Who called it.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: &'a str,
}

/// The closing of a run.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct RunClosing<'a> {
    /// By whom.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// What was worth saying.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub debrief: Option<&'a str>,
}

/// A correction of a run's times.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = TimesCorrection)]
pub struct CorrectionView<'a> {
    /// By whom.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: &'a str,
    /// The times before it.
    pub before: &'a RunTimes,
}

/// A run.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Run)]
pub struct RunView<'a> {
    /// Its number.
    pub run: RunNumber,
    /// The record that last changed it; the ETag begins with it.
    pub revision: u64,
    /// Ground run, taxi run or flight.
    pub kind: RunKind,
    /// The phase of its points.
    pub phase: Phase,
    /// Points in the order planned.
    pub points: &'a [PointCode],
    /// Who is there, in which role, and who is on board.
    pub crew: &'a [CrewMember],
    /// Who opened it.
    pub opened_by: &'a PersonHandle,
    /// When.
    pub opened_at: DateTime<Utc>,
    /// What was fitted when it was opened: items and their versions.
    #[schema(value_type = BTreeMap<String, String>)]
    pub fitted: Arc<Fitted>,
    /// Its times as they hold now.
    pub times: &'a RunTimes,
    /// Whole minutes under power; absent while a moment is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub powered_minutes: Option<u32>,
    /// Whole minutes from off blocks to on blocks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub block_minutes: Option<u32>,
    /// Whole minutes moving on the ground.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub taxi_minutes: Option<u32>,
    /// Whole minutes in the air.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub airborne_minutes: Option<u32>,
    /// Charge and energy before it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub energy_before: Option<EnergyView<'a>>,
    /// Charge and energy after it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub energy_after: Option<EnergyView<'a>>,
    /// Energy taken out of the pack, kilowatt-hours, from the counter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub energy_kwh: Option<f64>,
    /// The first knock-it-off, if any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub knocked_off: Option<KnockOffView<'a>>,
    /// Who closed it; absent: it is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub closed: Option<RunClosing<'a>>,
    /// Corrections of its times, oldest first.
    pub corrections: Vec<CorrectionView<'a>>,
    /// Its results, also those that were replaced.
    pub results: Vec<ResultRow<'a>>,
    /// Its exceedances.
    pub exceedances: Vec<ExceedanceNumber>,
}

impl<'a> RunView<'a> {
    /// A run as it stands.
    pub fn of(state: &'a State, run: &'a Run) -> Self {
        let of_run = state.results.iter().filter(|result| result.run == run.number);
        let exceedances = state.exceedances.iter().filter(|it| it.run == run.number);
        Self {
            run: run.number,
            revision: state.revision(&Amendable::Run(run.number)),
            kind: run.what,
            phase: run.phase,
            points: &run.points,
            crew: &run.crew,
            opened_by: &run.opened_by,
            opened_at: run.opened_at,
            fitted: run.fitted(),
            times: &run.times,
            powered_minutes: run.powered_minutes(),
            block_minutes: run.block_minutes(),
            taxi_minutes: run.taxi_minutes(),
            airborne_minutes: run.airborne_minutes(),
            energy_before: run.before.as_ref().map(EnergyView::from),
            energy_after: run.after.as_ref().map(EnergyView::from),
            energy_kwh: run.energy_kwh(),
            knocked_off: run.knocked_off.as_ref().map(|called| KnockOffView {
                by: &called.by,
                at: called.at,
                reason: &called.reason,
            }),
            closed: run.closed.as_ref().map(|(by, at, debrief)| RunClosing {
                by,
                at: *at,
                debrief: debrief.as_deref(),
            }),
            corrections: run
                .corrections
                .iter()
                .map(|correction| CorrectionView {
                    by: &correction.by,
                    at: correction.at,
                    reason: &correction.reason,
                    before: &correction.before,
                })
                .collect(),
            results: of_run.map(ResultRow::of).collect(),
            exceedances: exceedances.map(|it| it.number).collect(),
        }
    }
}

/// A run with its tag.
pub(super) fn shown(state: &State, number: RunNumber) -> Result<Shown, Problem> {
    let run = state.run(number).ok_or_else(|| Problem::unknown("run", number))?;
    Shown::at_revision(state.revision(&Amendable::Run(number)), &RunView::of(state, run))
}
