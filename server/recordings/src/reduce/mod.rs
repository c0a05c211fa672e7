//! Reductions: from the channels of one interval to the input of a topic of the flight science, and its answer.
//!
//! A [`Reduction`] says which parts channels play in it, each with its unit, and which figures it wants besides. It looks
//! for the stretches of the interval that its method rests on, makes the topic's input of them, and gives back that input
//! beside the answer, so that anybody can work it again. Where too much is missing, or what the method wants was not
//! flown, it refuses and says why; nothing is filled in.
//!
//! What a reduction answers is advice for engineers, and a person confirms it before it counts.

mod airspeed_calibration;
mod climb;
mod damping;
mod drag_polar;
mod energy;
mod extrapolation;
mod reasons;
mod recorded;
mod stall_speed;
mod stretches;
mod thermal_fit;

#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use flight_science::catalogue::{self, ComputeError, Field};
use serde::Serialize;
use serde_json::Value;

pub use extrapolation::Extrapolated;
pub use reasons::{CannotReduce, Reason};
pub use recorded::{Interval, PlayedRole};
pub use stretches::Stretch;

use recorded::Recorded;

use crate::Series;

/// One part that a channel plays in a reduction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Role {
    /// Its name, such as `ground_speed`.
    pub name: &'static str,
    /// The unit that the values have to be in, as programmes write it. Empty where any unit does.
    pub unit: &'static str,
    /// Whether the reduction cannot do without it.
    pub required: bool,
    /// What it means, and what happens where it is left out.
    pub meaning: &'static str,
}

impl Role {
    const fn required(name: &'static str, unit: &'static str, meaning: &'static str) -> Self {
        Self { name, unit, required: true, meaning }
    }

    const fn optional(name: &'static str, unit: &'static str, meaning: &'static str) -> Self {
        Self { name, unit, required: false, meaning }
    }
}

/// A figure of the answer by which criteria of points can be filled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Figure {
    /// Where it stands in the topic's answer, as a JSON pointer (RFC 6901).
    pub pointer: &'static str,
    /// Its unit, as programmes write it.
    pub unit: &'static str,
    /// What it is.
    pub meaning: &'static str,
}

/// One channel as a reduction reads it: values in the unit of the role that it plays.
#[derive(Debug, Clone, Copy)]
pub struct ReadChannel<'a> {
    /// The unit that the values are in, as programmes write it.
    pub unit: &'a str,
    /// Moments and values.
    pub series: Series<'a>,
}

/// A way from channels to a topic's answer.
#[derive(Debug, Clone, Serialize)]
pub struct Reduction {
    /// The name by which it is called, such as `airspeed-calibration`.
    pub name: &'static str,
    /// Goes up by one whenever the same channels may give another input of the topic than before.
    pub version: u32,
    /// The topic of the flight science that gives the answer; it has a version of its own.
    pub topic: &'static str,
    /// A short heading.
    pub title: &'static str,
    /// What it looks for and gives, in a few sentences.
    pub gives: &'static str,
    /// How the stretches are found and the readings are worked, step by step.
    pub steps: &'static [&'static str],
    /// The parts that channels play.
    pub needs: &'static [Role],
    /// Figures that no channel has, in a JSON object.
    pub given: &'static [Field],
    /// The figures of the answer by which criteria can be filled.
    pub figures: &'static [Figure],
    /// The greatest share of the interval that may lack readings of a required role, from 0 to 1. At exactly this share the
    /// reduction still works.
    pub most_missing: f64,
    #[serde(skip)]
    prepare: fn(&Recorded<'_>) -> Result<Prepared, CannotReduce>,
}

/// What a reduction made of the channels for its topic.
struct Prepared {
    input: Value,
    stretches: Vec<Stretch>,
}

/// What a reduction gave.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reduced {
    /// Exactly what went into the topic.
    pub input: Value,
    /// What the topic answered.
    pub output: Value,
    /// The channels that were read, with how many values and gaps they have.
    pub readings: Vec<PlayedRole>,
    /// The greatest share of the interval that any required role lacks, from 0 to 1.
    pub share_missing: f64,
    /// Figures of the answer that lie beyond what was recorded. Never leave them out where the answer is shown.
    pub extrapolated: Vec<Extrapolated>,
    /// What the answer rests on.
    pub rests_on: RestsOn,
}

/// What an answer rests on: enough to work it again and to see whether it would come out otherwise today.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RestsOn {
    /// The reduction's name.
    pub reduction: &'static str,
    /// Its version.
    pub version: u32,
    /// The topic's name.
    pub topic: &'static str,
    /// The topic's version.
    pub topic_version: u32,
    /// The interval.
    pub interval: Interval,
    /// Which channel played which part.
    pub channels: BTreeMap<String, String>,
    /// The figures that were given besides.
    pub given: Value,
    /// The stretches that were found in the interval and used.
    pub stretches: Vec<Stretch>,
}

/// All reductions, in the order of the reference.
static REDUCTIONS: [&Reduction; 7] = [
    &airspeed_calibration::REDUCTION,
    &stall_speed::REDUCTION,
    &climb::REDUCTION,
    &drag_polar::REDUCTION,
    &damping::REDUCTION,
    &thermal_fit::REDUCTION,
    &energy::REDUCTION,
];

/// All reductions, in the order of the reference.
pub fn reductions() -> &'static [&'static Reduction] {
    &REDUCTIONS
}

/// The reduction of this name, if there is one.
pub fn reduction(name: &str) -> Option<&'static Reduction> {
    REDUCTIONS.iter().copied().find(|reduction| reduction.name == name)
}

impl Reduction {
    /// The version of its topic; 0 where there is no such topic, which no answer has.
    pub fn topic_version(&self) -> u32 {
        catalogue::topic(self.topic).map_or(0, |topic| topic.version)
    }

    /// Reduces one interval of a recording.
    ///
    /// `roles` names the channel that plays each part, and `channels` gives a channel by its code, in the unit that the
    /// role wants. `given` is a JSON object with the figures that no channel has; null counts as an empty one.
    ///
    /// # Errors
    ///
    /// [`CannotReduce`] with every reason that can be seen at once: roles without a channel, channels in another unit,
    /// more missing than [`Reduction::most_missing`], faulty figures; else that what the method wants was not found in the
    /// interval; else what the topic refuses.
    pub fn reduce<'a>(
        &self,
        interval: Interval,
        channels: &dyn Fn(&str) -> Option<ReadChannel<'a>>,
        roles: &BTreeMap<String, String>,
        given: &Value,
    ) -> Result<Reduced, CannotReduce> {
        let nothing = Value::Object(serde_json::Map::new());
        let given = if given.is_null() { &nothing } else { given };
        let recorded = Recorded::read(self, interval, channels, roles, given)?;
        let Prepared { input, stretches } = (self.prepare)(&recorded)?;
        let Some(topic) = catalogue::topic(self.topic) else {
            return Err(
                Reason::Topic(ComputeError::UnknownTopic { name: self.topic.to_owned() }).into()
            );
        };
        let output = (topic.compute)(&input).map_err(|refused| Reason::Topic(refused.into()))?;
        Ok(Reduced {
            extrapolated: extrapolation::told(&output),
            readings: recorded.readings(),
            share_missing: recorded.share_missing(),
            rests_on: RestsOn {
                reduction: self.name,
                version: self.version,
                topic: topic.name,
                topic_version: topic.version,
                interval,
                channels: recorded.channels(),
                given: given.clone(),
                stretches,
            },
            input,
            output,
        })
    }
}
