//! Confirms by how much the clock of one recorder is ahead of another's, as a channel that both have shows it.

use super::given::{Given, at_revision, changes, not_now, one};
use super::{Command, Stamp, known};
use crate::codes::ChannelCode;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::{ClockOffsetConfirmed, Digest};
use crate::refusal::Refusal;
use crate::state::{Amendable, RecordingTake, State};

/// The greatest offset that clocks may have, in seconds: a year.
const GREATEST_OFFSET_S: f64 = 366.0 * 86_400.0;

/// Asks for a clock offset to be recorded.
#[derive(Debug, Clone)]
pub struct ConfirmClock {
    /// The recording whose clock is told.
    pub recording: Digest,
    /// The recording that it is held against: one whose clock is taken as it is.
    pub against: Digest,
    /// The channel that both have.
    pub channel: ChannelCode,
    /// How much the clock of the first is ahead, in seconds; negative: behind.
    pub offset_s: f64,
    /// How well both agree then, from -1 to 1.
    pub correlation: f64,
    /// The revision of the recording that the person saw.
    pub expected: Option<u64>,
}

impl Command for ConfirmClock {
    fn act(&self) -> Act {
        Act::ConfirmClocks
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { recording, against, channel, offset_s, correlation, expected } = self.clone();
        let (known, take) = known::recording(state, &recording)?;
        let (reference, reference_take) = known::recording(state, &against)?;
        at_revision(state, &Amendable::Recording(recording.clone()), expected)?;
        let reads = |take: &RecordingTake| {
            take.channels.iter().any(|it| it.channel == channel && it.readings > 0)
        };
        Given::new(state, stamp)
            .must(
                recording != against,
                "against",
                "a clock is held against that of another recording",
            )
            .must(
                reads(take) && reads(reference_take),
                "channel",
                format!("{channel} has no readings in one of the recordings, or in both"),
            )
            .must(
                offset_s.abs() <= GREATEST_OFFSET_S,
                "offset_s",
                format!("must be a number of seconds within a year, and {offset_s} was given"),
            )
            .must(
                (-1.0..=1.0).contains(&correlation),
                "correlation",
                format!("must be from -1 to 1, and {correlation} was given"),
            )
            .settled()?;
        // One clock is taken as it is; offsets of offsets would hide which one.
        if reference.clock_offset.is_some() {
            return Err(not_now(
                "clock-not-a-reference",
                format!("the clock of recording {against} has an offset itself"),
                "Hold this clock against the one that the other was held against.",
            ));
        }
        let mut others = state.recordings.by_digest.values();
        if let Some(other) = others.find(|other| {
            other.clock_offset.as_ref().is_some_and(|confirmed| confirmed.against == recording)
        }) {
            return Err(not_now(
                "clock-is-a-reference",
                format!("the clock of recording {} was held against this one", other.recording),
                "Hold the other clock against a third first.",
            ));
        }
        let same = known.clock_offset.as_ref().is_some_and(|now| {
            (&now.against, &now.channel) == (&against, &channel)
                && (now.offset_s, now.correlation) == (offset_s, correlation)
        });
        changes(!same, format_args!("the clock offset of recording {recording}"))?;
        Ok(one(ClockOffsetConfirmed { recording, against, channel, offset_s, correlation }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now};
    use crate::story::{Story, code};

    fn confirming(recording: &Digest, against: &Digest, offset_s: f64) -> ConfirmClock {
        ConfirmClock {
            recording: recording.clone(),
            against: against.clone(),
            channel: code("speed"),
            offset_s,
            correlation: 0.98,
            expected: None,
        }
    }

    #[test]
    fn an_engineer_confirms_by_how_much_two_clocks_differ() {
        let mut story = Story::team();
        let (one, other) = (story.recorded(1), story.recorded(2));
        let command = confirming(&one, &other, -2.35);
        no_permission(&mut story, &command, &["lead", "pilot", "safety", "crew", "viewer"]);
        story.when("engineer", &command).unwrap();
        assert_eq!(story.state.recordings.get(&one).unwrap().clock_offset_s(), -2.35);
        assert_eq!(not_now(story.when("engineer", &command)), "nothing-changes");
        story.when("engineer", &confirming(&one, &other, -2.4)).unwrap();
        assert_eq!(story.state.recordings.get(&one).unwrap().clock_offset_s(), -2.4);
    }

    #[test]
    fn one_clock_is_taken_as_it_is() {
        let mut story = Story::team();
        let (one, other, third) = (story.recorded(1), story.recorded(2), story.recorded(3));
        story.when("engineer", &confirming(&one, &other, 1.0)).unwrap();
        let on_an_offset = confirming(&third, &one, 1.0);
        assert_eq!(not_now(story.when("engineer", &on_an_offset)), "clock-not-a-reference");
        let of_the_reference = confirming(&other, &third, 1.0);
        assert_eq!(not_now(story.when("engineer", &of_the_reference)), "clock-is-a-reference");
    }

    #[test]
    fn both_recordings_read_the_channel_and_the_figures_can_be() {
        let mut story = Story::team();
        let (one, other) = (story.recorded(1), story.recorded(2));
        let mut wrong = confirming(&one, &one, f64::NAN);
        (wrong.channel, wrong.correlation) = (code("pack"), 1.01);
        assert_eq!(
            faults(story.when("engineer", &wrong)),
            ["against", "channel", "offset_s", "correlation"]
        );
        let mut edge = confirming(&one, &other, GREATEST_OFFSET_S);
        edge.correlation = -1.0;
        story.when("engineer", &edge).unwrap();
        let beyond = confirming(&one, &other, GREATEST_OFFSET_S + 1.0);
        assert_eq!(faults(story.when("engineer", &beyond)), ["offset_s"]);
    }
}
