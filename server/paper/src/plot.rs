//! Small pictures as data: axes with ticks, shapes and marks. The template draws them.

use serde::Serialize;

use crate::words::{bare, clean};

/// A tick of an axis, with what stands beside it.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Tick {
    at: f64,
    label: String,
}

/// One axis.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct PlotAxis {
    low: f64,
    high: f64,
    label: String,
    ticks: Vec<Tick>,
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Stroke {
    Solid,
    Dashed,
    Thin,
    Thick,
}

/// A line through corners, or the area that they enclose.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Shape {
    corners: Vec<[f64; 2]>,
    filled: bool,
    stroke: Stroke,
}

/// The sign of a mark.
#[derive(Debug, Clone, Copy, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Sign {
    Dot,
    Cross,
    Bar,
}

/// A mark at a place.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Mark {
    at: [f64; 2],
    sign: Sign,
    label: String,
}

/// A picture.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Plot {
    title: String,
    /// What it shows, for those who do not see it.
    alt: String,
    /// Millimetres.
    width: f64,
    height: f64,
    /// Millimetres left of the picture, for the words beside its ticks.
    left: f64,
    x: PlotAxis,
    y: PlotAxis,
    shapes: Vec<Shape>,
    marks: Vec<Mark>,
}

impl PlotAxis {
    /// An axis over all of the figures, from and to a round one. `None` where no figure is finite.
    pub fn over(figures: impl IntoIterator<Item = f64>, label: &str) -> Option<Self> {
        let finite = figures.into_iter().filter(|figure| figure.is_finite());
        let (low, high) = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), it| {
            (low.min(it), high.max(it))
        });
        if low > high {
            return None;
        }
        // Figures that hardly differ get room around them.
        let room = high.abs().max(1.0) * 0.05;
        let (low, high) =
            if high - low < room * 1e-3 { (low - room, high + room) } else { (low, high) };
        let spread = high - low;
        let step = round_step(spread / 5.0);
        let (first, last) = ((low / step).floor(), (high / step).ceil());
        // Seven at most, since the spread has five or fewer steps; bounded all the same.
        let ticks = (0..16).map(|count| first + f64::from(count)).take_while(|tick| *tick <= last);
        let ticks = ticks.map(|tick| Tick { at: tick * step, label: bare(tick * step) });
        Some(Self {
            low: first * step,
            high: last * step,
            label: clean(label),
            ticks: ticks.collect(),
        })
    }

    /// An axis of rows with names, the first on top.
    pub fn of_rows(names: impl IntoIterator<Item = String>) -> Self {
        let ticks: Vec<_> = names
            .into_iter()
            .zip(1_u32..)
            .map(|(name, row)| Tick { at: -f64::from(row), label: clean(&name) })
            .collect();
        let last = ticks.last().map_or(-1.0, |tick| tick.at);
        Self { low: last - 0.6, high: -0.4, label: String::new(), ticks }
    }

    fn keeps(&self, figure: f64) -> f64 {
        figure.clamp(self.low, self.high)
    }
}

/// The least of 1, 2 or 5 times a power of ten that is not less.
fn round_step(least: f64) -> f64 {
    let power = 10_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|times| times * power)
        .find(|step| *step >= least)
        .unwrap_or(10.0 * power)
}

impl Plot {
    pub fn new(title: &str, alt: &str, x: PlotAxis, y: PlotAxis) -> Self {
        Self {
            title: clean(title),
            alt: clean(alt),
            width: 110.0,
            height: 55.0,
            left: 14.0,
            x,
            y,
            shapes: Vec::new(),
            marks: Vec::new(),
        }
    }

    /// So high, with so much room for words beside the ticks; millimetres.
    pub fn with_rows(self, height: f64, left: f64) -> Self {
        Self { height, left, width: 150.0 - left, ..self }
    }

    /// Puts places that are not finite, or outside, at the edge: a line without an end ends there.
    fn inside(&self, corners: &[[f64; 2]]) -> Vec<[f64; 2]> {
        let finite = corners.iter().filter(|corner| corner.iter().all(|it| !it.is_nan()));
        finite.map(|[x, y]| [self.x.keeps(*x), self.y.keeps(*y)]).collect()
    }

    pub fn line(&mut self, corners: &[[f64; 2]], stroke: Stroke) {
        let corners = self.inside(corners);
        if corners.len() >= 2 {
            self.shapes.push(Shape { corners, filled: false, stroke });
        }
    }

    pub fn area(&mut self, corners: &[[f64; 2]]) {
        let corners = self.inside(corners);
        match corners.len() {
            0 | 1 => {}
            2 => self.shapes.push(Shape { corners, filled: false, stroke: Stroke::Thick }),
            _ => self.shapes.push(Shape { corners, filled: true, stroke: Stroke::Thin }),
        }
    }

    /// A mark; none where its place is not finite.
    pub fn mark(&mut self, at: [f64; 2], sign: Sign, label: &str) {
        if at.iter().all(|it| it.is_finite()) {
            let at = [self.x.keeps(at[0]), self.y.keeps(at[1])];
            self.marks.push(Mark { at, sign, label: clean(label) });
        }
    }

    /// How much there is to draw.
    pub fn weight(&self) -> usize {
        let corners: usize = self.shapes.iter().map(|shape| shape.corners.len()).sum();
        corners + 2 * self.marks.len() + self.x.ticks.len() + self.y.ticks.len() + 8
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn an_axis_reaches_from_round_figure_to_round_figure_over_all_that_is_finite() {
        let axis = PlotAxis::over([3.2, f64::NAN, 47.0, f64::INFINITY], "kt").unwrap();
        assert_eq!((axis.low, axis.high), (0.0, 50.0));
        assert_eq!(axis.ticks.len(), 6);
        let alone = PlotAxis::over([40.0], "kg").unwrap();
        assert!(alone.low < 40.0 && alone.high > 40.0 && alone.ticks.len() >= 2, "{alone:?}");
        assert!(PlotAxis::over([f64::NAN], "kg").is_none());
    }
}
