//! Spread: sensors of a group that should agree.

use serde::{Deserialize, Serialize};

use super::bound::{Bound, Side, Watched};
use super::span::{Gaps, Span, watched};
use super::time_above::later_by;
use super::{Judged, LimitRule, State, WatchOptions};
use crate::{Micros, Series, Statistic};

/// A sensor whose score is greater than this stands out.
///
/// # Source
///
/// Iglewicz and Hoaglin, How to Detect and Handle Outliers, 1993; the figure as quoted in a function's documentation
/// (rdrr.io, `iglewicz_hoaglin`), not read in the book.
pub const ODD_SCORE: f64 = 3.5;

/// The share of the standard deviation that the median absolute deviation of normally distributed figures is.
const MAD_OF_NORMAL: f64 = 0.6745;

/// Which sensor of a group stands out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "odd", rename_all = "kebab-case")]
pub enum OddOneOut {
    /// One does.
    Named {
        /// Its channel.
        channel: String,
        /// How far it is from the middle of the group, in the channel's unit; the middle one of the interval's figures.
        from_middle: f64,
        /// Its score; absent where the others agree to the last digit, and it would be infinite.
        score: Option<f64>,
    },
    /// Two sensors differ, and nobody can say which of them is right.
    TwoSensors {},
    /// The group has drifted apart, and none stands out.
    NobodyStandsOut {},
}

/// The middle of figures that are not NaN; of an even number the mean of the middle two; absent of none.
pub(crate) fn median(figures: &mut [f64]) -> Option<f64> {
    let middle = figures.len() / 2;
    if figures.is_empty() {
        return None;
    }
    let even = figures.len().is_multiple_of(2);
    let (lower, upper, _) = figures.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if !even {
        return Some(upper);
    }
    let below = lower.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(below + (upper - below) / 2.0)
}

/// How far each figure is from the middle of all, in robust standard deviations: `0.6745 (x − median) / MAD`, MAD being the
/// median of the distances from the median. Infinite where more than half of the figures are alike and this one is not.
///
/// # Source
///
/// The modified z-score of Iglewicz and Hoaglin; see [`ODD_SCORE`]. Held against SciPy in `tests/reference`.
pub fn modified_z_scores(figures: &[f64]) -> Vec<f64> {
    let Some(middle) = median(&mut figures.to_vec()) else { return Vec::new() };
    let mut distances: Vec<f64> = figures.iter().map(|figure| (figure - middle).abs()).collect();
    let mad = median(&mut distances).unwrap_or(0.0);
    figures
        .iter()
        .map(|figure| match figure - middle {
            0.0 => 0.0,
            apart => MAD_OF_NORMAL * apart / mad,
        })
        .collect()
}

/// Which of a group's figures stands out; `figures` are channels with how far each is from the middle.
///
/// Where several stand out, the one furthest away is named; the first of two equally far.
pub fn odd_one_out(figures: &[(&str, f64)]) -> OddOneOut {
    if figures.len() < 3 {
        return OddOneOut::TwoSensors {};
    }
    let values: Vec<f64> = figures.iter().map(|(_, figure)| *figure).collect();
    let scores = modified_z_scores(&values);
    let middle = median(&mut values.clone()).unwrap_or(f64::NAN);
    let mut odd: Option<(&str, f64, f64)> = None;
    for ((channel, figure), score) in figures.iter().zip(scores) {
        let apart = figure - middle;
        if score.abs() > ODD_SCORE && odd.is_none_or(|(_, other, _)| apart.abs() > other.abs()) {
            odd = Some((channel, apart, score));
        }
    }
    match odd {
        None => OddOneOut::NobodyStandsOut {},
        Some((channel, from_middle, score)) => OddOneOut::Named {
            channel: channel.to_owned(),
            from_middle,
            score: score.is_finite().then_some(score),
        },
    }
}

/// Goes through the moments at which any sensor of a group has a reading, with what each shows: its last reading, if that
/// is at most [`WatchOptions::hold_s`] old, and NaN otherwise.
fn each_moment(group: &[Series<'_>], options: &WatchOptions, mut take: impl FnMut(Micros, &[f64])) {
    let mut next: Vec<_> = group.iter().map(|series| series.present().peekable()).collect();
    let mut last: Vec<Option<(Micros, f64)>> = vec![None; group.len()];
    let mut shown = vec![f64::NAN; group.len()];
    while let Some(moment) =
        next.iter_mut().filter_map(|readings| readings.peek().map(|(moment, _)| *moment)).min()
    {
        for ((readings, last), shown) in next.iter_mut().zip(&mut last).zip(&mut shown) {
            if let Some(reading) = readings.next_if(|(at, _)| *at <= moment) {
                *last = Some(reading);
            }
            *shown = last
                .filter(|(at, _)| moment.seconds_since(*at) <= options.hold_s)
                .map_or(f64::NAN, |(_, value)| value);
        }
        take(moment, &shown);
    }
}

/// The difference of the greatest and the smallest figure; absent where there are fewer than two.
fn difference(shown: &[f64]) -> Option<f64> {
    let present = shown.iter().copied().filter(|figure| !figure.is_nan());
    let (count, low, high) = present
        .fold((0, f64::INFINITY, f64::NEG_INFINITY), |(count, low, high), figure| {
            (count + 1, figure.min(low), figure.max(high))
        });
    (count > 1).then_some(high - low)
}

/// How far the sensors of a group differ, at each moment at which at least two of them are known.
///
/// A sensor's reading stands for the present one for [`WatchOptions::hold_s`] seconds, so that sensors that are read in turn
/// can be compared.
pub fn spreads(group: &[Series<'_>], options: &WatchOptions) -> Vec<(Micros, f64)> {
    let mut spreads = Vec::new();
    each_moment(group, options, |moment, shown| {
        spreads.extend(difference(shown).map(|spread| (moment, spread)));
    });
    spreads
}

/// Which sensor of a group stands out from one moment to another, both included: by the middle one of its distances from
/// the middle of the group, so that a single wrong reading names nobody.
///
/// A sensor without reading there is left out.
pub fn odd_one_out_over(
    group: &[(&str, Series<'_>)],
    from: Micros,
    to: Micros,
    options: &WatchOptions,
) -> OddOneOut {
    let held_from = later_by(from, -options.hold_s.abs());
    let series: Vec<_> = group.iter().map(|(_, series)| series.between(held_from, to)).collect();
    let mut apart: Vec<Vec<f64>> = vec![Vec::new(); group.len()];
    let mut present = Vec::with_capacity(group.len());
    each_moment(&series, options, |moment, shown| {
        if moment < from {
            return;
        }
        present.clear();
        present.extend(shown.iter().copied().filter(|figure| !figure.is_nan()));
        let Some(middle) = median(&mut present) else { return };
        for (apart, figure) in apart.iter_mut().zip(shown).filter(|(_, figure)| !figure.is_nan()) {
            apart.push(figure - middle);
        }
    });
    let middles: Vec<_> = group
        .iter()
        .zip(&mut apart)
        .filter_map(|((channel, _), apart)| median(apart).map(|apart| (*channel, apart)))
        .collect();
    odd_one_out(&middles)
}

/// Holds the spread of a group against a limit; a spread exactly at it is inside.
///
/// A sensor without any reading makes the limit missing; how far the others differ is told all the same.
pub(super) fn judge<'a>(
    rule: &LimitRule,
    with: &[String],
    (caution, limit): (Option<f64>, f64),
    series_of: &dyn Fn(&str) -> Option<Series<'a>>,
    options: &WatchOptions,
) -> Judged {
    let mut group: Vec<(&str, Series<'a>)> = Vec::new();
    let mut missing = Vec::new();
    for channel in std::iter::once(&rule.channel).chain(with) {
        let series = series_of(channel).map(|series| watched(series, options));
        match series.filter(|series| series.present().next().is_some()) {
            Some(series) => group.push((channel, series)),
            None => missing.push(channel.clone()),
        }
    }
    let series: Vec<_> = group.iter().map(|(_, series)| *series).collect();
    let Some(span) = Span::of(series.iter().copied(), options) else {
        return Judged::missing(missing);
    };
    // In the worst case the two sensors that err most are the two that differ most, each to its own side.
    let accuracies: Option<Vec<f64>> =
        group.iter().map(|(channel, _)| options.accuracy.get(*channel).copied()).collect();
    let accuracy = accuracies.map(|mut accuracies| {
        accuracies.sort_by(|a, b| b.total_cmp(a));
        accuracies.iter().take(2).sum()
    });
    let bound =
        Bound { statistic: Statistic::Spread, side: Side::AtMost, limit, caution, accuracy };
    let spreads = spreads(&series, options);
    let Watched { mut found, furthest, cautions, gaps } =
        super::bound::watch(spreads.into_iter(), &bound, span, rule, options);
    for one in &mut found {
        // The reading that ended it is inside again.
        let last = if one.lasts_to_the_end { one.end } else { Micros(one.end.0.saturating_sub(1)) };
        one.odd_one_out = Some(odd_one_out_over(&group, one.start, last, options));
    }
    let mut told: Vec<_> = group
        .iter()
        .filter_map(|(channel, series)| {
            Gaps::between(series.present().map(|(moment, _)| moment), span, options)
                .caution(channel)
        })
        .collect();
    // Where each sensor has readings and yet no two of them at the same time, their spread was not watched either.
    if told.is_empty() {
        told.extend(gaps.caution(&rule.channel));
    }
    told.extend(cautions);
    if furthest.is_none() && missing.is_empty() {
        missing = group.iter().map(|(channel, _)| (*channel).to_owned()).collect();
    }
    let state =
        if missing.is_empty() { State::Judged {} } else { State::Missing { channels: missing } };
    Judged { state, found, furthest: furthest.into_iter().collect(), cautions: told }
}
