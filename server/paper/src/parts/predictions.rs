//! What was predicted before runs, and what was measured in them.

use std::collections::BTreeMap;

use programme::in_words::figure;
use programme::measure::Unit;
use programme::prediction::{Compared, outcomes};

use crate::manuscript::{Blocks, column};
use crate::plot::{Plot, PlotAxis, Sign, Stroke};
use crate::scope::Extent;
use crate::words::{known_figure, predicted};

/// At most so many predictions in one picture.
const MOST_ROWS: usize = 30;

/// All of them as a table, and as pictures, one for each unit.
pub(crate) fn predictions(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let concerns =
        |it: &Compared<'_>| extent.has_run(it.run) && extent.has_point(&it.predicted.point);
    let compared: Vec<_> = outcomes(state).filter(concerns).collect();
    out.table(
        [
            column("Run, point", 1.0),
            column("What", 1.9),
            column("Estimate", 0.9),
            column("95 % interval", 1.4),
            column("Measured", 0.9),
            column("What came of it", 1.6),
        ],
        compared.iter().map(|it| {
            let kept = it.predicted;
            let extrapolates = match kept.extrapolated_percent {
                Some(percent) if percent > 0.0 => format!("; extrapolates by {percent:.0} %"),
                Some(_) => String::new(),
                None => "; how far it extrapolates is not known".to_owned(),
            };
            [
                format!("{}, {}", it.run, kept.point),
                predicted(state, &kept.what),
                figure(kept.estimate, kept.unit),
                format!("{} to {}", figure(kept.low, kept.unit), figure(kept.high, kept.unit)),
                known_figure(it.measured.map(|measured| measured.figure), kept.unit),
                format!("{}{extrapolates}", it.verdict.in_words()),
            ]
        }),
        "No predictions were kept for these runs.",
    );
    let mut by_unit: BTreeMap<Unit, Vec<&Compared<'_>>> = BTreeMap::new();
    for it in compared.iter().filter(|it| it.measured.is_some()) {
        by_unit.entry(it.predicted.unit).or_default().push(it);
    }
    for (unit, rows) in by_unit {
        if let Some(plot) = picture(unit, &rows) {
            out.plot(plot);
        }
    }
}

/// Intervals as bars with their estimates, and what was measured as crosses.
fn picture(unit: Unit, all: &[&Compared<'_>]) -> Option<Plot> {
    // The last are what the next steps rest on.
    let rows = &all[all.len().saturating_sub(MOST_ROWS)..];
    let measured = |it: &Compared<'_>| it.measured.map_or(f64::NAN, |measured| measured.figure);
    let figures = rows.iter().flat_map(|it| [it.predicted.low, it.predicted.high, measured(it)]);
    let x = PlotAxis::over(figures, &unit.to_string())?;
    let name = |it: &&Compared<'_>| format!("run {}, {}", it.run, it.predicted.point);
    let y = PlotAxis::of_rows(rows.iter().map(name));
    let told: Vec<_> = rows
        .iter()
        .map(|it| {
            let kept = it.predicted;
            format!(
                "{}: {} to {}, measured {}",
                name(it),
                figure(kept.low, unit),
                figure(kept.high, unit),
                figure(measured(it), unit)
            )
        })
        .collect();
    let left_out = all.len() - rows.len();
    let title = if left_out == 0 {
        format!(
            "Predicted and measured, in {unit}: grey the 95 % interval, upright line the estimate, cross what was measured"
        )
    } else {
        format!(
            "The last {} predicted and measured, in {unit}: grey the 95 % interval, upright line the estimate, cross what was measured",
            rows.len()
        )
    };
    let height = 4.5 * rows.len().max(2) as f64;
    let mut plot =
        Plot::new(&title, &format!("{title}. {}", told.join("; ")), x, y).with_rows(height, 34.0);
    for (row, it) in (1_u32..).zip(rows) {
        let y = -f64::from(row);
        plot.line(&[[it.predicted.low, y], [it.predicted.high, y]], Stroke::Thick);
        plot.mark([it.predicted.estimate, y], Sign::Bar, "");
        plot.mark([measured(it), y], Sign::Cross, "");
    }
    Some(plot)
}
