//! What may or could be done next, in the order in which it is worth looking at.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::board::Board;
use programme::holds::Hold;
use programme::measure::Measure;
use programme::next_steps::{NextStep, ProposedStep, Readiness, next_steps};
use programme::nouns::{Axis, Direction};
use serde::{Deserialize, Serialize};

use super::points::PointRow;
use super::predictions::PointPredictionsView;
use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown, View};
use crate::given::Query;
use crate::office::Office;
use crate::problem::{BAD_QUERY, Problem};

/// Points that are told where nobody asks for more or less.
const USUAL: u16 = 20;
/// Points that are told at most.
const MOST: u16 = 500;

/// How many next steps.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct HowMany {
    /// Points at most.
    #[param(minimum = 1, maximum = 500, default = 20)]
    pub limit: Option<u16>,
    /// As it stood after the record of this number, or at this time (RFC 3339).
    #[param(example = "2026-05-02T08:00:00Z")]
    pub as_of: Option<String>,
}

/// A smaller step that is proposed where a step of the build-up is too large.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ProposedStep)]
pub struct ProposedStepView {
    /// On which axis.
    pub axis: Axis,
    /// Which way: `up`, more is more demanding; `down`, less is.
    pub direction: Direction,
    /// What was shown; absent: nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shown: Option<Measure>,
    /// The target that is too far.
    pub target: Measure,
    /// What to show next; absent: the rule cannot be compared with the axis.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub propose: Option<Measure>,
    /// What would be shown after that, in order, the target last; empty: no way is known.
    pub then: Vec<Measure>,
}

impl From<ProposedStep> for ProposedStepView {
    fn from(step: ProposedStep) -> Self {
        let ProposedStep { axis, direction, shown, target, propose, then } = step;
        Self { axis, direction, shown, target, propose, then }
    }
}

/// A point that may or could be done next.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = NextStep)]
pub struct NextStepView<'a> {
    /// The point.
    pub point: PointRow<'a>,
    /// How far it is from going ahead: `open`, all stated conditions are met; `held-for-run`, it can be released or is, and
    /// is held against the run; `held`, neither.
    pub readiness: Readiness,
    /// How many points that are still to be shown wait for it, directly or by others.
    pub opens: usize,
    /// Everything that holds it.
    pub holds: Vec<Hold>,
    /// Smaller steps that are proposed where its own are too large.
    pub proposed: Vec<ProposedStepView>,
    /// What earlier runs let expect of it, and what cannot be predicted.
    #[serde(flatten)]
    pub predicted: PointPredictionsView,
}

/// What may or could be done next.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = NextSteps)]
pub struct NextStepsView<'a> {
    /// Points still to be shown, what is worth looking at first first.
    pub steps: Vec<NextStepView<'a>>,
    /// How many points are still to be shown.
    pub still_to_be_shown: usize,
    /// The moment at which it was looked at.
    pub looked_at: DateTime<Utc>,
    /// After which record.
    pub records: u64,
}

fn step_view<'a>(view: View<'a>, step: &NextStep<'a>) -> NextStepView<'a> {
    let View { state, now } = view;
    NextStepView {
        point: PointRow::of(state, step.rung, &step.reasons),
        readiness: step.readiness,
        opens: step.opens,
        holds: step.holds(state),
        proposed: step.proposals().into_iter().map(ProposedStepView::from).collect(),
        predicted: PointPredictionsView::of(state, &step.rung.point, now),
    }
}

fn steps_view<'a>(view: View<'a>, board: &Board, most: usize) -> NextStepsView<'a> {
    let View { state, now } = view;
    let steps = next_steps(state, board, now);
    NextStepsView {
        steps: steps.iter().take(most).map(|step| step_view(view, step)).collect(),
        still_to_be_shown: steps.len(),
        looked_at: now,
        records: state.length(),
    }
}

/// What may or could be done next: points that nothing holds first, then those held by the fewest things that are easiest
/// to clear, and of these what opens more of the ladder; each with its holds and, where a step of the build-up is too
/// large, the smaller step that is proposed, and with what earlier runs let expect of it.
///
/// It advises; it clears nobody to fly.
#[utoipa::path(
    get, path = "",
    params(HowMany),
    responses((status = 200, description = "The next steps.", body = NextStepsView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    many: Query<HowMany>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let most = many.limit.unwrap_or(USUAL);
    if !(1..=MOST).contains(&most) {
        return Err(Problem::of_field(
            BAD_QUERY,
            "limit",
            format!("limit has to be from 1 to {MOST}, and {most} was given."),
        ));
    }
    let shown = office
        .look_at_ladder(&person, many.as_of.as_deref(), |view, board| {
            Shown::new(&steps_view(view, board, usize::from(most)))
        })
        .await?;
    Ok(shown.reply(request.headers()))
}
