//! The one place that turns a problem into what a page shows: what happened, every fault, every hold and what clears it.

use maud::{Markup, html};
use programme::holds::Hold;

use super::words::holds_list;
use crate::problem::Problem;

/// A problem as pages tell it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Told {
    pub title: String,
    pub detail: String,
    /// Field and sentence.
    pub faults: Vec<(String, String)>,
    pub holds: Vec<Hold>,
    pub clears: Option<String>,
}

impl Told {
    pub fn of(problem: &Problem) -> Self {
        let document = problem.document("", None);
        let fault = |it: &crate::problem::FaultView| (it.field.clone(), it.why.clone());
        Self {
            title: document.title.to_owned(),
            detail: document.detail.to_owned(),
            faults: document.faults.iter().map(fault).collect(),
            holds: document.holds.to_vec(),
            clears: document.clears.map(str::to_owned),
        }
    }

    /// What is wrong with one field.
    pub fn fault_of(&self, field: &str) -> Option<&str> {
        let found = self.faults.iter().find(|(at, _)| at == field);
        found.map(|(_, why)| why.as_str())
    }

    /// As a part of a page, above the form that it is about.
    pub fn part(&self) -> Markup {
        html! {
            section.told role="alert" {
                h2 { (self.title) }
                (self.body())
            }
        }
    }

    /// As a page of its own.
    pub fn page(&self) -> Markup {
        html! {
            section.told role="alert" {
                h1 { (self.title) }
                (self.body())
            }
            p { a href="/" { "To your programmes" } }
        }
    }

    fn body(&self) -> Markup {
        html! {
            p { (self.detail) }
            @if !self.faults.is_empty() {
                ul {
                    @for (field, why) in &self.faults {
                        @if *why != self.detail {
                            li {
                                @if !field.is_empty() { span.at { (field) } ": " }
                                (why)
                            }
                        }
                    }
                }
            }
            @if !self.holds.is_empty() { (holds_list(&self.holds)) }
            @if let Some(clears) = &self.clears { p { strong { "What helps: " } (clears) } }
        }
    }
}
