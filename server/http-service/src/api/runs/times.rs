//! Correcting the times of a run.

use programme::codes::RunNumber;
use programme::commands::{CorrectTimes, CorrectionTerms};
use programme::state::Amendable;

use super::view::{RunView, shown};
use crate::access::{CorrectTimes as MayCorrectTimes, Permitted};
use crate::desk::{Answer, Outcome, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given, Number};
use crate::office::Office;

/// Correct the times of a run, open or closed, with the reason. The times before stay on record.
///
/// All the times are given, in UTC; what is left out was not noted. Send the ETag of the run in If-Match.
#[utoipa::path(
    put, path = "",
    request_body(content = CorrectionTerms, example = json!({
        "times": { "power_on": "2026-05-02T09:30:00Z", "power_off": "2026-05-02T09:44:00Z" },
        "reason": "The recorder shows power off two minutes later than was called on the radio.",
    })),
    params(Amends),
    responses((status = 200, description = "Corrected.", body = Written<RunView>)),
)]
pub(crate) async fn correct(
    person: Permitted<MayCorrectTimes>,
    run: At<Number<RunNumber>>,
    precondition: Precondition,
    given: Given<CorrectionTerms>,
    office: Office,
) -> Answer {
    let run = run.0.0;
    let command = given.map(|terms| CorrectTimes { run, terms, expected: None });
    office
        .amend(&person, (precondition, Amendable::Run(run)), command, move |view, _, _| {
            Ok(Outcome::changed(shown(view.state, run)?))
        })
        .await
}
