//! Making what was ordered, on a thread of its own: nobody who asks for something else waits for it.

use std::fs;
use std::io::{self, Write as _};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use chrono::SubsecRound as _;
use programme::record::Digest;
use sha2::{Digest as _, Sha256};
use store::{AsOfError, PackError, PackOrder, RecordingsIn, Store};

use super::order::{EvidenceKind, Made, Order, Stage};
use super::papers::{self, NoPaper};
use crate::office::Office;
use crate::problem::capitalised;

/// Why something was not made.
#[derive(Debug, thiserror::Error)]
enum NotMade {
    #[error(transparent)]
    Pack(#[from] PackError),
    #[error(transparent)]
    Paper(#[from] NoPaper),
    #[error("the file cannot be written in the data folder of the server")]
    Disk(#[from] io::Error),
    #[error("the program failed at it")]
    Panicked,
}

impl NotMade {
    /// What happened and what to do, for whoever ordered it.
    fn in_words(&self) -> String {
        let what = capitalised(&self.to_string());
        let next = match self {
            NotMade::Pack(error) => match error {
                PackError::Nothing(_) | PackError::NotSigned | PackError::DiskFull => "",
                PackError::Away(_) => {
                    " Order it again later; if it stays so, tell whoever runs the server."
                }
                PackError::Stopped => " Order it again once the server has started anew.",
                PackError::UnknownProgramme(_)
                | PackError::Name { .. }
                | PackError::Unreadable { .. }
                | PackError::Altered { .. }
                | PackError::Lost { .. }
                | PackError::Exists { .. }
                | PackError::Disk(_)
                | PackError::Read(_) => {
                    " Order it again; if it stays so, whoever runs the server looks into its log and runs rungbook verify."
                }
            },
            NotMade::Paper(NoPaper::Paper(
                paper::Trouble::NoSuchPoint { .. } | paper::Trouble::NothingThatDay { .. },
            )) => " Order it of another part.",
            NotMade::Paper(NoPaper::Paper(paper::Trouble::TooLong { .. })) => {
                " Order it of a smaller part, such as a phase."
            }
            NotMade::Paper(NoPaper::Unread(AsOfError::NotYet { .. })) => " Order it again.",
            NotMade::Paper(_) | NotMade::Disk(_) | NotMade::Panicked => {
                " Order it again; if it stays so, whoever runs the server looks into its log."
            }
        };
        format!("{what}.{next}")
    }

    /// Whether the program or its machine is to blame, and not what was asked for.
    fn is_a_fault(&self) -> bool {
        !matches!(
            self,
            NotMade::Pack(PackError::Nothing(_) | PackError::NotSigned | PackError::Stopped)
                | NotMade::Paper(NoPaper::Paper(
                    paper::Trouble::NoSuchPoint { .. }
                        | paper::Trouble::NothingThatDay { .. }
                        | paper::Trouble::TooLong { .. }
                ))
        )
    }
}

/// Makes one after the other until none waits.
pub(super) fn make_all(office: &Office) {
    // Its own, so that none of the threads that answer requests reads files or packs them.
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    loop {
        // One at a time in all houses together: each may need much memory.
        let turn = runtime.as_ref().ok().map(|runtime| runtime.block_on(office.making.turn()));
        let Some((order, place)) = office.evidence.next() else { break };
        let made = match &runtime {
            Err(error) => Err(NotMade::Disk(io::Error::from(error.kind()))),
            Ok(runtime) => catch_unwind(AssertUnwindSafe(|| {
                runtime.block_on(make(&office.store, &order, &place))
            }))
            .unwrap_or(Err(NotMade::Panicked)),
        };
        let what = order.wanted.what.title();
        match made {
            Ok(made) => {
                tracing::info!(order = %order.id, bytes = made.bytes, "{what} of {} was made", order.programme);
                order.goes_to(Stage::Ready(Made { at: office.now().trunc_subsecs(6), ..made }));
            }
            Err(error) => {
                // It may not have been begun at all.
                let _ = fs::remove_file(&place);
                let cause = &error as &dyn std::error::Error;
                if error.is_a_fault() {
                    tracing::error!(order = %order.id, error = cause, "{what} of {} could not be made", order.programme);
                } else {
                    tracing::info!(order = %order.id, error = cause, "{what} of {} was not made", order.programme);
                }
                order.goes_to(Stage::Failed(error.in_words()));
            }
        }
        drop(turn);
    }
}

async fn make(store: &Store, order: &Order, to: &Path) -> Result<Made, NotMade> {
    let wanted = &order.wanted;
    if wanted.what != EvidenceKind::Pack {
        let (which, scope) = (wanted.what.draft(), &wanted.scope);
        let set = papers::set(store, &order.programme, which, scope).await?;
        let mut file = store::private_file(to)?;
        file.write_all(&set.bytes)?;
        file.sync_all()?;
        return Ok(Made {
            bytes: set.bytes.len() as u64,
            sha256: Digest::from_bytes(Sha256::digest(&set.bytes).into()),
            records: set.records,
            root: set.root,
            at: order.at,
        });
    }
    let recordings =
        if wanted.digests_only { RecordingsIn::Digests } else { RecordingsIn::Included };
    let mut pack = PackOrder {
        programme: order.programme.clone(),
        scope: wanted.scope.clone(),
        recordings,
        besides: Vec::new(),
    };
    pack.besides.extend(papers::pack_document(store, &pack).await?);
    order.goes_to(Stage::BeingMade { document: false });
    let made = store.write_pack(&pack, to, &order.progress).await?;
    Ok(Made {
        bytes: made.bytes,
        sha256: made.digest,
        records: made.size,
        root: made.root,
        at: order.at,
    })
}
