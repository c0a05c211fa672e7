//! After a commit that was not answered: whether it stands.

use std::time::Duration;

use tokio::time::{Instant, sleep};

use super::{Among, FIRST_PAUSE, LONGEST_PAUSE, PATIENCE, within};
use crate::batch::Batch;
use crate::sql;
use crate::sql::Link;
use crate::sql::others::Locks;
use crate::writer::Asked;

/// How long it is tried to find out.
const SETTLE_WITHIN: Duration = Duration::from_secs(20);

impl Among {
    /// Whether what was written stands, after a commit that was not answered; none where it cannot be found out.
    pub(super) async fn settle(
        &mut self,
        locks: &Locks,
        batch: &Batch<'_>,
        asked: &Asked,
    ) -> Option<bool> {
        tracing::warn!(
            "the connection to the database was lost during a commit: looking whether it stands"
        );
        let until = Instant::now() + SETTLE_WITHIN;
        let mut pause = FIRST_PAUSE;
        loop {
            if let Ok(fresh) = sql::postgres::connect_to_write(&self.options).await {
                self.connection = Some(fresh);
                let looked = within(PATIENCE, async {
                    let mut link = self.link()?;
                    sql::others::turn(&mut link, "BEGIN").await?;
                    sql::others::lock(&mut link, locks).await?;
                    Ok(stands(&mut link, batch, asked).await?)
                });
                if let Ok(stands) = looked.await
                    && self.end("ROLLBACK").await.is_ok()
                {
                    return Some(stands);
                }
                self.connection = None;
            }
            if Instant::now() >= until {
                return None;
            }
            sleep(pause).await;
            pause = (pause * 2).min(LONGEST_PAUSE);
        }
    }
}

/// Whether everything of a batch is in the database. It was written in one transaction, so it is all there or none of it.
async fn stands(link: &mut Link<'_>, batch: &Batch<'_>, asked: &Asked) -> sqlx::Result<bool> {
    for (decided, _) in &batch.decided {
        let Some(last) = decided.rows.last() else { continue };
        let there = sql::ledger::leaf(link, decided.programme.as_str(), last.entry.seq).await?;
        if there.as_deref() != Some(&last.leaf.bytes()[..]) {
            return Ok(false);
        }
    }
    let answered = sql::idempotency::find(link, &asked.keys, asked.oldest_reply).await?;
    Ok(batch.to_remember.iter().all(|row| {
        let key = (row.person.clone(), row.idempotency.key.clone());
        answered.get(&key).is_some_and(|answered| {
            answered.request_digest == row.idempotency.request_digest && answered.reply == row.reply
        })
    }))
}
