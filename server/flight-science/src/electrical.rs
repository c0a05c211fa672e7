//! Electrical facts: being written.

use serde_json::Value;

use crate::catalogue::{FaultCode, Refused, Topic};

/// The topic `electrical`.
pub static TOPIC: Topic = Topic {
    name: "electrical",
    version: 1,
    title: "Electrical facts",
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
