//! What earlier runs let expect of a point as it is planned, what came of earlier predictions, and the people who judge both.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::{LimitCode, PersonHandle, PointCode, ReductionNumber, RunNumber};
use programme::commands::{DampingTerms, JudgeDamping, ReviewModel, ReviewTerms};
use programme::entry::Entry;
use programme::measure::Unit;
use programme::nouns::Point;
use programme::prediction::{
    self, AmbientBasis, CAUTION, Compared, Interval, Margin, Prediction, Predictions, Verdict,
    WorstEnd,
};
use programme::record::{Digest, KeptPrediction, Predicted};
use programme::state::{DampingJudgement, ModelReview, State};
use serde::{Deserialize, Serialize};

use crate::access::{JudgeDamping as MayJudge, Permitted, Read, ReviewModels};
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::given::{At, Given, Query};
use crate::office::Office;
use crate::page::{Page, Paging, after};
use crate::problem::Problem;

/// An estimate with its 95 % interval.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = PredictionInterval)]
pub struct IntervalView {
    /// The estimate.
    pub estimate: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end of the 95 % interval.
    pub high: f64,
}

impl From<Interval> for IntervalView {
    fn from(interval: Interval) -> Self {
        let Interval { estimate, low, high } = interval;
        Self { estimate, low, high }
    }
}

/// What a prediction rests on.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = PredictionBasis)]
pub struct BasisView {
    /// Reductions of recordings.
    pub reductions: Vec<ReductionNumber>,
    /// Runs.
    pub runs: Vec<RunNumber>,
    /// SHA-256 of the recordings.
    pub recordings: Vec<Digest>,
}

/// Where the ambient temperature of a prediction comes from.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum AmbientFrom {
    /// The latest observation of the weather.
    Observed,
    /// Nobody has observed it lately: the most that the point allows.
    PointMaximum,
    /// Nobody has observed it lately, and the point names no maximum: the hot day of the cooling rules.
    HotDay,
}

/// What else is told of a predicted temperature.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = PredictedTemperature)]
pub struct TemperatureView {
    /// The ambient temperature that it takes, °C.
    pub ambient_c: f64,
    /// Where that comes from.
    pub ambient_from: AmbientFrom,
    /// The power, kW.
    pub power_kw: f64,
    /// How long, s.
    pub duration_s: f64,
    /// The limit, °C.
    pub limit_c: f64,
    /// Until the limit would be reached by the estimate, if the power were held on, s; absent: it would settle below.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_to_limit_s: Option<f64>,
    /// The same by the upper end of the interval.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub earliest_time_to_limit_s: Option<f64>,
    /// The same by the lower end of the interval.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub latest_time_to_limit_s: Option<f64>,
    /// Air temperature of the hot day (14 CFR 23.1043(b)) at the point's altitude, °C.
    pub hot_day_ambient_c: f64,
    /// The temperature on that day, °C. It holds nothing.
    pub hot_day: IntervalView,
    /// Whether the pessimistic end passes limit less margin on that day.
    pub hot_day_passes_bound: bool,
}

/// Which end of the interval must not pass the bound.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum End {
    /// The upper one.
    High,
    /// The lower one.
    Low,
}

/// A prediction for a point.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Prediction)]
pub struct PredictionView {
    /// Of what.
    pub what: Predicted,
    /// The estimate with its interval, in `unit`.
    pub value: IntervalView,
    /// The unit.
    pub unit: Unit,
    /// What it is held against, in `unit`: limit less margin, the reserve, or the least damping; absent: nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bound: Option<f64>,
    /// Which end must not pass that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst_end: Option<End>,
    /// Whether the pessimistic end passes it, which holds the point.
    pub passes_bound: bool,
    /// What it rests on.
    pub rests_on: BasisView,
    /// How far it goes beyond what that covered, in per cent of the range seen; absent: nobody knows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub extrapolated_percent: Option<f64>,
    /// The last two in a sentence.
    pub in_words: String,
    /// What else is told of a temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature: Option<TemperatureView>,
}

impl From<Prediction> for PredictionView {
    fn from(prediction: Prediction) -> Self {
        let in_words = prediction.rests_on();
        let passes_bound = prediction.passes_bound();
        let Prediction { what, value, unit, bound, basis, extrapolated_percent, temperature } =
            prediction;
        let temperature = temperature.map(|detail| TemperatureView {
            ambient_c: detail.ambient.celsius,
            ambient_from: match detail.ambient.basis {
                AmbientBasis::Observed => AmbientFrom::Observed,
                AmbientBasis::PointMaximum => AmbientFrom::PointMaximum,
                AmbientBasis::HotDay => AmbientFrom::HotDay,
            },
            power_kw: detail.power_kw,
            duration_s: detail.duration_s,
            limit_c: detail.limit_c,
            time_to_limit_s: detail.time_to_limit.estimate_s,
            earliest_time_to_limit_s: detail.time_to_limit.earliest_s,
            latest_time_to_limit_s: detail.time_to_limit.latest_s,
            hot_day_ambient_c: detail.hot_day.ambient_c,
            hot_day: detail.hot_day.value.into(),
            hot_day_passes_bound: detail.hot_day.passes_bound,
        });
        let worst_end = bound.map(|bound| match bound.end {
            WorstEnd::High => End::High,
            WorstEnd::Low => End::Low,
        });
        Self {
            what,
            value: value.into(),
            unit,
            // No number is told as absent.
            bound: bound.map(|bound| bound.figure).filter(|figure| figure.is_finite()),
            worst_end,
            passes_bound,
            rests_on: BasisView {
                reductions: basis.reductions,
                runs: basis.runs,
                recordings: basis.recordings,
            },
            extrapolated_percent,
            in_words,
            temperature,
        }
    }
}

/// Something that cannot be predicted.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Unpredicted)]
pub struct UnpredictedView {
    /// What.
    pub what: Predicted,
    /// Why not.
    pub because: String,
}

/// All that is predicted for a point.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = PointPredictions)]
pub struct PointPredictionsView {
    /// What can be predicted.
    pub predictions: Vec<PredictionView>,
    /// What cannot. Where the policy demands it, that holds the point.
    pub unavailable: Vec<UnpredictedView>,
}

impl From<Predictions> for PointPredictionsView {
    fn from(found: Predictions) -> Self {
        Self {
            predictions: found.made.into_iter().map(PredictionView::from).collect(),
            unavailable: found
                .unavailable
                .into_iter()
                .map(|it| UnpredictedView { because: it.why.in_words(), what: it.what })
                .collect(),
        }
    }
}

impl PointPredictionsView {
    /// What is predicted for a point at a moment.
    pub fn of(state: &State, point: &Point, now: DateTime<Utc>) -> Self {
        prediction::predictions(state, point, now).into()
    }
}

/// How near a component comes to its limit.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ComponentMargin)]
pub struct MarginView {
    /// The limit.
    pub limit: LimitCode,
    /// Limit less the upper end of the predicted temperature, K; negative: beyond.
    pub margin_k: f64,
    /// Limit less the estimate, K.
    pub expected_margin_k: f64,
    /// Until the limit would be reached by the estimate, s; absent: it would settle below.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_to_limit_s: Option<f64>,
    /// Whether it certainly comes before the next one.
    pub certain: bool,
}

impl From<Margin> for MarginView {
    fn from(margin: Margin) -> Self {
        let Margin { limit, margin_k, expected_margin_k, time_to_limit_s, certain } = margin;
        Self { limit, margin_k, expected_margin_k, time_to_limit_s, certain }
    }
}

/// The least charge state at take-off.
#[derive(Debug, Default, Serialize, utoipa::ToSchema)]
#[schema(as = MinimumCharge)]
pub struct MinimumChargeView {
    /// The greater of both, %; absent: it cannot be told, and `unknown_because` says why.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub percent: Option<f64>,
    /// For the power that a take-off needs, %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub for_power_percent: Option<f64>,
    /// For the energy of the point at its pessimistic end, and the reserve, %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub for_energy_percent: Option<f64>,
    /// Why it cannot be told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unknown_because: Option<String>,
}

/// A judgement of the damping before a step in speed.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = DampingJudgement)]
pub struct JudgementView {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Whether the step may be taken, as far as damping goes.
    pub go_on: bool,
    /// The measurements that were looked at.
    pub reductions: Vec<ReductionNumber>,
    /// Why.
    pub reasons: String,
}

impl From<&DampingJudgement> for JudgementView {
    fn from(judged: &DampingJudgement) -> Self {
        let DampingJudgement { seq, by, at, go_on, reductions, reasons, .. } = judged.clone();
        Self { seq, by, at, go_on, reductions, reasons }
    }
}

/// The damping of a step in speed, which a person judges.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = DampingStep)]
pub struct DampingStepView {
    /// What the trend cannot do.
    pub caution: &'static str,
    /// Every measurement of damping that counts: whoever judges looks at all of them, and sends them back.
    pub reductions: Vec<ReductionNumber>,
    /// The last judgement for this plan and this configuration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged: Option<JudgementView>,
}

/// What is predicted for one point.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = PredictionsOfPoint)]
pub struct PredictionsView<'a> {
    /// The point.
    pub point: &'a PointCode,
    /// What is predicted, and what cannot be.
    #[serde(flatten)]
    pub all: PointPredictionsView,
    /// Components, the one that would reach its limit first first.
    pub margin_order: Vec<MarginView>,
    /// The least charge state at take-off; told where the temperature of the pack was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub minimum_charge: Option<MinimumChargeView>,
    /// Told where the point is a step in speed that a person judges the damping for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub damping_step: Option<DampingStepView>,
    /// The moment at which it was looked at.
    pub looked_at: DateTime<Utc>,
    /// After which record.
    pub records: u64,
}

/// Which predictions.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct WhichPredictions {
    /// Temperature of the pack at take-off, °C: tells the least charge state.
    #[param(minimum = -60, maximum = 100)]
    pub pack_c: Option<f64>,
    /// As it stood after the record of this number, or at this time (RFC 3339).
    #[param(example = "2026-05-02T08:00:00Z")]
    pub as_of: Option<String>,
}

fn of_point(view: View<'_>, code: &PointCode, pack_c: Option<f64>) -> Result<Shown, Problem> {
    let View { state, now } = view;
    let rung = super::points::rung(state, code)?;
    let found = prediction::predictions(state, &rung.point, now);
    let minimum_charge =
        pack_c.map(|pack_c| match prediction::minimum_charge(state, &rung.point, &found, pack_c) {
            Ok(charge) => MinimumChargeView {
                percent: Some(charge.percent),
                for_power_percent: charge.for_power_percent,
                for_energy_percent: charge.for_energy_percent,
                unknown_because: None,
            },
            Err(why) => MinimumChargeView {
                unknown_because: Some(why.to_string()),
                ..MinimumChargeView::default()
            },
        });
    let damping_step = prediction::is_damping_step(state, &rung.point).then(|| DampingStepView {
        caution: CAUTION,
        reductions: prediction::judged_over(state),
        judged: state.damping_judgement(rung).map(JudgementView::from),
    });
    Shown::tagged(&PredictionsView {
        point: &rung.point.code,
        margin_order: prediction::margin_order(&found).into_iter().map(MarginView::from).collect(),
        all: found.into(),
        minimum_charge,
        damping_step,
        looked_at: now,
        records: state.length(),
    })
}

/// What earlier runs of this configuration let expect of a point as it is planned: temperatures at the end of the planned
/// time at power, energy, what is left at landing, and damping, each with its 95 % interval, what it rests on, and how far it
/// extrapolates; and in which order components would reach their limits.
///
/// A prediction can hold a point. It opens none, and clears nobody to fly.
#[utoipa::path(
    get, path = "",
    params(WhichPredictions),
    responses((status = 200, description = "The predictions.", body = PredictionsView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    point: At<PointCode>,
    which: Query<WhichPredictions>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let pack_c = which.pack_c;
    office
        .show(&person, which.as_of.as_deref(), &request, |view| of_point(view, &point, pack_c))
        .await
}

/// What came of a prediction.
#[derive(Debug, Clone, Copy, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PredictionVerdict {
    /// Nothing was measured yet.
    Waiting,
    /// Inside the interval.
    Inside,
    /// Below the interval.
    Below,
    /// Above the interval.
    Above,
    /// Outside on the harmless side, in a run that was not flown as planned: it says nothing of the model.
    NotComparable,
}

impl From<Verdict> for PredictionVerdict {
    fn from(verdict: Verdict) -> Self {
        match verdict {
            Verdict::Waiting => Self::Waiting,
            Verdict::Inside => Self::Inside,
            Verdict::Below => Self::Below,
            Verdict::Above => Self::Above,
            Verdict::NotComparable => Self::NotComparable,
        }
    }
}

/// A prediction as it was kept when its run was opened, beside what was measured.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ComparedPrediction<'a> {
    /// The run.
    pub run: RunNumber,
    /// The prediction.
    pub predicted: &'a KeptPrediction,
    /// What was measured, in its unit; absent: nothing yet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measured: Option<f64>,
    /// What that says.
    pub verdict: PredictionVerdict,
    /// The same in words.
    pub in_words: String,
}

impl<'a> From<Compared<'a>> for ComparedPrediction<'a> {
    fn from(compared: Compared<'a>) -> Self {
        let Compared { run, predicted, measured, verdict } = compared;
        Self {
            run,
            predicted,
            measured: measured.map(|it| it.figure),
            verdict: verdict.into(),
            in_words: verdict.in_words(),
        }
    }
}

/// Predictions that were kept as runs were opened, each beside what was measured, newest first.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of predictions.", body = Page<ComparedPrediction>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u32> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let all: Vec<Compared<'_>> = prediction::outcomes(view.state).collect();
            let rows = (1_u32..).zip(all).collect::<Vec<_>>().into_iter().rev();
            let rows = rows
                .filter(|(number, _)| after.is_none_or(|after| *number < after))
                .map(|(number, compared)| (number, ComparedPrediction::from(compared)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// A look at why predictions missed.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ModelReview)]
pub struct ReviewView {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The model of what.
    pub what: Predicted,
    /// What was found, and what was done.
    pub findings: String,
}

impl From<&ModelReview> for ReviewView {
    fn from(review: &ModelReview) -> Self {
        let ModelReview { seq, by, at, what, findings, .. } = review.clone();
        Self { seq, by, at, what, findings }
    }
}

/// A model whose predictions hold points until it was reviewed.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct MissedModel {
    /// Of what.
    pub what: Predicted,
    /// The runs in which it missed, oldest first.
    pub runs: Vec<RunNumber>,
}

/// Models that missed, and reviews.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ReviewsView {
    /// Models that have missed twice or more since they were reviewed last.
    pub missed: Vec<MissedModel>,
    /// Reviews, newest first.
    pub reviews: Vec<ReviewView>,
}

fn reviews_view(state: &State) -> Result<Shown, Problem> {
    let missed = prediction::missed(state).into_iter().map(|miss| MissedModel {
        what: miss.what,
        runs: miss.at.into_iter().map(|(run, _)| run).collect(),
    });
    Shown::tagged(&ReviewsView {
        missed: missed.collect(),
        reviews: state.predictions.reviews.iter().rev().map(ReviewView::from).collect(),
    })
}

/// Record a look at why predictions missed: an engineer at the model, then the safety officer, who is another person, at what
/// the engineer found. From then on the model's predictions hold nothing for its misses any more.
#[utoipa::path(
    post, path = "",
    request_body(
        content = ReviewTerms,
        example = json!({
            "what": { "of": "temperature", "limit": "L-WINDING" },
            "findings": "The blanking plate was still in the inlet in both runs; their fits are replaced by one of run 16.",
        }),
    ),
    responses((status = 200, description = "Recorded.", body = Written<ReviewsView>)),
)]
pub(crate) async fn review(
    person: Permitted<ReviewModels>,
    given: Given<ReviewTerms>,
    office: Office,
) -> Answer {
    let given = given.map(|terms| ReviewModel { terms });
    office
        .act(&person, given, |view: View<'_>, _: &[Entry]| {
            Ok(Outcome::changed(reviews_view(view.state)?))
        })
        .await
}

/// Judge the damping before a step in speed: whoever does it has looked at every measurement, and names them.
///
/// A trend opens no step by itself. The judgement is for the plan and the configuration as they are; a measurement that comes
/// later asks for another one.
#[utoipa::path(
    post, path = "",
    request_body(
        content = DampingTerms,
        example = json!({
            "go_on": true,
            "reductions": [1, 2, 3],
            "reasons": "Damping is level over the three speeds, and the frequencies stay apart.",
        }),
    ),
    responses((status = 200, description = "Judged.", body = Written<PredictionsView>)),
)]
pub(crate) async fn judge_damping(
    person: Permitted<MayJudge>,
    point: At<PointCode>,
    given: Given<DampingTerms>,
    office: Office,
) -> Answer {
    let point = point.0;
    let given = given.map(|terms| JudgeDamping { point: point.clone(), terms });
    office
        .act(&person, given, move |view: View<'_>, _: &[Entry]| {
            Ok(Outcome::changed(of_point(view, &point, None)?))
        })
        .await
}
