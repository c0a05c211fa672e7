//! Deviations from the build-up: the test lead signs one, a safety officer who is another person signs it too, and either
//! ends it.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::{DeviationNumber, PersonHandle, PointCode};
use programme::commands::{
    AgreeDeviation, DeviationAgreementTerms, DeviationEndingTerms, DeviationTerms, EndDeviation,
    ProposeDeviation,
};
use programme::entry::Entry;
use programme::record::{DeviatingStep, Digest};
use programme::state::{Deviation, DeviationFate, State};
use serde::Serialize;

use crate::access::{
    AgreeDeviation as MayAgree, EndDeviation as MayEnd, Permitted, ProposeDeviation as MayPropose,
    Read,
};
use crate::description::SignedBody;
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::given::{At, Given, Number, Query, Signed};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after};
use crate::problem::Problem;

/// Where a deviation stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum DeviationStanding {
    /// It waits for the safety officer.
    Open,
    /// Both have signed it, and it is for the plan as it is.
    Agreed,
    /// The plan, its limits or its hazards were changed since, so that it lifts nothing.
    Void,
    /// It was declined or taken back.
    Ended,
}

/// A deviation from the build-up.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Deviation)]
pub struct DeviationView<'a> {
    /// Its number.
    pub deviation: DeviationNumber,
    /// For which point.
    pub point: &'a PointCode,
    /// The steps that it lets be larger, as they were when it was proposed. Where less is shown now, it lifts nothing.
    pub steps: &'a [DeviatingStep],
    /// Why a step in between is not flown.
    pub reason: &'a str,
    /// Of the deviation with the plan, to be sent with the agreement.
    pub digest: &'a Digest,
    /// The test lead who signed it.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Where it stands.
    pub standing: DeviationStanding,
    /// Who agreed or ended it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decided_by: Option<&'a PersonHandle>,
    /// When.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decided_at: Option<DateTime<Utc>>,
    /// Why it was ended.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ended_because: Option<&'a str>,
}

fn deviation_view<'a>(state: &State, deviation: &'a Deviation) -> DeviationView<'a> {
    let for_plan = state.deviation_is_for_plan(deviation);
    let (standing, decided_by, decided_at, ended_because) = match &deviation.fate {
        DeviationFate::Open => (DeviationStanding::Open, None, None, None),
        DeviationFate::Agreed { by, at } => (DeviationStanding::Agreed, Some(by), Some(*at), None),
        DeviationFate::Ended { by, at, reason } => {
            (DeviationStanding::Ended, Some(by), Some(*at), Some(reason.as_str()))
        }
    };
    let is_void = standing != DeviationStanding::Ended && !for_plan;
    DeviationView {
        deviation: deviation.number,
        point: &deviation.point,
        steps: &deviation.steps,
        reason: &deviation.reason,
        digest: &deviation.digest,
        by: &deviation.by,
        at: deviation.at,
        standing: if is_void { DeviationStanding::Void } else { standing },
        decided_by,
        decided_at,
        ended_because,
    }
}

fn shown(state: &State, number: DeviationNumber) -> Result<Shown, Problem> {
    let known = state.deviation(number);
    let deviation = known.ok_or_else(|| Problem::unknown("deviation", number))?;
    Shown::tagged(&deviation_view(state, deviation))
}

fn changed(
    number: DeviationNumber,
) -> impl FnOnce(View<'_>, &[Entry]) -> Result<Outcome, Problem> + Send + 'static {
    move |view, _| Ok(Outcome::changed(shown(view.state, number)?))
}

/// Deviations from the build-up, newest first.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of deviations.", body = Page<DeviationView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u32> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = view.state.deviations.iter().rev();
            let rows = rows
                .filter(|it| after.is_none_or(|after| it.number.0 < after))
                .map(|it| (it.number, deviation_view(view.state, it)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One deviation from the build-up.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The deviation.", body = DeviationView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    deviation: At<Number<DeviationNumber>>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, past.as_of.as_deref(), &request, |view| shown(view.state, deviation.0.0))
        .await
}

/// Propose and sign that a point may go further beyond what was shown than the build-up allows, with the reason and the
/// password or PIN again.
///
/// The signature binds the plan, its limits and hazards, the steps that are too large and the reason. It lifts nothing until
/// a safety officer has signed the same, and then only the holds that those steps are too large. Nobody can sign for a
/// target beyond the design boundary.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SignedBody<DeviationTerms>,
        example = json!({
            "point": "FL-12",
            "reason": "Between both speeds the cowling hums; the stretch is crossed and not dwelt in.",
            "digest": "5f70bf18a086007016e948b04aed3b82103a36bea41755b6cddfaf10ace3c6ef",
            "secret": "271845",
        }),
    ),
    responses((status = 201, description = "Proposed.", body = Written<DeviationView>)),
)]
pub(crate) async fn propose(
    person: Permitted<MayPropose>,
    signed: Signed<DeviationTerms>,
    office: Office,
) -> Answer {
    let places = format!("/api/v1/programmes/{}/deviations", person.programme);
    let signed = signed.map(|terms| ProposeDeviation { terms });
    office
        .sign(&person, signed, move |view: View<'_>, _: &[Entry]| {
            let made = u32::try_from(view.state.deviations.len()).unwrap_or(u32::MAX);
            let number = DeviationNumber(made);
            Ok(Outcome::created(format!("{places}/{number}"), shown(view.state, number)?))
        })
        .await
}

/// Sign a deviation that the test lead has proposed, with the password or PIN again. From then on it lifts the holds of its
/// steps, until the plan changes, less is shown, or somebody ends it.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SignedBody<DeviationAgreementTerms>,
        example = json!({
            "digest": "5f70bf18a086007016e948b04aed3b82103a36bea41755b6cddfaf10ace3c6ef",
            "secret": "271845",
        }),
    ),
    responses((status = 200, description = "Agreed.", body = Written<DeviationView>)),
)]
pub(crate) async fn agree(
    person: Permitted<MayAgree>,
    deviation: At<Number<DeviationNumber>>,
    signed: Signed<DeviationAgreementTerms>,
    office: Office,
) -> Answer {
    let deviation = deviation.0.0;
    let signed = signed.map(|terms| AgreeDeviation { deviation, terms });
    office.sign(&person, signed, changed(deviation)).await
}

/// Decline a deviation or take it back, with the reason. From then on it lifts nothing.
#[utoipa::path(
    post, path = "",
    request_body(
        content = DeviationEndingTerms,
        example = json!({ "reason": "A step in between is planned after all." }),
    ),
    responses((status = 200, description = "Ended.", body = Written<DeviationView>)),
)]
pub(crate) async fn end(
    person: Permitted<MayEnd>,
    deviation: At<Number<DeviationNumber>>,
    given: Given<DeviationEndingTerms>,
    office: Office,
) -> Answer {
    let deviation = deviation.0.0;
    let given = given.map(|terms| EndDeviation { deviation, terms });
    office.act(&person, given, changed(deviation)).await
}
