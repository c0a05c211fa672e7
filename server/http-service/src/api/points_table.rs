//! The points as a spreadsheet has them: given back as CSV, taken in as CSV or XLSX.

use std::sync::Arc;

use actix_web::HttpRequest;
use programme::document::{ImportPoints, PointsFile, points_table};
use programme::nouns::Point;
use programme::state::State;

use crate::access::{Permitted, Plan, Read};
use crate::api::document::{DocumentCounts, counts};
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::entity_tag::{Precondition, Unchanged};
use crate::given::{File, Given, MediaType, Query};
use crate::office::Office;
use crate::page::OfMoment;
use crate::problem::{FAULT, Problem};

/// A spreadsheet of points.
#[derive(Debug)]
pub(crate) struct Spreadsheet(PointsFile);

const CSV: &str = "text/csv";
const XLSX: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

impl MediaType for Spreadsheet {
    const KNOWN: &'static [&'static str] = &[CSV, XLSX];

    fn of(essence: &str) -> Option<Self> {
        match essence {
            CSV => Some(Self(PointsFile::Csv)),
            XLSX => Some(Self(PointsFile::Xlsx)),
            _ => None,
        }
    }
}

/// A spreadsheet of one point, for the description.
const EXAMPLE: &str = "\
code,title,phase,objective,technique,conditions,axes_together,duration_min,energy_kwh,data_required,criteria,limits,\
stop_criteria,hazards,after_points,after_checks,after_documents,crew,most_on_board,weather,configuration,sensitive_to
ST-90,Insulation after the wash,static,Show that washing let no water into the boxes.,\
Pack plugs out; measure both poles at 500 V for one minute.,,,20,0,iso_ohm_v,iso_ohm_v min >= 1000 ohm/V,L-ISO,\
Smell or smoke.,H-ELECTROCUTION,ST-01,,,1 engineer [hv-work]; 1 crew [hv-aware],0,,,battery
";

/// The points of the plan as a spreadsheet reads them (CSV): one row a point, one column a field.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((
        status = 200,
        description = "The points, UTF-8, a heading in the first line.",
        body = String,
        content_type = "text/csv",
        example = "code,title,phase\nGR-01,Isolation and safety chain,static\n",
    )),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let points =
        office.look(&person, past.as_of.as_deref(), |view| Ok(planned(view.state))).await?;
    Ok(Shown::file("text/csv; charset=utf-8", text(&points)?).reply(request.headers()))
}

fn planned(state: &State) -> Vec<Arc<Point>> {
    let in_plan = state.ladder.rungs().iter().filter(|rung| rung.dropped.is_none());
    in_plan.map(|rung| Arc::clone(&rung.point)).collect()
}

fn text(points: &[Arc<Point>]) -> Result<String, Problem> {
    points_table::export_csv(points.iter().map(|point| &**point)).map_err(|error| {
        Problem::new(FAULT, "The points could not be written. Tell whoever runs the server.")
            .because(error)
    })
}

/// Plan points as a spreadsheet has them, all or nothing. Points that it leaves out stay as they are.
///
/// All columns must be there, in any order, so that no plan loses its hazards because a column was hidden. Where anything
/// is wrong nothing is recorded, and every fault is told with its place, such as `line 4, column conditions`. A point
/// that is planned anew loses the signatures on its plan. Send the ETag of the points that you read in `If-Match`, so that
/// what others changed meanwhile is not undone.
#[utoipa::path(
    post, path = "",
    request_body(
        description = "Comma- or semicolon-separated text, or a workbook whose first sheet is read. At most 8 MiB and 20 000 points.",
        content(
            (String = "text/csv", example = json!(EXAMPLE)),
            (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
        ),
    ),
    params(Unchanged),
    responses((status = 200, description = "Planned.", body = Written<DocumentCounts>)),
)]
pub(crate) async fn import(
    person: Permitted<Plan>,
    precondition: Precondition,
    file: File<Spreadsheet>,
    office: Office,
) -> Answer {
    let body = ImportPoints { format: file.kind.0, file: file.bytes.to_vec() };
    let given = Given { body, asked: file.asked };
    let piece = |state: &State| text(&planned(state));
    office
        .act_on(&person, (precondition, "the table of points"), piece, given, |view, _| {
            Ok(Outcome::changed(Shown::new(&counts(view))?))
        })
        .await
}
