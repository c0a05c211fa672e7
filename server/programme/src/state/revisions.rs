//! Which record last changed each thing that can be amended, so that nobody amends what they have not seen.

use std::fmt;

use super::State;
use crate::codes::{
    ChannelCode, CheckCode, DocumentCode, ExceedanceNumber, HazardCode, ItemCode, LimitCode,
    PersonHandle, PointCode, RecorderCode, RunNumber, SnagNumber,
};
use crate::entry::Entry;
use crate::record::{Digest, Record};

/// A thing that people amend.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Amendable {
    /// The aircraft.
    Aircraft,
    /// The policy.
    Policy,
    /// A person's roles and qualifications.
    Person(PersonHandle),
    /// An item of the configuration.
    Item(ItemCode),
    /// A channel.
    Channel(ChannelCode),
    /// A recorder and its mapping.
    Recorder(RecorderCode),
    /// A recording: how it was taken in, attached, timed and set aside.
    Recording(Digest),
    /// A limit in force.
    Limit(LimitCode),
    /// A check, as defined.
    Check(CheckCode),
    /// A hazard and the risk accepted for it.
    Hazard(HazardCode),
    /// A document.
    Document(DocumentCode),
    /// The plan of a point; signatures and results do not amend it.
    Point(PointCode),
    /// A run: its moments, readings, corrections and closing.
    Run(RunNumber),
    /// The result of a run for a point; signatures do not amend it.
    Result(RunNumber, PointCode),
    /// An exceedance and its explanation.
    Exceedance(ExceedanceNumber),
    /// A snag and the work on it.
    Snag(SnagNumber),
}

impl fmt::Display for Amendable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Amendable::Aircraft => f.write_str("the aircraft"),
            Amendable::Policy => f.write_str("the policy"),
            Amendable::Person(handle) => write!(f, "the entry of {handle}"),
            Amendable::Item(code) => write!(f, "item {code}"),
            Amendable::Channel(code) => write!(f, "channel {code}"),
            Amendable::Recorder(code) => write!(f, "recorder {code}"),
            Amendable::Recording(digest) => write!(f, "recording {digest}"),
            Amendable::Limit(code) => write!(f, "limit {code}"),
            Amendable::Check(code) => write!(f, "check {code}"),
            Amendable::Hazard(code) => write!(f, "hazard {code}"),
            Amendable::Document(code) => write!(f, "document {code}"),
            Amendable::Point(code) => write!(f, "the plan of {code}"),
            Amendable::Run(number) => write!(f, "run {number}"),
            Amendable::Result(run, point) => write!(f, "the result of run {run} for {point}"),
            Amendable::Exceedance(number) => write!(f, "exceedance {number}"),
            Amendable::Snag(number) => write!(f, "snag {number}"),
        }
    }
}

impl State {
    /// The revision of a thing: the number of the record that last changed it, 0 where there is no such thing.
    pub fn revision(&self, of: &Amendable) -> u64 {
        self.revisions.get(of).copied().unwrap_or(0)
    }

    pub(super) fn revise(&mut self, entry: &Entry) {
        if let Some(thing) = self.amended_by(&entry.record) {
            self.revisions.insert(thing, entry.seq);
        }
    }

    fn amended_by(&self, record: &Record) -> Option<Amendable> {
        Some(match record {
            Record::AircraftDescribed(_) => Amendable::Aircraft,
            Record::PolicySet(_) => Amendable::Policy,
            Record::PersonListed(body) => Amendable::Person(body.person.handle.clone()),
            Record::ItemFitted(body) => Amendable::Item(body.item.code.clone()),
            Record::ItemRemoved(body) => Amendable::Item(body.item.clone()),
            Record::ChannelDefined(body) => Amendable::Channel(body.channel.code.clone()),
            Record::RecorderDescribed(body) => Amendable::Recorder(body.recorder.code.clone()),
            Record::RecordingTaken(body) => Amendable::Recording(body.recording.clone()),
            Record::RecordingAttached(body) => Amendable::Recording(body.recording.clone()),
            Record::RecordingSetAside(body) => Amendable::Recording(body.recording.clone()),
            Record::ClockOffsetConfirmed(body) => Amendable::Recording(body.recording.clone()),
            Record::LimitSet(body) => Amendable::Limit(body.limit.code.clone()),
            Record::LimitChangeAgreed(body) => {
                Amendable::Limit(self.limits.proposal(body.proposal)?.limit.code.clone())
            }
            Record::CheckDefined(body) => Amendable::Check(body.check.code.clone()),
            Record::HazardRecorded(body) => Amendable::Hazard(body.hazard.code.clone()),
            Record::RiskAccepted(body) => Amendable::Hazard(body.hazard.clone()),
            Record::DocumentFiled(body) => Amendable::Document(body.document.code.clone()),
            Record::PointPlanned(body) => Amendable::Point(body.point.code.clone()),
            Record::PointDropped(body) => Amendable::Point(body.point.clone()),
            Record::RunOpened(body) => Amendable::Run(body.run),
            Record::RunMomentNoted(body) => Amendable::Run(body.run),
            Record::RunEnergyRead(body) => Amendable::Run(body.run),
            Record::KnockedOff(body) => Amendable::Run(body.run),
            Record::RunClosed(body) => Amendable::Run(body.run),
            Record::RunTimesCorrected(body) => Amendable::Run(body.run),
            Record::ResultRecorded(body) => Amendable::Result(body.run, body.point.clone()),
            Record::ExceedanceNoted(body) => Amendable::Exceedance(body.exceedance),
            Record::ExceedanceFound(body) => Amendable::Exceedance(body.exceedance),
            Record::ExceedanceExplained(body) => Amendable::Exceedance(body.exceedance),
            Record::ExceedanceClosed(body) => Amendable::Exceedance(body.exceedance),
            Record::SnagOpened(body) => Amendable::Snag(body.snag),
            Record::SnagWorked(body) => Amendable::Snag(body.snag),
            Record::SnagClosed(body) => Amendable::Snag(body.snag),
            Record::ProgrammeFounded(_)
            | Record::LimitChangeProposed(_)
            | Record::LimitChangeDeclined(_)
            | Record::CheckDone(_)
            | Record::EventHappened(_)
            | Record::PartSigned(_)
            | Record::SigningRefused(_)
            | Record::SignatureWithdrawn(_)
            | Record::BuildUpDeviationProposed(_)
            | Record::BuildUpDeviationAgreed(_)
            | Record::BuildUpDeviationEnded(_)
            | Record::IntervalTaken(_)
            | Record::ReductionMade(_)
            | Record::HeatingOrderJudged(_)
            | Record::PredictionsMade(_)
            | Record::ModelReviewed(_)
            | Record::DampingStepJudged(_)
            | Record::RepeatNarrowed(_)
            | Record::ForecastAssumed(_)
            | Record::ForecastMade(_)
            | Record::DayPlanProposed(_)
            | Record::DayLost(_)
            | Record::WeatherObserved(_)
            | Record::StandDownCalled(_)
            | Record::StandDownLifted(_)
            | Record::CheckpointKeyChanged(_)
            | Record::CopyAcknowledged(_)
            | Record::ClockCompared(_) => return None,
        })
    }
}

#[cfg(test)]
mod tests {
    use crate::state::Amendable;
    use crate::story::{Story, code, point};

    #[test]
    fn the_revision_of_a_plan_is_the_record_that_last_planned_it() {
        let mut story = Story::team();
        let plan = Amendable::Point(code("A"));
        let first = story.state.revision(&plan);
        story.release("A");
        assert_eq!(story.state.revision(&plan), first, "a signature is no change of the plan");
        story.plan(point("A"));
        assert_eq!(story.state.revision(&plan), story.state.length());
        assert_eq!(story.state.revision(&Amendable::Point(code("B"))), 0);
    }
}
