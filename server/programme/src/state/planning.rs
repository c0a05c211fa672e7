//! What forecasts rest on, the forecasts themselves, and plans of days. No hold looks at any of it.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};

use crate::codes::{DayPlanNumber, ForecastNumber, PersonHandle};
use crate::day_plan::{DayPlan, DayTerms};
use crate::entry::Entry;
use crate::forecast::{Assumptions, Driver, Forecast};
use crate::nouns::LostTo;
use crate::record::{DayLost, DayPlanProposed, ForecastAssumed, ForecastMade};

/// What forecasts rest on.
#[derive(Debug, Clone, PartialEq)]
pub struct AssumedForecast {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// All of it.
    pub assumptions: Assumptions,
}

/// A forecast.
#[derive(Debug, Clone, PartialEq)]
pub struct MadeForecast {
    /// Its number.
    pub number: ForecastNumber,
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The record of what was assumed.
    pub assumed: u64,
    /// What it tells.
    pub told: Forecast,
    /// What would move the dates most.
    pub drivers: Vec<Driver>,
}

/// A plan of a day: a proposal.
#[derive(Debug, Clone, PartialEq)]
pub struct ProposedDay {
    /// Its number.
    pub number: DayPlanNumber,
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The plan of the same day whose place it takes.
    pub replaces: Option<DayPlanNumber>,
    /// The forecast by which points count as critical.
    pub forecast: Option<ForecastNumber>,
    /// What was given for the day.
    pub terms: DayTerms,
    /// The plan.
    pub day: DayPlan,
}

/// What was said of a day that may have been lost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LostDay {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// To what; absent: it was not lost.
    pub cause: Option<LostTo>,
    /// What there is to say about it.
    pub account: String,
}

/// Forecasts and plans of days.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Planning {
    /// What was assumed last.
    pub assumed: Option<AssumedForecast>,
    /// Forecasts by number, from 1.
    pub forecasts: Vec<MadeForecast>,
    /// Plans of days by number, from 1.
    pub days: Vec<ProposedDay>,
    /// What was said last of days that may have been lost.
    pub lost: BTreeMap<NaiveDate, LostDay>,
}

impl Planning {
    pub(super) fn assume(&mut self, body: &ForecastAssumed, entry: &Entry) {
        self.assumed = Some(AssumedForecast {
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            assumptions: body.assumptions.clone(),
        });
    }

    pub(super) fn forecast(&mut self, body: &ForecastMade, entry: &Entry) {
        self.forecasts.push(MadeForecast {
            number: body.forecast,
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            assumed: body.assumed,
            told: body.told.clone(),
            drivers: body.drivers.clone(),
        });
    }

    pub(super) fn propose(&mut self, body: &DayPlanProposed, entry: &Entry) {
        self.days.push(ProposedDay {
            number: body.plan,
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            replaces: body.replaces,
            forecast: body.forecast,
            terms: body.terms.clone(),
            day: body.day.clone(),
        });
    }

    pub(super) fn lose_day(&mut self, body: &DayLost, entry: &Entry) {
        let said = LostDay {
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            cause: body.cause,
            account: body.account.clone(),
        };
        self.lost.insert(body.date, said);
    }

    /// A forecast by its number.
    pub fn forecast_of(&self, number: ForecastNumber) -> Option<&MadeForecast> {
        self.forecasts.get((number.0 as usize).checked_sub(1)?)
    }

    /// A plan of a day by its number.
    pub fn day(&self, number: DayPlanNumber) -> Option<&ProposedDay> {
        self.days.get((number.0 as usize).checked_sub(1)?)
    }

    /// The plan of a whole day, not of the rest of one, that was proposed last.
    pub fn last_whole_day(&self) -> Option<&ProposedDay> {
        self.days.iter().rev().find(|day| day.replaces.is_none())
    }

    /// The plan that took the place of another.
    pub fn replaced_by(&self, number: DayPlanNumber) -> Option<DayPlanNumber> {
        let later = self.days.iter().rev().find(|day| day.replaces == Some(number))?;
        Some(later.number)
    }
}
