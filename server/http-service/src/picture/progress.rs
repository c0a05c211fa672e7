//! How the ladder got on as a picture: for each phase, points by where they stood, day by day.

use chrono::{DateTime, Datelike, NaiveDate, Utc};
use programme::in_words;
use programme::nouns::Phase;
use programme::state::{CourseDay, StandingPoints, State};

use super::INK;
use super::chart::{Chart, Sheet};
use super::plot::Scale;

const WIDTH: f64 = 960.0;
/// Of one phase, with what stands above and below it.
const ROW: f64 = 168.0;
const TOP: f64 = 92.0;

/// Days on which points moved, and whose they are.
pub(crate) struct ProgressPicture<'a> {
    pub programme: &'a str,
    pub days: &'a [CourseDay],
    pub today: NaiveDate,
}

impl<'a> ProgressPicture<'a> {
    /// Of a programme as it stands at a moment.
    pub fn of(state: &'a State, now: DateTime<Utc>) -> Self {
        Self { programme: &state.title, days: state.course.days(), today: now.date_naive() }
    }
}

/// What is stacked: how many points, its word, and how it is filled.
type Layer = (fn(&StandingPoints) -> u32, &'static str, &'static str);

/// From below.
const LAYERS: [Layer; 3] = [
    (|it| it.accepted, "accepted", r##"fill="#0072B2""##),
    (|it| it.awaiting_acceptance, "awaits acceptance", r##"fill="#0072B2" fill-opacity="0.35""##),
    (
        |it| it.not_met + it.lapsed,
        "not met or lapsed",
        r##"fill="url(#hatched)" stroke="#D55E00" stroke-width="1.5""##,
    ),
];

/// Draws the phases that have points.
pub(crate) fn draw_progress(picture: &ProgressPicture<'_>) -> String {
    let ever = |phase: &Phase| picture.days.iter().any(|day| day.of(*phase).planned() > 0);
    let phases: Vec<Phase> = Phase::ALL.into_iter().filter(ever).collect();
    let title = format!("{}: points, day by day, up to {}", picture.programme, picture.today);
    let now = |phase| picture.days.last().map(|day| day.of(phase)).unwrap_or_default();
    let words: Vec<String> = phases.iter().map(|phase| told(*phase, &now(*phase))).collect();
    let height = TOP + 12.0 + ROW * phases.len().max(1) as f64;
    let mut sheet = Sheet::new(WIDTH, height, &title, &words.join(". "));
    sheet.text(64.0, 34.0, 18.0, "start", &title);
    let Some(first) = picture.days.first().filter(|_| !phases.is_empty()) else {
        sheet.text(64.0, TOP + 20.0, 14.0, "start", "No point is planned yet.");
        return sheet.done();
    };
    legend(&mut sheet);
    for (place, phase) in phases.into_iter().enumerate() {
        let top = TOP + 26.0 + ROW * place as f64;
        row(&mut sheet, top, phase, picture, first.date, &told(phase, &now(phase)));
    }
    sheet.done()
}

fn told(phase: Phase, points: &StandingPoints) -> String {
    let (accepted, planned) = (points.accepted, points.planned());
    let mut words = format!("{}: {accepted} of {planned} accepted", in_words::phase(phase));
    for (count, word, _) in &LAYERS[1..] {
        let count = count(points);
        if count > 0 {
            words.push_str(&format!(", {count} {word}"));
        }
    }
    words
}

fn legend(sheet: &mut Sheet) {
    let mut left = 64.0;
    for (_, word, style) in LAYERS {
        sheet.put(format_args!(r#"<rect x="{left}" y="50" width="22" height="14" {style}/>"#));
        sheet.text(left + 28.0, 62.0, 13.0, "start", word);
        left += 190.0;
    }
    sheet.put(format_args!(r#"<path d="M{left} 57h22" stroke="{INK}" stroke-width="2"/>"#));
    sheet.text(left + 28.0, 62.0, 13.0, "start", "planned");
}

fn row(
    sheet: &mut Sheet,
    top: f64,
    phase: Phase,
    picture: &ProgressPicture<'_>,
    first: NaiveDate,
    words: &str,
) {
    let day = |date: NaiveDate| f64::from(date.num_days_from_ce());
    let last = picture.today.max(first);
    let most = picture.days.iter().map(|day| day.of(phase).planned()).max().unwrap_or(0);
    let chart = Chart {
        place: [64.0, top, 930.0, top + ROW - 66.0],
        across: [day(first), day(last) + 1.0],
        upwards: Scale::of_count(most),
    };
    let ends =
        picture.days.iter().skip(1).map(|day| day.date).chain([last.succ_opt().unwrap_or(last)]);
    let spans: Vec<(&CourseDay, NaiveDate)> = picture.days.iter().zip(ends).collect();
    let mut below = vec![0; spans.len()];
    for (count, _, style) in LAYERS {
        for ((it, end), below) in spans.iter().zip(&mut below) {
            let count = count(&it.of(phase));
            if count > 0 {
                let (left, right) = (chart.x(day(it.date)), chart.x(day(*end)));
                let (upper, lower) =
                    (chart.y(f64::from(*below + count)), chart.y(f64::from(*below)));
                sheet.put(format_args!(
                    r#"<rect x="{left:.1}" y="{upper:.1}" width="{:.1}" height="{:.1}" {style}/>"#,
                    (right - left).max(1.0),
                    lower - upper
                ));
                *below += count;
            }
        }
    }
    chart.frame(sheet, words, &ticks(first, last));
    let mut planned = Vec::with_capacity(2 * spans.len());
    for (it, end) in &spans {
        let count = f64::from(it.of(phase).planned());
        planned.extend([(day(it.date), count), (day(*end), count)]);
    }
    chart.line(sheet, &planned, &format!(r#"stroke="{INK}""#));
}

/// Not more than seven dates, evenly apart.
fn ticks(first: NaiveDate, last: NaiveDate) -> Vec<(f64, String)> {
    let every = ((last - first).num_days() / 7 + 1).max(1);
    let dates = (0..7).filter_map(|tick| {
        first.checked_add_signed(chrono::TimeDelta::days(tick * every)).filter(|date| *date <= last)
    });
    dates.map(|date| (f64::from(date.num_days_from_ce()), date.to_string())).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn without_a_point_it_says_so() {
        let today = NaiveDate::from_ymd_opt(2031, 5, 12).unwrap();
        let drawn = draw_progress(&ProgressPicture { programme: "<tug>", days: &[], today });
        assert!(drawn.contains("No point is planned yet."), "{drawn}");
        assert!(drawn.contains("&lt;tug&gt;") && !drawn.contains("<tug>"));
    }

    #[test]
    fn dates_across_are_few_and_within() {
        let first = NaiveDate::from_ymd_opt(2031, 5, 12).unwrap();
        for days in [0, 1, 6, 7, 8, 50, 4_000] {
            let last = first + chrono::TimeDelta::days(days);
            let ticks = ticks(first, last);
            assert!((1..=7).contains(&ticks.len()), "{days} days: {ticks:?}");
            let right = f64::from(last.num_days_from_ce());
            assert!(ticks.iter().all(|(at, _)| *at <= right), "{days} days: {ticks:?}");
        }
    }
}
