//! Where a point stands, in one word.

use programme::holds::{self, Reason};
use programme::state::{Rung, Stage, State};
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
        holds: impl Iterator<Item = (&'a str, holds::Stage)> + Clone,
    ) -> Self {
        let stage = state.stage_of(rung);
        match stage {
            Stage::Dropped => return PointState::Dropped,
            Stage::Accepted => return PointState::Accepted,
            Stage::AwaitingAcceptance | Stage::Lapsed | Stage::NotMet | Stage::NotRun => {}
        }
        let code = &rung.point.code;
        let in_run = |run: &programme::state::Run| {
            run.points.contains(code) && state.result(run.number, code).is_none()
        };
        if state.open_run().is_some_and(in_run) {
            return PointState::InRun;
        }
        // Who refused a release can still give it, so the refusal holds the run alone; but the point is not waiting for it.
        let against_release = holds
            .clone()
            .any(|(rule, when)| when == holds::Stage::Release || rule == "release-refused");
        let released = rung.release.is_some() && !holds.into_iter().any(|(rule, _)| spoils(rule));
        match stage {
            Stage::AwaitingAcceptance => PointState::AwaitingAcceptance,
            _ if released && !against_release => PointState::Released,
            Stage::Lapsed => PointState::Lapsed,
            Stage::NotMet => PointState::NotMet,
            _ if against_release => PointState::Held,
            _ => PointState::Ready,
        }
    }

    /// As [`PointState::of`], with reasons as data.
    pub fn of_reasons(state: &State, rung: &Rung, reasons: &[Reason]) -> Self {
        Self::of(state, rung, reasons.iter().map(|reason| (reason.rule().code, reason.stage())))
    }
}

/// Whether a hold says that the release is not good any more.
fn spoils(rule: &str) -> bool {
    rule.starts_with("release-") && rule != "release-not-yet-valid"
}
