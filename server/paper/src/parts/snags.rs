//! Snags and stand-downs.

use programme::state::Snag;

use crate::manuscript::{Blocks, column};
use crate::scope::Extent;
use crate::words::{NOT_RECORDED, moment, person, phases};

fn row(extent: &Extent<'_>, snag: &Snag) -> [String; 6] {
    let state = extent.state;
    let grounds = if snag.grounding {
        format!("grounds {}", phases(&snag.phases))
    } else {
        "does not ground".to_owned()
    };
    let work: Vec<_> = snag
        .work
        .iter()
        .map(|it| {
            let cause = it.cause.as_deref().map(|cause| format!("cause: {cause}. "));
            let action = it.action.as_deref().map(|action| format!("action: {action}. "));
            format!(
                "{}{}{}",
                cause.unwrap_or_default(),
                action.unwrap_or_default(),
                person(state, &it.by)
            )
        })
        .collect();
    let closed = snag.closed.as_ref();
    [
        snag.number.to_string(),
        format!("{}\n{grounds}", snag.title),
        format!("{}\n{}", moment(snag.at), person(state, &snag.by)),
        if work.is_empty() { NOT_RECORDED.to_owned() } else { work.join("\n") },
        closed.map_or_else(
            || "open".to_owned(),
            |(by, at, _)| format!("closed {} by {}", moment(*at), person(state, by)),
        ),
        snag.seq.to_string(),
    ]
}

fn table<'a>(
    extent: &Extent<'_>,
    snags: impl Iterator<Item = &'a Snag>,
    none: &str,
    out: &mut Blocks,
) {
    out.table(
        [
            column("No.", 0.4),
            column("Snag", 2.0),
            column("Found", 1.3),
            column("Cause and action", 2.0),
            column("State", 1.3),
            column("Record", 0.6),
        ],
        snags.map(|snag| row(extent, snag)),
        none,
    );
}

/// Those that nobody has closed, of the whole programme.
pub(crate) fn open_snags(extent: &Extent<'_>, out: &mut Blocks) {
    table(extent, extent.state.open_snags(), "No snag is open.", out);
}

/// All of them.
pub(crate) fn all_snags(extent: &Extent<'_>, out: &mut Blocks) {
    table(extent, extent.state.snags.iter(), "No snags are recorded.", out);
}

/// Stops that were called on the whole programme.
pub(crate) fn stand_downs(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let called = state.stand_downs.iter().map(|it| {
        let lifted = it.lifted.as_ref();
        let lifted = lifted
            .map(|(by, at, why)| format!("lifted {} by {}: {why}", moment(*at), person(state, by)));
        [
            moment(it.at),
            person(state, &it.by),
            it.reason.clone(),
            lifted.unwrap_or_else(|| "not lifted".to_owned()),
            it.seq.to_string(),
        ]
    });
    out.table(
        [
            column("Called", 1.0),
            column("By", 1.2),
            column("Reason", 2.0),
            column("Lifted", 2.0),
            column("Record", 0.6),
        ],
        called,
        "No stand-down is recorded.",
    );
}
