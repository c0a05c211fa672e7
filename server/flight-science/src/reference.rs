//! The reference: all that the catalogue and the published cases say of each topic, as text for people and as data.
//!
//! Nothing is written here twice: a topic that is added to the catalogue stands in the reference.

use std::fmt::Write as _;
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::catalogue::{Field, Topic, catalogue};

/// Lines of the text are no wider than this, in characters.
const WIDTH: usize = 100;

/// What the reference says of one topic.
#[derive(Debug, Clone, Serialize)]
pub struct TopicReference {
    /// The name by which it is called.
    pub name: &'static str,
    /// Goes up by one whenever the same input may give another answer than before.
    pub version: u32,
    /// A short heading.
    pub title: &'static str,
    /// What it gives.
    pub gives: &'static str,
    /// Where the method holds; input beyond is refused.
    pub valid_range: &'static str,
    /// The fields of the input, with their units.
    pub inputs: &'static [Field],
    /// The fields of the answer, with their units.
    pub outputs: &'static [Field],
    /// The equations in words.
    pub equations: &'static [&'static str],
    /// Author or body, edition, equation or table.
    pub sources: &'static [&'static str],
    /// An input that the topic answers.
    pub example: Value,
    /// The published cases that the topic is held against.
    pub published: Vec<PublishedCase>,
}

/// One published case, as the reference tells of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PublishedCase {
    /// The file that holds it.
    pub file: &'static str,
    /// What it is about; may be empty.
    pub name: String,
    /// Where the figures come from.
    pub source: String,
    /// How they were come by.
    pub status: String,
    /// Whether it is about an input that has to be refused.
    pub refusal: bool,
}

#[derive(Deserialize)]
struct CaseFile {
    case: Vec<CaseHead>,
}

/// The part of a case that says where it comes from; its figures are for the tests.
#[derive(Deserialize)]
struct CaseHead {
    #[serde(default)]
    name: String,
    source: String,
    status: String,
    refused: Option<toml::Value>,
}

static REFERENCE: LazyLock<Vec<TopicReference>> =
    LazyLock::new(|| catalogue().iter().map(|topic| TopicReference::of(topic)).collect());

/// The reference of all topics, in the order of the catalogue. It can be written as JSON.
pub fn all() -> &'static [TopicReference] {
    &REFERENCE
}

/// The reference of the topic of this name, if there is one.
pub fn find(name: &str) -> Option<&'static TopicReference> {
    REFERENCE.iter().find(|topic| topic.name == name)
}

/// The whole reference as plain text: a list of the topics, then each in full.
pub fn as_text() -> String {
    let mut text = index();
    for topic in all() {
        text.push('\n');
        text.push_str(&topic.as_text());
    }
    text
}

/// The reference of one topic as plain text, if there is a topic of this name.
pub fn of_topic(name: &str) -> Option<String> {
    find(name).map(TopicReference::as_text)
}

/// A list of the topics as plain text, a line each.
pub fn index() -> String {
    let widest = all().iter().map(|topic| topic.name.len()).max().unwrap_or(0);
    let mut text = String::from("TOPICS\n\n");
    for topic in all() {
        // Writing to a String can't fail.
        let _ = writeln!(text, "  {:widest$}  {}", topic.name, topic.title);
    }
    text.push('\n');
    paragraph(
        &mut text,
        "",
        "Each takes one JSON object and gives one. Fields with ? may be left out. Unknown fields, NaN, infinities and values \
         beyond a method's range are refused, with every fault named. The answers are advice for engineers; they clear nobody \
         to fly. The authority's permit and conditions, local rules, licensed inspectors and the pilot in command come first.",
    );
    text
}

impl TopicReference {
    fn of(topic: &Topic) -> Self {
        Self {
            name: topic.name,
            version: topic.version,
            title: topic.title,
            gives: topic.gives,
            valid_range: topic.valid_range,
            inputs: topic.inputs,
            outputs: topic.outputs,
            equations: topic.equations,
            sources: topic.sources,
            example: serde_json::from_str(topic.example)
                .expect("the example is compiled in, and a test reads every topic's"),
            published: topic
                .published
                .iter()
                .flat_map(|(file, text)| published_cases(file, text))
                .collect(),
        }
    }

    /// As plain text.
    pub fn as_text(&self) -> String {
        let mut text = String::new();
        let heading = format!("{}: {} (version {})", self.name, self.title, self.version);
        let _ = writeln!(text, "{heading}\n{}\n", "=".repeat(heading.chars().count()));
        paragraph(&mut text, "", self.gives);
        section(&mut text, "Valid range");
        paragraph(&mut text, "  ", self.valid_range);
        section(&mut text, "Inputs");
        fields(&mut text, self.inputs);
        section(&mut text, "Outputs");
        fields(&mut text, self.outputs);
        section(&mut text, "Equations");
        for equation in self.equations {
            item(&mut text, equation);
        }
        section(&mut text, "Sources");
        for source in self.sources {
            item(&mut text, source);
        }
        section(&mut text, "Example input");
        // On one line, so that it can be copied into a pipe.
        let _ = writeln!(text, "  {}", self.example);
        let refusals = self.published.iter().filter(|case| case.refusal).count();
        section(
            &mut text,
            &format!(
                "Published cases: {} with figures, {refusals} refusals",
                self.published.len() - refusals
            ),
        );
        for (source, status, count) in self.case_sources() {
            item(&mut text, &format!("{count} × {source} [{status}]"));
        }
        text
    }

    /// Source, status and count of the published cases, each pair of source and status once, in order of appearance.
    pub fn case_sources(&self) -> Vec<(&str, &str, usize)> {
        let mut sources: Vec<(&str, &str, usize)> = Vec::new();
        for case in &self.published {
            let known = sources
                .iter_mut()
                .find(|(source, status, _)| *source == case.source && *status == case.status);
            match known {
                Some((_, _, count)) => *count += 1,
                None => sources.push((&case.source, &case.status, 1)),
            }
        }
        sources
    }
}

fn published_cases(file: &'static str, text: &str) -> Vec<PublishedCase> {
    let cases: CaseFile =
        toml::from_str(text).expect("published cases are compiled in, and a test reads every file");
    cases
        .case
        .into_iter()
        .map(|case| PublishedCase {
            file,
            name: case.name,
            source: case.source,
            status: case.status,
            refusal: case.refused.is_some(),
        })
        .collect()
}

fn section(text: &mut String, heading: &str) {
    let _ = writeln!(text, "\n{heading}");
}

fn fields(text: &mut String, fields: &[Field]) {
    for field in fields {
        let mark = if field.required { "" } else { "?" };
        let _ = writeln!(text, "  {}{mark}  [{}]", field.name, field.unit);
        paragraph(text, "      ", field.meaning);
    }
}

fn item(text: &mut String, words: &str) {
    let mut wrapped = String::new();
    paragraph(&mut wrapped, "    ", words);
    // The first line's indent makes room for the dash.
    text.push_str("  - ");
    text.push_str(wrapped.trim_start());
}

/// Words in lines of at most [`WIDTH`] characters, each after the indent. A longer word has a line of its own.
fn paragraph(text: &mut String, indent: &str, words: &str) {
    let mut line = 0;
    for word in unbroken_words(words) {
        let length = word.chars().count();
        if line > 0 && line + 1 + length > WIDTH {
            text.push('\n');
            line = 0;
        }
        if line == 0 {
            text.push_str(indent);
            line = indent.chars().count() + length;
        } else {
            text.push(' ');
            line += 1 + length;
        }
        text.push_str(&word);
    }
    text.push('\n');
}

/// The words of a text, with the thousands of a number kept together: "20 000" is one word.
fn unbroken_words(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let thousands = word.chars().take_while(char::is_ascii_digit).count() == 3;
        match words.last_mut() {
            Some(last) if thousands && last.ends_with(|end: char| end.is_ascii_digit()) => {
                last.push(' ');
                last.push_str(word);
            }
            _ => words.push(word.to_owned()),
        }
    }
    words
}

#[cfg(test)]
mod tests;
