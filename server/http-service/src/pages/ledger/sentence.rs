//! Each kind of record as a sentence's part, to follow who recorded it: "Marit opened run 25".

use programme::measure::Measure;
use programme::record::{HeatingOutcome, Part, ReadingMoment, Record};
use programme::state::State;

use crate::pages::words::{observed, roles, severity, statistic};

/// At most so much of a text that a person wrote stands in a list.
const LONGEST: usize = 240;

/// What a record says, in plain words.
pub(super) fn of(record: &Record, state: &State) -> String {
    let said = said(record, state);
    if said.chars().count() <= LONGEST {
        return said;
    }
    let cut: String = said.chars().take(LONGEST).collect();
    format!("{cut} …")
}

/// The first digits of a digest: enough to tell files apart by eye.
fn short(digest: &programme::record::Digest) -> String {
    digest.to_string().chars().take(12).collect()
}

fn passed(passed: bool) -> &'static str {
    if passed { "passed" } else { "did not pass" }
}

fn part(part: &Part) -> String {
    match part.run() {
        Some(run) => format!("{} of the result of run {run}", part.in_words()),
        None => part.in_words().to_owned(),
    }
}

fn because(reason: Option<&String>) -> String {
    reason.map(|reason| format!(": {reason}")).unwrap_or_default()
}

fn listed<T: ToString>(things: &[T]) -> String {
    things.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}

fn said(record: &Record, state: &State) -> String {
    match record {
        Record::ProgrammeFounded(it) => format!("began the programme \"{}\"", it.title),
        Record::AircraftDescribed(it) => format!("described the aircraft {}", it.aircraft.name),
        Record::PolicySet(_) => "set the programme's policy".to_owned(),
        Record::PersonListed(it) if it.person.roles.is_empty() => {
            format!("listed {} as having left", it.person.name)
        }
        Record::PersonListed(it) => {
            format!("listed {} as {}", it.person.name, roles(&it.person.roles))
        }
        Record::ItemFitted(it) => format!(
            "fitted {} ({}), version {}{}",
            it.item.title,
            it.item.code,
            it.item.version,
            because(it.reason.as_ref())
        ),
        Record::ItemRemoved(it) => format!("took off {}: {}", it.item, it.reason),
        Record::ChannelDefined(it) => {
            format!("defined channel {} ({})", it.channel.title, it.channel.code)
        }
        Record::RecorderDescribed(it) => {
            format!("described recorder {} ({})", it.recorder.title, it.recorder.code)
        }
        Record::LimitSet(it) => format!("set limit {} ({})", it.limit.title, it.limit.code),
        Record::LimitChangeProposed(it) => {
            format!("proposed limit {} as no. {}: {}", it.limit.code, it.proposal, it.reason)
        }
        Record::LimitChangeAgreed(it) => format!("agreed to limit proposal {}", it.proposal),
        Record::LimitChangeDeclined(it) => {
            format!("declined or withdrew limit proposal {}: {}", it.proposal, it.reason)
        }
        Record::CheckDefined(it) => format!("defined check {} ({})", it.check.title, it.check.code),
        Record::CheckDone(it) => {
            format!("did check {}, which {}: {}", it.check, passed(it.passed), it.findings)
        }
        Record::EventHappened(it) => format!("reported {}: {}", it.event, it.account),
        Record::HazardRecorded(it) => {
            format!("recorded hazard {} ({})", it.hazard.title, it.hazard.code)
        }
        Record::RiskAccepted(it) => {
            format!("accepted the residual risk of hazard {}, {}", it.hazard, it.level)
        }
        Record::DocumentFiled(it) => {
            format!("filed document {} ({})", it.document.title, it.document.code)
        }
        Record::PointPlanned(it) => format!("planned {} {}", it.point.code, it.point.title),
        Record::PointDropped(it) => format!("took {} out of the plan: {}", it.point, it.reason),
        Record::PartSigned(it) => match &it.window {
            Some(window) => format!(
                "signed the {} of {}, good from {} to {} UTC",
                part(&it.part),
                it.point,
                window.valid_from.format("%Y-%m-%d %H:%M"),
                window.valid_until.format("%Y-%m-%d %H:%M"),
            ),
            None => format!("signed the {} of {}", part(&it.part), it.point),
        },
        Record::SigningRefused(it) => {
            format!("refused the {} of {}: {}", part(&it.part), it.point, it.reasons)
        }
        Record::SignatureWithdrawn(it) => {
            format!("took back the {} of {}: {}", part(&it.part), it.point, it.reason)
        }
        Record::RunOpened(it) => {
            format!("opened run {}, a {}, with {}", it.run, it.what.in_words(), listed(&it.points))
        }
        Record::RunMomentNoted(it) => {
            format!("noted {} of run {}", it.event.in_words(), it.run)
        }
        Record::RunEnergyRead(it) => {
            let moment = match it.moment {
                ReadingMoment::Before => "before",
                ReadingMoment::After => "after",
            };
            let counter = it.energy_counter_kwh.map(|kwh| format!(", counter {kwh} kWh"));
            format!(
                "read a charge of {} %{} {moment} run {}",
                it.charge_percent,
                counter.unwrap_or_default(),
                it.run
            )
        }
        Record::KnockedOff(it) => format!("called knock-it-off in run {}: {}", it.run, it.reason),
        Record::RunClosed(it) => format!("closed run {}{}", it.run, because(it.debrief.as_ref())),
        Record::RunTimesCorrected(it) => {
            format!("corrected the times of run {}: {}", it.run, it.reason)
        }
        Record::ResultRecorded(it) => {
            format!("recorded the result of {} in run {}: {}", it.point, it.run, it.observations)
        }
        Record::ExceedanceNoted(it) => format!(
            "noted exceedance {} of limit {} in run {}, {} {}",
            it.exceedance,
            it.limit,
            it.run,
            statistic(it.statistic),
            peak(state, &it.limit, it.peak),
        ),
        Record::ExceedanceFound(it) => format!(
            "put on record exceedance {} of limit {} in run {}, {} {}, found in recording {}",
            it.exceedance,
            it.limit,
            it.run,
            statistic(it.statistic),
            peak(state, &it.limit, it.peak),
            short(&it.recording),
        ),
        Record::ExceedanceExplained(it) => {
            format!("explained exceedance {}: {}", it.exceedance, it.explanation)
        }
        Record::ExceedanceClosed(it) => format!("closed exceedance {}", it.exceedance),
        Record::SnagOpened(it) => format!(
            "opened snag {}{}, {}: {}",
            it.snag,
            if it.grounding { ", which grounds" } else { "" },
            severity(it.severity),
            it.title
        ),
        Record::SnagWorked(it) => {
            let said = [it.cause.as_ref(), it.action.as_ref()].into_iter().flatten();
            let said: Vec<_> = said.map(String::as_str).collect();
            let grounds = if it.grounds_now { ", which grounds from then on" } else { "" };
            format!("worked on snag {}{grounds}: {}", it.snag, said.join(" "))
        }
        Record::SnagClosed(it) => format!("closed snag {}: {}", it.snag, it.action),
        Record::BuildUpDeviationProposed(it) => format!(
            "proposed deviation {} from the build-up for {}: {}",
            it.deviation, it.point, it.reason
        ),
        Record::BuildUpDeviationAgreed(it) => format!("agreed to deviation {}", it.deviation),
        Record::BuildUpDeviationEnded(it) => {
            format!("ended deviation {}: {}", it.deviation, it.reason)
        }
        Record::RecordingTaken(it) => format!(
            "took in recording {} ({}) of recorder {}",
            it.name,
            short(&it.recording),
            it.recorder
        ),
        Record::RecordingAttached(it) => {
            format!("attached recording {} to run {}", short(&it.recording), it.run)
        }
        Record::RecordingSetAside(it) => {
            format!("set recording {} aside: {}", short(&it.recording), it.reason)
        }
        Record::ClockOffsetConfirmed(it) => format!(
            "confirmed that the clock of recording {} differs by {} from that of {}",
            short(&it.recording),
            Measure::new(it.offset_s, programme::measure::Unit::Second),
            short(&it.against)
        ),
        Record::IntervalTaken(it) => {
            format!("took interval {} of run {} for {}", it.interval, it.run, it.point)
        }
        Record::ReductionMade(it) => {
            format!("made reduction {} ({}) of run {}", it.reduction, it.topic, it.run)
        }
        Record::HeatingOrderJudged(it) => {
            let outcome = match it.outcome {
                HeatingOutcome::InOrder => "in order",
                HeatingOutcome::OutOfOrder => "out of order",
                HeatingOutcome::Unknown => "not known",
            };
            format!("had the order of heating in run {} judged: {outcome}", it.run)
        }
        Record::PredictionsMade(it) => {
            format!("had {} predictions for run {} kept", it.predictions.len(), it.run)
        }
        Record::ModelReviewed(it) => {
            format!("reviewed the model of {}: {}", it.what, it.findings)
        }
        Record::DampingStepJudged(it) => {
            let go_on = if it.go_on { "may" } else { "may not" };
            format!(
                "judged that {} {go_on} be taken as far as damping goes: {}",
                it.point, it.reasons
            )
        }
        Record::RepeatNarrowed(it) => {
            format!("let the result of {} in run {} stand: {}", it.point, it.run, it.reason)
        }
        Record::WeatherObserved(it) => {
            let parts = observed(&it.weather).into_iter();
            let parts: Vec<_> = parts.map(|(label, figure)| format!("{label} {figure}")).collect();
            format!("observed the weather: {}", parts.join(", "))
        }
        Record::StandDownCalled(it) => format!("called a stand-down: {}", it.reason),
        Record::StandDownLifted(it) => format!("lifted the stand-down: {}", it.reasons),
    }
}

/// A peak with the unit of its limit, where the limit is known.
fn peak(state: &State, limit: &programme::codes::LimitCode, peak: f64) -> String {
    state
        .limits
        .by_code
        .get(limit)
        .map_or_else(|| peak.to_string(), |known| Measure::new(peak, known.limit.unit).to_string())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use programme::entry::Entry;

    use super::*;

    #[test]
    fn every_kind_of_record_has_words_and_none_shows_how_it_is_written() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../programme/records");
        let mut kinds = std::collections::BTreeSet::new();
        for file in std::fs::read_dir(folder).unwrap() {
            let text = std::fs::read_to_string(file.unwrap().path()).unwrap();
            let Ok(entry) = Entry::from_json(text.trim_end()) else { continue };
            let said = of(&entry.record, &State::default());
            assert!(
                said.len() > 8 && !said.contains(['{', '}']),
                "{}: {said}",
                entry.record.kind()
            );
            assert!(said.chars().count() <= LONGEST + 2, "{said}");
            kinds.insert(entry.record.kind());
        }
        assert_eq!(kinds.len(), Record::KINDS.len());
    }
}
