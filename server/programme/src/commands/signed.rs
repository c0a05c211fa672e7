//! What every signature asks for: that the person saw what they sign.

use super::digests::NoDigest;
use super::given::not_now;
use crate::record::Digest;
use crate::refusal::{Fault, Refusal};

/// What can be signed.
pub(super) fn signable<T>(digest: Result<T, NoDigest>) -> Result<T, Refusal> {
    digest.map_err(|why| Refusal::Invalid {
        faults: vec![Fault::at("digest", format!("what is to be signed cannot be written: {why}"))],
    })
}

/// Refuses where what the person saw is not what stands there now.
pub(super) fn as_seen(present: &Digest, given: &Digest, what: &str) -> Result<(), Refusal> {
    if present == given {
        return Ok(());
    }
    Err(not_now(
        "card-changed",
        format!("{what} is not what you saw: it has changed since"),
        "Read it as it is now, with what changed, and sign that.",
    ))
}
