//! A forecast as a picture: in how many trials the first flight and the end fell into each week.

use chrono::{Datelike, NaiveDate};
use programme::forecast::{DateSpread, SHARES};
use programme::state::MadeForecast;

use super::chart::{Chart, Sheet};
use super::plot::Scale;
use super::{BOUNDARY, SHOWN};

const WIDTH: f64 = 960.0;
const HEIGHT: f64 = 660.0;

/// A forecast, and whose it is.
pub(crate) struct ForecastPicture<'a> {
    pub programme: &'a str,
    pub made: &'a MadeForecast,
}

/// Draws the forecast.
pub(crate) fn draw_forecast(picture: &ForecastPicture<'_>) -> String {
    let made = picture.made;
    let title = format!(
        "{}: forecast {} of {} UTC, {} trials",
        picture.programme,
        made.number,
        made.at.format("%Y-%m-%d"),
        made.told.trials
    );
    let parts = [("First flight", made.told.first_flight.as_ref()), ("End", Some(&made.told.end))];
    let words: Vec<String> = parts
        .iter()
        .filter_map(|(name, spread)| Some(format!("{name}: {}", in_words(spread.as_ref()?))))
        .collect();
    let mut sheet = Sheet::new(WIDTH, HEIGHT, &title, &words.join(". "));
    sheet.text(84.0, 34.0, 18.0, "start", &title);
    sheet.text(
        84.0,
        56.0,
        13.0,
        "start",
        "If the assumptions hold. Bars: trials by week; broken lines: 10, 50, 80 and 95 % of the trials had it by then.",
    );
    for (place, (name, spread)) in parts.into_iter().enumerate() {
        let top = 104.0 + 280.0 * place as f64;
        match spread {
            Some(spread) => bars(&mut sheet, top, name, spread, made.told.trials),
            None => sheet.text(84.0, top, 14.0, "start", "No first flight remains to be flown."),
        }
    }
    sheet.done()
}

fn in_words(spread: &DateSpread) -> String {
    let told = SHARES.iter().zip(spread.by).map(|(share, date)| {
        let date = date.map_or_else(|| "not within ten years".to_owned(), |it| it.to_string());
        format!("{:.0} % by {date}", share * 100.0)
    });
    told.collect::<Vec<_>>().join(", ")
}

fn bars(sheet: &mut Sheet, top: f64, name: &str, spread: &DateSpread, trials: u32) {
    let (Some((first, _)), Some((last, _))) =
        (spread.weeks.first_key_value(), spread.weeks.last_key_value())
    else {
        let words = format!("{name}: not reached within ten years in any trial.");
        return sheet.text(84.0, top, 14.0, "start", &words);
    };
    let day = |date: NaiveDate| f64::from(date.num_days_from_ce());
    let percent = |count: u32| 100.0 * f64::from(count) / f64::from(trials.max(1));
    let chart = Chart {
        place: [84.0, top, 900.0, top + 190.0],
        across: [day(*first), day(*last) + 7.0],
        upwards: Scale::of(
            std::iter::once(0.0).chain(spread.weeks.values().map(|count| percent(*count))),
        ),
    };
    let span = (*last - *first).num_days() + 7;
    let every = (span / 8).max(1);
    let ticks: Vec<(f64, String)> = (0..8)
        .filter_map(|tick| {
            let date = first.checked_add_days(chrono::Days::new((tick * every) as u64))?;
            (tick * every < span).then(|| (day(date), date.format("%Y-%m-%d").to_string()))
        })
        .collect();
    chart.frame(sheet, &format!("{name} (% of trials in each week): {}", in_words(spread)), &ticks);
    for (monday, count) in &spread.weeks {
        let (left, right) = (chart.x(day(*monday)), chart.x(day(*monday) + 7.0));
        let y = chart.y(percent(*count));
        sheet.put(format_args!(
            r#"<rect x="{left:.1}" y="{y:.1}" width="{:.1}" height="{:.1}" fill="{SHOWN}"/>"#,
            (right - left - 1.0).max(0.5),
            chart.place[3] - y
        ));
    }
    for date in spread.by.into_iter().flatten() {
        let (x, bottom) = (chart.x(day(date)), chart.place[3]);
        sheet.put(format_args!(
            r#"<path d="M{x:.1} {top}V{bottom}" stroke="{BOUNDARY}" stroke-width="2.5" stroke-dasharray="9 4"/>"#
        ));
    }
}
