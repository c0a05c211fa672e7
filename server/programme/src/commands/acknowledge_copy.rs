//! Acknowledges that the ledger goes on from a copy that may be older than what was recorded: test lead and safety officer.

use serde::Deserialize;

use super::given::{Given, not_now, one};
use super::{Command, Stamp};
use crate::entry::Draft;
use crate::ledger::NodeHash;
use crate::nouns::Role;
use crate::people::Act;
use crate::record::{CopyAcknowledged, PublicKey};
use crate::refusal::Refusal;
use crate::state::State;

/// What somebody gives who acknowledges a copy.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CopyTerms {
    /// How many records the copy has, as you read it.
    pub records: u64,
    /// What was done to find out what is missing, and what of it was recorded again.
    #[schema(min_length = 1, max_length = 20000)]
    pub account: String,
}

/// The copy that the ledger goes on from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GoneOnFrom {
    /// How many records it has.
    pub records: u64,
    /// The root over them.
    pub root: NodeHash,
    /// How many records there are known to have been.
    pub known: Option<u64>,
    /// The key by which this server signs.
    pub key: PublicKey,
}

/// Asks for a copy to be acknowledged.
#[derive(Debug, Clone)]
pub struct AcknowledgeCopy {
    /// The copy, where there is one.
    pub copy: Option<GoneOnFrom>,
    /// What was given.
    pub terms: CopyTerms,
}

impl Command for AcknowledgeCopy {
    fn act(&self) -> Act {
        Act::AcknowledgeCopy
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let CopyTerms { records, account } = &self.terms;
        Given::new(state, stamp).text("account", account).settled()?;
        let settled = self.copy.filter(|copy| {
            copy.records <= state.length()
                && !state.keeping.is_acknowledged(copy.records, copy.root)
        });
        let Some(copy) = settled else {
            return Err(not_now(
                "no-copy",
                "this ledger does not go on from a copy that waits to be acknowledged",
                "Nothing needs to be done.",
            ));
        };
        if copy.records != *records {
            return Err(not_now(
                "another-copy",
                format!("the copy has {} records, not {records}", copy.records),
                "Read what is told about the copy again.",
            ));
        }
        let before = || state.keeping.acknowledgements(copy.records, copy.root);
        if before().any(|it| it.by == stamp.by) {
            return Err(not_now(
                "copy-acknowledged-already",
                "you have acknowledged this copy already",
                "It takes two people: the other of test lead and safety officer acknowledges it too.",
            ));
        }
        let role = [Role::Lead, Role::Safety].into_iter().find(|role| {
            state.roles(&stamp.by).contains(role) && !before().any(|it| it.role == *role)
        });
        let Some(role) = role else {
            return Err(not_now(
                "copy-acknowledged-already",
                "this copy is acknowledged in your role already",
                "The other of test lead and safety officer acknowledges it too.",
            ));
        };
        let GoneOnFrom { records, root, known, key } = copy;
        Ok(one(CopyAcknowledged { records, root, known, key, role, account: account.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now};
    use crate::ledger::leaf_hash;
    use crate::story::Story;

    fn acknowledging(story: &Story) -> AcknowledgeCopy {
        let copy = GoneOnFrom {
            records: story.state.length(),
            root: leaf_hash(b"the copy"),
            known: Some(story.state.length() + 3),
            key: PublicKey::from_bytes([7; 32]),
        };
        let terms = CopyTerms {
            records: copy.records,
            account: "Three readings were typed in again.".to_owned(),
        };
        AcknowledgeCopy { copy: Some(copy), terms }
    }

    #[test]
    fn it_takes_the_lead_and_the_safety_officer_to_go_on_from_a_copy() {
        let mut story = Story::team();
        let command = acknowledging(&story);
        let copy = command.copy.unwrap();
        story.when("lead", &command).unwrap();
        assert!(!story.state.keeping.is_acknowledged(copy.records, copy.root));
        assert_eq!(story.state.keeping.key_at(u64::MAX), None);
        assert_eq!(not_now(story.when("lead", &command)), "copy-acknowledged-already");
        story.when("safety", &command).unwrap();
        assert!(story.state.keeping.is_acknowledged(copy.records, copy.root));
        assert_eq!(story.state.keeping.key_at(u64::MAX), Some(copy.key));
        assert!(story.state.keeping.was_waiting(copy.records + 1));
        assert!(!story.state.keeping.was_waiting(copy.records));
        assert!(!story.state.keeping.was_waiting(copy.records + 3));
        assert_eq!(not_now(story.when("safety", &command)), "no-copy");
    }

    #[test]
    fn one_person_with_both_roles_does_not_acknowledge_it_alone() {
        let mut story = Story::team();
        story.has_roles("lead", &[Role::Lead, Role::Safety]);
        let command = acknowledging(&story);
        story.when("lead", &command).unwrap();
        assert_eq!(not_now(story.when("lead", &command)), "copy-acknowledged-already");
    }

    #[test]
    fn what_cannot_be_acknowledged_is_told_apart() {
        let mut story = Story::team();
        let mut command = acknowledging(&story);
        command.terms.account = String::new();
        assert_eq!(faults(story.when("lead", &command)), ["account"]);
        let mut command = acknowledging(&story);
        command.terms.records += 1;
        assert_eq!(not_now(story.when("lead", &command)), "another-copy");
        command.copy = None;
        assert_eq!(not_now(story.when("lead", &command)), "no-copy");
        let command = acknowledging(&story);
        no_permission(&mut story, &command, &["pilot", "engineer", "crew", "viewer"]);
    }
}
