//! Recordings held against limits.
//!
//! [`exceedances`] takes one limit and the channels of a recording, and gives the intervals in which the channel was beyond
//! the limit for longer than it allows, the figure that came nearest, and what was not watched. Missing is never a pass: a
//! channel without reading makes [`State::Missing`], a time without reading is told, and it never ends an interval beyond.

mod bound;
pub(crate) mod edge;
mod judged;
mod maximum;
mod minimum;
mod range;
mod rate;
mod rating;
mod rule;
mod span;
mod spread;
#[cfg(test)]
mod tests;
mod time_above;

pub use judged::{Caution, Exceedance, Furthest, Gap, Judged, Standing, State};
pub use rate::rates;
pub use rule::{KindOfLimit, LimitRule, TimedRating, WatchOptions};
pub(crate) use span::usual_step;
pub use spread::{ODD_SCORE, OddOneOut, modified_z_scores, odd_one_out, odd_one_out_over, spreads};
pub(crate) use time_above::later_by;
pub use time_above::seconds_above;

use crate::Series;

/// Holds a recording against one limit. `series_of` gives a channel by its code.
///
/// The figures of the rule are in the channel's unit. Every statistic that the kind of limit is held against is judged by
/// itself, as the programme does: a range by `min` and `max`, a rating by `max` and `time-above`.
pub fn exceedances<'a>(
    rule: &LimitRule,
    series_of: &dyn Fn(&str) -> Option<Series<'a>>,
    options: &WatchOptions,
) -> Judged {
    if let KindOfLimit::Spread { with, caution, limit } = &rule.kind {
        return spread::judge(rule, with, (*caution, *limit), series_of, options);
    }
    let Some(series) = series_of(&rule.channel).map(|series| span::watched(series, options)) else {
        return Judged::missing(vec![rule.channel.clone()]);
    };
    let Some(span) = span::Span::of([series].into_iter(), options) else {
        return Judged::missing(vec![rule.channel.clone()]);
    };
    let channel = Channel { series, span, rule, options };
    let seen = match &rule.kind {
        KindOfLimit::Maximum { caution, limit } => vec![maximum::watch(&channel, *caution, *limit)],
        KindOfLimit::Minimum { caution, limit } => vec![minimum::watch(&channel, *caution, *limit)],
        KindOfLimit::Range { low, high, caution_low, caution_high } => {
            range::watch(&channel, (*caution_low, *low), (*caution_high, *high))
        }
        KindOfLimit::Rate { caution_per_s, limit_per_s } => {
            vec![rate::watch(&channel, *caution_per_s, *limit_per_s)]
        }
        KindOfLimit::TimeAbove { threshold, caution_s, limit_s } => {
            vec![time_above::watch(&channel, *threshold, *caution_s, *limit_s)]
        }
        KindOfLimit::Rating { continuous, timed } => rating::watch(&channel, *continuous, timed),
        // Reads several channels, so it was judged above.
        KindOfLimit::Spread { .. } => Vec::new(),
    };
    Judged::of_channel(&rule.channel, seen)
}

/// One channel that is watched.
struct Channel<'a, 'r> {
    series: Series<'a>,
    span: span::Span,
    rule: &'r LimitRule,
    options: &'r WatchOptions,
}

impl Channel<'_, '_> {
    /// The accuracy of its sensor, where it is known.
    fn accuracy(&self) -> Option<f64> {
        self.options.accuracy.get(&self.rule.channel).copied()
    }

    /// Holds its readings against a bound.
    fn watch(&self, bound: &bound::Bound) -> bound::Watched {
        bound::watch(self.series.present(), bound, self.span, self.rule, self.options)
    }
}
