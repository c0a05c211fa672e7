//! What the page with plots shows.

use chrono::{DateTime, TimeDelta, Utc};
use evaluation::bounds::LevelKind;
use maud::{Markup, html};
use programme::record::Digest;
use programme::state::State;

use super::instant;
use super::picture::{Picture, word};
use crate::api::recordings::{Plot, PlotChannel, recording_view};
use crate::pages::form::Draft;
use crate::pages::words::{counted, exact, phase, rounded, seconds, span};
use crate::problem::Problem;

/// What the page shows.
#[derive(Debug)]
pub(crate) struct PlotPage {
    pub place: String,
    pub recording: String,
    pub name: String,
    /// The whole of the recording.
    pub whole: (DateTime<Utc>, DateTime<Utc>),
    /// Every channel: code and name.
    pub all: Vec<(String, String)>,
    /// Those that are shown.
    pub named: Vec<String>,
    pub plot: Option<Plot>,
}

impl PlotPage {
    pub fn of(
        place: String,
        state: &State,
        recording: &Digest,
        (all, named, plot): (Vec<(String, String)>, Vec<String>, Option<Plot>),
    ) -> Result<Self, Problem> {
        let seen = recording_view(state, recording)?;
        Ok(Self {
            place,
            recording: recording.to_string(),
            name: seen.name.to_owned(),
            whole: (seen.started, seen.ended),
            all,
            named,
            plot,
        })
    }

    fn here(&self) -> String {
        format!("{}/recordings/{}/plot", self.place, self.recording)
    }

    /// The same page from one moment to another.
    fn part(&self, named: &[String], time: Option<(DateTime<Utc>, DateTime<Utc>)>) -> String {
        let time = time.map(|(from, to)| format!("&from={}&to={}", instant(from), instant(to)));
        format!("{}?channel={}{}", self.here(), named.join(","), time.unwrap_or_default())
    }

    pub fn body(&self) -> Markup {
        html! {
            h1 { "Plots of " (self.name) }
            p { a href={ (self.place) "/recordings/" (self.recording) } { "The recording" } }
            @match self.plot.as_ref().and_then(|plot| Some((plot, plot.from?, plot.to?))) {
                None => { p { "The recording has no readings to plot." } }
                Some((plot, from, to)) => {
                    p.lead { (exact(from)) " to " (exact(to)) ", " (span(to - from)) }
                    @if let Some(offset_s) = plot.clock_offset_s { p { "This clock is " (rounded(offset_s)) " s ahead of the runs' times, as a person confirmed." } }
                    @if plot.set_aside { p.warn { "The recording was set aside, so that it counts for nothing." } }
                    (self.zoom((from, to)))
                    @for (place, channel) in plot.channels.iter().enumerate() { (self.shown(plot, (place, channel), (from, to))) }
                    (legend())
                }
            }
            (self.adding())
        }
    }

    fn zoom(&self, (from, to): (DateTime<Utc>, DateTime<Utc>)) -> Markup {
        let long = to - from;
        let quarter = long / 4;
        let clipped = |from: DateTime<Utc>, to: DateTime<Utc>| {
            Some((from.max(self.whole.0), to.min(self.whole.1)))
        };
        let links = [
            ("Whole", None, from > self.whole.0 || to < self.whole.1),
            ("Nearer", Some((from + quarter, to - quarter)), long > TimeDelta::milliseconds(200)),
            (
                "Farther",
                clipped(from - long / 2, to + long / 2),
                from > self.whole.0 || to < self.whole.1,
            ),
            (
                "Earlier",
                clipped(from - long / 2, (from - long / 2).max(self.whole.0) + long),
                from > self.whole.0,
            ),
            (
                "Later",
                clipped((to + long / 2).min(self.whole.1) - long, to + long / 2),
                to < self.whole.1,
            ),
        ];
        html! {
            nav.within.zoom aria-label="Part of the time" {
                @for (words, time, there) in links { @if there { a href=(self.part(&self.named, time)) { (words) } } }
            }
        }
    }

    fn name_of<'a>(&'a self, code: &'a str) -> &'a str {
        self.all.iter().find(|(known, _)| known == code).map_or(code, |(_, name)| name)
    }

    fn shown(
        &self,
        plot: &Plot,
        (place, channel): (usize, &PlotChannel),
        (from, to): (DateTime<Utc>, DateTime<Utc>),
    ) -> Markup {
        let name = self.name_of(&channel.channel);
        let picture = Picture { channel, name, from, to, exceedances: &plot.exceedances, place };
        let rest: Vec<String> =
            self.named.iter().filter(|it| **it != channel.channel).cloned().collect();
        html! {
            section {
                h2 #{ "plot-" (place) } { (name) }
                p.source { code { (channel.channel) } " · " (channel.readings) " readings; each part of the picture has its least and greatest, so that no excursion is lost"
                    @if !rest.is_empty() { " · " a href=(self.part(&rest, Some((from, to)))) { "take it away" } } }
                div.picture tabindex="0" role="group" aria-label={ "Plot of " (name) } { (picture.svg()) }
                (self.told(plot, channel))
            }
        }
    }

    /// The same in words: limits, and what went beyond.
    fn told(&self, plot: &Plot, channel: &PlotChannel) -> Markup {
        let only = std::slice::from_ref(&channel.channel);
        let around = |from: DateTime<Utc>, to: DateTime<Utc>| {
            let room = (to - from).max(TimeDelta::seconds(15));
            self.part(only, Some((from - room, to + room)))
        };
        html! {
            @if channel.limits.is_empty() { p { "No limit is set on this channel." } }
            ul {
                @for limit in &channel.limits {
                    li {
                        strong { (limit.title) } " (" (limit.limit) ", as of record " (limit.revision) ", dwell " (seconds(limit.dwell_s)) @if !limit.phases.is_empty() { ", in " (limit.phases.iter().map(|it| phase(*it)).collect::<Vec<_>>().join(", ")) } "): "
                        @if limit.levels.is_empty() { "a " (limit.kind) ", which is no level of this channel alone" }
                        @for (place, level) in limit.levels.iter().enumerate() { @if place > 0 { ", " } (word(level.level)) " " (rounded(level.value)) " " (channel.unit) }
                        @if limit.stretches > 0 { ". Readings past a level " (counted(limit.stretches, "time", "times")) " in this time" }
                    }
                }
            }
            @let exceedances: Vec<_> = plot.exceedances.iter().filter(|it| channel.limits.iter().any(|limit| limit.limit == it.limit)).collect();
            @if !exceedances.is_empty() {
                h3 { "Exceedances on record" }
                ul { @for it in exceedances {
                    @let lasted = TimeDelta::milliseconds((it.duration_s.unwrap_or(0.0).clamp(0.0, 1e9) * 1000.0) as i64);
                    li {
                        a href={ (self.place) "/exceedances/" (it.exceedance) } { "No. " (it.exceedance) } " of " (it.limit) ": from " (exact(it.started_at))
                        @if let Some(duration) = it.duration_s { ", " (seconds(duration)) } ", peak " (rounded(it.peak)) " " (it.unit.map(|unit| unit.to_string()).unwrap_or_default())
                        ", " (if it.closed { "closed" } else { "open" }) ". " a href=(around(it.started_at, it.started_at + lasted)) { "Nearer" }
                    }
                } }
            }
            @let stretches: Vec<_> = channel.limits.iter().flat_map(|limit| limit.beyond.iter().map(move |it| (limit, it))).collect();
            @if !stretches.is_empty() {
                details {
                    summary { "Readings past a level, however short: a drawing and no verdict" }
                    ul { @for (limit, it) in stretches {
                        li { @if it.level == LevelKind::Limit { strong { "limit" } } @else { (word(it.level)) } " of " (limit.limit) ": " (exact(it.from)) " to " (exact(it.to)) ", peak " (rounded(it.peak)) " " (channel.unit) " · " a href=(around(it.from, it.to)) { "Nearer" } }
                    } }
                }
            }
        }
    }

    fn adding(&self) -> Markup {
        let here = self.here();
        let ask = Draft::new("add", &here, "", None);
        let rest: Vec<_> = self
            .all
            .iter()
            .filter(|(code, _)| !self.named.contains(code))
            .map(|(code, name)| (code.clone(), format!("{name} ({code})")))
            .collect();
        html! {
            @if !rest.is_empty() && self.named.len() < super::MOST_CHANNELS {
                section {
                    h2 #add { "Another channel" }
                    (ask.asks(html! {
                        (ask.hidden("channel", self.named.join(",")))
                        @if let Some((from, to)) = self.plot.as_ref().and_then(|plot| plot.from.zip(plot.to)) {
                            (ask.hidden("from", instant(from))) (ask.hidden("to", instant(to)))
                        }
                        (ask.choice("also", "Channel", "Up to four stand below each other, over the same time.", "", &rest))
                        (ask.send("Show it too"))
                    }))
                }
            }
        }
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::api::recordings::{PlotExceedance, PlotLimit, PlotPoint};
        use crate::pages::tests::long;
        use evaluation::bounds::{Level, Side};
        use programme::codes::{ExceedanceNumber, LimitCode};
        let at = |second: i64| DateTime::from_timestamp(second, 0).unwrap();
        let channel = |many: usize, place: usize| PlotChannel {
            channel: format!("motor_winding_t_{place}"),
            unit: "°C".to_owned(),
            readings: many,
            points: (0..many)
                .map(|point| PlotPoint {
                    at: at(point as i64),
                    value: 20.0 + point as f64,
                    after_gap: point % 7 == 0,
                })
                .collect(),
            limits: (0..many.min(3))
                .map(|_| PlotLimit {
                    limit: LimitCode::new("L-WINDING").unwrap(),
                    title: long("Winding temperature", many),
                    revision: 12,
                    kind: "maximum",
                    dwell_s: 5.0,
                    phases: Vec::new(),
                    levels: vec![Level { level: LevelKind::Limit, side: Side::Above, value: 40.0 }],
                    stretches: many,
                    beyond: Vec::new(),
                })
                .collect(),
        };
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            recording: "0".repeat(64),
            name: long("bms.csv", many),
            whole: (at(0), at(1000)),
            all: (0..many).map(|place| (format!("c_{place}"), long("Winding", many))).collect(),
            named: (0..many.min(3)).map(|place| format!("c_{place}")).collect(),
            plot: (many > 0).then(|| Plot {
                recording: "0".repeat(64).try_into().unwrap(),
                from: Some(at(0)),
                to: Some(at(60)),
                clock_offset_s: Some(4.7),
                set_aside: many > 10,
                channels: (0..many.min(4)).map(|place| channel(many, place)).collect(),
                exceedances: (0..many as u32)
                    .map(|number| PlotExceedance {
                        exceedance: ExceedanceNumber(number),
                        limit: LimitCode::new("L-WINDING").unwrap(),
                        limit_revision: 12,
                        started_at: at(10),
                        peak_at: at(12),
                        peak: 44.0,
                        unit: None,
                        duration_s: Some(5.0),
                        closed: false,
                    })
                    .collect(),
            }),
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

fn legend() -> Markup {
    html! {
        section.legend {
            h2 #signs { "Signs" }
            ul {
                li { "solid heavy line: limit" }
                li { "broken line: caution value" }
                li { "dotted line: time counts above it" }
                li { "hatched band with \"beyond\": exceedance on record" }
                li { "filled triangle: a peak beyond a limit; open triangle: beyond a caution value" }
                li { "a break in the line: no reading for longer than the recorder's rate allows" }
            }
            p.hint.with-script hidden { "With a mouse or a pen, drag across a picture to come nearer." }
        }
    }
}
