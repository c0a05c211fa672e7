//! Flutter margin: being written.

use serde_json::Value;

use crate::catalogue::{FaultCode, Refused, Topic};

/// The topic `flutter-margin`.
pub static TOPIC: Topic = Topic {
    name: "flutter-margin",
    version: 1,
    title: "Flutter margin",
    gives: "",
    valid_range: "",
    inputs: &[],
    outputs: &[],
    equations: &[],
    sources: &[],
    published: &[],
    example: "{}",
    compute,
};

fn compute(_input: &Value) -> Result<Value, Refused> {
    Err(Refused::because(
        "",
        FaultCode::NoConvergence,
        "This topic is being written.",
    ))
}
