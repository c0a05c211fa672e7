//! People of a programme: roles and qualifications.

use std::fmt;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::codes::{PersonHandle, QualificationCode};
use crate::nouns::judging::Judging;
use crate::refusal::Fault;

/// What a person does in a programme.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    PartialOrd,
    Ord,
    Serialize,
    Deserialize,
    utoipa::ToSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Test lead.
    Lead,
    /// Test pilot.
    Pilot,
    /// Safety officer.
    Safety,
    /// Engineer.
    Engineer,
    /// Ground crew.
    Crew,
    /// Inspector: reads everything, writes nothing.
    Viewer,
}

impl Role {
    /// Every role.
    pub const ALL: [Role; 6] =
        [Role::Lead, Role::Pilot, Role::Safety, Role::Engineer, Role::Crew, Role::Viewer];

    /// The role as written.
    pub const fn as_str(self) -> &'static str {
        match self {
            Role::Lead => "lead",
            Role::Pilot => "pilot",
            Role::Safety => "safety",
            Role::Engineer => "engineer",
            Role::Crew => "crew",
            Role::Viewer => "viewer",
        }
    }

    /// The role in words.
    pub const fn in_words(self) -> &'static str {
        match self {
            Role::Lead => "test lead",
            Role::Pilot => "test pilot",
            Role::Safety => "safety officer",
            Role::Engineer => "engineer",
            Role::Crew => "ground crew",
            Role::Viewer => "inspector",
        }
    }

    /// The role with its article, as a sentence has it: a programme has one test lead and several engineers.
    pub const fn with_article(self) -> &'static str {
        match self {
            Role::Lead => "the test lead",
            Role::Pilot => "the test pilot",
            Role::Safety => "the safety officer",
            Role::Engineer => "an engineer",
            Role::Crew => "the ground crew",
            Role::Viewer => "an inspector",
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// A qualification that a person holds: licence, medical, rating, high-voltage instruction …
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HeldQualification {
    /// Which.
    pub code: QualificationCode,
    /// Good up to, not including, this moment; absent: without end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires: Option<DateTime<Utc>>,
}

impl HeldQualification {
    /// Whether it is good at a moment.
    pub fn is_good(&self, now: DateTime<Utc>) -> bool {
        self.expires.is_none_or(|expires| now < expires)
    }
}

/// A person of the programme.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Person {
    /// The name they sign in with.
    pub handle: PersonHandle,
    /// Their name.
    pub name: String,
    /// What they do here; none: they have left, and their history stays.
    pub roles: Vec<Role>,
    /// What they are qualified for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub qualifications: Vec<HeldQualification>,
}

impl Person {
    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.title("name", &self.name);
        judging.no_repeats("roles", &self.roles);
        judging.must(
            self.roles.len() < 2 || !self.roles.contains(&Role::Viewer),
            "roles",
            "an inspector writes nothing and can have no other role",
        );
        let codes: Vec<_> = self.qualifications.iter().map(|held| &held.code).collect();
        judging.no_repeats("qualifications", &codes);
        judging.done()
    }
}
