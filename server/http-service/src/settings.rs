//! What `main` settles for this room.

use std::time::Duration;

use chrono::TimeDelta;

use crate::spans::Spans;

/// How often something may be asked: a burst, and then one every so often.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pace {
    /// So many at once; at least one.
    pub burst: u32,
    /// After the burst, one for each of these; longer than nothing.
    pub one_every: Duration,
}

impl Pace {
    /// So many at once, and after that one every so often.
    pub const fn new(burst: u32, one_every: Duration) -> Self {
        Self { burst, one_every }
    }
}

/// Settings of the HTTP service. [`Settings::default`] suits a team's server.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The program's version, as it is shown.
    pub version: &'static str,
    /// How long an access token is good for.
    pub access_token_lasts: TimeDelta,
    /// How long a refresh token is good for; each use gives another.
    pub refresh_token_lasts: TimeDelta,
    /// Attempts to sign in or refresh from one address.
    pub attempts_per_address: Pace,
    /// Attempts to sign in to one account from one address, and attempts to sign with a password or PIN by one person.
    pub attempts_per_account: Pace,
    /// The greatest JSON body, in bytes. Documents and spreadsheets may be as large as the programme crate reads.
    pub largest_body: usize,
    /// Password hashes computed at the same time; each takes 19 MiB.
    pub hashes_at_once: usize,
    /// Reads of the past at the same time; each folds the ledger anew.
    pub past_reads_at_once: usize,
    /// Whether a proxy of ours stands in front, whose `X-Forwarded-For` header tells the address.
    pub behind_proxy: bool,
    /// Whether the certificate that is spoken with is one for which others vouch, and not a folder's own authority.
    pub certificate_is_given: bool,
    /// How long whoever sends a recorder's file may be silent.
    pub sender_silent_at_most: Duration,
    /// Where is told what became of each request; none where nobody follows traces.
    pub spans: Option<Spans>,
    /// How the backup gets on that is kept up beside; none where none is.
    pub backup: Option<store::BackupWatch>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            version: env!("CARGO_PKG_VERSION"),
            access_token_lasts: TimeDelta::minutes(10),
            refresh_token_lasts: TimeDelta::days(14),
            attempts_per_address: Pace::new(60, Duration::from_secs(1)),
            attempts_per_account: Pace::new(10, Duration::from_secs(6)),
            largest_body: 256 * 1024,
            hashes_at_once: 2,
            past_reads_at_once: 2,
            behind_proxy: false,
            certificate_is_given: false,
            sender_silent_at_most: Duration::from_secs(60),
            spans: None,
            backup: None,
        }
    }
}
