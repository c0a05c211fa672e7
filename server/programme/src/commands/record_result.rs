//! Records what a run showed for one point, as people read it off their instruments and as recordings have it.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::given::{Given, at_revision, not_now};
use super::measured::{faults_of_reached, faults_of_values};
use super::{Command, Stamp, known};
use crate::codes::{ChannelCode, ExceedanceNumber, IntervalNumber, PointCode, RunNumber};
use crate::entry::Draft;
use crate::measure::{Measure, Unit};
use crate::nouns::judging::Judging;
use crate::nouns::{Axis, Statistic};
use crate::people::Act;
use crate::record::{Digest, ExceedanceNoted, MeasuredValue, ResultRecorded, ValueSource};
use crate::refusal::{Fault, Refusal};
use crate::state::{Amendable, State};
use crate::verdict::{self, LimitOutcome, LimitVerdict};

/// One figure that a person read off and typed in.
#[derive(Debug, Clone, PartialEq, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TypedValue {
    /// Channel or derived parameter.
    pub parameter: ChannelCode,
    /// What was taken from it.
    pub statistic: Statistic,
    /// The figure, in `unit`; absent: not measured, which is never a pass.
    #[serde(default)]
    pub value: Option<f64>,
    /// Its unit, of the channel's kind.
    pub unit: Unit,
}

/// One figure that was worked out of an interval of a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordedValue {
    /// Channel or derived parameter.
    pub parameter: ChannelCode,
    /// What was taken from it.
    pub statistic: Statistic,
    /// The figure, in `unit`; absent: the interval has no reading of it, which is never a pass.
    pub value: Option<f64>,
    /// Its unit, of the channel's kind.
    pub unit: Unit,
    /// Of which recording: that of the interval, or another one of the run.
    pub recording: Digest,
    /// Of which interval; of another recording than its own the same time.
    pub interval: IntervalNumber,
    /// How: the statistic of the interval, or the reduction.
    pub method: String,
    /// The version of that.
    pub version: String,
}

/// What a person gives to record a result.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ResultTerms {
    /// What was measured.
    pub values: Vec<TypedValue>,
    /// What was really reached on each axis.
    #[serde(default)]
    pub reached: BTreeMap<Axis, Measure>,
    /// What was seen, heard and felt.
    pub observations: String,
    /// When it was so; absent: now.
    #[serde(default)]
    pub observed_at: Option<DateTime<Utc>>,
}

/// Asks for a result to be recorded, or recorded anew.
#[derive(Debug, Clone)]
pub struct RecordResult {
    /// Of which run.
    pub run: RunNumber,
    /// For which point.
    pub point: PointCode,
    /// What was given.
    pub terms: ResultTerms,
    /// What was worked out of recordings beside what was typed in; who records the result confirms it.
    pub recorded: Vec<RecordedValue>,
    /// The revision of the result that the person saw; 0: none was recorded.
    pub expected: Option<u64>,
}

impl Command for RecordResult {
    fn act(&self) -> Act {
        Act::RecordResults
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let ResultTerms { reached, observations, observed_at, .. } = &self.terms;
        known::rung(state, &self.point)?;
        let run = known::run(state, self.run)?;
        let Some(planned) = run.planned(&self.point) else {
            return Err(not_now(
                "point-not-in-run",
                format!("{} was not planned for run {}", self.point, self.run),
                "Record the result for a point of the run.",
            ));
        };
        let result = Amendable::Result(self.run, self.point.clone());
        at_revision(state, &result, self.expected)?;
        for recorded in &self.recorded {
            known::recording_of(state, &recorded.recording, self.run)?;
            known::interval(state, recorded.interval)?;
        }
        let values = self.values();
        let typed = self.terms.values.len();
        let place_of = |place: usize| match place.checked_sub(typed) {
            Some(recorded) => format!("recorded[{recorded}]"),
            None => format!("values[{place}]"),
        };
        Given::new(state, stamp)
            .observed(*observed_at)
            .text("observations", observations)
            .faults(faults_of_values(&values, place_of, state))
            .faults(self.faults_of_sources(state))
            .faults(faults_of_reached(reached))
            .settled()?;
        let limits = state.limits_in_force(planned).map(|known| &*known.limit);
        let verdict = verdict::judge(planned, limits, &values, reached);
        let beyond = verdict.limits.iter().filter(|it| it.outcome == LimitOutcome::Beyond);
        let exceedances = self.exceedances(beyond, state);
        let recorded = ResultRecorded {
            run: self.run,
            point: self.point.clone(),
            values,
            reached: reached.clone(),
            observations: observations.clone(),
        };
        let observed_at = *observed_at;
        let mut drafts = vec![Draft { observed_at, record: recorded.into() }];
        drafts.extend(
            exceedances.into_iter().map(|noted| Draft { observed_at, record: noted.into() }),
        );
        Ok(drafts)
    }
}

impl RecordResult {
    /// A value comes from an interval that was taken for this point of this run, of a recording that was not set aside
    /// since. Another recording of the run may have the channel.
    fn faults_of_sources(&self, state: &State) -> Vec<Fault> {
        let mut judging = Judging::of("");
        for (place, recorded) in self.recorded.iter().enumerate() {
            let field = |name: &str| format!("recorded[{place}].{name}");
            judging.title(&field("method"), &recorded.method);
            judging.title(&field("version"), &recorded.version);
            let Some(interval) = state.recordings.interval(recorded.interval) else { continue };
            judging.must(
                (interval.run, &interval.point) == (self.run, &self.point),
                &field("interval"),
                format!(
                    "interval {} was taken for {} in run {}",
                    interval.number, interval.point, interval.run
                ),
            );
            judging.must(
                state.recordings.counts(&interval.recording, interval.seq),
                &field("interval"),
                "the recording was set aside since: take the interval anew",
            );
        }
        judging.done()
    }

    fn values(&self) -> Vec<MeasuredValue> {
        let typed = self.terms.values.iter().map(|typed| MeasuredValue {
            parameter: typed.parameter.clone(),
            statistic: typed.statistic,
            value: typed.value,
            unit: typed.unit,
            source: ValueSource::TypedIn {},
        });
        let recorded = self.recorded.iter().map(|recorded| MeasuredValue {
            parameter: recorded.parameter.clone(),
            statistic: recorded.statistic,
            value: recorded.value,
            unit: recorded.unit,
            source: ValueSource::Recording {
                recording: recorded.recording.clone(),
                interval: recorded.interval,
                method: recorded.method.clone(),
                version: recorded.version.clone(),
            },
        });
        typed.chain(recorded).collect()
    }

    /// An exceedance for each limit that the result lies beyond, but for those that were noted with the same peak
    /// already, or that a recording of the run showed so: a result that is recorded anew tells nothing twice.
    fn exceedances<'a>(
        &self,
        beyond: impl Iterator<Item = &'a LimitVerdict>,
        state: &State,
    ) -> Vec<ExceedanceNoted> {
        let mut next = next_exceedance(state);
        let mut noted = Vec::new();
        for found in beyond {
            let Some(peak) = found.measured else { continue };
            let told = state.exceedances.iter().any(|it| {
                (it.run, &it.limit, it.statistic) == (self.run, &found.limit, found.statistic)
                    && (it.found.is_some() || it.point.as_ref() == Some(&self.point))
                    && it.peak.to_bits() == peak.to_bits()
            });
            if told {
                continue;
            }
            noted.push(ExceedanceNoted {
                exceedance: next,
                run: self.run,
                limit: found.limit.clone(),
                point: Some(self.point.clone()),
                statistic: found.statistic,
                peak,
                duration_s: (found.statistic == Statistic::TimeAbove).then_some(peak),
            });
            next.0 = next.0.saturating_add(1);
        }
        noted
    }
}

/// The number that the next exceedance gets.
pub(super) fn next_exceedance(state: &State) -> ExceedanceNumber {
    let noted = u32::try_from(state.exceedances.len()).unwrap_or(u32::MAX);
    ExceedanceNumber(noted.saturating_add(1))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale, unknown};
    use crate::record::Record;
    use crate::story::{Story, code, point};
    use crate::verdict::Outcome;

    fn winding(value: impl Into<Option<f64>>) -> TypedValue {
        TypedValue {
            parameter: code("winding"),
            statistic: Statistic::Max,
            value: value.into(),
            unit: Unit::Celsius,
        }
    }

    fn result(run: RunNumber, values: Vec<TypedValue>) -> RecordResult {
        let terms = ResultTerms {
            values,
            reached: BTreeMap::new(),
            observations: "Nothing unusual.".to_owned(),
            observed_at: None,
        };
        RecordResult { run, point: code("A"), terms, recorded: Vec::new(), expected: None }
    }

    fn run() -> (Story, RunNumber) {
        let mut story = Story::team();
        let run = story.run_for(&["A"], 10);
        (story, run)
    }

    #[test]
    fn a_result_is_judged_and_says_that_it_was_typed_in() {
        let (mut story, run) = run();
        story.when("pilot", &result(run, vec![winding(60.0)])).unwrap();
        let (_, recorded) = story.state.result(run, &code("A")).unwrap();
        assert_eq!(recorded.verdict.outcome, Outcome::Met);
        assert_eq!(recorded.values[0].source, ValueSource::TypedIn {});
        assert!(story.state.exceedances.is_empty());
    }

    #[test]
    fn a_result_beyond_a_limit_notes_its_exceedance_and_tells_it_once() {
        let (mut story, run) = run();
        let drafts = story.when("pilot", &result(run, vec![winding(80.5)])).unwrap();
        let Record::ExceedanceNoted(noted) = &drafts[1].record else { unreachable!() };
        assert_eq!((noted.exceedance.0, noted.peak), (1, 80.5));
        assert_eq!(noted.limit.as_str(), "L-winding");
        assert!(story.state.unnoted_exceedances().is_empty());
        let again = story.when("pilot", &result(run, vec![winding(80.5)])).unwrap();
        assert_eq!(again.len(), 1);
        let further = story.when("pilot", &result(run, vec![winding(81.0)])).unwrap();
        let Record::ExceedanceNoted(noted) = &further[1].record else { unreachable!() };
        assert_eq!(noted.exceedance.0, 2);
    }

    #[test]
    fn a_figure_exactly_at_the_limit_is_no_exceedance() {
        let (mut story, run) = run();
        assert_eq!(story.when("pilot", &result(run, vec![winding(80.0)])).unwrap().len(), 1);
    }

    #[test]
    fn a_reading_that_was_not_taken_is_recorded_as_missing() {
        let (mut story, run) = run();
        story.when("crew", &result(run, vec![winding(None)])).unwrap();
        let (_, recorded) = story.state.result(run, &code("A")).unwrap();
        assert_eq!(recorded.verdict.outcome, Outcome::Missing);
    }

    #[test]
    fn unknown_parameters_and_impossible_figures_are_refused_all_at_once() {
        let (mut story, run) = run();
        let mut stranger = winding(1.0);
        stranger.parameter = code("stranger");
        let mut unit = winding(1.0);
        unit.unit = Unit::Kilowatt;
        let mut spread = winding(-1.0);
        spread.statistic = Statistic::Spread;
        let values = vec![stranger, unit, winding(f64::NAN), spread];
        let mut command = result(run, values);
        command.terms.observations = String::new();
        command.terms.reached.insert(Axis::Speed, Measure::new(3.0, Unit::Celsius));
        assert_eq!(
            faults(story.when("pilot", &command)),
            [
                "observations",
                "values[0].parameter",
                "values[1].unit",
                "values[2]",
                "values[2].value",
                "values[3].value",
                "reached.speed.unit",
            ]
        );
    }

    #[test]
    fn a_result_is_of_a_run_and_of_a_point_that_was_run() {
        let (mut story, run) = run();
        story.plan(point("B"));
        let mut command = result(run, vec![winding(50.0)]);
        command.point = code("B");
        assert_eq!(not_now(story.when("pilot", &command)), "point-not-in-run");
        command.point = code("Z");
        assert_eq!(unknown(story.when("pilot", &command)), "point");
        assert_eq!(unknown(story.when("pilot", &result(RunNumber(5), vec![]))), "run");
    }

    #[test]
    fn a_result_that_was_recorded_anew_by_another_is_not_overwritten_unseen() {
        let (mut story, run) = run();
        let mut command = result(run, vec![winding(50.0)]);
        command.expected = Some(0);
        story.when("pilot", &command).unwrap();
        let present = story.state.length();
        assert_eq!(stale(story.when("crew", &command)), (present, 0));
    }

    #[test]
    fn a_result_is_held_against_the_plan_that_was_run_and_not_against_a_later_one() {
        let (mut story, run) = run();
        let mut looser = point("A");
        looser.criteria[0].value = 75.0;
        story.plan(looser);
        story.when("pilot", &result(run, vec![winding(70.0)])).unwrap();
        let (_, recorded) = story.state.result(run, &code("A")).unwrap();
        assert_eq!(recorded.verdict.outcome, Outcome::NotMet);
    }

    fn of_interval(
        recording: &Digest,
        interval: u32,
        value: impl Into<Option<f64>>,
    ) -> RecordedValue {
        RecordedValue {
            parameter: code("winding"),
            statistic: Statistic::Max,
            value: value.into(),
            unit: Unit::Celsius,
            recording: recording.clone(),
            interval: IntervalNumber(interval),
            method: "max".to_owned(),
            version: "1".to_owned(),
        }
    }

    #[test]
    fn a_value_of_a_recording_says_of_which_interval_by_which_method_it_is() {
        let mut story = Story::team();
        let (recording, run) = story.recorded_run("A");
        story.interval(&recording, run, "A");
        let mut command = result(run, vec![]);
        command.recorded = vec![of_interval(&recording, 1, 50.0)];
        story.when("pilot", &command).unwrap();
        let (_, recorded) = story.state.result(run, &code("A")).unwrap();
        assert_eq!(recorded.values, [crate::story::recorded_value(&recording, 1, 50.0)]);
        assert_eq!(recorded.verdict.outcome, Outcome::Met);
        command.recorded[0].value = None;
        story.when("pilot", &command).unwrap();
        let (_, recorded) = story.state.result(run, &code("A")).unwrap();
        assert_eq!(recorded.verdict.outcome, Outcome::Missing);
    }

    #[test]
    fn a_value_of_a_recording_is_of_an_interval_for_this_point_and_not_typed_in_besides() {
        let mut story = Story::team();
        let (recording, run) = story.recorded_run("A");
        story.interval(&recording, run, "A").plan(point("B"));
        story.interval(&recording, run, "B");
        let mut command = result(run, vec![winding(50.0)]);
        command.recorded = vec![of_interval(&recording, 2, 51.0)];
        command.recorded[0].method.clear();
        assert_eq!(
            faults(story.when("pilot", &command)),
            ["recorded[0]", "recorded[0].method", "recorded[0].interval"]
        );
        command.recorded[0].interval = IntervalNumber(3);
        assert_eq!(unknown(story.when("pilot", &command)), "interval");
        let loose = story.recorded(9);
        command.recorded = vec![of_interval(&loose, 1, 51.0)];
        assert_eq!(not_now(story.when("pilot", &command)), "recording-not-attached");
        story.set_aside(&recording);
        command.recorded = vec![of_interval(&recording, 1, 51.0)];
        assert_eq!(not_now(story.when("pilot", &command)), "recording-set-aside");
        let once_more = story.file(100, story.now - chrono::TimeDelta::minutes(10), 600.0);
        story.record("crew", once_more).attach(&recording, run);
        assert_eq!(
            faults(story.when("pilot", &command)),
            ["recorded[0]", "recorded[0].interval"],
            "an interval of before it was set aside"
        );
    }

    #[test]
    fn another_recording_of_the_run_may_have_the_channel_and_the_result_falls_with_either() {
        for which in 0..2 {
            let mut story = Story::team();
            let (recording, run) = story.recorded_run("A");
            let began = story.state.run(run).unwrap().times.power_on.unwrap();
            let other = story.recorded_from(7, began, 600.0);
            story.interval(&recording, run, "A");
            let mut command = result(run, vec![]);
            command.recorded = vec![of_interval(&other, 1, 50.0)];
            assert_eq!(not_now(story.when("pilot", &command)), "recording-not-attached");
            story.attach(&other, run);
            story.when("pilot", &command).unwrap();
            story.accept("A", run);
            let standing =
                |story: &Story| story.state.result(run, &code("A")).unwrap().1.standing.clone();
            assert_eq!(standing(&story), crate::state::Standing::Accepted);
            story.set_aside([&recording, &other][which]);
            assert_ne!(standing(&story), crate::state::Standing::Accepted);
        }
    }

    #[test]
    fn a_value_beyond_a_limit_that_the_recording_showed_with_the_same_peak_is_told_once() {
        let mut story = Story::team();
        let (recording, run) = story.recorded_run("A");
        story.interval(&recording, run, "A").found(&recording, run, "L-winding");
        let mut command = result(run, vec![]);
        command.recorded = vec![of_interval(&recording, 1, 85.0)];
        assert_eq!(story.when("pilot", &command).unwrap().len(), 1);
        command.recorded[0].value = Some(86.0);
        assert_eq!(story.when("pilot", &command).unwrap().len(), 2);
    }

    #[test]
    fn results_are_recorded_during_a_stand_down_and_by_those_who_take_part() {
        let (mut story, run) = run();
        story.stand_down();
        let command = result(run, vec![winding(50.0)]);
        no_permission(&mut story, &command, &["safety", "viewer"]);
        story.when("crew", &command).unwrap();
    }
}
