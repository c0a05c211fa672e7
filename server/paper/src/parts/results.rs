//! Results: what was measured against what was asked, who accepted it, and whether it counts.

use programme::in_words;
use programme::record::ValueSource;
use programme::state::{ResultState, Standing};
use programme::verdict::{LimitOutcome, Outcome, of_change};

use super::points::signature_columns;
use crate::manuscript::{Blocks, column};
use crate::scope::Extent;
use crate::words::{NOT_RECORDED, channel, known, known_figure, moment, person, signature};

const fn outcome(of: Outcome) -> &'static str {
    match of {
        Outcome::Met => "met",
        Outcome::NotMet => "NOT MET",
        Outcome::Missing => "MISSING",
    }
}

const fn limit_outcome(of: LimitOutcome) -> &'static str {
    match of {
        LimitOutcome::Within => "within",
        LimitOutcome::Caution => "in the caution",
        LimitOutcome::Beyond => "BEYOND",
        LimitOutcome::Missing => "MISSING",
    }
}

fn standing(of: &Standing) -> String {
    match of {
        Standing::Open => "waits for signatures".to_owned(),
        Standing::NotMet => "does not count: not met, or something is missing".to_owned(),
        Standing::Accepted => "accepted by two people, and counts".to_owned(),
        Standing::Lapsed(lapse) => format!("lapsed: {}", lapse.in_words()),
        Standing::Replaced => "replaced: recorded anew".to_owned(),
    }
}

/// A line for each.
pub(crate) fn results(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    out.table(
        [
            column("Point", 0.8),
            column("Run", 0.4),
            column("Recorded", 1.1),
            column("By", 1.2),
            column("Verdict", 0.7),
            column("Whether it counts", 1.8),
            column("Record", 0.6),
        ],
        extent.results().map(|it| {
            [
                it.point.to_string(),
                it.run.to_string(),
                moment(it.at),
                person(state, &it.by),
                outcome(it.verdict.outcome).to_owned(),
                standing(&it.standing),
                it.seq.to_string(),
            ]
        }),
        "No results are recorded.",
    );
}

/// One result with all of its figures.
pub(crate) fn result(extent: &Extent<'_>, it: &ResultState, out: &mut Blocks) {
    let state = extent.state;
    out.label(format!("Result of run {}: {}", it.run, outcome(it.verdict.outcome)));
    out.text(format!(
        "Recorded {} by {}, record {}; {}.",
        moment(it.at),
        person(state, &it.by),
        it.seq,
        standing(&it.standing)
    ));
    let source = |parameter, statistic| {
        let value = it
            .values
            .iter()
            .find(|value| value.parameter == parameter && value.statistic == statistic);
        match value.map(|value| &value.source) {
            Some(ValueSource::TypedIn {}) => "typed in".to_owned(),
            Some(ValueSource::Recording { recording, interval, method, version }) => {
                format!(
                    "recording {:.12}, interval {interval}, {method} {version}",
                    recording.to_string()
                )
            }
            None => NOT_RECORDED.to_owned(),
        }
    };
    let conditions = it.verdict.conditions.iter().map(|found| {
        [
            in_words::axis(found.axis).to_owned(),
            in_words::condition(found.condition),
            known_figure(found.reached, found.condition.unit),
            "reached in the run".to_owned(),
            outcome(found.outcome).to_owned(),
        ]
    });
    let criteria = it.verdict.criteria.iter().map(|found| {
        let of = &found.criterion;
        [
            format!("{}, {}", channel(state, &of.parameter), in_words::statistic(of.statistic)),
            in_words::comparison(of),
            known_figure(found.measured, of.unit),
            source(of.parameter.clone(), of.statistic),
            outcome(found.outcome).to_owned(),
        ]
    });
    let limits = it.verdict.limits.iter().map(|found| {
        let limit = state.limits.by_code.get(&found.limit).map(|it| &it.limit);
        let unit = limit.map(|limit| of_change(found.statistic, limit.unit));
        [
            format!("limit {}, {}", found.limit, in_words::statistic(found.statistic)),
            known(limit.map(|limit| in_words::limit(limit))),
            unit.map_or_else(|| NOT_RECORDED.to_owned(), |unit| known_figure(found.measured, unit)),
            limit.map_or_else(
                || NOT_RECORDED.to_owned(),
                |limit| source(limit.channel.clone(), found.statistic),
            ),
            limit_outcome(found.outcome).to_owned(),
        ]
    });
    out.table(
        [
            column("What", 1.7),
            column("Asked", 1.3),
            column("Measured", 0.9),
            column("Where it is from", 1.6),
            column("Outcome", 0.8),
        ],
        conditions.chain(criteria).chain(limits),
        "Neither conditions, criteria nor limits were held against it.",
    );
    let missing: Vec<_> =
        it.verdict.channels_missing.iter().map(|code| channel(state, code)).collect();
    if !missing.is_empty() {
        out.note(format!("Required and missing: {}.", missing.join(", ")));
    }
    out.text(format!("Observations: {}", known(Some(it.observations.clone()))));
    let engineering =
        it.engineering.iter().map(|signed| signature(state, "engineering acceptance", signed));
    let safety = it.safety.iter().map(|signed| signature(state, "safety acceptance", signed));
    out.table(signature_columns(), engineering.chain(safety), "Nobody has accepted it.");
    for change in &it.tolerated {
        let version = |of: &Option<String>| of.clone().unwrap_or_else(|| "not fitted".to_owned());
        out.text(format!(
            "The safety officer let it stand though {} was {} and became {}.",
            change.item,
            version(&change.was),
            version(&change.is)
        ));
    }
}
