//! The plan of the point must be approved as it is now, by somebody who stands by it.

use chrono::{DateTime, Utc};

use super::words::{listed, moment, said};
use super::{Explained, Reason, Rule, Subject};
use crate::codes::{LimitCode, PersonHandle};
use crate::record::Part;
use crate::state::{Rung, State};

static NOT_APPROVED: Rule = Rule::against_release(
    "plan-not-approved",
    "The plan of the point is approved by somebody other than its author.",
);
static CHANGED: Rule = Rule::against_release(
    "plan-changed-since-approval",
    "The plan, its limits and its hazards are what they were when the plan was approved.",
);
static DROPPED: Rule = Rule::against_release("point-dropped", "The point is part of the plan.");
static REFUSED: Rule =
    Rule::against_release("plan-refused", "Nobody stands by a refusal to approve the plan.");
static LIMIT_UNKNOWN: Rule =
    Rule::against_release("limit-unknown", "Every limit that the plan names is set.");

pub(super) static RULES: &[&Rule] = &[&NOT_APPROVED, &CHANGED, &DROPPED, &REFUSED, &LIMIT_UNKNOWN];

/// What is wrong with the plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Plan {
    /// Nobody has approved it.
    NotApproved,
    /// Something that the approval stands for was changed after it.
    Changed {
        /// The record of the approval.
        approved: u64,
    },
    /// The point was taken out of the plan.
    Dropped,
    /// Somebody refused to approve.
    Refused {
        /// The record of the refusal.
        seq: u64,
        /// Who.
        by: PersonHandle,
    },
    /// A limit that the plan names is not set.
    LimitUnknown {
        /// Which.
        limit: LimitCode,
    },
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    let mut against = |reason| found.push(Reason::Plan(reason));
    if rung.dropped.is_some() {
        against(Plan::Dropped);
    }
    match &rung.approval {
        None => against(Plan::NotApproved),
        Some(approval) if !state.plan_signature_stands(rung, approval) => {
            against(Plan::Changed { approved: approval.seq });
        }
        Some(_) => {}
    }
    for refused in &rung.refusals {
        if let Part::PlanApproval {} = refused.part {
            against(Plan::Refused { seq: refused.seq, by: refused.by.clone() });
        }
    }
    for limit in &rung.point.limits {
        if !state.limits.by_code.contains_key(limit) {
            against(Plan::LimitUnknown { limit: limit.clone() });
        }
    }
}

/// What a signature on the plan stands for and was changed by a later record.
pub(super) fn changed_since(signed: u64, rung: &Rung, state: &State) -> String {
    let mut changed = Vec::new();
    if rung.changed_at > signed {
        changed.push(format!("the plan itself (by {})", rung.planned_by));
    }
    for limit in state.limits_in_force(&rung.point).filter(|limit| limit.changed_at > signed) {
        changed.push(format!("limit {}", limit.limit.code));
    }
    let hazards = rung.point.hazards.iter().filter_map(|code| state.hazards.get(code));
    for hazard in hazards.filter(|hazard| hazard.changed_at > signed) {
        changed.push(format!("hazard {}", hazard.hazard.code));
    }
    if changed.is_empty() {
        // A limit that no longer holds in the phase did hold there when it was signed.
        changed.push(format!("the limits of the phase {}", rung.point.phase));
    }
    listed(changed)
}

impl Explained for Plan {
    fn rule(&self) -> &'static Rule {
        match self {
            Plan::NotApproved => &NOT_APPROVED,
            Plan::Changed { .. } => &CHANGED,
            Plan::Dropped => &DROPPED,
            Plan::Refused { .. } => &REFUSED,
            Plan::LimitUnknown { .. } => &LIMIT_UNKNOWN,
        }
    }

    fn subject(&self, rung: &Rung) -> Subject {
        match self {
            Plan::LimitUnknown { limit } => Subject::new("limit", limit),
            Plan::Refused { seq, .. } => Subject::new("refusal", seq),
            Plan::NotApproved | Plan::Changed { .. } | Plan::Dropped => {
                Subject::new("point", &rung.point.code)
            }
        }
    }

    fn why(&self, rung: &Rung, state: &State) -> String {
        let code = &rung.point.code;
        match self {
            Plan::NotApproved => format!("The plan of {code} is not approved."),
            Plan::Changed { approved } => format!(
                "Changed since the plan of {code} was approved: {}.",
                changed_since(*approved, rung, state)
            ),
            Plan::Dropped => rung.dropped.as_ref().map_or_else(
                || format!("{code} was taken out of the plan."),
                |dropped| {
                    let (by, at) = (&dropped.by, moment(dropped.at));
                    format!("{by} took {code} out of the plan at {at}: {}", said(&dropped.reason))
                },
            ),
            Plan::Refused { seq, by } => {
                let refused = rung.refusals.iter().find(|refused| refused.seq == *seq);
                let reasons = refused.map_or("", |refused| refused.reasons.as_str());
                format!("{by} refused to approve the plan of {code}: {}", said(reasons))
            }
            Plan::LimitUnknown { limit } => {
                format!("The plan of {code} names the limit {limit}, which is not set.")
            }
        }
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        match self {
            Plan::NotApproved => {
                format!("A test lead or engineer other than {} approves the plan.", rung.planned_by)
            }
            Plan::Changed { .. } => format!(
                "A test lead or engineer other than {} approves the plan as it is now.",
                rung.planned_by
            ),
            Plan::Dropped => "The point is planned again and approved.".to_owned(),
            Plan::Refused { by, .. } => format!(
                "{by} withdraws the refusal, or the plan is approved once the reasons are dealt with."
            ),
            Plan::LimitUnknown { limit } => format!(
                "The limit {limit} is proposed by an engineer and agreed by the safety officer, or the plan is \
                 changed."
            ),
        }
    }

    fn source(&self, rung: &Rung, _: &State) -> String {
        match self {
            Plan::NotApproved | Plan::Refused { .. } => {
                "Rungbook rule: a plan is approved by somebody other than its author".to_owned()
            }
            Plan::Changed { .. } => {
                "Rungbook rule: a signature stands for exactly what was signed".to_owned()
            }
            Plan::Dropped => "Rungbook rule: only planned points are run".to_owned(),
            Plan::LimitUnknown { .. } => format!("the plan of {}", rung.point.code),
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::record::{HazardRecorded, LimitSet, Part, PointDropped, SignatureWithdrawn};
    use crate::story::{Story, code, hazard, limit, point};

    #[test]
    fn a_plan_that_nobody_approved_is_held() {
        let mut story = Story::team();
        story.plan(point("B"));
        assert_eq!(story.rules("B"), ["plan-not-approved"]);
        story.approve("B");
        assert!(story.rules("B").is_empty());
    }

    #[test]
    fn a_change_of_plan_limit_or_hazard_voids_the_approval_and_is_named() {
        let mut story = Story::team();
        let mut changed = point("A");
        changed.duration_min = 11.0;
        story.plan(changed);
        let why = story.hold("A", "plan-changed-since-approval").why;
        assert!(why.ends_with("approved: the plan itself (by lead)."), "{why}");

        story.approve("A");
        let mut tighter = limit("L-winding");
        tighter.dwell_s = 1.0;
        story.record("engineer", LimitSet { limit: tighter });
        let mut worse = hazard("H-hot");
        worse.cause = "Birds' nest.".to_owned();
        story.record("engineer", HazardRecorded { hazard: worse });
        let why = story.hold("A", "plan-changed-since-approval").why;
        assert!(why.ends_with("limit L-winding and hazard H-hot."), "{why}");
    }

    #[test]
    fn the_same_plan_limit_and_hazard_again_change_nothing() {
        let mut story = Story::team();
        story.plan(point("A"));
        story.record("engineer", LimitSet { limit: limit("L-winding") });
        story.record("engineer", HazardRecorded { hazard: hazard("H-hot") });
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn a_dropped_point_is_held() {
        let mut story = Story::team();
        story.record("lead", PointDropped { point: code("A"), reason: "No need.".to_owned() });
        assert!(story.rules("A").contains(&"point-dropped"));
    }

    #[test]
    fn a_refusal_holds_until_it_is_withdrawn_or_signed_over() {
        let part = Part::PlanApproval {};
        let mut story = Story::team();
        story.refuse("pilot", "A", part);
        assert_eq!(story.rules("A"), ["plan-refused"]);
        let mut signed_over = story.clone();
        signed_over.approve("A");
        assert!(signed_over.rules("A").is_empty());
        let reason = "Settled.".to_owned();
        story.record("pilot", SignatureWithdrawn { point: code("A"), part, reason });
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn a_limit_that_is_not_set_holds_the_point_that_names_it() {
        let mut story = Story::team();
        let mut strict = point("B");
        strict.limits.push(code("L-none"));
        story.plan(strict).approve("B");
        assert_eq!(story.hold("B", "limit-unknown").subject.code, "L-none");
    }
}
