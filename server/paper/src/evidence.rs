//! The evidence document: what was shown, by whom, under which limits, and who signed what.

use chrono::{DateTime, Utc};
use programme::scope::Scope;
use programme::state::State;

use crate::manuscript::{Blocks, Manuscript};
use crate::scope::Extent;
use crate::words::{known_moment, moment, phase};
use crate::{Trouble, parts};

/// What the programme is called, with its id.
pub(crate) fn named(state: &State) -> String {
    let id = state.id.as_ref().map(|id| format!(" ({id})")).unwrap_or_default();
    format!("{}{id}", state.title)
}

fn of(scope: &Scope, state: &State) -> String {
    let title = &state.title;
    match scope {
        Scope::Programme => format!("programme {title}"),
        Scope::Phase { phase: it } => format!("{} of {title}", phase(*it)),
        Scope::Day { day } => format!("{day} (UTC), {title}"),
        Scope::Point { point } => format!("point {point} of {title}"),
    }
}

/// Writes the evidence document of a scope, as the state was at a moment. It is not set yet: see [`Manuscript::typeset`].
///
/// # Errors
///
/// [`Trouble::NoSuchPoint`], [`Trouble::NothingThatDay`].
pub fn evidence(scope: &Scope, state: &State, at: DateTime<Utc>) -> Result<Manuscript, Trouble> {
    let extent = Extent::of(state, scope.clone())?;
    Ok(Manuscript {
        title: "Evidence document".to_owned(),
        of: of(scope, state),
        programme: named(state),
        draft: false,
        front: front(&extent, at),
        blocks: chapters(&extent),
    })
}

/// What stands before the contents of every paper.
pub(crate) fn front(extent: &Extent<'_>, at: DateTime<Utc>) -> Blocks {
    let state = extent.state;
    let mut out = Blocks::default();
    let aircraft = state.aircraft.as_ref().map(|it| it.name.clone());
    out.facts([
        ("Programme", named(state)),
        ("Aircraft", crate::words::known(aircraft)),
        ("Founded", known_moment(state.founded_at)),
        ("As it stood", format!("{}, after record {}", moment(at), state.length())),
    ]);
    if let Some(stop) = state.stand_down() {
        out.note(format!("The programme is STOOD DOWN since {}: {}", moment(stop.at), stop.reason));
    }
    parts::authority(&mut out);
    parts::cautions(&mut out);
    out
}

fn chapters(extent: &Extent<'_>) -> Blocks {
    let mut out = Blocks::default();
    out.chapter("How to check this document");
    out.text(
        "Each page names the size of the ledger and its root: the head of a Merkle tree (RFC 9162) over all records in order, each \
         in the form of RFC 8785. Whoever has the records can compute the root again; a checkpoint that was kept elsewhere shows \
         that nothing was altered since. Digests are SHA-256 of exactly what was signed, and records are named by their numbers. \
         What is printed as \"not recorded\" was not in the ledger.",
    );
    out.chapter("Aircraft and configuration");
    parts::aircraft(extent, &mut out);
    parts::loading(extent, &mut out);
    out.part("Items fitted");
    parts::configuration(extent, &mut out);
    parts::configuration_changes(extent, &mut out);
    out.chapter("Limits and their sources");
    parts::limits(extent, &mut out);
    parts::limit_plots(extent, &mut out);
    out.chapter("Hazards and accepted risk");
    parts::hazards(extent, &mut out);
    out.chapter("Shown envelope");
    parts::envelope(extent, &mut out);
    out.chapter("Runs and results");
    out.part("Results in one table");
    parts::results(extent, &mut out);
    out.part("Runs");
    parts::runs(extent, &mut out);
    out.part("Recordings");
    parts::recordings(extent, &mut out);
    out.chapter("Predictions and what was measured");
    parts::predictions(extent, &mut out);
    out.chapter("Exceedances and explanations");
    parts::exceedances(extent, &mut out);
    out.chapter("Open snags");
    parts::open_snags(extent, &mut out);
    out.part("Stand-downs");
    parts::stand_downs(extent, &mut out);
    out.chapter("Hours");
    parts::hours(extent, &mut out);
    out.chapter("People, papers and checks");
    out.part("People");
    parts::people(extent, &mut out);
    out.part("Papers");
    parts::documents(extent, &mut out);
    out.part("Checks");
    parts::checks(extent, &mut out);
    out.chapter("Cards, results and signatures, point by point");
    if extent.rungs.is_empty() {
        out.text("No points are recorded.");
    }
    for rung in &extent.rungs {
        parts::card(extent, rung, &mut out);
        for result in extent.results_of(rung) {
            parts::result(extent, result, &mut out);
        }
    }
    out
}
