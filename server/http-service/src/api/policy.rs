//! What the programme has decided for itself: risk matrix, steps of the build-up, totals to reach, ages.

use actix_web::HttpRequest;
use programme::nouns::Policy;
use programme::state::{Amendable, State};

use crate::access::{self, Permitted, Read};
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{Given, Query};
use crate::office::Office;
use crate::page::OfMoment;
use crate::problem::{NOT_FOUND, Problem};

fn shown(state: &State) -> Result<Shown, Problem> {
    let policy = state.policy.as_ref().ok_or_else(|| {
        Problem::new(
            NOT_FOUND,
            "The programme has no policy yet, and every point is held. The safety officer sets it.",
        )
    })?;
    Shown::at_revision(state.revision(&Amendable::Policy), policy)
}

/// The policy.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The policy.", body = Policy)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office.show(&person, past.as_of.as_deref(), &request, |view| shown(view.state)).await
}

/// Set the policy, all of it. Holds are judged by it from then on.
#[utoipa::path(
    put, path = "",
    request_body(
        content = Policy,
        example = json!({
            "weather_good_for_min": 60,
            "longest_release_h": 14,
            "risk": {
                "source": "MIL-STD-882E (2012), table III; the cell marginal/improbable from memory",
                "rows": [
                    ["high", "high", "high", "serious", "medium", "eliminated"],
                    ["high", "high", "serious", "medium", "medium", "eliminated"],
                    ["serious", "serious", "medium", "medium", "medium", "eliminated"],
                    ["medium", "medium", "low", "low", "low", "eliminated"],
                ],
                "accepted_by": [
                    { "level": "high", "roles": [] },
                    { "level": "serious", "roles": ["safety"] },
                    { "level": "medium", "roles": ["lead", "safety"] },
                ],
            },
            "build_up": [
                {
                    "axis": "speed",
                    "step": { "value": 10, "unit": "kt" },
                    "first": { "value": 10, "unit": "kt" },
                    "source": "test plan, section 5 (invented)",
                },
            ],
            "required_totals": [
                { "total": "airborne-minutes", "at_least": 1500, "source": "conditions of the permit (invented)" },
            ],
        }),
    ),
    params(Amends),
    responses(
        (status = 200, description = "Set anew.", body = Written<Policy>),
        (status = 201, description = "Set.", body = Written<Policy>),
    ),
)]
pub(crate) async fn set(
    person: Permitted<access::SetPolicy>,
    precondition: Precondition,
    given: Given<Policy>,
    office: Office,
) -> Answer {
    let place = format!("/api/v1/programmes/{}/policy", person.programme);
    let given = given.map(|policy| programme::commands::SetPolicy { policy, expected: None });
    office
        .amend(&person, (precondition, Amendable::Policy), given, |view, _, was_there| {
            Ok(Outcome::put(was_there, place, shown(view.state)?))
        })
        .await
}
