//! What a record says, in a sentence for people.

use super::{Part, Record};

impl Record {
    /// The record in a sentence that follows who made it and when: `released TX-03`.
    pub fn told(&self) -> String {
        match self {
            Record::ProgrammeFounded(it) => format!("began the programme \"{}\"", it.title),
            Record::AircraftDescribed(_) => "described the aircraft".to_owned(),
            Record::PolicySet(_) => "set the programme's policy".to_owned(),
            Record::PersonListed(it) => {
                let roles: Vec<_> = it.person.roles.iter().map(|role| role.in_words()).collect();
                match roles.as_slice() {
                    [] => format!("listed {} as having left", it.person.name),
                    some => format!("listed {} as {}", it.person.name, some.join(" and ")),
                }
            }
            Record::ItemFitted(it) => {
                let why = it.reason.as_ref().map_or_else(String::new, |why| format!(": {why}"));
                format!("fitted {} in version {}{why}", it.item.code, it.item.version)
            }
            Record::ItemRemoved(it) => format!("took off {}: {}", it.item, it.reason),
            Record::ChannelDefined(it) => format!("defined channel {}", it.channel.code),
            Record::RecorderDescribed(it) => format!("described recorder {}", it.recorder.code),
            Record::LimitSet(it) => format!("set limit {}", it.limit.code),
            Record::LimitChangeProposed(it) => {
                format!("proposed to change limit {}: {}", it.limit.code, it.reason)
            }
            Record::LimitChangeAgreed(it) => {
                format!("agreed to proposal {} of a limit", it.proposal)
            }
            Record::LimitChangeDeclined(it) => {
                format!("ended proposal {} of a limit: {}", it.proposal, it.reason)
            }
            Record::CheckDefined(it) => format!("defined check {}", it.check.code),
            Record::CheckDone(it) => {
                let how = if it.passed { "passed" } else { "failed" };
                format!("did check {}, which {how}: {}", it.check, it.findings)
            }
            Record::EventHappened(it) => format!("reported {}: {}", it.event, it.account),
            Record::HazardRecorded(it) => format!("recorded hazard {}", it.hazard.code),
            Record::RiskAccepted(it) => format!("accepted the residual risk of {}", it.hazard),
            Record::DocumentFiled(it) => format!("filed document {}", it.document.code),
            Record::PointPlanned(it) => {
                format!("planned {} \"{}\"", it.point.code, it.point.title)
            }
            Record::PointDropped(it) => {
                format!("took {} out of the plan: {}", it.point, it.reason)
            }
            Record::PartSigned(it) => format!("signed the {} of {}", part(it.part), it.point),
            Record::SigningRefused(it) => {
                format!("refused to sign the {} of {}: {}", part(it.part), it.point, it.reasons)
            }
            Record::SignatureWithdrawn(it) => {
                format!("took back the {} of {}: {}", part(it.part), it.point, it.reason)
            }
            Record::RunOpened(it) => {
                let points: Vec<_> = it.points.iter().map(ToString::to_string).collect();
                format!(
                    "opened run {}, a {}, with {}",
                    it.run,
                    it.what.in_words(),
                    points.join(", ")
                )
            }
            Record::RunMomentNoted(it) => {
                format!("noted {} of run {}", it.event.in_words(), it.run)
            }
            Record::RunEnergyRead(it) => {
                format!("read a charge state of {} % for run {}", it.charge_percent, it.run)
            }
            Record::KnockedOff(it) => {
                format!("called knock-it-off in run {}: {}", it.run, it.reason)
            }
            Record::RunClosed(it) => format!("closed run {}", it.run),
            Record::RunTimesCorrected(it) => {
                format!("corrected the times of run {}: {}", it.run, it.reason)
            }
            Record::ResultRecorded(it) => {
                format!("recorded the result of run {} for {}", it.run, it.point)
            }
            Record::ExceedanceNoted(it) => {
                format!("noted exceedance {} of {} in run {}", it.exceedance, it.limit, it.run)
            }
            Record::ExceedanceFound(it) => format!(
                "had exceedance {} of {} in run {} found in a recording",
                it.exceedance, it.limit, it.run
            ),
            Record::ExceedanceExplained(it) => {
                format!("explained exceedance {}: {}", it.exceedance, it.explanation)
            }
            Record::ExceedanceClosed(it) => format!("closed exceedance {}", it.exceedance),
            Record::SnagOpened(it) => {
                let grounds = if it.grounding { ", which grounds the aircraft" } else { "" };
                format!("opened snag {} \"{}\"{grounds}", it.snag, it.title)
            }
            Record::SnagWorked(it) => format!("worked on snag {}", it.snag),
            Record::SnagClosed(it) => format!("closed snag {}: {}", it.snag, it.action),
            Record::BuildUpDeviationProposed(it) => format!(
                "proposed deviation {} from the build-up for {}: {}",
                it.deviation, it.point, it.reason
            ),
            Record::BuildUpDeviationAgreed(it) => {
                format!("agreed to deviation {} from the build-up", it.deviation)
            }
            Record::BuildUpDeviationEnded(it) => {
                format!("ended deviation {} from the build-up: {}", it.deviation, it.reason)
            }
            Record::RecordingTaken(it) => {
                format!("took in \"{}\" of recorder {}", it.name, it.recorder)
            }
            Record::RecordingAttached(it) => format!("attached a recording to run {}", it.run),
            Record::RecordingSetAside(it) => format!("set a recording aside: {}", it.reason),
            Record::ClockOffsetConfirmed(it) => {
                format!("confirmed that a recorder's clock is {} s ahead of another", it.offset_s)
            }
            Record::IntervalTaken(it) => {
                format!("took interval {} of run {} for {}", it.interval, it.run, it.point)
            }
            Record::ReductionMade(it) => {
                format!("worked out {} of run {} (reduction {})", it.topic, it.run, it.reduction)
            }
            Record::HeatingOrderJudged(it) => {
                format!("had the order of heating judged in run {}", it.run)
            }
            Record::PredictionsMade(it) => format!("had run {} predicted as it was opened", it.run),
            Record::ModelReviewed(it) => format!("reviewed a model: {}", it.findings),
            Record::DampingStepJudged(it) => {
                let how = if it.go_on { "let" } else { "did not let" };
                format!("{how} {} go on as far as damping goes: {}", it.point, it.reasons)
            }
            Record::RepeatNarrowed(it) => {
                format!("let the result of run {} for {} stand: {}", it.run, it.point, it.reason)
            }
            Record::ForecastAssumed(_) => "said what forecasts rest on".to_owned(),
            Record::ForecastMade(it) => format!("made forecast {}", it.forecast),
            Record::DayPlanProposed(it) => match it.replaces {
                Some(earlier) => format!("proposed day plan {} in place of {earlier}", it.plan),
                None => format!("proposed day plan {}", it.plan),
            },
            Record::DayLost(it) => match it.cause {
                Some(cause) => {
                    format!("noted that {} was lost ({}): {}", it.date, cause.as_str(), it.account)
                }
                None => format!("noted that {} was not lost: {}", it.date, it.account),
            },
            Record::WeatherObserved(it) => match &it.weather.remarks {
                Some(remarks) => format!("observed the weather: {remarks}"),
                None => "observed the weather".to_owned(),
            },
            Record::StandDownCalled(it) => format!("called a stand-down: {}", it.reason),
            Record::StandDownLifted(it) => format!("lifted the stand-down: {}", it.reasons),
            Record::CheckpointKeyChanged(it) => {
                format!("changed the key that signs checkpoints: {}", it.reason)
            }
            Record::CopyAcknowledged(it) => format!(
                "acknowledged as {} that the ledger goes on from a copy of {} records: {}",
                it.role.in_words(),
                it.records,
                it.account
            ),
            Record::ClockCompared(it) => format!(
                "compared the server's clock with another one ({}), which showed {}",
                it.other,
                it.shown.format("%Y-%m-%d %H:%M:%S UTC")
            ),
        }
    }
}

fn part(part: Part) -> String {
    match part.run() {
        None => part.in_words().to_owned(),
        Some(run) => format!("{} of run {run}", part.in_words()),
    }
}
