//! How far the clocks of two recorders are apart, by a channel that both recorded.
//!
//! What is found is a proposal: it is never applied by itself, and a person confirms it.

mod correlation;
mod grid;
#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

use crate::Series;
use crate::limits::usual_step;
use correlation::correlations;
use grid::Grid;

/// Another peak that is so high, as a share of the highest, leaves it open which one is right.
pub const AMBIGUOUS_SHARE: f64 = 0.9;

/// A correlation below this shows no common channel.
pub const WEAK: f64 = 0.5;

/// Points within this share of the height are at the top of a peak.
const AT_THE_TOP: f64 = 0.98;

/// The two must overlap by this share of the shorter one; correlations over a few readings are chance.
const LEAST_OVERLAP: f64 = 0.3;

/// They must overlap by so many points of the grid at least.
const FEWEST_POINTS: f64 = 20.0;

/// The grid gets at most so many points for each of the two; of longer recordings it is coarser. Seven
/// hours at 10 Hz are less.
const MOST_POINTS: f64 = 262_144.0;

/// How far the offset that was found can be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Confidence {
    /// One peak, clearly higher than all others.
    Clear,
    /// Another peak is nearly as high, as where the same was flown again and again.
    Ambiguous,
    /// The highest correlation is too low for a channel that both recorded.
    Weak,
    /// The highest correlation is where the search ends: the true offset may lie outside.
    AtTheEdge,
}

/// Another offset at which the two agree.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SecondPeak {
    /// The offset, in seconds.
    pub seconds: f64,
    /// The correlation there, as a share of the highest.
    pub share: f64,
}

/// How far the other recorder's clock is behind.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ClockOffset {
    /// Seconds to add to the other recording's moments, so that they are those of the first.
    pub seconds: f64,
    /// The coefficient of correlation at that offset, from -1 to 1.
    pub correlation: f64,
    /// The highest peak apart from it; absent where there is none.
    pub second: Option<SecondPeak>,
    /// Over how many seconds around it the correlation stays above nine tenths of its height: a broad peak is a poor clock.
    pub width_s: f64,
    /// How long the two overlap at that offset, without what is missing, in seconds.
    pub overlap_s: f64,
    /// The step of the grid on which they were compared, in seconds.
    pub step_s: f64,
    /// How far it can be trusted.
    pub confidence: Confidence,
}

/// Why no offset was found.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NoOffset {
    /// A recording has too few readings of the channel.
    #[error(
        "the channel has too few readings in one of the two recordings; choose another channel"
    )]
    TooFewReadings,
    /// The bound of the search is not above zero.
    #[error(
        "the greatest offset {most_s} s is not above zero; state how far the clocks may be apart"
    )]
    NoBound {
        /// The bound that was given.
        most_s: f64,
    },
    /// The two overlap too little within the bound, or one of them stands still where they do.
    #[error(
        "within {most_s} s the two overlap too little, or the channel stands still; state a greater bound or choose a channel that moves"
    )]
    NothingToCompare {
        /// The bound that was given.
        most_s: f64,
    },
}

/// Estimates the offset of two clocks from a channel that both recorders have, in the same unit or not.
///
/// Both are put on one grid with the finer of the two usual steps, by straight lines between readings; what lies in gaps of
/// more than three usual steps is missing. For each offset of at most `most_s` seconds the coefficient of correlation is
/// taken over what both have, and the highest one is refined by a parabola fitted to its surroundings.
///
/// # Errors
///
/// [`NoOffset`] where there is nothing to compare.
///
/// # Source
///
/// Pearson's coefficient at every shift, by Fourier transforms; parabola by least squares: common practice, no source.
/// Held against NumPy in `tests/reference`. What counts as weak or ambiguous is our own choice.
pub fn clock_offset(
    first: Series<'_>,
    other: Series<'_>,
    most_s: f64,
) -> Result<ClockOffset, NoOffset> {
    if !(most_s > 0.0 && most_s.is_finite()) {
        return Err(NoOffset::NoBound { most_s });
    }
    let (first, other): (Vec<_>, Vec<_>) = (first.present().collect(), other.present().collect());
    let step_s = common_step_s(&first, &other).ok_or(NoOffset::TooFewReadings)?;
    let grids = (Grid::of(&first, step_s), Grid::of(&other, step_s));
    let (Some(first), Some(other)) = grids else { return Err(NoOffset::TooFewReadings) };
    // Moving the other one by `k` steps sets its clock on by the difference of the beginnings and `k` steps.
    let apart_s = first.start.seconds_since(other.start);
    let (lowest, highest) =
        (((-most_s - apart_s) / step_s).ceil(), ((most_s - apart_s) / step_s).floor());
    // A grid has far fewer points than an i64 has numbers, and the bound is cut to the grid.
    let shifts = lowest.max(1.0 - other.values.len() as f64) as i64
        ..=highest.min(first.values.len() as f64 - 1.0) as i64;
    let fewest = FEWEST_POINTS.max(LEAST_OVERLAP * first.known().min(other.known()));
    let found: Vec<_> = correlations(&first, &other, shifts.clone())
        .into_iter()
        .map(|it| it.over(fewest))
        .collect();
    let peak = highest_of(&found, |_| true).ok_or(NoOffset::NothingToCompare { most_s })?;

    let seconds = |place: f64| apart_s + (*shifts.start() as f64 + place) * step_s;
    let height = found[peak].correlation;
    let lobe = lobe(&found, peak, AMBIGUOUS_SHARE * height);
    let is_peak = |place: usize| {
        let next_to = [place.checked_sub(1), place.checked_add(1)];
        let of = |place: usize| found.get(place).map(|it| it.correlation);
        next_to
            .into_iter()
            .flatten()
            .filter_map(of)
            .all(|it| it.is_nan() || it <= found[place].correlation)
    };
    let second = highest_of(&found, |place| !lobe.contains(&place) && is_peak(place))
        .map(|place| SecondPeak {
            seconds: seconds(place as f64),
            share: found[place].correlation / height,
        })
        .filter(|second| second.share > 0.0);
    let at_the_edge = peak == 0
        || peak + 1 == found.len()
        || found[peak - 1].correlation.is_nan()
        || found[peak + 1].correlation.is_nan();
    let confidence = if height < WEAK {
        Confidence::Weak
    } else if at_the_edge {
        Confidence::AtTheEdge
    } else if second.is_some_and(|second| second.share >= AMBIGUOUS_SHARE) {
        Confidence::Ambiguous
    } else {
        Confidence::Clear
    };
    let refined = if at_the_edge { 0.0 } else { top(&found, peak) };
    Ok(ClockOffset {
        seconds: seconds(peak as f64 + refined),
        correlation: height,
        second,
        width_s: (lobe.end() - lobe.start()) as f64 * step_s,
        overlap_s: found[peak].points * step_s,
        step_s,
        confidence,
    })
}

/// The finer of two usual steps, in seconds, so far as the grid stays small enough.
fn common_step_s(first: &[(crate::Micros, f64)], other: &[(crate::Micros, f64)]) -> Option<f64> {
    let of = |readings: &[(crate::Micros, f64)]| {
        let moments: Vec<_> = readings.iter().map(|(moment, _)| *moment).collect();
        let whole_s = moments.last()?.seconds_since(*moments.first()?);
        let step_s = usual_step(&moments) as f64 / crate::moment::MICROS_PER_S;
        (step_s > 0.0).then_some((step_s, whole_s / MOST_POINTS))
    };
    let ((a, coarsest_a), (b, coarsest_b)) = (of(first)?, of(other)?);
    Some(a.min(b).max(coarsest_a).max(coarsest_b))
}

/// What two recordings have in common at one shift.
#[derive(Debug, Clone, Copy)]
struct Agreement {
    /// NaN where it is not known.
    correlation: f64,
    points: f64,
}

impl Agreement {
    /// Unknown where it rests on fewer points.
    fn over(self, fewest: f64) -> Self {
        Self {
            correlation: if self.points >= fewest { self.correlation } else { f64::NAN },
            ..self
        }
    }
}

/// The place of the highest known correlation among those wanted; the first of several.
fn highest_of(found: &[Agreement], wanted: impl Fn(usize) -> bool) -> Option<usize> {
    let known =
        found.iter().enumerate().filter(|(place, it)| !it.correlation.is_nan() && wanted(*place));
    let highest = known.reduce(|a, b| if b.1.correlation > a.1.correlation { b } else { a });
    highest.map(|(place, _)| place)
}

/// The places around a peak at which correlation stays at least so high.
fn lobe(found: &[Agreement], peak: usize, at_least: f64) -> std::ops::RangeInclusive<usize> {
    let high = |it: &&Agreement| it.correlation >= at_least;
    let before = found[..peak].iter().rev().take_while(high).count();
    let after = found[peak + 1..].iter().take_while(high).count();
    peak - before..=peak + after
}

/// Where the parabola that fits best around a peak has its top, in steps from the peak.
///
/// It is fitted to the points on both sides that stay within a fiftieth of the height, one at least: the peak of a slow
/// channel is so flat that noise moves its highest point by some steps, and more points say better where its middle is.
fn top(found: &[Agreement], peak: usize) -> f64 {
    let near = lobe(found, peak, AT_THE_TOP * found[peak].correlation);
    let reach = (peak - near.start()).min(near.end() - peak).max(1);
    let points = || {
        let places = (peak - reach..=peak + reach).zip(found[peak - reach..=peak + reach].iter());
        places.map(|(place, it)| (place as f64 - peak as f64, it.correlation))
    };
    // On a grid that is the same to both sides, slope and bend are found apart from each other.
    let count = 2.0 * reach as f64 + 1.0;
    let square = points().map(|(x, _)| x * x).sum::<f64>();
    let slope = points().map(|(x, y)| x * y).sum::<f64>() / square;
    let even = |x: f64| x * x - square / count;
    let bend = points().map(|(x, y)| even(x) * y).sum::<f64>()
        / points().map(|(x, _)| even(x).powi(2)).sum::<f64>();
    let top = -slope / (2.0 * bend);
    if bend < 0.0 { top.clamp(-(reach as f64), reach as f64) } else { 0.0 }
}
