//! Where recordings are kept, as somebody names it: a bucket of an object store of the S3 type.

use std::fmt;
use std::str::FromStr;

/// A bucket, and the beginning of the names in it.
///
/// Nothing else is in the URL: endpoint, region and keys come from the usual variables, so that it can be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BucketUrl {
    bucket: String,
    prefix: Option<String>,
}

/// A text that names no bucket. It is not repeated, since somebody may have put a key into it.
#[derive(Debug, thiserror::Error)]
pub enum BadBucketUrl {
    /// It begins otherwise.
    #[error(
        "recordings are kept in the data folder, or in the bucket that s3://BUCKET or s3://BUCKET/PREFIX names; what was given begins otherwise"
    )]
    Scheme,
    /// There is more in it than bucket and prefix.
    #[error(
        "s3://BUCKET/PREFIX has nothing but the names of bucket and prefix; endpoint, region and keys are given by AWS_ENDPOINT_URL, AWS_REGION, AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY"
    )]
    More,
    /// No bucket has such a name.
    #[error(
        "the bucket in s3://BUCKET/PREFIX has 3 to 63 small letters, digits, hyphens and dots, and begins and ends with a letter or digit"
    )]
    Bucket,
    /// A prefix of other signs.
    #[error(
        "the prefix in s3://BUCKET/PREFIX has parts of letters, digits, \"-\", \"_\" and \".\" between single slashes, and at most 200 signs"
    )]
    Prefix,
}

/// What begins the URL.
const SCHEME: &str = "s3://";

/// Longest prefix: a name of an object has at most 1024 bytes.
const LONGEST_PREFIX: usize = 200;

impl FromStr for BucketUrl {
    type Err = BadBucketUrl;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let rest = text.strip_prefix(SCHEME).ok_or(BadBucketUrl::Scheme)?;
        if rest.contains(['@', ':', '?', '#', '%']) {
            return Err(BadBucketUrl::More);
        }
        let (bucket, prefix) = rest.split_once('/').unwrap_or((rest, ""));
        let plain = |letter: char| letter.is_ascii_lowercase() || letter.is_ascii_digit();
        let is_a_name = (3..=63).contains(&bucket.len())
            && bucket.chars().all(|letter| plain(letter) || "-.".contains(letter))
            && bucket.starts_with(plain)
            && bucket.ends_with(plain);
        if !is_a_name {
            return Err(BadBucketUrl::Bucket);
        }
        let prefix = prefix.strip_suffix('/').unwrap_or(prefix);
        let is_plain = |part: &str| {
            let known = |letter: char| letter.is_ascii_alphanumeric() || "-_.".contains(letter);
            !part.is_empty() && part != "." && part != ".." && part.chars().all(known)
        };
        if !prefix.is_empty() && (prefix.len() > LONGEST_PREFIX || !prefix.split('/').all(is_plain))
        {
            return Err(BadBucketUrl::Prefix);
        }
        let prefix = (!prefix.is_empty()).then(|| prefix.to_owned());
        Ok(Self { bucket: bucket.to_owned(), prefix })
    }
}

impl BucketUrl {
    /// The bucket.
    pub fn bucket(&self) -> &str {
        &self.bucket
    }

    /// The name of an object in it.
    pub(super) fn key(&self, name: &str) -> object_store::path::Path {
        match &self.prefix {
            None => object_store::path::Path::from(name),
            Some(prefix) => object_store::path::Path::from(format!("{prefix}/{name}")),
        }
    }
}

impl fmt::Display for BucketUrl {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{SCHEME}{}", self.bucket)?;
        match &self.prefix {
            None => Ok(()),
            Some(prefix) => write!(f, "/{prefix}"),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_bucket_is_named_with_and_without_a_prefix() {
        for (text, shown, key) in [
            ("s3://tallow", "s3://tallow", "ab/abc"),
            ("s3://tallow/", "s3://tallow", "ab/abc"),
            (
                "s3://tallow/flight/tests_1.0/",
                "s3://tallow/flight/tests_1.0",
                "flight/tests_1.0/ab/abc",
            ),
        ] {
            let url: BucketUrl = text.parse().unwrap();
            assert_eq!(url.to_string(), shown);
            assert_eq!(url.key("ab/abc").to_string(), key);
            assert_eq!(shown.parse::<BucketUrl>().unwrap(), url);
        }
    }

    #[test]
    fn what_names_no_bucket_is_refused_and_never_repeated() {
        for (text, means) in [
            ("/var/lib/rungbook", "begins otherwise"),
            ("https://s3cret.example.org/tallow", "begins otherwise"),
            ("s3:/tallow", "begins otherwise"),
            ("s3://s3cret:s3cret@tallow", "AWS_ACCESS_KEY_ID"),
            ("s3://tallow:9000/x", "AWS_ENDPOINT_URL"),
            ("s3://tallow?key=s3cret", "AWS_SECRET_ACCESS_KEY"),
            ("s3://", "3 to 63"),
            ("s3:///s3cret", "3 to 63"),
            ("s3://ab", "3 to 63"),
            ("s3://Tallow", "3 to 63"),
            ("s3://-tallow", "3 to 63"),
            ("s3://tallow/a//b", "single slashes"),
            ("s3://tallow/../s3cret", "single slashes"),
            ("s3://tallow/a b", "single slashes"),
        ] {
            let told = text.parse::<BucketUrl>().unwrap_err();
            let told = format!("{told} {told:?}");
            assert!(told.contains(means), "{text}: {told}");
            assert!(!told.contains("s3cret"), "{told}");
        }
        assert!(format!("s3://tallow/{}", "x".repeat(201)).parse::<BucketUrl>().is_err());
    }
}
