//! The records that make a state say what a document says.

use super::ProgrammeDocument;
use crate::entry::Draft;
use crate::nouns::{Item, Point};
use crate::record::{
    AircraftDescribed, ChannelDefined, CheckDefined, DocumentFiled, HazardRecorded, ItemFitted,
    LimitSet, PersonListed, PointPlanned, PolicySet, ProgrammeFounded, RecorderDescribed,
};
use crate::state::{Proposal, ProposalFate, State};

/// One record for each thing that the state does not say yet, and none for what it says already.
///
/// The document must have passed [`super::check()`]; what it leaves out stays as it is.
pub fn to_records(document: &ProgrammeDocument, state: &State) -> Vec<Draft> {
    let mut drafts = Vec::new();
    if state.length() == 0 {
        let title = document.title.clone().unwrap_or_else(|| "Untitled programme".to_owned());
        drafts.push(ProgrammeFounded { title }.into());
    }
    if let Some(aircraft) =
        document.aircraft.as_ref().filter(|it| state.aircraft.as_ref() != Some(it))
    {
        drafts.push(AircraftDescribed { aircraft: aircraft.clone() }.into());
    }
    if let Some(policy) = document.policy.as_ref().filter(|it| state.policy.as_ref() != Some(it)) {
        drafts.push(PolicySet { policy: policy.clone() }.into());
    }
    for person in &document.people {
        if state.people.get(&person.handle) != Some(person) {
            drafts.push(PersonListed { person: person.clone() }.into());
        }
    }
    for channel in &document.channels {
        if state.channels.get(&channel.code) != Some(channel) {
            drafts.push(ChannelDefined { channel: channel.clone() }.into());
        }
    }
    for recorder in &document.recorders {
        if state.recorders.get(&recorder.code) != Some(recorder) {
            drafts.push(RecorderDescribed { recorder: recorder.clone() }.into());
        }
    }
    for item in document.items.iter().filter(|item| differs(item, state)) {
        let known = state.configuration.version(&item.code).is_some();
        let reason = known.then(|| "As the imported document says.".to_owned());
        drafts.push(ItemFitted { item: item.clone(), reason }.into());
    }
    for limit in &document.limits {
        if state.limits.by_code.get(&limit.code).is_none_or(|known| *known.limit != *limit) {
            drafts.push(LimitSet { limit: limit.clone() }.into());
        }
    }
    for check in &document.checks {
        if state.checks.by_code.get(&check.code).is_none_or(|known| known.check != *check) {
            drafts.push(CheckDefined { check: check.clone() }.into());
        }
    }
    for hazard in &document.hazards {
        if state.hazards.get(&hazard.code).is_none_or(|known| *known.hazard != *hazard) {
            drafts.push(HazardRecorded { hazard: hazard.clone() }.into());
        }
    }
    for paper in &document.documents {
        if state.documents.get(&paper.code) != Some(paper) {
            drafts.push(DocumentFiled { document: paper.clone() }.into());
        }
    }
    for point in document.points.iter().filter(|point| is_planned_anew(point, state)) {
        drafts.push(PointPlanned { point: point.clone() }.into());
    }
    drafts
}

/// Whether an item is not fitted just so.
pub(super) fn differs(item: &Item, state: &State) -> bool {
    state.configuration.items.get(&item.code).is_none_or(|fitted| fitted.item != *item)
}

/// Whether a point is new, changed, or was taken out of the plan.
pub(super) fn is_planned_anew(point: &Point, state: &State) -> bool {
    state.rung(&point.code).is_none_or(|rung| *rung.point != *point || rung.dropped.is_some())
}

/// Whether nothing was signed and nothing was run, so that the programme is still being written. Two people who changed
/// a limit and somebody who accepted a risk have signed, too.
pub(super) fn is_being_written(state: &State) -> bool {
    let agreed = |proposal: &Proposal| matches!(proposal.fate, ProposalFate::Agreed { .. });
    state.runs.is_empty()
        && state.ladder.rungs().iter().all(|rung| rung.last_signed.is_empty())
        && !state.limits.proposals.iter().any(agreed)
        && state.hazards.values().all(|hazard| hazard.accepted.is_none())
}
