//! Whoever refuses to sign holds the point until they withdraw the refusal or the part is signed after all.
//!
//! A refusal to approve the plan is told with the plan.

use chrono::{DateTime, Utc};

use super::words::said;
use super::{Explained, Reason, Rule, Subject};
use crate::codes::PersonHandle;
use crate::record::Part;
use crate::state::{Rung, State};

static RELEASE: Rule =
    Rule::against_run("release-refused", "Nobody stands by a refusal to release the point.");
static ACKNOWLEDGEMENT: Rule = Rule::against_run(
    "acknowledgement-refused",
    "Nobody stands by a refusal to acknowledge the card.",
);
static ACCEPTANCE: Rule = Rule::against_release(
    "acceptance-refused",
    "Nobody stands by a refusal to accept a result of the point.",
);

pub(super) static RULES: &[&Rule] = &[&RELEASE, &ACKNOWLEDGEMENT, &ACCEPTANCE];

/// A refusal that stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Refused {
    /// The record.
    pub seq: u64,
    /// Who refused.
    pub by: PersonHandle,
    /// What.
    pub part: Part,
}

pub(super) fn collect(rung: &Rung, _: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    for refused in &rung.refusals {
        match refused.part {
            Part::PlanApproval {} => {}
            Part::Release { .. }
            | Part::Acknowledgement {}
            | Part::EngineeringAcceptance { .. }
            | Part::SafetyAcceptance { .. } => found.push(Reason::Refused(Refused {
                seq: refused.seq,
                by: refused.by.clone(),
                part: refused.part,
            })),
        }
    }
}

impl Explained for Refused {
    fn rule(&self) -> &'static Rule {
        match self.part {
            Part::Release { .. } => &RELEASE,
            Part::Acknowledgement {} => &ACKNOWLEDGEMENT,
            Part::PlanApproval {}
            | Part::EngineeringAcceptance { .. }
            | Part::SafetyAcceptance { .. } => &ACCEPTANCE,
        }
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("refusal", self.seq)
    }

    fn why(&self, rung: &Rung, _: &State) -> String {
        let refused = rung.refusals.iter().find(|refused| refused.seq == self.seq);
        let reasons = refused.map_or("", |refused| refused.reasons.as_str());
        let of_run = self.part.run().map_or_else(String::new, |run| format!(" of run {run}"));
        let (by, part, code) = (&self.by, self.part.in_words(), &rung.point.code);
        format!("{by} refused the {part}{of_run} for {code}: {}", said(reasons))
    }

    fn clears(&self, _: &Rung, _: &State) -> String {
        format!(
            "{} withdraws the refusal, or the {} is signed once the reasons are dealt with.",
            self.by,
            self.part.in_words()
        )
    }

    fn source(&self, _: &Rung, _: &State) -> String {
        "Rungbook rule: a refusal to sign is a record with its reasons".to_owned()
    }
}

#[cfg(test)]
mod tests {
    use crate::holds::Stage;
    use crate::nouns::Point;
    use crate::record::{Part, SignatureWithdrawn};
    use crate::story::{Story, code, point};

    #[test]
    fn a_refused_release_holds_the_run_and_can_be_signed_over() {
        let mut story = Story::team();
        story.refuse("safety", "A", Part::Release {});
        assert!(story.rules_against("A", Stage::Release).is_empty());
        assert_eq!(
            story.hold("A", "release-refused").why,
            "safety refused the release for A: I am not content."
        );
        story.release("A");
        assert!(!story.rules_against("A", Stage::Run).contains(&"release-refused"));
    }

    #[test]
    fn a_refused_acceptance_holds_until_it_is_withdrawn_or_signed_over() {
        let mut story = Story::team();
        let run = story.show("A", 50.0);
        let part = Part::SafetyAcceptance { run };
        story.refuse("safety", "A", part);
        assert_eq!(story.rules("A"), ["acceptance-refused"]);
        let mut signed = story.clone();
        signed.accept("A", run);
        assert!(signed.rules("A").is_empty());
        let reason = "It is repeated.".to_owned();
        story.record("safety", SignatureWithdrawn { point: code("A"), part, reason });
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn nobody_withdraws_the_refusal_of_another() {
        let mut story = Story::team();
        story.refuse("pilot", "A", Part::Acknowledgement {});
        story.record(
            "engineer",
            SignatureWithdrawn {
                point: code("A"),
                part: Part::Acknowledgement {},
                reason: "It suits me.".to_owned(),
            },
        );
        story.hold("A", "acknowledgement-refused");
    }

    #[test]
    fn whoever_refuses_what_they_had_signed_stands_by_the_refusal() {
        let mut story = Story::team();
        story.plan(Point { after_points: vec![code("A")], ..point("B") }).approve("B");
        let run = story.show_and_accept("A");
        story.release("A").acknowledge("A");
        assert!(story.rules("B").is_empty());
        let mut of_another = story.clone();
        of_another.refuse("pilot", "A", Part::SafetyAcceptance { run });
        assert!(of_another.rules("B").is_empty(), "the two who signed stand by it");
        story.refuse("safety", "A", Part::SafetyAcceptance { run });
        assert_eq!(story.rules("B"), ["prerequisite-not-accepted"]);
        story.refuse("safety", "A", Part::Release {}).refuse(
            "engineer",
            "A",
            Part::PlanApproval {},
        );
        assert!(story.rung("A").release.is_none() && story.rung("A").approval.is_none());
    }
}
