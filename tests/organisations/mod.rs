//! Several organisations on one server, each with a house of its own: nobody sees, reaches or infers anything of another's.
//!
//! Two teams with the same programme id and the same handles are served by one program. Every operation of the description is
//! asked for at each host with what is good at the other one, and must be answered as if that were good nowhere.

mod beginning;
mod hidden;
mod houses;

use serde_json::json;

use crate::harness::{Answer, Client, Organisations, PASSWORD, Team, at};
use crate::operations::permissions::team_with_a_past;

/// What one of the second team signs in with.
const OF_THE_SECOND: &str = "another password than up north";

/// Two teams that have the same names for everything and did not do the same.
fn two() -> Organisations {
    beside_another(Team::new())
}

/// As [`two`], of which the first did something of everything, so that each path leads somewhere.
fn one_with_a_past_and_another() -> Organisations {
    beside_another(team_with_a_past())
}

fn beside_another(first: Team) -> Organisations {
    let second = Team::new();
    let change = json!({ "secret": PASSWORD, "new_password": OF_THE_SECOND });
    second.person("pip").put("/api/v1/account/password", change).has_status(204);
    observes(second.person("cas"), "Fog in the south.").has_status(201);
    Organisations::of([first, second])
}

fn observes(person: &Client, remarks: &str) -> Answer {
    person.post(&at("weather"), json!({ "weather": { "remarks": remarks } }))
}

/// How far the ledgers of both have come.
fn heads(both: &Organisations) -> [String; 2] {
    [0, 1].map(|team| both.person(team, "lea").get(&at("ledger")).has_status(200).text)
}

fn size(person: &Client) -> u64 {
    person.get(&at("ledger")).has_status(200).json()["size"].as_u64().unwrap()
}

fn signs_in(anyone: &Client, handle: &str, password: &str) -> Answer {
    anyone.post("/api/v1/sessions", json!({ "handle": handle, "password": password }))
}
