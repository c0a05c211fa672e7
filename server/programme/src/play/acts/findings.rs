//! Checks, happenings, exceedances, snags, weather and stand-downs, as a story gives them.

use serde::Deserialize;

use super::super::words::{Figure, TimeOfDay};
use super::{Given, Scene, seen};
use crate::codes::{
    CheckCode, EventCode, ExceedanceNumber, ItemCode, LimitCode, RunNumber, SnagNumber,
};
use crate::commands::{self, decide, digests};
use crate::entry::Draft;
use crate::nouns::{LostTo, Phase, Severity, Statistic, WeatherObservation};
use crate::refusal::Refusal;
use crate::state::Amendable;

/// Reports checks as done: those that were passed together, or one that failed.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct ReportCheck {
    checks: Vec<CheckCode>,
    passed: bool,
    findings: String,
    /// On the day of the act; absent: at the act.
    #[serde(default)]
    seen: Option<TimeOfDay>,
}

impl Given for ReportCheck {
    fn commands(&self) -> usize {
        self.checks.len()
    }

    fn decide(&self, place: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let Some(check) = self.checks.get(place).cloned() else { return Ok(Vec::new()) };
        let terms = commands::CheckReport {
            passed: self.passed,
            findings: self.findings.clone(),
            observed_at: self.seen.as_ref().map(|time| scene.on_the_day(time)),
        };
        decide(scene.state, &commands::ReportCheck { check, terms }, scene.stamp)
    }
}

/// Reports a happening that ends checks.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct ReportEvent {
    event: EventCode,
    account: String,
    /// On the day of the act; absent: at the act.
    #[serde(default)]
    seen: Option<TimeOfDay>,
}

impl Given for ReportEvent {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let terms = commands::EventReport {
            event: self.event.clone(),
            account: self.account.clone(),
            observed_at: self.seen.as_ref().map(|time| scene.on_the_day(time)),
        };
        decide(scene.state, &commands::ReportEvent { terms }, scene.stamp)
    }
}

/// Notes an exceedance that somebody saw.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct NoteExceedance {
    /// Absent: the run opened last.
    #[serde(default)]
    run: Option<RunNumber>,
    limit: LimitCode,
    statistic: Statistic,
    peak: f64,
    #[serde(default)]
    duration_s: Option<f64>,
}

impl Given for NoteExceedance {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let terms = commands::ExceedanceTerms {
            run: scene.run(self.run),
            limit: self.limit.clone(),
            statistic: self.statistic,
            peak: self.peak,
            duration_s: self.duration_s,
            observed_at: None,
        };
        decide(scene.state, &commands::NoteExceedance { terms }, scene.stamp)
    }
}

/// Explains an exceedance.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct ExplainExceedance {
    exceedance: ExceedanceNumber,
    explanation: String,
    action: String,
}

impl Given for ExplainExceedance {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let exceedance = self.exceedance;
        let command = commands::ExplainExceedance {
            exceedance,
            terms: commands::ExplanationTerms {
                explanation: self.explanation.clone(),
                action: self.action.clone(),
            },
            expected: Some(scene.state.revision(&Amendable::Exceedance(exceedance))),
        };
        decide(scene.state, &command, scene.stamp)
    }
}

/// Closes an exceedance.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct CloseExceedance {
    exceedance: ExceedanceNumber,
}

impl Given for CloseExceedance {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let exceedance = self.exceedance;
        let digest = seen(scene.state.exceedance(exceedance).map(digests::exceedance));
        let terms = commands::ExceedanceClosing { digest };
        decide(scene.state, &commands::CloseExceedance { exceedance, terms }, scene.stamp)
    }
}

/// Opens a snag.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct OpenSnag {
    title: String,
    #[serde(default)]
    grounding: bool,
    severity: Severity,
    #[serde(default)]
    item: Option<ItemCode>,
    #[serde(default)]
    run: Option<RunNumber>,
    #[serde(default)]
    phases: Vec<Phase>,
}

impl Given for OpenSnag {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let terms = commands::SnagTerms {
            title: self.title.clone(),
            grounding: self.grounding,
            severity: self.severity,
            item: self.item.clone(),
            run: self.run,
            phases: self.phases.clone(),
            observed_at: None,
        };
        decide(scene.state, &commands::OpenSnag { terms }, scene.stamp)
    }
}

/// Works on a snag.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct WorkSnag {
    snag: SnagNumber,
    #[serde(default)]
    cause: Option<String>,
    #[serde(default)]
    action: Option<String>,
    #[serde(default)]
    grounds_now: bool,
}

impl Given for WorkSnag {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let terms = commands::WorkTerms {
            cause: self.cause.clone(),
            action: self.action.clone(),
            grounds_now: self.grounds_now,
            observed_at: None,
        };
        decide(scene.state, &commands::WorkSnag { snag: self.snag, terms }, scene.stamp)
    }
}

/// Closes a snag.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct CloseSnag {
    snag: SnagNumber,
    cause: String,
    action: String,
}

impl Given for CloseSnag {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let snag = self.snag;
        let terms = commands::SnagClosing {
            cause: self.cause.clone(),
            action: self.action.clone(),
            digest: seen(scene.state.snag(snag).map(digests::snag)),
        };
        decide(scene.state, &commands::CloseSnag { snag, terms }, scene.stamp)
    }
}

/// Observes the weather; what is left out was not observed.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct ObserveWeather {
    #[serde(default)]
    wind: Option<Figure>,
    #[serde(default)]
    wind_from_deg: Option<f64>,
    #[serde(default)]
    gust: Option<Figure>,
    #[serde(default)]
    crosswind: Option<Figure>,
    #[serde(default)]
    visibility: Option<Figure>,
    #[serde(default)]
    cloud_base: Option<Figure>,
    #[serde(default)]
    temperature: Option<Figure>,
    #[serde(default)]
    qnh: Option<Figure>,
    #[serde(default)]
    precipitation: Option<bool>,
    #[serde(default)]
    remarks: Option<String>,
    /// On the day of the act; absent: at the act.
    #[serde(default)]
    seen: Option<TimeOfDay>,
}

impl Given for ObserveWeather {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let figure = |figure: &Option<Figure>| figure.as_ref().map(|figure| figure.0);
        let weather = WeatherObservation {
            wind: figure(&self.wind),
            wind_from_deg: self.wind_from_deg,
            gust: figure(&self.gust),
            crosswind: figure(&self.crosswind),
            visibility: figure(&self.visibility),
            cloud_base: figure(&self.cloud_base),
            temperature: figure(&self.temperature),
            qnh: figure(&self.qnh),
            precipitation: self.precipitation,
            remarks: self.remarks.clone(),
        };
        let observed_at = self.seen.as_ref().map(|time| scene.on_the_day(time));
        let terms = commands::WeatherTerms { weather, observed_at };
        decide(scene.state, &commands::ObserveWeather { terms }, scene.stamp)
    }
}

/// Calls a stand-down.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct CallStandDown {
    reason: String,
}

impl Given for CallStandDown {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let terms = commands::StandDownTerms { reason: self.reason.clone() };
        decide(scene.state, &commands::CallStandDown { terms }, scene.stamp)
    }
}

/// Lifts every stand-down in force.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct LiftStandDown {
    reasons: String,
}

impl Given for LiftStandDown {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let in_force = scene.state.stand_downs.iter().filter(|called| called.lifted.is_none());
        let terms = commands::LiftingTerms {
            reasons: self.reasons.clone(),
            calls: in_force.map(|called| called.seq).collect(),
        };
        decide(scene.state, &commands::LiftStandDown { terms }, scene.stamp)
    }
}

/// Notes that the day of the act was lost, or that it was not.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct NoteLostDay {
    #[serde(default)]
    cause: Option<LostTo>,
    account: String,
}

impl Given for NoteLostDay {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let terms = commands::LostDayTerms {
            date: scene.day,
            cause: self.cause,
            account: self.account.clone(),
        };
        decide(scene.state, &commands::NoteLostDay { terms }, scene.stamp)
    }
}
