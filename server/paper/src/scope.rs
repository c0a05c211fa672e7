//! What a paper is of: which points, runs and limits belong to it.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use programme::codes::{HazardCode, LimitCode, PointCode, RunNumber};
use programme::scope::Scope;
use programme::state::{Exceedance, ResultState, Run, Rung, State};

use crate::Trouble;

/// The day of a run, in UTC: that on which power came on, or, where that is not known, on which it was opened.
pub(crate) fn day_of(run: &Run) -> NaiveDate {
    run.times.power_on.unwrap_or(run.opened_at).date_naive()
}

/// A state, and what of it belongs to a scope.
#[derive(Debug)]
pub(crate) struct Extent<'a> {
    pub state: &'a State,
    pub scope: Scope,
    pub rungs: Vec<&'a Rung>,
    pub runs: Vec<&'a Run>,
    points: BTreeSet<&'a PointCode>,
    numbers: BTreeSet<RunNumber>,
}

impl<'a> Extent<'a> {
    /// # Errors
    ///
    /// [`Trouble::NoSuchPoint`], [`Trouble::NothingThatDay`].
    pub fn of(state: &'a State, scope: Scope) -> Result<Self, Trouble> {
        let on_day = |day: NaiveDate| state.runs.iter().filter(move |run| day_of(run) == day);
        let has = |run: &&Run, code: &PointCode| run.points.contains(code);
        let all = state.ladder.rungs().iter();
        let (rungs, runs): (Vec<_>, Vec<_>) = match &scope {
            Scope::Programme => (all.collect(), state.runs.iter().collect()),
            Scope::Phase { phase } => (
                all.filter(|rung| rung.point.phase == *phase).collect(),
                state.runs.iter().filter(|run| run.phase == *phase).collect(),
            ),
            Scope::Day { day } => {
                let runs: Vec<_> = on_day(*day).collect();
                if runs.is_empty() {
                    return Err(Trouble::NothingThatDay { day: *day });
                }
                let run =
                    |rung: &&Rung| runs.iter().any(|run| run.points.contains(&rung.point.code));
                (all.filter(run).collect(), runs)
            }
            Scope::Point { point: code } => {
                let rung =
                    state.rung(code).ok_or_else(|| Trouble::NoSuchPoint { point: code.clone() })?;
                (vec![rung], state.runs.iter().filter(|run| has(run, code)).collect())
            }
        };
        let points = rungs.iter().map(|rung| &rung.point.code).collect();
        let numbers = runs.iter().map(|run| run.number).collect();
        Ok(Self { state, scope, rungs, runs, points, numbers })
    }

    pub fn has_run(&self, run: RunNumber) -> bool {
        self.numbers.contains(&run)
    }

    /// Results of a point that belong here, oldest first.
    pub fn results_of(&self, rung: &'a Rung) -> impl Iterator<Item = &'a ResultState> {
        let results = rung.results.iter().filter_map(|id| self.state.results.get(id.0));
        results.filter(|result| self.has_run(result.run))
    }

    /// All results that belong here, oldest first.
    pub fn results(&self) -> impl Iterator<Item = &'a ResultState> {
        let state = self.state;
        state.results.iter().filter(|it| self.has_run(it.run) && self.points.contains(&it.point))
    }

    /// Limits of the points here; of the programme all of them.
    pub fn limits(&self) -> BTreeSet<&'a LimitCode> {
        if self.scope == Scope::Programme {
            return self.state.limits.by_code.keys().collect();
        }
        let limits = self.rungs.iter().flat_map(|rung| self.state.limits_in_force(&rung.point));
        let codes = limits.filter_map(|it| self.state.limits.by_code.get_key_value(&it.limit.code));
        codes.map(|(code, _)| code).collect()
    }

    /// Hazards of the points here; of the programme all of them.
    pub fn hazards(&self) -> BTreeSet<&'a HazardCode> {
        if self.scope == Scope::Programme {
            return self.state.hazards.keys().collect();
        }
        self.rungs.iter().flat_map(|rung| &rung.point.hazards).collect()
    }

    /// Exceedances of the runs here; of a point those that concern it.
    pub fn exceedances(&self) -> impl Iterator<Item = &'a Exceedance> {
        let state = self.state;
        state.exceedances.iter().filter(|it| {
            let concerns = match &self.scope {
                Scope::Point { point: code } => {
                    it.point.as_ref() == Some(code)
                        || self
                            .rungs
                            .iter()
                            .any(|rung| state.exceedance_concerns(&it.limit, it.run, &rung.point))
                }
                Scope::Programme | Scope::Phase { .. } | Scope::Day { .. } => true,
            };
            self.has_run(it.run) && concerns
        })
    }

    /// Whether a point belongs here.
    pub fn has_point(&self, code: &PointCode) -> bool {
        self.points.contains(code)
    }
}
