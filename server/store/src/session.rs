//! Sessions: one sign-in each, carried on by refresh tokens that are good once.
//!
//! The store keeps hashes of tokens and never the tokens. Whether a session stands is looked up in memory, so that
//! ending one acts at once.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, SubsecRound, Utc};
use programme::codes::PersonHandle;
use uuid::Uuid;

use crate::account::Account;
use crate::fault::WriteError;
use crate::sql;
use crate::store::Store;

/// A sign-in with its first refresh token.
#[derive(Debug, Clone)]
pub struct NewSession {
    /// The session's id, which access tokens carry; all refresh tokens that follow belong to it.
    pub id: Uuid,
    /// Who signed in.
    pub handle: PersonHandle,
    /// SHA-256 of the refresh token.
    pub token_hash: [u8; 32],
    /// When it began.
    pub at: DateTime<Utc>,
    /// Until when the refresh token is good.
    pub expires_at: DateTime<Utc>,
}

/// A refresh token to be exchanged for another.
#[derive(Debug, Clone)]
pub struct Rotation {
    /// SHA-256 of the token that was given.
    pub given_hash: [u8; 32],
    /// SHA-256 of the token to be handed out instead.
    pub next_hash: [u8; 32],
    /// When.
    pub at: DateTime<Utc>,
    /// Until when the new token is good.
    pub expires_at: DateTime<Utc>,
}

/// A sign-in that was not begun.
#[derive(Debug, thiserror::Error)]
pub enum BeginError {
    /// There is no such account, or it is disabled.
    #[error("\"{0}\" cannot sign in")]
    NoAccount(PersonHandle),
    /// It could not be written.
    #[error(transparent)]
    NotWritten(#[from] WriteError),
}

/// A refresh token that was not exchanged.
#[derive(Debug, thiserror::Error)]
pub enum RotateError {
    /// No such token, or its session is over.
    #[error("the session is over; sign in again")]
    Ended,
    /// The token was used before: somebody has a copy, so the whole session was ended.
    #[error("the refresh token was used before, so its session was ended; sign in again")]
    Reused {
        /// Whose session it was.
        handle: PersonHandle,
        /// Which.
        session: Uuid,
    },
    /// It could not be written.
    #[error(transparent)]
    NotWritten(#[from] WriteError),
}

/// Who is signed in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignedIn {
    /// The person's name.
    pub name: String,
    /// Whether the person may manage accounts and begin programmes.
    pub administrator: bool,
    /// Whether the person has a PIN.
    pub has_pin: bool,
}

/// Why an access token is not good though its signature is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotSignedIn {
    /// No such account, or it is disabled.
    #[error("the account cannot sign in")]
    NoAccount,
    /// The session was ended.
    #[error("the session is over; sign in again")]
    Ended,
}

/// Accounts and the sessions that stand, in memory.
#[derive(Debug, Default)]
pub(crate) struct SignIns {
    pub accounts: BTreeMap<PersonHandle, Account>,
    pub sessions: HashMap<Uuid, Standing>,
}

/// A session that was not ended.
#[derive(Debug, Clone)]
pub(crate) struct Standing {
    pub handle: PersonHandle,
    /// No token of it is older.
    pub began_at: DateTime<Utc>,
    /// When its last refresh token ends.
    pub expires_at: DateTime<Utc>,
}

impl SignIns {
    pub fn end_all_of(&mut self, handle: &PersonHandle) {
        self.sessions.retain(|_, standing| standing.handle != *handle);
    }

    fn can_sign_in(&self, handle: &PersonHandle) -> Option<&Account> {
        self.accounts.get(handle).filter(|account| account.disabled_at.is_none())
    }
}

/// What a rotation found, inside its transaction.
enum Rotated {
    Done(PersonHandle, Uuid),
    Ended,
    Reused(PersonHandle, Uuid),
}

impl Store {
    /// Begins a session. Sessions whose tokens have all expired are deleted on the way.
    ///
    /// # Errors
    ///
    /// [`BeginError`]; no session was begun.
    pub async fn begin_session(&self, new: NewSession) -> Result<(), BeginError> {
        let handle = new.handle.clone();
        let at = new.at;
        let standing =
            Standing { handle: new.handle.clone(), began_at: new.at, expires_at: new.expires_at };
        let id = new.id;
        let begun = self
            .write(
                async move |link| {
                    let account = sql::account::find(link, &new.handle).await?;
                    if account.is_none_or(|account| account.disabled_at.is_some()) {
                        return Ok(false);
                    }
                    sql::session::delete_expired(link, new.at).await?;
                    sql::session::insert(link, &new).await?;
                    Ok(true)
                },
                move |shared, begun| {
                    if *begun {
                        let sessions = &mut shared.sign_ins.write().sessions;
                        sessions.retain(|_, standing| standing.expires_at > at);
                        sessions.insert(id, standing);
                    }
                },
            )
            .await?;
        if begun { Ok(()) } else { Err(BeginError::NoAccount(handle)) }
    }

    /// Exchanges a refresh token for the next of its session. A token that was used before ends the session.
    ///
    /// # Errors
    ///
    /// [`RotateError`]; no token was exchanged.
    pub async fn rotate(&self, rotation: Rotation) -> Result<(PersonHandle, Uuid), RotateError> {
        let expires_at = rotation.expires_at;
        let rotated = self
            .write(
                async move |link| {
                    let Some(token) = sql::session::find_token(link, &rotation.given_hash).await?
                    else {
                        return Ok(Rotated::Ended);
                    };
                    if token.used && !token.revoked {
                        sql::session::revoke(link, token.session, rotation.at).await?;
                        return Ok(Rotated::Reused(token.handle, token.session));
                    }
                    if token.revoked || token.disabled || token.expires_at <= rotation.at {
                        return Ok(Rotated::Ended);
                    }
                    sql::session::exchange(link, token.session, &rotation).await?;
                    Ok(Rotated::Done(token.handle, token.session))
                },
                move |shared, rotated| match rotated {
                    Rotated::Done(_, session) => {
                        if let Some(standing) = shared.sign_ins.write().sessions.get_mut(session) {
                            standing.expires_at = expires_at;
                        }
                    }
                    Rotated::Reused(_, session) => {
                        shared.sign_ins.write().sessions.remove(session);
                    }
                    Rotated::Ended => {}
                },
            )
            .await?;
        match rotated {
            Rotated::Done(handle, session) => Ok((handle, session)),
            Rotated::Ended => Err(RotateError::Ended),
            Rotated::Reused(handle, session) => Err(RotateError::Reused { handle, session }),
        }
    }

    /// Ends a session with all its tokens. Acts at once; ending one that is over does nothing.
    ///
    /// # Errors
    ///
    /// [`WriteError`] where it could not be written; the session then still stands.
    pub async fn end_session(&self, session: Uuid, at: DateTime<Utc>) -> Result<(), WriteError> {
        self.write(
            async move |link| sql::session::revoke(link, session, at).await,
            move |shared, ()| {
                shared.sign_ins.write().sessions.remove(&session);
            },
        )
        .await
    }

    /// The sessions of a person that stand at a moment, each with the moment at which its last refresh token ends.
    pub fn sessions_of(
        &self,
        handle: &PersonHandle,
        now: DateTime<Utc>,
    ) -> Vec<(Uuid, DateTime<Utc>)> {
        let sign_ins = self.shared().sign_ins.read();
        let of_person = sign_ins
            .sessions
            .iter()
            .filter(|(_, standing)| standing.handle == *handle && standing.expires_at > now);
        of_person.map(|(id, standing)| (*id, standing.expires_at)).collect()
    }

    /// Whether an access token of that person and session, issued at that moment, is good now. Looks in memory only.
    ///
    /// `issued_at` may be cut to the whole second, as it is in a JWT.
    ///
    /// # Errors
    ///
    /// [`NotSignedIn`] where it is not.
    pub fn signed_in(
        &self,
        handle: &PersonHandle,
        session: Uuid,
        issued_at: DateTime<Utc>,
    ) -> Result<SignedIn, NotSignedIn> {
        let sign_ins = self.shared().sign_ins.read();
        let account = sign_ins.can_sign_in(handle).ok_or(NotSignedIn::NoAccount)?;
        // A session that stands was begun after the last time that all of the person's were ended. The moments of the two are
        // not compared: a clock that was set back since would keep everybody out, and nobody could call a stop.
        let stands = sign_ins.sessions.get(&session).is_some_and(|standing| {
            standing.handle == *handle && standing.began_at.trunc_subsecs(0) <= issued_at
        });
        if !stands {
            return Err(NotSignedIn::Ended);
        }
        Ok(SignedIn {
            name: account.name.clone(),
            administrator: account.administrator,
            has_pin: account.pin_hash.is_some(),
        })
    }
}
