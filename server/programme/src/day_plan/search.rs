//! The best order of a day's runs.
//!
//! Time goes in steps of five minutes. At each step the aircraft either stands at the charger or begins a run, which takes its
//! set-up, the run and the turn-round. A plan is worth the sum of what its points are worth. Up to [`EXACT_UP_TO`] candidates
//! the best plan is found by dynamic programming over sets of points that are done and the time at which they are, with those
//! standings kept of which none is better in everything: a fuller pack, cooler parts, and an earlier acceptance never make the
//! rest of a day worse. Beyond that the same search keeps only the most promising standings of each moment, and the plan is told
//! with what no plan can exceed.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};

use super::physics::{Charged, Grounds, STEP_H, Standing};

/// Up to so many candidates the plan is the best one.
pub const EXACT_UP_TO: usize = 16;

/// More candidates than this are not looked at.
pub const MOST_CANDIDATES: usize = 64;

/// So many standings are looked at before the search gives the best it has.
const MOST_LABELS: usize = 4_000_000;

/// So many continuations are looked at in each step before the whole search begins.
const QUICKLY: usize = 8_000;

/// Beyond [`EXACT_UP_TO`] candidates, so many continuations are looked at in each step.
const MOST_PROMISING: usize = 16_000;

/// So many standings of one set of points at one time are kept.
const MOST_BESIDE: usize = 48;

/// Values closer to each other than this are the same.
const DUST: f64 = 1.0e-9;

/// A point that could be run.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Candidate {
    /// What it is worth; above 0.
    pub value: f64,
    /// Steps of set-up before the run.
    pub set_up: usize,
    /// Steps of the run.
    pub run: usize,
    /// Steps of turn-round after it.
    pub turn_round: usize,
    /// What the run takes out of the pack.
    pub energy_kwh: f64,
    /// By step: whether its set-up may begin there.
    pub may_begin: Vec<bool>,
    /// Candidates that have to be accepted before.
    pub after: Vec<usize>,
    /// Who is on board, by place in [`Problem::flight_min`].
    pub on_board: Vec<usize>,
    /// Minutes of the run.
    pub run_min: f64,
}

impl Candidate {
    /// Steps of set-up, run and turn-round.
    pub fn whole(&self) -> usize {
        self.set_up + self.run + self.turn_round
    }

    /// Whether a step after the beginning of its set-up is of the run itself.
    pub fn is_run(&self, after: usize) -> bool {
        (self.set_up..self.set_up + self.run).contains(&after)
    }

    /// Mean power out of the pack in the run.
    pub fn power_kw(&self) -> f64 {
        self.energy_kwh / (self.run as f64 * STEP_H)
    }
}

/// A step of a day as it goes.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Traced {
    /// As it begins.
    pub standing: Standing,
    /// What goes into the pack in it.
    pub charged: Charged,
}

/// A day to be planned.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Problem {
    /// Steps of the window.
    pub steps: usize,
    pub candidates: Vec<Candidate>,
    pub grounds: Grounds,
    /// Steps from the end of a run to where its result is accepted.
    pub acceptance: usize,
    /// Minutes that each person may still spend in runs.
    pub flight_min: Vec<f64>,
    /// The most runs of the day.
    pub most_runs: usize,
}

/// Where a day stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Begun {
    /// The step.
    pub step: usize,
    pub standing: Standing,
    /// Candidates that are done.
    pub done: u64,
    /// Candidates that are not to be run.
    pub barred: u64,
    /// Runs that were made of [`Problem::most_runs`].
    pub runs: usize,
    /// Minutes that were spent of [`Problem::flight_min`]; empty: none.
    pub spent_min: Vec<f64>,
}

impl Begun {
    /// The first moment of the day.
    pub fn fresh(problem: &Problem) -> Self {
        let waits = problem.candidates.iter().any(|candidate| !candidate.after.is_empty());
        let count = if waits { problem.candidates.len() } else { 0 };
        Self {
            step: 0,
            standing: problem.grounds.begins(count),
            done: 0,
            barred: 0,
            runs: 0,
            spent_min: Vec::new(),
        }
    }
}

/// What was found.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Found {
    /// The runs: candidate, and the step at which its set-up begins.
    pub runs: Vec<(usize, usize)>,
    /// What they are worth.
    pub value: f64,
    /// What no plan exceeds; `value` where the plan is the best.
    pub at_most: f64,
}

/// The search was called off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stopped;

impl Problem {
    /// Begins a candidate's set-up: how things stand after its turn-round, and at which step. `None` where it cannot begin.
    pub fn begin(
        &self,
        begun: &Begun,
        done: u64,
        step: usize,
        standing: &Standing,
        which: usize,
    ) -> Option<(Standing, usize)> {
        let candidate = &self.candidates[which];
        let taken = done | begun.barred;
        let new = done & !begun.done;
        let may = taken & (1 << which) == 0
            && candidate.may_begin.get(step).copied().unwrap_or(false)
            && step + candidate.set_up + candidate.run <= self.steps
            && begun.runs + (new.count_ones() as usize) < self.most_runs
            && candidate
                .after
                .iter()
                .all(|before| done & (1 << before) != 0 && standing.is_accepted(*before));
        if !may || !self.has_flight_time(begun, new | 1 << which, &candidate.on_board) {
            return None;
        }
        let ready = step + candidate.whole();
        let after = self.grounds.run(standing, step, candidate)?;
        Some((self.waiting(after, which), ready))
    }

    /// The day with these runs: for each step how things stand as it begins, and what went into the pack in it. The last one
    /// is the end of the window, or of the last turn-round where that is later.
    pub fn trace(&self, runs: &[(usize, usize)]) -> Vec<Traced> {
        let mut standing = Begun::fresh(self).standing;
        let mut trace = Vec::new();
        let rest = |trace: &mut Vec<Traced>, mut standing: Standing, until: usize| {
            for step in trace.len()..until {
                let before = standing.clone();
                let charged = self.grounds.charge(&mut standing, step);
                trace.push(Traced { standing: before, charged });
            }
            standing
        };
        for (which, begins) in runs {
            standing = rest(&mut trace, standing, *begins);
            let candidate = &self.candidates[*which];
            for away in 0..candidate.whole() {
                let power_kw = if candidate.is_run(away) { candidate.power_kw() } else { 0.0 };
                trace.push(Traced { standing: standing.clone(), charged: Charged::default() });
                self.grounds.away(&mut standing, begins + away, power_kw);
            }
            standing = self.waiting(standing, *which);
        }
        let standing = rest(&mut trace, standing, self.steps);
        trace.push(Traced { standing, charged: Charged::default() });
        trace
    }

    /// How things stand after a candidate's turn-round, with its result still to be accepted.
    fn waiting(&self, standing: Standing, which: usize) -> Standing {
        let over = self.candidates[which].turn_round;
        standing.waiting_for(which, self.acceptance.saturating_sub(over))
    }

    fn has_flight_time(&self, begun: &Begun, runs: u64, people: &[usize]) -> bool {
        people.iter().all(|person| {
            let wanted: f64 = self
                .candidates
                .iter()
                .enumerate()
                .filter(|(place, candidate)| {
                    runs & (1 << place) != 0 && candidate.on_board.contains(person)
                })
                .map(|(_, candidate)| candidate.run_min)
                .sum();
            let spent = begun.spent_min.get(*person).copied().unwrap_or(0.0);
            spent + wanted <= self.flight_min[*person] + DUST
        })
    }

    /// What the candidates of a set are worth.
    fn value(&self, set: u64) -> f64 {
        self.candidates
            .iter()
            .enumerate()
            .filter(|(place, _)| set & (1 << place) != 0)
            .map(|(_, candidate)| candidate.value)
            .sum()
    }
}

/// What no continuation of a day exceeds: the best that parts of runs could bring in the time, the energy and the number of
/// runs that are left, whichever is least.
struct Bound<'a> {
    problem: &'a Problem,
    by_time: Vec<usize>,
    by_energy: Vec<usize>,
    by_value: Vec<usize>,
    /// By step: the most that can still be charged from there on.
    charge_kwh: Vec<f64>,
    longest_turn_round: usize,
}

impl<'a> Bound<'a> {
    fn new(problem: &'a Problem) -> Self {
        let sorted = |cost: &dyn Fn(&Candidate) -> f64| {
            let mut places: Vec<usize> = (0..problem.candidates.len()).collect();
            let worth = |place: usize| {
                let candidate = &problem.candidates[place];
                candidate.value / cost(candidate).max(DUST)
            };
            places.sort_by(|left, right| worth(*right).total_cmp(&worth(*left)));
            places
        };
        let turn_rounds = problem.candidates.iter().map(|candidate| candidate.turn_round);
        Self {
            by_time: sorted(&|candidate| candidate.whole() as f64),
            by_energy: sorted(&|candidate| candidate.energy_kwh),
            by_value: sorted(&|_| 1.0),
            charge_kwh: problem.grounds.most_charge_kwh(problem.steps),
            longest_turn_round: turn_rounds.max().unwrap_or(0),
            problem,
        }
    }

    fn from(&self, begun: &Begun, done: u64, step: usize, standing: &Standing) -> f64 {
        let taken = done | begun.barred;
        let fill = |order: &[usize], room: f64, cost: &dyn Fn(&Candidate) -> f64| {
            let (mut left, mut value) = (room, 0.0);
            for place in order.iter().filter(|place| taken & (1 << **place) == 0) {
                let candidate = &self.problem.candidates[*place];
                let part = (left / cost(candidate).max(DUST)).min(1.0);
                if part <= 0.0 {
                    break;
                }
                value += part * candidate.value;
                left -= part * cost(candidate);
            }
            value
        };
        // Only the last turn-round may reach beyond the window.
        let time = (self.problem.steps.saturating_sub(step) + self.longest_turn_round) as f64;
        let energy_kwh = self.problem.grounds.above_least_kwh(standing)
            + self.charge_kwh.get(step).copied().unwrap_or(0.0);
        let made = begun.runs + (done & !begun.done).count_ones() as usize;
        let runs = self.problem.most_runs.saturating_sub(made) as f64;
        fill(&self.by_time, time, &|candidate| candidate.whole() as f64)
            .min(fill(&self.by_energy, energy_kwh, &|candidate| candidate.energy_kwh))
            .min(fill(&self.by_value, runs, &|_| 1.0))
    }
}

/// A way to have done a set of points by a step.
struct Label {
    standing: Standing,
    /// What no plan through it exceeds.
    at_most: f64,
    /// The last run, by its place in the list of all that were begun.
    last: Option<usize>,
}

/// A label with the points that are done in it and what they are worth.
struct Promising {
    done: u64,
    worth: f64,
    label: Label,
}

/// Leaves so many: half of them those that could come to most, the others those that have come furthest.
fn most_promising(here: &mut Vec<Promising>, most: usize) {
    if here.len() <= most {
        return;
    }
    here.sort_by(|left, right| right.label.at_most.total_cmp(&left.label.at_most));
    let half = most / 2;
    here[half..].sort_by(|left, right| right.worth.total_cmp(&left.worth));
    here.truncate(most);
}

/// Finds a plan from where a day stands: the best one for up to [`EXACT_UP_TO`] candidates.
pub(super) fn search(
    problem: &Problem,
    begun: &Begun,
    stop: &AtomicBool,
) -> Result<Found, Stopped> {
    let bound = Bound::new(problem);
    let mut found = run_by_run(problem, begun, stop)?;
    found.at_most = bound.from(begun, begun.done, begun.step, &begun.standing).max(found.value);
    let left = problem.candidates.len() - (begun.done | begun.barred).count_ones() as usize;
    if found.at_most <= found.value + DUST {
        return Ok(found);
    }
    // A good plan found quickly rules out most of what the whole search would look at.
    let is_exact = left <= EXACT_UP_TO;
    let quickly = if is_exact { QUICKLY } else { MOST_PROMISING };
    let looked_at_all = pass(problem, begun, &bound, quickly / left, &mut found, stop)?;
    let is_whole =
        looked_at_all || (is_exact && pass(problem, begun, &bound, usize::MAX, &mut found, stop)?);
    if is_whole {
        found.at_most = found.value;
    }
    Ok(found)
}

/// Looks from step to step for a plan that is better than what was found, going on from so many standings of each step. True
/// where none was left out, so that no plan is better than what was found.
fn pass(
    problem: &Problem,
    begun: &Begun,
    bound: &Bound<'_>,
    kept_in_a_step: usize,
    found: &mut Found,
    stop: &AtomicBool,
) -> Result<bool, Stopped> {
    // Each run that was begun: the one before it, the candidate, the step.
    let mut runs: Vec<(Option<usize>, usize, usize)> = Vec::new();
    let mut best: Option<usize> = None;
    let mut steps: Vec<BTreeMap<u64, Vec<Label>>> = Vec::new();
    steps.resize_with(problem.steps + 1, BTreeMap::new);
    let first = Label { standing: begun.standing.clone(), at_most: f64::INFINITY, last: None };
    if let Some(sets) = steps.get_mut(begun.step) {
        sets.insert(begun.done, vec![first]);
    }
    let (mut looked_at, mut is_whole) = (0_usize, true);
    let worth_before = problem.value(begun.done);
    'day: for step in begun.step..problem.steps {
        let mut here = Vec::new();
        for (done, labels) in std::mem::take(&mut steps[step]) {
            let worth = problem.value(done) - worth_before;
            // A better plan may have been found since they were kept.
            let labels = labels.into_iter().filter(|label| label.at_most > found.value + DUST);
            here.extend(labels.map(|label| Promising { done, worth, label }));
        }
        is_whole &= here.len() <= kept_in_a_step;
        most_promising(&mut here, kept_in_a_step);
        for Promising { done, worth, label } in here {
            looked_at += 1;
            if looked_at.is_multiple_of(256) && stop.load(Ordering::Relaxed) {
                return Err(Stopped);
            }
            if looked_at > MOST_LABELS {
                is_whole = false;
                break 'day;
            }
            if label.at_most <= found.value + DUST {
                continue;
            }
            for which in 0..problem.candidates.len() {
                let Some((standing, ready)) =
                    problem.begin(begun, done, step, &label.standing, which)
                else {
                    continue;
                };
                let value = worth + problem.candidates[which].value;
                let done = done | 1 << which;
                let at_most = value + bound.from(begun, done, ready, &standing);
                let is_better = value > found.value + DUST;
                let best_now = if is_better { value } else { found.value };
                let goes_on = ready < problem.steps && at_most > best_now + DUST;
                if !is_better && !goes_on {
                    continue;
                }
                runs.push((label.last, which, step));
                let last = Some(runs.len() - 1);
                if is_better {
                    (found.value, best) = (value, last);
                }
                if goes_on {
                    let beside = steps[ready].entry(done).or_default();
                    is_whole &= keep(beside, Label { standing, at_most, last });
                }
            }
            if step + 1 < problem.steps {
                let mut standing = label.standing;
                problem.grounds.charge(&mut standing, step);
                let at_most = worth + bound.from(begun, done, step + 1, &standing);
                if at_most > found.value + DUST {
                    let beside = steps[step + 1].entry(done).or_default();
                    is_whole &= keep(beside, Label { standing, at_most, last: label.last });
                }
            }
        }
    }
    if best.is_some() {
        found.runs.clear();
        let mut here = best;
        while let Some((before, which, step)) = here.and_then(|place| runs.get(place)) {
            found.runs.push((*which, *step));
            here = *before;
        }
        found.runs.reverse();
    }
    Ok(is_whole)
}

/// Keeps a label unless another is at least as good in everything; throws out those that it is as good as. False where one
/// had to be let go only because there are too many.
fn keep(beside: &mut Vec<Label>, label: Label) -> bool {
    if beside.iter().any(|other| other.standing.is_no_worse_than(&label.standing)) {
        return true;
    }
    beside.retain(|other| !label.standing.is_no_worse_than(&other.standing));
    if beside.len() >= MOST_BESIDE {
        return false;
    }
    beside.push(label);
    true
}

/// Takes at each moment the run that brings most for its time, the wait for it counted.
fn run_by_run(problem: &Problem, begun: &Begun, stop: &AtomicBool) -> Result<Found, Stopped> {
    let mut found = Found { runs: Vec::new(), value: 0.0, at_most: 0.0 };
    let (mut step, mut done, mut standing) = (begun.step, begun.done, begun.standing.clone());
    loop {
        let mut best: Option<(f64, usize, usize, Standing, usize)> = None;
        let mut waited = standing.clone();
        for begins in step..problem.steps {
            if stop.load(Ordering::Relaxed) {
                return Err(Stopped);
            }
            for which in 0..problem.candidates.len() {
                if let Some((after, ready)) = problem.begin(begun, done, begins, &waited, which) {
                    let rate = problem.candidates[which].value / (ready - step).max(1) as f64;
                    if best.as_ref().is_none_or(|best| rate > best.0 + DUST) {
                        best = Some((rate, which, begins, after, ready));
                    }
                }
            }
            waited = problem.grounds.rest(&waited, begins);
        }
        let Some((_, which, begins, after, ready)) = best else { return Ok(found) };
        found.runs.push((which, begins));
        found.value += problem.candidates[which].value;
        (step, standing) = (ready, after);
        done |= 1 << which;
    }
}
