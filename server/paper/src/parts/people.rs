//! People, papers that others gave, and recurring checks.

use programme::nouns::DocumentKind;

use crate::manuscript::{Blocks, column};
use crate::scope::Extent;
use crate::words::{NOT_RECORDED, known, known_moment, moment, person, phases};

/// Who takes part, in which role, with which qualifications.
pub(crate) fn people(extent: &Extent<'_>, out: &mut Blocks) {
    let people = extent.state.people.values().map(|it| {
        let roles: Vec<_> = it.roles.iter().map(|role| role.in_words()).collect();
        let held: Vec<_> = it
            .qualifications
            .iter()
            .map(|held| {
                let until =
                    held.expires.map_or_else(String::new, |at| format!(" until {}", moment(at)));
                format!("{}{until}", held.code)
            })
            .collect();
        [
            format!("{} ({})", it.name, it.handle),
            if roles.is_empty() { "has left".to_owned() } else { roles.join(", ") },
            if held.is_empty() { NOT_RECORDED.to_owned() } else { held.join("\n") },
        ]
    });
    out.table(
        [column("Person", 1.4), column("Roles", 1.4), column("Qualifications", 2.0)],
        people,
        "No people are recorded.",
    );
}

const fn kind(of: DocumentKind) -> &'static str {
    match of {
        DocumentKind::Permit => "permit",
        DocumentKind::Conditions => "conditions",
        DocumentKind::Insurance => "insurance",
        DocumentKind::Other => "other",
    }
}

/// Permits, insurance, conditions and the like.
pub(crate) fn documents(extent: &Extent<'_>, out: &mut Blocks) {
    let filed = extent.state.documents.values().map(|it| {
        [
            format!("{}\n{}", it.code, it.title),
            kind(it.kind).to_owned(),
            it.reference.clone().unwrap_or_else(|| "not in hand".to_owned()),
            known_moment(it.valid_from),
            it.valid_until.map_or_else(|| "no end recorded".to_owned(), moment),
            phases(&it.covers),
        ]
    });
    out.table(
        [
            column("Paper", 1.8),
            column("Kind", 0.8),
            column("Reference", 1.5),
            column("In force from", 1.0),
            column("Until", 1.0),
            column("Covers", 1.4),
        ],
        filed,
        "No permits, conditions, insurance or other papers are recorded.",
    );
}

/// Recurring checks, and when each was last passed.
pub(crate) fn checks(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let checks = state.checks.by_code.values().map(|it| {
        let last = it.done.last();
        let how = |passed: bool| if passed { "passed" } else { "failed" };
        [
            format!("{}\n{}", it.check.code, it.check.title),
            it.check.method.clone(),
            known(last.map(|done| format!("{} {}", how(done.passed), moment(done.at)))),
            known(last.map(|done| person(state, &done.by))),
            known(last.map(|done| done.findings.clone())),
            it.check.source.clone(),
        ]
    });
    out.table(
        [
            column("Check", 1.4),
            column("Method", 1.8),
            column("Last done", 1.0),
            column("By", 1.0),
            column("Findings", 1.4),
            column("Source", 1.2),
        ],
        checks,
        "No checks are recorded.",
    );
}
