//! A part of the paper with its own axes: what the pictures of days and of forecasts are drawn on.

use std::fmt::Write as _;

use super::plot::Scale;
use super::{GRID, INK, escaped};

/// An SVG as it grows.
pub(super) struct Sheet(String);

impl Sheet {
    /// An empty sheet of so many units, with what it shows in words for those who hear it.
    pub fn new(width: f64, height: f64, title: &str, description: &str) -> Self {
        let mut sheet = Self(String::new());
        let (title, description) = (escaped(title), escaped(description));
        sheet.put(format_args!(
            r##"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" font-family="sans-serif" fill="{INK}"><title>{title}</title><desc>{description}</desc><rect width="{width}" height="{height}" fill="#FFFFFF"/><defs><pattern id="hatched" width="8" height="8" patternUnits="userSpaceOnUse"><path d="M0 8L8 0" stroke="{INK}" stroke-opacity="0.35"/></pattern></defs>"##
        ));
        sheet
    }

    pub fn put(&mut self, element: std::fmt::Arguments<'_>) {
        // Writing to a String cannot fail.
        let _ = self.0.write_fmt(element);
        self.0.push('\n');
    }

    pub fn text(&mut self, x: f64, y: f64, size: f64, anchor: &str, text: &str) {
        let text = escaped(text);
        self.put(format_args!(
            r#"<text x="{x:.1}" y="{y:.1}" font-size="{size}" text-anchor="{anchor}">{text}</text>"#
        ));
    }

    /// The whole picture.
    pub fn done(mut self) -> String {
        self.0.push_str("</svg>\n");
        self.0
    }
}

/// A plot on a sheet: left, top, right, bottom; a span across, and a scale upwards.
pub(super) struct Chart {
    pub place: [f64; 4],
    pub across: [f64; 2],
    pub upwards: Scale,
}

impl Chart {
    pub fn x(&self, figure: f64) -> f64 {
        let [from, to] = self.across;
        let share = ((figure - from) / (to - from).max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
        self.place[0] + share * (self.place[2] - self.place[0])
    }

    pub fn y(&self, figure: f64) -> f64 {
        self.place[3] - self.upwards.share(figure) * (self.place[3] - self.place[1])
    }

    /// Axes, ticks and what the axis upwards is; ticks across are figures with their words.
    pub fn frame(&self, sheet: &mut Sheet, upwards: &str, ticks: &[(f64, String)]) {
        let [left, top, right, bottom] = self.place;
        for (figure, words) in ticks {
            let x = self.x(*figure);
            sheet.put(format_args!(
                r#"<path d="M{x:.1} {top}V{bottom}" stroke="{GRID}"/><path d="M{x:.1} {bottom}v6" stroke="{INK}"/>"#
            ));
            sheet.text(x, bottom + 22.0, 13.0, "middle", words);
        }
        for tick in &self.upwards.ticks {
            let y = self.y(*tick);
            sheet.put(format_args!(
                r#"<path d="M{left} {y:.1}H{right}" stroke="{GRID}"/><path d="M{left} {y:.1}h-6" stroke="{INK}"/>"#
            ));
            sheet.text(left - 10.0, y + 4.5, 13.0, "end", &self.upwards.written(*tick));
        }
        sheet.put(format_args!(
            r#"<path d="M{left} {top}V{bottom}H{right}" fill="none" stroke="{INK}" stroke-width="1.5"/>"#
        ));
        sheet.text(left, top - 10.0, 14.0, "start", upwards);
    }

    /// A line through places.
    pub fn line(&self, sheet: &mut Sheet, places: &[(f64, f64)], style: &str) {
        let places: Vec<String> = places
            .iter()
            .map(|(across, upwards)| format!("{:.1},{:.1}", self.x(*across), self.y(*upwards)))
            .collect();
        let places = places.join(" ");
        sheet.put(format_args!(
            r#"<polyline points="{places}" fill="none" stroke-width="2.5" {style}/>"#
        ));
    }

    /// A band from one figure across to another, over the whole height.
    pub fn band(&self, sheet: &mut Sheet, from: f64, to: f64, fill: &str) {
        let [_, top, _, bottom] = self.place;
        let (left, right) = (self.x(from), self.x(to));
        let (width, height) = ((right - left).max(0.0), bottom - top);
        sheet.put(format_args!(
            r#"<rect x="{left:.1}" y="{top}" width="{width:.1}" height="{height}" {fill}/>"#
        ));
    }
}
