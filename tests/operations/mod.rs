//! Every operation that the program describes: that it succeeds, what it refuses, and who may not ask for it.
//!
//! Each file tells the stories of some resources. Its `SHOWN` names their operations, and the story that ends with
//! [`Story::has_shown`] is held to it: each of them must have been seen to succeed and to refuse something there. Who may
//! not ask is told for all of them in [`permissions`]. Each POST of a story is sent twice under one Idempotency-Key, and
//! must have been done once.

mod accounts;
pub mod attached;
mod calendar;
mod checks;
mod clock;
mod configuration;
mod copies;
mod envelope;
mod events;
pub mod evidence;
mod field;
pub mod foreign;
mod intervals;
mod ledger;
pub mod limits;
pub mod permissions;
mod planning;
mod points;
mod predictions;
mod programmes;
mod progress;
mod recorders;
pub mod recordings;
mod reductions;
mod runs;
mod server;
mod snags;
mod story;

use std::collections::BTreeMap;

pub use self::story::Story;
use crate::harness::{Description, Server};

/// What the stories of each file show.
const SHOWN: &[(&str, &[&str])] = &[
    ("accounts", accounts::SHOWN),
    ("attached", attached::SHOWN),
    ("calendar", calendar::SHOWN),
    ("checks", checks::SHOWN),
    ("clock", clock::SHOWN),
    ("configuration", configuration::SHOWN),
    ("copies", copies::SHOWN),
    ("envelope", envelope::SHOWN),
    ("events", events::SHOWN),
    ("evidence", evidence::SHOWN),
    ("field", field::SHOWN),
    ("intervals", intervals::SHOWN),
    ("ledger", ledger::SHOWN),
    ("limits", limits::SHOWN),
    ("planning", planning::SHOWN),
    ("points", points::SHOWN),
    ("predictions", predictions::SHOWN),
    ("programmes", programmes::SHOWN),
    ("progress", progress::SHOWN),
    ("recorders", recorders::SHOWN),
    ("recordings", recordings::SHOWN),
    ("reductions", reductions::SHOWN),
    ("runs", runs::SHOWN),
    ("server", server::SHOWN),
    ("snags", snags::SHOWN),
];

#[test]
fn every_operation_has_a_story_in_which_it_succeeds_and_refuses_and_a_line_that_says_who_may() {
    let server = Server::fresh();
    let description = Description::read(&server.stranger());
    let mut files: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for (file, operations) in SHOWN {
        for operation in *operations {
            files.entry(operation).or_default().push(file);
        }
    }
    let mut wrong = Vec::new();
    for (operation, files) in &files {
        if files.len() > 1 {
            wrong.push(format!("{operation} is claimed by several: {}", files.join(", ")));
        }
        if !description.operations().any(|it| it.id == *operation) {
            wrong.push(format!("{operation} is claimed, and is not in the description"));
        }
    }
    for operation in description.operations() {
        if !files.contains_key(operation.id.as_str()) {
            wrong.push(format!("{} has no story", operation.id));
        }
        if permissions::who_may(&operation.id).is_none() {
            wrong.push(format!("{} has no line that says who may", operation.id));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
