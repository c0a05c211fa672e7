//! The flight-test science without a programme around it.

use actix_web::HttpRequest;
use actix_web::http::StatusCode;
use flight_science::catalogue;
use flight_science::reference;
use serde_json::Value;

use crate::access::{Anyone, SignedIn};
use crate::desk::{Answer, Shown, answer};
use crate::given::{At, Given, Topic};
use crate::office::Office;
use crate::problem::{FAULT, Problem};

/// The reference of all topics: what each takes, gives and rests on.
#[utoipa::path(get, path = "", responses((status = 200, description = "The topics.", body = Vec<crate::api::compute::TopicView>)))]
pub(crate) async fn list(_: Anyone, request: HttpRequest) -> Answer {
    Ok(Shown::tagged(&reference::all())?.reply(request.headers()))
}

/// The reference of one topic.
#[utoipa::path(get, path = "", responses((status = 200, description = "The topic.", body = crate::api::compute::TopicView)))]
pub(crate) async fn read(_: Anyone, topic: At<Topic>, request: HttpRequest) -> Answer {
    let found = reference::all().iter().find(|known| known.name == topic.0.0);
    let unknown = || catalogue::ComputeError::UnknownTopic { name: topic.0.0.clone() };
    Ok(Shown::tagged(found.ok_or_else(unknown)?)?.reply(request.headers()))
}

/// Compute a topic.
///
/// The fields of the input and of the answer, with their units, stand in the topic's reference. Input outside the
/// method's range is refused, never extrapolated. What is computed advises engineers; it clears nobody to fly.
#[utoipa::path(
    post, path = "",
    request_body(content = Value, example = json!({ "pressure_altitude_ft": 2000, "oat_c": 25 })),
    responses((status = 200, description = "The answer.", body = Value)),
)]
pub(crate) async fn compute(
    person: SignedIn,
    topic: At<Topic>,
    given: Given<Value>,
    office: Office,
) -> Answer {
    let Given { body: input, asked } = given;
    let replayed = office.was_computed(&person.handle, &asked).await?;
    let topic = topic.0.0;
    let computed = tokio::task::spawn_blocking(move || catalogue::compute(&topic, &input))
        .await
        .map_err(|error| {
        Problem::new(
            FAULT,
            "The program failed while computing. Tell whoever runs it the request id.",
        )
        .because(error)
    })??;
    office.computed(&person.handle, asked, replayed, answer(StatusCode::OK, &computed)?).await
}

/// What the reference says of one topic.
#[derive(Debug, utoipa::ToSchema)]
#[schema(as = Topic)]
#[expect(dead_code, reason = "it describes what the science crate writes")]
pub struct TopicView {
    /// The name by which it is called.
    #[schema(example = "atmosphere")]
    name: String,
    /// Goes up by one whenever the same input may give another answer than before.
    version: u32,
    /// A short heading.
    title: String,
    /// What it gives.
    gives: String,
    /// Where the method holds; input beyond is refused.
    valid_range: String,
    /// The fields of the input, with their units.
    inputs: Vec<FieldView>,
    /// The fields of the answer, with their units.
    outputs: Vec<FieldView>,
    /// The equations in words.
    equations: Vec<String>,
    /// Author or body, edition, equation or table.
    sources: Vec<String>,
    /// An input that the topic answers.
    example: Value,
    /// The published cases that the topic is held against.
    published: Vec<PublishedCaseView>,
}

/// One field of a topic's input or answer.
#[derive(Debug, utoipa::ToSchema)]
#[schema(as = TopicField)]
#[expect(dead_code, reason = "it describes what the science crate writes")]
pub struct FieldView {
    /// Path in the JSON, such as `legs[].track_deg`.
    name: String,
    /// Unit, or what kind of thing it is.
    unit: String,
    /// Whether the input must have it, or the answer always has it.
    required: bool,
    /// What it means.
    meaning: String,
}

/// One published case.
#[derive(Debug, utoipa::ToSchema)]
#[schema(as = PublishedCase)]
#[expect(dead_code, reason = "it describes what the science crate writes")]
pub struct PublishedCaseView {
    /// The file that holds it.
    file: String,
    /// What it is about; may be empty.
    name: String,
    /// Where the figures come from.
    source: String,
    /// How they were come by.
    status: String,
    /// Whether it is about an input that has to be refused.
    refusal: bool,
}
