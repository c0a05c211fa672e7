//! Describes a recorder with the mapping of its columns, or describes it anew. What was taken in by an earlier mapping
//! stays as it was read.

use super::given::{Given, at_revision, changes, one};
use super::{Command, Stamp};
use crate::document::ProgrammeDocument;
use crate::entry::Draft;
use crate::nouns::Recorder;
use crate::people::Act;
use crate::record::RecorderDescribed;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// Asks for a recorder to be described.
#[derive(Debug, Clone)]
pub struct DescribeRecorder {
    /// The recorder as it is to be.
    pub recorder: Recorder,
    /// The revision that the person saw; 0: there was no such recorder.
    pub expected: Option<u64>,
}

impl Command for DescribeRecorder {
    fn act(&self) -> Act {
        Act::DescribeRecorders
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { recorder, expected } = self;
        let code = &recorder.code;
        at_revision(state, &Amendable::Recorder(code.clone()), *expected)?;
        let document =
            ProgrammeDocument { recorders: vec![recorder.clone()], ..ProgrammeDocument::default() };
        Given::new(state, stamp).noun(recorder.faults(""), &document, "recorders").settled()?;
        let differs = state.recorders.get(code) != Some(recorder);
        changes(differs, format_args!("recorder {code}"))?;
        Ok(one(RecorderDescribed { recorder: recorder.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::DefineChannel;
    use crate::commands::asked::{faults, no_permission, not_now, stale};
    use crate::measure::Unit;
    use crate::story::{Story, code, recorder};

    fn described() -> DescribeRecorder {
        DescribeRecorder { recorder: recorder("R-motor"), expected: None }
    }

    #[test]
    fn engineers_and_leads_describe_recorders_and_others_do_not() {
        let mut story = Story::team();
        story.when("engineer", &described()).unwrap();
        assert_eq!(story.state.recorders["R-motor"], recorder("R-motor"));
        assert_eq!(not_now(story.when("lead", &described())), "nothing-changes");
        no_permission(&mut story, &described(), &["pilot", "safety", "crew", "viewer"]);
    }

    #[test]
    fn columns_are_of_known_channels_in_units_that_become_theirs() {
        let mut story = Story::team();
        let mut command = described();
        command.recorder.columns[0].channel = code("stranger");
        command.recorder.columns[1].unit = Unit::Volt;
        assert_eq!(
            faults(story.when("engineer", &command)),
            ["columns[0].channel", "columns[1].unit"]
        );
        let mut command = described();
        command.recorder.columns[0].unit = Unit::Kelvin;
        story.when("engineer", &command).unwrap();
    }

    #[test]
    fn a_channel_that_a_recorder_gives_keeps_the_kind_of_its_unit() {
        let mut story = Story::team();
        story.when("engineer", &described()).unwrap();
        let mut channel = story.state.channels["speed"].clone();
        channel.unit = Unit::Kilowatt;
        let command = DefineChannel { channel, expected: None };
        assert_eq!(faults(story.when("engineer", &command)), ["unit"]);
    }

    #[test]
    fn a_mapping_that_somebody_changed_since_is_not_overwritten_unseen() {
        let mut story = Story::team();
        story.when("engineer", &described()).unwrap();
        let present = story.state.revision(&Amendable::Recorder(code("R-motor")));
        let mut command = described();
        command.recorder.title = "Another".to_owned();
        command.expected = Some(0);
        assert_eq!(stale(story.when("lead", &command)), (present, 0));
    }
}
