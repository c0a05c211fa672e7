//! What intervals say for their point.

use std::collections::BTreeMap;

use actix_web::HttpRequest;
use evaluation::values::{Asked, NotAsked, ProposedValue};
use programme::codes::{IntervalNumber, PointCode, RunNumber};
use programme::measure::Measure;
use programme::nouns::Axis;
use programme::record::Digest;
use programme::verdict::Verdict;
use serde::{Deserialize, Serialize};

use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::{At, Number, Query};
use crate::office::Office;
use crate::problem::{BAD_QUERY, FAULT, Kind, Problem, ProblemDocument, capitalised};

/// The most intervals that fill one result.
const MOST_INTERVALS: usize = 20;

/// Values that are proposed. Nothing was recorded.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ProposedValues {
    /// Of which run.
    pub run: RunNumber,
    /// For which point.
    pub point: PointCode,
    /// Of which intervals.
    pub intervals: Vec<IntervalNumber>,
    /// A value for everything that the point's criteria, its limits and its required channels ask for, or why there is none.
    pub values: Vec<ProposedValue>,
    /// Of the values: whoever records them sends it along, so that exactly these are recorded.
    pub digest: Digest,
    /// The verdict that they would give by themselves, without typed-in values and with nothing said of the axes.
    pub verdict: Verdict,
}

/// Which intervals besides.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct WithIntervals {
    /// Numbers of further intervals of the same run and point, with commas between them.
    #[param(max_length = 200, example = "4,5")]
    pub with: Option<String>,
}

/// Proposes the values of intervals, with their digest.
pub(crate) async fn proposed<P>(
    office: &Office,
    person: &Permitted<P>,
    intervals: &[IntervalNumber],
    (kind, field): (Kind, &str),
) -> Result<(Asked, Vec<ProposedValue>, Digest), Problem> {
    if intervals.len() > MOST_INTERVALS {
        let why = format!("At most {MOST_INTERVALS} intervals fill a result.");
        return Err(Problem::of_field(kind, field, why));
    }
    let asked = office
        .look(person, None, |view| {
            Asked::of(view.state, intervals).map_err(|faults| not_asked(&faults, (kind, field)))
        })
        .await?;
    let (asked, values) = office
        .with_recordings(asked.attached.clone(), move |gathered| {
            let values = asked.propose(gathered)?;
            Ok((asked, values))
        })
        .await?;
    let digest = Digest::of(&values).map_err(|error| {
        Problem::new(FAULT, "The values cannot be written as JSON. Tell whoever runs the server.")
            .because(error)
    })?;
    Ok((asked, values, digest))
}

fn not_asked(faults: &[NotAsked], (kind, field): (Kind, &str)) -> Problem {
    let sentence = |one: &NotAsked| format!("{}.", capitalised(&one.to_string()));
    if let Some(set_aside) = faults.iter().find(|one| matches!(one, NotAsked::SetAside(_))) {
        return Problem::new(Kind::not_now("recording-set-aside"), sentence(set_aside))
            .clears("Take an interval of a recording that counts.");
    }
    let why: Vec<String> = faults.iter().map(sentence).collect();
    Problem::of_field(kind, field, why.join(" "))
}

/// What is shown of proposed values.
pub(crate) fn view_of(
    asked: &Asked,
    intervals: &[IntervalNumber],
    values: Vec<ProposedValue>,
    digest: Digest,
) -> ProposedValues {
    let measured: Vec<_> = values.iter().filter_map(ProposedValue::measured).collect();
    ProposedValues {
        run: asked.run,
        point: asked.point.clone(),
        intervals: intervals.to_vec(),
        verdict: asked.verdict(&measured, &BTreeMap::<Axis, Measure>::new()),
        values,
        digest,
    }
}

/// The values that intervals give for their point, each with where it came from, and the verdict that they would give.
/// Nothing is recorded.
///
/// Figures are in the unit of the criterion or limit that asks for them. A channel that was not recorded or dropped out for
/// too long is missing with the reason, which is never a pass. Time above a rating is counted over the whole run. A maximum
/// also counts a peak that is shorter than a limit's dwell, so that the verdict may be stricter than the exceedances that
/// recordings show.
#[utoipa::path(
    get, path = "",
    params(WithIntervals),
    responses(
        (status = 200, description = "The values.", body = ProposedValues),
        (
            status = 409,
            description = "The recording of an interval was set aside since.",
            body = ProblemDocument,
            content_type = "application/problem+json",
        ),
    ),
)]
pub(crate) async fn values(
    person: Permitted<Read>,
    interval: At<Number<IntervalNumber>>,
    query: Query<WithIntervals>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let first = interval.0.0;
    office
        .look(&person, None, |view| {
            let known = view.state.recordings.interval(first);
            known.map(|_| ()).ok_or_else(|| Problem::unknown("interval", first))
        })
        .await?;
    let mut intervals = vec![first];
    for text in query.with.iter().flat_map(|with| with.split(',')) {
        let number: u32 = text.trim().parse().map_err(|_| {
            Problem::of_field(
                BAD_QUERY,
                "with",
                "with has numbers of intervals with commas between them, such as 4,5.",
            )
        })?;
        intervals.push(IntervalNumber(number));
    }
    let (asked, values, digest) =
        proposed(&office, &person, &intervals, (BAD_QUERY, "with")).await?;
    let shown = Shown::tagged(&view_of(&asked, &intervals, values, digest))?;
    Ok(shown.reply(request.headers()))
}
