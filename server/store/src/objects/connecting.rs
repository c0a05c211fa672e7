//! How an object store is reached, as the environment tells it: the variables that other tools for such stores read, too.

use std::time::Duration;

use object_store::aws::{AmazonS3, AmazonS3Builder};
use object_store::{BackoffConfig, RetryConfig};

use super::away::NotSet;
use super::place::BucketUrl;
use super::transport::Transport;

/// Variables that name where the store answers, in their order of precedence.
const ENDPOINTS: [&str; 3] = ["AWS_ENDPOINT_URL_S3", "AWS_ENDPOINT_URL", "AWS_ENDPOINT"];

/// Gets ready to speak with the store of a bucket. Nothing is asked of it yet.
///
/// # Errors
///
/// [`NotSet`], where the environment does not tell how to.
pub(super) fn connected(url: &BucketUrl) -> Result<AmazonS3, NotSet> {
    let (endpoint, plain) = endpoint()?;
    let transport = Transport::of_the_environment()?;
    let retry = RetryConfig {
        backoff: BackoffConfig {
            init_backoff: Duration::from_millis(100),
            max_backoff: Duration::from_secs(1),
            base: 2.0,
        },
        max_retries: 3,
        retry_timeout: Duration::from_secs(10),
    };
    let mut builder = AmazonS3Builder::from_env()
        .with_bucket_name(url.bucket())
        .with_retry(retry)
        .with_disable_bulk_delete(true)
        .with_http_connector(transport);
    if let Some(endpoint) = endpoint {
        builder = builder.with_endpoint(endpoint);
    }
    if plain {
        builder = builder.with_allow_http(true);
    }
    builder.build().map_err(NotSet::Store)
}

/// Where the store answers, if that is told, and whether it may be spoken with without TLS: where it is on this machine, or that is
/// asked for by name.
fn endpoint() -> Result<(Option<String>, bool), NotSet> {
    let variable = |name: &str| std::env::var(name).ok().filter(|value| !value.is_empty());
    let asked_for = variable("AWS_ALLOW_HTTP").is_some_and(|value| {
        ["1", "true", "on", "yes", "y"].contains(&value.to_ascii_lowercase().as_str())
    });
    let (mut first, mut plain) = (None, asked_for);
    for name in ENDPOINTS {
        let Some(endpoint) = variable(name) else { continue };
        let address: ureq::http::Uri = endpoint.parse().map_err(|_| NotSet::Endpoint { name })?;
        // An error shows the address, so that no password may stand in it.
        if address.authority().is_some_and(|authority| authority.as_str().contains('@')) {
            return Err(NotSet::Endpoint { name });
        }
        match (address.scheme_str(), address.host()) {
            (Some("https"), Some(_)) => {}
            (Some("http"), Some(host)) if asked_for || is_here(host) => plain = true,
            (Some("http"), Some(_)) => return Err(NotSet::Plain { name }),
            _ => return Err(NotSet::Endpoint { name }),
        }
        first = first.or(Some(endpoint));
    }
    Ok((first, plain))
}

fn is_here(host: &str) -> bool {
    let address = host.trim_start_matches('[').trim_end_matches(']');
    host == "localhost" || address.parse::<std::net::IpAddr>().is_ok_and(|it| it.is_loopback())
}
