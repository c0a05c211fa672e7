//! Sets a recording aside that was a mistake: of another aircraft or day, by a wrong mapping, of a recorder that was
//! broken. Nothing made of it counts any more; exceedances that it showed stay until they are explained and closed.

use serde::Deserialize;

use super::given::{Given, at_revision, one};
use super::{Command, Stamp, known};
use crate::entry::Draft;
use crate::people::Act;
use crate::record::{Digest, RecordingSetAside};
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// What a person gives to set a recording aside.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SettingAsideTerms {
    /// Why it does not count.
    pub reason: String,
}

/// Asks for a recording to be set aside.
#[derive(Debug, Clone)]
pub struct SetAsideRecording {
    /// Which.
    pub recording: Digest,
    /// What was given.
    pub terms: SettingAsideTerms,
    /// The revision of the recording that the person saw.
    pub expected: Option<u64>,
}

impl Command for SetAsideRecording {
    fn act(&self) -> Act {
        Act::AttachRecordings
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let (recording, reason) = (self.recording.clone(), self.terms.reason.clone());
        known::recording(state, &recording)?;
        at_revision(state, &Amendable::Recording(recording.clone()), self.expected)?;
        Given::new(state, stamp).text("reason", &reason).settled()?;
        Ok(one(RecordingSetAside { recording, reason }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale, unknown};
    use crate::story::{Story, any_digest};

    fn aside(recording: &Digest) -> SetAsideRecording {
        let terms = SettingAsideTerms { reason: "Of another aircraft.".to_owned() };
        SetAsideRecording { recording: recording.clone(), terms, expected: None }
    }

    #[test]
    fn engineers_and_leads_set_a_recording_aside_once_and_say_why() {
        let mut story = Story::team();
        let recording = story.recorded(1);
        no_permission(&mut story, &aside(&recording), &["pilot", "safety", "crew", "viewer"]);
        let mut silent = aside(&recording);
        silent.terms.reason.clear();
        assert_eq!(faults(story.when("engineer", &silent)), ["reason"]);
        story.when("lead", &aside(&recording)).unwrap();
        assert!(story.state.recordings.get(&recording).unwrap().set_aside().is_some());
        assert_eq!(not_now(story.when("engineer", &aside(&recording))), "recording-set-aside");
        assert_eq!(unknown(story.when("engineer", &aside(&any_digest()))), "recording");
    }

    #[test]
    fn a_recording_that_somebody_attached_since_is_not_set_aside_unseen() {
        let mut story = Story::team();
        let recording = story.recorded(1);
        let seen = story.state.revision(&Amendable::Recording(recording.clone()));
        let run = story.run_for(&["A"], 10);
        story.attach(&recording, run);
        let command = SetAsideRecording { expected: Some(seen), ..aside(&recording) };
        assert_eq!(stale(story.when("engineer", &command)), (story.state.length(), seen));
    }
}
