//! Limits with their sources, and how far measured figures kept away from them.

use std::collections::BTreeMap;

use programme::codes::LimitCode;
use programme::in_words;
use programme::measure::Unit;
use programme::nouns::{LimitKind, Statistic};
use programme::verdict::of_change;

use crate::manuscript::{Blocks, column};
use crate::plot::{Plot, PlotAxis, Sign, Stroke};
use crate::scope::Extent;
use crate::words::{channel, person, phases};

/// At most so many pictures of limits in one paper.
const MOST_PLOTS: usize = 24;

/// The limits in force.
pub(crate) fn limits(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let limits =
        extent.limits().into_iter().filter_map(|code| state.limits.by_code.get(code)).map(|it| {
            let limit = &it.limit;
            let agreed = it.agreed_by.as_ref();
            let agreed =
                agreed.map_or_else(String::new, |by| format!("; agreed by {}", person(state, by)));
            [
                format!("{}\n{}", limit.code, limit.title),
                channel(state, &limit.channel),
                in_words::limit(limit),
                phases(&limit.phases),
                limit.source.clone(),
                format!("{}{agreed}", person(state, &it.set_by)),
                format!("{} (revision {})", it.changed_at, it.revision),
            ]
        });
    out.table(
        [
            column("Limit", 1.4),
            column("On", 1.2),
            column("Allowed", 1.4),
            column("In", 1.2),
            column("Source", 1.3),
            column("Set by", 1.1),
            column("Record", 0.9),
        ],
        limits,
        "No limits are recorded.",
    );
}

/// Lines of a limit for a statistic: solid limits and dashed cautions.
fn lines(kind: &LimitKind, statistic: Statistic) -> Option<(Vec<f64>, Vec<f64>)> {
    let some = |figures: &[Option<f64>]| figures.iter().flatten().copied().collect();
    match (kind, statistic) {
        (LimitKind::Maximum { caution, limit }, Statistic::Max)
        | (LimitKind::Minimum { caution, limit }, Statistic::Min)
        | (LimitKind::Spread { caution, limit, .. }, Statistic::Spread) => {
            Some((vec![*limit], some(&[*caution])))
        }
        (
            LimitKind::Range { low, high, caution_low, caution_high },
            Statistic::Max | Statistic::Min,
        ) => Some((vec![*low, *high], some(&[*caution_low, *caution_high]))),
        (LimitKind::Rate { caution_per_s, limit_per_s }, Statistic::Rate) => {
            Some((vec![*limit_per_s], some(&[*caution_per_s])))
        }
        (
            LimitKind::Maximum { .. }
            | LimitKind::Minimum { .. }
            | LimitKind::Range { .. }
            | LimitKind::Rate { .. }
            | LimitKind::Spread { .. }
            | LimitKind::TimeAbove { .. }
            | LimitKind::Rating { .. },
            _,
        ) => None,
    }
}

/// What results measured, run by run, beside the limit: one picture for each limit with two readings or more.
pub(crate) fn limit_plots(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let mut read: BTreeMap<(&LimitCode, Statistic), Vec<[f64; 2]>> = BTreeMap::new();
    for result in extent.results() {
        for found in &result.verdict.limits {
            let Some(measured) = found.measured.filter(|it| it.is_finite()) else { continue };
            read.entry((&found.limit, found.statistic))
                .or_default()
                .push([f64::from(result.run.0), measured]);
        }
    }
    let drawn = read.iter().filter(|(_, places)| places.len() >= 2).filter_map(
        |((code, statistic), places)| {
            let limit = &state.limits.by_code.get(*code)?.limit;
            let (solid, dashed) = lines(&limit.kind, *statistic)?;
            let unit: Unit = of_change(*statistic, limit.unit);
            let figures =
                places.iter().map(|place| place[1]).chain(solid.iter().chain(&dashed).copied());
            let y = PlotAxis::over(
                figures,
                &format!(
                    "{}, {} ({unit})",
                    channel(state, &limit.channel),
                    in_words::statistic(*statistic)
                ),
            )?;
            let runs = places.iter().map(|place| place[0]);
            let (first, last) = (places.first()?[0], places.last()?[0]);
            let x = PlotAxis::over(runs.clone().chain([first - 1.0, last + 1.0]), "run")?;
            let title = format!(
                "{code}: {} of each result beside the limit ({})",
                in_words::statistic(*statistic),
                in_words::limit(limit)
            );
            let told: Vec<_> = places
                .iter()
                .map(|[run, figure]| format!("run {run}: {}", in_words::figure(*figure, unit)))
                .collect();
            let mut plot = Plot::new(&title, &format!("{title}. {}", told.join("; ")), x, y);
            let wide = [f64::NEG_INFINITY, f64::INFINITY];
            for figure in solid {
                plot.line(&wide.map(|x| [x, figure]), Stroke::Solid);
            }
            for figure in dashed {
                plot.line(&wide.map(|x| [x, figure]), Stroke::Dashed);
            }
            for place in places {
                plot.mark(*place, Sign::Dot, "");
            }
            Some(plot)
        },
    );
    let drawn: Vec<_> = drawn.collect();
    if drawn.is_empty() {
        return;
    }
    out.part("Results beside limits");
    out.text("A dot is what a result measured; a solid line is the limit, a dashed one its caution, as they are in force now.");
    let left_out = drawn.len().saturating_sub(MOST_PLOTS);
    for plot in drawn.into_iter().take(MOST_PLOTS) {
        out.plot(plot);
    }
    if left_out > 0 {
        out.text(format!("Pictures of {left_out} more limits are not drawn; their figures stand with each result."));
    }
}
