//! How many runs a day's energy allows, and from which source.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::physics::{Charged, Grounds};
use super::plan::{CannotPlan, Window, grounds, steps_of};
use super::search::Candidate;
use super::terms::DayTerms;
use crate::nouns::judging::Judging;
use crate::state::State;

/// A run that is made again and again.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LikeRuns {
    /// What it takes out of the pack, in kilowatt-hours.
    #[schema(example = 5)]
    pub energy_kwh: f64,
    /// How long it is, in minutes.
    #[schema(example = 15)]
    pub run_min: f64,
    /// Minutes of set-up before it.
    #[schema(example = 20)]
    pub set_up_min: f64,
}

/// So many runs with some of the sources.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct RunsFromSources {
    /// Which sources: each row has one more than the one before.
    pub sources: String,
    /// How many runs they allow.
    pub runs: u32,
}

/// How full the pack is along the day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, utoipa::ToSchema)]
pub struct EnergyMoment {
    /// When.
    pub at: DateTime<Utc>,
    /// Energy in the pack, in kilowatt-hours.
    pub pack_kwh: f64,
    /// Into the pack so far from the panels.
    pub panels_kwh: f64,
    /// Into the pack so far from the battery on the ground.
    pub ground_battery_kwh: f64,
    /// Into the pack so far from the mains.
    pub mains_kwh: f64,
}

/// What a day's energy allows.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct EnergyOfDay {
    /// With the pack as it is in the morning alone, then with one source more in each row.
    pub allowed: Vec<RunsFromSources>,
    /// With all sources: the moments at which runs begin.
    pub begins: Vec<DateTime<Utc>>,
    /// With all sources, over the day.
    pub over_the_day: Vec<EnergyMoment>,
}

/// Makes the same run as often as energy, cooling and daylight allow, each as soon as it can begin, with more and more of the
/// sources. Weather, crews, releases and the most runs of the day are not looked at.
///
/// # Errors
///
/// [`CannotPlan::Faulty`] with every fault.
pub fn energy_of_day(
    state: &State,
    terms: &DayTerms,
    run: LikeRuns,
) -> Result<EnergyOfDay, CannotPlan> {
    let mut judging = Judging::of("run");
    let mut within = |field: &str, figure: f64, least: f64, most: f64| {
        let why = format!("must be from {least} to {most}, and {figure} was given");
        judging.must((least..=most).contains(&figure), field, why);
    };
    within("energy_kwh", run.energy_kwh, 0.0, 10_000.0);
    within("run_min", run.run_min, 1.0, 1_440.0);
    within("set_up_min", run.set_up_min, 0.0, 1_440.0);
    let mut faults = judging.done();
    faults.extend(terms.faults(state));
    if !faults.is_empty() {
        return Err(CannotPlan::Faulty { faults });
    }
    let window = Window::of(terms)?;
    let all = grounds(&window, &window.air_c());
    let candidate = Candidate {
        value: 1.0,
        set_up: steps_of(run.set_up_min),
        run: steps_of(run.run_min).max(1),
        turn_round: steps_of(f64::from(terms.turn_round_min)),
        energy_kwh: run.energy_kwh,
        may_begin: Vec::new(),
        after: Vec::new(),
        on_board: Vec::new(),
        run_min: run.run_min,
    };
    let alone = Grounds { panels_kw: Vec::new(), ground: None, mains_kw: 0.0, ..all.clone() };
    let sun = Grounds { ground: None, mains_kw: 0.0, ..all.clone() };
    let stored = Grounds { mains_kw: 0.0, ..all.clone() };
    let mut allowed = Vec::new();
    for (sources, grounds) in [
        ("the pack as it is", &alone),
        ("and the panels", &sun),
        ("and the battery on the ground", &stored),
        ("and the mains", &all),
    ] {
        let runs = u32::try_from(day(&window, grounds, &candidate).0.len()).unwrap_or(u32::MAX);
        allowed.push(RunsFromSources { sources: sources.to_owned(), runs });
    }
    let (begins, over_the_day) = day(&window, &all, &candidate);
    Ok(EnergyOfDay { allowed, begins, over_the_day })
}

/// When runs begin, and how full the pack is step by step.
fn day(
    window: &Window,
    grounds: &Grounds,
    candidate: &Candidate,
) -> (Vec<DateTime<Utc>>, Vec<EnergyMoment>) {
    let (mut standing, mut sum) = (grounds.begins(0), Charged::default());
    let (mut begins, mut over_the_day) = (Vec::new(), Vec::new());
    let mut busy = 0..0;
    for step in 0..window.steps {
        over_the_day.push(EnergyMoment {
            at: window.at(step),
            pack_kwh: standing.pack_kwh,
            panels_kwh: sum.panels_kwh,
            ground_battery_kwh: sum.ground_kwh,
            mains_kwh: sum.mains_kwh,
        });
        let (from, to) = (step + candidate.set_up, step + candidate.set_up + candidate.run);
        if !busy.contains(&step)
            && to <= window.steps
            && window.is_light(window.at(from), window.at(to))
            && grounds.run(&standing, step, candidate).is_some()
        {
            busy = step..step + candidate.whole();
            begins.push(window.at(from));
        }
        if busy.contains(&step) {
            let runs = candidate.is_run(step - busy.start);
            grounds.away(&mut standing, step, if runs { candidate.power_kw() } else { 0.0 });
        } else {
            let charged = grounds.charge(&mut standing, step);
            sum.panels_kwh += charged.panels_kwh;
            sum.ground_kwh += charged.ground_kwh;
            sum.mains_kwh += charged.mains_kwh;
        }
    }
    (begins, over_the_day)
}
