//! The energy of a day as a picture: what is in the pack, and what went into it from each source.

use chrono::Timelike;
use programme::day_plan::{EnergyMoment, EnergyOfDay};

use super::chart::{Chart, Sheet};
use super::plot::Scale;
use super::{BOUNDARY, INK, SHOWN};

/// The energy of a day, and whose it is.
pub(crate) struct EnergyPicture<'a> {
    pub programme: &'a str,
    pub energy: &'a EnergyOfDay,
}

/// A line of the picture: its words, its dashes, its colour, its figure.
type Line = (&'static str, &'static str, &'static str, fn(&EnergyMoment) -> f64);

const LINES: [Line; 4] = [
    ("in the pack", "", SHOWN, |it| it.pack_kwh),
    ("from the panels", "3 3", INK, |it| it.panels_kwh),
    ("from the ground battery", "12 3 3 3", INK, |it| it.ground_battery_kwh),
    ("from the mains", "9 4", BOUNDARY, |it| it.mains_kwh),
];

/// Draws the energy of the day.
pub(crate) fn draw_energy(picture: &EnergyPicture<'_>) -> String {
    let EnergyOfDay { allowed, begins, over_the_day } = picture.energy;
    let title =
        format!("{}: {} runs by energy, cooling and daylight", picture.programme, begins.len());
    let rows: Vec<String> =
        allowed.iter().map(|row| format!("{}: {}", row.sources, row.runs)).collect();
    let words = format!("Runs with {}", rows.join("; "));
    let mut sheet = Sheet::new(960.0, 480.0, &title, &words);
    sheet.text(84.0, 34.0, 18.0, "start", &title);
    sheet.text(84.0, 56.0, 13.0, "start", &words);
    let Some(first) = over_the_day.first() else { return sheet.done() };
    let hours = |it: &EnergyMoment| (it.at - first.at).num_seconds() as f64 / 3600.0;
    let last = over_the_day.last().map_or(0.1, hours).max(0.1);
    let figures = over_the_day.iter().flat_map(|it| LINES.iter().map(move |line| (line.3)(it)));
    let chart = Chart {
        place: [84.0, 100.0, 900.0, 380.0],
        across: [0.0, last],
        upwards: Scale::of(std::iter::once(0.0).chain(figures)),
    };
    let ticks: Vec<(f64, String)> = over_the_day
        .iter()
        .filter(|it| it.at.minute() == 0 && (last <= 12.0 || it.at.hour() % 2 == 0))
        .map(|it| (hours(it), it.at.format("%H:%M").to_string()))
        .collect();
    chart.frame(&mut sheet, "Energy (kWh) over the day (UTC)", &ticks);
    for (place, (words, dashes, colour, figure)) in LINES.into_iter().enumerate() {
        let line: Vec<(f64, f64)> = over_the_day.iter().map(|it| (hours(it), figure(it))).collect();
        let style = format!(r#"stroke="{colour}" stroke-dasharray="{dashes}""#);
        chart.line(&mut sheet, &line, &style);
        let x = 84.0 + 210.0 * place as f64;
        sheet.put(format_args!(r#"<path d="M{x} 436h34" stroke-width="2.5" {style}/>"#));
        sheet.text(x + 42.0, 440.0, 13.0, "start", words);
    }
    sheet.done()
}
