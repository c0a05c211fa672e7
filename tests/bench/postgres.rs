//! A PostgreSQL server for the benchmark alone, which waits for its disk, and pgbench at it.

use std::os::unix::process::CommandExt as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use super::told;

pub fn measure() {
    let Some(programs) = programs() else {
        return told(
            "durable writes into PostgreSQL",
            "not measured: PostgreSQL is not installed".into(),
        );
    };
    let server = Postgres::begin(&programs);
    // The harness learns by the environment that ledgers are there.
    let measured = Command::new(std::env::current_exe().unwrap())
        .args(["--on-postgres", &server.url])
        .env("RUNGBOOK_TEST_POSTGRES", &server.url)
        .status()
        .unwrap();
    assert!(measured.success());
}

/// The folder of the newest server that is installed, where Debian puts it.
fn programs() -> Option<PathBuf> {
    let versions = std::fs::read_dir("/usr/lib/postgresql").ok()?;
    let mut folders: Vec<PathBuf> =
        versions.filter_map(|entry| Some(entry.ok()?.path().join("bin"))).collect();
    folders.sort();
    folders.pop().filter(|folder| folder.join("pgbench").exists())
}

struct Postgres {
    child: Child,
    url: String,
    _folder: tempfile::TempDir,
}

impl Postgres {
    fn begin(programs: &Path) -> Self {
        let folder = tempfile::tempdir().unwrap();
        // It does not run as root.
        let user = Command::new("id").args(["-u", "postgres"]).output().unwrap();
        let user: Option<u32> = String::from_utf8_lossy(&user.stdout).trim().parse().ok();
        let root =
            folder.path().metadata().is_ok_and(|it| std::os::unix::fs::MetadataExt::uid(&it) == 0);
        let user = user.filter(|_| root);
        if let Some(user) = user {
            std::os::unix::fs::chown(folder.path(), Some(user), None).unwrap();
        }
        let run = |program: &str| {
            let mut command = Command::new(programs.join(program));
            command.current_dir(folder.path()).stdout(Stdio::null()).stderr(Stdio::null());
            if let Some(user) = user {
                command.uid(user);
            }
            command
        };
        let made = run("initdb")
            .args([
                "--pgdata",
                "data",
                "--username",
                "rungbook",
                "--auth",
                "trust",
                "--encoding",
                "UTF8",
                "--locale",
                "C",
            ])
            .status()
            .unwrap();
        assert!(made.success(), "initdb");
        let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let port = free.local_addr().unwrap().port().to_string();
        drop(free);
        let sockets = folder.path().to_str().unwrap();
        let child = run("postgres")
            .args([
                "-D",
                "data",
                "-k",
                sockets,
                "-h",
                "127.0.0.1",
                "-p",
                &port,
                "-c",
                "max_connections=200",
            ])
            .spawn()
            .unwrap();
        let ready = || {
            let asked = run("pg_isready")
                .args(["-q", "-h", "127.0.0.1", "-p", &port, "-U", "rungbook"])
                .status();
            asked.is_ok_and(|it| it.success())
        };
        while !ready() {
            std::thread::sleep(Duration::from_millis(100));
        }
        Self {
            child,
            url: format!("postgres://rungbook@127.0.0.1:{port}/postgres"),
            _folder: folder,
        }
    }
}

impl Drop for Postgres {
    fn drop(&mut self) {
        // As it wants to be told that it ends at once.
        let _ = Command::new("kill").args(["-INT", &self.child.id().to_string()]).status();
        let _ = self.child.wait();
    }
}

/// One row like the ledger's and one like a checkpoint's a transaction, each client with a ledger of its own.
pub struct Pgbench {
    url: String,
    script: tempfile::NamedTempFile,
}

impl Pgbench {
    pub fn new(url: &str, entry_bytes: usize) -> Self {
        use std::io::Write as _;
        let tables = "CREATE TABLE peer_ledger (programme TEXT NOT NULL, seq BIGINT NOT NULL, recorded_at BIGINT NOT NULL,
                entry TEXT NOT NULL, leaf BYTEA NOT NULL, PRIMARY KEY (programme, seq));
            CREATE TABLE peer_checkpoint (programme TEXT NOT NULL, size BIGINT NOT NULL, root BYTEA NOT NULL,
                PRIMARY KEY (programme, size));
            CREATE SEQUENCE peer_number;";
        let made = Command::new("psql").args([url, "-q", "-c", tables]).status().unwrap();
        assert!(made.success(), "tables for pgbench");
        let mut script = tempfile::NamedTempFile::new().unwrap();
        let (entry, hash) = ("x".repeat(entry_bytes), "07".repeat(32));
        write!(
            script,
            "BEGIN;
             SELECT nextval('peer_number') AS number \\gset
             INSERT INTO peer_ledger VALUES ('bench', :number, :number, '{entry}', '\\\\x{hash}');
             INSERT INTO peer_checkpoint VALUES ('bench', :number, '\\\\x{hash}');
             COMMIT;\n"
        )
        .unwrap();
        Self { url: url.to_owned(), script }
    }

    pub fn transactions_per_s(&self, clients: usize) -> f64 {
        let programs = programs().unwrap();
        let ran = Command::new(programs.join("pgbench"))
            .args(["--no-vacuum", "--protocol", "prepared", "--jobs", "2", "--time", "2"])
            .args(["--client", &clients.to_string(), "--file"])
            .arg(self.script.path())
            .arg(&self.url)
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&ran.stdout);
        let rate = said.lines().find_map(|line| line.strip_prefix("tps = "));
        let rate = rate.unwrap_or_else(|| panic!("{said}{}", String::from_utf8_lossy(&ran.stderr)));
        rate.split_whitespace().next().unwrap().parse().unwrap()
    }
}
