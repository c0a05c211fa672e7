//! Reading a programme's records in order, decoding some on every core while the next are fetched.

use std::num::NonZero;
use std::sync::Arc;

use programme::codes::ProgrammeId;
use programme::entry::Entry;
use programme::ledger::{NodeHash, leaf_hash};

use crate::sql::ledger::{Kept, after};
use crate::sql::{Link, number};
use crate::verify::{FirstFailure, Wrong};

/// Records in memory at a time, twice.
const AT_A_TIME: i64 = 4096;

/// Below this, starting threads takes longer than decoding.
const WORTH_A_THREAD: usize = 256;

/// How closely each record is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    /// Its hash, place and shape.
    Quick,
    /// Besides, whether its text is the one canonical form.
    Thorough,
}

/// A record that was believed.
pub(crate) struct Believed {
    pub entry: Entry,
    pub leaf: NodeHash,
}

/// Hands the records up to number `until` to `each`, in order, and tells how many there were. Ends at the first that
/// fails, by itself or by what `each` says.
pub(crate) async fn replay(
    link: &mut Link<'_>,
    programme: &ProgrammeId,
    until: u64,
    look: Look,
    each: impl FnMut(Believed) -> Result<(), FirstFailure>,
) -> sqlx::Result<Result<u64, FirstFailure>> {
    replay_after(link, programme, 0, until, look, each).await
}

/// The same, of the records after number `before`; tells the number of the last.
pub(crate) async fn replay_after(
    link: &mut Link<'_>,
    programme: &ProgrammeId,
    before: u64,
    until: u64,
    look: Look,
    mut each: impl FnMut(Believed) -> Result<(), FirstFailure>,
) -> sqlx::Result<Result<u64, FirstFailure>> {
    let programme = Arc::new(programme.clone());
    let mut expected: u64 = before + 1;
    let mut fetched = fetch(link, &programme, number(before), until).await?;
    while let Some(last) = fetched.last() {
        let (last, first) = (last.seq, expected);
        let decoding = {
            let (programme, fetched) = (Arc::clone(&programme), fetched);
            tokio::task::spawn_blocking(move || decode(&programme, first, &fetched, look))
        };
        let (decoded, next) = tokio::join!(decoding, fetch(link, &programme, last, until));
        let decoded = decoded.map_err(|_| sqlx::Error::WorkerCrashed)?;
        fetched = next?;
        for believed in decoded {
            let outcome =
                believed.map_err(|wrong| FirstFailure { seq: expected, wrong }).and_then(&mut each);
            if let Err(failure) = outcome {
                return Ok(Err(failure));
            }
            expected += 1;
        }
    }
    Ok(Ok(expected - 1))
}

async fn fetch(
    link: &mut Link<'_>,
    programme: &ProgrammeId,
    after_seq: i64,
    until: u64,
) -> sqlx::Result<Vec<Kept>> {
    let left = number(until).saturating_sub(after_seq);
    if left <= 0 {
        return Ok(Vec::new());
    }
    after(link, programme.as_str(), after_seq, left.min(AT_A_TIME)).await
}

fn decode(
    programme: &ProgrammeId,
    first: u64,
    kept: &[Kept],
    look: Look,
) -> Vec<Result<Believed, Wrong>> {
    let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
    let share = kept.len().div_ceil(cores).max(WORTH_A_THREAD);
    let decode_share = |(number, share_of_kept): (usize, &[Kept])| -> Vec<_> {
        let first = first + (number * share) as u64;
        (first..)
            .zip(share_of_kept)
            .map(|(seq, kept)| believe(programme, seq, kept, look))
            .collect()
    };
    let mut shares = kept.chunks(share).enumerate();
    let mine = shares.next();
    std::thread::scope(|scope| {
        let decode_share = &decode_share;
        let others: Vec<_> = shares.map(|some| scope.spawn(move || decode_share(some))).collect();
        let mut all = mine.map_or_else(Vec::new, decode_share);
        for other in others {
            match other.join() {
                Ok(decoded) => all.extend(decoded),
                // A record that makes the decoder give up is one that cannot be read.
                Err(_) => all.push(Err(Wrong::Undecodable)),
            }
        }
        all
    })
}

/// Takes a record for what it says, if it says it in its place.
fn believe(programme: &ProgrammeId, seq: u64, kept: &Kept, look: Look) -> Result<Believed, Wrong> {
    if u64::try_from(kept.seq) != Ok(seq) {
        return Err(Wrong::Gap { found: kept.seq });
    }
    let leaf = leaf_hash(kept.entry.as_bytes());
    if leaf.bytes()[..] != kept.leaf[..] {
        return Err(Wrong::Altered { computed: leaf });
    }
    let entry = Entry::from_json(&kept.entry)?;
    if entry.programme != *programme {
        return Err(Wrong::OtherProgramme { found: entry.programme });
    }
    if entry.seq != seq {
        return Err(Wrong::OtherNumber { found: entry.seq });
    }
    if entry.at.timestamp_micros() != kept.recorded_at {
        return Err(Wrong::OtherTime { found: entry.at });
    }
    if look == Look::Thorough && entry.canonical_json().ok().as_ref() != Some(&kept.entry) {
        return Err(Wrong::NotCanonical);
    }
    Ok(Believed { entry, leaf })
}
