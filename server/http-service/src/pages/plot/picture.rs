//! The picture of one channel over time.

use chrono::{DateTime, TimeDelta, Utc};
use evaluation::bounds::{LevelKind, Side};
use maud::{Markup, PreEscaped, html};

use crate::api::recordings::{PlotChannel, PlotExceedance};
use crate::pages::words::rounded;
use crate::picture::Scale;

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 300.0;
/// Left, top, right and bottom of where the line is drawn.
const PLOT: [f64; 4] = [58.0, 22.0, 708.0, 252.0];
/// Labels of exceedances and peaks at most; all are told in the table below.
const MOST_MARKS: usize = 40;
/// Steps of the time axis in seconds.
const STEPS: [i64; 20] = [
    1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14_400, 21_600, 43_200, 86_400,
    172_800, 604_800,
];

/// The picture of a channel from one moment to another.
pub(crate) struct Picture<'a> {
    pub channel: &'a PlotChannel,
    pub name: &'a str,
    pub from: DateTime<Utc>,
    pub to: DateTime<Utc>,
    pub exceedances: &'a [PlotExceedance],
    /// Its place among the pictures of the page.
    pub place: usize,
}

impl Picture<'_> {
    fn seconds(&self) -> f64 {
        ((self.to - self.from).num_milliseconds() as f64 / 1000.0).max(0.001)
    }

    fn x(&self, at: DateTime<Utc>) -> f64 {
        let after = (at - self.from).num_milliseconds() as f64 / 1000.0;
        PLOT[0] + (after / self.seconds()).clamp(0.0, 1.0) * (PLOT[2] - PLOT[0])
    }

    /// What is drawn decides the scale, and a level that is not far from it, so that its line can be seen.
    fn scale(&self) -> Scale {
        let values: Vec<f64> = self.channel.points.iter().map(|point| point.value).collect();
        let least = values.iter().copied().fold(f64::INFINITY, f64::min);
        let greatest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let room = (greatest - least).max(greatest.abs() * 0.25).max(1e-6);
        let near = |level: &f64| *level > least - 2.0 * room && *level < greatest + 2.0 * room;
        let levels = self.channel.limits.iter().flat_map(|it| &it.levels).map(|it| it.value);
        let levels: Vec<f64> = levels.filter(near).collect();
        Scale::of(values.into_iter().chain(levels))
    }

    pub fn svg(&self) -> Markup {
        let scale = self.scale();
        let y = |figure: f64| PLOT[3] - scale.share(figure) * (PLOT[3] - PLOT[1]);
        let inside = |figure: f64| figure >= scale.least && figure <= scale.greatest;
        let [left, top, right, bottom] = PLOT;
        let hatch = format!("beyond-{}", self.place);
        let label = format!(
            "{} in {} from {} to {} UTC",
            self.name,
            self.channel.unit,
            self.from.format("%Y-%m-%d %H:%M:%S"),
            self.to.format("%H:%M:%S")
        );
        html! {
            svg.plot viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) width=(WIDTH) height=(HEIGHT) role="img" aria-label=(label)
                data-from=(super::instant(self.from)) data-to=(super::instant(self.to)) data-left=(left) data-right=(right) data-width=(WIDTH) {
                defs {
                    pattern id=(hatch) width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" { path.hatch d="M0 0V7" {} }
                }
                @for tick in &scale.ticks {
                    path.grid d=(format!("M{left} {y:.1}H{right}", y = y(*tick))) {}
                    text.tick x=(left - 6.0) y=(format!("{:.1}", y(*tick) + 4.0)) text-anchor="end" { (scale.written(*tick)) }
                }
                @for (at, words) in self.ticks() {
                    path.grid d=(format!("M{x:.1} {top}V{bottom}", x = self.x(at))) {}
                    text.tick x=(format!("{:.1}", self.x(at))) y=(bottom + 16.0) text-anchor="middle" { (words) }
                }
                text.axis x=(left) y="14" { (self.name) ", " (self.channel.unit) }
                text.axis x=(right) y=(HEIGHT - 6.0) text-anchor="end" { "UTC, " (self.from.format("%Y-%m-%d")) ", by the recorder's clock" }
                (self.beyond(&hatch))
                @for limit in &self.channel.limits {
                    @for level in &limit.levels {
                        @if inside(level.value) {
                            path class=(class(level.level)) d=(format!("M{left} {y:.1}H{right}", y = y(level.value))) {}
                            text.level x=(right - 4.0) y=(format!("{:.1}", y(level.value) + if level.side == Side::Above { -4.0 } else { 13.0 })) text-anchor="end" { (word(level.level)) " " (rounded(level.value)) " " (self.channel.unit) " · " (limit.limit) }
                        }
                    }
                }
                path.frame d=(format!("M{left} {top}V{bottom}H{right}")) {}
                path.line d=(self.line(&y)) {}
                (self.peaks(&y))
                @if self.channel.points.is_empty() { text.none x=(f64::midpoint(left, right)) y=(f64::midpoint(top, bottom)) text-anchor="middle" { "No reading in this time" } }
            }
        }
    }

    fn line(&self, y: &impl Fn(f64) -> f64) -> String {
        use std::fmt::Write as _;
        let mut path = String::with_capacity(self.channel.points.len() * 12);
        let points = &self.channel.points;
        for (place, point) in points.iter().enumerate() {
            let begins = place == 0 || point.after_gap;
            let letter = if begins { 'M' } else { 'L' };
            let (x, y) = (self.x(point.at), y(point.value));
            // Writing to a String cannot fail.
            let _ = write!(path, "{letter}{x:.1} {y:.1}");
            // A reading alone between two gaps is still to be seen.
            if begins && points.get(place + 1).is_none_or(|next| next.after_gap) {
                path.push_str("h0");
            }
        }
        path
    }

    /// Bands over the time of each exceedance on record, with its number.
    fn beyond(&self, hatch: &str) -> Markup {
        let [left, top, _, bottom] = PLOT;
        let own = self
            .exceedances
            .iter()
            .filter(|it| self.channel.limits.iter().any(|limit| limit.limit == it.limit));
        html! {
            @for it in own.take(MOST_MARKS) {
                @let lasted = TimeDelta::milliseconds((it.duration_s.unwrap_or(0.0).clamp(0.0, 1e9) * 1000.0) as i64);
                @let (from, to) = (self.x(it.started_at), self.x(it.started_at + lasted));
                @let width = (to - from).max(3.0);
                rect.band x=(format!("{from:.1}")) y=(top) width=(format!("{width:.1}")) height=(bottom - top) fill=(format!("url(#{hatch})")) {}
                text.band-word x=(format!("{:.1}", (from + 3.0).clamp(left, PLOT[2] - 92.0))) y=(top + 12.0) { "beyond, no. " (it.exceedance) }
            }
        }
    }

    /// A triangle at each peak beyond a level: filled beyond a limit, open beyond a caution value.
    fn peaks(&self, y: &impl Fn(f64) -> f64) -> Markup {
        let all = self.channel.limits.iter().flat_map(|limit| &limit.beyond);
        html! {
            @for it in all.take(MOST_MARKS) {
                @let (x, y) = (self.x(it.peak_at), y(it.peak));
                @let path = if it.side == Side::Above { format!("M{x:.1} {:.1}l-6 -10h12z", y - 2.0) } else { format!("M{x:.1} {:.1}l-6 10h12z", y + 2.0) };
                path class=(if it.level == LevelKind::Limit { "peak limit" } else { "peak caution" }) d=(path) {
                    title { (word(it.level)) ": " (rounded(it.peak)) " " (self.channel.unit) " at " (it.peak_at.format("%H:%M:%S")) " UTC" }
                }
            }
        }
    }

    fn ticks(&self) -> Vec<(DateTime<Utc>, PreEscaped<String>)> {
        let most = 7.0;
        let step = STEPS.into_iter().find(|step| self.seconds() / (*step as f64) <= most);
        let step = step.unwrap_or(31_536_000);
        let first = self.from.timestamp().div_euclid(step) * step;
        let moments = (0..60).map(|tick| first + tick * step);
        let moments = moments.filter_map(|second| DateTime::from_timestamp(second, 0));
        let inside = moments.filter(|at| *at >= self.from && *at <= self.to);
        let form = match step {
            _ if step < 60 => "%H:%M:%S",
            _ if step < 86_400 => "%H:%M",
            _ => "%m-%d",
        };
        inside.map(|at| (at, PreEscaped(at.format(form).to_string()))).collect()
    }
}

pub(super) const fn word(level: LevelKind) -> &'static str {
    match level {
        LevelKind::Caution => "caution",
        LevelKind::Limit => "limit",
        LevelKind::TimeCounts => "time counts above",
    }
}

const fn class(level: LevelKind) -> &'static str {
    match level {
        LevelKind::Caution => "level-line caution",
        LevelKind::Limit => "level-line limit",
        LevelKind::TimeCounts => "level-line counts",
    }
}
