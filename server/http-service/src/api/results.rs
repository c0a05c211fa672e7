//! Results: what runs showed for points, with the verdict on each criterion, condition and limit.

use std::collections::BTreeMap;

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use evaluation::values::ProposedValue;
use programme::card::Fitted;
use programme::codes::{ExceedanceNumber, IntervalNumber, PersonHandle, PointCode, RunNumber};
use programme::commands::{RecordResult, RecordedValue, ResultTerms, TypedValue, digests};
use programme::measure::Measure;
use programme::nouns::{Axis, Point};
use programme::record::{Digest, MeasuredValue, Part, ValueSource};
use programme::state::{Amendable, Lapse, ResultState, Run, Standing, State};
use programme::verdict::{Outcome as Came, Verdict};
use serde::{Deserialize, Serialize};

use super::intervals;
use super::points::SignatureView;
use crate::access::{Permitted, Read, RecordResults};
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given, Number, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after};
use crate::problem::{FAULT, INVALID, Problem, ProblemDocument, STALE};

/// Whether a result counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ResultStanding {
    /// Met, and waits for its acceptances.
    Open,
    /// Not met, or something is missing.
    NotMet,
    /// Accepted by two people, and stands.
    Accepted,
    /// Was accepted, and does not stand any more.
    Lapsed,
    /// The same run's result was recorded anew.
    Replaced,
}

impl ResultStanding {
    /// The standing without its reason.
    pub const fn of(standing: &Standing) -> Self {
        match standing {
            Standing::Open => ResultStanding::Open,
            Standing::NotMet => ResultStanding::NotMet,
            Standing::Accepted => ResultStanding::Accepted,
            Standing::Lapsed(_) => ResultStanding::Lapsed,
            Standing::Replaced => ResultStanding::Replaced,
        }
    }
}

/// Why an accepted result does not stand any more.
const fn lapse(standing: &Standing) -> Option<&Lapse> {
    match standing {
        Standing::Lapsed(lapse) => Some(lapse),
        Standing::Open | Standing::NotMet | Standing::Accepted | Standing::Replaced => None,
    }
}

/// A result in a list.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ResultRow<'a> {
    /// In which run.
    pub run: RunNumber,
    /// For which point.
    pub point: &'a PointCode,
    /// Who recorded it.
    pub by: &'a PersonHandle,
    /// When it was so.
    pub at: DateTime<Utc>,
    /// The record in the ledger; its ETag begins with it.
    pub revision: u64,
    /// Whether it counts.
    pub standing: ResultStanding,
    /// Why it does not stand any more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lapse: Option<&'a Lapse>,
    /// What its values say: met only where all is met and nothing is missing.
    pub outcome: Came,
    /// Whether any value lies beyond its limit.
    pub exceeded: bool,
    /// Whether all its values were typed in by a person, and none came from a recorder.
    pub typed_in: bool,
    /// Who accepted it as an engineer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub engineering: Option<&'a PersonHandle>,
    /// Who accepted it as the safety officer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub safety: Option<&'a PersonHandle>,
}

impl<'a> ResultRow<'a> {
    /// A result.
    pub fn of(result: &'a ResultState) -> Self {
        Self {
            run: result.run,
            point: &result.point,
            by: &result.by,
            at: result.at,
            revision: result.seq,
            standing: ResultStanding::of(&result.standing),
            lapse: lapse(&result.standing),
            outcome: result.verdict.outcome,
            exceeded: result.verdict.exceeded,
            typed_in: typed_in(result),
            engineering: result.engineering.as_ref().map(|signature| &signature.by),
            safety: result.safety.as_ref().map(|signature| &signature.by),
        }
    }
}

fn typed_in(result: &ResultState) -> bool {
    result.values.iter().all(|value| match value.source {
        ValueSource::TypedIn {} => true,
        ValueSource::Recording { .. } => false,
    })
}

/// A result.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Result)]
pub struct ResultView<'a> {
    /// In which run.
    pub run: RunNumber,
    /// For which point.
    pub point: &'a PointCode,
    /// Who recorded it, and so accepts no part of it.
    pub by: &'a PersonHandle,
    /// When it was so.
    pub at: DateTime<Utc>,
    /// The record in the ledger; the ETag begins with it.
    pub revision: u64,
    /// Whether it counts.
    pub standing: ResultStanding,
    /// Why it does not stand any more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lapse: Option<&'a Lapse>,
    /// What was measured, in the units as typed. A value that is absent was not measured, which is never a pass.
    pub values: &'a [MeasuredValue],
    /// Whether all its values were typed in by a person, and none came from a recorder.
    pub typed_in: bool,
    /// What was really reached on each axis.
    pub reached: &'a BTreeMap<Axis, Measure>,
    /// What was seen, heard and felt.
    pub observations: &'a str,
    /// What the values say against each criterion, condition and limit, as the limits are now.
    pub verdict: &'a Verdict,
    /// The exceedances that it must answer for.
    pub exceedances: Vec<ExceedanceNumber>,
    /// The point as it was planned when the run was opened.
    pub planned: &'a Point,
    /// What was fitted in the run: items and their versions.
    #[schema(value_type = BTreeMap<String, String>)]
    pub fitted: &'a Fitted,
    /// The digest to accept it with.
    pub digest: Digest,
    /// The acceptances that were given.
    pub acceptances: Vec<SignatureView<'a>>,
}

/// A result with the digest to accept it with.
pub(crate) fn result_view<'a>(
    state: &'a State,
    result: &'a ResultState,
) -> Result<ResultView<'a>, Problem> {
    let digest = digests::acceptance(state, result).map_err(|error| {
        Problem::new(FAULT, "What would be accepted cannot be written as JSON.").because(error)
    })?;
    let run = result.run;
    let given = [
        (Part::EngineeringAcceptance { run }, &result.engineering),
        (Part::SafetyAcceptance { run }, &result.safety),
    ];
    let acceptances = given
        .into_iter()
        .filter_map(|(part, signature)| Some((part, signature.as_ref()?)))
        .map(|(part, signature)| SignatureView::of(part, signature, signature.digest == digest))
        .collect();
    Ok(ResultView {
        run,
        point: &result.point,
        by: &result.by,
        at: result.at,
        revision: result.seq,
        standing: ResultStanding::of(&result.standing),
        lapse: lapse(&result.standing),
        values: &result.values,
        typed_in: typed_in(result),
        reached: &result.reached,
        observations: &result.observations,
        verdict: &result.verdict,
        exceedances: digests::exceedances_of(state, result).map(|it| it.number).collect(),
        planned: &result.planned,
        fitted: &result.fitted,
        digest,
        acceptances,
    })
}

/// What somebody gives to record a result.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewResult {
    /// For which point of the run.
    pub point: PointCode,
    /// What was measured and typed in.
    pub values: Vec<TypedValue>,
    /// What was really reached on each axis.
    #[serde(default)]
    pub reached: BTreeMap<Axis, Measure>,
    /// What was seen, heard and felt.
    #[schema(min_length = 1, max_length = 20000)]
    pub observations: String,
    /// When it was so; absent: now.
    #[serde(default)]
    pub observed_at: Option<DateTime<Utc>>,
    /// Intervals whose values are recorded too, as `GET /intervals/{interval}/values` proposes them.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub from_intervals: Vec<IntervalNumber>,
    /// The digest of the proposed values that you saw: where they are others by now, nothing is recorded.
    #[serde(default)]
    pub values_digest: Option<Digest>,
}

/// What somebody gives to record a result anew.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AmendedResult {
    /// What was measured and typed in.
    pub values: Vec<TypedValue>,
    /// What was really reached on each axis.
    #[serde(default)]
    pub reached: BTreeMap<Axis, Measure>,
    /// What was seen, heard and felt.
    #[schema(min_length = 1, max_length = 20000)]
    pub observations: String,
    /// When it was so; absent: now.
    #[serde(default)]
    pub observed_at: Option<DateTime<Utc>>,
    /// Intervals whose values are recorded too, as `GET /intervals/{interval}/values` proposes them.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub from_intervals: Vec<IntervalNumber>,
    /// The digest of the proposed values that you saw: where they are others by now, nothing is recorded.
    #[serde(default)]
    pub values_digest: Option<Digest>,
}

/// The values of recordings that are recorded with a result: those that intervals give now, which have to be those that the
/// person saw. What is missing is recorded as missing, unless the person read it off and typed it in.
async fn recorded(
    office: &Office,
    person: &Permitted<RecordResults>,
    of: (RunNumber, &PointCode),
    from: (&[IntervalNumber], Option<&Digest>),
    typed: &[TypedValue],
) -> Result<Vec<RecordedValue>, Problem> {
    let (intervals, seen) = from;
    if intervals.is_empty() {
        return match seen {
            None => Ok(Vec::new()),
            Some(_) => Err(Problem::of_field(
                INVALID,
                "from_intervals",
                "Name the intervals whose values you saw.",
            )),
        };
    }
    let field = (INVALID, "from_intervals");
    let (asked, values, digest) = intervals::proposed(office, person, intervals, field).await?;
    if (asked.run, &asked.point) != of {
        let why = format!(
            "The intervals were taken for {} in run {}: name intervals of this run and point.",
            asked.point, asked.run
        );
        return Err(Problem::of_field(INVALID, "from_intervals", why));
    }
    if seen.is_some_and(|seen| *seen != digest) {
        let present = intervals::view_of(&asked, intervals, values, digest);
        return Err(Problem::new(
            STALE,
            "The values are others than those that you saw, so nothing was recorded. Look at what they are now.",
        )
        .clears("Read the values again, and send their digest.")
        .with_present(&Shown::new(&present)?));
    }
    let is_typed = |value: &RecordedValue| {
        typed.iter().any(|it| (&it.parameter, it.statistic) == (&value.parameter, value.statistic))
    };
    let recorded = values.iter().filter_map(ProposedValue::recorded);
    Ok(recorded.filter(|value| value.value.is_some() || !is_typed(value)).collect())
}

/// The results of a run, in the order in which they were recorded, also those that were replaced.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of results.", body = Page<ResultRow>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    run: At<Number<RunNumber>>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u64> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let run = known_run(view.state, run.0.0)?;
            let of_run = view.state.results.iter().filter(|result| result.run == run.number);
            let rows = of_run
                .filter(|result| after.is_none_or(|after| result.seq > after))
                .map(|result| (result.seq, ResultRow::of(result)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// The result of a run for a point: the one recorded last, with its verdict and the digest to accept it with.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The result.", body = ResultView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    run: At<Number<RunNumber>>,
    point: At<PointCode>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, past.as_of.as_deref(), &request, |view| shown(view.state, run.0.0, &point))
        .await
}

/// Record what the run showed for a point, read off instruments and typed in, or taken from intervals of recordings.
///
/// With `from_intervals` the values that the intervals give are recorded, each with the recording that it came from; send
/// the digest of the values that you saw, so that nothing else is recorded. Typed-in values may stand beside, also for what
/// recordings lack, but not for what they have.
///
/// Each figure has its unit beside it. The verdict is worked out, never typed: a reading that is missing is no pass. A
/// value beyond its limit notes an exceedance by itself. A result that was recorded already is changed with PUT at its
/// own place.
#[utoipa::path(
    post, path = "",
    request_body(content = NewResult, example = json!({
        "point": "GR-02",
        "values": [{ "parameter": "motor_winding_t_1", "statistic": "max", "value": 83.5, "unit": "degC" }],
        "reached": { "power": { "value": 34.6, "unit": "kW" } },
        "observations": "Smooth; a little whine above 30 kW.",
        "observed_at": "2026-05-02T09:40:00Z",
    })),
    responses(
        (status = 201, description = "Recorded.", body = Written<ResultView>),
        (
            status = 412,
            description = "A result of this run was recorded for the point already. Read it, and change it with PUT.",
            body = ProblemDocument,
            content_type = "application/problem+json",
        ),
    ),
)]
pub(crate) async fn record(
    person: Permitted<RecordResults>,
    run: At<Number<RunNumber>>,
    given: Given<NewResult>,
    office: Office,
) -> Answer {
    if let Some(before) = office.answered_before(&person.person, &given.asked).await? {
        return Ok(before);
    }
    let (run, point) = (run.0.0, given.body.point.clone());
    let from = (given.body.from_intervals.as_slice(), given.body.values_digest.as_ref());
    let recorded = recorded(&office, &person, (run, &point), from, &given.body.values).await?;
    let place = format!("/api/v1/programmes/{}/runs/{run}/results/{point}", person.programme);
    let command = given.map(|body| {
        let NewResult { point, values, reached, observations, observed_at, .. } = body;
        let terms = ResultTerms { values, reached, observations, observed_at };
        RecordResult { run, point, terms, recorded, expected: None }
    });
    let thing = Amendable::Result(run, point.clone());
    office
        .amend(&person, (Precondition::Absent, thing), command, move |view, _, _| {
            Ok(Outcome::created(place, shown(view.state, run, &point)?))
        })
        .await
}

/// Record a result anew, because a figure was wrong or missing. The result before stays on record, and its acceptances
/// are void.
///
/// Each figure has its unit beside it.
#[utoipa::path(
    put, path = "",
    request_body(content = AmendedResult, example = json!({
        "values": [{ "parameter": "motor_winding_t_1", "statistic": "max", "value": 85.3, "unit": "degC" }],
        "reached": { "power": { "value": 34.6, "unit": "kW" } },
        "observations": "Smooth; a little whine above 30 kW. The figure was read off the wrong line before.",
        "observed_at": "2026-05-02T09:40:00Z",
    })),
    params(Amends),
    responses(
        (status = 200, description = "Recorded anew.", body = Written<ResultView>),
        (status = 201, description = "Recorded.", body = Written<ResultView>),
    ),
)]
pub(crate) async fn amend(
    person: Permitted<RecordResults>,
    run: At<Number<RunNumber>>,
    point: At<PointCode>,
    precondition: Precondition,
    given: Given<AmendedResult>,
    office: Office,
) -> Answer {
    let (run, point) = (run.0.0, point.0);
    let from = (given.body.from_intervals.as_slice(), given.body.values_digest.as_ref());
    let recorded = recorded(&office, &person, (run, &point), from, &given.body.values).await?;
    let place = format!("/api/v1/programmes/{}/runs/{run}/results/{point}", person.programme);
    let command = given.map(|body| {
        let AmendedResult { values, reached, observations, observed_at, .. } = body;
        let terms = ResultTerms { values, reached, observations, observed_at };
        RecordResult { run, point: point.clone(), terms, recorded, expected: None }
    });
    let thing = Amendable::Result(run, point.clone());
    office
        .amend(&person, (precondition, thing), command, move |view, _, was_there| {
            Ok(Outcome::put(was_there, place, shown(view.state, run, &point)?))
        })
        .await
}

fn known_run(state: &State, run: RunNumber) -> Result<&Run, Problem> {
    state.run(run).ok_or_else(|| Problem::unknown("run", run))
}

fn shown(state: &State, run: RunNumber, point: &PointCode) -> Result<Shown, Problem> {
    known_run(state, run)?;
    let (_, result) = state.result(run, point).ok_or_else(|| Problem::unknown("result", point))?;
    Shown::at_revision(result.seq, &result_view(state, result)?)
}
