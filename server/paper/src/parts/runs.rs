//! Runs with their crew and times, and the recordings of them.

use programme::state::Run;

use crate::manuscript::{Blocks, column, digests};
use crate::scope::Extent;
use crate::words::{NOT_RECORDED, bare, known, known_moment, moment, person};

fn times(run: &Run) -> String {
    let many = |of: &[chrono::DateTime<chrono::Utc>]| {
        let all: Vec<_> = of.iter().map(|at| at.format("%H:%M").to_string()).collect();
        if all.is_empty() { "none".to_owned() } else { all.join(", ") }
    };
    let it = &run.times;
    format!(
        "power on {}\noff blocks {}\ntake-offs {}\nlandings {}\non blocks {}\npower off {}",
        known_moment(it.power_on),
        known_moment(it.off_blocks),
        many(&it.take_offs),
        many(&it.landings),
        known_moment(it.on_blocks),
        known_moment(it.power_off)
    )
}

/// Each run.
pub(crate) fn runs(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let rows = extent.runs.iter().map(|run| {
        let points: Vec<_> = run.points.iter().map(ToString::to_string).collect();
        let crew: Vec<_> = run
            .crew
            .iter()
            .map(|seat| {
                let place = if seat.on_board { "on board" } else { "ground" };
                format!("{}, {}, {place}", person(state, &seat.person), seat.role.in_words())
            })
            .collect();
        let energy = run.energy_kwh().map(|kwh| format!("{} kWh out of the pack", bare(kwh)));
        let how = match (&run.closed, &run.knocked_off) {
            (Some((by, at, debrief)), _) => {
                format!(
                    "closed {} by {}. {}",
                    moment(*at),
                    person(state, by),
                    known(debrief.clone())
                )
            }
            (None, Some(_)) => "knocked off, not closed".to_owned(),
            (None, None) => "open".to_owned(),
        };
        let knocked = run.knocked_off.as_ref();
        let knocked =
            knocked.map_or_else(String::new, |it| format!("Knocked off: {}. ", it.reason));
        let corrected = match run.corrections.len() {
            0 => String::new(),
            some => format!(" Times corrected {some} times."),
        };
        [
            format!("{}\n{}", run.number, run.what.in_words()),
            points.join(", "),
            crew.join("\n"),
            times(run),
            format!("{}. {knocked}{how}{corrected}", known(energy)),
            run.seq.to_string(),
        ]
    });
    out.table(
        [
            column("Run", 0.7),
            column("Points", 0.9),
            column("Crew", 1.7),
            column("Times (UTC)", 1.7),
            column("What came of it", 2.0),
            column("Record", 0.6),
        ],
        rows,
        "No runs are recorded.",
    );
}

/// The recorder files of the runs, each by its SHA-256.
pub(crate) fn recordings(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let mut rows = Vec::new();
    for digest in &state.recordings.order {
        let Some(it) = state.recordings.get(digest) else { continue };
        let runs: Vec<_> = extent
            .runs
            .iter()
            .filter(|run| it.is_attached_to(run.number))
            .map(|run| run.number.to_string())
            .collect();
        if runs.is_empty() {
            continue;
        }
        let take = it.take();
        let aside = it
            .set_aside()
            .map_or_else(String::new, |aside| format!("\nset aside: {}", aside.reason));
        rows.push([
            format!("{}{aside}", known(take.map(|take| take.name.clone()))),
            runs.join(", "),
            take.map_or_else(
                || NOT_RECORDED.to_owned(),
                |take| format!("{} to {}", moment(take.started), moment(take.ended)),
            ),
            take.map_or_else(
                || NOT_RECORDED.to_owned(),
                |take| format!("{} rows, {} refused", take.rows, take.refused_rows),
            ),
            digest.to_string(),
        ]);
    }
    out.table(
        [
            column("File", 1.5),
            column("Run", 0.5),
            column("Span", 1.3),
            column("Rows", 0.9),
            digests("SHA-256 of the file", 3.2),
        ],
        rows,
        "No recordings of these runs are recorded.",
    );
}
