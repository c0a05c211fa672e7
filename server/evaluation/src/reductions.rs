//! Reductions of intervals: channels by the parts that they play, in the units that the method wants, to an answer that is
//! recorded with all that it rests on.

use std::collections::BTreeMap;

use programme::codes::{ChannelCode, PointCode};
use programme::commands::MakeReduction;
use programme::measure::Unit;
use programme::nouns::Channel;
use programme::record::Digest;
use programme::state::{Interval, Reduction as Made};
use recordings::columns::CannotRead;
use recordings::reduce::{self, CannotReduce, ReadChannel, Reduced, Reduction};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::gathered::{Gathered, Reading};

/// The most differences between two answers that are told.
const MOST_DIFFERENCES: usize = 200;

/// What is to be reduced.
pub struct Asked<'a> {
    /// The method.
    pub method: &'static Reduction,
    /// Of which interval.
    pub interval: &'a Interval,
    /// Which channel plays which part.
    pub roles: BTreeMap<String, ChannelCode>,
    /// Figures that no channel has.
    pub given: Value,
    /// Which parameter is filled by which figure of the answer, as a JSON pointer.
    pub fills: BTreeMap<ChannelCode, String>,
}

/// A parameter that is filled by a figure of an answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fill {
    /// The channel or derived parameter.
    pub parameter: ChannelCode,
    /// The figure, as a JSON pointer into the answer (RFC 6901).
    pub pointer: String,
    /// Its unit.
    pub unit: Unit,
}

/// A part of an answer that lies beyond what was recorded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Beyond {
    /// The part, as a JSON pointer into the answer.
    pub pointer: String,
    /// How far beyond, in per cent of what was recorded; absent where there is nothing to compare with.
    pub percent: Option<f64>,
}

/// What is recorded of a reduction: the answer and all that it rests on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    /// What the topic answered.
    pub output: Value,
    /// Figures of the answer that lie beyond what was recorded. They are never left out where the answer is shown.
    pub extrapolated: Vec<Beyond>,
    /// The greatest share of the interval that any required role lacks, from 0 to 1.
    pub share_missing: f64,
    /// The channels that were read, with how many values and gaps they have.
    pub readings: Value,
    /// Method, topic, versions, interval, channels by role, given figures and the stretches that were used.
    pub rests_on: Value,
    /// Which recording had the channel of each role.
    pub recordings: BTreeMap<String, Digest>,
    /// The parameters that are filled by it.
    pub fills: Vec<Fill>,
}

impl Answer {
    /// What lies beyond the recording where a figure stands, if it does.
    pub fn extrapolation_of(&self, pointer: &str) -> Option<&Beyond> {
        self.extrapolated.iter().find(|beyond| {
            let rest = pointer.strip_prefix(beyond.pointer.as_str());
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
        })
    }

    /// Which channel played which part.
    pub fn roles(&self) -> BTreeMap<String, ChannelCode> {
        let roles = self.rests_on.get("channels").cloned();
        roles.and_then(|roles| serde_json::from_value(roles).ok()).unwrap_or_default()
    }

    /// The figures that were given.
    pub fn given(&self) -> Value {
        self.rests_on.get("given").cloned().unwrap_or(Value::Null)
    }
}

/// What came out, before it is recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct Worked {
    /// Exactly what went into the topic, as RFC 8785 text.
    pub input: String,
    /// The answer.
    pub answer: Answer,
    /// The version of method and topic.
    pub version: String,
    /// Other recordings than that of the interval, of which channels were read.
    pub others: Vec<Digest>,
    /// The channels, each once.
    pub channels: Vec<ChannelCode>,
}

/// Why an interval was not reduced.
#[derive(Debug, thiserror::Error)]
pub enum NotReduced {
    /// The method refuses.
    #[error(transparent)]
    Method(#[from] CannotReduce),
    /// No such figure, or one that does not fit the parameter.
    #[error("{why}")]
    Fill {
        /// The parameter.
        parameter: ChannelCode,
        /// Why.
        why: String,
    },
    /// The recording does not belong to the run, or was set aside.
    #[error("the recording of interval {0} does not count: take an interval of another one")]
    NoRecording(programme::codes::IntervalNumber),
    /// The input has no text.
    #[error("what went into the method has a figure that is no number")]
    NoText,
    /// Columns are damaged.
    #[error(transparent)]
    Unreadable(#[from] CannotRead),
}

/// The version that is recorded: of the method, and of the topic that answers.
pub fn version_of(method: &Reduction) -> String {
    format!("{} with {} {}", method.version, method.topic, method.topic_version())
}

/// Whether a reduction was made by another version of its method than there is now.
pub fn is_outdated(made: &Made) -> bool {
    reduce::reduction(&made.topic).is_none_or(|method| version_of(method) != made.version)
}

/// Reduces an interval. Channels that its recording lacks are taken from other recordings of the run, with both clocks put
/// right; all moments are by the clock of the interval's recording.
///
/// # Errors
///
/// Every [`NotReduced`].
pub fn work(
    asked: &Asked<'_>,
    gathered: &Gathered,
    channel: &dyn Fn(&ChannelCode) -> Option<Channel>,
) -> Result<Worked, NotReduced> {
    let interval = asked.interval;
    let home =
        gathered.recording(&interval.recording).ok_or(NotReduced::NoRecording(interval.number))?;
    let fills = fills(asked, channel)?;
    let span = (
        home.facts.by_runs_clock(interval.from.into()),
        home.facts.by_runs_clock(interval.to.into()),
    );
    let mut read: BTreeMap<String, (Reading, String)> = BTreeMap::new();
    let mut recordings = BTreeMap::new();
    for (role, channel) in &asked.roles {
        let readings = gathered.readings(channel, Some(&interval.recording), span)?;
        let Some(reading) = readings.first() else { continue };
        let wanted = asked.method.needs.iter().find(|need| need.name == role).map(|need| need.unit);
        let mut reading = wanted
            .and_then(|wanted| Unit::ALL.iter().find(|unit| unit.as_str() == wanted))
            .and_then(|unit| reading.in_unit(*unit))
            .unwrap_or_else(|| (**reading).clone());
        for time in &mut reading.times {
            *time = home.facts.by_recorders_clock(*time);
        }
        recordings.insert(role.clone(), reading.recording.clone());
        let unit = reading.unit.as_str().to_owned();
        read.insert(role.clone(), (reading, unit));
    }
    // One channel may play two parts in two units, so the method asks for channels by their part.
    let roles: BTreeMap<String, String> =
        asked.roles.keys().map(|role| (role.clone(), role.clone())).collect();
    let channels = |role: &str| {
        let (reading, unit) = read.get(role)?;
        Some(ReadChannel { unit, series: reading.series() })
    };
    let over = reduce::Interval { from: interval.from.into(), to: interval.to.into() };
    let reduced = asked
        .method
        .reduce(over, &channels, &roles, &asked.given)
        .map_err(|refused| NotReduced::Method(named(refused, &asked.roles)))?;
    worked(asked, reduced, recordings, fills)
}

fn worked(
    asked: &Asked<'_>,
    reduced: Reduced,
    recordings: BTreeMap<String, Digest>,
    fills: Vec<Fill>,
) -> Result<Worked, NotReduced> {
    let no_text = |_: serde_json::Error| NotReduced::NoText;
    let input = canonical(&reduced.input).ok_or(NotReduced::NoText)?;
    let channel_of =
        |role: &str| asked.roles.get(role).map(ChannelCode::as_str).unwrap_or_default().to_owned();
    let mut readings = reduced.readings;
    for played in &mut readings {
        played.channel = channel_of(played.role);
    }
    let mut rests_on = reduced.rests_on;
    rests_on.channels =
        rests_on.channels.keys().map(|role| (role.clone(), channel_of(role))).collect();
    let mut others: Vec<Digest> = recordings
        .values()
        .filter(|recording| **recording != asked.interval.recording)
        .cloned()
        .collect();
    others.sort_unstable();
    others.dedup();
    let mut channels: Vec<ChannelCode> = asked
        .roles
        .iter()
        .filter(|(role, _)| recordings.contains_key(*role))
        .map(|(_, channel)| channel.clone())
        .collect();
    channels.sort_unstable();
    channels.dedup();
    let extrapolated = reduced.extrapolated.into_iter();
    Ok(Worked {
        input,
        answer: Answer {
            output: reduced.output,
            extrapolated: extrapolated
                .map(|beyond| Beyond { pointer: beyond.pointer, percent: beyond.percent })
                .collect(),
            share_missing: reduced.share_missing,
            readings: serde_json::to_value(readings).map_err(no_text)?,
            rests_on: serde_json::to_value(rests_on).map_err(no_text)?,
            recordings,
            fills,
        },
        version: version_of(asked.method),
        others,
        channels,
    })
}

/// Says the channel where a refusal says the part that it plays.
fn named(mut refused: CannotReduce, roles: &BTreeMap<String, ChannelCode>) -> CannotReduce {
    use recordings::reduce::Reason;
    for reason in &mut refused.reasons {
        match reason {
            Reason::NoSuchChannel { channel, .. }
            | Reason::OtherUnit { channel, .. }
            | Reason::TooMuchMissing { channel, .. } => {
                if let Some(code) = roles.get(channel.as_str()) {
                    *channel = code.to_string();
                }
            }
            Reason::NoInterval { .. }
            | Reason::RoleWithoutChannel { .. }
            | Reason::NoSuchRole { .. }
            | Reason::Given(_)
            | Reason::TooFewStretches { .. }
            | Reason::StretchesDiffer { .. }
            | Reason::NotInTheInterval(_)
            | Reason::Topic(_) => {}
        }
    }
    refused
}

fn fills(
    asked: &Asked<'_>,
    channel: &dyn Fn(&ChannelCode) -> Option<Channel>,
) -> Result<Vec<Fill>, NotReduced> {
    let mut fills = Vec::with_capacity(asked.fills.len());
    for (parameter, pointer) in &asked.fills {
        let refused = |why: String| NotReduced::Fill { parameter: parameter.clone(), why };
        let figures = asked.method.figures;
        let Some(figure) = figures.iter().find(|figure| figure.pointer == pointer) else {
            let known: Vec<_> = figures.iter().map(|figure| figure.pointer).collect();
            return Err(refused(format!(
                "{pointer} is no figure of {} that fills a criterion; there are {}",
                asked.method.name,
                known.join(", ")
            )));
        };
        let Some(known) = channel(parameter) else {
            return Err(refused(format!("there is no channel or parameter {parameter}")));
        };
        let unit = Unit::ALL.iter().copied().find(|unit| unit.as_str() == figure.unit);
        let Some(unit) = unit.filter(|unit| unit.kind() == known.unit.kind()) else {
            return Err(refused(format!(
                "{pointer} is in {}, which does not compare with {} of {parameter}",
                figure.unit,
                known.unit.as_str()
            )));
        };
        fills.push(Fill { parameter: parameter.clone(), pointer: pointer.clone(), unit });
    }
    Ok(fills)
}

/// A value as RFC 8785 text; absent where it has a figure that is no number.
fn canonical(value: &Value) -> Option<String> {
    serde_json_canonicalizer::to_string(value).ok()
}

impl Worked {
    /// The command that records it; `given` is the digest under which the input is kept.
    ///
    /// # Errors
    ///
    /// [`NotReduced::NoText`], where the answer has a figure that is no number.
    pub fn command(self, asked: &Asked<'_>, given: Digest) -> Result<MakeReduction, NotReduced> {
        let point: PointCode = asked.interval.point.clone();
        Ok(MakeReduction {
            recording: asked.interval.recording.clone(),
            others: self.others,
            run: asked.interval.run,
            point: Some(point),
            interval: Some(asked.interval.number),
            topic: asked.method.name.to_owned(),
            version: self.version,
            channels: self.channels,
            given,
            result: serde_json::to_value(self.answer).map_err(|_| NotReduced::NoText)?,
        })
    }
}

/// A figure that differs between two answers.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
#[schema(as = AnswerDifference)]
pub struct Difference {
    /// Where it stands, as a JSON pointer.
    pub pointer: String,
    /// In the earlier answer; absent: it was not there.
    pub before: Option<Value>,
    /// In the later answer; absent: it is not there.
    pub after: Option<Value>,
    /// Later less earlier, where both are numbers.
    pub change: Option<f64>,
}

/// What differs between an earlier and a later answer, in the order of the pointers; at most 200.
pub fn differences(before: &Value, after: &Value) -> Vec<Difference> {
    let (mut old, mut new) = (BTreeMap::new(), BTreeMap::new());
    leaves(before, String::new(), &mut old);
    leaves(after, String::new(), &mut new);
    let mut pointers: Vec<&String> = old.keys().chain(new.keys()).collect();
    pointers.sort_unstable();
    pointers.dedup();
    pointers
        .into_iter()
        .filter(|pointer| old.get(*pointer) != new.get(*pointer))
        .take(MOST_DIFFERENCES)
        .map(|pointer| {
            let (before, after) = (old.get(pointer).copied(), new.get(pointer).copied());
            let figure = |value: Option<&Value>| value.and_then(Value::as_f64);
            Difference {
                pointer: pointer.clone(),
                change: figure(after).zip(figure(before)).map(|(after, before)| after - before),
                before: before.cloned(),
                after: after.cloned(),
            }
        })
        .collect()
}

fn leaves<'v>(value: &'v Value, pointer: String, found: &mut BTreeMap<String, &'v Value>) {
    match value {
        Value::Object(fields) if !fields.is_empty() => {
            for (name, inner) in fields {
                let name = name.replace('~', "~0").replace('/', "~1");
                leaves(inner, format!("{pointer}/{name}"), found);
            }
        }
        Value::Array(items) if !items.is_empty() => {
            for (place, inner) in items.iter().enumerate() {
                leaves(inner, format!("{pointer}/{place}"), found);
            }
        }
        _ => {
            found.insert(pointer, value);
        }
    }
}

#[cfg(test)]
mod tests;
