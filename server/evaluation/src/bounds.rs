//! The levels of limits in the unit of a channel, and when readings are beyond them: what a plot shows beside the readings.
//!
//! This draws; it does not judge. How long a value may be beyond, heating, and what counts over a whole run are not in it.

use programme::measure::{Measure, Unit};
use programme::nouns::{Limit, LimitKind};
use recordings::{Micros, Series};
use serde::Serialize;

/// On which side of a level trouble is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
#[schema(as = LevelSide)]
pub enum Side {
    /// Readings must not be above it.
    Above,
    /// Readings must not be below it.
    Below,
}

/// What a level is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LevelKind {
    /// From here on people are warned.
    Caution,
    /// The limit.
    Limit,
    /// Time above it is counted.
    TimeCounts,
}

/// One level of a limit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, utoipa::ToSchema)]
#[schema(as = LimitLevel)]
pub struct Level {
    /// What it is.
    pub level: LevelKind,
    /// On which side trouble is.
    pub side: Side,
    /// Its value in the channel's unit.
    pub value: f64,
}

/// The levels of a limit in the unit of a channel. A rate and a spread have none, since they are no values of one channel.
pub fn levels(limit: &Limit, unit: Unit) -> Vec<Level> {
    use LevelKind::{Caution, Limit as Bound, TimeCounts};
    use Side::{Above, Below};
    let mut levels = Vec::new();
    let mut add = |level, side, figure: Option<f64>| {
        let value = figure.and_then(|figure| Measure::new(figure, limit.unit).in_unit(unit));
        levels.extend(value.map(|value| Level { level, side, value }));
    };
    match &limit.kind {
        LimitKind::Maximum { caution, limit } => {
            add(Caution, Above, *caution);
            add(Bound, Above, Some(*limit));
        }
        LimitKind::Minimum { caution, limit } => {
            add(Caution, Below, *caution);
            add(Bound, Below, Some(*limit));
        }
        LimitKind::Range { low, high, caution_low, caution_high } => {
            add(Bound, Below, Some(*low));
            add(Caution, Below, *caution_low);
            add(Caution, Above, *caution_high);
            add(Bound, Above, Some(*high));
        }
        LimitKind::TimeAbove { threshold, .. } => add(TimeCounts, Above, Some(*threshold)),
        LimitKind::Rating { continuous, timed } => {
            add(TimeCounts, Above, Some(*continuous));
            // Between two ratings the time of the higher one counts; beyond the highest nothing is allowed.
            for (place, rating) in timed.iter().enumerate() {
                let last = place + 1 == timed.len();
                add(if last { Bound } else { TimeCounts }, Above, Some(rating.value));
            }
        }
        LimitKind::Rate { .. } | LimitKind::Spread { .. } => {}
    }
    levels
}

/// A stretch in which readings were beyond a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beyond {
    /// The first reading beyond it.
    pub from: Micros,
    /// The last reading beyond it.
    pub to: Micros,
    /// The reading farthest beyond it.
    pub peak: f64,
    /// When that was.
    pub peak_at: Micros,
}

/// The stretches in which readings were beyond a level, whatever time that took. A reading exactly at a level is inside it.
///
/// A missing reading does not end a stretch: nothing says that the value was inside meanwhile.
pub fn beyond(series: Series<'_>, level: &Level) -> Vec<Beyond> {
    let mut found: Vec<Beyond> = Vec::new();
    let mut open = false;
    let is_farther = |value: f64, than: f64| match level.side {
        Side::Above => value > than,
        Side::Below => value < than,
    };
    for (at, value) in series.present() {
        if !is_farther(value, level.value) {
            open = false;
            continue;
        }
        match found.last_mut().filter(|_| open) {
            Some(stretch) => {
                stretch.to = at;
                if is_farther(value, stretch.peak) {
                    (stretch.peak, stretch.peak_at) = (value, at);
                }
            }
            None => found.push(Beyond { from: at, to: at, peak: value, peak_at: at }),
        }
        open = true;
    }
    found
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use programme::nouns::TimedRating;
    use serde_json::json;

    use super::*;

    fn limit(unit: Unit, kind: LimitKind) -> Limit {
        let limit = json!({
            "code": "L", "title": "A limit", "channel": "c", "unit": "kt", "phases": ["taxi"], "source": "a team",
            "is": { "kind": "maximum", "limit": 1.0 },
        });
        Limit { unit, kind, ..serde_json::from_value(limit).unwrap() }
    }

    fn of(kind: LimitKind) -> Vec<(LevelKind, Side, f64)> {
        let levels = levels(&limit(Unit::Volt, kind), Unit::Millivolt);
        levels.into_iter().map(|it| (it.level, it.side, it.value)).collect()
    }

    #[test]
    fn levels_are_in_the_unit_of_the_channel() {
        use LevelKind::{Caution, Limit, TimeCounts};
        use Side::{Above, Below};
        let kind = LimitKind::Maximum { caution: Some(3.0), limit: 4.0 };
        assert_eq!(of(kind), [(Caution, Above, 3000.0), (Limit, Above, 4000.0)]);
        let kind = LimitKind::Minimum { caution: None, limit: 2.0 };
        assert_eq!(of(kind), [(Limit, Below, 2000.0)]);
        let kind =
            LimitKind::Range { low: 1.0, high: 4.0, caution_low: Some(2.0), caution_high: None };
        assert_eq!(
            of(kind),
            [(Limit, Below, 1000.0), (Caution, Below, 2000.0), (Limit, Above, 4000.0)]
        );
        let timed =
            [(2.0, 60.0), (3.0, 10.0)].map(|(value, seconds)| TimedRating { value, seconds });
        let kind = LimitKind::Rating { continuous: 1.0, timed: timed.to_vec() };
        let expected =
            [(TimeCounts, Above, 1000.0), (TimeCounts, Above, 2000.0), (Limit, Above, 3000.0)];
        assert_eq!(of(kind), expected);
        assert!(of(LimitKind::Rate { caution_per_s: None, limit_per_s: 1.0 }).is_empty());
        // A limit of another kind than the channel has no place in its plot.
        let kind = LimitKind::Maximum { caution: None, limit: 1.0 };
        assert!(levels(&limit(Unit::Knot, kind), Unit::Volt).is_empty());
    }

    fn stretches(values: &[f64], side: Side) -> Vec<(i64, i64, f64)> {
        let times: Vec<Micros> = (0..values.len() as i64).map(Micros).collect();
        let level = Level { level: LevelKind::Limit, side, value: 10.0 };
        let found = beyond(Series { times: &times, values }, &level);
        found.into_iter().map(|it| (it.from.0, it.to.0, it.peak)).collect()
    }

    #[test]
    fn stretches_beyond_a_level_have_their_peak_and_a_missing_reading_does_not_end_one() {
        let values = [10.0, 10.1, 12.0, f64::NAN, 11.0, 10.0, 9.0, 13.0];
        assert_eq!(stretches(&values, Side::Above), [(1, 4, 12.0), (7, 7, 13.0)]);
        assert_eq!(stretches(&values, Side::Below), [(6, 6, 9.0)]);
        assert!(stretches(&[f64::NAN; 3], Side::Above).is_empty());
    }
}
