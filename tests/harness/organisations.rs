//! One server for two organisations, each of which is a team with a house of its own.

use std::path::Path;
use std::process::Stdio;

use super::database::{database_if_on_postgres, program};
use super::object_store::ObjectStore;
use super::server::{Client, Server};
use super::team::Team;

/// By which hosts they are asked for.
pub const HOSTS: [&str; 2] = ["north.example.org", "south.example.org"];

/// Two teams on one server.
pub struct Organisations {
    /// The server that both are on.
    pub server: Server,
    teams: [Team; 2],
    folder: tempfile::TempDir,
}

impl Organisations {
    /// Ends the servers of two teams and serves both by one; those who were signed in still are.
    pub fn of(mut teams: [Team; 2]) -> Self {
        for team in &mut teams {
            team.server.ends_when_asked();
        }
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let tables: Vec<String> = (HOSTS.iter().zip(&teams))
            .map(|(host, team)| {
                let data = &team.server.data;
                table(host, data, database_if_on_postgres(data)) + &recordings_of(data)
            })
            .collect();
        let settings = folder.path().join("settings.toml");
        std::fs::write(&settings, tables.concat()).expect("the settings can be written");
        let server = serves(&settings, &["--metrics", "127.0.0.1:0"]);
        Self { server, teams, folder }
    }

    /// Another server for the same two, with folders of its own; they are on PostgreSQL.
    pub fn joined_by_another(&self) -> (Server, tempfile::TempDir) {
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let tables: Vec<String> = (HOSTS.iter().zip(&self.teams))
            .map(|(host, team)| {
                let (first, data) = (&team.server.data, folder.path().join(host));
                table(host, &data, database_if_on_postgres(first)) + &recordings_of(first)
            })
            .collect();
        let settings = folder.path().join("settings.toml");
        std::fs::write(&settings, tables.concat()).expect("the settings can be written");
        (serves(&settings, &[]), folder)
    }

    /// Somebody of a team, at their own organisation's host.
    pub fn person(&self, team: usize, handle: &str) -> Client {
        self.teams[team].person(handle).speaking_to(&self.server).at_host(HOSTS[team])
    }

    /// Somebody who has not signed in, at an organisation's host.
    pub fn stranger(&self, team: usize) -> Client {
        self.server.stranger().at_host(HOSTS[team])
    }

    /// The data folder of a team.
    pub fn data(&self, team: usize) -> &Path {
        &self.teams[team].server.data
    }

    /// Where their settings are.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }
}

/// A table of the settings file.
pub fn table(host: &str, data: &Path, database: Option<String>) -> String {
    let database = database.map(|url| format!("database-url = {url:?}\n")).unwrap_or_default();
    format!(
        "[[organisation]]\nhost = {host:?}\ndata = {data:?}\nname = \"Club at {host}\"\n{database}"
    )
}

/// What a table says of recordings, where the stories' are in an object store.
fn recordings_of(data: &Path) -> String {
    let store = ObjectStore::of_the_tests();
    store.map(|store| format!("recordings = {:?}\n", store.bucket_of(data))).unwrap_or_default()
}

/// Serves what a settings file says.
pub fn serves(settings: &Path, flags: &[&str]) -> Server {
    let mut program = program();
    if let Some(store) = ObjectStore::of_the_tests() {
        store.known_to(&mut program);
    }
    program.args(["serve", "--listen", "127.0.0.1:0", "--settings"]).arg(settings).args(flags);
    Server::start(settings, program, Stdio::inherit())
}
