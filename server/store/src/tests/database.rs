//! Databases on a PostgreSQL server that may be there for the tests: each story has one of its own.

use sqlx::{AssertSqlSafe, Connection as _, PgConnection};
use uuid::Uuid;

use crate::DatabaseUrl;

/// The variable that names the server, as the URL of a database in which others may be made.
pub const SERVER: &str = "RUNGBOOK_TEST_POSTGRES";

/// A database, which is dropped at the end.
pub struct Database {
    server: String,
    name: String,
}

impl Database {
    /// A new, empty database; none where there is no server.
    pub async fn for_a_test() -> Option<Self> {
        let server = std::env::var(SERVER).ok()?;
        let name = format!("rungbook_test_{}", Uuid::now_v7().simple());
        let database = Self { server, name };
        database.at_the_server("CREATE DATABASE", "").await.unwrap();
        Some(database)
    }

    /// Where a story needs a server: as [`Database::for_a_test`], and says so where there is none.
    pub async fn or_say_why_not() -> Option<Self> {
        let database = Self::for_a_test().await;
        if database.is_none() {
            println!("{SERVER} names no server, so this was not tried");
        }
        database
    }

    pub fn url(&self) -> DatabaseUrl {
        let (before, _) = self.server.rsplit_once('/').unwrap();
        format!("{before}/{}", self.name).parse().unwrap()
    }

    /// Runs statements as somebody would with a database shell.
    pub async fn runs(&self, statements: impl Into<String>) -> sqlx::Result<()> {
        let mut connection = PgConnection::connect_with(self.url().options()).await?;
        let statements = AssertSqlSafe(statements.into());
        let outcome = sqlx::raw_sql(statements).execute(&mut connection).await;
        connection.close().await?;
        outcome.map(|_| ())
    }

    async fn at_the_server(&self, before: &str, after: &str) -> sqlx::Result<()> {
        let mut connection = PgConnection::connect(&self.server).await?;
        let statement = AssertSqlSafe(format!("{before} {} {after}", self.name));
        sqlx::raw_sql(statement).execute(&mut connection).await?;
        connection.close().await
    }
}

impl Drop for Database {
    fn drop(&mut self) {
        std::thread::scope(|scope| {
            scope.spawn(|| {
                let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
                // One that stays is gone with the server.
                if let Ok(runtime) = runtime {
                    let _ = runtime.block_on(self.at_the_server("DROP DATABASE", "WITH (FORCE)"));
                }
            });
        });
    }
}
