//! A day as a picture: charge state and temperatures over the hours, with runs and charges.

use chrono::{DateTime, TimeDelta, Timelike, Utc};
use programme::state::ProposedDay;

use super::chart::{Chart, Sheet};
use super::plot::Scale;
use super::{BOUNDARY, INK, SHOWN};

const WIDTH: f64 = 960.0;
const HEIGHT: f64 = 720.0;
const LEFT: f64 = 84.0;
const RIGHT: f64 = 900.0;

/// How the lines of parts are told apart, besides their names.
const DASHES: [&str; 4] = ["", "9 4", "3 3", "12 3 3 3"];

/// A plan of a day, and whose it is.
pub(crate) struct DayPicture<'a> {
    pub programme: &'a str,
    pub proposed: &'a ProposedDay,
}

/// Draws the day.
pub(crate) fn draw_day(picture: &DayPicture<'_>) -> String {
    let ProposedDay { number, terms, day, .. } = picture.proposed;
    let hours = |at: DateTime<Utc>| (at - terms.from).num_seconds() as f64 / 3600.0;
    let across = [0.0, hours(terms.to).max(0.1)];
    let title = format!(
        "{}: plan {number}, {} UTC, {} runs",
        picture.programme,
        terms.from.format("%Y-%m-%d"),
        day.runs.len()
    );
    let runs: Vec<String> = day
        .runs
        .iter()
        .map(|run| {
            format!(
                "{} from {} to {} UTC, charge {:.0} % to {:.0} %",
                run.point,
                run.begins_at.format("%H:%M"),
                run.ends_at.format("%H:%M"),
                run.charge_before * 100.0,
                run.charge_after * 100.0
            )
        })
        .collect();
    let mut sheet = Sheet::new(WIDTH, HEIGHT, &title, &runs.join("; "));
    sheet.text(LEFT, 34.0, 18.0, "start", &title);
    sheet.text(
        LEFT,
        56.0,
        13.0,
        "start",
        "A proposal: it releases nothing. Hatched: set-up, run and turn-round; grey: charging.",
    );
    let ticks = ticks(terms.from, terms.to, &hours);
    let charge = Chart {
        place: [LEFT, 96.0, RIGHT, 330.0],
        across,
        upwards: Scale::of([0.0, 100.0].into_iter()),
    };
    let warm = day.over_the_day.iter().flat_map(|moment| moment.parts_c.iter().copied());
    let most = terms.parts.iter().map(|part| part.most_c);
    let temperature =
        Chart { place: [LEFT, 410.0, RIGHT, 640.0], across, upwards: Scale::of(warm.chain(most)) };
    for chart in [&charge, &temperature] {
        for charged in &day.charges {
            chart.band(
                &mut sheet,
                hours(charged.from),
                hours(charged.to),
                r##"fill="#111111" fill-opacity="0.08""##,
            );
        }
        for run in &day.runs {
            chart.band(
                &mut sheet,
                hours(run.set_up_at),
                hours(run.ready_at),
                r#"fill="url(#hatched)""#,
            );
        }
    }
    charge.frame(&mut sheet, "Charge state of the pack (%), least charge broken", &ticks);
    let level: Vec<(f64, f64)> =
        day.over_the_day.iter().map(|it| (hours(it.at), it.charge * 100.0)).collect();
    charge.line(&mut sheet, &level, &format!(r#"stroke="{SHOWN}""#));
    let least = terms.pack.least_state * 100.0;
    let broken = format!(r#"stroke="{BOUNDARY}" stroke-dasharray="9 4""#);
    charge.line(&mut sheet, &[(across[0], least), (across[1], least)], &broken);
    // Names of neighbours stand on different heights.
    for (place, run) in day.runs.iter().enumerate() {
        let middle = f64::midpoint(hours(run.begins_at), hours(run.ends_at));
        let y = 112.0 + 16.0 * (place % 3) as f64;
        sheet.text(charge.x(middle), y, 12.0, "middle", run.point.as_str());
    }
    if terms.parts.is_empty() {
        sheet.text(LEFT, 420.0, 14.0, "start", "No part was told to heat.");
        return sheet.done();
    }
    temperature.frame(&mut sheet, "Temperatures (°C), greatest allowed broken", &ticks);
    for (place, part) in terms.parts.iter().enumerate() {
        let warm: Vec<(f64, f64)> = day
            .over_the_day
            .iter()
            .filter_map(|it| Some((hours(it.at), *it.parts_c.get(place)?)))
            .collect();
        let dashes = DASHES[place % DASHES.len()];
        temperature.line(
            &mut sheet,
            &warm,
            &format!(r#"stroke="{INK}" stroke-dasharray="{dashes}""#),
        );
        temperature.line(
            &mut sheet,
            &[(across[0], part.most_c), (across[1], part.most_c)],
            &broken,
        );
        let x = LEFT + 200.0 * (place % 4) as f64;
        let y = 684.0 + 18.0 * (place / 4) as f64;
        sheet.put(format_args!(
            r#"<path d="M{x} {}h34" stroke="{INK}" stroke-width="2.5" stroke-dasharray="{dashes}"/>"#,
            y - 4.0
        ));
        let name: String = part.name.chars().take(20).collect();
        sheet.text(x + 42.0, y, 13.0, "start", &name);
    }
    sheet.done()
}

/// Whole hours, not too many of them.
fn ticks(
    from: DateTime<Utc>,
    to: DateTime<Utc>,
    hours: &impl Fn(DateTime<Utc>) -> f64,
) -> Vec<(f64, String)> {
    let every = if (to - from).num_hours() > 12 { 2 } else { 1 };
    let first = from - TimeDelta::seconds(i64::from(from.minute() * 60 + from.second()));
    (0..=25)
        .map(|hour| first + TimeDelta::hours(hour))
        .filter(|at| from <= *at && *at <= to && at.hour() % every == 0)
        .map(|at| (hours(at), at.format("%H:%M").to_string()))
        .collect()
}
