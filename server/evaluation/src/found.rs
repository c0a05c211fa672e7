//! What one recording of a run shows beyond limits, as the command that attaches it wants it.

use programme::codes::PointCode;
use programme::commands::FoundExceedance;
use recordings::columns::CannotRead;
use recordings::limits::{Exceedance, LimitRule, WatchOptions, exceedances};
use recordings::{Micros, Statistic};

use programme::record::Digest;

use crate::judged::{Flown, Held, JudgedLimit, Question, against, calendar, odd_one_out};
use crate::rules::statistic;
use crate::run_recordings::{Channels, Facts, Line, RunRecording, chains};

/// What all recordings of a run say to the limits, and what is to be told of one of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// Each limit that was in force for the run, by code.
    pub limits: Vec<JudgedLimit>,
    /// What the one recording shows beyond limits.
    pub found: Vec<FoundExceedance>,
}

/// Holds all recordings of a run against the limits, and gathers what is to be told of one of them when it is attached.
///
/// An exceedance that began in the recorder's file before, or goes on in the next one, is told of each file for the part that
/// is in it, with the peak of that part. Time in use is one for all files of a recorder: it is told of the file that is
/// attached if it was not told of another one of the run with the same figure.
///
/// # Errors
///
/// [`CannotRead`] where columns are damaged.
pub fn judge<C: Channels>(
    question: &Question,
    recordings: &[RunRecording<C>],
    recording: &Digest,
) -> Result<Judgement, CannotRead> {
    let chains = chains(recordings);
    let (mut limits, mut found) = (Vec::new(), Vec::new());
    for limit in &question.limits {
        let against = against(question, limit, &chains)?;
        for held in &against.held {
            let one = held.recordings.iter().find(|it| it.facts.recording == *recording);
            let Some(one) = one else { continue };
            let told = |it: &FoundExceedance| is_told_of_another(it, recording, question);
            let here = held.judged.found.iter();
            let here = here.filter_map(|it| in_recording(it, held, &one.facts, &question.flown));
            found.extend(here.filter(|it| !told(it)));
        }
        limits.push(against.report);
    }
    Ok(Judgement { limits, found })
}

/// Whether time in use was told of another recording of the run, one that counts, with the same figure.
fn is_told_of_another(found: &FoundExceedance, recording: &Digest, question: &Question) -> bool {
    let same = |told: &programme::state::Exceedance| {
        (&told.limit, told.statistic) == (&found.limit, found.statistic)
            && told.peak.to_bits() == found.peak.to_bits()
            && told.found.as_ref().is_some_and(|there| there.recording != *recording)
    };
    found.statistic == programme::nouns::Statistic::TimeAbove && question.told.iter().any(same)
}

/// The part of an exceedance that is to be told of one recording; absent where it has none.
fn in_recording<C>(
    exceedance: &Exceedance,
    held: &Held<'_, '_, C>,
    facts: &Facts,
    flown: &[Flown],
) -> Option<FoundExceedance> {
    let (first, last) = facts.span();
    let cut = |moment: Micros| moment.max(first).min(last);
    let (start, end) = (cut(exceedance.start), cut(exceedance.end));
    let in_it = first..=last;
    let (peak, peak_at, duration_s) = if exceedance.statistic == Statistic::TimeAbove {
        // All of the recorder's files make the time together.
        (exceedance.peak, cut(exceedance.peak_at), exceedance.duration_s)
    } else {
        let ends_before = exceedance.end <= first && exceedance.start < first;
        if exceedance.start > last || ends_before {
            return None;
        }
        let duration_s = exceedance.end.seconds_since(start);
        if in_it.contains(&exceedance.start) && in_it.contains(&exceedance.peak_at) {
            (exceedance.peak, exceedance.peak_at, duration_s)
        } else {
            let (peak, peak_at) = peak_between(held, exceedance.statistic, start, end)?;
            (peak, peak_at, duration_s)
        }
    };
    let statistic = statistic(exceedance.statistic);
    let by_recorder = |moment| calendar(facts.by_recorders_clock(moment));
    Some(FoundExceedance {
        limit: held.limit.limit.code.clone(),
        limit_revision: held.limit.changed_at,
        point: point_of(flown, start, end),
        statistic,
        started_at: by_recorder(start),
        duration_s,
        peak: held.rule.in_limits_unit(statistic, peak),
        peak_at: by_recorder(cut(peak_at)),
        odd_one_out: odd_one_out(exceedance),
    })
}

/// The point that was flown from one moment to another; absent where none is known, or more than one.
fn point_of(flown: &[Flown], from: Micros, to: Micros) -> Option<PointCode> {
    let mut points = flown.iter().filter(|it| it.from <= to && from <= it.to).map(|it| &it.point);
    let point = points.next()?;
    points.all(|other| other == point).then(|| point.clone())
}

/// The figure furthest beyond from one moment to another.
fn peak_between<C>(
    held: &Held<'_, '_, C>,
    statistic: Statistic,
    from: Micros,
    to: Micros,
) -> Option<(f64, Micros)> {
    let rule = LimitRule { dwell_s: 0.0, ..held.rule.rule.clone() };
    let options = WatchOptions { over: Some((from, to)), ..held.rule.options.clone() };
    let series_of = |code: &str| held.lines.get(code).map(Line::series);
    let judged = exceedances(&rule, &series_of, &options);
    let furthest = judged.furthest.iter().find(|it| it.statistic == statistic)?;
    let beyond = furthest.margin < 0.0;
    beyond.then_some((furthest.value, furthest.at))
}
