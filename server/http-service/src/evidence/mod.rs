//! Evidence that is made to be taken away: packs and papers, ordered over the API or on the page, and made in the background,
//! one at a time.
//!
//! It is no record: whatever is made here is made again from the ledger. So orders are kept in memory, their files on the
//! store's shelf, and both are gone when the program starts anew. How many there can be at a time is bounded, and so is how long
//! they are kept.

mod making;
mod order;
mod papers;

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::PathBuf;
use std::sync::Arc;

use chrono::{DateTime, SubsecRound, TimeDelta, Utc};
use parking_lot::Mutex;
use programme::codes::{PersonHandle, ProgrammeId};
use programme::scope::Scope;
use programme::state::State;
use store::{Idempotency, Store};
use uuid::Uuid;

pub(crate) use order::{EvidenceKind, EvidenceWanted, Made, Order, Stage};
pub use papers::{NoPaper, facts, pack_document};

use crate::office::Office;
use crate::problem::{FAULT, FaultView, INVALID, NOT_FOUND, NOT_MADE, Problem, TOO_MANY_ORDERS};

/// So many wait or are being made on a server.
const WAITING: usize = 8;
/// So many of them are one person's.
const OF_ONE_PERSON: usize = 3;
/// So many that are over are kept for each programme; the oldest goes first.
pub(crate) const KEPT: usize = 6;
/// So long they are kept.
const LASTS: TimeDelta = TimeDelta::hours(24);

/// All orders of a server.
#[derive(Debug)]
pub(crate) struct Orders {
    /// Where files are put; none where the folder cannot be used.
    shelf: Option<PathBuf>,
    book: Mutex<Book>,
}

#[derive(Debug, Default)]
struct Book {
    /// The oldest first.
    orders: Vec<Arc<Order>>,
    /// Whether somebody is at work.
    at_work: bool,
    /// Whether the program ends.
    ends: bool,
}

/// What came of a request to make something.
#[derive(Debug)]
pub(crate) struct Placed {
    pub order: Arc<Order>,
    /// Whether it was ordered before, by the same key.
    pub again: bool,
}

impl Orders {
    /// None yet. What an earlier run of the program made is removed.
    pub fn of(store: &Store) -> Self {
        let shelf = store.empty_shelf();
        let shelf = shelf.inspect_err(|error| {
            tracing::error!(
                error = error as &dyn std::error::Error,
                "the folder for evidence that is made cannot be used, so that none can be ordered"
            );
        });
        Self { shelf: shelf.ok(), book: Mutex::default() }
    }

    /// Takes an order, and has it made.
    ///
    /// # Errors
    ///
    /// Where too many wait, or the key was used for something else.
    pub fn place(
        &self,
        office: &Office,
        programme: &ProgrammeId,
        by: &PersonHandle,
        wanted: EvidenceWanted,
        asked: Option<Idempotency>,
    ) -> Result<Placed, Problem> {
        if self.shelf.is_none() {
            return Err(Problem::new(
                FAULT,
                "The folder for what is made cannot be used. Whoever runs the server looks into its log, and starts it again.",
            ));
        }
        self.sweep(office.now());
        let mut book = self.book.lock();
        if let Some(asked) = &asked
            && let Some(order) = book.known(by, &asked.key)
        {
            let same =
                order.asked.as_ref().map(|it| it.request_digest) == Some(asked.request_digest);
            return if same {
                Ok(Placed { order, again: true })
            } else {
                Err(Problem::key_reused())
            };
        }
        book.has_room(by)?;
        let at = office.now().trunc_subsecs(6);
        let order = Arc::new(Order::new(programme.clone(), by.clone(), at, wanted, asked));
        if !book.at_work {
            let office = office.clone();
            let named = std::thread::Builder::new().name("evidence".to_owned());
            // It waits for the book until this order stands in it.
            named.spawn(move || making::make_all(&office)).map_err(|error| {
                Problem::new(FAULT, "Nothing can be made just now. Ask again in a minute.")
                    .because(error)
            })?;
            book.at_work = true;
        }
        book.orders.push(Arc::clone(&order));
        Ok(Placed { order, again: false })
    }

    /// The next that waits, and the file to make. Where there is none, whoever works goes home.
    fn next(&self) -> Option<(Arc<Order>, PathBuf)> {
        let mut book = self.book.lock();
        let next = book.orders.iter().find(|order| order.stage() == Stage::Waiting);
        let next = next.filter(|_| !book.ends).cloned().zip(self.shelf.as_ref());
        let Some((order, shelf)) = next else {
            book.at_work = false;
            return None;
        };
        order.goes_to(Stage::BeingMade { document: true });
        let place = shelf.join(order.id.to_string());
        Some((order, place))
    }

    /// The orders of a programme, the newest first.
    pub fn of_programme(&self, programme: &ProgrammeId, now: DateTime<Utc>) -> Vec<Arc<Order>> {
        self.sweep(now);
        let book = self.book.lock();
        book.orders.iter().rev().filter(|order| order.programme == *programme).cloned().collect()
    }

    /// One of them.
    ///
    /// # Errors
    ///
    /// Where it is not there, or not any more.
    pub fn find(
        &self,
        programme: &ProgrammeId,
        id: Uuid,
        now: DateTime<Utc>,
    ) -> Result<Arc<Order>, Problem> {
        self.sweep(now);
        let book = self.book.lock();
        let mut of_programme = book.orders.iter().filter(|order| order.programme == *programme);
        of_programme.find(|order| order.id == id).cloned().ok_or_else(|| {
            Problem::new(
                NOT_FOUND,
                format!(
                    "There is no order {id} here. What was ordered is kept for {} hours, the last {KEPT} of a programme, and until the server is started anew; the ledger has lost nothing. Order it again.",
                    LASTS.num_hours()
                ),
            )
        })
    }

    /// How many are made before this one.
    pub fn ahead_of(&self, order: &Order) -> usize {
        let book = self.book.lock();
        book.orders.iter().take_while(|it| it.id != order.id).filter(|it| !it.is_over()).count()
    }

    /// The file of an order.
    ///
    /// # Errors
    ///
    /// Where it is not made yet, could not be made, or is gone.
    pub fn open(&self, order: &Order) -> Result<(File, Made), Problem> {
        let made = match order.stage() {
            Stage::Ready(made) => made,
            Stage::Waiting | Stage::BeingMade { .. } => {
                return Err(Problem::new(
                    NOT_MADE,
                    "It is not made yet. Look at the order until its state is \"ready\", and then fetch its file.",
                ));
            }
            Stage::Failed(why) => {
                return Err(Problem::new(NOT_MADE, format!("There is no file. {why}")));
            }
        };
        let shelf = self.shelf.as_ref().map(|shelf| shelf.join(order.id.to_string()));
        let file = shelf.and_then(|place| File::open(place).ok()).ok_or_else(|| {
            Problem::new(NOT_FOUND, "The file is not there any more. Order it again.")
        })?;
        Ok((file, made))
    }

    /// Until when what was made then is kept.
    pub fn kept_until(made: &Made) -> DateTime<Utc> {
        made.at + LASTS
    }

    /// Forgets what is too old or too much, and removes its files.
    pub fn sweep(&self, now: DateTime<Utc>) {
        let mut gone = Vec::new();
        {
            let mut book = self.book.lock();
            let mut kept: BTreeMap<ProgrammeId, usize> = BTreeMap::new();
            let mut stay = Vec::with_capacity(book.orders.len());
            for order in book.orders.drain(..).rev() {
                if order.is_over() {
                    let count = kept.entry(order.programme.clone()).or_default();
                    *count += 1;
                    let done_at = match order.stage() {
                        Stage::Ready(made) => made.at,
                        Stage::Waiting | Stage::BeingMade { .. } | Stage::Failed(_) => order.at,
                    };
                    if *count > KEPT || done_at + LASTS < now {
                        gone.push(order.id);
                        continue;
                    }
                }
                stay.push(order);
            }
            stay.reverse();
            book.orders = stay;
        }
        for id in gone {
            if let Some(shelf) = &self.shelf {
                // What failed has no file.
                let _ = fs::remove_file(shelf.join(id.to_string()));
            }
        }
    }

    /// Begins nothing more, and stops what is being made: the program ends.
    pub fn end(&self) {
        let mut book = self.book.lock();
        book.ends = true;
        for order in book.orders.iter().filter(|order| !order.is_over()) {
            order.progress.stop();
        }
    }
}

impl Book {
    fn known(&self, by: &PersonHandle, key: &str) -> Option<Arc<Order>> {
        let mut of_person = self.orders.iter().filter(|order| order.by == *by);
        of_person.find(|order| order.asked.as_ref().is_some_and(|it| it.key == key)).cloned()
    }

    fn has_room(&self, by: &PersonHandle) -> Result<(), Problem> {
        let open = || self.orders.iter().filter(|order| !order.is_over());
        let own = open().filter(|order| order.by == *by).count();
        let why = if own >= OF_ONE_PERSON {
            format!("{own} of your orders wait or are being made, and nobody has more at a time.")
        } else if open().count() >= WAITING {
            format!("{WAITING} orders wait or are being made, which is all that a server takes.")
        } else {
            return Ok(());
        };
        let what = format!("{why} Nothing was ordered: ask again when one of them is done.");
        Err(Problem::new(TOO_MANY_ORDERS, what).retry_after(15))
    }
}

/// What cannot be made, told before it is ordered.
pub(crate) fn check(wanted: &EvidenceWanted, state: &State) -> Result<(), Problem> {
    let mut faults = Vec::new();
    let mut fault = |field: &str, why: String| {
        faults.push(FaultView { field: field.to_owned(), why, code: None });
    };
    if wanted.what.draft().is_some() && wanted.scope != Scope::Programme {
        fault("scope", "A draft is of the whole programme: leave the part out.".to_owned());
    }
    if wanted.digests_only && wanted.what != EvidenceKind::Pack {
        fault("digests_only", "Only a pack can take recordings along: leave it out.".to_owned());
    }
    if let Scope::Point { point } = &wanted.scope
        && state.rung(point).is_none()
    {
        fault("scope.point", format!("There is no point {point} here. Check how it is written."));
    }
    let detail = match faults.as_slice() {
        [] => return Ok(()),
        [one] => one.why.clone(),
        _ => "This cannot be made; each fault says why.".to_owned(),
    };
    Err(Problem::new(INVALID, detail).with_faults(faults))
}
