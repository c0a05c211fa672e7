//! Checking the signatures of checkpoints, on every core.

use std::num::NonZero;

use programme::ledger::checkpoint::Checkpoint;
use programme::ledger::note::{Verifier, verifier_of};

use super::{FirstFailure, Wrong};

/// Below this, starting threads takes longer than checking.
const WORTH_A_THREAD: usize = 64;

/// A signature to be checked.
pub(crate) struct ToCheck {
    pub checkpoint: Checkpoint,
    pub key: [u8; 32],
    pub signature: Vec<u8>,
}

impl ToCheck {
    fn is_right(&self) -> bool {
        let key = verifier_of(self.checkpoint.origin.as_str(), &self.key);
        let signature = <[u8; 64]>::try_from(self.signature.as_slice());
        key.zip(signature.ok()).is_some_and(|(key, signature)| {
            self.checkpoint.with_signature(&key, &signature).is_signed_by(&key)
        })
    }
}

/// What was found.
pub(crate) struct Checked {
    pub right: u64,
    pub first_failure: Option<FirstFailure>,
    /// The keys that signed, the oldest first.
    pub keys: Vec<Verifier>,
}

impl Checked {
    /// Checks all of them, which are in the order of their sizes.
    pub fn of(signed: &[ToCheck]) -> Self {
        let wrong = first_wrong(signed);
        let right = wrong.unwrap_or(signed.len());
        let mut keys: Vec<Verifier> = Vec::new();
        let mut last = None;
        for one in &signed[..right] {
            if last.replace(one.key) != Some(one.key) {
                keys.extend(verifier_of(one.checkpoint.origin.as_str(), &one.key));
            }
        }
        let first_failure = wrong.map(|place| {
            let size = signed[place].checkpoint.size;
            FirstFailure { seq: size, wrong: Wrong::BadSignature { size } }
        });
        Self { right: right as u64, first_failure, keys }
    }
}

/// The place of the first that is not right.
fn first_wrong(signed: &[ToCheck]) -> Option<usize> {
    let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
    let share = signed.len().div_ceil(cores).max(WORTH_A_THREAD);
    let wrong_in = |some: &[ToCheck]| some.iter().position(|one| !one.is_right());
    let mut shares = signed.chunks(share).enumerate();
    let mine = shares.next();
    std::thread::scope(|scope| {
        let others: Vec<_> =
            shares.map(|(number, some)| (number, scope.spawn(move || wrong_in(some)))).collect();
        if let Some(place) = mine.and_then(|(_, some)| wrong_in(some)) {
            return Some(place);
        }
        others.into_iter().find_map(|(number, other)| {
            // A signature that makes the check give up is not right.
            let found = other.join().unwrap_or(Some(0));
            found.map(|place| number * share + place)
        })
    })
}
