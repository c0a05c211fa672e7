//! Everything that a document and the programme know together, by code.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use super::ProgrammeDocument;
use crate::codes::{
    ChannelCode, CheckCode, DocumentCode, HazardCode, ItemCode, LimitCode, PersonHandle, PointCode,
};
use crate::measure::{Kind, Unit};
use crate::nouns::{Aircraft, Channel, Limit, Person, Point, Statistic};
use crate::state::State;

/// What is known once a document is imported: what it says goes before what the programme says now.
pub(super) struct Known<'a> {
    pub(super) aircraft: Option<&'a Aircraft>,
    pub(super) people: BTreeMap<&'a PersonHandle, &'a Person>,
    pub(super) channels: BTreeMap<&'a ChannelCode, &'a Channel>,
    pub(super) limits: BTreeMap<&'a LimitCode, &'a Limit>,
    /// Fitted now, or once.
    pub(super) items: BTreeSet<&'a ItemCode>,
    pub(super) hazards: BTreeSet<&'a HazardCode>,
    pub(super) checks: BTreeSet<&'a CheckCode>,
    pub(super) documents: BTreeSet<&'a DocumentCode>,
    pub(super) points: HashMap<&'a PointCode, &'a Point>,
    /// Points that were taken out of the plan, and that the document does not bring back.
    pub(super) dropped: HashSet<&'a PointCode>,
}

impl<'a> Known<'a> {
    pub(super) fn of(document: &'a ProgrammeDocument, state: &'a State) -> Self {
        let rungs = state.ladder.rungs();
        let standing = rungs.iter().filter(|rung| rung.dropped.is_none());
        let mut known = Self {
            aircraft: document.aircraft.as_ref().or(state.aircraft.as_ref()),
            people: state.people.iter().collect(),
            channels: state.channels.iter().collect(),
            limits: state.limits.by_code.iter().map(|(code, it)| (code, &*it.limit)).collect(),
            items: state.configuration.changes.iter().map(|change| &change.item).collect(),
            hazards: state.hazards.keys().collect(),
            checks: state.checks.by_code.keys().collect(),
            documents: state.documents.keys().collect(),
            points: standing.map(|rung| (&rung.point.code, &*rung.point)).collect(),
            dropped: rungs
                .iter()
                .filter(|rung| rung.dropped.is_some())
                .map(|rung| &rung.point.code)
                .collect(),
        };
        known.people.extend(document.people.iter().map(|person| (&person.handle, person)));
        known.channels.extend(document.channels.iter().map(|channel| (&channel.code, channel)));
        known.limits.extend(document.limits.iter().map(|limit| (&limit.code, limit)));
        known.items.extend(document.items.iter().map(|item| &item.code));
        known.hazards.extend(document.hazards.iter().map(|hazard| &hazard.code));
        known.checks.extend(document.checks.iter().map(|check| &check.code));
        known.documents.extend(document.documents.iter().map(|paper| &paper.code));
        for point in &document.points {
            known.points.insert(&point.code, point);
            known.dropped.remove(&point.code);
        }
        known
    }
}

/// Whether figures in a unit can be held against what a statistic takes from a channel.
///
/// A spread or a rate of temperatures is a difference of temperatures, so kelvins fit it too.
pub(crate) fn unit_fits(unit: Unit, statistic: Statistic, channel: &Channel) -> bool {
    let (given, measured) = (unit.kind(), channel.unit.kind());
    match statistic {
        Statistic::TimeAbove => given == Kind::Time,
        Statistic::Spread => {
            given == measured
                || (measured == Kind::Temperature && given == Kind::TemperatureDifference)
        }
        Statistic::Rate => {
            given == measured
                || (measured == Kind::Temperature
                    && matches!(given, Kind::TemperatureDifference | Kind::TemperatureRate))
        }
        Statistic::Max
        | Statistic::Min
        | Statistic::Mean
        | Statistic::First
        | Statistic::Last
        | Statistic::Value => given == measured,
    }
}
