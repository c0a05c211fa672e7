//! Finds intervals in which stated conditions hold.

use serde::{Deserialize, Serialize};

use crate::limits::edge::{is_at_least, is_at_most};
use crate::statistics::mean_over_time;
use crate::{Micros, Series};

/// What a channel is to hold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Held {
    /// The channel.
    pub channel: String,
    /// What is to be held, in the channel's unit.
    pub target: f64,
    /// Plus or minus, in the same unit; exactly so far off is still held.
    pub tolerance: f64,
}

/// How long the conditions are to hold.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Lasting {
    /// At least so long, in seconds; exactly so long is long enough.
    pub at_least_s: f64,
    /// A channel may be without reading for at most so long inside, in seconds. Longer, and it is not held.
    pub dropout_s: f64,
}

/// An interval in which all conditions hold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Steady {
    /// The reading with which the last of the channels comes into its tolerance.
    pub from: Micros,
    /// The last reading before any of them leaves it, or drops out.
    pub to: Micros,
    /// How long it is, in seconds.
    pub seconds: f64,
    /// The mean over time of each channel, in the order of the conditions; readings are joined by straight lines.
    pub means: Vec<f64>,
}

/// Channels of the conditions that the recording lacks.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "the recording has no channel {}; conditions on it can't be looked for",
    channels.join(", ")
)]
pub struct NoSuchChannels {
    /// The channels.
    pub channels: Vec<String>,
}

/// Finds all intervals in which every condition holds for long enough; the longest first, of equally long ones the earlier.
///
/// A reading outside the tolerance ends an interval at the reading before it. A reading that is missing is not held: an
/// interval goes on over it only if the next one is inside and comes within the dropout that is allowed.
///
/// # Errors
///
/// [`NoSuchChannels`] where the recording lacks any. Without conditions nothing is found.
pub fn steady<'a>(
    conditions: &[Held],
    series_of: &dyn Fn(&str) -> Option<Series<'a>>,
    lasting: Lasting,
) -> Result<Vec<Steady>, NoSuchChannels> {
    let found: Vec<_> = conditions.iter().map(|held| (held, series_of(&held.channel))).collect();
    let channels: Vec<String> = found
        .iter()
        .filter(|(_, series)| series.is_none())
        .map(|(held, _)| held.channel.clone())
        .collect();
    if !channels.is_empty() {
        return Err(NoSuchChannels { channels });
    }
    let held: Vec<_> =
        found.into_iter().filter_map(|(held, series)| Some((held, series?))).collect();
    let together = held
        .iter()
        .map(|(held, series)| stretches(held, *series, lasting.dropout_s))
        .reduce(|one, other| common(&one, &other))
        .unwrap_or_default();
    let mut steady: Vec<Steady> = together
        .into_iter()
        .filter(|(from, to)| is_at_least(to.seconds_since(*from), lasting.at_least_s))
        .map(|(from, to)| {
            let mean = |series: &Series<'a>| {
                let readings: Vec<_> = series.between(from, to).present().collect();
                mean_over_time(&readings).unwrap_or(f64::NAN)
            };
            let means = held.iter().map(|(_, series)| mean(series)).collect();
            Steady { from, to, seconds: to.seconds_since(from), means }
        })
        .collect();
    steady.sort_by(|a, b| b.seconds.total_cmp(&a.seconds).then(a.from.cmp(&b.from)));
    Ok(steady)
}

/// The stretches in which one channel is held, from reading to reading.
fn stretches(held: &Held, series: Series<'_>, dropout_s: f64) -> Vec<(Micros, Micros)> {
    let mut stretches: Vec<(Micros, Micros)> = Vec::new();
    let mut open = false;
    for (moment, value) in series.present() {
        let inside = is_at_least(value, held.target - held.tolerance)
            && is_at_most(value, held.target + held.tolerance);
        match stretches.last_mut().filter(|_| open && inside) {
            Some((_, to)) if is_at_most(moment.seconds_since(*to), dropout_s) => *to = moment,
            _ if inside => stretches.push((moment, moment)),
            _ => {}
        }
        open = inside;
    }
    stretches
}

/// The times that two lists of stretches have in common; each list is in order and its stretches do not touch.
fn common(one: &[(Micros, Micros)], other: &[(Micros, Micros)]) -> Vec<(Micros, Micros)> {
    let mut common = Vec::new();
    let (mut one, mut other) = (one.iter().peekable(), other.iter().peekable());
    while let (Some(a), Some(b)) = (one.peek(), other.peek()) {
        let (from, to) = (a.0.max(b.0), a.1.min(b.1));
        if from <= to {
            common.push((from, to));
        }
        if a.1 <= b.1 {
            one.next();
        } else {
            other.next();
        }
    }
    common
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use proptest::prelude::*;

    use super::*;

    fn tenths(count: usize) -> Vec<Micros> {
        (0..count as i64).map(|row| Micros(row * 100_000)).collect()
    }

    fn find(channels: &[(&str, f64, f64, &[f64])], lasting: Lasting) -> Vec<Steady> {
        let times = tenths(channels[0].3.len());
        let conditions: Vec<_> = channels
            .iter()
            .map(|(channel, target, tolerance, _)| Held {
                channel: (*channel).to_owned(),
                target: *target,
                tolerance: *tolerance,
            })
            .collect();
        let series_of = |code: &str| {
            let (.., values) = channels.iter().find(|(channel, ..)| *channel == code)?;
            Some(Series { times: &times[..values.len()], values })
        };
        steady(&conditions, &series_of, lasting).unwrap()
    }

    #[test]
    fn conditions_that_hold_together_are_found_the_longest_first_with_their_means() {
        let speed = [60.0, 64.9, 65.0, 70.0, 75.0, 75.1, 70.0, 70.0, 70.0, 70.0, 70.0, 90.0];
        let height = [500.0; 12];
        let lasting = Lasting { at_least_s: 0.2, dropout_s: 0.5 };
        let found = find(&[("v", 70.0, 5.0, &speed), ("h", 500.0, 10.0, &height)], lasting);
        let times: Vec<_> = found.iter().map(|it| (it.from.0, it.to.0)).collect();
        assert_eq!(times, [(600_000, 1_000_000), (200_000, 400_000)]);
        assert_eq!(found[1].means, [70.0, 500.0]);
    }

    #[test]
    fn an_interval_exactly_as_long_as_asked_for_is_found_and_one_step_shorter_is_not() {
        for (at_least_s, count) in [(0.2, 1), (0.200_001, 0)] {
            let lasting = Lasting { at_least_s, dropout_s: 0.5 };
            let found = find(&[("v", 70.0, 5.0, &[0.0, 70.0, 70.0, 70.0, 0.0])], lasting);
            assert_eq!(found.len(), count);
        }
    }

    #[test]
    fn a_dropout_up_to_what_is_allowed_is_bridged_and_a_longer_one_is_not_held() {
        let values = [70.0, 70.0, f64::NAN, f64::NAN, 70.0, 70.0];
        for (dropout_s, count) in [(0.3, 1), (0.299_999, 2)] {
            let found = find(&[("v", 70.0, 5.0, &values)], Lasting { at_least_s: 0.1, dropout_s });
            assert_eq!(found.len(), count, "{dropout_s}");
        }
    }

    #[test]
    fn a_condition_on_a_channel_that_is_not_there_is_refused_by_name() {
        let held = Held { channel: "q".to_owned(), target: 1.0, tolerance: 1.0 };
        let lasting = Lasting { at_least_s: 1.0, dropout_s: 1.0 };
        let refused = steady(&[held], &|_| None, lasting).unwrap_err();
        assert_eq!(refused.channels, ["q"]);
        assert!(steady(&[], &|_| None, lasting).unwrap().is_empty());
    }

    proptest! {
        #[test]
        fn every_reading_in_what_is_found_is_held_and_a_wider_tolerance_loses_nothing(
            values in prop::collection::vec(prop_oneof![5 => -3.0..3.0_f64, 1 => Just(f64::NAN)], 1..80),
            tolerance in 0.1..3.0_f64,
        ) {
            let lasting = Lasting { at_least_s: 0.2, dropout_s: 0.25 };
            let narrow = find(&[("v", 0.0, tolerance, &values)], lasting);
            let wide = find(&[("v", 0.0, tolerance * 1.5, &values)], lasting);
            for one in &narrow {
                let times = tenths(values.len());
                let inside = Series { times: &times, values: &values }.between(one.from, one.to);
                prop_assert!(inside.present().all(|(_, value)| value.abs() <= tolerance + 1e-8));
                prop_assert!(wide.iter().any(|it| it.from <= one.from && it.to >= one.to));
            }
        }
    }
}
