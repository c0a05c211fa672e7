//! The ladder, a page at a time.

use actix_web::HttpRequest;
use programme::codes::PointCode;
use programme::nouns::Phase;
use serde::Deserialize;

use super::{PointRow, PointState};
use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::Query;
use crate::office::Office;
use crate::page::{Page, after};
use crate::problem::{BAD_QUERY, Problem};

/// Which points.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct PointPage {
    /// Those of this phase only.
    pub phase: Option<Phase>,
    /// Those that stand so only.
    pub state: Option<PointState>,
    /// The code of the last row of the page before; absent: the first page.
    #[param(max_length = 64)]
    pub after: Option<String>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 500, default = 100)]
    pub limit: Option<u16>,
    /// As it stood after the record of this number, or at this time (RFC 3339).
    #[param(example = "2026-05-02T08:00:00Z")]
    pub as_of: Option<String>,
}

/// The points, in the order in which they were first planned, each with where it stands and how many holds it has.
///
/// Dropped points are among them; `state=dropped` shows them alone.
#[utoipa::path(
    get, path = "",
    params(PointPage),
    responses((status = 200, description = "A page of points.", body = Page<PointRow>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<PointPage>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<PointCode> = after(page.after.as_deref())?;
    let shown = office
        .look_at_ladder(&person, page.as_of.as_deref(), |view, board| {
            let ladder = &view.state.ladder;
            let first = match &after {
                None => 0,
                Some(code) => ladder.place(code).map(|place| place + 1).ok_or_else(|| {
                    Problem::of_field(
                        BAD_QUERY,
                        "after",
                        format!("There is no point {code} here; after is taken from `next`."),
                    )
                })?,
            };
            let rungs = ladder.rungs().iter().enumerate().skip(first);
            let rows = rungs
                .filter(|(_, rung)| page.phase.is_none_or(|phase| rung.point.phase == phase))
                .map(|(place, rung)| {
                    let reasons = board.reasons(place, view.state, view.now);
                    (&rung.point.code, PointRow::of(view.state, rung, &reasons))
                })
                .filter(|(_, row)| page.state.is_none_or(|state| row.state == state));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await?;
    Ok(shown.reply(request.headers()))
}
