//! A result as it was recorded, and its verdict line by line.

use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::measure::Unit;
use programme::nouns::Statistic;
use programme::record::ValueSource;
use programme::state::State;
use programme::verdict::{LimitOutcome, LimitVerdict, Outcome, of_change};

use crate::api::results::{ResultStanding, ResultView};
use crate::pages::words::{
    axis, channel_name, condition, criterion, figure, limit, moment, outcome, person, result_word,
    statistic,
};

/// One line of the verdict: what was asked, what came, and how it lies.
#[derive(Debug, Clone)]
pub(crate) struct VerdictLine {
    pub asked: String,
    pub came: Option<String>,
    pub word: &'static str,
    pub bad: bool,
}

/// A result that was recorded.
#[derive(Debug, Clone)]
pub(crate) struct Recorded {
    pub standing: ResultStanding,
    pub by: String,
    pub at: DateTime<Utc>,
    pub revision: u64,
    pub observations: String,
    pub typed_in: bool,
    /// What was measured, and where it comes from.
    pub values: Vec<(String, String, &'static str)>,
    pub verdict: Vec<VerdictLine>,
    pub channels_missing: Vec<String>,
    pub outcome: &'static str,
    pub exceeded: bool,
    pub digest: String,
}
impl Recorded {
    pub fn of(state: &State, seen: &ResultView<'_>) -> Self {
        let verdict = seen.verdict;
        let conditions = verdict.conditions.iter().map(|it| VerdictLine {
            asked: format!("{} {}", axis(it.axis), condition(it.condition)),
            came: it.reached.map(|value| figure(value, it.condition.unit)),
            word: outcome(it.outcome),
            bad: it.outcome != Outcome::Met,
        });
        let criteria = verdict.criteria.iter().map(|it| VerdictLine {
            asked: criterion(state, &it.criterion),
            came: it.measured.map(|value| figure(value, it.criterion.unit)),
            word: outcome(it.outcome),
            bad: it.outcome != Outcome::Met,
        });
        let limits = verdict.limits.iter().map(|it| limit_line(state, it));
        Self {
            standing: seen.standing,
            by: person(state, seen.by),
            at: seen.at,
            revision: seen.revision,
            observations: seen.observations.to_owned(),
            typed_in: seen.typed_in,
            values: seen
                .values
                .iter()
                .map(|value| {
                    let what = format!(
                        "{}, {}",
                        channel_name(state, &value.parameter),
                        statistic(value.statistic)
                    );
                    let came = value.value.map(|it| figure(it, value.unit));
                    let source = match value.source {
                        ValueSource::TypedIn {} => "typed in",
                        ValueSource::Recording { .. } => "from a recording",
                    };
                    (what, came.unwrap_or_else(|| "not measured".to_owned()), source)
                })
                .collect(),
            verdict: conditions.chain(criteria).chain(limits).collect(),
            channels_missing: verdict
                .channels_missing
                .iter()
                .map(|it| channel_name(state, it))
                .collect(),
            outcome: outcome(verdict.outcome),
            exceeded: verdict.exceeded,
            digest: seen.digest.to_string(),
        }
    }

    pub fn shown(&self) -> Markup {
        html! {
            p { strong { (result_word(self.standing)) } ". Recorded by " (self.by) ", " (moment(self.at)) @if self.typed_in { "; every value was typed in by a person" } "." }
            section {
                h2 #verdict { "Verdict: " (self.outcome) }
                @if self.exceeded { p.warn { strong { "A value lies beyond its limit." } " An engineer explains the exceedance, and the safety officer closes it." } }
                table.stack {
                    thead { tr { th scope="col" { "Asked" } th scope="col" { "Came" } th scope="col" { "Verdict" } } }
                    tbody {
                        @for line in &self.verdict {
                            tr.bad[line.bad] { th scope="row" { (line.asked) } td data-is="came" { (line.came.as_deref().unwrap_or("not measured")) } td data-is="verdict" { @if line.bad { strong { (line.word) } } @else { (line.word) } } }
                        }
                    }
                }
                @if !self.channels_missing.is_empty() { p.warn { "Had to be recorded and was not: " (self.channels_missing.join("; ")) "." } }
                h3 { "Seen, heard and felt" }
                p.prose { (self.observations) }
                details {
                    summary { "Values as recorded" }
                    ul { @for (what, came, source) in &self.values { li { (what) ": " (came) ", " (source) } } }
                }
                p.source { "Digest " code.digest { (self.digest) } ", record no. " (self.revision) }
            }
        }
    }

    #[cfg(test)]
    pub fn sample(many: usize) -> Self {
        use crate::pages::tests::long;
        let line = VerdictLine {
            asked: long("Winding temperature, greatest: at most 120 °C", many),
            came: (many < 10).then(|| "83.5 °C".to_owned()),
            word: "missing",
            bad: true,
        };
        Self {
            standing: ResultStanding::Open,
            by: "Marit".to_owned(),
            at: DateTime::UNIX_EPOCH,
            revision: 412,
            observations: long("Ran straight.", many),
            typed_in: true,
            values: vec![("Winding".to_owned(), "83.5 °C".to_owned(), "typed in"); many],
            verdict: vec![line; many],
            channels_missing: vec!["Isolation".to_owned(); many],
            outcome: "missing",
            exceeded: many > 10,
            digest: "9f86d081".repeat(8),
        }
    }
}

fn limit_line(state: &State, it: &LimitVerdict) -> VerdictLine {
    let known = state.limits.by_code.get(&it.limit);
    let allowed = known.map(|known| {
        format!("{}: {}", channel_name(state, &known.limit.channel), limit(&known.limit))
    });
    let unit = known.map_or(Unit::One, |known| match it.statistic {
        Statistic::TimeAbove => Unit::Second,
        other => of_change(other, known.limit.unit),
    });
    VerdictLine {
        asked: format!("{} ({})", allowed.unwrap_or_default(), it.limit),
        came: it.measured.map(|value| figure(value, unit)),
        word: match it.outcome {
            LimitOutcome::Within => "within",
            LimitOutcome::Caution => "within, past the caution value",
            LimitOutcome::Beyond => "beyond",
            LimitOutcome::Missing => "missing",
        },
        bad: matches!(it.outcome, LimitOutcome::Beyond | LimitOutcome::Missing),
    }
}
