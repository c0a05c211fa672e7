//! Completed hours, and the log of the runs.

use programme::hours::{CompletedHours, HoursTotals, completed};
use programme::in_words::{amount, energy, hours_and_minutes, total};

use crate::manuscript::{Blocks, column};
use crate::scope::Extent;
use crate::words::{NOT_RECORDED, known, person, phase, phases};

fn totals(name: &str, of: &HoursTotals) -> [String; 8] {
    let taken = match (of.runs_with_energy, of.runs) {
        (0, _) => NOT_RECORDED.to_owned(),
        (with, all) if with < all => {
            format!("{}, of {with} of {all} runs", energy(of.energy_wh))
        }
        _ => energy(of.energy_wh),
    };
    [
        name.to_owned(),
        of.runs.to_string(),
        hours_and_minutes(of.powered_minutes),
        hours_and_minutes(of.taxi_minutes),
        hours_and_minutes(of.airborne_minutes),
        hours_and_minutes(of.block_minutes),
        of.landings.to_string(),
        taken,
    ]
}

const SUMS: [crate::manuscript::Column; 8] = [
    column("What", 1.6),
    column("Runs", 0.5),
    column("Under power", 1.0),
    column("Taxi", 0.9),
    column("In the air", 0.9),
    column("Block", 0.9),
    column("Landings", 0.8),
    column("Energy", 1.2),
];

/// The sums of the whole programme, and what is still to go.
pub(crate) fn hours(extent: &Extent<'_>, out: &mut Blocks) {
    let all = completed(extent.state);
    let all_phases = all.by_phase.iter().map(|it| totals(phase(it.phase), &it.totals));
    let configurations = all
        .by_configuration
        .iter()
        .map(|it| totals(&format!("configuration {}", it.configuration.short), &it.totals));
    let whole = std::iter::once(totals("all", &all.totals));
    out.table(SUMS, whole.chain(all_phases).chain(configurations), "");
    out.text(all.how_minutes_are_cut);
    out.label("Required");
    out.table(
        [
            column("What", 1.4),
            column("Required", 1.0),
            column("Done", 1.0),
            column("To go", 1.0),
            column("Source", 2.2),
        ],
        all.to_go.iter().map(|it| {
            [
                format!("{} ({})", total(it.total), phases(&it.phases)),
                amount(it.total, it.required),
                amount(it.total, it.done),
                amount(it.total, it.remaining),
                it.source.clone(),
            ]
        }),
        "No required totals are recorded.",
    );
    uncounted(&all, out);
}

fn uncounted(all: &CompletedHours, out: &mut Blocks) {
    for it in &all.incomplete {
        out.text(format!("Run {} is closed and not counted: {}", it.run, it.why));
    }
    let open: Vec<_> = all.open.iter().map(ToString::to_string).collect();
    if !open.is_empty() {
        out.text(format!("Open and not counted yet: run {}.", open.join(", ")));
    }
    if all.time_corrections > 0 {
        out.text(format!(
            "Times were corrected {} times; the corrected times are counted.",
            all.time_corrections
        ));
    }
}

/// A line for each counted run of the extent.
pub(crate) fn log(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let all = completed(state);
    let rows = all.runs.iter().filter(|it| extent.has_run(it.run)).map(|it| {
        let clock = |at: Option<chrono::DateTime<chrono::Utc>>| {
            at.map_or_else(|| "did not move".to_owned(), |at| at.format("%H:%M").to_string())
        };
        let crew: Vec<_> = it
            .crew
            .iter()
            .filter(|seat| seat.on_board)
            .map(|seat| person(state, &seat.person))
            .collect();
        [
            it.date.to_string(),
            format!("{} {}", it.run, it.kind.in_words()),
            if crew.is_empty() { "nobody on board".to_owned() } else { crew.join("\n") },
            format!("{} to {}", clock(it.off_blocks), clock(it.on_blocks)),
            hours_and_minutes(it.powered_minutes.into()),
            hours_and_minutes(it.airborne_minutes.into()),
            it.landings.to_string(),
            known(it.energy_wh.map(energy)),
            it.configuration.short.clone(),
        ]
    });
    out.table(
        [
            column("Date", 0.9),
            column("Run", 0.9),
            column("On board", 1.4),
            column("Blocks (UTC)", 0.9),
            column("Under power", 0.9),
            column("In the air", 0.9),
            column("Landings", 0.75),
            column("Energy", 0.9),
            column("Fitted", 1.1),
        ],
        rows,
        "No counted runs are recorded.",
    );
    uncounted(&all, out);
}
