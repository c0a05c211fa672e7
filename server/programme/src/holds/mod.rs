//! Holds: the reasons why a point may not go ahead now.

use serde::Serialize;

/// Which act a hold stands against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// The point can be neither released nor run.
    Release,
    /// The point can be released, and not run yet.
    Run,
}

/// What a hold is about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, utoipa::ToSchema)]
pub struct Subject {
    /// What kind of thing: `point`, `check`, `item`, `hazard`, …
    pub what: &'static str,
    /// Its code, number or name.
    pub code: String,
}

/// One reason why a point may not go ahead now, in words for people.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct Hold {
    /// A stable code of the rule, such as `prerequisite-not-accepted`.
    pub rule: &'static str,
    /// What it is about.
    pub subject: Subject,
    /// Why, in a sentence.
    pub why: String,
    /// What clears it, in a sentence.
    pub clears: String,
    /// Where the rule comes from.
    pub source: String,
    /// Which act it stands against.
    pub stage: Stage,
}
