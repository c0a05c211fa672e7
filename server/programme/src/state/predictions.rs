//! What was predicted, who reviewed a model that missed, and who judged the damping before a step.

use chrono::{DateTime, Utc};

use super::{Rung, State};
use crate::codes::{PersonHandle, PointCode, ReductionNumber, RunNumber};
use crate::entry::Entry;
use crate::nouns::Role;
use crate::record::{DampingStepJudged, KeptPrediction, ModelReviewed, Predicted, PredictionsMade};

/// What was predicted for a run as it was opened.
#[derive(Debug, Clone, PartialEq)]
pub struct MadePredictions {
    /// The record.
    pub seq: u64,
    /// When.
    pub at: DateTime<Utc>,
    /// For which run.
    pub run: RunNumber,
    /// Each prediction.
    pub predictions: Vec<KeptPrediction>,
}

/// A look at why predictions missed.
#[derive(Debug, Clone, PartialEq)]
pub struct ModelReview {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// The roles that they had.
    pub roles: Vec<Role>,
    /// When.
    pub at: DateTime<Utc>,
    /// The model of what.
    pub what: Predicted,
    /// What was found, and what was done.
    pub findings: String,
}

/// A judgement of the damping before a step in speed.
#[derive(Debug, Clone, PartialEq)]
pub struct DampingJudgement {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The step.
    pub point: PointCode,
    /// Whether it may be taken, as far as damping goes.
    pub go_on: bool,
    /// The damping that was looked at.
    pub reductions: Vec<ReductionNumber>,
    /// Why.
    pub reasons: String,
}

/// All that was predicted and judged.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Predictions {
    /// What was predicted, by run, oldest first.
    pub made: Vec<MadePredictions>,
    /// Reviews of models, oldest first.
    pub reviews: Vec<ModelReview>,
    /// Judgements of damping, oldest first.
    pub damping: Vec<DampingJudgement>,
}

impl Predictions {
    /// The number of the last record that put a model right: a review by the safety officer of what another person, an
    /// engineer, had found before; zero where there is none.
    pub fn reviewed_at(&self, what: &Predicted) -> u64 {
        let reviews = || self.reviews.iter().filter(|review| review.what == *what);
        reviews()
            .filter(|of_safety| {
                of_safety.roles.contains(&Role::Safety)
                    && reviews().any(|of_engineer| {
                        of_engineer.seq < of_safety.seq
                            && of_engineer.by != of_safety.by
                            && of_engineer.roles.contains(&Role::Engineer)
                    })
            })
            .map(|review| review.seq)
            .max()
            .unwrap_or(0)
    }

    /// What an engineer found about a model last, that no safety officer has looked at yet.
    pub fn open_review(&self, what: &Predicted) -> Option<&ModelReview> {
        let since = self.reviewed_at(what);
        let mut of_it = self.reviews.iter().rev().filter(|review| review.what == *what);
        of_it.find(|review| review.seq > since && review.roles.contains(&Role::Engineer))
    }
}

impl State {
    pub(super) fn predictions_made(&mut self, body: &PredictionsMade, entry: &Entry) {
        self.predictions.made.push(MadePredictions {
            seq: entry.seq,
            at: entry.at,
            run: body.run,
            predictions: body.predictions.clone(),
        });
    }

    pub(super) fn review_model(&mut self, body: &ModelReviewed, entry: &Entry) {
        self.predictions.reviews.push(ModelReview {
            seq: entry.seq,
            by: entry.by.clone(),
            roles: self.roles(&entry.by).to_vec(),
            at: entry.at,
            what: body.what.clone(),
            findings: body.findings.clone(),
        });
    }

    pub(super) fn judge_damping(&mut self, body: &DampingStepJudged, entry: &Entry) {
        self.predictions.damping.push(DampingJudgement {
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            point: body.point.clone(),
            go_on: body.go_on,
            reductions: body.reductions.clone(),
            reasons: body.reasons.clone(),
        });
    }

    /// The last judgement of the damping before a point as it is planned now, with the aircraft as it is now. One that was
    /// given for another plan or another configuration is none.
    pub fn damping_judgement(&self, rung: &Rung) -> Option<&DampingJudgement> {
        let since = self.plan_changed_at(rung).max(self.configuration.changed_at);
        let judged = self.predictions.damping.iter().rev();
        judged.filter(|it| it.seq > since).find(|it| it.point == rung.point.code)
    }
}
