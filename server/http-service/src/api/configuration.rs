//! What is fitted to the aircraft, at which version, and how that changed.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::card::Fitted;
use programme::codes::{ItemCode, PersonHandle};
use programme::commands::{FitItem, FittingTerms, RemovalTerms, RemoveItem};
use programme::nouns::Item;
use programme::state::{Amendable, Change, FittedItem, State};
use serde::Serialize;

use crate::access::{Configure, Permitted, Read};
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after, beyond};
use crate::problem::Problem;

/// The aircraft's build standard.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Configuration)]
pub struct ConfigurationView<'a> {
    /// Item to version, as fitted.
    #[schema(value_type = BTreeMap<String, String>)]
    pub fitted: &'a Fitted,
    /// The last change.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_change: Option<ChangeView<'a>>,
}

/// An item of the configuration.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ConfigurationItem)]
pub struct ItemView<'a> {
    /// Its code.
    pub code: &'a ItemCode,
    /// The item as it is fitted; absent: it was taken off.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fitted: Option<&'a Item>,
    /// Since when this version is fitted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<DateTime<Utc>>,
    /// The record that fitted this version.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seq: Option<u64>,
    /// The last change of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_change: Option<ChangeView<'a>>,
}

/// One change of the configuration.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ConfigurationChange)]
pub struct ChangeView<'a> {
    /// The record.
    pub seq: u64,
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub by: &'a PersonHandle,
    /// Which item.
    pub item: &'a ItemCode,
    /// The version before; absent: was not fitted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<&'a str>,
    /// The version after; absent: was taken off.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after: Option<&'a str>,
    /// Why.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<&'a str>,
}

fn change_view(change: &Change) -> ChangeView<'_> {
    ChangeView {
        seq: change.seq,
        at: change.at,
        by: &change.by,
        item: &change.item,
        before: change.before.as_deref(),
        after: change.after.as_deref(),
        reason: change.reason.as_deref(),
    }
}

fn item_view<'a>(
    state: &'a State,
    code: &'a ItemCode,
    fitted: Option<&'a FittedItem>,
) -> ItemView<'a> {
    let mut changes = state.configuration.changes.iter().rev();
    ItemView {
        code,
        fitted: fitted.map(|fitted| &fitted.item),
        since: fitted.map(|fitted| fitted.since),
        seq: fitted.map(|fitted| fitted.since_seq),
        last_change: changes.find(|change| change.item == *code).map(change_view),
    }
}

/// Also of an item that was taken off.
fn shown(state: &State, code: &ItemCode) -> Result<Shown, Problem> {
    let item = item_view(state, code, state.configuration.items.get(code));
    if item.fitted.is_none() && item.last_change.is_none() {
        return Err(Problem::unknown("item", code));
    }
    Shown::at_revision(state.revision(&Amendable::Item(code.clone())), &item)
}

/// The configuration in short: every item that is fitted with its version, and the last change.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The configuration.", body = ConfigurationView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, past.as_of.as_deref(), &request, |view| {
            let configuration = &view.state.configuration;
            Shown::tagged(&ConfigurationView {
                fitted: &configuration.fitted(),
                last_change: configuration.changes.last().map(change_view),
            })
        })
        .await
}

/// Items that are fitted, by code.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of items.", body = Page<ItemView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<ItemCode> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = beyond(&view.state.configuration.items, after.as_ref())
                .map(|(code, fitted)| (code, item_view(view.state, code, Some(fitted))));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One item, also when it was taken off.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The item.", body = ItemView)),
)]
pub(crate) async fn read_item(
    person: Permitted<Read>,
    item: At<ItemCode>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office.show(&person, past.as_of.as_deref(), &request, |view| shown(view.state, &item)).await
}

/// Changes of the configuration, newest first.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of changes.", body = Page<ChangeView>)),
)]
pub(crate) async fn changes(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u64> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let changes = &view.state.configuration.changes;
            let older = match after {
                None => changes.len(),
                Some(after) => changes.partition_point(|change| change.seq < after),
            };
            let rows =
                changes[..older].iter().rev().map(|change| (change.seq, change_view(change)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// Fit an item, or exchange it for another version, with the reason. Not while a run is open.
///
/// Releases are void from then on, and accepted results of points that are sensitive to the item lapse.
#[utoipa::path(
    put, path = "",
    request_body(
        content = FittingTerms,
        example = json!({
            "title": "Battery monitoring software",
            "kind": "software",
            "version": "2.7",
            "reason": "Cell voltages are read twice as often.",
        }),
    ),
    params(Amends),
    responses(
        (status = 200, description = "Exchanged.", body = Written<ItemView>),
        (status = 201, description = "Fitted.", body = Written<ItemView>),
    ),
)]
pub(crate) async fn fit(
    person: Permitted<Configure>,
    at: At<ItemCode>,
    precondition: Precondition,
    given: Given<FittingTerms>,
    office: Office,
) -> Answer {
    let code = at.0;
    let place = format!("/api/v1/programmes/{}/configuration/items/{code}", person.programme);
    let amends = (precondition, Amendable::Item(code.clone()));
    let given = given.map(|terms| FitItem { item: code.clone(), terms, expected: None });
    office
        .amend(&person, amends, given, move |view, _, was_there| {
            Ok(Outcome::put(was_there, place, shown(view.state, &code)?))
        })
        .await
}

/// Take an item off and put nothing in its place, with the reason. Not while a run is open.
///
/// Releases are void from then on, and accepted results of points that are sensitive to the item lapse.
#[utoipa::path(
    post, path = "",
    request_body(content = RemovalTerms, example = json!({ "reason": "The tow hook is not used before phase envelope." })),
    params(Amends),
    responses((status = 200, description = "Taken off.", body = Written<ItemView>)),
)]
pub(crate) async fn remove(
    person: Permitted<Configure>,
    at: At<ItemCode>,
    precondition: Precondition,
    given: Given<RemovalTerms>,
    office: Office,
) -> Answer {
    let code = at.0;
    let amends = (precondition, Amendable::Item(code.clone()));
    let given = given.map(|terms| RemoveItem { item: code.clone(), terms, expected: None });
    office
        .amend(&person, amends, given, move |view, _, _| {
            Ok(Outcome::changed(shown(view.state, &code)?))
        })
        .await
}
