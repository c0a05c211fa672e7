//! Steps of a backup that is kept up: a small database each, with what came after the step before.

use std::collections::BTreeMap;

use sqlx::{AssertSqlSafe, Connection, SqliteConnection};

/// Tables that only grow, and those that a restored server begins without: all others are small, and taken as they are.
const NOT_TAKEN_WHOLE: [&str; 8] = [
    "programme",
    "ledger",
    "checkpoint",
    "checkpoint_signature",
    "idempotency",
    "session",
    "refresh_token",
    "_sqlx_migrations",
];

/// How far each ledger had come: how many records, and the leaf of the last.
pub(crate) type Ends = BTreeMap<String, (i64, Vec<u8>)>;

/// Changes whenever another connection has changed the database.
pub(crate) async fn version_of_data(connection: &mut SqliteConnection) -> sqlx::Result<i64> {
    sqlx::query_scalar("PRAGMA main.data_version").fetch_one(connection).await
}

/// The newest migration that the database went through.
pub(crate) async fn schema(connection: &mut SqliteConnection) -> sqlx::Result<i64> {
    sqlx::query_scalar("SELECT coalesce(max(version), 0) FROM main._sqlx_migrations WHERE success")
        .fetch_one(connection)
        .await
}

/// How far each ledger of a database has come.
pub(crate) async fn ends(connection: &mut SqliteConnection) -> sqlx::Result<Ends> {
    let rows: Vec<(String, i64, Vec<u8>)> = sqlx::query_as(
        "SELECT programme, seq, leaf FROM main.ledger AS last
         WHERE seq = (SELECT max(seq) FROM main.ledger WHERE programme = last.programme)",
    )
    .fetch_all(connection)
    .await?;
    Ok(rows.into_iter().map(|(programme, seq, leaf)| (programme, (seq, leaf))).collect())
}

/// The leaf of a record, if it is there.
pub(crate) async fn leaf(
    connection: &mut SqliteConnection,
    programme: &str,
    seq: i64,
) -> sqlx::Result<Option<Vec<u8>>> {
    sqlx::query_scalar("SELECT leaf FROM main.ledger WHERE programme = ?1 AND seq = ?2")
        .bind(programme)
        .bind(seq)
        .fetch_optional(connection)
        .await
}

/// Whether a small table differs from that in another file: the step or the whole before.
pub(crate) async fn differs(connection: &mut SqliteConnection, last: &str) -> sqlx::Result<bool> {
    attach(connection, last).await?;
    let found = async {
        for table in small_tables(connection).await? {
            let statement = format!(
                "SELECT EXISTS (SELECT * FROM main.{table} EXCEPT SELECT * FROM step.{table})
                 OR EXISTS (SELECT * FROM step.{table} EXCEPT SELECT * FROM main.{table})"
            );
            let differs: bool =
                sqlx::query_scalar(AssertSqlSafe(statement)).fetch_one(&mut *connection).await?;
            if differs {
                return Ok(true);
            }
        }
        Ok(false)
    }
    .await;
    detach(connection).await?;
    found
}

/// Writes what came after `after` into an empty file, as of one moment, and gives how far the ledgers had come then.
pub(crate) async fn take(
    connection: &mut SqliteConnection,
    file: &str,
    after: &Ends,
) -> sqlx::Result<Ends> {
    attach(connection, file).await?;
    let taken = async {
        let mut transaction = connection.begin().await?;
        // How far the step before had come.
        sqlx::raw_sql("CREATE TABLE step.come (programme TEXT NOT NULL, seq INTEGER NOT NULL)")
            .execute(&mut *transaction)
            .await?;
        for (programme, (seq, _)) in after {
            sqlx::query("INSERT INTO step.come VALUES (?1, ?2)")
                .bind(programme)
                .bind(seq)
                .execute(&mut *transaction)
                .await?;
        }
        // A signature may be added to a checkpoint that was taken before: those of the last one are taken again.
        sqlx::raw_sql(
            "CREATE TABLE step.programme AS SELECT * FROM main.programme
                 WHERE id NOT IN (SELECT programme FROM step.come);
             CREATE TABLE step.ledger AS SELECT * FROM main.ledger AS it
                 WHERE seq > coalesce((SELECT seq FROM step.come WHERE programme = it.programme), 0);
             CREATE TABLE step.checkpoint AS SELECT * FROM main.checkpoint AS it
                 WHERE size > coalesce((SELECT seq FROM step.come WHERE programme = it.programme), 0);
             CREATE TABLE step.checkpoint_signature AS SELECT * FROM main.checkpoint_signature AS it
                 WHERE size >= coalesce((SELECT seq FROM step.come WHERE programme = it.programme), 0);
             CREATE TABLE step.idempotency AS SELECT * FROM main.idempotency
                 WHERE created_at >= coalesce((SELECT min(recorded_at) FROM step.ledger), 9223372036854775807);",
        )
        .execute(&mut *transaction)
        .await?;
        for table in small_tables(&mut transaction).await? {
            let statement = format!("CREATE TABLE step.{table} AS SELECT * FROM main.{table}");
            sqlx::raw_sql(AssertSqlSafe(statement)).execute(&mut *transaction).await?;
        }
        let ends = ends(&mut transaction).await?;
        transaction.commit().await?;
        Ok(ends)
    }
    .await;
    detach(connection).await?;
    taken
}

/// Entries that a step file holds, as their text.
pub(crate) async fn entries_in(connection: &mut SqliteConnection) -> sqlx::Result<Vec<String>> {
    sqlx::query_scalar("SELECT entry FROM main.ledger ORDER BY programme, seq")
        .fetch_all(connection)
        .await
}

/// Puts a step on top of what is there. Each checkpoint comes right after its last record, as the guards want it.
pub(crate) async fn put_on_top(connection: &mut SqliteConnection, file: &str) -> sqlx::Result<()> {
    attach(connection, file).await?;
    let put = async {
        let mut transaction = connection.begin().await?;
        sqlx::raw_sql(
            "PRAGMA defer_foreign_keys = ON;
             INSERT INTO main.programme SELECT * FROM step.programme;",
        )
        .execute(&mut *transaction)
        .await?;
        let checkpoints: Vec<(String, i64)> =
            sqlx::query_as("SELECT programme, size FROM step.checkpoint ORDER BY programme, size")
                .fetch_all(&mut *transaction)
                .await?;
        for (programme, size) in checkpoints {
            sqlx::query(
                "INSERT INTO main.ledger SELECT * FROM step.ledger AS it
                 WHERE programme = ?1 AND seq <= ?2
                 AND seq > coalesce((SELECT max(seq) FROM main.ledger WHERE programme = ?1), 0)
                 ORDER BY seq",
            )
            .bind(&programme)
            .bind(size)
            .execute(&mut *transaction)
            .await?;
            sqlx::query(
                "INSERT INTO main.checkpoint SELECT * FROM step.checkpoint
                 WHERE programme = ?1 AND size = ?2",
            )
            .bind(&programme)
            .bind(size)
            .execute(&mut *transaction)
            .await?;
        }
        sqlx::raw_sql(
            "INSERT INTO main.checkpoint_signature SELECT * FROM step.checkpoint_signature AS it
             WHERE NOT EXISTS (SELECT 1 FROM main.checkpoint_signature
                 WHERE programme = it.programme AND size = it.size AND public_key = it.public_key);
             INSERT OR REPLACE INTO main.idempotency SELECT * FROM step.idempotency;
             DELETE FROM main.refresh_token;
             DELETE FROM main.session;",
        )
        .execute(&mut *transaction)
        .await?;
        for table in small_tables(&mut transaction).await? {
            let statement = format!(
                "DELETE FROM main.{table}; INSERT INTO main.{table} SELECT * FROM step.{table}"
            );
            sqlx::raw_sql(AssertSqlSafe(statement)).execute(&mut *transaction).await?;
        }
        transaction.commit().await
    }
    .await;
    detach(connection).await?;
    put
}

async fn attach(connection: &mut SqliteConnection, file: &str) -> sqlx::Result<()> {
    sqlx::query("ATTACH ?1 AS step").bind(file).execute(connection).await?;
    Ok(())
}

async fn detach(connection: &mut SqliteConnection) -> sqlx::Result<()> {
    sqlx::query("DETACH step").execute(connection).await?;
    Ok(())
}

/// The small tables, as names that a statement can take.
async fn small_tables(connection: &mut SqliteConnection) -> sqlx::Result<Vec<String>> {
    let names: Vec<String> = sqlx::query_scalar(
        "SELECT name FROM main.sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite^_%' ESCAPE '^'
         ORDER BY name",
    )
    .fetch_all(connection)
    .await?;
    let small = names.into_iter().filter(|name| !NOT_TAKEN_WHOLE.contains(&name.as_str()));
    Ok(small.map(|name| format!("\"{}\"", name.replace('"', "\"\""))).collect())
}
