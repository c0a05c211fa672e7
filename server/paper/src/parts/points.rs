//! Points: the ladder as a table, and the card of each as it was signed.

use std::sync::Arc;

use programme::card::Card;
use programme::in_words;
use programme::nouns::{Phase, Point};
use programme::state::Rung;

use crate::manuscript::{Blocks, column, digests};
use crate::scope::Extent;
use crate::words::{NOT_RECORDED, channel, known, moment, person, phase, signature};

/// How far a point has come, in a word.
pub(crate) fn standing(extent: &Extent<'_>, rung: &Rung) -> &'static str {
    if rung.dropped.is_some() {
        return "dropped";
    }
    if extent.state.accepted_result_of(rung).is_some() {
        return "accepted";
    }
    match (rung.last_result(), &rung.release) {
        (Some(_), _) => "has results, none that counts",
        (None, Some(_)) => "released",
        (None, None) => "planned",
    }
}

fn joined<T: ToString>(of: impl IntoIterator<Item = T>) -> String {
    let all: Vec<_> = of.into_iter().map(|it| it.to_string()).collect();
    if all.is_empty() { "none".to_owned() } else { all.join(", ") }
}

fn target(point: &Point) -> String {
    let of = |(axis, condition): (&_, &_)| {
        format!("{}: {}", in_words::axis(*axis), in_words::condition(*condition))
    };
    let all: Vec<_> = point.conditions.iter().map(of).collect();
    if all.is_empty() { "no conditions stated".to_owned() } else { all.join("\n") }
}

/// The points of one phase or of all, with how far each has come.
pub(crate) fn ladder(extent: &Extent<'_>, out: &mut Blocks) {
    for of in Phase::ALL {
        let rungs: Vec<_> = extent.rungs.iter().filter(|rung| rung.point.phase == of).collect();
        if rungs.is_empty() {
            continue;
        }
        out.part(format!("Points of the {}", phase(of)));
        out.table(
            [
                column("Point", 0.8),
                column("What is shown", 2.2),
                column("Under which conditions", 1.7),
                column("After", 1.2),
                column("State", 0.9),
            ],
            rungs.iter().map(|rung| {
                let point = &rung.point;
                [
                    point.code.to_string(),
                    point.title.clone(),
                    target(point),
                    joined(&point.after_points),
                    standing(extent, rung).to_owned(),
                ]
            }),
            "",
        );
    }
    if extent.rungs.is_empty() {
        out.text("No points are recorded.");
    }
}

/// The card as the release signed it, or, where nobody has it any more, the plan as it is.
fn signed_card(extent: &Extent<'_>, rung: &Rung) -> (Arc<Card>, bool) {
    let kept = rung.release.as_ref().and_then(|release| {
        rung.last_signed
            .values()
            .find(|card| card.digest().is_ok_and(|digest| digest == release.signature.digest))
    });
    match kept {
        Some(card) => (Arc::clone(card), true),
        None => (Arc::new(extent.state.card(rung, true)), false),
    }
}

/// The card, who signed what of it, and who refused to.
pub(crate) fn card(extent: &Extent<'_>, rung: &Rung, out: &mut Blocks) {
    let state = extent.state;
    let (card, as_released) = signed_card(extent, rung);
    let point = &card.point;
    out.part(format!("{}: {}", rung.point.code, rung.point.title));
    let release = rung.release.as_ref();
    let stands = release.map(|it| state.release_signature_stands(rung, &it.signature));
    out.text(match (release, as_released, stands) {
        (Some(_), true, Some(true)) => "The card as it was released; the release was not voided by a later change.",
        (Some(_), true, _) => "The card as it was released. Something that the release signed was changed since, so it does not hold any more.",
        (Some(_), false, _) => "The point was released on an earlier card, which is in the ledger; this is the plan as it is now.",
        (None, ..) => "Not released: the plan as it is now.",
    });
    if let Some(dropped) = &rung.dropped {
        out.note(format!(
            "Dropped {} by {}: {}",
            moment(dropped.at),
            person(state, &dropped.by),
            dropped.reason
        ));
    }
    let minutes = format!(
        "{} min, {} kWh",
        crate::words::bare(point.duration_min),
        crate::words::bare(point.energy_kwh)
    );
    let crew = point.crew.iter().map(|seat| {
        let place = if seat.on_board { "on board" } else { "on the ground" };
        let with = if seat.qualifications.is_empty() {
            String::new()
        } else {
            format!(" with {}", joined(&seat.qualifications))
        };
        format!("{} {} {place}{with}", seat.count, seat.role.in_words())
    });
    let configuration = point.configuration.iter().map(|it| {
        it.version.as_ref().map_or_else(
            || format!("{}, any version", it.item),
            |version| format!("{} in version {version}", it.item),
        )
    });
    out.facts([
        ("Phase", phase(point.phase).to_owned()),
        (
            "Plan",
            format!(
                "revision {}, record {}, by {}, {}",
                rung.revision,
                rung.changed_at,
                person(state, &rung.planned_by),
                moment(rung.planned_at)
            ),
        ),
        ("Objective", known(Some(point.objective.clone()))),
        ("Technique", known(Some(point.technique.clone()))),
        ("Conditions", target(point)),
        ("Duration and energy", minutes),
        (
            "Stop when",
            if point.stop_criteria.is_empty() {
                NOT_RECORDED.to_owned()
            } else {
                point.stop_criteria.join("\n")
            },
        ),
        ("Weather", {
            let weather = in_words::weather(&point.weather);
            if weather.is_empty() { "no minima stated".to_owned() } else { weather.join(", ") }
        }),
        ("Crew", format!("{}; at most {} on board", joined(crew), point.most_on_board)),
        ("Configuration", joined(configuration)),
        ("Waits for", {
            let checks = point.after_checks.iter().map(ToString::to_string);
            let papers = point.after_documents.iter().map(ToString::to_string);
            joined(point.after_points.iter().map(ToString::to_string).chain(checks).chain(papers))
        }),
        ("Data required", joined(point.data_required.iter().map(|it| channel(state, it)))),
        ("Hazards", joined(card.hazards.iter().map(|it| format!("{} {}", it.code, it.title)))),
    ]);
    out.label("Criteria and limits");
    let criteria = point.criteria.iter().map(|it| {
        [
            "criterion".to_owned(),
            channel(state, &it.parameter),
            format!("{} {}", in_words::statistic(it.statistic), in_words::comparison(it)),
        ]
    });
    let limits = card
        .limits
        .iter()
        .map(|it| [format!("limit {}", it.code), channel(state, &it.channel), in_words::limit(it)]);
    out.table(
        [column("What", 1.0), column("On", 1.6), column("Asked or allowed", 2.0)],
        criteria.chain(limits),
        "Neither criteria nor limits are recorded.",
    );
    signed(extent, rung, out);
}

fn signed(extent: &Extent<'_>, rung: &Rung, out: &mut Blocks) {
    let state = extent.state;
    out.label("Signatures on the card");
    let voided = |stands: bool| if stands { "" } else { " (does not hold any more)" };
    let plan = rung.approval.iter().map(|it| {
        signature(
            state,
            &format!("plan approved{}", voided(state.plan_signature_stands(rung, it))),
            it,
        )
    });
    let release = rung.release.iter().map(|it| {
        let until = format!(
            "released from {} to {}{}",
            moment(it.valid_from),
            moment(it.valid_until),
            voided(state.release_signature_stands(rung, &it.signature))
        );
        signature(state, &until, &it.signature)
    });
    let read = rung.acknowledgement.iter().map(|it| {
        signature(
            state,
            &format!("card acknowledged{}", voided(state.release_signature_stands(rung, it))),
            it,
        )
    });
    out.table(signature_columns(), plan.chain(release).chain(read), "Nobody has signed it.");
    if let Some(conditions) = rung.release.as_ref().and_then(|it| it.conditions.as_ref()) {
        out.text(format!("Conditions of the release: {conditions}"));
    }
    for refused in &rung.refusals {
        out.text(format!(
            "{} refused {} on {} (record {}): {}",
            person(state, &refused.by),
            refused.part.in_words(),
            moment(refused.at),
            refused.seq,
            refused.reasons
        ));
    }
}

/// The columns of signatures.
pub(crate) const fn signature_columns() -> [crate::manuscript::Column; 5] {
    [
        column("Signed", 1.5),
        column("By", 1.2),
        column("When", 1.0),
        digests("Digest of what was signed", 3.2),
        column("Record", 0.6),
    ]
}
