//! Taking a point out of the plan.

use programme::codes::PointCode;
use programme::commands::{DropPoint, DroppingTerms};
use programme::state::Amendable;

use super::plan::shown_to;
use super::view::RungView;
use crate::access::{Permitted, Plan};
use crate::desk::{Answer, Outcome, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given};
use crate::office::Office;

/// Take a point out of the plan, with the reason. Its history stays, and it can be planned again.
///
/// Refused while another planned point waits for it, or while it is being run.
#[utoipa::path(
    post, path = "",
    request_body(content = DroppingTerms, example = json!({ "reason": "Covered by GR-03 since the plan of May." })),
    params(Amends),
    responses((status = 200, description = "Taken out of the plan.", body = Written<RungView>)),
)]
pub(crate) async fn drop(
    person: Permitted<Plan>,
    point: At<PointCode>,
    precondition: Precondition,
    given: Given<DroppingTerms>,
    office: Office,
) -> Answer {
    let code = point.0;
    let whose = person.person.clone();
    let thing = Amendable::Point(code.clone());
    let command = given.map(|terms| DropPoint { point: code.clone(), terms, expected: None });
    office
        .amend(&person, (precondition, thing), command, move |view, _, _| {
            Ok(Outcome::changed(shown_to(&whose, view, &code)?))
        })
        .await
}
