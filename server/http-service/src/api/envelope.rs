//! The shown envelope, as figures with what shows them and as pictures.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::card::Fitted;
use programme::codes::{PointCode, RunNumber};
use programme::envelope::{
    self, AxisShown, Boundary, Envelope, Evidence, FlownConfiguration, Pair, PairShown, Region,
};
use programme::measure::{Measure, Unit};
use programme::nouns::Axis;
use programme::record::Digest;
use programme::state::{ResultId, State};
use serde::{Deserialize, Serialize};

use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::{At, Query};
use crate::office::Office;
use crate::picture::{PairPicture, Subject, draw};
use crate::problem::Problem;

/// Which envelope.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct WhichEnvelope {
    /// The digest of a configuration in which results were made: what was shown in that alone. Absent: what stands for
    /// what is fitted now.
    #[param(max_length = 64)]
    pub configuration: Option<String>,
    /// As it stood after the record of this number, or at this time (RFC 3339).
    #[param(example = "2026-05-02T08:00:00Z")]
    pub as_of: Option<String>,
}

/// A result that shows something.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ShowingResult<'a> {
    /// Its point.
    pub point: &'a PointCode,
    /// Its run.
    pub run: RunNumber,
    /// The record of it.
    pub seq: u64,
    /// When it was recorded, or observed.
    pub at: DateTime<Utc>,
    /// When the second of two people accepted it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub accepted_at: Option<DateTime<Utc>>,
}

/// The furthest that was shown one way along an axis.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ShownFigure<'a> {
    /// What was reached.
    pub reached: Measure,
    /// The result that shows it.
    pub by: ShowingResult<'a>,
}

/// What was shown on one axis.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = AxisShown)]
pub struct AxisView<'a> {
    /// The axis.
    pub axis: Axis,
    /// The least that was shown.
    pub least: ShownFigure<'a>,
    /// The greatest that was shown.
    pub greatest: ShownFigure<'a>,
    /// The least that the aircraft is designed for; absent: not stated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub design_least: Option<Measure>,
    /// The greatest that the aircraft is designed for; absent: not stated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub design_greatest: Option<Measure>,
}

/// An axis of a pair with its unit.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct PairAxis {
    /// The axis.
    pub axis: Axis,
    /// The unit of its figures.
    pub unit: Unit,
}

/// A result at the edge of a region.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct RegionEdge<'a> {
    /// What it reached: across, upwards, in the units of the pair.
    pub reached: [f64; 2],
    /// The result.
    pub by: ShowingResult<'a>,
}

/// A region that was shown.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ShownRegion)]
pub struct RegionView<'a> {
    /// Its corners in order, inside the design boundary: across, upwards, in the units of the pair. One corner is a place,
    /// two are a line.
    pub polygon: Vec<[f64; 2]>,
    /// The results that make its edge; without any one of them it would be smaller.
    pub shown_by: Vec<RegionEdge<'a>>,
}

/// The design boundary of a pair, in its units, as far as it is known.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = DesignBoundary)]
pub struct BoundaryView {
    /// The least across.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub least: Option<f64>,
    /// The greatest across.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub greatest: Option<f64>,
    /// The greatest upwards, straight from corner to corner.
    pub upper: Vec<[f64; 2]>,
    /// The least upwards, likewise.
    pub lower: Vec<[f64; 2]>,
    /// All of it, where it is closed.
    pub polygon: Vec<[f64; 2]>,
    /// Where it comes from, and what of it is not known.
    pub notes: Vec<String>,
}

/// What was shown of two axes together.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = PairShown)]
pub struct PairView<'a> {
    /// Which pair.
    pub pair: Pair,
    /// The axis across.
    pub across: PairAxis,
    /// The axis upwards.
    pub upwards: PairAxis,
    /// How many accepted results reached something on both.
    pub results: usize,
    /// What they show; none: nothing.
    pub regions: Vec<RegionView<'a>>,
    /// The design boundary.
    pub boundary: BoundaryView,
    /// Where its picture is.
    pub picture: String,
}

/// A configuration in which accepted results were made.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = FlownConfiguration)]
pub struct FlownView {
    /// Its digest, by which its envelope is asked for.
    pub digest: Digest,
    /// What was fitted, each item with its version.
    #[schema(value_type = std::collections::BTreeMap<String, String>)]
    pub fitted: std::sync::Arc<Fitted>,
    /// Whether it is fitted now.
    pub present: bool,
    /// How many accepted results were made in it.
    pub results: usize,
}

/// What accepted results have shown.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Envelope)]
pub struct EnvelopeView<'a> {
    /// The configuration that was asked for; absent: what is fitted now, and results of earlier configurations that still
    /// stand for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub configuration: Option<Digest>,
    /// How many accepted results show it.
    pub results: usize,
    /// Each axis on which something was shown.
    pub axes: Vec<AxisView<'a>>,
    /// Each pair of axes that are looked at together.
    pub pairs: Vec<PairView<'a>>,
    /// Every configuration in which accepted results were made, in the order of the first of them.
    pub configurations: Vec<FlownView>,
    /// After which record.
    pub records: u64,
}

pub(crate) fn showing(state: &State, id: ResultId) -> Option<ShowingResult<'_>> {
    let result = state.results.get(id.0)?;
    let signed = [&result.engineering, &result.safety];
    Some(ShowingResult {
        point: &result.point,
        run: result.run,
        seq: result.seq,
        at: result.at,
        accepted_at: signed.into_iter().flatten().map(|signature| signature.at).max(),
    })
}

fn axis_view<'a>(state: &'a State, shown: &AxisShown) -> Option<AxisView<'a>> {
    let figure =
        |of: envelope::Shown| Some(ShownFigure { reached: of.reached, by: showing(state, of.by)? });
    Some(AxisView {
        axis: shown.axis,
        least: figure(shown.least)?,
        greatest: figure(shown.greatest)?,
        design_least: shown.design_least,
        design_greatest: shown.design_greatest,
    })
}

fn region_view<'a>(state: &'a State, region: &Region) -> RegionView<'a> {
    let edge = |evidence: &Evidence| {
        Some(RegionEdge { reached: evidence.at, by: showing(state, evidence.by)? })
    };
    RegionView {
        polygon: region.polygon.clone(),
        shown_by: region.bounds.iter().filter_map(edge).collect(),
    }
}

/// A line without an end has no corner there that JSON could tell.
fn told(corners: &[[f64; 2]]) -> Vec<[f64; 2]> {
    corners.iter().copied().filter(|corner| corner.iter().all(|it| it.is_finite())).collect()
}

fn boundary_view(boundary: &Boundary) -> BoundaryView {
    BoundaryView {
        least: boundary.x_least,
        greatest: boundary.x_greatest,
        upper: told(&boundary.upper),
        lower: told(&boundary.lower),
        polygon: told(&boundary.polygon),
        notes: boundary.notes.clone(),
    }
}

fn pair_view<'a>(state: &'a State, shown: &PairShown, place: &str) -> PairView<'a> {
    let axis = |(axis, unit): (Axis, Unit)| PairAxis { axis, unit };
    PairView {
        pair: shown.pair,
        across: axis(shown.pair.across()),
        upwards: axis(shown.pair.upwards()),
        results: shown.evidence.len(),
        regions: shown.regions.iter().map(|region| region_view(state, region)).collect(),
        boundary: boundary_view(&shown.boundary),
        picture: format!("{place}/{}/picture", shown.pair),
    }
}

/// The envelope that is asked for, with the configuration where one is named.
pub(crate) fn wanted(
    state: &State,
    configuration: Option<&str>,
) -> Result<(Envelope, Option<FlownConfiguration>), Problem> {
    let Some(text) = configuration else { return Ok((Envelope::present(state), None)) };
    let known = envelope::configurations(state).into_iter();
    let flown = known.into_iter().find(|flown| flown.digest.to_string() == text);
    let flown = flown.ok_or_else(|| Problem::unknown("configuration", text))?;
    Ok((Envelope::of(state, flown.results.clone()), Some(flown)))
}

/// The shown envelope: what accepted results that stand have demonstrated, on each axis and on pairs of axes together, with
/// the results that show it, inside the design boundary.
///
/// Where more is more demanding on both axes of a pair, only what one result reached on both at once counts. Of mass and
/// centre of gravity everything between the loadings flown counts. It tells what was shown; it clears nobody to fly.
#[utoipa::path(
    get, path = "",
    params(WhichEnvelope),
    responses((status = 200, description = "The shown envelope.", body = EnvelopeView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    which: Query<WhichEnvelope>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let place = format!("/api/v1/programmes/{}/envelope", person.programme);
    office
        .show(&person, which.as_of.as_deref(), &request, |view| {
            let state = view.state;
            let (envelope, flown) = wanted(state, which.configuration.as_deref())?;
            let pairs = envelope.pairs.iter();
            let configurations = envelope::configurations(state).into_iter().map(|it| FlownView {
                results: it.results.len(),
                digest: it.digest,
                fitted: it.fitted,
                present: it.is_present,
            });
            Shown::tagged(&EnvelopeView {
                configuration: flown.map(|flown| flown.digest),
                results: envelope.results.len(),
                axes: envelope.axes.iter().filter_map(|it| axis_view(state, it)).collect(),
                pairs: pairs.map(|it| pair_view(state, it, &place)).collect(),
                configurations: configurations.collect(),
                records: state.length(),
            })
        })
        .await
}

fn axis_words((axis, unit): (Axis, Unit)) -> String {
    format!("{} ({unit})", axis.as_str().replace('-', " "))
}

fn subject(state: &State, flown: Option<&FlownConfiguration>) -> Subject {
    let aircraft = state.aircraft.as_ref().map(|aircraft| aircraft.name.as_str());
    let programme = aircraft
        .map_or_else(|| state.title.clone(), |aircraft| format!("{}: {aircraft}", state.title));
    let configuration = flown.map_or_else(
        || "results that stand for what is fitted now".to_owned(),
        |flown| format!("configuration {:.12}", flown.digest.to_string()),
    );
    let date = state.last_at.map(|at| at.format(" of %Y-%m-%d %H:%M UTC").to_string());
    let moment = format!("after record {}{}", state.length(), date.unwrap_or_default());
    Subject { programme, configuration, moment }
}

/// What was shown of two axes together, as a picture (SVG): the shown region, the results that show it, and the design
/// boundary.
#[utoipa::path(
    get, path = "",
    params(WhichEnvelope),
    responses((
        status = 200,
        description = "The picture.",
        body = String,
        content_type = "image/svg+xml",
        example = "<svg xmlns=\"http://www.w3.org/2000/svg\"></svg>",
    )),
)]
pub(crate) async fn picture(
    person: Permitted<Read>,
    pair: At<Pair>,
    which: Query<WhichEnvelope>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, which.as_of.as_deref(), &request, |view| {
            let state = view.state;
            let (envelope, flown) = wanted(state, which.configuration.as_deref())?;
            let shown = envelope.pair(*pair).ok_or_else(|| Problem::unknown("pair", *pair))?;
            let names = shown.evidence.iter().map(|evidence| {
                let result = state.results.get(evidence.by.0);
                result.map(|result| result.point.to_string()).unwrap_or_default()
            });
            Ok(Shown::picture(draw(&PairPicture {
                subject: subject(state, flown.as_ref()),
                names: names.collect(),
                axes: [axis_words(pair.across()), axis_words(pair.upwards())],
                shown,
            })))
        })
        .await
}
