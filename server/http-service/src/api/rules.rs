//! The reference of all rules that can hold a point.

use actix_web::HttpRequest;
use programme::holds::{Stage, reference};
use serde::Serialize;

use crate::access::Anyone;
use crate::desk::{Answer, Shown};

/// A rule that can hold a point.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Rule)]
pub struct RuleView {
    /// Its stable code, as holds name it.
    #[schema(example = "release-missing")]
    pub code: &'static str,
    /// The source of holds that it belongs to.
    #[schema(example = "release")]
    pub source: &'static str,
    /// Which act it stands against.
    pub stage: Stage,
    /// What it asks for, in a sentence.
    #[schema(example = "The safety officer has released the point.")]
    pub meaning: &'static str,
}

/// Every rule that can hold a point, by source, in the order in which holds are told.
///
/// A rule of stage `release` stands against releasing and running a point, one of stage `run` against running it only.
#[utoipa::path(get, path = "", responses((status = 200, description = "The rules.", body = Vec<RuleView>)))]
pub(crate) async fn list(_: Anyone, request: HttpRequest) -> Answer {
    let rules: Vec<RuleView> = reference()
        .map(|(source, rule)| RuleView {
            code: rule.code,
            source,
            stage: rule.stage,
            meaning: rule.meaning,
        })
        .collect();
    Ok(Shown::tagged(&rules)?.reply(request.headers()))
}
