//! What is done in a run, in the order in which it comes.

use programme::codes::RunNumber;
use programme::commands::{
    CloseRun, ClosingTerms, EnergyTerms, KnockOffRun, KnockOffTerms, MomentTerms, NoteMoment,
    OpenRun, ReadEnergy, RunTerms,
};
use programme::entry::Entry;
use programme::record::Record;

use super::view::{RunView, shown};
use crate::access::{ConductRuns, KnockOff, Permitted};
use crate::desk::{Answer, Outcome, View, Written};
use crate::given::{At, Given, Number};
use crate::office::Office;
use crate::problem::{FAULT, Problem};

/// Open a run with points of one phase that nothing holds, and a crew that fits them.
///
/// Refused with every hold of every point at once. One run at a time.
#[utoipa::path(
    post, path = "",
    request_body(content = RunTerms, example = json!({
        "points": ["GR-01", "GR-02"],
        "crew": [
            { "person": "jonas", "role": "pilot", "on_board": true },
            { "person": "pelle", "role": "crew", "on_board": false },
        ],
    })),
    responses((status = 201, description = "Opened.", body = Written<RunView>)),
)]
pub(crate) async fn open(
    person: Permitted<ConductRuns>,
    given: Given<RunTerms>,
    office: Office,
) -> Answer {
    let runs = format!("/api/v1/programmes/{}/runs", person.programme);
    let command = given.map(|terms| OpenRun { terms });
    office
        .act(&person, command, move |view, entries| {
            let run = opened(entries)?;
            Ok(Outcome::created(format!("{runs}/{run}"), shown(view.state, run)?))
        })
        .await
}

fn opened(entries: &[Entry]) -> Result<RunNumber, Problem> {
    let found = entries.iter().find_map(|entry| match &entry.record {
        Record::RunOpened(body) => Some(body.run),
        _ => None,
    });
    found.ok_or_else(|| Problem::new(FAULT, "The run was opened and cannot be shown."))
}

/// Note a moment of the open run: power on, off blocks, take-off, landing, on blocks, power off.
///
/// Times are UTC. Take-offs and landings may come more than once; a touch-and-go is a landing and a take-off.
#[utoipa::path(
    post, path = "",
    request_body(content = MomentTerms, example = json!({ "event": "power-on", "observed_at": "2026-05-02T09:30:00Z" })),
    responses((status = 200, description = "Noted.", body = Written<RunView>)),
)]
pub(crate) async fn note_moment(
    person: Permitted<ConductRuns>,
    run: At<Number<RunNumber>>,
    given: Given<MomentTerms>,
    office: Office,
) -> Answer {
    let run = run.0.0;
    let command = given.map(|terms| NoteMoment { run, terms });
    office.act(&person, command, move |view, _| changed(view, run)).await
}

/// Read charge state (per cent) and energy counter (kilowatt-hours out of the pack in its life) before or after the run.
#[utoipa::path(
    post, path = "",
    request_body(content = EnergyTerms, example = json!({ "moment": "before", "charge_percent": 92.0, "energy_counter_kwh": 218.6 })),
    responses((status = 200, description = "Read.", body = Written<RunView>)),
)]
pub(crate) async fn read_energy(
    person: Permitted<ConductRuns>,
    run: At<Number<RunNumber>>,
    given: Given<EnergyTerms>,
    office: Office,
) -> Answer {
    let run = run.0.0;
    let command = given.map(|terms| ReadEnergy { run, terms });
    office.act(&person, command, move |view, _| changed(view, run)).await
}

/// Call knock-it-off in the open run. Anyone who takes part may, and calling it twice is no mistake.
#[utoipa::path(
    post, path = "",
    request_body(content = KnockOffTerms, example = json!({ "reason": "Pack warning on the panel." })),
    responses((status = 200, description = "Called.", body = Written<RunView>)),
)]
pub(crate) async fn knock_off(
    person: Permitted<KnockOff>,
    run: At<Number<RunNumber>>,
    given: Given<KnockOffTerms>,
    office: Office,
) -> Answer {
    let run = run.0.0;
    let command = given.map(|terms| KnockOffRun { run, terms });
    office.act(&person, command, move |view, _| changed(view, run)).await
}

/// Close a run that is over: power is off, and every take-off has its landing.
#[utoipa::path(
    post, path = "",
    request_body(content = ClosingTerms, example = json!({ "debrief": "All as on the card." })),
    responses((status = 200, description = "Closed.", body = Written<RunView>)),
)]
pub(crate) async fn close(
    person: Permitted<ConductRuns>,
    run: At<Number<RunNumber>>,
    given: Given<ClosingTerms>,
    office: Office,
) -> Answer {
    let run = run.0.0;
    let command = given.map(|terms| CloseRun { run, terms });
    office.act(&person, command, move |view, _| changed(view, run)).await
}

fn changed(view: View<'_>, run: RunNumber) -> Result<Outcome, Problem> {
    Ok(Outcome::changed(shown(view.state, run)?))
}
