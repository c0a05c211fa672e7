//! What was shown of two axes together, as a picture for reports.

use std::fmt::Write as _;

use programme::envelope::PairShown;

use super::plot::Scale;
use super::{BOUNDARY, GRID, INK, SHOWN, escaped};

/// The paper, in units of the picture.
const WIDTH: f64 = 960.0;
const HEIGHT: f64 = 620.0;
/// Where the plot is on it: left, top, right, bottom.
const PLOT: [f64; 4] = [84.0, 84.0, 660.0, 500.0];
/// More labels than this would cover each other.
const MOST_LABELS: usize = 16;
/// Letters of a line below the plot.
const LINE: usize = 112;
/// Lines below the plot.
const MOST_LINES: usize = 4;

/// What a picture is of.
#[derive(Debug, Clone)]
pub(crate) struct Subject {
    /// The programme and its aircraft.
    pub programme: String,
    /// The configuration.
    pub configuration: String,
    /// After which record, with its date.
    pub moment: String,
}

/// A pair with the words for it.
pub(crate) struct PairPicture<'a> {
    pub subject: Subject,
    pub shown: &'a PairShown,
    /// The axes with their units: across, upwards.
    pub axes: [String; 2],
    /// What each result of the evidence is called, in its order.
    pub names: Vec<String>,
}

struct Paper {
    across: Scale,
    upwards: Scale,
    svg: String,
}

impl Paper {
    fn x(&self, figure: f64) -> f64 {
        PLOT[0] + self.across.share(figure) * (PLOT[2] - PLOT[0])
    }

    fn y(&self, figure: f64) -> f64 {
        PLOT[3] - self.upwards.share(figure) * (PLOT[3] - PLOT[1])
    }

    fn put(&mut self, element: std::fmt::Arguments<'_>) {
        // Writing to a String cannot fail.
        let _ = self.svg.write_fmt(element);
        self.svg.push('\n');
    }

    fn text(&mut self, x: f64, y: f64, size: f64, anchor: &str, text: &str) {
        let text = escaped(text);
        self.put(format_args!(
            r#"<text x="{x:.1}" y="{y:.1}" font-size="{size}" text-anchor="{anchor}">{text}</text>"#
        ));
    }

    fn places(&self, corners: &[[f64; 2]]) -> String {
        let places: Vec<String> = corners
            .iter()
            .map(|corner| format!("{:.1},{:.1}", self.x(corner[0]), self.y(corner[1])))
            .collect();
        places.join(" ")
    }

    fn frame(&mut self) {
        let [left, top, right, bottom] = PLOT;
        for tick in self.across.ticks.clone() {
            let (x, written) = (self.x(tick), self.across.written(tick));
            self.put(format_args!(
                r#"<path d="M{x:.1} {top}V{bottom}" stroke="{GRID}"/><path d="M{x:.1} {bottom}v6" stroke="{INK}"/>"#
            ));
            self.text(x, bottom + 22.0, 13.0, "middle", &written);
        }
        for tick in self.upwards.ticks.clone() {
            let (y, written) = (self.y(tick), self.upwards.written(tick));
            self.put(format_args!(
                r#"<path d="M{left} {y:.1}H{right}" stroke="{GRID}"/><path d="M{left} {y:.1}h-6" stroke="{INK}"/>"#
            ));
            self.text(left - 10.0, y + 4.5, 13.0, "end", &written);
        }
        self.put(format_args!(
            r#"<path d="M{left} {top}V{bottom}H{right}" fill="none" stroke="{INK}" stroke-width="1.5"/>"#
        ));
    }

    fn regions(&mut self, shown: &PairShown) {
        for region in &shown.regions {
            let places = self.places(&region.polygon);
            let style = format!(r#"stroke="{SHOWN}" stroke-width="2.5""#);
            if region.polygon.len() > 2 {
                self.put(format_args!(
                    r#"<polygon points="{places}" fill="url(#shown)" {style}/>"#
                ));
            } else {
                self.put(format_args!(r#"<polyline points="{places}" fill="none" {style}/>"#));
            }
        }
    }

    fn boundary(&mut self, shown: &PairShown) {
        let style =
            format!(r#"fill="none" stroke="{BOUNDARY}" stroke-width="2.5" stroke-dasharray="9 4""#);
        let boundary = &shown.boundary;
        if boundary.polygon.len() > 2 {
            let places = self.places(&boundary.polygon);
            self.put(format_args!(r#"<polygon points="{places}" {style}/>"#));
            return;
        }
        for edge in [&boundary.upper, &boundary.lower] {
            if edge.len() > 1 {
                let places = self.places(edge);
                self.put(format_args!(r#"<polyline points="{places}" {style}/>"#));
            }
        }
        for end in [boundary.x_least, boundary.x_greatest].into_iter().flatten() {
            let (x, top, bottom) = (self.x(end), PLOT[1], PLOT[3]);
            self.put(format_args!(r#"<path d="M{x:.1} {top}V{bottom}" {style}/>"#));
        }
    }

    /// Results: those that bound what is shown as filled circles with their names, the others as crosses.
    fn results(&mut self, picture: &PairPicture<'_>) {
        let shown = picture.shown;
        let bounds: Vec<_> =
            shown.regions.iter().flat_map(|region| &region.bounds).map(|it| it.by).collect();
        let mut labels = 0;
        for (evidence, name) in shown.evidence.iter().zip(&picture.names) {
            let (x, y) = (self.x(evidence.at[0]), self.y(evidence.at[1]));
            if bounds.contains(&evidence.by) {
                self.put(format_args!(r#"<circle cx="{x:.1}" cy="{y:.1}" r="5" fill="{INK}"/>"#));
                if labels < MOST_LABELS {
                    labels += 1;
                    // To the left where there is no room to the right.
                    let (at, anchor) =
                        if x > PLOT[2] - 70.0 { (x - 8.0, "end") } else { (x + 8.0, "start") };
                    self.text(at, y - 7.0, 12.0, anchor, name);
                }
            } else {
                cross(self, x, y);
            }
        }
    }

    fn legend(&mut self) {
        let (left, top) = (PLOT[2] + 26.0, PLOT[1] + 10.0);
        let row = |place: f64| top + place * 34.0;
        self.put(format_args!(
            r#"<rect x="{left}" y="{}" width="34" height="18" fill="url(#shown)" stroke="{SHOWN}" stroke-width="2.5"/>"#,
            row(0.0) - 13.0
        ));
        self.put(format_args!(
            r#"<path d="M{left} {}h34" stroke="{BOUNDARY}" stroke-width="2.5" stroke-dasharray="9 4"/>"#,
            row(1.0) - 4.0
        ));
        self.put(format_args!(
            r#"<circle cx="{}" cy="{}" r="5" fill="{INK}"/>"#,
            left + 17.0,
            row(2.0) - 4.0
        ));
        cross(self, left + 17.0, row(3.0) - 4.0);
        for (place, words) in [
            (0.0, "hatched: shown by accepted results"),
            (1.0, "broken line: design boundary"),
            (2.0, "dot: result at the edge of it"),
            (3.0, "cross: another accepted result"),
        ] {
            self.text(left + 44.0, row(place), 13.0, "start", words);
        }
    }
}

fn cross(paper: &mut Paper, x: f64, y: f64) {
    let (left, top) = (x - 4.0, y - 4.0);
    paper.put(format_args!(
        r#"<path d="M{left:.1} {top:.1}l8 8m0 -8l-8 8" stroke="{INK}" stroke-width="1.5"/>"#
    ));
}

/// The scale of one axis: what was reached, what is shown, and what bounds it, so that the room in between is seen.
pub(crate) fn scale(shown: &PairShown, place: usize) -> Scale {
    let boundary = &shown.boundary;
    let ends = [boundary.x_least, boundary.x_greatest].into_iter().flatten();
    let evidence = shown.evidence.iter().map(|it| it.at[place]);
    let regions = shown.regions.iter().flat_map(|it| &it.polygon).map(|it| it[place]);
    let drawn: Vec<f64> = evidence.chain(regions).collect();
    let most = drawn.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    // A line that only ends so that it ends somewhere would leave no room for the rest.
    let far = if most.is_finite() { most.abs().max(1.0) * 20.0 } else { 1.0e5 };
    let edges = [&boundary.upper, &boundary.lower, &boundary.polygon];
    let edges =
        edges.into_iter().flatten().map(|it| it[place]).filter(|figure| figure.abs() <= far);
    let ends: Vec<f64> = if place == 0 { ends.collect() } else { Vec::new() };
    Scale::of(drawn.iter().copied().chain(edges).chain(ends))
}

/// Lines of at most so many letters.
fn lines(text: &str) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let last = lines.len() - 1;
        if !lines[last].is_empty() && lines[last].chars().count() + 1 + word.chars().count() > LINE
        {
            lines.push(word.to_owned());
        } else {
            if !lines[last].is_empty() {
                lines[last].push(' ');
            }
            lines[last].push_str(word);
        }
    }
    lines
}

/// The picture as SVG text.
pub(crate) fn draw(picture: &PairPicture<'_>) -> String {
    let PairPicture { subject, shown, axes: [across, upwards], .. } = picture;
    let mut paper = Paper {
        across: scale(shown, 0),
        upwards: scale(shown, 1),
        svg: String::with_capacity(16 * 1024),
    };
    let title = format!("Shown envelope: {across} and {upwards}");
    let about = format!("{}; {}; {}", subject.programme, subject.configuration, subject.moment);
    paper.put(format_args!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" role="img" font-family="sans-serif" fill="{INK}">"#
    ));
    paper.put(format_args!("<title>{}</title>", escaped(&title)));
    paper.put(format_args!("<desc>{}</desc>", escaped(&about)));
    paper.put(format_args!(
        r#"<defs><pattern id="shown" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="8" height="8" fill="{SHOWN}" fill-opacity="0.12"/><path d="M0 0V8" stroke="{SHOWN}" stroke-width="1.5"/></pattern></defs>"#
    ));
    paper.put(format_args!(r##"<rect width="{WIDTH}" height="{HEIGHT}" fill="#FFFFFF"/>"##));
    paper.text(PLOT[0], 32.0, 20.0, "start", &title);
    paper.text(PLOT[0], 54.0, 13.0, "start", &subject.programme);
    paper.text(
        PLOT[0],
        72.0,
        13.0,
        "start",
        &format!("{}; {}", subject.configuration, subject.moment),
    );
    paper.frame();
    paper.regions(shown);
    paper.boundary(shown);
    paper.results(picture);
    paper.legend();
    let middle = f64::midpoint(PLOT[1], PLOT[3]);
    paper.text(f64::midpoint(PLOT[0], PLOT[2]), PLOT[3] + 46.0, 14.0, "middle", across);
    paper.put(format_args!(
        r#"<text transform="translate(24 {middle}) rotate(-90)" font-size="14" text-anchor="middle">{}</text>"#,
        escaped(upwards)
    ));
    if shown.regions.is_empty() {
        let x = f64::midpoint(PLOT[0], PLOT[2]);
        paper.text(x, middle, 16.0, "middle", "Nothing was shown of these two together.");
    }
    let notes = format!(
        "It tells what was demonstrated, and clears nobody to fly. {}",
        shown.boundary.notes.join(" ")
    );
    for (place, line) in (0..).zip(lines(&notes).iter().take(MOST_LINES)) {
        paper.text(PLOT[0], PLOT[3] + 72.0 + 16.0 * f64::from(place), 12.0, "start", line);
    }
    paper.put(format_args!("</svg>"));
    paper.svg
}
