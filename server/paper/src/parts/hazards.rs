//! Hazards, what is done against them, and who accepted which risk.

use programme::nouns::AssessedRisk;
use programme::state::HazardState;

use crate::manuscript::{Blocks, column, digests};
use crate::scope::Extent;
use crate::words::{NOT_RECORDED, moment, person};

fn risk(extent: &Extent<'_>, risk: AssessedRisk) -> String {
    let place = format!("{}{}", risk.severity.number(), risk.probability.letter());
    let policy = extent.state.policy.as_ref();
    let level = policy.map_or_else(
        || "level not known: no matrix is recorded".to_owned(),
        |policy| policy.risk.level(risk).to_string(),
    );
    format!("{place}, {level}")
}

fn accepted(extent: &Extent<'_>, it: &HazardState) -> String {
    let Some(accepted) = &it.accepted else { return "not accepted".to_owned() };
    let roles: Vec<_> = accepted.roles.iter().map(|role| role.in_words()).collect();
    format!(
        "{} accepted by {} ({}), {}",
        accepted.level,
        person(extent.state, &accepted.by),
        roles.join(", "),
        moment(accepted.at)
    )
}

/// A line for each.
pub(crate) fn hazards(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let known: Vec<_> =
        extent.hazards().into_iter().filter_map(|code| state.hazards.get(code)).collect();
    out.table(
        [
            column("Hazard", 1.6),
            column("Before mitigation", 1.0),
            column("Mitigation", 2.4),
            column("After mitigation", 1.0),
            column("Accepted risk", 1.6),
        ],
        known.iter().map(|it| {
            let hazard = &it.hazard;
            let mitigations = hazard.mitigations.join("\n");
            [
                format!("{}\n{}", hazard.code, hazard.title),
                risk(extent, hazard.before),
                if mitigations.is_empty() { NOT_RECORDED.to_owned() } else { mitigations },
                hazard.after.map_or_else(|| NOT_RECORDED.to_owned(), |after| risk(extent, after)),
                accepted(extent, it),
            ]
        }),
        "No hazards are recorded.",
    );
    if !known.is_empty() {
        out.text(matrix_source(extent));
    }
    out.label("Signatures that accept risk");
    let signed = known.iter().filter_map(|it| {
        let accepted = it.accepted.as_ref()?;
        Some([
            it.hazard.code.to_string(),
            person(state, &accepted.by),
            moment(accepted.at),
            accepted.digest.to_string(),
            accepted.seq.to_string(),
        ])
    });
    out.table(
        [
            column("Hazard", 1.0),
            column("By", 1.4),
            column("When", 1.1),
            digests("Digest", 3.3),
            column("Record", 0.6),
        ],
        signed,
        "None is recorded.",
    );
}

fn matrix_source(extent: &Extent<'_>) -> String {
    let policy = extent.state.policy.as_ref();
    let source = policy.map_or(NOT_RECORDED, |policy| policy.risk.source.as_str());
    format!(
        "Severity 1 is catastrophic and 4 negligible; probability A is frequent, E improbable and F means that the hazard is gone. \
         Matrix: {source}."
    )
}

/// Each with cause and effect.
pub(crate) fn hazard_details(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    for it in extent.hazards().into_iter().filter_map(|code| state.hazards.get(code)) {
        let hazard = &it.hazard;
        out.part(format!("{}: {}", hazard.code, hazard.title));
        let on = |rung: &&programme::state::Rung| {
            rung.dropped.is_none() && rung.point.hazards.contains(&hazard.code)
        };
        let points: Vec<_> = state
            .ladder
            .rungs()
            .iter()
            .filter(on)
            .map(|rung| rung.point.code.to_string())
            .collect();
        out.facts([
            ("Cause", hazard.cause.clone()),
            ("Effect", hazard.effect.clone()),
            ("Before mitigation", risk(extent, hazard.before)),
            (
                "After mitigation",
                hazard.after.map_or_else(|| NOT_RECORDED.to_owned(), |after| risk(extent, after)),
            ),
            ("Accepted risk", accepted(extent, it)),
            (
                "Recorded by",
                format!("{}, record {}", person(state, &it.recorded_by), it.changed_at),
            ),
            ("Points", if points.is_empty() { "none".to_owned() } else { points.join(", ") }),
        ]);
        out.label("Mitigation");
        if hazard.mitigations.is_empty() {
            out.text("Not recorded.");
        }
        out.list(&hazard.mitigations);
    }
}
