//! Makes the plan: from the ladder and what was typed in to a day with times.

use std::collections::BTreeMap;
use std::sync::atomic::AtomicBool;

use chrono::{DateTime, TimeDelta, Utc};
use flight_science::sun::{Crossing, DEFAULT_DELTA_T_S, daylight};
use flight_science::sunlight::power_in_sky;
use quantities::Temperature;
use serde::{Deserialize, Serialize};

use super::candidates::{LeftOut, Need, Open, open};
use super::physics::{Charged, GroundBattery, Grounds, Part, STEP_MIN, Standing};
use super::search::{
    Begun, Candidate, EXACT_UP_TO, Found, MOST_CANDIDATES, Problem, Traced, search,
};
use super::terms::DayTerms;
use crate::codes::{PersonHandle, PointCode};
use crate::holds::{against_minima, can_fill};
use crate::measure::Unit;
use crate::nouns::{CrewSeat, Person, Phase, Role};
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

/// Somebody on a seat of a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
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
pub struct Instead {
    /// The points in order, from when the aircraft is ready again; those that wait for what was not met are not among them.
    pub points: Vec<PointCode>,
    /// What they are worth.
    pub value: f64,
}

/// A run of the plan: one point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
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
pub struct NotReached {
    /// The point.
    pub point: PointCode,
    /// Why it is not in the plan.
    pub because: String,
}

/// A plan for a day: a proposal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
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

/// The window in steps.
struct Window<'a> {
    terms: &'a DayTerms,
    steps: usize,
    light: Option<[DateTime<Utc>; 2]>,
}

impl Window<'_> {
    fn at(&self, step: usize) -> DateTime<Utc> {
        self.terms.from + TimeDelta::minutes(step as i64 * i64::from(STEP_MIN))
    }

    fn is_light(&self, from: DateTime<Utc>, to: DateTime<Utc>) -> bool {
        self.light.is_none_or(|[dawn, dusk]| dawn <= from && to <= dusk)
    }
}

fn steps_of(minutes: f64) -> usize {
    (minutes / f64::from(STEP_MIN)).ceil().max(0.0) as usize
}

/// Plans a day, or the rest of one, as the programme stands.
///
/// `critical` is how often each point lies on the longest way to the end, from 0 to 1, by the last forecast; empty: there is
/// none. Each run is of one point. Times are in steps of five minutes, rounded up. Weather is what was typed in for each
/// hour, and a run needs all of it inside the point's minima; who sits where is settled for each point beforehand, by the
/// order of the crew. Runs lie inside civil twilight; the local rules may ask for more.
///
/// # Errors
///
/// [`CannotPlan::Faulty`] with every fault; [`CannotPlan::Stopped`] once `stop` is true.
pub fn plan_day(
    state: &State,
    terms: &DayTerms,
    critical: &BTreeMap<PointCode, f64>,
    stop: &AtomicBool,
) -> Result<DayPlan, CannotPlan> {
    let faults = terms.faults(state);
    if !faults.is_empty() {
        return Err(CannotPlan::Faulty { faults });
    }
    let middle = terms.from + (terms.to - terms.from) / 2;
    let light = match daylight(middle, terms.field.place(), DEFAULT_DELTA_T_S).civil {
        Crossing::Between(dawn, dusk) => Some([dawn, dusk]),
        Crossing::AlwaysAbove => None,
        Crossing::AlwaysBelow => {
            let why = "has no civil twilight at the field: the sun stays more than 6° below the horizon all day";
            return Err(CannotPlan::Faulty { faults: vec![Fault::at("from", why)] });
        }
    };
    if light.is_some_and(|[dawn, dusk]| terms.to <= dawn || dusk <= terms.from) {
        let why = "is a window in the dark: it has no part of the day from the beginning to the end of civil twilight";
        return Err(CannotPlan::Faulty { faults: vec![Fault::at("from", why)] });
    }
    let minutes = (terms.to - terms.from).num_minutes().max(0) as usize;
    let window = Window { terms, steps: minutes / STEP_MIN as usize, light };
    let (opened, mut left_out) = open(state, [terms.from, terms.to]);
    let value = |code: &PointCode| {
        let critical = critical.get(code).copied().unwrap_or(0.0).clamp(0.0, 1.0);
        1.0 + 9.0 * critical + terms.priorities.get(code).copied().unwrap_or(0.0)
    };
    let mut not_reached = Vec::new();
    let seated = seat_all(opened, state, terms, &mut left_out);
    let kept = most_valuable(seated, &value, &mut not_reached);
    let problem = problem(&kept, &window, &value);
    let begun = Begun::fresh(&problem);
    let found = search(&problem, &begun, stop).map_err(|_| CannotPlan::Stopped)?;
    let told = Told { problem: &problem, kept: &kept, window: &window, stop };
    let mut plan = told.plan(&found)?;
    not_reached.extend(told.not_reached(&found));
    plan.not_reached = not_reached;
    plan.left_out = left_out;
    plan.notes = notes(kept.len(), !critical.is_empty());
    if let Some([dawn, dusk]) = light {
        (plan.civil_dawn, plan.civil_dusk) = (Some(dawn), Some(dusk));
    }
    Ok(plan)
}

/// A candidate with who sits where.
struct Seated<'a> {
    open: Open<'a>,
    seats: Vec<PlannedSeat>,
}

fn seat_all<'a>(
    opened: Vec<Open<'a>>,
    state: &State,
    terms: &DayTerms,
    left_out: &mut Vec<LeftOut>,
) -> Vec<Seated<'a>> {
    let mut seated = Vec::new();
    for open in opened {
        match seats(&open.rung.point.crew, state, terms) {
            Ok(seats) => seated.push(Seated { open, seats }),
            Err(because) => {
                let point = open.rung.point.code.clone();
                left_out.push(LeftOut { point, because: vec![because] });
            }
        }
    }
    // What waits for a point that nobody can be seated for cannot be planned either.
    loop {
        let codes: Vec<PointCode> = seated.iter().map(code_of).cloned().collect();
        let Some(place) =
            seated.iter().position(|it| it.open.after.iter().any(|code| !codes.contains(code)))
        else {
            return seated;
        };
        let gone = seated.remove(place);
        let why = "A point that must come before cannot be planned for the day.".to_owned();
        left_out.push(LeftOut { point: code_of(&gone).clone(), because: vec![why] });
    }
}

fn code_of<'a>(seated: &'a Seated<'_>) -> &'a PointCode {
    &seated.open.rung.point.code
}

/// One person of the day for each seat, earlier ones of the crew first; somebody who sits elsewhere moves where they can.
fn seats(wanted: &[CrewSeat], state: &State, terms: &DayTerms) -> Result<Vec<PlannedSeat>, String> {
    let places: Vec<&CrewSeat> =
        wanted.iter().flat_map(|seat| std::iter::repeat_n(seat, usize::from(seat.count))).collect();
    let people: Vec<Option<&Person>> =
        terms.crew.iter().map(|member| state.people.get(&member.person)).collect();
    let can = |person: usize, place: usize| {
        people[person].is_some_and(|person| {
            can_fill(person, places[place], terms.from) && can_fill(person, places[place], terms.to)
        })
    };
    fn sit(
        place: usize,
        can: &impl Fn(usize, usize) -> bool,
        sits: &mut [Option<usize>],
        asked: &mut [bool],
    ) -> bool {
        for person in 0..sits.len() {
            if asked[person] || !can(person, place) {
                continue;
            }
            asked[person] = true;
            if sits[person].is_none_or(|other| sit(other, can, sits, asked)) {
                sits[person] = Some(place);
                return true;
            }
        }
        false
    }
    let mut sits = vec![None; people.len()];
    for (place, seat) in places.iter().enumerate() {
        let mut asked = vec![false; people.len()];
        if !sit(place, &can, &mut sits, &mut asked) {
            let role = seat.role.in_words();
            return Err(format!(
                "The crew of the day has not enough people for it: a {role} with the qualifications of the plan is missing."
            ));
        }
    }
    let mut seats: Vec<(usize, PlannedSeat)> = sits
        .iter()
        .enumerate()
        .filter_map(|(person, place)| {
            let place = (*place)?;
            let seat = places.get(place)?;
            let person = terms.crew[person].person.clone();
            Some((place, PlannedSeat { person, role: seat.role, on_board: seat.on_board }))
        })
        .collect();
    seats.sort_by_key(|(place, _)| *place);
    Ok(seats.into_iter().map(|(_, seat)| seat).collect())
}

/// So many candidates as are looked at, those that are worth most.
fn most_valuable<'a>(
    mut seated: Vec<Seated<'a>>,
    value: &impl Fn(&PointCode) -> f64,
    not_reached: &mut Vec<NotReached>,
) -> Vec<Seated<'a>> {
    let beyond = "More points could be planned than are looked at for one day; give it a priority.";
    let mut let_go = |gone: Seated<'a>, because: &str| {
        not_reached.push(NotReached { point: code_of(&gone).clone(), because: because.to_owned() });
    };
    while seated.len() > MOST_CANDIDATES {
        let least = seated
            .iter()
            .enumerate()
            .min_by(|(_, left), (_, right)| value(code_of(left)).total_cmp(&value(code_of(right))))
            .map(|(place, _)| place);
        let Some(place) = least else { break };
        let gone = seated.remove(place);
        let code = code_of(&gone).clone();
        let_go(gone, beyond);
        // Never a point without what must come before it.
        while let Some(place) = seated.iter().position(|it| it.open.after.contains(&code)) {
            let gone = seated.remove(place);
            let_go(gone, beyond);
        }
    }
    seated
}

fn problem(
    kept: &[Seated<'_>],
    window: &Window<'_>,
    value: &impl Fn(&PointCode) -> f64,
) -> Problem {
    let terms = window.terms;
    let air: Vec<Option<f64>> = (0..window.steps)
        .map(|step| {
            let hour = terms.weather_at(window.at(step))?;
            hour.weather.temperature.and_then(|air| air.in_unit(Unit::Celsius))
        })
        .collect();
    let turn_round = steps_of(f64::from(terms.turn_round_min));
    let candidates = kept
        .iter()
        .map(|seated| {
            let point = &seated.open.rung.point;
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

fn grounds(window: &Window<'_>, air: &[Option<f64>]) -> Grounds {
    let terms = window.terms;
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

/// What is needed to tell of a plan that was found.
struct Told<'a> {
    problem: &'a Problem,
    kept: &'a [Seated<'a>],
    window: &'a Window<'a>,
    stop: &'a AtomicBool,
}

/// To four decimals, which is more than anybody knows.
fn rounded(figure: f64) -> f64 {
    (figure * 10_000.0).round() / 10_000.0
}

impl Told<'_> {
    fn plan(&self, found: &Found) -> Result<DayPlan, CannotPlan> {
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
        let point = &seated.open.rung.point;
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

    fn not_reached(&self, found: &Found) -> Vec<NotReached> {
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
