//! What a change would undo, before it is recorded; and letting results stand in spite of one.

use actix_web::HttpRequest;
use actix_web::http::StatusCode;
use programme::changes::{self, Effects, Supposed};
use programme::codes::{
    CheckCode, EventCode, ItemCode, PersonHandle, PointCode, ReductionNumber, RunNumber,
};
use programme::commands::{NarrowRepeat, NarrowingTerms};
use programme::entry::Entry;
use programme::holds::Hold;
use programme::nouns::{Item, ItemKind};
use programme::record::{Predicted, ToleratedChange};
use programme::state::{Lapse, State};
use serde::{Deserialize, Serialize};

use crate::access::{NarrowRepeats, Permitted, Read};
use crate::description::SignedBody;
use crate::desk::{Answer, Outcome, Shown, View, Written, answer};
use crate::given::{At, Given, Number, Query, Signed};
use crate::office::Office;
use crate::page::OfMoment;
use crate::problem::{INVALID, Problem};

/// A change that nobody has recorded.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(tag = "change", rename_all = "kebab-case", deny_unknown_fields)]
pub enum SupposedChange {
    /// An item is fitted, or exchanged for another version.
    Fitted {
        /// Which.
        item: ItemCode,
        /// The version that would be fitted.
        #[schema(max_length = 200)]
        version: String,
    },
    /// An item is taken off and nothing put in its place.
    Removed {
        /// Which.
        item: ItemCode,
    },
    /// Something happened that ends checks or puts items into quarantine.
    Happened {
        /// What kind of happening.
        event: EventCode,
    },
}

/// An accepted result that would not stand any more.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct LapsingResult {
    /// Of which point.
    pub point: PointCode,
    /// Of which run.
    pub run: RunNumber,
    /// Why.
    pub why: Lapse,
}

/// A lapsed result that would stand again.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct RestoredResult {
    /// Of which point.
    pub point: PointCode,
    /// Of which run.
    pub run: RunNumber,
}

/// A prediction that would lose something that it rests on.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct LostPrediction {
    /// For which point.
    pub point: PointCode,
    /// Of what.
    pub what: Predicted,
    /// Reductions that would say nothing any more.
    pub reductions: Vec<ReductionNumber>,
    /// Runs that would say nothing any more.
    pub runs: Vec<RunNumber>,
    /// Why it could not be made at all any more; absent: something is left.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gone_because: Option<String>,
}

/// Holds that a point would have and has not now.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct NewHolds {
    /// The point.
    pub point: PointCode,
    /// The holds.
    pub holds: Vec<Hold>,
}

/// A point that another one covers.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct CoveredPoint {
    /// Which.
    pub point: PointCode,
    /// The point that covers it.
    pub by: PointCode,
}

/// Points that would be shown again.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct RepeatView {
    /// The smallest set, in the ladder's order.
    pub points: Vec<PointCode>,
    /// What these cover: they look at the same under conditions that are as demanding or more. Each waits to be shown again
    /// all the same, until the safety officer lets its result stand, with a reason.
    pub covered: Vec<CoveredPoint>,
}

/// What a change would bring about.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ChangeEffects)]
pub struct EffectsView {
    /// Accepted results that would lapse, in the ladder's order.
    pub lapsing: Vec<LapsingResult>,
    /// Lapsed results that would stand again, as when a change is undone.
    pub restored: Vec<RestoredResult>,
    /// Predictions for points of the plan that would lose something they rest on.
    pub predictions: Vec<LostPrediction>,
    /// Checks that would fall due.
    pub checks: Vec<CheckCode>,
    /// Holds that points would have and have not now.
    pub new_holds: Vec<NewHolds>,
    /// Points that would be shown again.
    pub repeat: RepeatView,
    /// After which record it was looked at.
    pub records: u64,
}

/// What a change that is only supposed would bring about.
pub(crate) fn effects_of(
    view: View<'_>,
    change: SupposedChange,
    by: &PersonHandle,
) -> Result<EffectsView, Problem> {
    let supposed = supposed(view.state, change)?;
    let effects = changes::effects(view.state, &supposed, by, view.now);
    Ok(effects_view(effects, view.state.length()))
}

fn effects_view(effects: Effects, records: u64) -> EffectsView {
    let Effects { lapsing, restored, predictions, checks, holds, repeat } = effects;
    EffectsView {
        lapsing: lapsing
            .into_iter()
            .map(|it| LapsingResult { point: it.point, run: it.run, why: it.because })
            .collect(),
        restored: restored
            .into_iter()
            .map(|it| RestoredResult { point: it.point, run: it.run })
            .collect(),
        predictions: predictions
            .into_iter()
            .map(|it| LostPrediction {
                point: it.point,
                what: it.what,
                reductions: it.reductions,
                runs: it.runs,
                gone_because: it.gone.map(|gone| gone.why.in_words()),
            })
            .collect(),
        checks: checks.into_iter().map(|it| it.check).collect(),
        new_holds: holds.into_iter().map(|(point, holds)| NewHolds { point, holds }).collect(),
        repeat: RepeatView {
            points: repeat.points,
            covered: repeat
                .covered
                .into_iter()
                .map(|it| CoveredPoint { point: it.point, by: it.by })
                .collect(),
        },
        records,
    }
}

/// What is supposed, in the programme's words; refused where the programme does not know what it names.
fn supposed(state: &State, change: SupposedChange) -> Result<Supposed, Problem> {
    match change {
        SupposedChange::Fitted { item, version } => {
            let fitted = state.configuration.items.get(&item).map(|fitted| fitted.item.clone());
            let item = fitted.unwrap_or_else(|| Item {
                title: item.to_string(),
                kind: ItemKind::Part,
                version: String::new(),
                code: item,
            });
            let item = Item { version, ..item };
            match item.faults("").into_iter().find(|fault| fault.field == "version") {
                None => Ok(Supposed::Fitted(item)),
                Some(fault) => Err(Problem::of_field(INVALID, "version", fault.why)),
            }
        }
        SupposedChange::Removed { item } if !state.configuration.items.contains_key(&item) => {
            Err(Problem::of_field(
                INVALID,
                "item",
                format!("{item} is not fitted. Name an item that is."),
            ))
        }
        SupposedChange::Removed { item } => Ok(Supposed::Removed(item)),
        SupposedChange::Happened { event } => {
            if state.known_events().contains(&event) {
                return Ok(Supposed::Happened(event));
            }
            let why = "ends no check and puts no item into quarantine. Name one that the validity of a check or the policy names.";
            Err(Problem::of_field(INVALID, "event", format!("{event} {why}")))
        }
    }
}

/// What a change of an item, or a happening, would bring about, before anybody records it: which accepted results would lapse
/// and why, which would stand again, which predictions would lose their data, which checks would fall due, and the smallest
/// set of points that would be shown again. Nothing is recorded.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SupposedChange,
        example = json!({ "change": "fitted", "item": "inverter", "version": "I3 serial 09" }),
    ),
    responses((status = 200, description = "What it would bring about.", body = EffectsView)),
)]
pub(crate) async fn dry_run(
    person: Permitted<Read>,
    given: Given<SupposedChange>,
    office: Office,
) -> Answer {
    let Given { body, asked } = given;
    let replayed = office.was_computed(&person.person, &asked).await?;
    let by = person.person.clone();
    let found = office.look(&person, None, |view| effects_of(view, body, &by)).await?;
    office.computed(&person.person, asked, replayed, answer(StatusCode::OK, &found)?).await
}

/// Why a result lapsed for changes of items, and for which of them the safety officer lets it stand.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Narrowing)]
pub struct NarrowingView<'a> {
    /// The point.
    pub point: &'a PointCode,
    /// The run.
    pub run: RunNumber,
    /// Every item that the point is sensitive to and that is not what it was in the run; to be sent to let the result stand.
    pub changes: Vec<ToleratedChange>,
    /// Changes for which the safety officer lets it stand.
    pub tolerated: &'a [ToleratedChange],
    /// Whether it counts.
    pub stands: bool,
}

fn narrowing(state: &State, run: RunNumber, point: &PointCode) -> Result<Shown, Problem> {
    state.run(run).ok_or_else(|| Problem::unknown("run", run))?;
    let (_, result) = state.result(run, point).ok_or_else(|| Problem::unknown("result", point))?;
    Shown::tagged(&NarrowingView {
        point: &result.point,
        run,
        changes: state.changes_since(result),
        tolerated: &result.tolerated,
        stands: result.is_accepted(),
    })
}

/// Which items changed since a run that its result's point is sensitive to, and for which of them the result is let stand.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The changes.", body = NarrowingView)),
)]
pub(crate) async fn read_narrowing(
    person: Permitted<Read>,
    run: At<Number<RunNumber>>,
    point: At<PointCode>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let (run, point) = (run.0.0, point.0);
    office
        .show(&person, past.as_of.as_deref(), &request, |view| narrowing(view.state, run, &point))
        .await
}

/// Let an accepted result stand though items changed that its point is sensitive to, with the reason and the password or PIN
/// again. So what a change asks to be shown again becomes less.
///
/// It stands for exactly these changes; with any other it lapses again.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SignedBody<NarrowingTerms>,
        example = json!({
            "changes": [{ "item": "inverter", "was": "I2 serial 07", "is": "I3 serial 09" }],
            "reason": "GR-05 is shown again at four times the power, with the same sensors looked at.",
            "secret": "271845",
        }),
    ),
    responses((status = 200, description = "It stands.", body = Written<NarrowingView>)),
)]
pub(crate) async fn narrow(
    person: Permitted<NarrowRepeats>,
    run: At<Number<RunNumber>>,
    point: At<PointCode>,
    signed: Signed<NarrowingTerms>,
    office: Office,
) -> Answer {
    let (run, point) = (run.0.0, point.0);
    let signed = signed.map(|terms| NarrowRepeat { run, point: point.clone(), terms });
    office
        .sign(&person, signed, move |view: View<'_>, _: &[Entry]| {
            Ok(Outcome::changed(narrowing(view.state, run, &point)?))
        })
        .await
}
