//! Where the days went: days with runs, days that were lost and to what, and how long results waited for acceptance.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Days, NaiveDate, Utc};
use serde::Serialize;

use crate::codes::{PersonHandle, RunNumber};
use crate::forecast::works_on;
use crate::nouns::{LostTo, Phase};
use crate::state::{Run, Snag, StandDown, State};

/// No more days than these are looked at: ten years.
const MOST_DAYS: usize = 3_653;

/// A working day without a run.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct DayWithoutRun {
    /// Which, in UTC.
    pub date: NaiveDate,
    /// What it was lost to: as somebody noted, or else as the records of that day tell. Absent: nobody knows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cause: Option<LostTo>,
    /// Who noted it; absent where the cause comes from the records.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub noted_by: Option<PersonHandle>,
    /// What was noted, or what the records tell.
    pub account: String,
}

/// Days that were lost to one cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct CauseOfDays {
    /// The cause; absent: nobody knows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cause: Option<LostTo>,
    /// How many days.
    pub days: u32,
}

/// Where the days went, from the first run until yesterday. Days with runs and days without add up to the working days.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct DaysSpent {
    /// The day of the first run; absent: there was none, and nothing is counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<NaiveDate>,
    /// The last day that is over.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<NaiveDate>,
    /// Whether working days are those that forecasts assume; otherwise every day of the week counts as one.
    pub by_assumption: bool,
    /// Days on which the team works, or did.
    pub working_days: u32,
    /// Days on which a run was made.
    pub with_runs: u32,
    /// Working days without one, by cause, the cause with the most days first. Each day counts once.
    pub lost: Vec<CauseOfDays>,
    /// Those days, newest first.
    pub days: Vec<DayWithoutRun>,
}

/// The runs that began on a day in UTC.
pub fn runs_of_day(state: &State, date: NaiveDate) -> impl Iterator<Item = RunNumber> {
    let runs = state.runs.iter();
    runs.filter(move |run| run.day() == date).map(|run| run.number)
}

/// Whether the team works on a day: as forecasts assume, or on every day where nobody has said.
fn is_working_day(state: &State, date: NaiveDate) -> bool {
    state.planning.assumed.as_ref().is_none_or(|assumed| works_on(&assumed.assumptions, date))
}

impl DaysSpent {
    /// Looks at every day that is over.
    pub fn of(state: &State, now: DateTime<Utc>) -> Self {
        let with_runs: BTreeSet<NaiveDate> = state.runs.iter().map(Run::day).collect();
        let by_assumption = state.planning.assumed.is_some();
        let (Some(from), Some(to)) = (with_runs.first(), now.date_naive().pred_opt()) else {
            return Self { by_assumption, ..Self::default() };
        };
        let from = (*from).max(to - Days::new(MOST_DAYS as u64));
        let mut spent = Self { from: Some(from), to: Some(to), by_assumption, ..Self::default() };
        for date in from.iter_days().take_while(|date| *date <= to) {
            let noted = state.planning.lost.get(&date);
            if with_runs.contains(&date) {
                spent.working_days += 1;
                spent.with_runs += 1;
            } else if let Some(noted) = noted {
                if noted.cause.is_some() {
                    spent.lose(DayWithoutRun {
                        date,
                        cause: noted.cause,
                        noted_by: Some(noted.by.clone()),
                        account: noted.account.clone(),
                    });
                }
            } else if is_working_day(state, date) {
                let (cause, account) = told_by_records(state, date);
                spent.lose(DayWithoutRun { date, cause, noted_by: None, account });
            }
        }
        spent.days.reverse();
        spent.lost.sort_by_key(|lost| (std::cmp::Reverse(lost.days), lost.cause));
        spent
    }

    fn lose(&mut self, day: DayWithoutRun) {
        self.working_days += 1;
        match self.lost.iter_mut().find(|lost| lost.cause == day.cause) {
            Some(lost) => lost.days += 1,
            None => self.lost.push(CauseOfDays { cause: day.cause, days: 1 }),
        }
        self.days.push(day);
    }
}

/// What the records tell of a day on which nobody noted anything.
fn told_by_records(state: &State, date: NaiveDate) -> (Option<LostTo>, String) {
    let over = |began: DateTime<Utc>, ended: Option<DateTime<Utc>>| {
        began.date_naive() <= date && ended.is_none_or(|ended| ended.date_naive() >= date)
    };
    let down = |it: &&StandDown| over(it.at, it.lifted.as_ref().map(|(_, at, _)| *at));
    if let Some(it) = state.stand_downs.iter().find(down) {
        return (Some(LostTo::StandDown), format!("A stand-down was in force: {}", it.reason));
    }
    let grounds =
        |it: &&Snag| it.grounding && over(it.at, it.closed.as_ref().map(|(_, at, _)| *at));
    if let Some(it) = state.snags.iter().find(grounds) {
        let account = format!("Snag {} was open and grounds: {}", it.number, it.title);
        return (Some(LostTo::Aircraft), account);
    }
    (None, "Nobody noted why.".to_owned())
}

/// Working days from a run to the acceptance of its result, by phase, in the order of the results: 0 where it was accepted
/// on the day of the run. Results that were accepted and lapsed since are counted too; those recorded anew or accepted by
/// one person alone are not.
pub fn working_days_to_acceptance(state: &State) -> BTreeMap<Phase, Vec<f64>> {
    let mut found: BTreeMap<Phase, Vec<f64>> = BTreeMap::new();
    for result in &state.results {
        let (Some(engineering), Some(safety)) = (&result.engineering, &result.safety) else {
            continue;
        };
        let Some(ran) = state.run(result.run).map(Run::day) else { continue };
        let accepted = engineering.at.max(safety.at).date_naive();
        let after = ran.iter_days().skip(1).take(MOST_DAYS).take_while(|date| *date <= accepted);
        let days = after.filter(|date| is_working_day(state, *date)).count();
        found.entry(result.planned.phase).or_default().push(days as f64);
    }
    found
}
