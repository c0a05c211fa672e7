//! The holds of one point alone.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::PointCode;
use programme::holds::{Hold, holds as holds_of};
use serde::Serialize;

use super::PointState;
use super::view::summary;
use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::{At, Query};
use crate::office::Office;
use crate::page::OfMoment;

/// Why a point may not go ahead, at a moment.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct HoldsView<'a> {
    /// The point.
    pub point: &'a PointCode,
    /// Where it stands.
    pub state: PointState,
    /// Where it stands, in a sentence.
    pub summary: String,
    /// Every hold, in the order in which they are dealt with; none: all stated conditions are met.
    pub holds: Vec<Hold>,
    /// The moment at which it was looked at.
    pub looked_at: DateTime<Utc>,
    /// After which record.
    pub records: u64,
}

/// Every reason why a point may not go ahead: rule, subject, why, what clears it, and where the rule comes from.
///
/// A hold of stage `release` stands against releasing and running the point, one of stage `run` against running it only.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The holds.", body = HoldsView)),
)]
pub(crate) async fn holds(
    person: Permitted<Read>,
    point: At<PointCode>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, past.as_of.as_deref(), &request, |view| {
            let rung = super::rung(view.state, &point)?;
            let holds = holds_of(view.state, rung, view.now);
            let stages = holds.iter().map(|hold| (hold.rule, hold.stage));
            let state = PointState::of(view.state, rung, stages);
            Shown::tagged(&HoldsView {
                point: &rung.point.code,
                state,
                summary: summary(state, &rung.point.code, holds.len()),
                holds,
                looked_at: view.now,
                records: view.state.length(),
            })
        })
        .await
}
