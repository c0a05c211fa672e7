//! Thermal fit: being written.

use serde_json::Value;

use crate::catalogue::{FaultCode, Refused, Topic};

/// The topic `thermal-fit`.
pub static TOPIC: Topic = Topic {
    name: "thermal-fit",
    version: 1,
    title: "Thermal fit",
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
