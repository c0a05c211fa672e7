//! Where a point stands, in one word.

use programme::holds::{Reason, Stage};
use programme::state::{ResultState, Rung, Standing, State};
use serde::{Deserialize, Serialize};

/// Where a point stands: the first of these words that applies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PointState {
    /// Taken out of the plan.
    Dropped,
    /// A result was accepted by two people, and stands.
    Accepted,
    /// In the run that is open, and no result of it was recorded yet.
    InRun,
    /// The last result was met and waits for its acceptances.
    AwaitingAcceptance,
    /// The safety officer's release is good, now or from a later moment on, and nothing stands against a release.
    Released,
    /// An accepted result does not stand any more: a part, the plan or a limit was changed.
    Lapsed,
    /// The last result was not met, or lacks something.
    NotMet,
    /// Nothing stands against a release.
    Ready,
    /// Something stands against a release, or it was refused.
    Held,
}

impl PointState {
    /// Where a point stands, given all that holds it.
    pub fn of<'a>(
        state: &State,
        rung: &Rung,
        holds: impl Iterator<Item = (&'a str, Stage)> + Clone,
    ) -> Self {
        if rung.dropped.is_some() {
            return PointState::Dropped;
        }
        if state.accepted_result_of(rung).is_some() {
            return PointState::Accepted;
        }
        let code = &rung.point.code;
        let in_run = |run: &programme::state::Run| {
            run.points.contains(code) && state.result(run.number, code).is_none()
        };
        if state.open_run().is_some_and(in_run) {
            return PointState::InRun;
        }
        let last = last_result(state, rung).map(|result| &result.standing);
        // Who refused a release can still give it, so the refusal holds the run alone; but the point is not waiting for it.
        let against_release =
            holds.clone().any(|(rule, stage)| stage == Stage::Release || rule == "release-refused");
        let released = rung.release.is_some() && !holds.into_iter().any(|(rule, _)| spoils(rule));
        match last {
            Some(Standing::Open) => PointState::AwaitingAcceptance,
            _ if released && !against_release => PointState::Released,
            Some(Standing::Lapsed(_) | Standing::Accepted) => PointState::Lapsed,
            Some(Standing::NotMet) => PointState::NotMet,
            Some(Standing::Replaced) | None if against_release => PointState::Held,
            Some(Standing::Replaced) | None => PointState::Ready,
        }
    }

    /// As [`PointState::of`], with reasons as data.
    pub fn of_reasons(state: &State, rung: &Rung, reasons: &[Reason]) -> Self {
        Self::of(state, rung, reasons.iter().map(|reason| (reason.rule().code, reason.stage())))
    }
}

/// The last result that no other of the same run replaces.
pub(super) fn last_result<'a>(state: &'a State, rung: &Rung) -> Option<&'a ResultState> {
    let results = rung.results.iter().rev().map(|id| &state.results[id.0]);
    results.into_iter().find(|result| result.standing != Standing::Replaced)
}

/// Whether a hold says that the release is not good any more.
fn spoils(rule: &str) -> bool {
    rule.starts_with("release-") && rule != "release-not-yet-valid"
}
