//! The counted runs as a spreadsheet reads them.

use super::{CompletedHours, RunHours};
use crate::record::CrewMember;

/// The columns, each with its unit.
const COLUMNS: [&str; 17] = [
    "run",
    "date_utc",
    "kind",
    "phase",
    "power_on_utc",
    "off_blocks_utc",
    "on_blocks_utc",
    "power_off_utc",
    "powered_min",
    "taxi_min",
    "airborne_min",
    "block_min",
    "landings",
    "energy_wh",
    "configuration",
    "crew",
    "time_corrections",
];

/// One row for each counted run as CSV (RFC 4180), UTF-8, a heading in the first line. What is not known is an empty cell.
///
/// # Errors
///
/// Where the text cannot be written, which only a lack of memory brings about.
pub fn runs_csv(hours: &CompletedHours) -> Result<String, csv::Error> {
    let mut writer =
        csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    for run in &hours.runs {
        writer.write_record(cells(run))?;
    }
    let bytes = writer.into_inner().map_err(|error| error.into_error())?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// In the order of [`COLUMNS`]. Codes, numbers and moments only: nothing that a spreadsheet would work out.
fn cells(run: &RunHours) -> [String; COLUMNS.len()] {
    let moment =
        |at: chrono::DateTime<chrono::Utc>| at.to_rfc3339_opts(chrono::SecondsFormat::Secs, true);
    let crew: Vec<_> = run.crew.iter().map(member).collect();
    [
        run.run.to_string(),
        run.date.to_string(),
        run.kind.in_words().to_owned(),
        run.phase.to_string(),
        moment(run.power_on),
        run.off_blocks.map(moment).unwrap_or_default(),
        run.on_blocks.map(moment).unwrap_or_default(),
        moment(run.power_off),
        run.powered_minutes.to_string(),
        run.taxi_minutes.to_string(),
        run.airborne_minutes.to_string(),
        run.block_minutes.to_string(),
        run.landings.to_string(),
        run.energy_wh.map(|energy| energy.to_string()).unwrap_or_default(),
        run.configuration.short.clone(),
        crew.join("; "),
        run.time_corrections.to_string(),
    ]
}

fn member(member: &CrewMember) -> String {
    let place = if member.on_board { "on board" } else { "on the ground" };
    format!("{} {} {place}", member.person, member.role)
}
