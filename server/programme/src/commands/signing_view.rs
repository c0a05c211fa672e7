//! What a person would sign: the card, the digest of each part, what stands against it, and what changed since they
//! last signed the point.

use chrono::{DateTime, Utc};
use serde::Serialize;

use super::refuse_part::act_of;
use super::signed::signable;
use super::{accept_result, digests, known, step};
use crate::card::{Card, Difference};
use crate::codes::{PersonHandle, PointCode};
use crate::holds::{self, Hold, Stage};
use crate::record::{Digest, Part};
use crate::refusal::Refusal;
use crate::state::State;

/// One part as a person would sign it now.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct PartView {
    /// Which part.
    #[serde(flatten)]
    pub part: Part,
    /// The digest to give with the signature; absent where there is nothing to sign yet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub digest: Option<Digest>,
    /// Who has signed it, where the signature still stands for what is there now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub signed_by: Option<PersonHandle>,
    /// Whether the person's roles allow it.
    pub permitted: bool,
    /// What stands against the person signing it now; empty: all stated conditions are met.
    pub holds: Vec<Hold>,
}

/// What a person would sign for a point.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct SigningView {
    /// The point.
    pub point: PointCode,
    /// The card with what is fitted now.
    #[schema(value_type = Object)]
    pub card: Card,
    /// Plan approval, release, acknowledgement, and both acceptances of the last result.
    pub parts: Vec<PartView>,
    /// Whether the person has signed a part of the point before.
    pub signed_before: bool,
    /// Where the card differs from the one that the person last signed.
    pub changed_since: Vec<Difference>,
}

/// What a person would sign for a point at a moment.
///
/// # Errors
///
/// [`Refusal::Unknown`] where there is no such point.
pub fn signing_view(
    state: &State,
    point: &PointCode,
    person: &PersonHandle,
    now: DateTime<Utc>,
) -> Result<SigningView, Refusal> {
    let rung = known::rung(state, point)?;
    let card = state.card(rung, true);
    let differences = rung.last_signed.get(person).map(|before| before.differences(&card));
    let last_result = rung.last_result().map(|id| &state.results[id.0]);
    let mut parts = vec![Part::PlanApproval {}, Part::Release {}, Part::Acknowledgement {}];
    if let Some(result) = last_result {
        let run = result.run;
        parts.extend([Part::EngineeringAcceptance { run }, Part::SafetyAcceptance { run }]);
    }
    let views = parts.into_iter().map(|part| {
        let digest = match part {
            // The window is the safety officer's to give, so that they see the card without one.
            Part::Release {} => digests::card(state, rung).map(Some),
            Part::PlanApproval {}
            | Part::Acknowledgement {}
            | Part::EngineeringAcceptance { .. }
            | Part::SafetyAcceptance { .. } => digests::of_part(state, rung, part, None),
        };
        let digest = digest.transpose().map(signable).transpose()?;
        let stage = |stage| holds::against(state, rung, now, stage);
        let mut against = match part {
            Part::PlanApproval {} => {
                let all = stage(Stage::Release).into_iter();
                all.filter(|hold| hold.rule == "point-dropped").collect()
            }
            Part::Release {} => stage(Stage::Release),
            Part::Acknowledgement {} => {
                let all = stage(Stage::Run).into_iter();
                all.filter(super::acknowledge_card::stands_against_acknowledging).collect()
            }
            Part::EngineeringAcceptance { .. } | Part::SafetyAcceptance { .. } => {
                last_result.map_or_else(Vec::new, |result| accept_result::against(state, result))
            }
        };
        against.extend(step::against(state, rung, part, person));
        let signature = match part {
            Part::PlanApproval {} => {
                rung.approval.as_ref().filter(|it| state.plan_signature_stands(rung, it))
            }
            Part::Release {} => rung
                .release
                .as_ref()
                .map(|release| &release.signature)
                .filter(|it| state.release_signature_stands(rung, it)),
            Part::Acknowledgement {} => {
                rung.acknowledgement.as_ref().filter(|it| Some(&it.digest) == digest.as_ref())
            }
            Part::EngineeringAcceptance { .. } => last_result
                .and_then(|result| result.engineering.as_ref())
                .filter(|it| Some(&it.digest) == digest.as_ref()),
            Part::SafetyAcceptance { .. } => last_result
                .and_then(|result| result.safety.as_ref())
                .filter(|it| Some(&it.digest) == digest.as_ref()),
        };
        Ok(PartView {
            part,
            digest,
            signed_by: signature.map(|signature| signature.by.clone()),
            permitted: act_of(part).is_allowed_to(state.roles(person)),
            holds: against,
        })
    });
    let parts = views.collect::<Result<_, Refusal>>()?;
    let signed_before = differences.is_some();
    let changed_since = signable(differences.transpose())?.unwrap_or_default();
    Ok(SigningView { point: point.clone(), card, parts, signed_before, changed_since })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeDelta;

    use super::*;
    use crate::commands::{
        AcceptResult, Acceptance, AcceptanceTerms, AcknowledgeCard, AcknowledgementTerms,
        ApprovalTerms, ApprovePlan, ReleasePoint, ReleaseTerms,
    };
    use crate::story::{Story, code, point};

    fn view(story: &Story, person: &str) -> SigningView {
        signing_view(&story.state, &code("A"), &code(person), story.now).unwrap()
    }

    fn digest(story: &Story, person: &str, place: usize) -> Digest {
        view(story, person).parts[place].digest.clone().unwrap()
    }

    #[test]
    fn the_digests_of_the_view_are_those_to_sign_with() {
        let mut story = Story::team();
        let mut plan = point("A");
        plan.title = "Changed".to_owned();
        story.plan(plan);
        let point = code("A");
        let terms = ApprovalTerms { digest: digest(&story, "engineer", 0) };
        story.when("engineer", &ApprovePlan { point, terms }).unwrap();
        let valid_until = story.now + TimeDelta::hours(2);
        let digest_of_card = digest(&story, "safety", 1);
        let terms = ReleaseTerms {
            digest: digest_of_card,
            valid_from: None,
            valid_until,
            conditions: Some("Fire truck manned.".to_owned()),
        };
        story.when("safety", &ReleasePoint { point: code("A"), terms }).unwrap();
        let terms = AcknowledgementTerms { digest: digest(&story, "pilot", 2) };
        story.when("pilot", &AcknowledgeCard { point: code("A"), terms }).unwrap();
        let run = story.run_for(&["A"], 10);
        story.result_by("lead", run, "A", Some(50.0));
        for (by, place, acceptance) in
            [("engineer", 3, Acceptance::Engineering), ("safety", 4, Acceptance::Safety)]
        {
            let terms = AcceptanceTerms { digest: digest(&story, by, place) };
            let command = AcceptResult { run, point: code("A"), acceptance, terms };
            story.when(by, &command).unwrap();
        }
        assert!(story.state.accepted_result(&code("A")).is_some());
        let signed: Vec<_> =
            view(&story, "lead").parts.into_iter().map(|part| part.signed_by.unwrap()).collect();
        assert_eq!(
            signed.iter().map(PersonHandle::as_str).collect::<Vec<_>>(),
            ["engineer", "safety", "pilot", "engineer", "safety"]
        );
    }

    #[test]
    fn a_person_sees_what_changed_since_they_last_signed_the_point() {
        let mut story = Story::team();
        assert!(!view(&story, "safety").signed_before);
        story.release("A");
        assert!(view(&story, "safety").changed_since.is_empty());
        let mut plan = point("A");
        plan.duration_min = 20.0;
        story.plan(plan).fit("motor", "2");
        let seen = view(&story, "safety");
        let places: Vec<_> = seen.changed_since.iter().map(|found| found.at.as_str()).collect();
        assert!(seen.signed_before);
        assert_eq!(places, ["configuration.motor", "point.duration_min"]);
        assert_eq!(seen.changed_since[0].before, Some("1".into()));
        assert_eq!(seen.changed_since[0].after, Some("2".into()));
    }

    #[test]
    fn the_view_says_who_may_and_what_stands_against_it() {
        let mut story = Story::team();
        story.stand_down();
        let seen = view(&story, "lead");
        assert!(seen.parts[0].permitted && !seen.parts[1].permitted);
        assert_eq!(seen.parts[0].holds[0].rule, "one-person-two-parts");
        assert_eq!(seen.parts[1].holds[0].rule, "stand-down");
        assert_eq!(seen.parts[2].digest, None, "there is no release to acknowledge");
    }
}
