//! What a day was: gathered from the state, each thing once.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use programme::codes::{PointCode, RunNumber};
use programme::measure::{Measure, Unit};
use programme::nouns::Statistic;
use programme::record::RunKind;
use programme::state::{Exceedance, State};

use crate::api::exceedances::exceedance_view;
use crate::api::results::{ResultRow, ResultStanding};
use crate::api::runs::RunView;
use crate::api::snags::snag_view;
use crate::pages::words::{channel_name, outcome, person, severity, statistic, times_in_short};

/// A run of the day.
#[derive(Debug, Clone)]
pub(crate) struct DayRun {
    pub run: RunNumber,
    pub kind: RunKind,
    pub times: String,
    pub powered: Option<u32>,
    pub energy: Option<String>,
    pub crew: Vec<String>,
    /// Point, and what its result said; absent: none was recorded.
    pub points: Vec<(PointCode, Option<(&'static str, ResultStanding)>)>,
    pub knocked_off: Option<String>,
    pub debrief: Option<String>,
    pub open: bool,
}

/// Each day on which something was run, found or checked, with its runs and results.
pub(super) fn days(state: &State) -> BTreeMap<NaiveDate, (usize, usize)> {
    let mut days: BTreeMap<NaiveDate, (usize, usize)> = BTreeMap::new();
    for run in &state.runs {
        days.entry(run.day()).or_default().0 += 1;
    }
    for result in &state.results {
        days.entry(result.at.date_naive()).or_default().1 += 1;
    }
    for at in others(state) {
        days.entry(at.date_naive()).or_default();
    }
    days
}

fn others(state: &State) -> impl Iterator<Item = DateTime<Utc>> {
    let done = state.checks.by_code.values().flat_map(|check| &check.done).map(|done| done.at);
    let snags = state.snags.iter().map(|snag| snag.at);
    let stops = state.stand_downs.iter().map(|called| called.at);
    done.chain(snags).chain(stops)
}

/// A run of the day, as it stands.
pub(super) fn day_run(state: &State, run: &programme::state::Run) -> DayRun {
    let seen = RunView::of(state, run);
    let result = |code: &PointCode| {
        let (_, found) = state.result(run.number, code)?;
        let row = ResultRow::of(found);
        Some((outcome(row.outcome), row.standing))
    };
    let seat = |it: &programme::record::CrewMember| {
        format!("{} ({})", person(state, &it.person), it.role.in_words())
    };
    DayRun {
        run: seen.run,
        kind: seen.kind,
        times: times_in_short(seen.kind, seen.times),
        powered: seen.powered_minutes,
        energy: seen.energy_kwh.map(|spent| format!("{} kWh", (spent * 1000.0).round() / 1000.0)),
        crew: seen.crew.iter().map(seat).collect(),
        points: seen.points.iter().map(|code| (code.clone(), result(code))).collect(),
        knocked_off: seen.knocked_off.map(|it| it.reason.to_owned()),
        debrief: seen.closed.as_ref().and_then(|it| it.debrief).map(str::to_owned),
        open: seen.closed.is_none(),
    }
}

/// An exceedance as a sentence.
pub(super) fn exceedance(state: &State, it: &Exceedance) -> Option<String> {
    let seen = exceedance_view(state, it).ok()?;
    let limit = state.limits.by_code.get(seen.limit);
    let channel = limit
        .map_or_else(|| seen.limit.to_string(), |known| channel_name(state, &known.limit.channel));
    let peak = match (seen.statistic, seen.unit) {
        (Statistic::TimeAbove, _) => format!("{} s", seen.peak),
        (_, Some(unit)) => Measure::new(seen.peak, unit).to_string(),
        (_, None) => seen.peak.to_string(),
    };
    let rate = if seen.statistic == Statistic::Rate { " a second" } else { "" };
    let lasted = seen.duration_s.map(|s| format!(" for {}", Measure::new(s, Unit::Second)));
    let stands = match (&seen.closed, &seen.explained) {
        (Some(_), _) => "closed",
        (None, Some(_)) => "explained, not closed",
        (None, None) => "not explained yet",
    };
    Some(format!(
        "No. {} in run {}: {channel}, {} {peak}{rate}{} beyond limit {}; {stands}.",
        seen.exceedance,
        seen.run,
        statistic(seen.statistic),
        lasted.unwrap_or_default(),
        seen.limit,
    ))
}

/// Snags that were opened or closed on a day.
pub(super) fn snags(state: &State, day: NaiveDate) -> Vec<(u32, String)> {
    let told = |snag: &programme::state::Snag| {
        let seen = snag_view(snag).ok()?;
        let opened = seen.at.date_naive() == day;
        let closed = seen.closed.as_ref().filter(|it| it.at.date_naive() == day);
        let did = match (opened, closed) {
            (true, Some(it)) => format!("opened and closed, by {}", person(state, it.by)),
            (true, None) => format!("opened by {}", person(state, seen.by)),
            (false, Some(it)) => format!("closed by {}", person(state, it.by)),
            (false, None) => return None,
        };
        let grounds = if seen.grounding { ", grounding" } else { "" };
        Some((seen.snag.0, format!("{did}{grounds}, {}: {}", severity(seen.severity), seen.title)))
    };
    state.snags.iter().filter_map(told).collect()
}

/// Checks that were done on a day.
pub(super) fn checks_done(state: &State, day: NaiveDate) -> Vec<String> {
    let checks = state.checks.by_code.values();
    let done = checks.flat_map(|known| known.done.iter().map(move |done| (known, done)));
    done.filter(|(_, done)| done.at.date_naive() == day)
        .map(|(known, done)| {
            let came = if done.passed { "passed" } else { "did not pass" };
            format!("{} ({}) {came}", known.check.title, known.check.code)
        })
        .collect()
}

/// Stand-downs that were called or lifted on a day.
pub(super) fn stops(state: &State, day: NaiveDate) -> Vec<String> {
    let mut stops = Vec::new();
    for called in &state.stand_downs {
        if called.at.date_naive() == day {
            let by = person(state, &called.by);
            stops.push(format!(
                "Stand-down called by {by}, {} UTC: {}",
                called.at.format("%H:%M"),
                called.reason
            ));
        }
        if let Some((by, at, reasons)) =
            called.lifted.as_ref().filter(|it| it.1.date_naive() == day)
        {
            let by = person(state, by);
            stops.push(format!("Stand-down lifted by {by}, {} UTC: {reasons}", at.format("%H:%M")));
        }
    }
    stops
}
