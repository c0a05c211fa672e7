//! Figures that run along in time, held against one bound.

use super::edge::{is_at_least, is_at_most};
use super::span::{Gaps, Span, longer};
use super::{Caution, Exceedance, Furthest, Gap, Judged, LimitRule, Standing, State, WatchOptions};
use crate::{Micros, Statistic};

/// On which side of the bound figures are inside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    AtMost,
    AtLeast,
}

/// A bound and what goes with it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bound {
    pub(super) statistic: Statistic,
    pub(super) side: Side,
    pub(super) limit: f64,
    pub(super) caution: Option<f64>,
    /// How far figures may be wrong, where it is known.
    pub(super) accuracy: Option<f64>,
}

impl Bound {
    /// Whether a figure is inside; one exactly at the bound is.
    pub(super) fn holds(&self, figure: f64) -> bool {
        match self.side {
            Side::AtMost => is_at_most(figure, self.limit),
            Side::AtLeast => is_at_least(figure, self.limit),
        }
    }

    fn margin(&self, figure: f64) -> f64 {
        match self.side {
            Side::AtMost => self.limit - figure,
            Side::AtLeast => figure - self.limit,
        }
    }

    /// The figure if the sensor erred by so much to the wrong side.
    fn worse(&self, figure: f64, accuracy: f64) -> f64 {
        match self.side {
            Side::AtMost => figure + accuracy,
            Side::AtLeast => figure - accuracy,
        }
    }

    fn reaches(&self, figure: f64, caution: f64) -> bool {
        match self.side {
            Side::AtMost => is_at_least(figure, caution),
            Side::AtLeast => is_at_most(figure, caution),
        }
    }

    /// Says how the furthest figure lies, with the cautions that follow from it.
    pub(super) fn furthest(
        &self,
        (at, value): (Micros, f64),
        counted: bool,
        cautions: &mut Vec<Caution>,
    ) -> Furthest {
        let statistic = self.statistic;
        let inside = self.holds(value);
        let past = self.caution.filter(|caution| self.reaches(value, *caution));
        if let Some(warned_at) = past {
            cautions.push(Caution::PastCaution { statistic, value, warned_at });
        }
        let may_be = self.accuracy.map(|accuracy| self.worse(value, accuracy));
        let doubtful = may_be.filter(|may_be| inside && !self.holds(*may_be));
        if let Some(may_be) = doubtful {
            let bound = self.limit;
            cautions.push(Caution::CannotBeToldInside { statistic, value, may_be, bound });
        }
        Furthest {
            statistic,
            value,
            at,
            bound: self.limit,
            margin: self.margin(value),
            margin_after_accuracy: may_be.map(|may_be| self.margin(may_be)),
            beyond_within_accuracy: doubtful.is_some(),
            standing: match (inside, counted, past) {
                (true, _, None) => Standing::Within,
                (true, _, Some(_)) => Standing::Caution,
                (false, false, _) => Standing::BeyondWithinDwell,
                (false, true, _) => Standing::Beyond,
            },
        }
    }
}

/// Whether an interval beyond is long enough to count; one exactly as long as the dwell is not, and without dwell all are.
pub(super) fn counts(duration_s: f64, dwell_s: f64) -> bool {
    dwell_s <= 0.0 || !is_at_most(duration_s, dwell_s)
}

/// What was seen of figures against one bound.
#[derive(Debug, Default)]
pub(super) struct Watched {
    pub(super) found: Vec<Exceedance>,
    pub(super) furthest: Option<Furthest>,
    pub(super) cautions: Vec<Caution>,
    pub(super) gaps: Gaps,
}

/// An interval beyond that is not over yet.
struct Open {
    start: Micros,
    peak: (Micros, f64),
    longest_gap: Option<Gap>,
}

/// Holds figures, in order of time and none of them NaN, against a bound.
pub(super) fn watch(
    figures: impl Iterator<Item = (Micros, f64)>,
    bound: &Bound,
    span: Span,
    rule: &LimitRule,
    options: &WatchOptions,
) -> Watched {
    let mut seen = Watched::default();
    let (mut short, mut longest_short_s) = (0, 0.0_f64);
    let mut close = |open: Open, end: Micros, lasts_to_the_end: bool, seen: &mut Watched| {
        let duration_s = end.seconds_since(open.start);
        if counts(duration_s, rule.dwell_s) {
            seen.found.push(Exceedance {
                limit: rule.code.clone(),
                channel: rule.channel.clone(),
                start: open.start,
                end,
                duration_s,
                statistic: bound.statistic,
                peak: open.peak.1,
                peak_at: open.peak.0,
                bound: bound.limit,
                dwell_s: rule.dwell_s,
                lasts_to_the_end,
                longest_gap: open.longest_gap,
                odd_one_out: None,
            });
        } else {
            short += 1;
            longest_short_s = longest_short_s.max(duration_s);
        }
    };
    let mut open: Option<Open> = None;
    let mut before = span.from;
    let mut worst: Option<(Micros, f64)> = None;
    for (moment, figure) in figures {
        let gap = seen.gaps.note(before, moment, options);
        before = moment;
        if let Some(open) = &mut open {
            open.longest_gap = longer(open.longest_gap, gap);
        }
        if worst.is_none_or(|(_, worst)| bound.margin(figure) < bound.margin(worst)) {
            worst = Some((moment, figure));
        }
        if bound.holds(figure) {
            if let Some(open) = open.take() {
                close(open, moment, false, &mut seen);
            }
        } else {
            let open = open.get_or_insert(Open {
                start: moment,
                peak: (moment, figure),
                longest_gap: None,
            });
            if bound.margin(figure) < bound.margin(open.peak.1) {
                open.peak = (moment, figure);
            }
        }
    }
    let gap = seen.gaps.note(before, span.to, options);
    if let Some(mut open) = open.take() {
        open.longest_gap = longer(open.longest_gap, gap);
        close(open, span.to.max(before), true, &mut seen);
    }
    if short > 0 {
        seen.cautions.push(Caution::ShorterThanDwell {
            statistic: bound.statistic,
            times: short,
            longest_s: longest_short_s,
        });
    }
    let counted = !seen.found.is_empty();
    seen.furthest = worst.map(|worst| bound.furthest(worst, counted, &mut seen.cautions));
    seen
}

impl Judged {
    /// Puts together what was seen of one channel against each of its bounds.
    pub(super) fn of_channel(channel: &str, seen: Vec<Watched>) -> Self {
        let mut judged = Self::missing(vec![channel.to_owned()]);
        judged.cautions.extend(seen.first().and_then(|seen| seen.gaps.caution(channel)));
        for seen in seen {
            judged.found.extend(seen.found);
            judged.cautions.extend(seen.cautions);
            judged.furthest.extend(seen.furthest);
        }
        judged.found.sort_by_key(|found| found.start);
        if !judged.furthest.is_empty() {
            judged.state = State::Judged {};
        }
        judged
    }

    /// Nothing is known of these channels.
    pub(super) fn missing(channels: Vec<String>) -> Self {
        Self {
            state: State::Missing { channels },
            found: Vec::new(),
            furthest: Vec::new(),
            cautions: Vec::new(),
        }
    }
}
