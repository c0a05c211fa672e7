//! `rungbook compute`: the flight-test science without a programme around it.

use std::io::{BufRead, Read, Write};

use clap::Args;
use flight_science::catalogue::{self, ComputeError};
use http_service::problem::{NOT_JSON, Problem};
use serde_json::{Value, json};

use super::Failure;

/// Compute a topic from a JSON object on standard input.
///
/// Bad input ends with exit status 2 and an RFC 9457 problem as JSON on standard error.
#[derive(Debug, Args)]
pub struct Compute {
    /// Which topic; see --list
    #[arg(required_unless_present = "list")]
    topic: Option<String>,
    /// Print the reference: of the topic, or of all
    #[arg(long)]
    list: bool,
    /// Read one JSON object a line, and print one line for each: its result, or its problem
    #[arg(long, conflicts_with = "list")]
    lines: bool,
}

/// The most that is read of one object, in bytes.
const LARGEST_INPUT: u64 = 64 * 1024 * 1024;

impl Compute {
    /// Reads, computes, prints.
    ///
    /// # Errors
    ///
    /// With status 2 and a problem for an unknown topic or bad input.
    pub fn run(self) -> Result<(), Failure> {
        if self.list {
            return self.print_reference();
        }
        let topic = self.topic.unwrap_or_default();
        if self.lines {
            return each_line(&topic);
        }
        let mut text = String::new();
        std::io::stdin().take(LARGEST_INPUT).read_to_string(&mut text)?;
        let output =
            answer(&topic, &text).map_err(|problem| Failure::of_input(format!("{problem:#}")))?;
        println!("{output:#}");
        Ok(())
    }

    fn print_reference(&self) -> Result<(), Failure> {
        let text = match &self.topic {
            None => flight_science::reference::as_text(),
            Some(topic) => flight_science::reference::of_topic(topic).ok_or_else(|| {
                let unknown = ComputeError::UnknownTopic { name: topic.clone() };
                Failure::of_input(format!("{:#}", told(topic, &unknown.into())))
            })?,
        };
        print!("{text}");
        Ok(())
    }
}

fn each_line(topic: &str) -> Result<(), Failure> {
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    for line in std::io::stdin().lock().lines() {
        let answer = answer(topic, &line?).unwrap_or_else(|problem| problem);
        writeln!(out, "{answer}")?;
    }
    out.flush()?;
    Ok(())
}

/// The topic's output, or the problem that stands against the input, as the service would tell it.
fn answer(topic: &str, text: &str) -> Result<Value, Value> {
    let input: Value = serde_json::from_str(text).map_err(|error| {
        told(topic, &Problem::new(NOT_JSON, format!("Give one JSON object; {error}.")))
    })?;
    catalogue::compute(topic, &input).map_err(|error| told(topic, &error.into()))
}

fn told(topic: &str, problem: &Problem) -> Value {
    let instance = format!("/api/v1/compute/{topic}");
    json!(problem.document(&instance, None))
}
