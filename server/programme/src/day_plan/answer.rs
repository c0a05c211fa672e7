//! The answer: a plan with its runs, charges and temperatures, and how it is told from what was found.

use std::sync::atomic::AtomicBool;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::candidates::{LeftOut, Need};
use super::physics::{Charged, Standing};
use super::plan::{CannotPlan, Window};
use super::search::{Begun, Candidate, Found, Problem, Traced, search};
use super::seating::{Seated, code_of};
use crate::codes::{PersonHandle, PointCode};
use crate::nouns::{Phase, Role};

/// Somebody on a seat of a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlannedSeat {
    /// Who.
    pub person: PersonHandle,
    /// In which role.
    pub role: Role,
    /// Whether on board.
    pub on_board: bool,
}

/// A part that heats, in one run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PartInRun {
    /// Which.
    pub name: String,
    /// How warm it is as the run begins.
    pub before_c: f64,
    /// How warm it is as the run ends.
    pub after_c: f64,
    /// How warm it may become.
    pub most_c: f64,
}

/// What to do with the rest of the day if a point is not met.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Instead {
    /// The points in order, from when the aircraft is ready again; those that wait for what was not met are not among them.
    pub points: Vec<PointCode>,
    /// What they are worth.
    pub value: f64,
}

/// A run of the plan: one point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlannedRun {
    /// The point.
    pub point: PointCode,
    /// Its phase.
    pub phase: Phase,
    /// What it is worth.
    pub value: f64,
    /// Set-up begins; the charger is off from then on.
    pub set_up_at: DateTime<Utc>,
    /// The run begins.
    pub begins_at: DateTime<Utc>,
    /// The run ends.
    pub ends_at: DateTime<Utc>,
    /// The aircraft is ready for the charger.
    pub ready_at: DateTime<Utc>,
    /// Charge state as the run begins, 0 to 1.
    pub charge_before: f64,
    /// Charge state as it ends.
    pub charge_after: f64,
    /// What it takes out of the pack, in kilowatt-hours.
    pub energy_kwh: f64,
    /// Parts that heat.
    pub parts: Vec<PartInRun>,
    /// Who is on which seat.
    pub crew: Vec<PlannedSeat>,
    /// Points of the day that have to be accepted before.
    pub after: Vec<PointCode>,
    /// What has to be done before: releases, checks, acknowledgements, an observation of the weather.
    pub needs: Vec<Need>,
    /// If it is not met.
    pub instead: Instead,
}

/// A charge of the plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChargeOfDay {
    /// From then on.
    pub from: DateTime<Utc>,
    /// Up to then.
    pub to: DateTime<Utc>,
    /// Charge state before, 0 to 1.
    pub charge_before: f64,
    /// Charge state after.
    pub charge_after: f64,
    /// Into the pack from the panels, in kilowatt-hours.
    pub from_panels_kwh: f64,
    /// Into the pack from the battery on the ground.
    pub from_ground_battery_kwh: f64,
    /// Into the pack from the mains.
    pub from_mains_kwh: f64,
}

/// A moment along the day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MomentOfDay {
    /// When.
    pub at: DateTime<Utc>,
    /// Charge state of the pack, 0 to 1.
    pub charge: f64,
    /// Energy in the battery on the ground, in kilowatt-hours; 0 without one.
    pub ground_battery_kwh: f64,
    /// Power of the panels, in kilowatts.
    pub panels_kw: f64,
    /// Temperature of each part, in the order given.
    pub parts_c: Vec<f64>,
}

/// A point that could be run on another day, or if something were otherwise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NotReached {
    /// The point.
    pub point: PointCode,
    /// Why it is not in the plan.
    pub because: String,
}

/// A plan for a day: a proposal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DayPlan {
    /// Civil twilight begins; null where it does not, and then it is light all day.
    pub civil_dawn: Option<DateTime<Utc>>,
    /// Civil twilight ends.
    pub civil_dusk: Option<DateTime<Utc>>,
    /// The runs in order.
    pub runs: Vec<PlannedRun>,
    /// What is charged when.
    pub charges: Vec<ChargeOfDay>,
    /// What the runs are worth: for each point 1, up to 9 by how often it is critical in the forecast, and its priority.
    pub value: f64,
    /// What no plan of these candidates exceeds; `value` where this plan is the best one.
    pub at_most: f64,
    /// Charge and temperatures over the day.
    pub over_the_day: Vec<MomentOfDay>,
    /// The names of the parts, in the order of their temperatures.
    pub parts: Vec<String>,
    /// Points that could be planned and are not.
    pub not_reached: Vec<NotReached>,
    /// Points that something holds which nothing on the day would clear.
    pub left_out: Vec<LeftOut>,
    /// What the plan does not know.
    pub notes: Vec<String>,
}

/// What is needed to tell of a plan that was found.
pub(super) struct Told<'a> {
    pub problem: &'a Problem,
    pub kept: &'a [Seated],
    pub window: &'a Window,
    pub stop: &'a AtomicBool,
}

/// To four decimals, which is more than anybody knows.
fn rounded(figure: f64) -> f64 {
    (figure * 10_000.0).round() / 10_000.0
}

impl Told<'_> {
    pub fn plan(&self, found: &Found) -> Result<DayPlan, CannotPlan> {
        let trace = self.problem.trace(&found.runs);
        let mut plan = DayPlan {
            civil_dawn: None,
            civil_dusk: None,
            runs: Vec::new(),
            charges: self.charges(&trace),
            value: rounded(found.value),
            at_most: rounded(found.at_most),
            over_the_day: (0..=self.window.steps).map(|step| self.moment(&trace, step)).collect(),
            parts: self.window.terms.parts.iter().map(|part| part.name.clone()).collect(),
            not_reached: Vec::new(),
            left_out: Vec::new(),
            notes: Vec::new(),
        };
        let mut begun = Begun::fresh(self.problem);
        begun.spent_min = vec![0.0; self.problem.flight_min.len()];
        for (which, begins) in &found.runs {
            let candidate = &self.problem.candidates[*which];
            begun.step = begins + candidate.whole();
            begun.standing = trace[begun.step].standing.clone();
            begun.runs += 1;
            for person in &candidate.on_board {
                begun.spent_min[*person] += candidate.run_min;
            }
            let instead = self.instead(&begun, *which)?;
            plan.runs.push(self.run(*which, *begins, &trace, instead));
            begun.done |= 1 << which;
        }
        Ok(plan)
    }

    fn charge_of(&self, standing: &Standing) -> f64 {
        rounded(standing.pack_kwh / self.problem.grounds.usable_kwh)
    }

    fn moment(&self, trace: &[Traced], step: usize) -> MomentOfDay {
        let standing = &trace[step].standing;
        MomentOfDay {
            at: self.window.at(step),
            charge: self.charge_of(standing),
            ground_battery_kwh: rounded(standing.ground_kwh),
            panels_kw: rounded(self.problem.grounds.panels_kw.get(step).copied().unwrap_or(0.0)),
            parts_c: standing.parts_c.iter().map(|warm_c| rounded(*warm_c)).collect(),
        }
    }

    /// Every stretch of the day in which the pack takes something.
    fn charges(&self, trace: &[Traced]) -> Vec<ChargeOfDay> {
        const NOTHING_KWH: f64 = 1.0e-6;
        let takes = |traced: &Traced| traced.charged.all_kwh() > NOTHING_KWH;
        let mut charges = Vec::new();
        let mut step = 0;
        while step + 1 < trace.len() {
            let from = step;
            while step + 1 < trace.len() && takes(&trace[step]) {
                step += 1;
            }
            if step == from {
                step += 1;
                continue;
            }
            let sum = |of: fn(&Charged) -> f64| {
                rounded(trace[from..step].iter().map(|traced| of(&traced.charged)).sum())
            };
            charges.push(ChargeOfDay {
                from: self.window.at(from),
                to: self.window.at(step),
                charge_before: self.charge_of(&trace[from].standing),
                charge_after: self.charge_of(&trace[step].standing),
                from_panels_kwh: sum(|charged| charged.panels_kwh),
                from_ground_battery_kwh: sum(|charged| charged.ground_kwh),
                from_mains_kwh: sum(|charged| charged.mains_kwh),
            });
        }
        charges
    }

    fn run(&self, which: usize, begins: usize, trace: &[Traced], instead: Instead) -> PlannedRun {
        let (candidate, seated) = (&self.problem.candidates[which], &self.kept[which]);
        let point = &seated.open.point;
        let from = begins + candidate.set_up;
        let to = from + candidate.run;
        let (before, after) = (&trace[from].standing, &trace[to].standing);
        let warm = before.parts_c.iter().zip(&after.parts_c);
        let parts =
            self.window.terms.parts.iter().zip(warm).map(|(part, (before_c, after_c))| PartInRun {
                name: part.name.clone(),
                before_c: rounded(*before_c),
                after_c: rounded(*after_c),
                most_c: part.most_c,
            });
        PlannedRun {
            point: point.code.clone(),
            phase: point.phase,
            value: rounded(candidate.value),
            set_up_at: self.window.at(begins),
            begins_at: self.window.at(from),
            ends_at: self.window.at(to),
            ready_at: self.window.at(begins + candidate.whole()),
            charge_before: self.charge_of(before),
            charge_after: self.charge_of(after),
            energy_kwh: candidate.energy_kwh,
            parts: parts.collect(),
            crew: seated.seats.clone(),
            after: seated.open.after.clone(),
            needs: seated.open.needs.iter().cloned().collect(),
            instead,
        }
    }

    /// The rest of the day where a run was made and its point was not met: that point, and what waits for it, are out.
    fn instead(&self, begun: &Begun, which: usize) -> Result<Instead, CannotPlan> {
        let barred = Begun { barred: 1 << which, ..begun.clone() };
        let found = if begun.step < self.window.steps {
            search(self.problem, &barred, self.stop).map_err(|_| CannotPlan::Stopped)?
        } else {
            Found::default()
        };
        let points = found.runs.iter().map(|(which, _)| code_of(&self.kept[*which]).clone());
        Ok(Instead { points: points.collect(), value: rounded(found.value) })
    }

    /// Whether its run heats no part too much at some time of the window, with a full pack and parts as cold as the air.
    fn stays_cool(&self, candidate: &Candidate) -> bool {
        let grounds = &self.problem.grounds;
        let mut cold = Begun::fresh(self.problem).standing;
        cold.pack_kwh = grounds.usable_kwh;
        (0..self.window.steps).filter(|step| candidate.may_begin[*step]).any(|step| {
            cold.parts_c.fill(grounds.air_c.get(step).copied().unwrap_or(0.0));
            grounds.run(&cold, step, candidate).is_some()
        })
    }

    pub fn not_reached(&self, found: &Found) -> Vec<NotReached> {
        let planned = |which: usize| found.runs.iter().any(|(run, _)| *run == which);
        let grounds = &self.problem.grounds;
        (0..self.kept.len())
            .filter(|which| !planned(*which))
            .map(|which| {
                let candidate = &self.problem.candidates[which];
                let most_kwh = grounds.usable_kwh - grounds.least_kwh;
                let because = if !candidate.may_begin.contains(&true) {
                    "At no time of the window are weather, daylight and crew there for it.".to_owned()
                } else if candidate.energy_kwh > most_kwh + 1.0e-9 {
                    format!(
                        "It takes {} kWh, and a full pack has {} kWh above what stays in it.",
                        rounded(candidate.energy_kwh),
                        rounded(most_kwh)
                    )
                } else if !self.stays_cool(candidate) {
                    "A part would become too warm in it even from the temperature of the air.".to_owned()
                } else if candidate.after.iter().any(|before| !planned(*before)) {
                    "A point that must come before is not in the plan.".to_owned()
                } else {
                    "There is no room for it beside points that are worth more: time, energy, cooling, runs or minutes on \
                     board are used up, or it comes too late."
                        .to_owned()
                };
                NotReached { point: code_of(&self.kept[which]).clone(), because }
            })
            .collect()
    }
}
