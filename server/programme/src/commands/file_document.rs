//! Files a document: a permit, insurance, conditions; or files it anew.

use super::given::{Given, at_revision, changes, one};
use super::{Command, Stamp};
use crate::entry::Draft;
use crate::nouns::Document;
use crate::people::Act;
use crate::record::DocumentFiled;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// Asks for a document to be filed.
#[derive(Debug, Clone)]
pub struct FileDocument {
    /// The document as it is in hand.
    pub document: Document,
    /// The revision that the person saw; 0: there was no such document.
    pub expected: Option<u64>,
}

impl Command for FileDocument {
    fn act(&self) -> Act {
        Act::FileDocuments
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { document, expected } = self;
        let code = &document.code;
        at_revision(state, &Amendable::Document(code.clone()), *expected)?;
        Given::new(state, stamp).faults(document.faults("")).settled()?;
        let differs = state.documents.get(code) != Some(document);
        changes(differs, format_args!("document {code}"))?;
        Ok(one(DocumentFiled { document: document.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeDelta;

    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale};
    use crate::nouns::Phase;
    use crate::story::{Story, code, document};

    fn filing(document: Document) -> FileDocument {
        FileDocument { document, expected: None }
    }

    #[test]
    fn lead_and_safety_officer_file_documents_and_others_do_not() {
        let mut story = Story::team();
        story.when("lead", &filing(document("D-1"))).unwrap();
        story.when("safety", &filing(document("D-2"))).unwrap();
        assert_eq!(not_now(story.when("lead", &filing(document("D-2")))), "nothing-changes");
        let others = ["pilot", "engineer", "crew", "viewer"];
        no_permission(&mut story, &filing(document("D-3")), &others);
    }

    #[test]
    fn a_document_without_its_reference_is_not_in_hand_and_covers_nothing() {
        let mut story = Story::team();
        let applied_for = Document { reference: None, ..document("D-permit") };
        story.when("lead", &filing(applied_for)).unwrap();
        assert_eq!(story.rules("A"), ["document-not-in-hand"]);
        story.when("lead", &filing(document("D-permit"))).unwrap();
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn a_document_covers_the_phases_that_need_it_and_ends_after_it_begins() {
        let mut story = Story::team();
        let wrong = Document {
            valid_from: Some(story.now),
            valid_until: Some(story.now - TimeDelta::days(1)),
            needed_in: vec![Phase::Taxi],
            ..document("D-new")
        };
        assert_eq!(faults(story.when("lead", &filing(wrong))), ["valid_until", "needed_in[0]"]);
        let present = story.state.revision(&Amendable::Document(code("D-permit")));
        let command = FileDocument { expected: Some(0), ..filing(document("D-permit")) };
        assert_eq!(stale(story.when("lead", &command)), (present, 0));
    }
}
