//! Takes a recorder's file in: what it is, by which mapping it was read, and what was found in it. Whoever has read the
//! file gives the facts; here they are held against the programme.

use std::collections::BTreeSet;

use super::given::{Given, at_revision, not_now, one, unknown};
use super::{Command, Stamp};
use crate::entry::Draft;
use crate::nouns::Recorder;
use crate::nouns::judging::Judging;
use crate::people::Act;
use crate::record::RecordingTaken;
use crate::refusal::{Fault, Refusal};
use crate::state::{Amendable, State};

/// Asks for a recording to be taken in.
#[derive(Debug, Clone)]
pub struct TakeRecording {
    /// What was found when the file was read.
    pub taken: RecordingTaken,
}

impl Command for TakeRecording {
    fn act(&self) -> Act {
        Act::TakeRecordings
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let taken = &self.taken;
        let recorder = state.recorders.get(&taken.recorder);
        let recorder = recorder.ok_or_else(|| unknown("recorder", &taken.recorder))?;
        let mapping = Amendable::Recorder(taken.recorder.clone());
        at_revision(state, &mapping, Some(taken.recorder_revision))?;
        if let Some(known) = state.recordings.get(&taken.recording)
            && known.set_aside().is_none()
            && let Some(take) = known.take()
            && (&take.recorder, take.recorder_revision)
                == (&taken.recorder, taken.recorder_revision)
        {
            return Err(not_now(
                "recording-known",
                format!(
                    "{} has taken in the same file as \"{}\": recording {}",
                    take.by, take.name, taken.recording
                ),
                "Nothing needs to be done: attach that recording to its run.",
            ));
        }
        Given::new(state, stamp)
            .title("name", &taken.name)
            .faults(faults(taken, recorder))
            .settled()?;
        Ok(one(taken.clone()))
    }
}

fn faults(taken: &RecordingTaken, recorder: &Recorder) -> Vec<Fault> {
    let mut judging = Judging::of("");
    judging.must(taken.bytes > 0, "bytes", "the file is empty");
    judging.must(taken.rows > 0, "rows", "the file has no row that could be taken");
    judging.must(
        taken.started <= taken.ended,
        "ended",
        format!("{} is before the first row", taken.ended.to_rfc3339()),
    );
    let mut seen = BTreeSet::new();
    for (place, recorded) in taken.channels.iter().enumerate() {
        let field = format!("channels[{place}].channel");
        let channel = &recorded.channel;
        if !recorder.gives(channel) {
            let why = format!("{channel} is no channel of recorder {}", recorder.code);
            judging.fault(&field, why);
        }
        if !seen.insert(channel) {
            judging.fault(&field, format!("{channel} is named twice"));
        }
        judging.must(
            recorded.readings <= taken.rows,
            &format!("channels[{place}].readings"),
            "are more than there are rows",
        );
    }
    judging.done()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale, unknown};
    use crate::record::{RecorderDescribed, RecordingSetAside};
    use crate::story::{Story, code, recorder};

    fn with_recorder() -> (Story, TakeRecording) {
        let mut story = Story::team();
        story.record("engineer", RecorderDescribed { recorder: recorder("R-motor") });
        let taken = story.file(1, story.now, 600.0);
        (story, TakeRecording { taken })
    }

    #[test]
    fn engineers_leads_and_crew_take_recordings_in_and_others_do_not() {
        let (mut story, command) = with_recorder();
        no_permission(&mut story, &command, &["pilot", "safety", "viewer"]);
        story.when("crew", &command).unwrap();
        let known = story.state.recordings.get(&command.taken.recording).unwrap();
        assert_eq!(known.take().unwrap().rows, 6000);
        assert!(known.attached.is_empty() && known.set_aside().is_none());
    }

    #[test]
    fn the_same_file_by_the_same_mapping_is_recognised_and_by_another_mapping_it_is_read_anew() {
        let (mut story, mut command) = with_recorder();
        story.when("crew", &command).unwrap();
        assert_eq!(not_now(story.when("engineer", &command)), "recording-known");
        let mut changed = recorder("R-motor");
        changed.columns[0].inverted = true;
        story.record("engineer", RecorderDescribed { recorder: changed });
        let present = story.state.length();
        assert_eq!(
            stale(story.when("engineer", &command)),
            (present, command.taken.recorder_revision),
            "the mapping that it was read by is not the present one"
        );
        command.taken.recorder_revision = present;
        story.when("engineer", &command).unwrap();
        let known = story.state.recordings.get(&command.taken.recording).unwrap();
        assert_eq!((known.takes.len(), story.state.recordings.order.len()), (2, 1));
    }

    #[test]
    fn a_file_that_was_set_aside_can_be_taken_in_once_more_and_belongs_to_no_run_then() {
        let (mut story, command) = with_recorder();
        let run = story.run_for(&["A"], 10);
        story.when("crew", &command).unwrap();
        let recording = command.taken.recording.clone();
        story.attach(&recording, run);
        let reason = "Of another day.".to_owned();
        story.record("engineer", RecordingSetAside { recording: recording.clone(), reason });
        story.when("crew", &command).unwrap();
        let known = story.state.recordings.get(&recording).unwrap();
        assert!(known.set_aside().is_none() && !known.is_attached_to(run));
        story.attach(&recording, run);
        assert!(story.state.recordings.get(&recording).unwrap().is_attached_to(run));
    }

    #[test]
    fn a_file_is_of_a_known_recorder_and_holds_rows_of_its_channels_once_each() {
        let (mut story, command) = with_recorder();
        let mut stranger = command.clone();
        stranger.taken.recorder = code("R-none");
        assert_eq!(unknown(story.when("crew", &stranger)), "recorder");
        let mut wrong = command;
        wrong.taken.name.clear();
        (wrong.taken.bytes, wrong.taken.rows) = (0, 0);
        std::mem::swap(&mut wrong.taken.started, &mut wrong.taken.ended);
        wrong.taken.channels[1].channel = code("winding");
        wrong.taken.channels[0].channel = code("pack");
        assert_eq!(
            faults(story.when("crew", &wrong)),
            [
                "name",
                "bytes",
                "rows",
                "ended",
                "channels[0].channel",
                "channels[0].readings",
                "channels[1].readings",
            ]
        );
        wrong.taken.channels[0].channel = code("winding");
        assert!(
            faults(story.when("crew", &wrong)).contains(&"channels[1].channel".to_owned()),
            "named twice"
        );
    }
}
