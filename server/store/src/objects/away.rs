//! Why recordings in a bucket cannot be had, in words for whoever runs the server.

use std::error::Error as StdError;
use std::sync::Arc;

use object_store::Error as StoreError;

use super::transport::{NO_BUCKET, Refused};

/// Why an object store does not do what it is asked.
#[derive(Debug, Clone, thiserror::Error)]
pub enum Away {
    /// There is no such bucket.
    #[error(
        "there is no such bucket: make it, or name another one with --recordings; AWS_ENDPOINT_URL and AWS_REGION tell where it is looked for"
    )]
    NoBucket,
    /// It does not let the server in.
    #[error(
        "it refuses the server: look at AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY, AWS_SESSION_TOKEN and AWS_REGION, at the clock of this machine, and whether that key may list, read, write and delete there"
    )]
    Refuses(#[source] Reason),
    /// It does not answer as it should.
    #[error(
        "it does not answer as it should: look whether it runs, and whether AWS_ENDPOINT_URL and AWS_REGION are right; it is asked anew with each request"
    )]
    Unreachable(#[source] Reason),
}

impl Away {
    /// Whether asking again changes nothing until somebody changes a setting.
    pub fn is_lasting(&self) -> bool {
        match self {
            Away::NoBucket | Away::Refuses(_) => true,
            Away::Unreachable(_) => false,
        }
    }

    pub(super) fn of(error: impl StdError + Send + Sync + 'static) -> Self {
        Away::Unreachable(Reason(Arc::new(error)))
    }
}

/// What was answered, without anything that is to be kept to oneself.
#[derive(Debug, Clone)]
pub struct Reason(Arc<dyn StdError + Send + Sync>);

impl std::fmt::Display for Reason {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

// What it came from is in its words already.
impl StdError for Reason {}

/// An answer that is none of what was asked for.
pub(super) enum AwayError {
    /// There is no object of that name, and the store is there.
    NoSuchObject,
    /// The store is not there.
    Away(Away),
}

impl AwayError {
    pub fn of(error: StoreError) -> Self {
        if let Some(refused) = refused(&error) {
            let away = match refused.code.as_deref() {
                Some(NO_BUCKET) => Away::NoBucket,
                Some(_) | None => Away::Refuses(Reason(Arc::new(refused.clone()))),
            };
            return AwayError::Away(away);
        }
        match error {
            StoreError::NotFound { .. } => AwayError::NoSuchObject,
            other => AwayError::Away(Away::of(other)),
        }
    }
}

/// The refusal that an error came from.
fn refused(error: &StoreError) -> Option<&Refused> {
    let mut source: Option<&(dyn StdError + 'static)> = Some(error);
    while let Some(cause) = source {
        if let Some(refused) = cause.downcast_ref::<Refused>() {
            return Some(refused);
        }
        source = cause.source();
    }
    None
}

/// An environment that does not tell how to speak with the object store.
#[derive(Debug, thiserror::Error)]
pub enum NotSet {
    /// What names where it answers is no address.
    #[error("{name} is no address; it is like https://s3.example.org")]
    Endpoint {
        /// The variable.
        name: &'static str,
    },
    /// It would be spoken with without TLS.
    #[error(
        "{name} names another machine with http://, where everybody on the way can read along: use https://, or set AWS_ALLOW_HTTP=true where the network is your own"
    )]
    Plain {
        /// The variable.
        name: &'static str,
    },
    /// The certificates to be trusted cannot be read.
    #[error("AWS_CA_BUNDLE names no readable file of certificates in PEM form")]
    Authorities(#[source] Option<std::io::Error>),
    /// Something else is missing or cannot be read.
    #[error("the variables that begin with AWS_ do not tell how to reach the object store")]
    Store(#[source] StoreError),
}
