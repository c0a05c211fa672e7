//! What the page of a recording tells line by line: channels, refused cells, exceedances and intervals.

use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::codes::{ExceedanceNumber, IntervalNumber, PointCode, RunNumber};
use programme::state::{Exceedance, State};
use recordings::{Remark, Report, Rule};

use crate::api::recordings::RecordingView;
use crate::pages::words::{channel_name, counted, exact, figure, limit, seconds, span, statistic};

/// What the recording holds of one channel.
#[derive(Debug, Clone)]
pub(crate) struct ChannelLine {
    pub code: String,
    pub title: String,
    pub unit: String,
    pub readings: u64,
    /// Least and greatest value.
    pub span: Option<(f64, f64)>,
    /// What is wrong with it, in words.
    pub findings: Vec<String>,
}

/// A cell or row that was refused.
#[derive(Debug, Clone)]
pub(crate) struct RefusedLine {
    pub line: u64,
    pub column: Option<String>,
    pub found: String,
    pub why: &'static str,
}

/// An exceedance that was found in it.
#[derive(Debug, Clone)]
pub(crate) struct ExceedanceLine {
    pub number: ExceedanceNumber,
    pub run: RunNumber,
    pub limit: String,
    pub allowed: String,
    pub statistic: &'static str,
    pub channel: Option<String>,
    pub started_at: DateTime<Utc>,
    pub duration_s: Option<f64>,
    pub peak: String,
    pub peak_at: DateTime<Utc>,
    pub dwell_s: f64,
    pub revision: u64,
    pub odd_one_out: Option<String>,
    pub standing: &'static str,
}

impl ExceedanceLine {
    pub fn of(state: &State, it: &Exceedance) -> Option<Self> {
        let found = it.found.as_ref()?;
        let known = state.limits.by_code.get(&it.limit);
        let unit = known.map_or(programme::measure::Unit::One, |known| match it.statistic {
            programme::nouns::Statistic::TimeAbove => programme::measure::Unit::Second,
            other => programme::verdict::of_change(other, known.limit.unit),
        });
        Some(Self {
            number: it.number,
            run: it.run,
            limit: it.limit.to_string(),
            allowed: known
                .map(|known| {
                    let channel = channel_name(state, &known.limit.channel);
                    format!("{channel}: {}", limit(&known.limit))
                })
                .unwrap_or_default(),
            statistic: statistic(it.statistic),
            channel: known.map(|known| known.limit.channel.to_string()),
            started_at: found.started_at,
            duration_s: it.duration_s,
            peak: figure(it.peak, unit),
            peak_at: found.peak_at,
            dwell_s: found.dwell_s,
            revision: found.limit_revision,
            odd_one_out: found.odd_one_out.as_ref().map(|code| channel_name(state, code)),
            standing: match (&it.closed, &it.explained) {
                (Some(_), _) => "closed",
                (None, Some(_)) => "explained, not closed",
                (None, None) => "open",
            },
        })
    }

    /// As a row of a table.
    pub fn row(&self, place: &str, recording: &str) -> Markup {
        html! {
            tr {
                td { a href={ (place) "/exceedances/" (self.number) } { "No. " (self.number) } " of run " (self.run) br; strong { (self.standing) } }
                td { (self.limit) ", " (self.statistic) br; span.source { (self.allowed) " · limit as of record " (self.revision) } }
                td data-is="Began" { (exact(self.started_at)) @if let Some(channel) = &self.channel { br; a href={ (place) "/recordings/" (recording) "/plot?channel=" (channel) "&around=" (self.number) } { "See it" } } }
                td data-is="Lasted" { @match self.duration_s { Some(duration) => { (seconds(duration)) } None => { "not known" } } " " span.source { "dwell " (seconds(self.dwell_s)) } }
                td data-is="Peak" { strong { (self.peak) } " " span.source { (exact(self.peak_at)) } @if let Some(odd) = &self.odd_one_out { br; "odd one out: " (odd) } }
            }
        }
    }
}

/// An interval that was taken of it.
#[derive(Debug, Clone)]
pub(crate) struct IntervalLine {
    pub number: IntervalNumber,
    pub run: RunNumber,
    pub point: PointCode,
    pub from: DateTime<Utc>,
    pub to: DateTime<Utc>,
    pub counts: bool,
}

impl IntervalLine {
    pub fn of(state: &State, it: &programme::state::Interval) -> Self {
        Self {
            number: it.number,
            run: it.run,
            point: it.point.clone(),
            from: it.from,
            to: it.to,
            counts: state.recordings.counts(&it.recording, it.seq),
        }
    }

    /// As an item of a list.
    pub fn item(&self, place: &str) -> Markup {
        html! {
            li {
                a href={ (place) "/intervals/" (self.number) } { "Interval " (self.number) " for " (self.point) " in run " (self.run) }
                p.source { (exact(self.from)) " to " (exact(self.to)) " · " (span(self.to - self.from)) @if !self.counts { " · " strong { "does not count: its recording was set aside" } } }
            }
        }
    }
}
#[cfg(test)]
impl ExceedanceLine {
    pub fn sample(number: u32, words: &str) -> Self {
        Self {
            number: ExceedanceNumber(number),
            run: RunNumber(3),
            limit: "L-WINDING".to_owned(),
            allowed: words.to_owned(),
            statistic: "greatest",
            channel: Some("motor_winding_t_1".to_owned()),
            started_at: DateTime::UNIX_EPOCH,
            duration_s: Some(41.2),
            peak: "124.5 °C".to_owned(),
            peak_at: DateTime::UNIX_EPOCH,
            dwell_s: 5.0,
            revision: 12,
            odd_one_out: Some(words.to_owned()),
            standing: "open",
        }
    }
}

pub(super) fn channels(
    state: &State,
    seen: &RecordingView<'_>,
    report: Option<&Report>,
) -> Vec<ChannelLine> {
    let line = |held: &crate::api::recordings::ChannelRow<'_>| {
        let code = held.channel.as_str();
        let quality = report
            .and_then(|report| report.quality.channels.iter().find(|quality| quality.code == code));
        let mut findings = Vec::new();
        if held.refused > 0 {
            findings.push(counted(held.refused as usize, "cell refused", "cells refused"));
        }
        if held.missing > held.refused {
            findings.push(counted(
                (held.missing - held.refused) as usize,
                "cell empty",
                "cells empty",
            ));
        }
        if held.gaps > 0 {
            let long = quality.map(|it| {
                format!(
                    ", {} in all, the longest {}",
                    seconds(it.gaps.seconds),
                    seconds(it.gaps.longest_s)
                )
            });
            findings.push(counted(held.gaps as usize, "gap", "gaps") + &long.unwrap_or_default());
        }
        if held.stuck > 0 {
            let long = quality.map(|it| format!(", the longest {}", seconds(it.stuck.longest_s)));
            findings.push(
                format!("stood still {}", counted(held.stuck as usize, "time", "times"))
                    + &long.unwrap_or_default(),
            );
        }
        if quality.is_some_and(|it| it.constant && it.present > 1) {
            findings.push("the same value throughout".to_owned());
        }
        ChannelLine {
            title: channel_name(state, held.channel),
            code: code.to_owned(),
            unit: held.unit.map(|unit| unit.to_string()).unwrap_or_default(),
            readings: held.readings,
            span: quality.and_then(|it| it.lowest.zip(it.highest)),
            findings,
        }
    };
    seen.channels.iter().map(line).collect()
}

pub(super) const fn rule(rule: Rule) -> &'static str {
    match rule {
        Rule::NotANumber => "it is not a number",
        Rule::NotFinite => "it is written as no number or as infinite",
        Rule::BelowLowest => "it is below what the sensor can give",
        Rule::AboveHighest => "it is above what the sensor can give",
        Rule::NotAMoment => "the moment cannot be read, so the row is left out",
        Rule::TimeBackward => "its moment is before that of the row before, so the row is left out",
        Rule::TimeDoubled => "its moment came before, and what came first stays",
        Rule::WrongWidth => "the row has more or fewer cells than the header",
        Rule::Damaged => "the line is damaged",
    }
}

pub(super) fn remark(remark: &Remark) -> String {
    match remark {
        Remark::EndsOpen => {
            "The last line has no line end: the file may have been cut within its last value."
                .to_owned()
        }
        Remark::PassedMidnight { line } => {
            format!("The clock passed midnight on line {line}; from there on a day was added.")
        }
    }
}
