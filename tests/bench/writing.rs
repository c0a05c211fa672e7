//! Durable writes over HTTP, beside the bare database that they end in.

use std::time::Instant;

use serde_json::json;
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous};
use sqlx::{ConnectOptions as _, Connection as _};

use super::harness::{PROGRAMME, Team};
use super::load::Target;
use super::{ROUND, ROUNDS, median, postgres, rounded, told};

const CLIENTS: usize = 64;

/// About as long as an entry of the ledger with a few words in it.
const ENTRY_BYTES: usize = 240;

fn target(team: &Team) -> Target {
    let crew = team.person("cas");
    let body = json!({ "weather": { "remarks": "a durable write" } }).to_string();
    let bearer = format!("authorization: Bearer {}\r\n", crew.token.as_deref().unwrap());
    Target::post(&team.server.base, &format!("{PROGRAMME}/weather"), &bearer, &body)
}

pub fn measure() {
    let team = Team::new();
    let target = target(&team);
    let mut rates = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        rates.0.push(target.rate(1, ROUND));
        rates.1.push(target.rate(CLIENTS, ROUND));
        rates.2.push(rows_in_batches());
    }
    let (one, many, raw) = (median(rates.0), median(rates.1), median(rates.2));
    told(
        "durable writes over HTTP with one client and 64, beside rows put into SQLite 64 a transaction",
        json!({
            "one_per_s": one.round(), "sixty_four_per_s": many.round(),
            "rows_in_batches_per_s": raw.round(), "ratio": rounded(many / raw),
        }),
    );
}

/// Rows like the ledger's a second, 64 of them a transaction, with the same promise: on disk once it is committed.
fn rows_in_batches() -> f64 {
    let folder = tempfile::tempdir().unwrap();
    let options = SqliteConnectOptions::new()
        .filename(folder.path().join("rows.sqlite"))
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full);
    actix_web::rt::System::new().block_on(async move {
        let mut connection = options.connect().await.unwrap();
        sqlx::query(
            "CREATE TABLE ledger (programme TEXT NOT NULL, seq INTEGER NOT NULL, recorded_at INTEGER NOT NULL,
                 entry TEXT NOT NULL, leaf BLOB NOT NULL, PRIMARY KEY (programme, seq)) STRICT",
        )
        .execute(&mut connection)
        .await
        .unwrap();
        let (entry, leaf) = ("x".repeat(ENTRY_BYTES), vec![7_u8; 32]);
        let (began, mut rows) = (Instant::now(), 0_i64);
        while began.elapsed() < ROUND {
            // One statement for all of them, so that nothing but the database is measured.
            let rows_at_once = "WITH RECURSIVE row (number) AS (SELECT 1 UNION ALL SELECT number + 1 FROM row WHERE number < $2)
                INSERT INTO ledger SELECT 'bench', $1 + number, $1, $3, $4 FROM row";
            sqlx::query(rows_at_once)
                .bind(rows)
                .bind(CLIENTS as i64)
                .bind(&entry)
                .bind(&leaf)
                .execute(&mut connection)
                .await
                .unwrap();
            rows += CLIENTS as i64;
        }
        let rate = rows as f64 / began.elapsed().as_secs_f64();
        connection.close().await.unwrap();
        rate
    })
}

/// The service on PostgreSQL beside pgbench, both with 64 clients at the same server. Begun with the harness told of it.
pub fn beside_pgbench(url: &str) {
    let team = Team::new();
    let target = target(&team);
    let peer = postgres::Pgbench::new(url, ENTRY_BYTES);
    let mut rates = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        rates.0.push(target.rate(1, ROUND));
        rates.1.push(target.rate(CLIENTS, ROUND));
        rates.2.push(peer.transactions_per_s(CLIENTS));
    }
    let (one, many, theirs) = (median(rates.0), median(rates.1), median(rates.2));
    told(
        "durable writes over HTTP into PostgreSQL with one client and 64, beside pgbench with 64 and like statements",
        json!({
            "one_per_s": one.round(), "sixty_four_per_s": many.round(),
            "pgbench_per_s": theirs.round(), "ratio": rounded(many / theirs),
        }),
    );
}
