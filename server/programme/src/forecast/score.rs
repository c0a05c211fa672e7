//! Held against what came true, and against earlier forecasts.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::answer::{DateSpread, SHARES};

/// How a forecast of a date did.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Score {
    /// Mean quantile loss over the four shares, in days: 0 only if all four dates were the true one. A lower score is a
    /// better forecast.
    pub loss_days: f64,
    /// The share of trials that had it no later than it came; about half of many forecasts should be below 0.5.
    pub share_before: f64,
    /// The true date less the one by which half of the trials had it, in days.
    pub late_by_days: i64,
}

/// Scores a forecast date against the true one; nothing where one of its dates was not reached.
///
/// # Source
///
/// The quantile (pinball) loss, which is least for the true quantiles: common practice in forecasting, no source.
pub fn score(forecast: &DateSpread, came: NaiveDate) -> Option<Score> {
    let mut loss_days = 0.0;
    for (share, date) in SHARES.into_iter().zip(forecast.by) {
        let late = (came - date?).num_days() as f64;
        loss_days += if late >= 0.0 { share * late } else { (share - 1.0) * late };
    }
    let all: u32 = forecast.weeks.values().sum();
    let before: u32 = forecast.weeks.range(..=came).map(|(_, trials)| *trials).sum();
    let reached = 1.0 - forecast.not_reached;
    Some(Score {
        loss_days: loss_days / SHARES.len() as f64,
        share_before: reached * f64::from(before) / f64::from(all.max(1)),
        late_by_days: (came - forecast.by[1]?).num_days(),
    })
}

/// By how many days the date of half the trials has slipped since an earlier forecast; negative: it has come nearer.
pub fn slip_days(earlier: &DateSpread, later: &DateSpread) -> Option<i64> {
    Some((later.by[1]? - earlier.by[1]?).num_days())
}
