//! A certificate authority of a data folder's own.
//!
//! Its key never leaves the folder. Its certificate says that it vouches only for private networks and local names, so
//! that a phone which trusts it does not trust it about the rest of the world, as far as the phone heeds that.

use std::fs;
use std::io::{self, Write};
use std::net::IpAddr;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Datelike, TimeDelta, Utc};
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DistinguishedName, DnType,
    ExtendedKeyUsagePurpose, GeneralSubtree, IsCa, Issuer, KeyPair, KeyUsagePurpose,
    NameConstraints,
};
use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer, PrivatePkcs8KeyDer};
use sha2::{Digest, Sha256};

use super::{Failure, files};

const FOLDER: &str = "tls";
const KEY: &str = "authority-key.pem";
const CERTIFICATE: &str = "authority.pem";

/// How long the authority is good for.
const AUTHORITY_YEARS: i32 = 10;

/// How long a server's certificate is good for; a new one is made at each start. Phones refuse longer ones than 398 days.
const CERTIFICATE_LASTS: TimeDelta = TimeDelta::days(397);

/// Names that belong to nobody else: this machine's, those of multicast DNS (RFC 6762) and of home networks (RFC 8375).
const LOCAL_NAMES: [&str; 3] = ["localhost", "local", "home.arpa"];

/// Networks that belong to nobody else: RFC 1918, RFC 3927, RFC 4193, RFC 4291 and this machine itself.
const PRIVATE_V4: [([u8; 4], u8); 5] = [
    ([10, 0, 0, 0], 8),
    ([172, 16, 0, 0], 12),
    ([192, 168, 0, 0], 16),
    ([169, 254, 0, 0], 16),
    ([127, 0, 0, 0], 8),
];
const PRIVATE_V6: [([u8; 16], u8); 3] = [
    ([0xfc, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0], 7),
    ([0xfe, 0x80, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0], 10),
    ([0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1], 128),
];

/// The authority with its key.
#[derive(Debug)]
pub struct Authority {
    key: KeyPair,
    /// Its certificate.
    pub certificate: CertificateDer<'static>,
    /// The same as text (PEM).
    pem: String,
}

impl Authority {
    /// The authority of a data folder; made there where it has none yet.
    ///
    /// # Errors
    ///
    /// [`Failure`] where the folder cannot be written, or what is there cannot be read.
    pub fn of(data: &Path) -> Result<Self, Failure> {
        let folder = data.join(FOLDER);
        let (key, certificate) = (folder.join(KEY), folder.join(CERTIFICATE));
        if key.is_file() {
            return Self::read(&key, &certificate);
        }
        let made = Self::make(Utc::now())?;
        made.keep(&folder).map_err(|error| unusable(&folder, &error)).map(|()| made)
    }

    /// The SHA-256 of the certificate in groups of two hexadecimal digits, as phones show it for comparing.
    pub fn fingerprint(&self) -> String {
        let digest = Sha256::digest(&self.certificate);
        digest.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(":")
    }

    /// What a server with these names speaks TLS with, for 397 days from today.
    ///
    /// # Errors
    ///
    /// [`Failure`] where a name cannot stand in a certificate.
    pub fn certify(&self, names: &[String]) -> Result<ServerConfig, Failure> {
        let now = Utc::now();
        let mut wanted = CertificateParams::new(names)?;
        wanted.distinguished_name = named("Rungbook of this network");
        wanted.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        wanted.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        wanted.use_authority_key_identifier_extension = true;
        let yesterday = now - TimeDelta::days(1);
        let [from, until] = [yesterday, yesterday + CERTIFICATE_LASTS].map(|at| {
            let (year, month, day) = calendar(at);
            rcgen::date_time_ymd(year, month, day)
        });
        (wanted.not_before, wanted.not_after) = (from, until);
        let key = KeyPair::generate()?;
        let params = params_of(&self.key, now);
        let certificate = wanted.signed_by(&key, &Issuer::from_params(&params, &self.key))?;
        let chain = vec![certificate.der().clone(), self.certificate.clone()];
        let secret = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
        Ok(files::server_config(chain, secret)?)
    }

    fn make(now: DateTime<Utc>) -> Result<Self, Failure> {
        let key = KeyPair::generate()?;
        let certificate = params_of(&key, now).self_signed(&key)?;
        Ok(Self { key, certificate: certificate.der().clone(), pem: certificate.pem() })
    }

    fn read(key: &Path, certificate: &Path) -> Result<Self, Failure> {
        let text = fs::read_to_string(key).map_err(|error| unusable(key, &error))?;
        let pair = KeyPair::from_pem(&text).map_err(|error| unusable(key, &error))?;
        let pem = fs::read_to_string(certificate).map_err(|error| unusable(certificate, &error))?;
        let read = CertificateDer::from_pem_slice(pem.as_bytes());
        let read = read.map_err(|error| unusable(certificate, &error))?;
        Ok(Self { key: pair, certificate: read, pem })
    }

    /// The key comes last: with a key there is a certificate.
    fn keep(&self, folder: &Path) -> io::Result<()> {
        store::make_private_directory(folder)?;
        write_private(&folder.join(CERTIFICATE), &self.pem)?;
        write_private(&folder.join(KEY), &self.key.serialize_pem())?;
        store::sync_directory(folder)
    }
}

/// Whether the authority vouches for an address or name: for those alone that belong to nobody else.
pub fn vouches_for(name: &str) -> bool {
    match name.parse::<IpAddr>() {
        Ok(IpAddr::V4(address)) => {
            PRIVATE_V4.iter().any(|(net, prefix)| shares_prefix(&address.octets(), net, *prefix))
        }
        Ok(IpAddr::V6(address)) => {
            PRIVATE_V6.iter().any(|(net, prefix)| shares_prefix(&address.octets(), net, *prefix))
        }
        Err(_) => LOCAL_NAMES.iter().any(|local| {
            name.strip_suffix(local).is_some_and(|rest| rest.is_empty() || rest.ends_with('.'))
        }),
    }
}

fn shares_prefix(address: &[u8], net: &[u8], prefix: u8) -> bool {
    (0..usize::from(prefix)).all(|bit| {
        let mask = 0x80 >> (bit % 8);
        address[bit / 8] & mask == net[bit / 8] & mask
    })
}

fn write_private(path: &Path, text: &str) -> io::Result<()> {
    let mut file = store::private_file(path)?;
    file.set_len(0)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()
}

fn unusable(path: &Path, why: &dyn std::fmt::Display) -> Failure {
    Failure::of_work(format!("rungbook: {} cannot be used: {why}", PathBuf::from(path).display()))
}

/// What the authority's certificate says. Its name comes from its key, so that it is the same whenever it is asked.
fn params_of(key: &KeyPair, now: DateTime<Utc>) -> CertificateParams {
    let digest = Sha256::digest(key.public_key_raw());
    let short: String = digest.iter().take(4).map(|byte| format!("{byte:02x}")).collect();
    let mut params = CertificateParams::default();
    params.distinguished_name = named(&format!("Rungbook authority {short}"));
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
    params.name_constraints = Some(NameConstraints {
        permitted_subtrees: local_names().chain(private_networks()).collect(),
        excluded_subtrees: Vec::new(),
    });
    let (year, month, day) = calendar(now - TimeDelta::days(1));
    params.not_before = rcgen::date_time_ymd(year, month, day);
    params.not_after = rcgen::date_time_ymd(year + AUTHORITY_YEARS, 1, 1);
    params
}

fn local_names() -> impl Iterator<Item = GeneralSubtree> {
    LOCAL_NAMES.iter().map(|name| GeneralSubtree::DnsName((*name).to_owned()))
}

fn private_networks() -> impl Iterator<Item = GeneralSubtree> {
    let v4 = PRIVATE_V4.iter().map(|(net, prefix)| CidrSubnet::from_v4_prefix(*net, *prefix));
    let v6 = PRIVATE_V6.iter().map(|(net, prefix)| CidrSubnet::from_v6_prefix(*net, *prefix));
    v4.chain(v6).map(GeneralSubtree::IpAddress)
}

fn named(name: &str) -> DistinguishedName {
    let mut named = DistinguishedName::new();
    named.push(DnType::CommonName, name);
    named
}

/// Year, month and day in UTC.
fn calendar(at: DateTime<Utc>) -> (i32, u8, u8) {
    // Months and days of the calendar are below 256.
    (at.year(), at.month() as u8, at.day() as u8)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn it_vouches_for_what_belongs_to_nobody_else_and_for_nothing_more() {
        for ours in [
            "10.1.2.3",
            "172.31.255.255",
            "192.168.0.1",
            "127.0.0.1",
            "::1",
            "fd00::1",
            "localhost",
            "laptop.local",
        ] {
            assert!(vouches_for(ours), "{ours}");
        }
        for foreign in [
            "11.0.0.1",
            "172.32.0.1",
            "192.169.0.1",
            "2001:db8::1",
            "bank.example",
            "notlocal",
            "local.example",
        ] {
            assert!(!vouches_for(foreign), "{foreign}");
        }
    }

    #[test]
    fn it_is_made_once_and_read_again_with_its_key() {
        let folder = tempfile::tempdir().unwrap();
        let made = Authority::of(folder.path()).ok().unwrap();
        let again = Authority::of(folder.path()).ok().unwrap();

        assert_eq!(made.fingerprint(), again.fingerprint());
        assert_eq!(made.fingerprint().len(), 95);
        assert!(again.certify(&["127.0.0.1".to_owned(), "laptop.local".to_owned()]).is_ok());
    }
}
