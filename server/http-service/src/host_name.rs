//! The name of a host, as settings name it and as requests ask for it.

use std::fmt;
use std::str::FromStr;

/// The name of a host, or an IPv4 address, in small letters and without a port.
///
/// # Source
///
/// RFC 1123, section 2.1, and RFC 1035, section 2.3.4 (both from memory): labels of letters, digits and hyphens, 63 long at
/// most, and 253 all together.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct HostName(String);

/// A text that is not the name of a host.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{given}\" is not the name of a host; write the name alone, such as north.example.org, without https://, port or path"
)]
pub struct BadHostName {
    /// What was given.
    pub given: String,
}

impl HostName {
    /// The name.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The host of an authority as requests have it, with its port or without.
    pub(crate) fn of_authority(authority: &str) -> Option<Self> {
        let name = match authority.rsplit_once(':') {
            Some((name, port)) if port.bytes().all(|it| it.is_ascii_digit()) => name,
            Some(_) => return None,
            None => authority,
        };
        name.parse().ok()
    }
}

impl FromStr for HostName {
    type Err = BadHostName;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let is_label = |label: &str| {
            (1..=63).contains(&label.len())
                && !label.starts_with('-')
                && !label.ends_with('-')
                && label.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
        };
        if text.len() <= 253 && text.split('.').all(is_label) {
            return Ok(Self(text.to_ascii_lowercase()));
        }
        Err(BadHostName { given: text.to_owned() })
    }
}

impl fmt::Display for HostName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_host_is_known_whatever_its_letters_and_its_port_are() {
        let north: HostName = "North.Example.org".parse().unwrap();
        assert_eq!(north.as_str(), "north.example.org");
        for asked in ["north.example.org", "NORTH.example.ORG:8443", "north.example.org:"] {
            assert_eq!(HostName::of_authority(asked), Some(north.clone()), "{asked}");
        }
        for other in ["example.org", "north.example.org.", "x.north.example.org", "north"] {
            assert_ne!(HostName::of_authority(other), Some(north.clone()), "{other}");
        }
    }

    #[test]
    fn what_is_not_a_name_alone_is_none() {
        let long = "a".repeat(64);
        let longer = ["a"; 128].join(".");
        for wrong in [
            "",
            ".",
            "a..b",
            "-a.b",
            "a-.b",
            "https://a.b",
            "a.b:443",
            "a.b/x",
            "a b",
            "ä.example.org",
            "[::1]",
            "u@a.b",
            "*.example.org",
            &long,
            &longer,
        ] {
            assert!(wrong.parse::<HostName>().is_err(), "{wrong}");
        }
        for wrong in ["", ":443", "a.b:x", "a.b:4:4", "[::1]:443", "u@a.b:1", "a.b/", "a.b, c.d"] {
            assert_eq!(HostName::of_authority(wrong), None, "{wrong}");
        }
    }
}
