//! Recorders: what files they write, and which column of a file is which channel.

use actix_web::HttpRequest;
use programme::codes::RecorderCode;
use programme::commands::DescribeRecorder;
use programme::nouns::Recorder;
use programme::state::{Amendable, State};

use crate::access::{DescribeRecorders, Permitted, Read};
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after, beyond};
use crate::problem::Problem;

fn shown(state: &State, code: &RecorderCode) -> Result<Shown, Problem> {
    let recorder = state.recorders.get(code).ok_or_else(|| Problem::unknown("recorder", code))?;
    Shown::at_revision(state.revision(&Amendable::Recorder(code.clone())), recorder)
}

/// Recorders with the mapping of their columns, by code.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of recorders.", body = Page<Recorder>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<RecorderCode> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = beyond(&view.state.recorders, after.as_ref());
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One recorder: the format of its files, where they have the moment of a row, and which column is which channel.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The recorder.", body = Recorder)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    recorder: At<RecorderCode>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office.show(&person, past.as_of.as_deref(), &request, |view| shown(view.state, &recorder)).await
}

/// Describe a recorder, or describe it anew. What was taken in by an earlier mapping stays as it was read.
#[utoipa::path(
    put, path = "",
    request_body(
        content = Recorder,
        example = json!({
            "code": "bms", "title": "Battery monitoring, ten rows a second",
            "file": {
                "format": "csv", "delimiter": ";", "decimal": ",", "unit_row": true,
                "time": { "column": "Zeit", "form": "iso8601" },
            },
            "columns": [
                { "column": "U_pack", "channel": "pack_v", "unit": "V" },
                { "column": "I_pack", "channel": "pack_a", "unit": "A", "inverted": true },
                { "column": "T_cell_max", "channel": "cell_t_max", "unit": "K", "scale": 0.1 },
            ],
        }),
    ),
    params(Amends),
    responses(
        (status = 200, description = "Described anew.", body = Written<Recorder>),
        (status = 201, description = "Described.", body = Written<Recorder>),
    ),
)]
pub(crate) async fn describe(
    person: Permitted<DescribeRecorders>,
    at: At<RecorderCode>,
    precondition: Precondition,
    given: Given<Recorder>,
    office: Office,
) -> Answer {
    at.names("code", &given.body.code)?;
    let code = at.0;
    let place = format!("/api/v1/programmes/{}/recorders/{code}", person.programme);
    let amends = (precondition, Amendable::Recorder(code.clone()));
    let given = given.map(|recorder| DescribeRecorder { recorder, expected: None });
    office
        .amend(&person, amends, given, move |view, _, was_there| {
            Ok(Outcome::put(was_there, place, shown(view.state, &code)?))
        })
        .await
}
