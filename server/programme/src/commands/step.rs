//! Nobody signs two parts of one step.
//!
//! The first step of a point is its plan as it is now: author, approval, release and acknowledgement. The next is one
//! result as it was recorded last: recorder, acceptance by an engineer, acceptance by the safety officer. What somebody
//! signed once counts, also when it was withdrawn or signed over by another: otherwise one person could hold two parts
//! in turn. A change of what is signed begins the step anew.

use crate::codes::PersonHandle;
use crate::holds::{Hold, Stage, Subject};
use crate::record::Part;
use crate::state::{ResultState, Rung, Signer, State};

/// The other part of the step that a person has a hand in, in words; none where they are free to sign.
pub(super) fn other_part(
    state: &State,
    rung: &Rung,
    part: Part,
    person: &PersonHandle,
) -> Option<&'static str> {
    match part {
        Part::PlanApproval {} | Part::Release {} | Part::Acknowledgement {} => {
            if rung.planned_by == *person {
                return Some("the plan as its author");
            }
            let since = state.plan_changed_at(rung);
            signed_other(rung.signers.iter().filter(|signer| signer.seq > since), part, person)
        }
        Part::EngineeringAcceptance { run } | Part::SafetyAcceptance { run } => {
            let (_, result) = state.result(run, &rung.point.code)?;
            of_result(result, part, person)
        }
    }
}

fn of_result(result: &ResultState, part: Part, person: &PersonHandle) -> Option<&'static str> {
    if result.by == *person {
        return Some("the result as its recorder");
    }
    signed_other(result.signers.iter(), part, person)
}

fn signed_other<'a>(
    mut signers: impl Iterator<Item = &'a Signer>,
    part: Part,
    person: &PersonHandle,
) -> Option<&'static str> {
    signers.find(|signer| signer.by == *person && signer.part != part).map(|signer| {
        match signer.part {
            Part::PlanApproval {} => "the plan approval",
            Part::Release {} => "the release",
            Part::Acknowledgement {} => "the acknowledgement",
            Part::EngineeringAcceptance { .. } => "the acceptance by an engineer",
            Part::SafetyAcceptance { .. } => "the acceptance by the safety officer",
        }
    })
}

/// The hold that stands against a person signing a part, if any.
pub(super) fn against(
    state: &State,
    rung: &Rung,
    part: Part,
    person: &PersonHandle,
) -> Option<Hold> {
    let other = other_part(state, rung, part, person)?;
    let code = &rung.point.code;
    Some(Hold {
        rule: "one-person-two-parts",
        subject: Subject { what: "person", code: person.to_string() },
        why: format!(
            "{person} has signed {other} of {code} and so cannot sign the {}.",
            part.in_words()
        ),
        clears: format!("Somebody else signs the {}.", part.in_words()),
        source: "Rungbook rule: nobody signs two parts of one step".to_owned(),
        stage: Stage::Release,
    })
}
