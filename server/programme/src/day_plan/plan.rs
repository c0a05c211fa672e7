//! Makes the plan: from the ladder and what was typed in to a day with times.

use std::collections::BTreeMap;
use std::sync::atomic::AtomicBool;

use chrono::{DateTime, TimeDelta, Utc};
use flight_science::sun::{Crossing, DEFAULT_DELTA_T_S, daylight};
use flight_science::sunlight::power_in_sky;
use quantities::Temperature;

use super::answer::{DayPlan, NotReached, PlannedSeat, Told};
use super::candidates::{LeftOut, open};
use super::physics::{GroundBattery, Grounds, Part, STEP_MIN};
use super::search::{Begun, Candidate, EXACT_UP_TO, Problem, search};
use super::seating::{Seated, code_of, most_valuable, seat_all};
use super::terms::DayTerms;
use crate::codes::PointCode;
use crate::holds::against_minima;
use crate::measure::Unit;
use crate::refusal::Fault;
use crate::state::State;

/// Why there is no plan.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CannotPlan {
    /// What was given is impossible or incomplete.
    #[error("what was given for the day has {} faults", .faults.len())]
    Faulty {
        /// All of them.
        faults: Vec<Fault>,
    },
    /// It was called off.
    #[error("the planning of the day was stopped before it was finished")]
    Stopped,
}

/// The window in steps.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Window {
    pub terms: DayTerms,
    pub steps: usize,
    light: Option<[DateTime<Utc>; 2]>,
}

impl Window {
    /// The window, which must not lie in the dark as a whole.
    pub fn of(terms: &DayTerms) -> Result<Self, CannotPlan> {
        let in_the_dark =
            |why: &str| Err(CannotPlan::Faulty { faults: vec![Fault::at("from", why)] });
        let middle = terms.from + (terms.to - terms.from) / 2;
        let light = match daylight(middle, terms.field.place(), DEFAULT_DELTA_T_S).civil {
            Crossing::Between(dawn, dusk) => Some([dawn, dusk]),
            Crossing::AlwaysAbove => None,
            Crossing::AlwaysBelow => {
                return in_the_dark(
                    "has no civil twilight at the field: the sun stays more than 6° below the horizon all day",
                );
            }
        };
        if light.is_some_and(|[dawn, dusk]| terms.to <= dawn || dusk <= terms.from) {
            return in_the_dark(
                "is a window in the dark: it has no part of the day from the beginning to the end of civil twilight",
            );
        }
        let minutes = (terms.to - terms.from).num_minutes().max(0) as usize;
        Ok(Self { terms: terms.clone(), steps: minutes / STEP_MIN as usize, light })
    }

    pub fn at(&self, step: usize) -> DateTime<Utc> {
        self.terms.from + TimeDelta::minutes(step as i64 * i64::from(STEP_MIN))
    }

    /// The air by step; none where nobody has told it.
    pub fn air_c(&self) -> Vec<Option<f64>> {
        (0..self.steps)
            .map(|step| {
                let hour = self.terms.weather_at(self.at(step))?;
                hour.weather.temperature.and_then(|air| air.in_unit(Unit::Celsius))
            })
            .collect()
    }

    pub fn is_light(&self, from: DateTime<Utc>, to: DateTime<Utc>) -> bool {
        self.light.is_none_or(|[dawn, dusk]| dawn <= from && to <= dusk)
    }
}

pub(super) fn steps_of(minutes: f64) -> usize {
    (minutes / f64::from(STEP_MIN)).ceil().max(0.0) as usize
}

/// A day that can be planned: all that a plan of it rests on, taken from the programme as it stood.
#[derive(Debug, Clone, PartialEq)]
pub struct DayProblem {
    window: Window,
    kept: Vec<Seated>,
    problem: Problem,
    not_reached: Vec<NotReached>,
    left_out: Vec<LeftOut>,
    has_forecast: bool,
}

impl DayProblem {
    /// Takes from the programme what a plan rests on.
    ///
    /// `critical` is how often each point lies on the longest way to the end, from 0 to 1, by the last forecast; empty: there
    /// is none. Each run is of one point. Times are in steps of five minutes, rounded up. Weather is what was typed in for
    /// each hour, and a run needs all of it inside the point's minima; who sits where is settled for each point beforehand,
    /// by the order of the crew. Runs lie inside civil twilight; the local rules may ask for more.
    ///
    /// # Errors
    ///
    /// [`CannotPlan::Faulty`] with every fault.
    pub fn of(
        state: &State,
        terms: &DayTerms,
        critical: &BTreeMap<PointCode, f64>,
    ) -> Result<Self, CannotPlan> {
        let faults = terms.faults(state);
        if !faults.is_empty() {
            return Err(CannotPlan::Faulty { faults });
        }
        let window = Window::of(terms)?;
        let (opened, mut left_out) = open(state, [terms.from, terms.to], &terms.without);
        let value = |code: &PointCode| {
            let critical = critical.get(code).copied().unwrap_or(0.0).clamp(0.0, 1.0);
            1.0 + 9.0 * critical + terms.priorities.get(code).copied().unwrap_or(0.0)
        };
        let mut not_reached = Vec::new();
        let seated = seat_all(opened, state, terms, &mut left_out);
        let kept = most_valuable(seated, &value, &mut not_reached);
        let problem = problem(&kept, &window, &value);
        let has_forecast = !critical.is_empty();
        Ok(Self { window, kept, problem, not_reached, left_out, has_forecast })
    }

    /// Searches for the plan. It may take a second.
    ///
    /// # Errors
    ///
    /// [`CannotPlan::Stopped`] once `stop` is true.
    pub fn plan(self, stop: &AtomicBool) -> Result<DayPlan, CannotPlan> {
        let Self { window, kept, problem, mut not_reached, left_out, has_forecast } = self;
        let begun = Begun::fresh(&problem);
        let found = search(&problem, &begun, stop).map_err(|_| CannotPlan::Stopped)?;
        let told = Told { problem: &problem, kept: &kept, window: &window, stop };
        let mut plan = told.plan(&found)?;
        not_reached.extend(told.not_reached(&found));
        plan.not_reached = not_reached;
        plan.left_out = left_out;
        plan.notes = notes(kept.len(), has_forecast);
        if let Some([dawn, dusk]) = window.light {
            (plan.civil_dawn, plan.civil_dusk) = (Some(dawn), Some(dusk));
        }
        Ok(plan)
    }
}

/// Plans a day, or the rest of one, as the programme stands: [`DayProblem::of`] and [`DayProblem::plan`] at once.
///
/// # Errors
///
/// As those two.
pub fn plan_day(
    state: &State,
    terms: &DayTerms,
    critical: &BTreeMap<PointCode, f64>,
    stop: &AtomicBool,
) -> Result<DayPlan, CannotPlan> {
    DayProblem::of(state, terms, critical)?.plan(stop)
}

fn problem(kept: &[Seated], window: &Window, value: &impl Fn(&PointCode) -> f64) -> Problem {
    let terms = &window.terms;
    let air = window.air_c();
    let turn_round = steps_of(f64::from(terms.turn_round_min));
    let candidates = kept
        .iter()
        .map(|seated| {
            let point = &seated.open.point;
            let set_up_min = terms.set_up_min.get(&point.phase).copied().unwrap_or(0);
            let (set_up, run) =
                (steps_of(f64::from(set_up_min)), steps_of(point.duration_min).max(1));
            let of_crew =
                |seat: &PlannedSeat| terms.crew.iter().find(|it| it.person == seat.person);
            let may_begin = (0..window.steps).map(|step| {
                let (begins, ends) = (step + set_up, step + set_up + run);
                let (set_up_at, begins_at, ends_at) =
                    (window.at(step), window.at(begins), window.at(ends));
                window.is_light(begins_at, ends_at)
                    && seated.open.not_before.is_none_or(|from| from <= set_up_at)
                    && seated
                        .seats
                        .iter()
                        .filter_map(of_crew)
                        .all(|member| member.from <= set_up_at && ends_at <= member.to)
                    && (begins..ends).all(|during| {
                        let is_known =
                            terms.parts.is_empty() || air.get(during).is_some_and(Option::is_some);
                        is_known
                            && (point.weather.is_empty()
                                || terms.weather_at(window.at(during)).is_some_and(|hour| {
                                    against_minima(&point.weather, &hour.weather).is_empty()
                                }))
                    })
            });
            let on_board = seated.seats.iter().filter(|seat| seat.on_board);
            Candidate {
                value: value(&point.code),
                set_up,
                run,
                turn_round,
                energy_kwh: point.energy_kwh,
                may_begin: may_begin.collect(),
                after: seated
                    .open
                    .after
                    .iter()
                    .filter_map(|code| kept.iter().position(|other| code_of(other) == code))
                    .collect(),
                on_board: on_board
                    .filter_map(|seat| terms.crew.iter().position(|it| it.person == seat.person))
                    .collect(),
                run_min: point.duration_min,
            }
        })
        .collect();
    let flight_min =
        terms.crew.iter().map(|member| member.most_on_board_min.unwrap_or(f64::INFINITY));
    Problem {
        steps: window.steps,
        candidates,
        grounds: grounds(window, &air),
        acceptance: steps_of(f64::from(terms.acceptance_min)),
        flight_min: flight_min.collect(),
        most_runs: terms.most_runs as usize,
    }
}

pub(super) fn grounds(window: &Window, air: &[Option<f64>]) -> Grounds {
    let terms = &window.terms;
    let place = terms.field.place();
    // Where nobody has told the air, nothing that heats is run; it cools in the air that was told last.
    let mut last_c = air.iter().flatten().next().copied().unwrap_or(15.0);
    let air_c: Vec<f64> = air
        .iter()
        .map(|air_c| {
            last_c = air_c.unwrap_or(last_c);
            last_c
        })
        .collect();
    let panels_kw = (0..window.steps).map(|step| {
        let (Some(panels), Some(hour)) = (terms.charging.panels, terms.weather_at(window.at(step)))
        else {
            return 0.0;
        };
        // In the middle of the step.
        let at = window.at(step) + TimeDelta::seconds(i64::from(STEP_MIN) * 30);
        let air = Temperature::from_celsius(air_c[step]);
        power_in_sky(at, place, hour.cloud, air, &panels.panel()).kilowatts()
    });
    Grounds {
        usable_kwh: terms.pack.usable_kwh,
        begins_kwh: terms.pack.usable_kwh * terms.pack.state,
        least_kwh: terms.pack.usable_kwh * terms.pack.least_state,
        taper: terms.taper(),
        charger_kw: terms.charging.charger_kw,
        efficiency: terms.charging.efficiency,
        mains_kw: terms.charging.mains_kw,
        panels_kw: panels_kw.collect(),
        ground: terms.charging.ground_battery.map(|ground| GroundBattery {
            usable_kwh: ground.usable_kwh,
            begins_kwh: ground.usable_kwh * ground.state,
            least_kwh: ground.usable_kwh * ground.least_state,
            power_kw: ground.power_kw,
        }),
        parts: terms
            .parts
            .iter()
            .map(|part| Part {
                time_constant_min: part.time_constant_min,
                rise_c_per_kw: part.rise_c_per_kw,
                begins_c: part.begins_c,
                most_c: part.most_c,
            })
            .collect(),
        air_c,
    }
}

fn notes(candidates: usize, has_forecast: bool) -> Vec<String> {
    let mut notes = vec![
        "A plan is a proposal: it releases nothing. The permit and its conditions, local rules, the pilot in command and \
         licensed inspectors come first."
            .to_owned(),
        "A lithium pack is charged by its maker's rules, watched, and away from people and buildings; high voltage is for \
         people who are instructed."
            .to_owned(),
        "Charge and temperatures are means of models: the real ones are read before each run.".to_owned(),
    ];
    if !has_forecast {
        notes.push("There is no forecast, so that no point counts as critical.".to_owned());
    }
    if candidates > EXACT_UP_TO {
        notes.push(format!(
            "{candidates} points could be planned; up to {EXACT_UP_TO} the plan is the best one, beyond that it is made run by \
             run, and no plan exceeds what is told as the most."
        ));
    }
    notes
}
