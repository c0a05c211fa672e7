//! What only PostgreSQL has: how to connect, and whether its tables are as this program makes them.

use std::collections::BTreeMap;
use std::time::Duration;

use sqlx::migrate::Migrator;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::{Connection, Executor, PgConnection, PgPool};

pub(super) static MIGRATIONS: Migrator = sqlx::migrate!("../../migrations/postgres");

/// Connections that read at the same time, and one that listens. State is read from memory, so few are needed.
const READERS: u32 = 5;

/// How long to wait for a connection before it is told that the database cannot be reached.
const PATIENCE: Duration = Duration::from_secs(5);

/// What holds for the connection that writes: it waits only so long for another server, and lets go of everything where this
/// server stops in the middle, be it that it died without a word. What is committed is on the database's disk.
const WRITES: &str = "SET lock_timeout = '10s';
    SET idle_in_transaction_session_timeout = '10s';
    SELECT set_config('synchronous_commit', 'on', false)
        WHERE current_setting('synchronous_commit') IN ('off', 'local');";

/// The connection that writes.
pub(crate) async fn connect_to_write(options: &PgConnectOptions) -> sqlx::Result<PgConnection> {
    let mut connection = connect(options).await?;
    connection.execute(sqlx::raw_sql(WRITES)).await?;
    Ok(connection)
}

/// A connection, or that there is none within some seconds.
pub(crate) async fn connect(options: &PgConnectOptions) -> sqlx::Result<PgConnection> {
    tokio::time::timeout(PATIENCE, PgConnection::connect_with(options))
        .await
        .unwrap_or_else(|_| Err(sqlx::Error::Io(std::io::ErrorKind::TimedOut.into())))
}

/// Connections that read, opened as needed.
pub(crate) fn readers(options: &PgConnectOptions) -> PgPool {
    PgPoolOptions::new()
        .max_connections(READERS)
        .acquire_timeout(PATIENCE)
        .after_connect(|connection, _| {
            Box::pin(async move {
                connection.execute("SET SESSION CHARACTERISTICS AS TRANSACTION READ ONLY").await?;
                Ok(())
            })
        })
        .connect_lazy_with(options.clone())
}

/// Whether there are tables of this program.
pub(crate) async fn has_tables(connection: &mut PgConnection) -> sqlx::Result<bool> {
    sqlx::query_scalar("SELECT to_regclass('account') IS NOT NULL").fetch_one(connection).await
}

/// How the database is set: the form of its texts, and whether it waits for its disk.
pub(crate) async fn settings(connection: &mut PgConnection) -> sqlx::Result<(String, String)> {
    sqlx::query_as("SELECT current_setting('server_encoding'), current_setting('fsync')")
        .fetch_one(connection)
        .await
}

/// Where the tables are made anew to be looked at.
const AS_MADE: &str = "rungbook_as_made";

/// Tables, guards and all that belongs to them by name, as the database describes them.
type Objects = BTreeMap<String, String>;

/// The first table or guard that is not as this program makes it; none if all are.
///
/// How a database describes what it has differs from one version of it to the next, so nothing that was written down is
/// compared. The migrations that it went through are gone through once more, in a schema of their own and a transaction that is
/// taken back, and both are described by the same server. That takes the right to make a schema in the database.
pub(crate) async fn other_object(
    connection: &mut PgConnection,
    options: &PgConnectOptions,
) -> sqlx::Result<Option<String>> {
    let (version, schema): (i64, String) = sqlx::query_as(
        "SELECT coalesce(max(version), 0), current_schema() FROM _sqlx_migrations WHERE success",
    )
    .fetch_one(&mut *connection)
    .await?;
    if !MIGRATIONS.iter().any(|migration| migration.version == version) {
        return Ok(Some(format!("tables of version {version}")));
    }
    let mut found = objects(connection, &schema).await?;
    let expected = expected_objects(options, version).await?;
    for (name, described) in expected {
        if found.remove(&name).as_ref() != Some(&described) {
            return Ok(Some(name));
        }
    }
    Ok(found.into_keys().next())
}

async fn expected_objects(options: &PgConnectOptions, version: i64) -> sqlx::Result<Objects> {
    let mut connection = connect_to_write(options).await?;
    let mut transaction = connection.begin().await?;
    transaction
        .execute(sqlx::raw_sql(
            "CREATE SCHEMA rungbook_as_made; SET LOCAL search_path TO rungbook_as_made;",
        ))
        .await?;
    for migration in MIGRATIONS.iter().filter(|migration| migration.version <= version) {
        transaction.execute(sqlx::raw_sql(migration.sql.clone())).await?;
    }
    let objects = objects(&mut transaction, AS_MADE).await?;
    transaction.rollback().await?;
    connection.close().await?;
    Ok(objects)
}

/// Everything in a schema that bears on what the tables hold, each with its description, in which the schema is not named.
async fn objects(connection: &mut PgConnection, schema: &str) -> sqlx::Result<Objects> {
    let all: Vec<(String, String)> = sqlx::query_as(
        "WITH mine AS (
             SELECT c.* FROM pg_class AS c JOIN pg_namespace AS n ON n.oid = c.relnamespace
             WHERE n.nspname = $1 AND c.relname NOT LIKE '\\_sqlx\\_migrations%'
                 AND NOT EXISTS (SELECT FROM pg_depend WHERE objid = c.oid AND deptype = 'e')
         ), described AS (
             SELECT 'table ' || relname AS name,
                 concat_ws(' ', relkind, relpersistence, relrowsecurity, relhasrules,
                     (SELECT count(*) FROM pg_inherits WHERE oid IN (inhrelid, inhparent))) AS what
             FROM mine
             UNION ALL
             SELECT 'column ' || relname || '.' || attname,
                 concat_ws(' ', format_type(atttypid, atttypmod), attnotnull, attidentity, attgenerated,
                     (SELECT collname FROM pg_collation WHERE pg_collation.oid = attcollation),
                     pg_get_expr(adbin, adrelid))
             FROM mine JOIN pg_attribute ON attrelid = mine.oid
             LEFT JOIN pg_attrdef ON adrelid = attrelid AND adnum = attnum
             WHERE attnum > 0 AND NOT attisdropped AND relkind = 'r'
             UNION ALL
             SELECT 'constraint ' || conname, pg_get_constraintdef(pg_constraint.oid)
             FROM mine JOIN pg_constraint ON conrelid = mine.oid
             UNION ALL
             SELECT 'index ' || relname, concat_ws(' ', pg_get_indexdef(mine.oid), indisvalid)
             FROM mine JOIN pg_index ON indexrelid = mine.oid
             UNION ALL
             SELECT 'trigger ' || tgname, concat_ws(' ', pg_get_triggerdef(pg_trigger.oid), tgenabled)
             FROM mine JOIN pg_trigger ON tgrelid = mine.oid WHERE NOT tgisinternal
             UNION ALL
             SELECT 'foreign key ' || relname, string_agg(tgenabled::text, '' ORDER BY tgenabled)
             FROM mine JOIN pg_trigger ON tgrelid = mine.oid WHERE tgisinternal GROUP BY relname
             UNION ALL
             SELECT 'function ' || proname,
                 concat_ws(' ', provolatile, prosecdef, proconfig, prorettype::regtype, prosrc)
             FROM pg_proc JOIN pg_namespace AS n ON n.oid = pronamespace
             WHERE n.nspname = $1 AND EXISTS (SELECT FROM pg_trigger WHERE tgfoid = pg_proc.oid)
         )
         SELECT name, replace(coalesce(what, ''), quote_ident($1) || '.', '') FROM described",
    )
    .bind(schema)
    .fetch_all(connection)
    .await?;
    Ok(all.into_iter().collect())
}
