//! The methods that there are.

use actix_web::HttpRequest;
use evaluation::reductions::version_of;
use flight_science::catalogue::Field;
use recordings::reduce::{Figure, Reduction, Role, reductions};
use serde::Serialize;

use crate::access::Anyone;
use crate::desk::{Answer, Shown};

/// A method of reduction.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ReductionMethod)]
pub struct MethodView {
    /// The name by which it is called.
    #[schema(example = "airspeed-calibration")]
    pub name: &'static str,
    /// Goes up by one whenever the same channels may give another input of the topic than before.
    pub version: u32,
    /// The topic of the flight-test science that answers; `GET /api/v1/compute/{topic}` tells its equations and sources.
    pub topic: &'static str,
    /// The topic's version.
    pub topic_version: u32,
    /// Both versions, as reductions are recorded with them.
    pub recorded_version: String,
    /// A short heading.
    pub title: &'static str,
    /// What it looks for and gives.
    pub gives: &'static str,
    /// How stretches are found and readings are worked, step by step.
    pub steps: &'static [&'static str],
    /// The roles that channels play.
    #[schema(value_type = Vec<crate::api::reductions::RoleView>)]
    pub needs: &'static [Role],
    /// Figures that no channel has.
    #[schema(value_type = Vec<crate::api::compute::FieldView>)]
    pub given: &'static [Field],
    /// The figures of the answer by which criteria can be filled.
    #[schema(value_type = Vec<crate::api::reductions::FigureView>)]
    pub figures: &'static [Figure],
    /// The greatest share of the interval that may lack readings of a required role, from 0 to 1.
    pub most_missing: f64,
}

/// A role that a channel plays in a reduction.
#[derive(Debug, utoipa::ToSchema)]
#[schema(as = ReductionRole)]
#[expect(dead_code, reason = "it describes what the crate of recordings writes")]
pub struct RoleView {
    /// Its name.
    name: String,
    /// The unit that the method works in; a channel in another unit of the kind is converted. Empty where any unit does.
    unit: String,
    /// Whether the method cannot do without it.
    required: bool,
    /// What it means, and what happens where it is left out.
    meaning: String,
}

/// A figure of an answer.
#[derive(Debug, utoipa::ToSchema)]
#[schema(as = ReductionFigure)]
#[expect(dead_code, reason = "it describes what the crate of recordings writes")]
pub struct FigureView {
    /// Where it stands in the answer, as a JSON pointer (RFC 6901).
    pointer: String,
    /// Its unit.
    unit: String,
    /// What it is.
    meaning: String,
}

impl MethodView {
    fn of(method: &'static Reduction) -> Self {
        Self {
            name: method.name,
            version: method.version,
            topic: method.topic,
            topic_version: method.topic_version(),
            recorded_version: version_of(method),
            title: method.title,
            gives: method.gives,
            steps: method.steps,
            needs: method.needs,
            given: method.given,
            figures: method.figures,
            most_missing: method.most_missing,
        }
    }
}

/// The methods by which intervals are reduced: the roles that channels play, the steps, and the figures of the answer.
#[utoipa::path(
    get, path = "",
    responses((status = 200, description = "The methods.", body = Vec<MethodView>)),
)]
pub(crate) async fn methods(_: Anyone, request: HttpRequest) -> Answer {
    let all: Vec<MethodView> = reductions().iter().copied().map(MethodView::of).collect();
    Ok(Shown::tagged(&all)?.reply(request.headers()))
}
