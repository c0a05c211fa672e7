//! The picture of two axes together.

use maud::{Markup, html};

use super::PairLine;
use crate::pages::words::rounded;
use crate::picture::{Scale, scale};

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 400.0;
/// Left, top, right and bottom of where it is drawn.
const PLOT: [f64; 4] = [64.0, 30.0, 700.0, 330.0];
/// Results that are labelled; all are told in the list below.
const MOST_LABELS: usize = 16;

/// The picture of a pair.
pub(super) struct Picture<'a> {
    pub place: &'a str,
    /// Its place among the pictures of the page.
    pub number: usize,
    pub pair: &'a PairLine,
}

struct Paper {
    across: Scale,
    upwards: Scale,
}

impl Paper {
    fn x(&self, figure: f64) -> f64 {
        PLOT[0] + self.across.share(figure) * (PLOT[2] - PLOT[0])
    }

    fn y(&self, figure: f64) -> f64 {
        PLOT[3] - self.upwards.share(figure) * (PLOT[3] - PLOT[1])
    }

    fn places(&self, corners: &[[f64; 2]]) -> String {
        let one = |at: &[f64; 2]| format!("{:.1},{:.1}", self.x(at[0]), self.y(at[1]));
        corners.iter().map(one).collect::<Vec<_>>().join(" ")
    }
}

impl Picture<'_> {
    pub fn svg(&self) -> Markup {
        let Self { number, pair, .. } = self;
        let shown = &pair.shown;
        let paper = Paper { across: scale(shown, 0), upwards: scale(shown, 1) };
        let [left, top, right, bottom] = PLOT;
        let [(across, x_unit), (upwards, y_unit)] = &pair.axes;
        let hatch = format!("shown-{number}");
        html! {
            svg.plot.envelope viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) width=(WIDTH) height=(HEIGHT) role="group" aria-label=(format!("{upwards} over {across}")) {
                defs { pattern id=(hatch) width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" { path.hatch-shown d="M0 0V8" {} } }
                @for tick in &paper.across.ticks {
                    path.grid d=(format!("M{x:.1} {top}V{bottom}", x = paper.x(*tick))) {}
                    text.tick x=(format!("{:.1}", paper.x(*tick))) y=(bottom + 17.0) text-anchor="middle" { (paper.across.written(*tick)) }
                }
                @for tick in &paper.upwards.ticks {
                    path.grid d=(format!("M{left} {y:.1}H{right}", y = paper.y(*tick))) {}
                    text.tick x=(left - 7.0) y=(format!("{:.1}", paper.y(*tick) + 4.0)) text-anchor="end" { (paper.upwards.written(*tick)) }
                }
                path.frame d=(format!("M{left} {top}V{bottom}H{right}")) {}
                text.axis x=(left) y="18" { (upwards) " (" (y_unit) ")" }
                text.axis x=(right) y=(bottom + 38.0) text-anchor="end" { (across) " (" (x_unit) ")" }
                a href={ "#pair-" (pair.name) } {
                    title { "Shown by the results that are listed below" }
                    @for region in &shown.regions {
                        @if region.polygon.len() > 2 { polygon.region points=(paper.places(&region.polygon)) fill=(format!("url(#{hatch})")) {} }
                        @else { polyline.region points=(paper.places(&region.polygon)) fill="none" {} }
                    }
                }
                (boundary(&paper, pair))
                (self.results(&paper))
                (legend())
                @if shown.regions.is_empty() { text.none x=(f64::midpoint(left, right)) y=(f64::midpoint(top, bottom)) text-anchor="middle" { "Nothing was shown of these two together" } }
            }
        }
    }

    fn results(&self, paper: &Paper) -> Markup {
        let Self { place, pair, .. } = self;
        let [(_, x_unit), (_, y_unit)] = &pair.axes;
        let edge: Vec<_> =
            pair.shown.regions.iter().flat_map(|it| &it.bounds).map(|it| it.by).collect();
        let mut labels = 0;
        html! {
            @for (evidence, showing) in pair.shown.evidence.iter().zip(&pair.showing) {
                @if let Some(showing) = showing {
                    @let (x, y) = (paper.x(evidence.at[0]), paper.y(evidence.at[1]));
                    @let is_edge = edge.contains(&evidence.by);
                    @let words = format!("{} in run {}: {} {x_unit}, {} {y_unit}", showing.point, showing.run, rounded(evidence.at[0]), rounded(evidence.at[1]));
                    @let when = showing.accepted_at.map(|at| format!(", accepted {}", at.format("%Y-%m-%d %H:%M UTC"))).unwrap_or_default();
                    a.result href=(showing.href(place)) aria-label=(format!("{words}{when}")) {
                        title { (words) (when) }
                        circle.reach cx=(format!("{x:.1}")) cy=(format!("{y:.1}")) r="14" {}
                        @if is_edge { circle.dot cx=(format!("{x:.1}")) cy=(format!("{y:.1}")) r="5" {} }
                        @else { path.cross d=(format!("M{:.1} {:.1}l8 8m0 -8l-8 8", x - 4.0, y - 4.0)) {} }
                        @if is_edge && labels < MOST_LABELS {
                            @let (at, anchor) = if x > PLOT[2] - 70.0 { (x - 8.0, "end") } else { (x + 8.0, "start") };
                            text.tick x=(format!("{at:.1}")) y=(format!("{:.1}", y - 7.0)) text-anchor=(anchor) { (showing.point) (counted_label(&mut labels)) }
                        }
                    }
                }
            }
        }
    }
}

/// Counts a label, and writes nothing.
fn counted_label(labels: &mut usize) -> &'static str {
    *labels += 1;
    ""
}

fn boundary(paper: &Paper, pair: &PairLine) -> Markup {
    let boundary = &pair.shown.boundary;
    let ends = [boundary.x_least, boundary.x_greatest].into_iter().flatten();
    html! {
        @if boundary.polygon.len() > 2 {
            polygon.boundary points=(paper.places(&boundary.polygon)) {}
        } @else {
            @for edge in [&boundary.upper, &boundary.lower] { @if edge.len() > 1 { polyline.boundary points=(paper.places(edge)) {} } }
            @for end in ends { path.boundary d=(format!("M{x:.1} {}V{}", PLOT[1], PLOT[3], x = paper.x(end))) {} }
        }
    }
}

fn legend() -> Markup {
    let y = HEIGHT - 10.0;
    html! {
        text.tick x=(PLOT[0]) y=(y) { "hatched: shown · broken line: design boundary · dot: result at the edge · cross: another result" }
    }
}
