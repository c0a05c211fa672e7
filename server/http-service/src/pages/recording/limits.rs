//! Every limit that was in force for a run, as the run's recordings show it.

use actix_web::http::StatusCode;
use evaluation::judged::{FurthestFigure, JudgedLimit, LimitOutcome};
use maud::{Markup, html};
use programme::codes::RunNumber;
use programme::measure::Unit;
use programme::nouns::Statistic;
use programme::record::HeatingOutcome;
use programme::state::State;
use programme::verdict::of_change;

use super::OfRun;
use crate::access::Read;
use crate::api::recordings::{self, JudgedRun};
use crate::desk::Answer;
use crate::given::{At, Sha256};
use crate::office::Office;
use crate::pages::around::Section;
use crate::pages::door::Member;
use crate::pages::words::{channel_name, counted, exact, figure, limit, seconds, statistic};

/// A limit as the recordings show it.
#[derive(Debug, Clone)]
pub(crate) struct LimitLine {
    pub code: String,
    pub channel: String,
    pub channel_code: String,
    pub allowed: String,
    pub revision: u64,
    pub word: &'static str,
    pub bad: bool,
    /// What came furthest, one sentence a statistic.
    pub furthest: Vec<Markup>,
    pub not_watched: Vec<String>,
    pub exceedances: Vec<Markup>,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct LimitsPage {
    pub place: String,
    pub recording: String,
    pub run: RunNumber,
    pub recordings: usize,
    pub limits: Vec<LimitLine>,
    /// In which order components heated, and how that came out.
    pub heating: Option<(Vec<String>, &'static str)>,
}

const fn word(outcome: LimitOutcome) -> &'static str {
    match outcome {
        LimitOutcome::Within => "within",
        LimitOutcome::Caution => "to be looked at",
        LimitOutcome::Exceeded => "exceeded",
        LimitOutcome::Missing => "missing",
        LimitOutcome::NotRecorded => "not recorded: people read it",
    }
}

fn unit_of(of: Statistic, unit: Unit) -> Unit {
    match of {
        Statistic::TimeAbove => Unit::Second,
        other => of_change(other, unit),
    }
}

impl LimitLine {
    fn of(state: &State, judged: &JudgedLimit) -> Self {
        let known = state.limits.by_code.get(&judged.limit);
        let not_watched = judged.not_watched.iter().map(|it| {
            let times = counted(it.times, "time", "times");
            format!("{} was not watched {times}, {} in all", it.channel, seconds(it.seconds))
        });
        let missing = judged.missing.iter().map(|code| format!("{code} has no readings"));
        let exceedances = judged.exceedances.iter().map(|it| {
            let unit = unit_of(it.statistic, judged.unit);
            html! { (statistic(it.statistic)) ": began " (exact(it.started_at)) ", lasted " (seconds(it.duration_s)) ", peak " strong { (figure(it.peak, unit)) } " at " (exact(it.peak_at)) @if it.lasts_to_the_end { "; the recording ended beyond" } }
        });
        Self {
            code: judged.limit.to_string(),
            channel: channel_name(state, &judged.channel),
            channel_code: judged.channel.to_string(),
            allowed: known.map(|known| limit(&known.limit)).unwrap_or_default(),
            revision: judged.limit_revision,
            word: word(judged.outcome),
            bad: judged.outcome != LimitOutcome::Within,
            furthest: judged.furthest.iter().map(|it| furthest(it, judged.unit)).collect(),
            not_watched: missing.chain(not_watched).collect(),
            exceedances: exceedances.collect(),
        }
    }
}

fn furthest(it: &FurthestFigure, unit: Unit) -> Markup {
    let unit = unit_of(it.statistic, unit);
    let left = if it.margin >= 0.0 { "inside by" } else { "beyond by" };
    html! {
        (statistic(it.statistic)) " " (figure(rounded(it.value), unit)) ", " (left) " " (figure(rounded(it.margin.abs()), unit)) ", " (exact(it.at))
        @if it.beyond_within_accuracy { "; inside as read, and not if the sensor erred as far as its accuracy allows" }
        @if it.beyond_within_dwell { "; beyond, but never for longer than may be" }
        @if it.past_caution { "; past the caution value" }
    }
}

fn rounded(figure: f64) -> f64 {
    (figure * 100.0).round() / 100.0
}

impl LimitsPage {
    fn of(place: String, state: &State, recording: String, judged: &JudgedRun) -> Self {
        let heating = judged.heating.as_ref().map(|heating| {
            let line = |it: &programme::record::HeatingComponent| {
                format!("{}: {}", channel_name(state, &it.channel), it.limit)
            };
            let came = match heating.outcome {
                HeatingOutcome::InOrder => "in the order that the policy wants",
                HeatingOutcome::OutOfOrder => "out of order: one that is meant to reach its limit later would reach it earlier",
                HeatingOutcome::Unknown => "the recordings do not say",
            };
            (heating.components.iter().map(line).collect(), came)
        });
        Self {
            place,
            recording,
            run: judged.run,
            recordings: judged.recordings.len(),
            limits: judged.limits.iter().map(|it| LimitLine::of(state, it)).collect(),
            heating,
        }
    }

    fn body(&self) -> Markup {
        let bad = self.limits.iter().filter(|it| it.bad).count();
        html! {
            h1 { "Limits of run " (self.run) ", as recorded" }
            p.lead { (bad) " of " (counted(self.limits.len(), "limit", "limits")) " to be looked at. Judged over " (counted(self.recordings, "recording", "recordings")) " of the run together; nothing was recorded by looking." }
            p { a href={ (self.place) "/recordings/" (self.recording) } { "The recording" } " · " a href={ (self.place) "/runs/" (self.run) } { "Run " (self.run) } }
            @if self.limits.is_empty() { p { "No limit was in force for the run." } }
            @if let Some((order, came)) = &self.heating {
                section { h2 #heating { "Order of heating" } p { (came) "." } ol { @for it in order { li { (it) } } } }
            }
            @for (words, bad) in [("To be looked at", true), ("Within", false)] {
                @let lines: Vec<_> = self.limits.iter().filter(|it| it.bad == bad).collect();
                @if !lines.is_empty() {
                    section {
                        h2 { (words) }
                        ul.groups { @for it in lines { li { (it.shown(&self.place, &self.recording)) } } }
                    }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::long;
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            recording: "0".repeat(64),
            run: RunNumber(3),
            recordings: many,
            limits: (0..many)
                .map(|place| LimitLine {
                    code: format!("L-{place}"),
                    channel: long("Winding", many),
                    channel_code: "motor_winding_t_1".to_owned(),
                    allowed: "at most 120 °C".to_owned(),
                    revision: 12,
                    word: word(if place % 2 == 0 {
                        LimitOutcome::Exceeded
                    } else {
                        LimitOutcome::Within
                    }),
                    bad: place % 2 == 0,
                    furthest: vec![html! { "greatest 124 °C" }; place],
                    not_watched: vec!["pack_v was not watched 3 times".to_owned(); place],
                    exceedances: vec![html! { "began then" }; place],
                })
                .collect(),
            heating: (many > 0).then(|| (vec![long("Winding", many); many], "in order")),
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

impl LimitLine {
    fn shown(&self, place: &str, recording: &str) -> Markup {
        html! {
            p { strong { (self.word) } ": " (self.channel) ", " (self.allowed) " " span.source { (self.code) " · as of record " (self.revision) } }
            @for it in &self.exceedances { p.warn { (it) } }
            @for it in &self.furthest { p { (it) } }
            @for it in &self.not_watched { p { (it) } }
            p { a href={ (place) "/recordings/" (recording) "/plot?channel=" (self.channel_code) } { "Plot " (self.channel_code) } }
        }
    }
}

/// The page.
pub(crate) async fn limits(
    member: Member<Read>,
    recording: At<Sha256>,
    run: At<OfRun>,
    office: Office,
) -> Answer {
    let (recording, run) = (recording.0.0, run.0.0);
    let judged = recordings::judged_for(&office, &member.permitted, &recording, run).await?;
    let page = member
        .look(&office, |view| {
            Ok(LimitsPage::of(member.place(""), view.state, recording.to_string(), &judged))
        })
        .await?;
    let title = format!("Limits of run {run}, as recorded");
    Ok(member.around(title, Section::Recordings).reply(StatusCode::OK, page.body()))
}
