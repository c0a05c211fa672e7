//! What can be done next, and what would open if a hold cleared.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::board::{Board, WouldOpen};
use programme::codes::PointCode;
use programme::holds::{Hold, Stage, Subject};
use programme::state::State;
use serde::Serialize;

use super::points::PointRow;
use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown, View};
use crate::given::Query;
use crate::office::Office;
use crate::page::OfMoment;

/// A point that can be released and is held against the run.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct HeldForRun<'a> {
    /// The point.
    pub point: PointRow<'a>,
    /// What stands against running it.
    pub holds: Vec<Hold>,
}

/// A hold that alone keeps points held.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = WouldOpen)]
pub struct WouldOpenView {
    /// The code of the rule.
    pub rule: &'static str,
    /// What it is about.
    pub subject: Subject,
    /// What the points could do if it cleared: `release`, be released; `run`, be run.
    pub stage: Stage,
    /// The hold in words, as it stands against the first of the points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hold: Option<Hold>,
    /// The points that nothing else of that stage holds, in the ladder's order. Where they ask for different amounts of
    /// one thing, such as wind, clearing it for one may not clear it for all.
    pub points: Vec<PointCode>,
}

/// What can be done next. Points that were shown or dropped are in no list.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Next)]
pub struct NextView<'a> {
    /// Points that nothing holds: all stated conditions are met.
    pub ready_to_run: Vec<PointRow<'a>>,
    /// Points that can be released, or are, and are held against the run.
    pub held_for_run: Vec<HeldForRun<'a>>,
    /// Holds that alone keep points held, the one with the most points first.
    pub would_open: Vec<WouldOpenView>,
    /// The moment at which it was looked at.
    pub looked_at: DateTime<Utc>,
    /// After which record.
    pub records: u64,
}

/// What can be done next: points that nothing holds, points that are held against the run only, and what would open if
/// a hold cleared.
///
/// It advises; it clears nobody to fly.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "What can be done next.", body = NextView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let shown = office
        .look_at_ladder(&person, past.as_of.as_deref(), |view, board| {
            Shown::new(&next_view(view, board))
        })
        .await?;
    Ok(shown.reply(request.headers()))
}

/// What can be done next, and what would open if a hold cleared.
pub(crate) fn next_view<'a>(view: View<'a>, board: &Board) -> NextView<'a> {
    let View { state, now } = view;
    let next = board.next(state, now);
    let row = |code: &PointCode| {
        let place = state.ladder.place(code)?;
        let rung = state.ladder.rungs().get(place)?;
        let reasons = board.reasons(place, state, now);
        let holds: Vec<Hold> = reasons.iter().map(|reason| reason.told(rung, state)).collect();
        Some((PointRow::of(state, rung, &reasons), holds))
    };
    let held = |code| row(code).map(|(point, holds)| HeldForRun { point, holds });
    NextView {
        ready_to_run: next.unheld.iter().filter_map(row).map(|(point, _)| point).collect(),
        held_for_run: next.held_for_run.iter().filter_map(held).collect(),
        would_open: board
            .would_open(state, now)
            .into_iter()
            .map(|group| would_open_view(group, state, board, now))
            .collect(),
        looked_at: now,
        records: state.length(),
    }
}

fn would_open_view(
    group: WouldOpen,
    state: &State,
    board: &Board,
    now: DateTime<Utc>,
) -> WouldOpenView {
    let WouldOpen { rule, subject, stage, points } = group;
    let of_first = points.first().and_then(|code| state.ladder.place(code));
    let holds = of_first.map_or_else(Vec::new, |place| board.holds(place, state, now));
    let hold = holds.into_iter().find(|hold| hold.rule == rule && hold.subject == subject);
    WouldOpenView { rule, subject, stage, hold, points }
}
