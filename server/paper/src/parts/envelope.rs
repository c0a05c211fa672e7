//! The shown envelope: axis by axis, and pairs of axes as pictures inside the design boundary.

use programme::envelope::{Envelope, PairShown};
use programme::in_words;
use programme::state::State;

use crate::manuscript::{Blocks, column};
use crate::plot::{Plot, PlotAxis, Sign, Stroke};
use crate::scope::Extent;
use crate::words::known_measure;

/// What accepted results that stand have demonstrated, for what is fitted.
pub(crate) fn envelope(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let envelope = Envelope::present(state);
    out.text(format!(
        "What {} accepted results that stand for what is fitted have demonstrated. Outside of it nothing was shown; inside of it \
         nothing is promised.",
        envelope.results.len()
    ));
    let by = |shown: programme::envelope::Shown| {
        let result = state.results.get(shown.by.0);
        let by = result.map_or_else(String::new, |it| format!(" ({}, run {})", it.point, it.run));
        format!("{}{by}", shown.reached)
    };
    out.table(
        [
            column("Axis", 1.0),
            column("Least shown", 1.5),
            column("Greatest shown", 1.5),
            column("Designed for at least", 0.9),
            column("Designed for at most", 0.9),
        ],
        envelope.axes.iter().map(|it| {
            [
                in_words::axis(it.axis).to_owned(),
                by(it.least),
                by(it.greatest),
                known_measure(it.design_least),
                known_measure(it.design_greatest),
            ]
        }),
        "Nothing was shown yet.",
    );
    for pair in &envelope.pairs {
        if let Some(plot) = picture(state, pair) {
            out.plot(plot);
            out.list(&pair.boundary.notes);
        }
    }
}

fn picture(state: &State, pair: &PairShown) -> Option<Plot> {
    if pair.evidence.is_empty() {
        return None;
    }
    let boundary = &pair.boundary;
    let lines = [&boundary.upper, &boundary.lower, &boundary.polygon];
    let places =
        || pair.evidence.iter().map(|it| it.at).chain(lines.into_iter().flatten().copied());
    let ((across, x_unit), (upwards, y_unit)) = (pair.pair.across(), pair.pair.upwards());
    let edges = [boundary.x_least, boundary.x_greatest].into_iter().flatten();
    let (x_words, y_words) = (in_words::axis(across), in_words::axis(upwards));
    // A boundary may go on for as long as the pack lasts: the picture ends a little beyond what was shown.
    let furthest = pair.evidence.iter().map(|it| it.at[0].abs()).fold(1.0, f64::max);
    let near = |x: &f64| x.abs() <= 20.0 * furthest;
    let x = PlotAxis::over(
        places().map(|it| it[0]).chain(edges).filter(near),
        &format!("{x_words} ({x_unit})"),
    )?;
    let y = PlotAxis::over(places().map(|it| it[1]), &format!("{y_words} ({y_unit})"))?;
    let title = format!(
        "{y_words} and {}: grey what was shown, dots the results, dashed the design boundary as far as it is known",
        x_words.to_lowercase()
    );
    let told: Vec<_> = pair
        .evidence
        .iter()
        .map(|it| {
            let point = state.results.get(it.by.0).map(|result| result.point.to_string());
            let [x, y] = it.at;
            format!(
                "{}: {}, {}",
                point.unwrap_or_default(),
                in_words::figure(x, x_unit),
                in_words::figure(y, y_unit)
            )
        })
        .collect();
    let mut plot = Plot::new(&title, &format!("{title}. {}", told.join("; ")), x, y);
    for region in &pair.regions {
        plot.area(&region.polygon);
    }
    plot.line(&boundary.upper, Stroke::Dashed);
    plot.line(&boundary.lower, Stroke::Dashed);
    if let Some(first) = boundary.polygon.first() {
        let closed: Vec<_> = boundary.polygon.iter().chain([first]).copied().collect();
        plot.line(&closed, Stroke::Dashed);
    }
    for edge in [boundary.x_least, boundary.x_greatest].into_iter().flatten() {
        plot.line(&[[edge, f64::NEG_INFINITY], [edge, f64::INFINITY]], Stroke::Dashed);
    }
    for it in &pair.evidence {
        plot.mark(it.at, Sign::Dot, "");
    }
    Some(plot)
}
