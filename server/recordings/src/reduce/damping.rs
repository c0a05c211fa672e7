//! Damping of a free decay after a pulse.

use flight_science::catalogue::Field;
use flight_science::input::Reader;
use serde_json::{Value, json};

use super::recorded::{Present, Recorded};
use super::stretches::median;
use super::{CannotReduce, Figure, Interval, Prepared, Reason, Reduction, Role, Stretch};
use crate::Micros;

/// A decay is followed as long as its swings are more than this share of the first. Our own choice.
const LEAST_SWING: f64 = 0.05;

/// The topic takes at most so many samples.
const MOST_SAMPLES: usize = 100_000;

/// The reduction `damping`.
pub(super) static REDUCTION: Reduction = Reduction {
    name: "damping",
    version: 1,
    topic: "damping",
    title: "Damping of the decay after a pulse",
    gives: "Finds the pulse in a channel that was excited once and let go, and gives damping and frequency of the decay after it. \
            Choose the interval from just before the pulse until the oscillation has died away; one pulse an interval.",
    steps: &[
        "The value at rest is the median of the last quarter of the interval.",
        "The pulse is the value farthest from it. The decay begins after_pulse_s later, and ends with the last swing that is more \
         than 5 % of the greatest.",
        "samples: the decay's values as they are. peaks: for each cycle the swing from the peak on the side of the pulse to the \
         trough after it, each by the parabola through the extreme value and its neighbours; swings fall as peaks do, and the \
         value at rest does not count in them.",
    ],
    needs: &[Role::required(
        "signal",
        "",
        "An acceleration, angle or rate that shows the oscillation, in any unit.",
    )],
    given: &[
        Field::optional("use", "text", "samples (the default) or peaks"),
        Field::optional(
            "after_pulse_s",
            "s",
            "The decay begins so long after the pulse, up to 60; 0 when absent.",
        ),
    ],
    figures: &[
        Figure { pointer: "/damping_ratio", unit: "1", meaning: "share of critical damping" },
        Figure { pointer: "/frequency_hz", unit: "Hz", meaning: "frequency of the oscillation" },
    ],
    most_missing: 0.02,
    prepare,
};

#[derive(Clone, Copy)]
enum Use {
    Samples,
    Peaks,
}

fn prepare(recorded: &Recorded<'_>) -> Result<Prepared, CannotReduce> {
    let mut reader = Reader::object(recorded.given);
    let used = reader.optional_one_of("use", &[("samples", Use::Samples), ("peaks", Use::Peaks)]);
    let after = reader.optional_number("after_pulse_s", 0.0..=60.0);
    let (used, after_s) =
        reader.finish(|| Some((used?.unwrap_or(Use::Samples), after?.unwrap_or(0.0))))?;
    let signal = recorded.of("signal")?;
    let (rest, decay) = decay(recorded, signal, after_s)?;
    let input = match used {
        Use::Samples => samples(signal, decay)?,
        Use::Peaks => peaks(signal, decay, rest)?,
    };
    Ok(Prepared { input, stretches: vec![Stretch::with(decay, [("value_at_rest", rest)])] })
}

/// The value at rest, and from when to when the signal decays.
fn decay(
    recorded: &Recorded<'_>,
    signal: &Present,
    after_s: f64,
) -> Result<(f64, Interval), CannotReduce> {
    let none = || {
        Reason::NotInTheInterval(
            "The signal has no pulse that stands out of its value at rest. Choose the interval from just before a pulse until the \
             oscillation has died away."
                .to_owned(),
        )
    };
    let last_quarter = signal.values.get(signal.values.len() / 4 * 3..).unwrap_or_default();
    let rest = median(last_quarter).ok_or_else(none)?;
    let swing = |place: usize| signal.values.get(place).map_or(0.0, |value| (value - rest).abs());
    let pulse = (0..signal.values.len())
        .reduce(|best, next| if swing(next) > swing(best) { next } else { best })
        .filter(|pulse| swing(*pulse) > 0.0)
        .ok_or_else(none)?;
    let begins = signal
        .times
        .get(pulse)
        .map(|time| Micros(time.0.saturating_add(Micros::from_seconds(after_s).0)))
        .ok_or_else(none)?;
    let first = signal.times.partition_point(|time| *time < begins);
    let greatest = (first..signal.values.len()).map(swing).fold(0.0, f64::max);
    let last = (first..signal.values.len())
        .rev()
        .find(|place| swing(*place) > LEAST_SWING * greatest)
        .ok_or_else(none)?;
    let (Some(from), Some(to)) = (signal.times.get(first), signal.times.get(last)) else {
        return Err(none().into());
    };
    let over = Interval { from: *from, to: *to };
    if recorded.mean(signal, over).is_none() {
        return Err(Reason::NotInTheInterval(
            "Readings of the decay are missing. Choose the interval of another pulse.".to_owned(),
        )
        .into());
    }
    Ok((rest, over))
}

fn samples(signal: &Present, decay: Interval) -> Result<Value, CannotReduce> {
    let values = signal.within(decay);
    if values.len() > MOST_SAMPLES {
        return Err(Reason::NotInTheInterval(format!(
            "The decay has {} samples; at most {MOST_SAMPLES} are taken. Use peaks, or choose a shorter interval.",
            values.len()
        ))
        .into());
    }
    let rows: Vec<[f64; 2]> = signal
        .times_within(decay)
        .iter()
        .zip(values)
        .map(|(time, value)| [time.seconds_since(decay.from), *value])
        .collect();
    Ok(json!({ "samples": rows }))
}

/// One peak, or its whole swing, with its moment.
#[derive(Debug, Clone, Copy)]
struct Peak {
    t_s: f64,
    height: f64,
}

fn peaks(signal: &Present, decay: Interval, rest: f64) -> Result<Value, CannotReduce> {
    let times = signal.times_within(decay);
    let swings: Vec<f64> = signal.within(decay).iter().map(|value| value - rest).collect();
    let greatest = swings
        .iter()
        .copied()
        .reduce(|best, next| if next.abs() > best.abs() { next } else { best })
        .unwrap_or(0.0);
    let towards: Vec<f64> = swings.iter().map(|swing| swing * greatest.signum()).collect();
    let rows: Vec<(f64, f64)> = times
        .iter()
        .zip(&towards)
        .map(|(time, swing)| (time.seconds_since(decay.from), *swing))
        .collect();
    let mut extremes: Vec<Peak> = Vec::new();
    let mut first = 0;
    for side in rows.chunk_by(|(_, one), (_, next)| (*one > 0.0) == (*next > 0.0)) {
        let size = |place: usize| side.get(place).map_or(0.0, |(_, swing)| swing.abs());
        let top = (0..side.len())
            .reduce(|best, next| if size(next) > size(best) { next } else { best })
            .map(|top| first + top);
        first += side.len();
        let extreme = top.and_then(|top| extreme(&rows, top));
        extremes.extend(extreme.filter(|one| one.height.abs() > LEAST_SWING * greatest.abs()));
    }
    // From a peak to the trough after it, so that an error of the value at rest does not count. In a free decay these
    // swings fall as the peaks do.
    let found: Vec<Peak> = extremes
        .iter()
        .zip(extremes.iter().skip(1))
        .filter(|(peak, trough)| peak.height > 0.0 && trough.height < 0.0)
        .map(|(peak, trough)| Peak { t_s: peak.t_s, height: peak.height - trough.height })
        .collect();
    let [first, .., last] = found.as_slice() else {
        return Err(Reason::TooFewStretches {
            found: found.len(),
            wanted: 2,
            what: "swings from peak to trough",
            how: format!(
                "Peak and trough are each more than {} % of the greatest swing from rest. Excite the mode more, or use samples.",
                100.0 * LEAST_SWING
            ),
        }
        .into());
    };
    let period_s = (last.t_s - first.t_s) / (found.len() - 1) as f64;
    let heights: Vec<f64> = found.iter().map(|peak| peak.height).collect();
    Ok(json!({ "peaks": heights, "period_s": period_s }))
}

/// The top of the parabola through a value and its neighbours; the value itself where it has none.
fn extreme(rows: &[(f64, f64)], top: usize) -> Option<Peak> {
    let (t_s, height) = *rows.get(top)?;
    let neighbours = top.checked_sub(1).and_then(|before| rows.get(before)).zip(rows.get(top + 1));
    let Some(((before_s, before), (after_s, after))) = neighbours else {
        return Some(Peak { t_s, height });
    };
    let (left_s, right_s) = (t_s - before_s, after_s - t_s);
    let (left, right) = ((height - before) / left_s, (after - height) / right_s);
    let curvature = (right - left) / (left_s + right_s);
    if curvature == 0.0 {
        return Some(Peak { t_s, height });
    }
    // Newton's form: height + slope · x + curvature · x², with the slope at the value itself.
    let slope = (left * right_s + right * left_s) / (left_s + right_s);
    let by_s = -slope / (2.0 * curvature);
    Some(Peak { t_s: t_s + by_s, height: height + slope * by_s / 2.0 })
}
