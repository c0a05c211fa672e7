//! Points, items, limits, hazards, papers, people and the aircraft, as a story gives them: what is new, and the rest as
//! it stands.

use std::collections::BTreeMap;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::super::words::When;
use super::{Given, Scene, seen};
use crate::codes::{
    DocumentCode, HazardCode, ItemCode, LimitCode, PersonHandle, PointCode, ProposalNumber,
    QualificationCode,
};
use crate::commands::{self, decide, digests};
use crate::entry::Draft;
use crate::nouns::{HeldQualification, ItemKind, Phase};
use crate::refusal::{Fault, Refusal};
use crate::state::Amendable;

/// A thing as it stands with some of its fields set otherwise.
fn with<T: Serialize + DeserializeOwned>(
    present: &T,
    set: &Map<String, Value>,
) -> Result<T, Refusal> {
    let unusable = |error: serde_json::Error| Refusal::Invalid {
        faults: vec![Fault::at("set", error.to_string())],
    };
    let mut whole = serde_json::to_value(present).map_err(unusable)?;
    if let Value::Object(fields) = &mut whole {
        fields.extend(set.clone());
    }
    serde_json::from_value(whole).map_err(unusable)
}

fn unknown(what: &'static str, code: impl ToString) -> Refusal {
    Refusal::Unknown { what, code: code.to_string() }
}

/// Plans a point otherwise.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct PlanPoint {
    point: PointCode,
    set: Map<String, Value>,
}

impl Given for PlanPoint {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let state = scene.state;
        let rung = state.rung(&self.point).ok_or_else(|| unknown("point", &self.point))?;
        let point = with(&*rung.point, &self.set)?;
        let expected = Some(state.revision(&Amendable::Point(self.point.clone())));
        decide(state, &commands::PlanPoint { point, expected }, scene.stamp)
    }
}

/// Takes a point out of the plan.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct DropPoint {
    point: PointCode,
    reason: String,
}

impl Given for DropPoint {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let point = self.point.clone();
        let expected = Some(scene.state.revision(&Amendable::Point(point.clone())));
        let terms = commands::DroppingTerms { reason: self.reason.clone() };
        decide(scene.state, &commands::DropPoint { point, terms, expected }, scene.stamp)
    }
}

/// Fits an item, or exchanges it.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct FitItem {
    item: ItemCode,
    version: String,
    /// Absent: as it stands.
    #[serde(default)]
    title: Option<String>,
    /// Absent: as it stands, else a part.
    #[serde(default)]
    kind: Option<ItemKind>,
    #[serde(default)]
    reason: Option<String>,
}

impl Given for FitItem {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let item = self.item.clone();
        let fitted = scene.state.configuration.items.get(&item).map(|fitted| &fitted.item);
        let title = self.title.clone().or_else(|| fitted.map(|item| item.title.clone()));
        let command = commands::FitItem {
            terms: commands::FittingTerms {
                title: title.unwrap_or_default(),
                kind: self.kind.or(fitted.map(|item| item.kind)).unwrap_or(ItemKind::Part),
                version: self.version.clone(),
                reason: self.reason.clone(),
            },
            expected: Some(scene.state.revision(&Amendable::Item(item.clone()))),
            item,
        };
        decide(scene.state, &command, scene.stamp)
    }
}

/// Takes an item off.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct RemoveItem {
    item: ItemCode,
    reason: String,
}

impl Given for RemoveItem {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let item = self.item.clone();
        let expected = Some(scene.state.revision(&Amendable::Item(item.clone())));
        let terms = commands::RemovalTerms { reason: self.reason.clone() };
        decide(scene.state, &commands::RemoveItem { item, terms, expected }, scene.stamp)
    }
}

/// Proposes a limit otherwise.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct ProposeLimit {
    limit: LimitCode,
    set: Map<String, Value>,
    reason: String,
}

impl Given for ProposeLimit {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let state = scene.state;
        let known = state.limits.by_code.get(&self.limit);
        let known = known.ok_or_else(|| unknown("limit", &self.limit))?;
        let limit = with(&*known.limit, &self.set)?;
        let terms = commands::ProposalTerms { limit, reason: self.reason.clone() };
        let expected = Some(state.revision(&Amendable::Limit(self.limit.clone())));
        decide(state, &commands::ProposeLimit { terms, expected }, scene.stamp)
    }
}

/// Agrees to a proposed limit.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct AgreeLimit {
    proposal: ProposalNumber,
}

impl Given for AgreeLimit {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let proposal = self.proposal;
        let known = scene.state.limits.proposal(proposal);
        let digest = seen(known.map(|known| Ok(known.digest.clone())));
        let terms = commands::AgreementTerms { digest };
        decide(scene.state, &commands::AgreeLimit { proposal, terms }, scene.stamp)
    }
}

/// Declines a proposed limit.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct DeclineLimit {
    proposal: ProposalNumber,
    reason: String,
}

impl Given for DeclineLimit {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let terms = commands::DecliningTerms { reason: self.reason.clone() };
        let command = commands::DeclineLimit { proposal: self.proposal, terms };
        decide(scene.state, &command, scene.stamp)
    }
}

/// Judges a hazard otherwise.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct RecordHazard {
    hazard: HazardCode,
    set: Map<String, Value>,
}

impl Given for RecordHazard {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let state = scene.state;
        let known = state.hazards.get(&self.hazard);
        let known = known.ok_or_else(|| unknown("hazard", &self.hazard))?;
        let hazard = with(&*known.hazard, &self.set)?;
        let expected = Some(state.revision(&Amendable::Hazard(self.hazard.clone())));
        decide(state, &commands::RecordHazard { hazard, expected }, scene.stamp)
    }
}

/// Accepts the residual risk of hazards.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct AcceptRisk {
    hazards: Vec<HazardCode>,
}

impl Given for AcceptRisk {
    fn commands(&self) -> usize {
        self.hazards.len()
    }

    fn decide(&self, place: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let Some(hazard) = self.hazards.get(place).cloned() else { return Ok(Vec::new()) };
        let state = scene.state;
        let known = state.hazards.get(&hazard).zip(state.policy.as_ref());
        let digest = known.and_then(|(known, policy)| {
            let level = policy.risk.level(known.hazard.after?);
            Some(digests::risk(&known.hazard, level))
        });
        let terms = commands::RiskTerms { digest: seen(digest) };
        decide(state, &commands::AcceptRisk { hazard, terms }, scene.stamp)
    }
}

/// Files a document anew, with what is given; the rest stays as it is.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct FileDocument {
    document: DocumentCode,
    #[serde(default)]
    reference: Option<String>,
    #[serde(default)]
    from: Option<When>,
    #[serde(default)]
    until: Option<When>,
    #[serde(default)]
    covers: Option<Vec<Phase>>,
}

impl Given for FileDocument {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let state = scene.state;
        let known = state.documents.get(&self.document);
        let mut document = known.ok_or_else(|| unknown("document", &self.document))?.clone();
        if let Some(reference) = &self.reference {
            document.reference = Some(reference.clone());
        }
        if let Some(from) = &self.from {
            document.valid_from = Some(from.from(scene.now));
        }
        if let Some(until) = &self.until {
            document.valid_until = Some(until.from(scene.now));
        }
        if let Some(covers) = &self.covers {
            document.covers.clone_from(covers);
        }
        let expected = Some(state.revision(&Amendable::Document(self.document.clone())));
        decide(state, &commands::FileDocument { document, expected }, scene.stamp)
    }
}

/// Lists a person anew: until when they hold qualifications; the rest stays as it is.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct ListPerson {
    person: PersonHandle,
    expires: BTreeMap<QualificationCode, When>,
}

impl Given for ListPerson {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let state = scene.state;
        let known = state.people.get(&self.person);
        let mut person = known.ok_or_else(|| unknown("person", &self.person))?.clone();
        for (code, until) in &self.expires {
            let expires = Some(until.from(scene.now));
            match person.qualifications.iter_mut().find(|held| held.code == *code) {
                Some(held) => held.expires = expires,
                None => {
                    person.qualifications.push(HeldQualification { code: code.clone(), expires })
                }
            }
        }
        let expected = Some(state.revision(&Amendable::Person(self.person.clone())));
        decide(state, &commands::ListPerson { person, expected }, scene.stamp)
    }
}
