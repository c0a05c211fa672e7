//! Rating: a continuous one, and higher ones for a limited time.
//!
//! Time above the continuous rating is used up second by second, and comes back while the value is at or below it: so many
//! seconds in each second as [`WatchOptions::recovery_ratio`] says. It never comes back at once. How much may be used is what
//! the highest of the ratings allows that was made use of since all time had come back; the same rule as the programme has
//! for a whole run. The value may never be above the highest rating. At the first reading nothing is taken to be in use, so
//! the whole run is to be given, not a part of it. A time without watch uses on where it began above, and brings nothing
//! back.
//!
//! # Source
//!
//! Common practice, no source: makers state their own rule for recovery, and where one is stated it is to be used.
//!
//! [`WatchOptions::recovery_ratio`]: super::WatchOptions::recovery_ratio

use super::bound::{Bound, Side, Watched, counts};
use super::edge::is_at_most;
use super::time_above::{Stretch, later_by, stretches};
use super::{Caution, Channel, Exceedance, TimedRating, maximum};
use crate::moment::MICROS_PER_S;
use crate::{Micros, Statistic};

/// Holds readings against ratings: the greatest value against the highest rating, and the time in use.
pub(super) fn watch(
    channel: &Channel<'_, '_>,
    continuous: f64,
    timed: &[TimedRating],
) -> Vec<Watched> {
    let highest = timed.iter().map(|rating| rating.value).fold(continuous, f64::max);
    vec![
        maximum::watch(channel, Some(continuous), highest),
        time_in_use(channel, continuous, timed),
    ]
}

/// How much of the time is in use.
struct Use<'r> {
    continuous: f64,
    timed: &'r [TimedRating],
    recovery_ratio: f64,
    gap_s: f64,
    /// Microseconds in use: whole numbers add up exactly.
    used: f64,
    /// Seconds that may be in use.
    allowed_s: f64,
}

impl<'r> Use<'r> {
    fn none(continuous: f64, timed: &'r [TimedRating], channel: &Channel<'_, '_>) -> Self {
        let options = channel.options;
        Self {
            continuous,
            timed,
            recovery_ratio: options.recovery_ratio.max(0.0),
            gap_s: options.gap_s,
            used: 0.0,
            allowed_s: f64::INFINITY,
        }
    }

    fn used_s(&self) -> f64 {
        self.used / MICROS_PER_S
    }

    /// What the lowest rating that covers a value allows; above all of them what the highest does.
    fn allowed_at(&self, value: f64) -> f64 {
        let used = self.timed.iter().find(|rating| is_at_most(value, rating.value));
        used.or(self.timed.last()).map_or(0.0, |rating| rating.seconds)
    }

    /// Lets a stretch pass. Gives, where it is above the continuous rating, after how many of its seconds the time that may
    /// be used is used up: 0 where it was so before, absent where it is not.
    fn pass(&mut self, stretch: Stretch) -> Passed {
        if is_at_most(stretch.value, self.continuous) {
            // What is not watched is not known to recover.
            if stretch.seconds() <= self.gap_s {
                self.used = (self.used - self.recovery_ratio * stretch.micros()).max(0.0);
            }
            if self.used == 0.0 {
                self.allowed_s = f64::INFINITY;
            }
            return Passed { above: false, used_up_after_s: None };
        }
        self.allowed_s = self.allowed_s.min(self.allowed_at(stretch.value));
        let left_s = (self.allowed_s - self.used_s()).max(0.0);
        self.used += stretch.micros();
        let used_up = !is_at_most(self.used_s(), self.allowed_s);
        Passed { above: true, used_up_after_s: used_up.then_some(left_s) }
    }
}

struct Passed {
    above: bool,
    used_up_after_s: Option<f64>,
}

/// The least that is left of the time that may be used, in seconds, if the sensor shows too little by so much.
fn least_margin_s(
    channel: &Channel<'_, '_>,
    continuous: f64,
    timed: &[TimedRating],
    accuracy: f64,
) -> f64 {
    let mut in_use = Use::none(continuous, timed, channel);
    stretches(channel.series.present(), channel.span.to)
        .map(|stretch| {
            in_use.pass(Stretch { value: stretch.value + accuracy, ..stretch });
            in_use.allowed_s - in_use.used_s()
        })
        .fold(f64::INFINITY, f64::min)
}

/// An interval in which more time is in use than may be.
struct Open {
    start: Micros,
    peak_s: f64,
    bound_s: f64,
    end: Micros,
}

fn time_in_use(channel: &Channel<'_, '_>, continuous: f64, timed: &[TimedRating]) -> Watched {
    let (rule, span) = (channel.rule, channel.span);
    let mut seen = Watched::default();
    let mut in_use = Use::none(continuous, timed, channel);
    let mut open: Option<Open> = None;
    // The end of the stretch with the least margin, the seconds in use there, and what may be.
    let mut nearest: Option<(Micros, f64, f64)> = None;
    let (mut short, mut longest_short_s) = (0, 0.0_f64);
    let mut close = |open: Option<Open>, found: &mut Vec<Exceedance>| {
        let Some(open) = open else { return };
        let duration_s = open.end.seconds_since(open.start);
        if !counts(duration_s, rule.dwell_s) {
            short += 1;
            longest_short_s = longest_short_s.max(duration_s);
            return;
        }
        found.push(Exceedance {
            limit: rule.code.clone(),
            channel: rule.channel.clone(),
            start: open.start,
            end: open.end,
            duration_s,
            statistic: Statistic::TimeAbove,
            peak: open.peak_s,
            peak_at: open.end,
            bound: open.bound_s,
            dwell_s: rule.dwell_s,
            lasts_to_the_end: open.end >= span.to,
            longest_gap: None,
            odd_one_out: None,
        });
    };
    for stretch in stretches(channel.series.present(), span.to) {
        let passed = in_use.pass(stretch);
        let (used_s, allowed_s) = (in_use.used_s(), in_use.allowed_s);
        let margin = |(_, used, allowed): (Micros, f64, f64)| allowed - used;
        if passed.above && nearest.is_none_or(|it| allowed_s - used_s < margin(it)) {
            nearest = Some((stretch.to, used_s, allowed_s));
        }
        match passed.used_up_after_s {
            Some(after_s) => {
                let start = later_by(stretch.from, after_s);
                let open =
                    open.get_or_insert(Open { start, peak_s: 0.0, bound_s: 0.0, end: start });
                (open.peak_s, open.bound_s, open.end) = (used_s, allowed_s, stretch.to);
            }
            None => close(open.take(), &mut seen.found),
        }
    }
    close(open.take(), &mut seen.found);
    if short > 0 {
        let (statistic, times) = (Statistic::TimeAbove, short);
        seen.cautions.push(Caution::ShorterThanDwell {
            statistic,
            times,
            longest_s: longest_short_s,
        });
    }
    let Some((first, _)) = channel.series.present().next() else { return seen };
    // Never above the continuous rating: nothing of what the lowest of the others allows is in use.
    let idle = (first, 0.0, timed.first().map_or(0.0, |rating| rating.seconds));
    let (at, used_s, allowed_s) = nearest.unwrap_or(idle);
    let bound = Bound {
        statistic: Statistic::TimeAbove,
        side: Side::AtMost,
        limit: allowed_s,
        caution: None,
        accuracy: channel.accuracy().map(|accuracy| {
            let margin_s = least_margin_s(channel, continuous, timed, accuracy);
            (allowed_s - used_s - margin_s).max(0.0)
        }),
    };
    let counted = !seen.found.is_empty();
    seen.furthest = Some(bound.furthest((at, used_s), counted, &mut seen.cautions));
    seen
}
