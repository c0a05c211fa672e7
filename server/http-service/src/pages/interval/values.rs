//! The values that an interval proposes, as a table.

use evaluation::values::ProposedValue;
use maud::{Markup, html};
use programme::state::State;

use crate::pages::words::{channel_name, figure, rounded, short, statistic};

/// A value that is proposed, or why there is none.
#[derive(Debug, Clone)]
pub(crate) struct ValueLine {
    pub what: String,
    /// The figure with its unit; absent: missing.
    pub value: Option<String>,
    /// When it was so, or why there is none.
    pub more: String,
    /// Where it comes from.
    pub source: String,
}

impl ValueLine {
    pub fn of(state: &State, it: &ProposedValue) -> Self {
        let source = it.source.as_ref().map_or_else(
            || "no recording has anything of it".to_owned(),
            |source| {
                let readings = source.readings.map(|it| format!(", {it} readings"));
                let gaps = source.share_missing.filter(|share| *share > 0.0);
                let gaps = gaps.map(|share| format!(", {} % in gaps", rounded(share * 100.0)));
                let reduction = source.reduction.map(|it| format!(", reduction {it}"));
                format!(
                    "interval {}, recording {}, {} {}{}{}{}",
                    source.interval,
                    short(&source.recording.to_string()),
                    source.method,
                    source.version,
                    reduction.unwrap_or_default(),
                    readings.unwrap_or_default(),
                    gaps.unwrap_or_default()
                )
            },
        );
        let at = it.at.map(|at| format!("at {} UTC", at.format("%H:%M:%S")));
        let what = format!("{}, {}", channel_name(state, &it.parameter), statistic(it.statistic));
        let unit = programme::verdict::of_change(it.statistic, it.unit);
        Self {
            what,
            value: it.value.map(|value| figure((value * 1e4).round() / 1e4, unit)),
            more: it.missing.clone().or(at).unwrap_or_default(),
            source,
        }
    }
}

/// The table of proposed values.
pub(crate) fn values_table(values: &[ValueLine]) -> Markup {
    html! {
        div.wide tabindex="0" role="region" aria-label="Proposed values" {
            table.stack {
                thead { tr { th scope="col" { "Asked" } th scope="col" { "Value" } th scope="col" { "From" } } }
                tbody {
                    @for it in values {
                        tr.bad[it.value.is_none()] {
                            td { (it.what) }
                            td { @match &it.value { Some(value) => { strong { (value) } " " span.source { (it.more) } } None => { strong { "missing" } " " (it.more) } } }
                            td.source { (it.source) }
                        }
                    }
                }
            }
        }
    }
}
