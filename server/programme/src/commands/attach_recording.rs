//! Attaches a recording to the run that it is of, with everything that it shows beyond limits and about the order of
//! heating. Asked for again it evaluates the recording anew, and tells only what was not told yet.

use chrono::{DateTime, Utc};

use super::given::{Given, not_now, unknown};
use super::moments;
use super::record_result::next_exceedance;
use super::{Command, Stamp, known};
use crate::codes::{ChannelCode, LimitCode, PointCode, RunNumber};
use crate::entry::Draft;
use crate::nouns::Statistic;
use crate::nouns::judging::Judging;
use crate::people::Act;
use crate::record::{
    Digest, ExceedanceFound, HeatingComponent, HeatingOrderJudged, HeatingOutcome, RecordedMoment,
    RecordingAttached,
};
use crate::refusal::{Fault, Refusal};
use crate::state::{Exceedance, LimitState, RecordingState, RecordingTake, Run, State};
use crate::verdict;

/// An exceedance that an evaluation of the recording found.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundExceedance {
    /// Of which limit.
    pub limit: LimitCode,
    /// The record that set the limit as it was evaluated.
    pub limit_revision: u64,
    /// For which point, where an interval of one shows it.
    pub point: Option<PointCode>,
    /// Which statistic went beyond.
    pub statistic: Statistic,
    /// When it began, by the recorder's clock.
    pub started_at: RecordedMoment,
    /// How long, in seconds.
    pub duration_s: f64,
    /// Its peak, in the limit's unit; of `time-above` in seconds, of `rate` in the unit a second.
    pub peak: f64,
    /// When that was, by the recorder's clock.
    pub peak_at: RecordedMoment,
    /// The sensor that disagrees with the rest of its group.
    pub odd_one_out: Option<ChannelCode>,
}

/// What an evaluation of the recording found out about the order of heating.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedHeating {
    /// Each component, in the order of the policy.
    pub components: Vec<HeatingComponent>,
    /// How it came out.
    pub outcome: HeatingOutcome,
    /// The limit that would be reached first; absent: none, or not known.
    pub first: Option<LimitCode>,
    /// The horizon of the policy by which it was judged, in minutes.
    pub horizon_min: Option<u32>,
}

/// Asks for a recording to be attached to a run, or evaluated anew.
#[derive(Debug, Clone)]
pub struct AttachRecording {
    /// Which.
    pub recording: Digest,
    /// The run.
    pub run: RunNumber,
    /// Everything that the recording shows beyond the limits as they are now.
    pub found: Vec<FoundExceedance>,
    /// The order of heating as all recordings of the run show it, with this one; where the policy has an order.
    pub heating: Option<JudgedHeating>,
}

impl Command for AttachRecording {
    fn act(&self) -> Act {
        Act::AttachRecordings
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let (known, take) = known::recording(state, &self.recording)?;
        let run = known::run(state, self.run)?;
        overlaps(known, take, run)?;
        let limits = self.limits(state)?;
        let mut faults = Vec::new();
        for ((place, found), limit) in self.found.iter().enumerate().zip(&limits) {
            faults.extend(faults_of_found(found, limit, take, run, &format!("found[{place}]")));
        }
        if let Some(heating) = &self.heating {
            faults.extend(faults_of_heating(heating, state));
        }
        Given::new(state, stamp).faults(faults).settled()?;
        let mut drafts = Vec::new();
        if !known.is_attached_to(self.run) {
            let (recording, run) = (self.recording.clone(), self.run);
            drafts.push(RecordingAttached { recording, run }.into());
        }
        drafts.extend(self.not_told(state, &limits).into_iter().map(Draft::from));
        drafts.extend(self.judged(state).map(Draft::from));
        Ok(drafts)
    }
}

impl AttachRecording {
    /// The limits of what was found and judged, which must be what they were when the recording was evaluated.
    fn limits<'a>(&self, state: &'a State) -> Result<Vec<&'a LimitState>, Refusal> {
        let at_revision = |code: &LimitCode, revision| {
            let known = state.limits.by_code.get(code).ok_or_else(|| unknown("limit", code))?;
            if known.changed_at == revision {
                return Ok(known);
            }
            Err(not_now(
                "limits-changed",
                format!("limit {code} was changed while the recording was evaluated"),
                "Attach the recording again: it is evaluated by the limits as they are then.",
            ))
        };
        for component in self.heating.iter().flat_map(|heating| &heating.components) {
            at_revision(&component.limit, component.limit_revision)?;
        }
        self.found.iter().map(|found| at_revision(&found.limit, found.limit_revision)).collect()
    }

    fn not_told(&self, state: &State, limits: &[&LimitState]) -> Vec<ExceedanceFound> {
        let mut exceedance = next_exceedance(state);
        let mut found: Vec<ExceedanceFound> = Vec::new();
        for (it, limit) in self.found.iter().zip(limits) {
            let told = state.exceedances.iter().any(|told| self.is_told_by(it, told));
            let twice = found.iter().any(|told| {
                (&told.limit, told.statistic, told.started_at)
                    == (&it.limit, it.statistic, it.started_at)
            });
            if told || twice {
                continue;
            }
            found.push(ExceedanceFound {
                exceedance,
                run: self.run,
                recording: self.recording.clone(),
                limit: it.limit.clone(),
                limit_revision: it.limit_revision,
                point: it.point.clone(),
                statistic: it.statistic,
                started_at: it.started_at,
                duration_s: it.duration_s,
                peak: it.peak,
                peak_at: it.peak_at,
                dwell_s: limit.limit.dwell_s,
                odd_one_out: it.odd_one_out.clone(),
            });
            exceedance.0 = exceedance.0.saturating_add(1);
        }
        found
    }

    /// Whether an exceedance is the same happening: of this recording, run and limit, at the same time and with the same
    /// peak. One with another peak tells something new.
    fn is_told_by(&self, found: &FoundExceedance, told: &Exceedance) -> bool {
        let Some(there) = &told.found else { return false };
        let end = |from: DateTime<Utc>, seconds: f64| moments::after(from, seconds).unwrap_or(from);
        let there_end = end(there.started_at, told.duration_s.unwrap_or(0.0));
        told.run == self.run
            && there.recording == self.recording
            && (&told.limit, told.statistic) == (&found.limit, found.statistic)
            && told.peak.to_bits() == found.peak.to_bits()
            && found.started_at <= there_end
            && there.started_at <= end(found.started_at, found.duration_s)
    }

    fn judged(&self, state: &State) -> Option<HeatingOrderJudged> {
        let JudgedHeating { components, outcome, first, horizon_min } = self.heating.clone()?;
        let before = state.heating.get(&(self.run, self.recording.clone()));
        let same = before.is_some_and(|before| {
            (&before.components, before.outcome, &before.first) == (&components, outcome, &first)
                && before.horizon_min == horizon_min
                && state.recordings.counts(&self.recording, before.seq)
                && state.recordings.all_count(self.run, before.seq)
        });
        let (run, recording) = (self.run, self.recording.clone());
        (!same).then_some(HeatingOrderJudged {
            run,
            recording,
            components,
            outcome,
            first,
            horizon_min,
        })
    }
}

/// A recording is of a run where both have a moment in common, by the recorder's clock less its confirmed offset.
fn overlaps(known: &RecordingState, take: &RecordingTake, run: &Run) -> Result<(), Refusal> {
    let by_runs_clock = |at| moments::after(at, -known.clock_offset_s());
    let (begun, over) = run.span();
    if let (Some(started), Some(ended)) = (by_runs_clock(take.started), by_runs_clock(take.ended))
        && begun <= ended
        && over.is_none_or(|over| started <= over)
    {
        return Ok(());
    }
    let until = over.map_or_else(String::new, |over| format!(" to {}", over.to_rfc3339()));
    Err(not_now(
        "recording-outside-run",
        format!(
            "recording {} goes from {} to {}, and run {} went from {}{until}",
            known.recording,
            take.started.to_rfc3339(),
            take.ended.to_rfc3339(),
            run.number,
            begun.to_rfc3339()
        ),
        "Attach it to the run that it is of, correct the times of the run, or confirm the offset of the recorder's clock.",
    ))
}

fn faults_of_found(
    found: &FoundExceedance,
    limit: &LimitState,
    take: &RecordingTake,
    run: &Run,
    at: &str,
) -> Vec<Fault> {
    let mut judging = Judging::of(at);
    let (limit, code) = (&limit.limit, &found.limit);
    judging.must(
        verdict::is_held_against(limit, found.statistic),
        "statistic",
        format!("limit {code} is not held against the {}", found.statistic),
    );
    judging.finite("peak", found.peak);
    judging.not_negative("duration_s", found.duration_s);
    for (field, moment) in [("started_at", found.started_at), ("peak_at", found.peak_at)] {
        judging.must(
            (take.started..=take.ended).contains(&moment),
            field,
            format!("{} is not in the recording", moment.to_rfc3339()),
        );
    }
    if let Some(odd) = &found.odd_one_out {
        let why = format!("{odd} is not held against limit {code}");
        judging.must(limit.reads(odd), "odd_one_out", why);
    }
    if let Some(point) = &found.point {
        let why = format!("{point} was not planned for run {}", run.number);
        judging.must(run.planned(point).is_some(), "point", why);
    }
    judging.done()
}

/// An order is known only where every component has its readings.
fn faults_of_heating(heating: &JudgedHeating, state: &State) -> Vec<Fault> {
    let mut judging = Judging::of("heating");
    let order = state.policy.as_ref().map_or(&[][..], |policy| &policy.heating_order);
    judging.must(!order.is_empty(), "components", "the policy has no order of heating");
    judging.must(
        heating.components.iter().map(|component| &component.limit).eq(order),
        "components",
        "are not those that the policy names, in its order",
    );
    let horizon = state.policy.as_ref().and_then(|policy| policy.heating_horizon_min);
    judging.must(heating.horizon_min == horizon, "horizon_min", "is not that of the policy");
    for (place, component) in heating.components.iter().enumerate() {
        let field = |name: &str| format!("components[{place}].{name}");
        let limit = state.limits.by_code.get(&component.limit);
        judging.must(
            limit.is_none_or(|known| known.limit.channel == component.channel),
            &field("channel"),
            format!("{} is not the channel of limit {}", component.channel, component.limit),
        );
        if let Some(peak) = component.peak {
            judging.finite(&field("peak"), peak);
        }
        let HeatingComponent { low_s, time_to_limit_s, high_s, .. } = *component;
        for (name, seconds) in
            [("low_s", low_s), ("time_to_limit_s", time_to_limit_s), ("high_s", high_s)]
        {
            if let Some(seconds) = seconds {
                judging.not_negative(&field(name), seconds);
            }
        }
        let rising = [low_s, time_to_limit_s, high_s].into_iter().flatten();
        judging.must(rising.is_sorted(), &field("time_to_limit_s"), "must lie within its interval");
    }
    let mut limits = heating.components.iter().map(|component| &component.limit);
    let intended_first = limits.clone().next();
    if let Some(first) = &heating.first {
        let why = format!("{first} is the limit of no component");
        judging.must(limits.any(|limit| limit == first), "first", why);
    }
    let all_read = heating.components.iter().all(|component| component.peak.is_some());
    match heating.outcome {
        HeatingOutcome::InOrder => {
            judging.must(
                all_read,
                "outcome",
                "is not known: a component has no readings, and what is not known is not in order",
            );
            judging.must(
                heating.first.is_none() || heating.first.as_ref() == intended_first,
                "outcome",
                "is not in order: another limit than the first would be reached first",
            );
        }
        HeatingOutcome::OutOfOrder => judging.must(
            heating.first.is_some(),
            "first",
            "is missing: out of order something is reached first",
        ),
        HeatingOutcome::Unknown => {}
    }
    judging.done()
}

#[cfg(test)]
mod tests;
