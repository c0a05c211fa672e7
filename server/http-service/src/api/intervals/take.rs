//! Taking an interval.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use evaluation::intervals::{Ended, Found};
use programme::codes::{ChannelCode, IntervalNumber, PointCode, RunNumber};
use programme::commands::{FoundInterval, TakeInterval};
use programme::entry::Entry;
use programme::measure::Measure;
use programme::nouns::Axis;
use programme::record::{Digest, EventMark, Record, SteadyChannel};
use serde::Deserialize;

use super::list::{IntervalView, shown};
use super::steady::{Conditions, Search};
use crate::access::{Permitted, TakeIntervals};
use crate::desk::{Answer, Outcome, Written};
use crate::given::Given;
use crate::office::Office;
use crate::problem::{FAULT, INVALID, Kind, Problem};

/// How an interval is to be found.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(tag = "by", rename_all = "kebab-case", deny_unknown_fields)]
pub enum IntervalWay {
    /// From one noted moment of the run to another.
    EventMarks {
        /// Its beginning.
        from: EventMark,
        /// Its end.
        to: EventMark,
    },
    /// From one moment to another, by the recorder's clock.
    Times {
        /// From then on.
        from: DateTime<Utc>,
        /// Up to and including then.
        to: DateTime<Utc>,
    },
    /// Where conditions hold. The service finds the stretch itself.
    Conditions {
        /// Channels with target and tolerance.
        #[serde(default)]
        held: Vec<SteadyChannel>,
        /// Channels that show an axis of the point's planned conditions.
        #[serde(default)]
        axes: BTreeMap<Axis, ChannelCode>,
        /// For at least so long, in seconds.
        at_least_s: f64,
        /// A channel may be without reading for at most so long inside, in seconds; 1 when absent.
        #[serde(default)]
        dropout_s: Option<f64>,
        /// Which of the candidates, from 1: the longest is the first. 1 when absent.
        #[serde(default)]
        candidate: Option<u32>,
    },
}

/// An interval that is to be taken.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewInterval {
    /// Of which recording.
    pub recording: Digest,
    /// Of which run.
    pub run: RunNumber,
    /// For which point of the run.
    pub point: PointCode,
    /// How it is to be found.
    pub how: IntervalWay,
}

/// Take an interval of a recording for a point: by noted moments, by times, or where conditions hold.
///
/// By conditions the service finds the stretch: the longest one, or another candidate as `POST
/// /recordings/{recording}/steady` counts them. Where none is long enough nothing is taken, and the refusal tells the
/// longest stretch and what broke it.
#[utoipa::path(
    post, path = "",
    request_body(content = NewInterval, example = json!({
        "recording": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
        "run": 7,
        "point": "GR-02",
        "how": {
            "by": "conditions",
            "held": [{ "channel": "motor_kw", "target": 35.0, "tolerance": 2.0, "unit": "kW" }],
            "at_least_s": 60.0,
        },
    })),
    responses((status = 201, description = "Taken.", body = Written<IntervalView>)),
)]
pub(crate) async fn take(
    person: Permitted<TakeIntervals>,
    given: Given<NewInterval>,
    office: Office,
) -> Answer {
    if let Some(before) = office.answered_before(&person.person, &given.asked).await? {
        return Ok(before);
    }
    let NewInterval { recording, run, point, how } = given.body.clone();
    let interval = match how {
        IntervalWay::EventMarks { from, to } => FoundInterval::EventMarks { from, to },
        IntervalWay::Times { from, to } => FoundInterval::Times { from, to },
        IntervalWay::Conditions { held, axes, at_least_s, dropout_s, candidate } => {
            let conditions = Conditions { held, axes, at_least_s, dropout_s };
            let search = office
                .look(&person, None, |view| {
                    Search::of(view.state, recording.clone(), run, Some(&point), &conditions)
                })
                .await?;
            let found = search.run(&office).await?;
            let held = search.sought.held;
            chosen(&found, held, at_least_s, candidate.unwrap_or(1))?
        }
    };
    let place = format!("/api/v1/programmes/{}/intervals", person.programme);
    let command = given.map(|_| TakeInterval { recording, run, point, interval });
    office
        .act(&person, command, move |view, entries| {
            let number = taken(entries)?;
            Ok(Outcome::created(format!("{place}/{number}"), shown(view.state, number)?))
        })
        .await
}

fn taken(entries: &[Entry]) -> Result<IntervalNumber, Problem> {
    let found = entries.iter().find_map(|entry| match &entry.record {
        Record::IntervalTaken(body) => Some(body.interval),
        _ => None,
    });
    found.ok_or_else(|| Problem::new(FAULT, "The interval was taken and cannot be shown."))
}

fn chosen(
    found: &Found,
    held: Vec<SteadyChannel>,
    at_least_s: f64,
    candidate: u32,
) -> Result<FoundInterval, Problem> {
    if found.candidates.is_empty() {
        return Err(not_steady(found, at_least_s));
    }
    let place = (candidate as usize).checked_sub(1);
    let chosen = place.and_then(|place| found.candidates.get(place)).ok_or_else(|| {
        let why =
            format!("There are {} candidates: give one from 1 to {0}.", found.candidates.len());
        Problem::of_field(INVALID, "how.candidate", why)
    })?;
    Ok(FoundInterval::Conditions { held, at_least_s, from: chosen.from, to: chosen.to })
}

/// Says what came nearest, and what broke it.
fn not_steady(found: &Found, at_least_s: f64) -> Problem {
    let mut told = match &found.longest {
        Some(longest) => format!(
            "The conditions hold together for {:.1} s at most, from {} to {}, and {at_least_s} s are wanted.",
            longest.seconds,
            longest.from.to_rfc3339(),
            longest.to.to_rfc3339()
        ),
        None => "The conditions never hold together.".to_owned(),
    };
    for one in &found.shortfalls {
        let measure = |value: f64| Measure::new(value, one.unit);
        told.push(' ');
        told.push_str(&match (&one.ended, one.smallest.zip(one.greatest)) {
            (Some(Ended::Left { at, value }), _) => format!(
                "Then {} left {} ± {}: it was {} at {}.",
                one.channel,
                measure(one.target),
                one.tolerance,
                measure(*value),
                at.to_rfc3339()
            ),
            (Some(Ended::Silent { since, seconds }), _) => match seconds {
                Some(seconds) => format!(
                    "Then {} had no reading for {seconds:.1} s from {} on.",
                    one.channel,
                    since.to_rfc3339()
                ),
                None => format!("Then {} had no reading any more.", one.channel),
            },
            (Some(Ended::AtTheEnd {}), _) => format!("{} was held until the end.", one.channel),
            (None, Some((smallest, greatest))) => format!(
                "{} went from {} to {}, and was held by itself for {:.1} s at most.",
                one.channel,
                measure(smallest),
                measure(greatest),
                one.longest_alone_s
            ),
            (None, None) => format!("{} has no reading in the run.", one.channel),
        });
    }
    Problem::new(Kind::not_now("not-steady"), told)
        .clears("Give wider tolerances or a shorter time, or take the interval by its times.")
}
