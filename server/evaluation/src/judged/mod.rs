//! All recordings of a run held against the limits that were in force for it.
//!
//! A limit is in force for a run if it is for one of its points, as results are judged: it holds in the point's phase, or the
//! point names it. The limits are those of now, as [`AttachRecording`](programme::commands::AttachRecording) wants them.
//!
//! An exceedance here lasts for longer than the limit's dwell. A result that is filled with the greatest value has it
//! whatever the dwell, and its verdict may say "beyond" where no exceedance is listed: the stricter of the two counts.

mod told;

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use programme::codes::{ChannelCode, PointCode};
use programme::measure::Unit;
use programme::nouns::Channel;
use programme::record::RecordedMoment;
use programme::state::{LimitState, Run, State};
use recordings::Micros;
use recordings::columns::CannotRead;
use recordings::limits::{
    Caution, Exceedance, Furthest, Judged, OddOneOut, Standing, State as Seen, exceedances,
    odd_one_out_over,
};

pub use told::{FurthestFigure, JudgedLimit, LimitOutcome, NotWatched, SeenExceedance};

use crate::rules::{Rule, rule, statistic};
use crate::run_recordings::{
    Chain, Channels, Facts, Line, RunRecording, Stretch, chains, has, is_mapped, line, noted,
};

/// How far from the greatest difference of a group its sensors are looked at, in microseconds: a single wrong reading names
/// nobody.
const AROUND_US: i64 = 30_000_000;

/// What is asked of a run's recordings.
#[derive(Debug, Clone)]
pub struct Question {
    /// The limits that were in force for the run, by code.
    pub limits: Vec<LimitState>,
    /// The limits in the order in which the policy wants them reached by heating; empty where it has none.
    pub heating_order: Vec<LimitState>,
    /// How long a load can last by the policy, in minutes.
    pub heating_horizon_min: Option<u32>,
    /// The programme's channels.
    pub channels: BTreeMap<ChannelCode, Channel>,
    /// Channels that no recorder has.
    pub not_mapped: Vec<ChannelCode>,
    /// What was told of the run by recordings that still count.
    pub told: Vec<programme::state::Exceedance>,
    /// What was flown when, as far as it is known.
    pub flown: Vec<Flown>,
    /// Which readings may be of the run.
    pub stretch: Stretch,
    /// When the run was, as far as it was noted.
    pub noted: (Micros, Option<Micros>),
}

impl Question {
    /// The question that a run puts.
    pub fn of(state: &State, run: &Run) -> Self {
        let points: Vec<_> = run.points.iter().filter_map(|point| run.planned(point)).collect();
        let in_force = |it: &&LimitState| {
            let named = points.iter().any(|point| {
                point.limits.contains(&it.limit.code) || it.limit.phases.contains(&point.phase)
            });
            named || it.limit.phases.contains(&run.phase)
        };
        let limits: Vec<_> = state.limits.by_code.values().filter(in_force).cloned().collect();
        let order = state.policy.iter().flat_map(|policy| &policy.heating_order);
        let order: Option<Vec<_>> =
            order.map(|code| state.limits.by_code.get(code).cloned()).collect();
        let mut not_mapped: Vec<_> = limits.iter().flat_map(read_by).collect();
        let counts = |told: &&programme::state::Exceedance| {
            let found = told.found.as_ref();
            told.run == run.number
                && found.is_some_and(|it| state.recordings.counts(&it.recording, told.seq))
        };
        not_mapped.retain(|channel| !is_mapped(state, channel));
        Self {
            limits,
            heating_order: order.unwrap_or_default(),
            heating_horizon_min: state.policy.as_ref().and_then(|it| it.heating_horizon_min),
            channels: state.channels.clone(),
            not_mapped,
            told: state.exceedances.iter().filter(counts).cloned().collect(),
            flown: flown(state, run),
            stretch: Stretch::of(run, state),
            noted: noted(run),
        }
    }
}

/// From when to when a point was flown, by the run's clock.
#[derive(Debug, Clone, PartialEq)]
pub struct Flown {
    /// The point.
    pub point: PointCode,
    /// From then on.
    pub from: Micros,
    /// Up to and including then.
    pub to: Micros,
}

/// What was flown when: the intervals that people took of recordings; and where the run has one point, that one all the time.
fn flown(state: &State, run: &Run) -> Vec<Flown> {
    let mut flown = Vec::new();
    if let [point] = &run.points[..] {
        let Stretch { from, to } = Stretch::ALWAYS;
        flown.push(Flown { point: point.clone(), from, to });
    }
    for interval in state.recordings.intervals.iter().filter(|it| it.run == run.number) {
        let known = state.recordings.get(&interval.recording);
        let counts = state.recordings.counts(&interval.recording, interval.seq);
        if let Some(facts) = known.and_then(Facts::of).filter(|_| counts) {
            let by_run = |moment: RecordedMoment| facts.by_runs_clock(moment.into());
            let (from, to) = (by_run(interval.from), by_run(interval.to));
            flown.push(Flown { point: interval.point.clone(), from, to });
        }
    }
    flown
}

/// The channels that a limit reads, its own first.
fn read_by(limit: &LimitState) -> Vec<ChannelCode> {
    let mut channels = vec![limit.limit.channel.clone()];
    if let programme::nouns::LimitKind::Spread { with, .. } = &limit.limit.kind {
        channels.extend(with.iter().cloned());
    }
    channels
}

/// One limit, held against lines of readings.
pub(crate) struct Held<'a, 'q, C> {
    pub(crate) limit: &'q LimitState,
    pub(crate) rule: Rule,
    /// The recordings of which readings were taken.
    pub(crate) recordings: Vec<&'a RunRecording<C>>,
    pub(crate) lines: BTreeMap<String, Line>,
    pub(crate) judged: Judged,
}

/// What a run's recordings say to one limit, each set of lines by itself.
pub(crate) struct AgainstLimit<'a, 'q, C> {
    pub(crate) report: JudgedLimit,
    pub(crate) held: Vec<Held<'a, 'q, C>>,
}

/// Holds all recordings of a run against the limits, and says for each how they lie.
///
/// # Errors
///
/// [`CannotRead`] where columns are damaged.
pub fn judged<C: Channels>(
    question: &Question,
    recordings: &[RunRecording<C>],
) -> Result<Vec<JudgedLimit>, CannotRead> {
    let chains = chains(recordings);
    question.limits.iter().map(|limit| Ok(against(question, limit, &chains)?.report)).collect()
}

/// Holds recordings against one limit.
pub(crate) fn against<'a, 'q, C: Channels>(
    question: &'q Question,
    limit: &'q LimitState,
    chains: &[Chain<'a, C>],
) -> Result<AgainstLimit<'a, 'q, C>, CannotRead> {
    let channels = read_by(limit);
    let mut held = Vec::new();
    if let Ok(rule) = rule(&limit.limit, &question.channels) {
        for set in sets(&channels, chains, rule.unit) {
            held.push(hold(limit, rule.clone(), &set, question)?);
        }
    }
    let report = report(question, limit, &channels, &held);
    Ok(AgainstLimit { report, held })
}

/// Which chain gives each of a limit's channels; absent for a channel that none has.
type Set<'c, 'a, C> = Vec<(ChannelCode, Option<&'c Chain<'a, C>>)>;

/// The sets of lines that are held against a limit: for each chain that has any of its channels that chain, and for what it
/// has not the first other one that has it.
fn sets<'c, 'a, C: Channels>(
    channels: &[ChannelCode],
    chains: &'c [Chain<'a, C>],
    unit: Unit,
) -> Vec<Set<'c, 'a, C>> {
    let mut sets: Vec<(Vec<Option<usize>>, Set<'c, 'a, C>)> = Vec::new();
    for chain in chains {
        let gives = |channel: &ChannelCode| has(chain, channel.as_str(), unit);
        if !channels.iter().any(gives) {
            continue;
        }
        let mut places = Vec::with_capacity(channels.len());
        let set: Set<'c, 'a, C> = channels
            .iter()
            .map(|channel| {
                let other = || chains.iter().find(|other| has(other, channel.as_str(), unit));
                let from = if gives(channel) { Some(chain) } else { other() };
                places.push(
                    from.and_then(|from| chains.iter().position(|it| std::ptr::eq(it, from))),
                );
                (channel.clone(), from)
            })
            .collect();
        if !sets.iter().any(|(known, _)| *known == places) {
            sets.push((places, set));
        }
    }
    sets.into_iter().map(|(_, set)| set).collect()
}

fn hold<'a, 'q, C: Channels>(
    limit: &'q LimitState,
    rule: Rule,
    set: &Set<'_, 'a, C>,
    question: &Question,
) -> Result<Held<'a, 'q, C>, CannotRead> {
    let mut lines = BTreeMap::new();
    let mut recordings: Vec<&'a RunRecording<C>> = Vec::new();
    for (channel, chain) in set {
        let Some(chain) = chain else { continue };
        lines.insert(
            channel.to_string(),
            line(chain, channel.as_str(), rule.unit, question.stretch)?,
        );
        for one in *chain {
            let known = recordings.iter().any(|it| std::ptr::eq(*it, *one));
            if !known && one.columns.unit(channel.as_str()).is_some() {
                recordings.push(one);
            }
        }
    }
    let series_of = |code: &str| lines.get(code).map(Line::series);
    let judged = exceedances(&rule.rule, &series_of, &rule.options);
    Ok(Held { limit, rule, recordings, lines, judged })
}

fn report<C>(
    question: &Question,
    limit: &LimitState,
    channels: &[ChannelCode],
    held: &[Held<'_, '_, C>],
) -> JudgedLimit {
    let mut missing = Vec::new();
    let mut not_watched = Vec::new();
    let mut all_inside = !held.is_empty();
    for it in held {
        all_inside &= it.judged.shows_inside();
        if let Seen::Missing { channels } = &it.judged.state {
            missing.extend(channels.iter().cloned());
        }
        not_watched.extend(it.judged.cautions.iter().filter_map(gaps));
        not_watched.extend(before_and_after(question, it));
    }
    if held.is_empty() {
        missing.extend(channels.iter().map(ToString::to_string));
    }
    missing.sort();
    missing.dedup();
    let furthest = furthest(held);
    let mut exceedances: Vec<_> = held.iter().flat_map(seen_exceedances).collect();
    exceedances.sort_by_key(|it| (it.started_at, it.peak_at));
    let not_mapped =
        missing.iter().any(|it| question.not_mapped.iter().any(|no| no.as_str() == it));
    let calm = furthest.iter().all(|it| !it.past_caution && !it.beyond_within_dwell);
    let outcome = if !exceedances.is_empty() {
        LimitOutcome::Exceeded
    } else if not_mapped {
        LimitOutcome::NotRecorded
    } else if !missing.is_empty() {
        LimitOutcome::Missing
    } else if all_inside && calm && not_watched.is_empty() {
        LimitOutcome::Within
    } else {
        LimitOutcome::Caution
    };
    JudgedLimit {
        limit: limit.limit.code.clone(),
        limit_revision: limit.changed_at,
        channel: limit.limit.channel.clone(),
        unit: limit.limit.unit,
        outcome,
        missing,
        furthest,
        not_watched,
        exceedances,
    }
}

/// The calendar's moment. One that a calendar does not have comes of no recording that was taken in, and is its first.
pub(crate) fn calendar(moment: Micros) -> DateTime<Utc> {
    moment.to_utc().unwrap_or(DateTime::UNIX_EPOCH)
}

fn gaps(caution: &Caution) -> Option<NotWatched> {
    match caution {
        Caution::NotWatched { channel, gaps, seconds, longest } => Some(NotWatched {
            channel: channel.clone(),
            times: *gaps,
            seconds: *seconds,
            longest_from: calendar(longest.from),
            longest_to: calendar(longest.to),
        }),
        Caution::PastCaution { .. }
        | Caution::ShorterThanDwell { .. }
        | Caution::CannotBeToldInside { .. } => None,
    }
}

/// The time of the run, as it was noted, before the first row of a channel and after the last one, where it is longer than a
/// channel may be without reading.
fn before_and_after<C>(question: &Question, held: &Held<'_, '_, C>) -> Vec<NotWatched> {
    let (begun, over) = question.noted;
    let mut found = Vec::new();
    for (channel, line) in &held.lines {
        let (Some(first), Some(last)) = (line.times.first(), line.times.last()) else { continue };
        let outside = [Some((begun, *first)), over.map(|over| (*last, over))];
        for (from, to) in outside.into_iter().flatten() {
            let seconds = to.seconds_since(from);
            if seconds > held.rule.options.gap_s {
                found.push(NotWatched {
                    channel: channel.clone(),
                    times: 1,
                    seconds,
                    longest_from: calendar(from),
                    longest_to: calendar(to),
                });
            }
        }
    }
    found
}

/// The figure with the least margin of each statistic, over all sets of lines.
fn furthest<C>(held: &[Held<'_, '_, C>]) -> Vec<FurthestFigure> {
    let mut nearest: Vec<(&Held<'_, '_, C>, &Furthest)> = Vec::new();
    for it in held {
        for figure in &it.judged.furthest {
            match nearest.iter_mut().find(|(_, known)| known.statistic == figure.statistic) {
                Some(known) if figure.margin < known.1.margin => *known = (it, figure),
                Some(_) => {}
                None => nearest.push((it, figure)),
            }
        }
    }
    let told = |(held, figure): (&Held<'_, '_, C>, &Furthest)| {
        let odd_one_out = odd_around(held, figure);
        FurthestFigure { odd_one_out, ..in_limits_unit(&held.rule, figure) }
    };
    nearest.into_iter().map(told).collect()
}

/// The sensor that stands out of its group around the time at which they differed most, if that was at the caution value or
/// past it.
fn odd_around<C>(held: &Held<'_, '_, C>, figure: &Furthest) -> Option<ChannelCode> {
    if figure.statistic != recordings::Statistic::Spread || figure.standing == Standing::Within {
        return None;
    }
    let group: Vec<_> =
        held.lines.iter().map(|(channel, line)| (channel.as_str(), line.series())).collect();
    let (from, to) = (
        Micros(figure.at.0.saturating_sub(AROUND_US)),
        Micros(figure.at.0.saturating_add(AROUND_US)),
    );
    named(&odd_one_out_over(&group, from, to, &held.rule.options))
}

fn in_limits_unit(rule: &Rule, figure: &Furthest) -> FurthestFigure {
    let statistic = statistic(figure.statistic);
    let here = |figure: f64| rule.in_limits_unit(statistic, figure);
    FurthestFigure {
        statistic,
        value: here(figure.value),
        at: calendar(figure.at),
        bound: here(figure.bound),
        margin: here(figure.margin),
        margin_after_accuracy: figure.margin_after_accuracy.map(here),
        beyond_within_accuracy: figure.beyond_within_accuracy,
        past_caution: figure.standing == Standing::Caution,
        beyond_within_dwell: figure.standing == Standing::BeyondWithinDwell,
        odd_one_out: None,
    }
}

fn named(odd: &OddOneOut) -> Option<ChannelCode> {
    match odd {
        OddOneOut::Named { channel, .. } => ChannelCode::new(channel).ok(),
        OddOneOut::TwoSensors {} | OddOneOut::NobodyStandsOut {} => None,
    }
}

/// The sensor that stands out of its group.
pub(crate) fn odd_one_out(found: &Exceedance) -> Option<ChannelCode> {
    found.odd_one_out.as_ref().and_then(named)
}

fn seen_exceedances<'h, C>(
    held: &'h Held<'_, '_, C>,
) -> impl Iterator<Item = SeenExceedance> + use<'h, C> {
    held.judged.found.iter().filter_map(|found| {
        let statistic = statistic(found.statistic);
        let here = |figure: f64| held.rule.in_limits_unit(statistic, figure);
        let holds = |it: &&&RunRecording<C>| {
            let (from, to) = it.facts.span();
            (from..=to).contains(&found.start)
        };
        // What begins between two files, as time that is used up in a gap does, is of the one before.
        let before = held.recordings.iter().filter(|it| it.facts.span().0 <= found.start);
        let latest = before.max_by_key(|it| it.facts.span().0);
        let recording = held.recordings.iter().find(holds).or(latest)?.facts.recording.clone();
        Some(SeenExceedance {
            recording,
            statistic,
            started_at: calendar(found.start),
            duration_s: found.duration_s,
            peak: here(found.peak),
            peak_at: calendar(found.peak_at),
            bound: here(found.bound),
            dwell_s: found.dwell_s,
            lasts_to_the_end: found.lasts_to_the_end,
            odd_one_out: odd_one_out(found),
        })
    })
}
