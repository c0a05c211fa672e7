//! Recurring inspections and how long each is good for.

use serde::{Deserialize, Serialize};

use crate::codes::{CheckCode, EventCode, ItemCode};
use crate::nouns::judging::Judging;
use crate::nouns::{Phase, Role};
use crate::people::Act;
use crate::refusal::Fault;

/// How long a passed check is good for; whichever ends first ends it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Validity {
    /// Powered hours since it was done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub powered_hours: Option<f64>,
    /// Hours by the clock since it was done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock_hours: Option<f64>,
    /// Days of 24 hours since it was done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub days: Option<u32>,
    /// Happenings that end it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub until: Vec<EventCode>,
    /// Items whose exchange, fitting or removal ends it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub until_changed: Vec<ItemCode>,
}

/// A recurring inspection.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// Its code.
    pub code: CheckCode,
    /// What is inspected.
    pub title: String,
    /// How it is done and what passes.
    pub method: String,
    /// How long it is good for.
    pub validity: Validity,
    /// Phases in which every point needs it; points may name it besides.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub phases: Vec<Phase>,
    /// Who may do it.
    pub by: Vec<Role>,
    /// Who or what asks for it.
    pub source: String,
}

impl Validity {
    /// Whether nothing ever ends it.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

impl Check {
    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.title("title", &self.title);
        judging.text("method", &self.method);
        judging.text("source", &self.source);
        judging.must(
            !self.validity.is_empty(),
            "validity",
            "must say what ends it: powered_hours, clock_hours, days, until or until_changed",
        );
        if let Some(hours) = self.validity.powered_hours {
            judging.positive("validity.powered_hours", hours);
        }
        if let Some(hours) = self.validity.clock_hours {
            judging.positive("validity.clock_hours", hours);
        }
        if let Some(days) = self.validity.days {
            judging.must(days > 0, "validity.days", "must be at least 1");
        }
        judging.no_repeats("validity.until", &self.validity.until);
        judging.no_repeats("validity.until_changed", &self.validity.until_changed);
        judging.no_repeats("phases", &self.phases);
        judging.some_without_repeats("by", &self.by);
        for (place, role) in self.by.iter().enumerate() {
            judging.must(
                Act::DoChecks.allowed().contains(role),
                &format!("by[{place}]"),
                format!(
                    "the {} does no checks: that is for {}",
                    role.in_words(),
                    Act::DoChecks.allowed_in_words()
                ),
            );
        }
        judging.done()
    }
}
