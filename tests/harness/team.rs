//! A team with a small programme of its own, everybody signed in.

use std::collections::BTreeMap;

use super::server::{Client, Server};

/// The programme that teams in stories have.
pub const DOCUMENT: &str = include_str!("../team.toml");

/// Where its programme lives in the API.
pub const PROGRAMME: &str = "/api/v1/programmes/small";

/// Its people: ground crew, engineer, inspector, lead, pilot, safety officer.
pub const PEOPLE: [&str; 6] = ["cas", "eve", "ivo", "lea", "pip", "sam"];

/// A team on a server of its own.
pub struct Team {
    /// The server.
    pub server: Server,
    people: BTreeMap<&'static str, Client>,
}

impl Team {
    /// A fresh team whose programme is `tests/team.toml`, written by the lead.
    pub fn new() -> Self {
        Self::served_with(&[])
    }

    /// As [`Team::new`], on a server that is started with more flags.
    pub fn served_with(flags: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let data = folder.path().join("data");
        let document = folder.path().join("programme.toml");
        std::fs::write(&document, DOCUMENT).expect("the document can be written");
        let run = |arguments: &[&str]| {
            let made = Server::command(&data, arguments);
            assert!(
                made.status.success(),
                "{arguments:?}: {}: {}",
                made.status,
                String::from_utf8_lossy(&made.stderr)
            );
        };
        run(&["init", "--administrator", "keeper"]);
        for person in PEOPLE {
            run(&["person", "add", person]);
        }
        let document = document.to_str().expect("temporary names are text").to_owned();
        run(&["import", &document, "--programme", "small", "--by", "lea"]);
        let server = Server::serve_with(&data, flags).keeping(folder);
        let people = PEOPLE.map(|person| (person, server.sign_in(person))).into_iter().collect();
        Self { server, people }
    }

    /// Somebody of the team.
    #[track_caller]
    pub fn person(&self, handle: &str) -> &Client {
        self.people.get(handle).unwrap_or_else(|| panic!("nobody is called {handle}"))
    }

    /// Kills the program at once and starts it again on the same folder; those who were signed in still are.
    pub fn killed_and_started_again(self) -> Self {
        let server = self.server.kill_and_serve_again();
        let people = self
            .people
            .into_iter()
            .map(|(handle, client)| (handle, client.speaking_to(&server)))
            .collect();
        Self { server, people }
    }
}
