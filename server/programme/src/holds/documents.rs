//! Permits, insurance and other papers that the phase or the plan asks for must be in hand, in force, and cover the
//! phase.

use chrono::{DateTime, Utc};

use super::words::moment;
use super::{Explained, Reason, Rule, Subject};
use crate::codes::DocumentCode;
use crate::nouns;
use crate::state::{Rung, State};

static MISSING: Rule =
    Rule::against_release("document-missing", "Every document that the plan names is filed.");
static NOT_IN_HAND: Rule = Rule::against_release(
    "document-not-in-hand",
    "Every document that the point needs is in hand: its number, issue or date is filed.",
);
static NOT_YET: Rule = Rule::against_release(
    "document-not-yet-in-force",
    "Every document that the point needs is in force already.",
);
static EXPIRED: Rule = Rule::against_release(
    "document-expired",
    "Every document that the point needs is in force still.",
);
static NOT_COVERING: Rule = Rule::against_release(
    "document-not-covering",
    "Every document that the point needs covers its phase.",
);

pub(super) static RULES: &[&Rule] = &[&MISSING, &NOT_IN_HAND, &NOT_YET, &EXPIRED, &NOT_COVERING];

/// A document that does not do for the point.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Document {
    /// Which.
    pub document: DocumentCode,
    /// Why not.
    pub fault: Fault,
}

/// Why a document does not do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// It is not filed.
    Missing,
    /// It is filed without a reference, so it is not in hand and covers nothing.
    NotInHand,
    /// In force from a later moment on.
    NotYet(DateTime<Utc>),
    /// In force up to, not including, this moment.
    Expired(DateTime<Utc>),
    /// It does not cover the phase.
    NotCovering,
}

pub(super) fn collect(rung: &Rung, state: &State, now: DateTime<Utc>, found: &mut Vec<Reason>) {
    let point = &rung.point;
    let mut against = |document: &DocumentCode, fault| {
        found.push(Reason::Document(Document { document: document.clone(), fault }));
    };
    for document in state.documents.values() {
        let code = &document.code;
        if !document.needed_in.contains(&point.phase) && !point.after_documents.contains(code) {
            continue;
        }
        if document.reference.is_none() {
            against(code, Fault::NotInHand);
            continue;
        }
        if let Some(from) = document.valid_from.filter(|from| now < *from) {
            against(code, Fault::NotYet(from));
        }
        if let Some(until) = document.valid_until.filter(|until| *until <= now) {
            against(code, Fault::Expired(until));
        }
        if !document.covers.contains(&point.phase) {
            against(code, Fault::NotCovering);
        }
    }
    for code in &point.after_documents {
        if !state.documents.contains_key(code) {
            against(code, Fault::Missing);
        }
    }
}

impl Document {
    fn filed<'a>(&self, state: &'a State) -> Option<&'a nouns::Document> {
        state.documents.get(&self.document)
    }
}

impl Explained for Document {
    fn rule(&self) -> &'static Rule {
        match self.fault {
            Fault::Missing => &MISSING,
            Fault::NotInHand => &NOT_IN_HAND,
            Fault::NotYet(_) => &NOT_YET,
            Fault::Expired(_) => &EXPIRED,
            Fault::NotCovering => &NOT_COVERING,
        }
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("document", &self.document)
    }

    fn why(&self, rung: &Rung, state: &State) -> String {
        let code = &self.document;
        let named = self
            .filed(state)
            .map_or_else(|| code.to_string(), |document| format!("{} ({code})", document.title));
        match self.fault {
            Fault::Missing => {
                format!(
                    "The plan of {} needs the document {code}, which is not filed.",
                    rung.point.code
                )
            }
            Fault::NotInHand => format!("{named} is not in hand: it has no number, issue or date."),
            Fault::NotYet(from) => format!("{named} is in force from {} only.", moment(from)),
            Fault::Expired(until) => format!("{named} expired at {}.", moment(until)),
            Fault::NotCovering => {
                format!("{named} does not cover the phase {}.", rung.point.phase)
            }
        }
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        let code = &self.document;
        match self.fault {
            Fault::Missing | Fault::NotInHand => {
                format!("{code} is obtained and filed with its reference.")
            }
            Fault::NotYet(from) => format!("{code} comes into force at {}.", moment(from)),
            Fault::Expired(_) => format!("{code} is renewed and filed anew."),
            Fault::NotCovering => {
                format!("{code} is extended to the phase {} and filed anew.", rung.point.phase)
            }
        }
    }

    fn source(&self, rung: &Rung, state: &State) -> String {
        let phase = rung.point.phase;
        let by_phase =
            self.filed(state).is_some_and(|document| document.needed_in.contains(&phase));
        if by_phase {
            format!("document {}: needed in the phase {phase}", self.document)
        } else {
            format!("the plan of {}", rung.point.code)
        }
    }
}

#[cfg(test)]
mod tests {
    use chrono::TimeDelta;

    use crate::nouns::{self, Phase, Point};
    use crate::record::DocumentFiled;
    use crate::story::{Story, code, document, point};

    fn with(change: impl FnOnce(&Story, &mut nouns::Document)) -> Story {
        let mut story = Story::team();
        let mut filed = document("D-permit");
        change(&story, &mut filed);
        story.record("lead", DocumentFiled { document: filed });
        story
    }

    #[test]
    fn a_document_without_reference_is_not_in_hand_and_covers_nothing() {
        let story = with(|_, filed| filed.reference = None);
        assert_eq!(story.rules("A"), ["document-not-in-hand"]);
    }

    #[test]
    fn a_document_is_in_force_from_its_first_moment_up_to_its_last() {
        let mut story = with(|story, filed| {
            filed.valid_from = Some(story.now + TimeDelta::hours(1));
            filed.valid_until = Some(story.now + TimeDelta::hours(2));
        });
        let begin = story.now - TimeDelta::seconds(1);
        for (seconds, rules) in [
            (3599, vec!["document-not-yet-in-force"]),
            (3600, vec![]),
            (7199, vec![]),
            (7200, vec!["document-expired"]),
        ] {
            story.now = begin + TimeDelta::seconds(seconds);
            assert_eq!(story.rules("A"), rules, "{seconds}");
        }
    }

    #[test]
    fn every_fault_of_a_document_is_told_at_once() {
        let story = with(|story, filed| {
            filed.valid_until = Some(story.now);
            filed.covers = vec![Phase::Static];
        });
        assert_eq!(story.rules("A"), ["document-expired", "document-not-covering"]);
    }

    #[test]
    fn a_document_that_the_plan_names_must_be_filed() {
        let mut story = Story::team();
        story.plan(Point { after_documents: vec![code("D-none")], ..point("B") }).approve("B");
        assert_eq!(story.rules("B"), ["document-missing"]);
    }

    #[test]
    fn a_document_does_not_concern_phases_that_do_not_need_it() {
        let mut story = with(|_, filed| filed.reference = None);
        story.plan(Point { phase: Phase::Static, ..point("S") }).approve("S");
        assert!(story.rules("S").is_empty());
    }
}
