//! Records what was worked out of a recording: by which method and version, of which channels and interval. Worked out
//! anew it takes the place of what it was before, which stays to be seen beside it. How another part warms, or another place
//! shakes, is something else, though method and interval are the same.

use super::given::{Given, changes, one};
use super::{Command, Stamp, known};
use crate::codes::{ChannelCode, IntervalNumber, PointCode, ReductionNumber, RunNumber};
use crate::entry::Draft;
use crate::people::Act;
use crate::prediction::Figures;
use crate::record::{Digest, ReductionMade};
use crate::refusal::Refusal;
use crate::state::State;

/// The greatest result that is kept, in bytes of its text.
const LARGEST_RESULT: usize = 256 * 1024;

/// Asks for a reduction to be recorded.
#[derive(Debug, Clone)]
pub struct MakeReduction {
    /// Of which recording.
    pub recording: Digest,
    /// Of which run.
    pub run: RunNumber,
    /// For which point.
    pub point: Option<PointCode>,
    /// Of which interval; absent: of all of it.
    pub interval: Option<IntervalNumber>,
    /// What was worked out.
    pub topic: String,
    /// The version of the method.
    pub version: String,
    /// The channels it was worked out of.
    pub channels: Vec<ChannelCode>,
    /// Other recordings of the run that had some of the channels.
    pub others: Vec<Digest>,
    /// Of all that was given to the method.
    pub given: Digest,
    /// What came out.
    pub result: serde_json::Value,
}

impl Command for MakeReduction {
    fn act(&self) -> Act {
        Act::MakeReductions
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let run = known::run(state, self.run)?;
        if let Some(point) = &self.point {
            known::rung(state, point)?;
            known::point_of(run, point)?;
        }
        let mut takes = vec![known::recording_of(state, &self.recording, self.run)?.1];
        for other in &self.others {
            takes.push(known::recording_of(state, other, self.run)?.1);
        }
        let interval = self.interval.map(|number| known::interval(state, number)).transpose()?;
        let text = serde_json_canonicalizer::to_string(&self.result).ok();
        let mut given = Given::new(state, stamp)
            .title("topic", &self.topic)
            .title("version", &self.version)
            .must(text.is_some(), "result", "has a figure that is no number")
            .must(
                text.as_ref().is_none_or(|text| text.len() <= LARGEST_RESULT),
                "result",
                format!("is larger than {} KiB", LARGEST_RESULT / 1024),
            );
        given.judging.some_without_repeats("channels", &self.channels);
        for (place, channel) in self.channels.iter().enumerate() {
            given.judging.must(
                takes.iter().any(|take| take.channels.iter().any(|it| it.channel == *channel)),
                &format!("channels[{place}]"),
                format!("{channel} is in none of the recordings"),
            );
        }
        if let Some(interval) = interval {
            let of_it = (&interval.recording, interval.run) == (&self.recording, self.run);
            let counts = state.recordings.counts(&interval.recording, interval.seq);
            let why = format!("interval {} is of another recording or run", interval.number);
            given.judging.must(of_it, "interval", why);
            let why = "the recording was set aside since: take the interval anew";
            given.judging.must(counts, "interval", why);
            given.judging.must(
                self.point.as_ref().is_none_or(|point| *point == interval.point),
                "point",
                format!("interval {} was taken for {}", interval.number, interval.point),
            );
        }
        given.settled()?;
        let result = text.unwrap_or_default();
        let figures = Figures::read(&self.topic, &result);
        let part = figures.as_ref().map(Figures::channel);
        let before = state.recordings.reductions.iter().rev().find(|earlier| {
            (&earlier.recording, earlier.run) == (&self.recording, self.run)
                && (&earlier.point, earlier.interval) == (&self.point, self.interval)
                && earlier.topic == self.topic
                && earlier.figures.as_ref().map(Figures::channel) == part
        });
        let same = before.is_some_and(|before| {
            (&before.version, &before.given) == (&self.version, &self.given)
                && (&before.channels, &before.others) == (&self.channels, &self.others)
                && before.result == result
        });
        changes(!same, format_args!("the reduction of {}", self.topic))?;
        let made = u32::try_from(state.recordings.reductions.len()).unwrap_or(u32::MAX);
        Ok(one(ReductionMade {
            reduction: ReductionNumber(made.saturating_add(1)),
            recording: self.recording.clone(),
            run: self.run,
            point: self.point.clone(),
            interval: self.interval,
            topic: self.topic.clone(),
            version: self.version.clone(),
            channels: self.channels.clone(),
            others: self.others.clone(),
            given: self.given.clone(),
            result,
            replaces: before.map(|before| before.number),
        }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use serde_json::json;

    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, unknown};
    use crate::story::{Story, any_digest, code};

    fn reduction(recording: &Digest, run: RunNumber) -> MakeReduction {
        MakeReduction {
            recording: recording.clone(),
            run,
            point: Some(code("A")),
            interval: Some(IntervalNumber(1)),
            topic: "thermal-fit".to_owned(),
            version: "1.0".to_owned(),
            channels: vec![code("winding")],
            others: Vec::new(),
            given: any_digest(),
            result: json!({"time_constant_s": 620.5, "ambient_c": 18}),
        }
    }

    fn with_interval() -> (Story, Digest, RunNumber) {
        let mut story = Story::team();
        let (recording, run) = story.recorded_run("A");
        story.interval(&recording, run, "A");
        (story, recording, run)
    }

    #[test]
    fn an_engineer_records_what_was_worked_out_in_its_canonical_form() {
        let (mut story, recording, run) = with_interval();
        let command = reduction(&recording, run);
        no_permission(&mut story, &command, &["lead", "pilot", "safety", "crew", "viewer"]);
        story.when("engineer", &command).unwrap();
        let made = &story.state.recordings.reductions[0];
        assert_eq!(made.result, r#"{"ambient_c":18,"time_constant_s":620.5}"#);
        assert_eq!(made.replaces, None);
        assert_eq!(not_now(story.when("engineer", &command)), "nothing-changes");
    }

    #[test]
    fn another_version_of_the_method_takes_the_place_of_the_earlier_one_and_both_stay() {
        let (mut story, recording, run) = with_interval();
        let mut command = reduction(&recording, run);
        story.when("engineer", &command).unwrap();
        command.version = "1.1".to_owned();
        story.when("engineer", &command).unwrap();
        let [old, new] = &story.state.recordings.reductions[..] else { unreachable!() };
        assert_eq!((new.replaces, old.replaced_by), (Some(old.number), Some(new.number)));
        command.topic = "pack-energy".to_owned();
        story.when("engineer", &command).unwrap();
        assert_eq!(story.state.recordings.reductions[2].replaces, None, "another topic");
    }

    #[test]
    fn the_warming_of_another_part_is_another_reduction_and_of_the_same_part_the_same_one() {
        let (mut story, recording, run) = with_interval();
        let fit = |part: &str, ambient: &str| MakeReduction {
            result: json!({
                "output": {
                    "time_constant_s": 140, "time_constant_se_s": 4, "rise_c_per_kw": 0.9,
                    "rise_se_c_per_kw": 0.02, "residual_sd_c": 0.4,
                },
                "rests_on": { "channels": { "temperature": part, "ambient": ambient } },
            }),
            ..reduction(&recording, run)
        };
        for (part, ambient) in [("winding", "oat"), ("inverter", "oat"), ("winding", "bay")] {
            story.when("engineer", &fit(part, ambient)).unwrap();
        }
        let made = &story.state.recordings.reductions;
        let replaces: Vec<_> = made.iter().map(|it| it.replaces.map(|number| number.0)).collect();
        assert_eq!(replaces, [None, None, Some(1)]);
    }

    #[test]
    fn a_reduction_is_of_channels_and_of_an_interval_of_its_recording() {
        let (mut story, recording, run) = with_interval();
        let mut wrong = reduction(&recording, run);
        wrong.topic.clear();
        wrong.channels = vec![code("winding"), code("pack"), code("winding")];
        wrong.result = json!("x".repeat(LARGEST_RESULT));
        assert_eq!(
            faults(story.when("engineer", &wrong)),
            ["topic", "result", "channels[2]", "channels[1]"]
        );
        wrong.interval = Some(IntervalNumber(2));
        assert_eq!(unknown(story.when("engineer", &wrong)), "interval");
        let (other, other_run) = story.recorded_run("A");
        let strange = reduction(&other, other_run);
        assert_eq!(faults(story.when("engineer", &strange)), ["interval"]);
    }

    #[test]
    fn what_was_worked_out_of_two_recordings_counts_while_both_do() {
        let (mut story, recording, run) = with_interval();
        let began = story.state.run(run).unwrap().times.power_on.unwrap();
        let other = story.recorded_from(7, began, 600.0);
        let mut command = reduction(&recording, run);
        command.others = vec![other.clone()];
        assert_eq!(not_now(story.when("engineer", &command)), "recording-not-attached");
        story.attach(&other, run);
        story.when("engineer", &command).unwrap();
        let counts = |story: &Story| {
            let recordings = &story.state.recordings;
            recordings.reduction_counts(&recordings.reductions[0])
        };
        assert!(counts(&story));
        story.set_aside(&other);
        assert!(!counts(&story));
    }

    #[test]
    fn nothing_is_worked_out_of_a_recording_that_belongs_to_no_run_or_was_set_aside() {
        let (mut story, recording, run) = with_interval();
        let loose = story.recorded(9);
        let command = reduction(&loose, run);
        assert_eq!(not_now(story.when("engineer", &command)), "recording-not-attached");
        story.set_aside(&recording);
        let command = reduction(&recording, run);
        assert_eq!(not_now(story.when("engineer", &command)), "recording-set-aside");
    }
}
