//! The acts of one transaction: decided one after the other, each against the state with all before it.

use std::collections::HashMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Instant;

use chrono::{DateTime, Utc};
use parking_lot::RwLock;
use programme::codes::{PersonHandle, ProgrammeId};
use programme::entry::{Draft, Entry};
use programme::ledger::{NodeHash, Tree, leaf_hash};
use programme::state::State;
use tokio::sync::oneshot;

use crate::act::{Act, ActError, Acted};
use crate::fault::WriteError;
use crate::fence::CopyFound;
use crate::idempotency::{Answered, Key, Remembered, Reply, ToRemember};
use crate::published::Published;
use crate::store::Shared;
use crate::watched::Transaction;
use crate::writer::ActJob;

/// A programme with what is decided and not yet on disk.
#[derive(Debug, Clone)]
pub(crate) struct Working {
    pub state: State,
    pub tree: Tree,
}

/// An entry with the bytes that are kept.
#[derive(Debug)]
pub(crate) struct Row {
    pub entry: Entry,
    pub text: String,
    pub leaf: NodeHash,
}

/// An act that was decided and is to be written.
#[derive(Debug)]
pub(crate) struct Decided {
    pub programme: ProgrammeId,
    /// When the programme is begun by it.
    pub founded_at: Option<DateTime<Utc>>,
    pub rows: Vec<Row>,
    pub reply: Reply,
}

type Answer = oneshot::Sender<Result<Acted, ActError>>;

/// The acts of one transaction, in order.
pub(crate) struct Batch<'a> {
    shared: &'a Shared,
    working: &'a mut HashMap<ProgrammeId, Working>,
    /// Replies under the keys of this batch: those on disk, and those given in it.
    answered: HashMap<Key, Answered>,
    pub decided: Vec<(Decided, Answer)>,
    pub to_remember: Vec<ToRemember>,
    /// Answers that write nothing. They may rest on acts of this batch, so they wait for it too.
    others: Vec<(Result<Acted, ActError>, Answer)>,
    began: Instant,
}

impl<'a> Batch<'a> {
    pub fn new(
        shared: &'a Shared,
        working: &'a mut HashMap<ProgrammeId, Working>,
        answered: HashMap<Key, Answered>,
    ) -> Self {
        Self {
            shared,
            working,
            answered,
            decided: Vec::new(),
            to_remember: Vec::new(),
            others: Vec::new(),
            began: Instant::now(),
        }
    }

    /// Decides one more act.
    pub fn take(&mut self, job: ActJob) {
        let ActJob { act, founds, answer } = job;
        if let Some(replayed) = self.answer_again(&act) {
            self.others.push((replayed, answer));
            return;
        }
        let (at, by, idempotency) = (act.at, act.by.clone(), act.idempotency.clone());
        match self.decide(act, founds) {
            Ok(decided) => {
                if let Some(idempotency) = idempotency {
                    self.remember(ToRemember {
                        person: by,
                        idempotency,
                        reply: decided.reply.clone(),
                        at,
                    });
                }
                self.decided.push((decided, answer));
            }
            Err(error) => self.others.push((Err(error), answer)),
        }
    }

    /// Whether there is anything to write.
    pub fn writes(&self) -> bool {
        !self.to_remember.is_empty()
            || self.decided.iter().any(|(decided, _)| !decided.rows.is_empty())
    }

    /// Size and root of each programme that the batch adds to.
    pub fn heads(&self) -> HashMap<&ProgrammeId, &Tree> {
        self.decided
            .iter()
            .filter(|(decided, _)| !decided.rows.is_empty())
            .filter_map(|(decided, _)| {
                Some((&decided.programme, &self.working.get(&decided.programme)?.tree))
            })
            .collect()
    }

    /// The hashes of what is decided, in order.
    pub fn leaves(&self) -> impl Iterator<Item = (&ProgrammeId, Vec<NodeHash>)> {
        self.decided.iter().filter(|(decided, _)| !decided.rows.is_empty()).map(|(decided, _)| {
            (&decided.programme, decided.rows.iter().map(|row| row.leaf).collect())
        })
    }

    /// Copies that test lead and safety officer have both acknowledged with this batch.
    pub fn acknowledged_copies(&self) -> Vec<&ProgrammeId> {
        let copies = self.shared.copies.read();
        let acknowledged = |id: &ProgrammeId, found: &CopyFound| {
            self.working.get(id).is_some_and(|it| found.is_acknowledged_in(&it.state))
        };
        let mut settled: Vec<_> = self.heads().into_keys().collect();
        settled.retain(|id| copies.get(*id).is_some_and(|found| acknowledged(id, found)));
        settled
    }

    /// Lets readers see what is on disk now, and answers.
    pub fn publish(self) {
        if self.writes() {
            self.shared.watcher.tell(Transaction {
                acts: self.decided.len(),
                records: self.decided.iter().map(|(decided, _)| decided.rows.len()).sum(),
                took: self.began.elapsed(),
            });
        }
        for (decided, answer) in self.decided {
            let Decided { programme, rows, reply, .. } = decided;
            if let Some(last) = rows.last() {
                let published = std::sync::Arc::clone(
                    self.shared.programmes.write().entry(programme.clone()).or_default(),
                );
                let head = {
                    let mut published = published.write();
                    published.take_in(rows.iter().map(|row| (&row.entry, row.leaf)));
                    published.head
                };
                settle_copy(self.shared, &programme, &published);
                if !self.shared.copies.read().contains_key(&programme) {
                    self.shared.fence.note(programme.as_str(), head);
                }
                // Nobody need be listening.
                let _ = self
                    .shared
                    .news
                    .send(crate::published::News { programme, seq: last.entry.seq });
            }
            let entries = rows.into_iter().map(|row| row.entry).collect();
            // Whoever asked may have stopped waiting; what was done stands.
            let _ = answer.send(Ok(Acted { reply, entries, replayed: false }));
        }
        for (outcome, answer) in self.others {
            let _ = answer.send(outcome);
        }
    }

    /// Answers that nothing was written, and forgets what was decided.
    pub fn fail(self, error: &WriteError) {
        for (decided, answer) in self.decided {
            self.working.remove(&decided.programme);
            let _ = answer.send(Err(error.clone().into()));
        }
        for (_, answer) in self.others {
            let _ = answer.send(Err(error.clone().into()));
        }
    }

    fn answer_again(&self, act: &Act) -> Option<Result<Acted, ActError>> {
        let idempotency = act.idempotency.as_ref()?;
        let answered = self.answered.get(&(act.by.clone(), idempotency.key.clone()))?;
        match answered.clone().to(idempotency) {
            Remembered::Nothing => None,
            Remembered::Same(reply) => {
                Some(Ok(Acted { reply, entries: Vec::new(), replayed: true }))
            }
            Remembered::Another => Some(Err(ActError::KeyReused(idempotency.key.clone()))),
        }
    }

    fn remember(&mut self, row: ToRemember) {
        let key = (row.person.clone(), row.idempotency.key.clone());
        let answered =
            Answered { request_digest: row.idempotency.request_digest, reply: row.reply.clone() };
        self.answered.insert(key, answered);
        self.to_remember.push(row);
    }

    fn decide(&mut self, act: Act, founds: bool) -> Result<Decided, ActError> {
        let Act { programme, by, at, decide, reply, .. } = act;
        let known = self.is_known(&programme);
        if founds && known {
            return Err(ActError::ProgrammeExists(programme));
        }
        if !founds && !known {
            return Err(ActError::UnknownProgramme(programme));
        }
        let shared = self.shared;
        let working = self.working_on(&programme);
        let drafts = catch_unwind(AssertUnwindSafe(|| decide(&working.state)))
            .map_err(|_| ActError::Panicked);
        let drafts = match drafts {
            Ok(Ok(drafts)) => drafts,
            Ok(Err(refusal)) => {
                self.forget_unfounded(&programme, founds);
                return Err(refusal.into());
            }
            Err(panicked) => {
                self.forget_unfounded(&programme, founds);
                return Err(panicked);
            }
        };
        let copy = shared.copies.read().get(&programme).copied();
        if let Some(copy) = copy
            && drafts.iter().any(|draft| draft.record.signs())
        {
            return Err(ActError::CopyNotAcknowledged { records: copy.head.size });
        }
        let rows = match keepable(&programme, working.tree.size(), at, &by, drafts) {
            Ok(rows) => rows,
            Err(unkeepable) => {
                self.forget_unfounded(&programme, founds);
                return Err(unkeepable);
            }
        };
        let answered = catch_unwind(AssertUnwindSafe(|| {
            for row in &rows {
                working.state.apply(&row.entry);
                working.tree.push(row.leaf);
            }
            let entries: Vec<Entry> = rows.iter().map(|row| row.entry.clone()).collect();
            reply(&working.state, &entries)
        }));
        match answered {
            Ok(reply) => Ok(Decided { programme, founded_at: founds.then_some(at), rows, reply }),
            Err(_) => {
                self.rebuild(&programme, founds);
                Err(ActError::Panicked)
            }
        }
    }

    fn is_known(&self, programme: &ProgrammeId) -> bool {
        self.working.contains_key(programme) || self.shared.programme(programme).is_some()
    }

    fn working_on(&mut self, programme: &ProgrammeId) -> &mut Working {
        let shared = self.shared;
        self.working.entry(programme.clone()).or_insert_with(|| as_published(shared, programme))
    }

    /// A programme that was not begun after all is as unknown as before.
    fn forget_unfounded(&mut self, programme: &ProgrammeId, founds: bool) {
        if founds {
            self.working.remove(programme);
        }
    }

    /// Makes the working state anew, without the act that failed half way.
    fn rebuild(&mut self, programme: &ProgrammeId, founds: bool) {
        self.working.remove(programme);
        if founds {
            return;
        }
        let mut working = as_published(self.shared, programme);
        let before = self.decided.iter().filter(|(decided, _)| decided.programme == *programme);
        for row in before.flat_map(|(decided, _)| &decided.rows) {
            working.state.apply(&row.entry);
            working.tree.push(row.leaf);
        }
        self.working.insert(programme.clone(), working);
    }
}

/// A copy that test lead and safety officer have acknowledged is the ledger from now on.
pub(crate) fn settle_copy(shared: &Shared, programme: &ProgrammeId, published: &RwLock<Published>) {
    let mut copies = shared.copies.write();
    let settled = copies
        .get(programme)
        .is_some_and(|found| found.is_acknowledged_in(&published.read().state));
    if settled {
        copies.remove(programme);
    }
}

fn as_published(shared: &Shared, programme: &ProgrammeId) -> Working {
    let Some(published) = shared.programme(programme) else {
        return Working { state: State::default(), tree: Tree::default() };
    };
    let published = published.read();
    Working { state: published.state.clone(), tree: published.tree.edge() }
}

/// Puts drafts in their places and makes sure that each reads back as the same text: a record that could be written
/// and not read again would keep the program from ever starting.
fn keepable(
    programme: &ProgrammeId,
    size: u64,
    at: DateTime<Utc>,
    by: &PersonHandle,
    drafts: Vec<Draft>,
) -> Result<Vec<Row>, ActError> {
    (size + 1..)
        .zip(drafts)
        .map(|(seq, draft)| {
            let entry = Entry::new(programme.clone(), seq, at, by.clone(), draft);
            let kind = entry.record.kind();
            let unkeepable = |source| ActError::Unkeepable { kind, source };
            let text = entry.canonical_json().map_err(|_| unkeepable(None))?;
            // The entry as read, not as decided, goes into the state, so that the state is the fold of what is kept.
            let entry = Entry::from_json(&text).map_err(|source| unkeepable(Some(source)))?;
            if entry.canonical_json().ok().as_ref() != Some(&text) {
                return Err(unkeepable(None));
            }
            let leaf = leaf_hash(text.as_bytes());
            Ok(Row { entry, text, leaf })
        })
        .collect()
}
