//! Exceedances, what explains them, and who closed them.

use programme::in_words;
use programme::verdict::of_change;

use crate::manuscript::{Blocks, column};
use crate::scope::Extent;
use crate::words::{bare, moment, person};

/// Each with its explanation.
pub(crate) fn exceedances(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let rows = extent.exceedances().map(|it| {
        let limit = state.limits.by_code.get(&it.limit).map(|known| &known.limit);
        let peak = limit.map_or_else(
            || bare(it.peak),
            |limit| in_words::figure(it.peak, of_change(it.statistic, limit.unit)),
        );
        let lasted = it
            .duration_s
            .map_or_else(|| "duration not recorded".to_owned(), |s| format!("{} s", bare(s)));
        let how = if it.found.is_some() { "found in a recording" } else { "noted by a person" };
        let explained = it.explained.as_ref().map_or_else(
            || "NOT EXPLAINED".to_owned(),
            |why| {
                format!(
                    "{} Done: {} ({}, record {})",
                    why.explanation,
                    why.action,
                    person(state, &why.by),
                    why.seq
                )
            },
        );
        let closed = it.closed.as_ref().map_or_else(
            || "OPEN".to_owned(),
            |(by, at, _)| format!("closed {} by {}", moment(*at), person(state, by)),
        );
        [
            it.number.to_string(),
            format!(
                "run {}{}",
                it.run,
                it.point.as_ref().map(|point| format!(", {point}")).unwrap_or_default()
            ),
            it.limit.to_string(),
            format!("{} {peak}, {lasted}; {how}", in_words::statistic(it.statistic)),
            explained,
            closed,
            it.seq.to_string(),
        ]
    });
    out.table(
        [
            column("No.", 0.4),
            column("Where", 0.9),
            column("Limit", 0.9),
            column("How far", 1.4),
            column("Explanation and action", 2.4),
            column("State", 1.1),
            column("Record", 0.6),
        ],
        rows,
        "No exceedances are recorded.",
    );
    let unnoted: Vec<_> = state
        .unnoted_exceedances()
        .iter()
        .filter(|(run, _)| extent.has_run(*run))
        .map(|(run, limit)| format!("{limit} in run {run}"))
        .collect();
    if !unnoted.is_empty() {
        out.note(format!(
            "Results lie beyond limits for which nobody has noted an exceedance: {}.",
            unnoted.join(", ")
        ));
    }
}
