//! Pressure and density altitude: being written.

use serde_json::Value;

use crate::catalogue::{FaultCode, Refused, Topic};

/// The topic `altimetry`.
pub static TOPIC: Topic = Topic {
    name: "altimetry",
    version: 1,
    title: "Pressure and density altitude",
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
