//! Passwords and PINs: what is allowed, and hashing them off the threads that answer requests.

use std::sync::LazyLock;
use std::time::Duration;

use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use programme::codes::PersonHandle;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::gauge::Gauge;
use store::Store;

use crate::metrics::Counted;
use crate::plain_password::is_plain;
use crate::problem::{BUSY, FAULT, INVALID, Problem, SECRET_WRONG, capitalised};
use crate::turns::Turns;

/// The shortest password, in characters.
///
/// # Source
///
/// NIST SP 800-63B asks for at least 15 where a password stands alone, 8 beside another factor (from memory); 12 is ours.
pub const SHORTEST_PASSWORD: usize = 12;
/// The longest password, in bytes.
pub const LONGEST_PASSWORD: usize = 256;
/// How many digits a PIN has.
pub const PIN_DIGITS: std::ops::RangeInclusive<usize> = 6..=12;

/// How long a request waits for its turn to hash before it is told that the server is busy.
const LONGEST_WAIT: Duration = Duration::from_secs(10);

/// A password or PIN that is not allowed, or that could not be hashed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadSecret {
    /// The password is too short or too long.
    #[error(
        "a password has at least {SHORTEST_PASSWORD} characters and at most {LONGEST_PASSWORD} bytes"
    )]
    PasswordLength,
    /// The password is too plain.
    #[error(
        "a password must not be one part repeated, a row of the keyboard, or usual words and digits alone, nor contain the handle; take words that only you would put together"
    )]
    PasswordPlain,
    /// The PIN is not 6 to 12 digits.
    #[error("a PIN has 6 to 12 digits, not all the same and not counting up or down")]
    Pin,
    /// The system gave no randomness or memory.
    #[error("the password could not be hashed")]
    NotHashed,
}

/// Argon2id with 19 MiB, two passes and one lane.
///
/// # Source
///
/// OWASP Password Storage Cheat Sheet, Argon2id with m=19456 (19 MiB), t=2, p=1 (from memory).
fn hasher() -> Option<Argon2<'static>> {
    let params = Params::new(19 * 1024, 2, 1, None).ok()?;
    Some(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

fn hash(secret: &str) -> Result<String, BadSecret> {
    let hasher = hasher().ok_or(BadSecret::NotHashed)?;
    let hash = hasher.hash_password(secret.as_bytes()).map_err(|_| BadSecret::NotHashed)?;
    Ok(hash.to_string())
}

fn is_of(secret: &str, hash: &str) -> bool {
    hasher().is_some_and(|hasher| hasher.verify_password(secret.as_bytes(), hash).is_ok())
}

/// Hashes a password after looking whether it is allowed. Takes about 40 ms; for the command line.
///
/// # Errors
///
/// [`BadSecret`].
pub fn hash_password(handle: &PersonHandle, password: &str) -> Result<String, BadSecret> {
    check_password(handle, password)?;
    hash(password)
}

/// Hashes a PIN after looking whether it is allowed.
///
/// # Errors
///
/// [`BadSecret`].
pub fn hash_pin(pin: &str) -> Result<String, BadSecret> {
    check_pin(pin)?;
    hash(pin)
}

pub(crate) fn check_password(handle: &PersonHandle, password: &str) -> Result<(), BadSecret> {
    if password.chars().count() < SHORTEST_PASSWORD || password.len() > LONGEST_PASSWORD {
        return Err(BadSecret::PasswordLength);
    }
    let named = handle.as_str().len() >= 4
        && password.to_lowercase().contains(&handle.as_str().to_lowercase());
    if named || is_plain(password) { Err(BadSecret::PasswordPlain) } else { Ok(()) }
}

pub(crate) fn check_pin(pin: &str) -> Result<(), BadSecret> {
    let digits = pin.as_bytes();
    let all_digits = digits.iter().all(u8::is_ascii_digit);
    let steps =
        |step: i16| digits.windows(2).all(|pair| i16::from(pair[1]) - i16::from(pair[0]) == step);
    if !PIN_DIGITS.contains(&digits.len()) || !all_digits || [-1, 0, 1].into_iter().any(steps) {
        return Err(BadSecret::Pin);
    }
    Ok(())
}

/// Someone who is nobody, so that an unknown handle takes as long as a known one.
static NOBODYS_HASH: LazyLock<Option<String>> =
    LazyLock::new(|| hash("nobody signs in with this").ok());

/// What is counted of the work on secrets.
#[derive(Debug, Clone, Default)]
pub(crate) struct Counts {
    /// Hashes that were computed, to be kept or to be held against one that is kept.
    pub hashes: Counter,
    /// Requests whose secret is being hashed at this moment.
    pub at_work: Gauge,
    /// Requests that wait for their turn to hash.
    pub waiting: Gauge,
}

fn not_allowed(field: &'static str, error: &BadSecret) -> Problem {
    Problem::of_field(INVALID, field, format!("{}.", capitalised(&error.to_string())))
}

/// Hashes and checks secrets, a few at a time.
#[derive(Debug, Clone)]
pub(crate) struct Secrets {
    turns: Turns,
    counts: Counts,
}

impl Secrets {
    pub fn new(turns: Turns, counts: Counts) -> Self {
        Self { turns, counts }
    }

    /// Hashes a password that is allowed.
    pub async fn hash_password(
        &self,
        handle: &PersonHandle,
        field: &'static str,
        password: String,
    ) -> Result<String, Problem> {
        check_password(handle, &password).map_err(|error| not_allowed(field, &error))?;
        self.hash(password).await
    }

    /// Hashes a PIN that is allowed.
    pub async fn hash_pin(&self, pin: String) -> Result<String, Problem> {
        check_pin(&pin).map_err(|error| not_allowed("pin", &error))?;
        self.hash(pin).await
    }

    async fn hash(&self, secret: String) -> Result<String, Problem> {
        let hashes = self.counts.hashes.clone();
        let work = move || {
            hashes.inc();
            hash(&secret)
        };
        self.on_another_thread(work).await?.map_err(|error| {
            Problem::new(FAULT, "The password could not be hashed. Ask again.").because(error)
        })
    }

    /// Whether the password is the account's; for an unknown or disabled account no, after as long a time.
    pub async fn is_password(
        &self,
        store: &Store,
        handle: &PersonHandle,
        password: String,
    ) -> Result<bool, Problem> {
        let account = store.account(handle).filter(|account| account.disabled_at.is_none());
        let is_of = self.counted();
        self.on_another_thread(move || match account {
            Some(account) => is_of(&password, &account.password_hash),
            None => {
                if let Some(nobody) = NOBODYS_HASH.as_deref() {
                    is_of(&password, nobody);
                }
                false
            }
        })
        .await
    }

    /// Makes sure that the secret is the signed-in person's password or PIN.
    pub async fn confirm(
        &self,
        store: &Store,
        handle: &PersonHandle,
        secret: String,
    ) -> Result<(), Problem> {
        let account = store.account(handle).filter(|account| account.disabled_at.is_none());
        let is_of = self.counted();
        let right = self
            .on_another_thread(move || {
                account.is_some_and(|account| match &account.pin_hash {
                    // A password is never all digits and as short as a PIN, so one hash is enough.
                    Some(pin_hash) if check_pin(&secret).is_ok() => {
                        is_of(&secret, pin_hash) || is_of(&secret, &account.password_hash)
                    }
                    _ => is_of(&secret, &account.password_hash),
                })
            })
            .await?;
        if right {
            return Ok(());
        }
        Err(Problem::of_field(
            SECRET_WRONG,
            "secret",
            "This is neither your password nor your PIN, so nothing was signed. Try again.",
        ))
    }

    /// A turn to hash that somebody else then waits for.
    #[cfg(test)]
    pub async fn a_turn(&self) -> crate::turns::Turn {
        self.turns.turn().await.expect("it is never closed")
    }

    /// [`is_of`], counted.
    fn counted(&self) -> impl Fn(&str, &str) -> bool + Send + use<> {
        let hashes = self.counts.hashes.clone();
        move |secret, hash| {
            hashes.inc();
            is_of(secret, hash)
        }
    }

    async fn on_another_thread<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, Problem> {
        let busy = || {
            Problem::new(BUSY, "Too many people sign in or sign at once. Try again in a moment.")
                .retry_after(5)
        };
        let waits = Counted::one_more(&self.counts.waiting);
        let turn = tokio::time::timeout(LONGEST_WAIT, self.turns.turn())
            .await
            .map_err(|_| busy())?
            .map_err(|_| busy())?;
        drop(waits);
        let at_work = Counted::one_more(&self.counts.at_work);
        tokio::task::spawn_blocking(move || {
            let _until_done = (turn, at_work);
            work()
        })
        .await
        .map_err(|error| {
            Problem::new(FAULT, "The password could not be looked at. Ask again.").because(error)
        })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_secret_is_known_by_its_hash_and_no_other_is() {
        let handle = PersonHandle::new("ada").unwrap();
        let hash = hash_password(&handle, "grass and batteries").unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
        assert!(is_of("grass and batteries", &hash));
        assert!(!is_of("grass and batterie", &hash));
    }

    #[actix_web::test]
    async fn no_more_hash_at_once_than_may_and_the_others_wait_for_their_turn() {
        use std::sync::Arc;
        use std::sync::atomic::{AtomicUsize, Ordering};
        let counts = Counts::default();
        let secrets = Secrets::new(Turns::new(2), counts.clone());
        let (now, most) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicUsize::new(0)));
        let (let_go, held) = std::sync::mpsc::channel::<()>();
        let held = Arc::new(std::sync::Mutex::new(held));
        let work: Vec<_> = (0..9)
            .map(|_| {
                let (secrets, now, most) = (secrets.clone(), now.clone(), most.clone());
                let held = Arc::clone(&held);
                actix_web::rt::spawn(async move {
                    let work = move || {
                        most.fetch_max(now.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
                        held.lock().unwrap().recv().unwrap();
                        now.fetch_sub(1, Ordering::SeqCst);
                    };
                    secrets.on_another_thread(work).await
                })
            })
            .collect();
        let at_work = || (counts.at_work.get(), counts.waiting.get(), now.load(Ordering::SeqCst));
        while at_work() != (2, 7, 2) {
            tokio::task::yield_now().await;
        }
        (0..9).for_each(|_| let_go.send(()).unwrap());
        for one in work {
            one.await.unwrap().unwrap();
        }
        assert_eq!(most.load(Ordering::SeqCst), 2);
        assert_eq!((counts.at_work.get(), counts.waiting.get()), (0, 0));
    }

    #[test]
    fn passwords_and_pins_that_anyone_would_try_first_are_refused() {
        let handle = PersonHandle::new("brook").unwrap();
        for bad in
            ["short", "Password2026", "brook is my name", &"wet grass, warm cells, ".repeat(12)]
        {
            assert!(check_password(&handle, bad).is_err(), "{bad}");
        }
        let of_64 = "wet grass and warm cells, ".repeat(3)[..60].to_owned() + "over";
        check_password(&handle, &of_64).unwrap();
        for bad in ["12345", "123456", "654321", "000000", "12345x", "4".repeat(13).as_str()] {
            assert!(check_pin(bad).is_err(), "{bad}");
        }
        check_pin("480213").unwrap();
    }
}
