//! One point, with all that is known of it.

use actix_web::HttpRequest;
use programme::codes::PointCode;
use programme::holds;
use programme::state::{Amendable, Rung, State};

use super::view::{RungView, rung_view};
use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::{At, Query};
use crate::office::Office;
use crate::page::OfMoment;
use crate::problem::Problem;

/// One point: its plan, where it stands, every hold, its signatures and results, its card, and what you would sign.
///
/// Its ETag begins with the revision of its plan: send it in If-Match to change the plan.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The point.", body = RungView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    point: At<PointCode>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let shown = match past.as_of.as_deref() {
        None => {
            let whose = (person.programme.clone(), point.0.clone(), person.person.clone());
            let now = office.now();
            let view = |state: &State| {
                let rung = super::rung(state, &point)?;
                office.views.view(&whose, state, rung, now, |now, holds| {
                    shown(state, rung, &rung_view(state, rung, &whose.2, now, holds)?)
                })
            };
            let looked = office.store.read(&person.programme, |state, _| view(state));
            looked.unwrap_or_else(|| Err(Problem::unknown("programme", &person.programme)))?
        }
        past => {
            office
                .look(&person, past, |view| {
                    let (state, now) = (view.state, view.now);
                    let rung = super::rung(state, &point)?;
                    let holds = holds::holds(state, rung, now);
                    shown(state, rung, &rung_view(state, rung, &person.person, now, holds)?)
                })
                .await?
        }
    };
    Ok(shown.reply(request.headers()))
}

/// A point with its tag.
pub(super) fn shown(state: &State, rung: &Rung, view: &RungView<'_>) -> Result<Shown, Problem> {
    Shown::at_revision(state.revision(&Amendable::Point(rung.point.code.clone())), view)
}
