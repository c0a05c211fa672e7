//! The aircraft under test.

use actix_web::HttpRequest;
use programme::nouns::Aircraft;
use programme::state::{Amendable, State};

use crate::access::{self, Permitted, Read};
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{Given, Query};
use crate::office::Office;
use crate::page::OfMoment;
use crate::problem::{NOT_FOUND, Problem};

fn shown(state: &State) -> Result<Shown, Problem> {
    let aircraft = state.aircraft.as_ref().ok_or_else(|| {
        Problem::new(NOT_FOUND, "The aircraft is not described yet. A test lead describes it.")
    })?;
    Shown::at_revision(state.revision(&Amendable::Aircraft), aircraft)
}

/// The aircraft. Every figure has its unit.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The aircraft.", body = Aircraft)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office.show(&person, past.as_of.as_deref(), &request, |view| shown(view.state)).await
}

/// Describe the aircraft, or describe it anew.
#[utoipa::path(
    put, path = "",
    request_body(
        content = Aircraft,
        example = json!({
            "name": "Tallow Two",
            "description": "A low-wing two-seat glider tug, re-engined with a battery-electric powerplant.",
            "airfield": "Tallowmere, grass 08/26 (invented)",
            "never_exceed_speed": { "value": 120, "unit": "kt" },
            "maximum_mass": { "value": 760, "unit": "kg" },
            "seats": 2,
            "loading": [
                {
                    "name": "pilot, front seat",
                    "mass": { "value": 84, "unit": "kg" },
                    "arm": { "value": 0.61, "unit": "m" },
                },
            ],
        }),
    ),
    params(Amends),
    responses(
        (status = 200, description = "Described anew.", body = Written<Aircraft>),
        (status = 201, description = "Described.", body = Written<Aircraft>),
    ),
)]
pub(crate) async fn describe(
    person: Permitted<access::DescribeAircraft>,
    precondition: Precondition,
    given: Given<Aircraft>,
    office: Office,
) -> Answer {
    let place = format!("/api/v1/programmes/{}/aircraft", person.programme);
    let given =
        given.map(|aircraft| programme::commands::DescribeAircraft { aircraft, expected: None });
    office
        .amend(&person, (precondition, Amendable::Aircraft), given, |view, _, was_there| {
            Ok(Outcome::put(was_there, place, shown(view.state)?))
        })
        .await
}
