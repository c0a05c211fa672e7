//! Where the stories' ledgers are kept: in the folders of their servers, or, where `RUNGBOOK_TEST_POSTGRES` names a PostgreSQL
//! server, in a database there for each folder.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;
use std::sync::Mutex;

use super::PROGRAM;
use super::object_store::{ObjectStore, STORE};

/// Names the PostgreSQL server, as the URL of a database in which others may be made.
const SERVER: &str = "RUNGBOOK_TEST_POSTGRES";

/// The databases that were made so far.
static MADE: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());

/// The URL of the server, where there is one; else says that what needs it was not tried.
pub fn postgres_or_say_why_not() -> Option<String> {
    let server = std::env::var(SERVER).ok();
    if server.is_none() {
        println!("{SERVER} names no server, so this was not tried");
    }
    server
}

/// The program, for a data folder. With a PostgreSQL server its ledger is in the folder's own database there, which is made
/// when it is first asked for.
pub fn program_at(data: &Path) -> Command {
    let mut command = program();
    command.arg("--data").arg(data);
    if let Ok(server) = std::env::var(SERVER) {
        command.env("RUNGBOOK_DATABASE_URL", database_of(&server, data));
    }
    if let Some(store) = ObjectStore::of_the_tests() {
        store.known_to(&mut command).env("RUNGBOOK_RECORDINGS", store.bucket_of(data));
    }
    command
}

/// The program, for a data folder that joins the database of another one.
pub fn program_joining(data: &Path, of: &Path, server: &str) -> Command {
    let mut command = program();
    command.arg("--data").arg(data).env("RUNGBOOK_DATABASE_URL", database_of(server, of));
    if let Some(store) = ObjectStore::of_the_tests() {
        store.known_to(&mut command).env("RUNGBOOK_RECORDINGS", store.bucket_of(of));
    }
    command
}

/// The program, whose ledgers and recordings are in folders whatever the stories do.
pub fn program() -> Command {
    let mut command = Command::new(PROGRAM);
    command.env_remove(SERVER).env("RUNGBOOK_LOG", "warn,store::open=error");
    // Nothing of what speaks with an object store is taken from whoever runs the tests.
    let variables = std::env::vars_os().filter_map(|(name, _)| name.into_string().ok());
    for name in variables.filter(|name| name == STORE || name.starts_with("AWS_")) {
        command.env_remove(name);
    }
    command
}

/// The URL of the database of a folder, which is there from now on.
pub fn database_of(server: &str, data: &Path) -> String {
    let name = name_of(data);
    let mut made = MADE.lock().expect("nobody failed while a database was made");
    if made.insert(name.clone()) {
        at_the_server(server, &format!("CREATE DATABASE {name}"));
    }
    let (before, _) = server.rsplit_once('/').expect("the server is named by a database of it");
    format!("{before}/{name}")
}

/// The URL of the database of a folder, where the stories' ledgers are on PostgreSQL.
pub fn database_if_on_postgres(data: &Path) -> Option<String> {
    std::env::var(SERVER).ok().map(|server| database_of(&server, data))
}

/// Lets nobody into the database of a folder, and puts those out who are in it; or lets them in again.
pub fn lets_in(server: &str, data: &Path, in_again: bool) {
    let name = name_of(data);
    at_the_server(server, &format!("ALTER DATABASE {name} WITH ALLOW_CONNECTIONS {in_again}"));
    if !in_again {
        let others = format!("FROM pg_stat_activity WHERE datname = '{name}'");
        at_the_server(server, &format!("SELECT pg_terminate_backend(pid) {others}"));
    }
}

/// Drops the database of a folder that is no longer needed.
pub fn drop_database_of(data: &Path) {
    let Ok(server) = std::env::var(SERVER) else { return };
    let name = name_of(data);
    if MADE.lock().is_ok_and(|mut made| made.remove(&name)) {
        at_the_server(&server, &format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)"));
    }
}

fn at_the_server(server: &str, statement: &str) {
    let done = Command::new("psql").args([server, "-q", "-c", statement]).output();
    let done = done.expect("psql is there");
    assert!(done.status.success(), "{statement}: {}", String::from_utf8_lossy(&done.stderr));
}

/// Temporary folders have names of their own, so these are, too.
pub fn name_of(data: &Path) -> String {
    let plain = |letter: char| if letter.is_ascii_alphanumeric() { letter } else { '_' };
    let path: String = data.to_string_lossy().chars().map(plain).collect();
    // Names tell capitals from small letters only where they are quoted, and are at most 63 long.
    let unlike: u64 = path.bytes().fold(0xcbf2_9ce4_8422_2325, |hash: u64, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    format!("story_{unlike:016x}_{}", std::process::id())
}
