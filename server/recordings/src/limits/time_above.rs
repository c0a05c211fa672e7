//! Time above: seconds above a threshold, in all.

use super::bound::{Bound, Side, Watched, counts};
use super::edge::is_at_most;
use super::span::Gaps;
use super::{Caution, Channel, Exceedance};
use crate::moment::MICROS_PER_S;
use crate::{Micros, Statistic};

/// A stretch of time with one reading: it stands until the next one.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stretch {
    pub(super) from: Micros,
    pub(super) to: Micros,
    pub(super) value: f64,
}

impl Stretch {
    pub(super) fn seconds(self) -> f64 {
        self.to.seconds_since(self.from)
    }

    /// How long it is in microseconds: whole numbers add up exactly, in whatever order and blocks they come.
    pub(super) fn micros(self) -> f64 {
        self.to.0.saturating_sub(self.from.0) as f64
    }
}

/// Readings as stretches, the last one until the end.
pub(super) fn stretches(
    readings: impl Iterator<Item = (Micros, f64)>,
    end: Micros,
) -> impl Iterator<Item = Stretch> {
    let mut readings = readings.peekable();
    std::iter::from_fn(move || {
        let (from, value) = readings.next()?;
        let to = readings.peek().map_or(end.max(from), |(next, _)| *next);
        Some(Stretch { from, to, value })
    })
}

/// Seconds above a threshold. A reading above it counts until the next reading, also through a gap; one exactly at the
/// threshold does not count. The last reading counts until `end`.
pub fn seconds_above(
    readings: impl Iterator<Item = (Micros, f64)>,
    threshold: f64,
    end: Micros,
) -> f64 {
    let above = stretches(readings, end).filter(|it| !is_at_most(it.value, threshold));
    // The sum of nothing is -0.0.
    0.0 + above.map(Stretch::micros).sum::<f64>() / MICROS_PER_S
}

/// Holds the seconds above a threshold against a limit; exactly as long as the limit is inside.
///
/// There is one exceedance at most: from the moment at which the limit is used up to the end of the last time above. Its
/// duration is how long the value was above after that moment, and its peak all seconds above.
pub(super) fn watch(
    channel: &Channel<'_, '_>,
    threshold: f64,
    caution_s: Option<f64>,
    limit_s: f64,
) -> Watched {
    let (rule, options, span) = (channel.rule, channel.options, channel.span);
    let readings = channel.series.present();
    let gaps = Gaps::between(readings.clone().map(|(moment, _)| moment), span, options);
    let mut seen = Watched { gaps, ..Watched::default() };
    let Some((first, _)) = readings.clone().next() else { return seen };
    let total_s = seconds_above(readings.clone(), threshold, span.to);
    // How much longer it may have been: a sensor that shows too little by its accuracy.
    let accuracy = channel
        .accuracy()
        .map(|accuracy| seconds_above(readings.clone(), threshold - accuracy, span.to) - total_s);
    let bound = Bound {
        statistic: Statistic::TimeAbove,
        side: Side::AtMost,
        limit: limit_s,
        caution: caution_s,
        accuracy,
    };

    let (mut used, mut start, mut end) = (0.0, None, first);
    for stretch in stretches(readings, span.to).filter(|it| !is_at_most(it.value, threshold)) {
        let left_s = limit_s - used / MICROS_PER_S;
        used += stretch.micros();
        end = stretch.to;
        if start.is_none() && !is_at_most(used / MICROS_PER_S, limit_s) {
            start = Some(later_by(stretch.from, left_s));
        }
    }
    if let Some(start) = start {
        let duration_s = total_s - limit_s;
        if counts(duration_s, rule.dwell_s) {
            seen.found.push(Exceedance {
                limit: rule.code.clone(),
                channel: rule.channel.clone(),
                start,
                end,
                duration_s,
                statistic: Statistic::TimeAbove,
                peak: total_s,
                peak_at: end,
                bound: limit_s,
                dwell_s: rule.dwell_s,
                lasts_to_the_end: end >= span.to,
                longest_gap: None,
                odd_one_out: None,
            });
        } else {
            let statistic = Statistic::TimeAbove;
            seen.cautions.push(Caution::ShorterThanDwell {
                statistic,
                times: 1,
                longest_s: duration_s,
            });
        }
    }
    let counted = !seen.found.is_empty();
    seen.furthest = Some(bound.furthest((end, total_s), counted, &mut seen.cautions));
    seen
}

/// A moment and so many seconds, to the microsecond.
pub(crate) fn later_by(moment: Micros, seconds: f64) -> Micros {
    Micros(moment.0.saturating_add((seconds * MICROS_PER_S).round() as i64))
}
