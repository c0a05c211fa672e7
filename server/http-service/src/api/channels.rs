//! Channels that recorders give, and parameters that are worked out from them.

use actix_web::HttpRequest;
use programme::codes::ChannelCode;
use programme::commands::DefineChannel;
use programme::nouns::Channel;
use programme::state::{Amendable, State};

use crate::access::{DefineChannels, Permitted, Read};
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after, beyond};
use crate::problem::Problem;

fn shown(state: &State, code: &ChannelCode) -> Result<Shown, Problem> {
    let channel = state.channels.get(code).ok_or_else(|| Problem::unknown("channel", code))?;
    Shown::at_revision(state.revision(&Amendable::Channel(code.clone())), channel)
}

/// Channels and derived parameters, by code.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of channels.", body = Page<Channel>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<ChannelCode> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = beyond(&view.state.channels, after.as_ref());
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One channel. Its figures are in its unit.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The channel.", body = Channel)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    channel: At<ChannelCode>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office.show(&person, past.as_of.as_deref(), &request, |view| shown(view.state, &channel)).await
}

/// Define a channel, or define it anew. Its unit cannot change in kind while limits or criteria are held against it.
#[utoipa::path(
    put, path = "",
    request_body(
        content = Channel,
        example = json!({
            "code": "motor_temp", "title": "Motor winding temperature", "unit": "degC",
            "lowest": -40, "highest": 200, "accuracy": 2,
        }),
    ),
    params(Amends),
    responses(
        (status = 200, description = "Defined anew.", body = Written<Channel>),
        (status = 201, description = "Defined.", body = Written<Channel>),
    ),
)]
pub(crate) async fn define(
    person: Permitted<DefineChannels>,
    at: At<ChannelCode>,
    precondition: Precondition,
    given: Given<Channel>,
    office: Office,
) -> Answer {
    at.names("code", &given.body.code)?;
    let code = at.0;
    let place = format!("/api/v1/programmes/{}/channels/{code}", person.programme);
    let amends = (precondition, Amendable::Channel(code.clone()));
    let given = given.map(|channel| DefineChannel { channel, expected: None });
    office
        .amend(&person, amends, given, move |view, _, was_there| {
            Ok(Outcome::put(was_there, place, shown(view.state, &code)?))
        })
        .await
}
