//! Signed notes: lines that anybody can read, and under them who signed them.
//!
//! # Source
//!
//! The public specification "signed-note" of the C2SP (Community Cryptography Specification Project), from memory; its
//! signature of type 1 is Ed25519 of RFC 8032. Checked by the example in `tests` below, which stands or falls by computation.

use std::fmt;
use std::str::FromStr;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use ed25519_dalek::{Signature as Ed25519, Signer as _, SigningKey, VerifyingKey};
use sha2::{Digest as _, Sha256};

/// The type of a signature that is Ed25519, before the key's bytes.
const ED25519: u8 = 0x01;

/// What stands before the 32 bytes of an Ed25519 key in a SubjectPublicKeyInfo.
const SPKI_OF_ED25519: [u8; 12] =
    [0x30, 0x2a, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x03, 0x21, 0x00];

/// What a signature line begins with: a dash of the width of an m, and a space.
const DASH: &str = "\u{2014} ";

/// More signatures than this are none of a note that anybody means to check.
const MOST_SIGNATURES: usize = 100;

/// A key by which notes are checked: a name and the public half of an Ed25519 key. Written as `name+id+key`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verifier {
    name: String,
    id: [u8; 4],
    key: VerifyingKey,
}

/// A text that is no key by which notes are checked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{given}\" is not a key for checking notes; it looks like NAME+0123abcd+BASE64")]
pub struct BadVerifier {
    given: String,
}

/// A name that no key can have.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{name}\" cannot name a key: it is empty, or has a space or a plus sign in it")]
pub struct BadName {
    name: String,
}

impl Verifier {
    /// A key of a name and the 32 bytes of an Ed25519 public key.
    ///
    /// # Errors
    ///
    /// [`BadName`], where the name is empty or has a space or a plus sign.
    pub fn new(name: &str, key: VerifyingKey) -> Result<Self, BadName> {
        if !is_name(name) {
            return Err(BadName { name: name.to_owned() });
        }
        let mut hashed = Sha256::new();
        hashed.update(name.as_bytes());
        hashed.update([b'\n', ED25519]);
        hashed.update(key.as_bytes());
        let hash = hashed.finalize();
        Ok(Self { name: name.to_owned(), id: [hash[0], hash[1], hash[2], hash[3]], key })
    }

    /// Its name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The 32 bytes of its public key.
    pub fn key(&self) -> [u8; 32] {
        self.key.to_bytes()
    }

    /// The public key as other programs read it: a PEM file.
    ///
    /// # Source
    ///
    /// RFC 8410 section 4 (the bytes before the key) and RFC 7468 (the lines around them).
    pub fn to_pem(&self) -> String {
        let mut der = SPKI_OF_ED25519.to_vec();
        der.extend_from_slice(self.key.as_bytes());
        format!("-----BEGIN PUBLIC KEY-----\n{}\n-----END PUBLIC KEY-----\n", STANDARD.encode(der))
    }

    /// Reads what [`Verifier::to_pem`] wrote, or another program for the same key; none for anything else.
    pub fn from_pem(name: &str, pem: &str) -> Option<Self> {
        let lines: Vec<&str> = pem.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
        let [first, between @ .., last] = lines.as_slice() else { return None };
        if *first != "-----BEGIN PUBLIC KEY-----" || *last != "-----END PUBLIC KEY-----" {
            return None;
        }
        let der = STANDARD.decode(between.concat()).ok()?;
        let key = der.strip_prefix(SPKI_OF_ED25519.as_slice())?;
        verifier_of(name, key.try_into().ok()?)
    }
}

/// The key of a name and the 32 bytes of an Ed25519 public key; none where either is none.
pub fn verifier_of(name: &str, key: &[u8; 32]) -> Option<Verifier> {
    Verifier::new(name, VerifyingKey::from_bytes(key).ok()?).ok()
}

impl fmt::Display for Verifier {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut typed = vec![ED25519];
        typed.extend_from_slice(self.key.as_bytes());
        let id = u32::from_be_bytes(self.id);
        write!(f, "{}+{id:08x}+{}", self.name, STANDARD.encode(typed))
    }
}

impl FromStr for Verifier {
    type Err = BadVerifier;

    fn from_str(text: &str) -> Result<Self, BadVerifier> {
        let read = || {
            let (name, rest) = text.trim().split_once('+')?;
            let (id, typed) = rest.split_once('+')?;
            let typed = STANDARD.decode(typed).ok()?;
            let (kind, key) = typed.split_first()?;
            let key = VerifyingKey::from_bytes(key.try_into().ok()?).ok()?;
            let verifier = Self::new(name, key).ok()?;
            let same = *kind == ED25519 && id == format!("{:08x}", u32::from_be_bytes(verifier.id));
            same.then_some(verifier)
        };
        read().ok_or_else(|| BadVerifier { given: text.to_owned() })
    }
}

/// A key by which notes are signed. Its secret is not shown by `Debug`.
#[derive(Clone)]
pub struct Signer {
    verifier: Verifier,
    key: SigningKey,
}

impl fmt::Debug for Signer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Signer").field("verifier", &self.verifier).finish_non_exhaustive()
    }
}

impl Signer {
    /// A key of a name and 32 secret bytes.
    ///
    /// # Errors
    ///
    /// [`BadName`], where the name is empty or has a space or a plus sign.
    pub fn new(name: &str, secret: &[u8; 32]) -> Result<Self, BadName> {
        let key = SigningKey::from_bytes(secret);
        Ok(Self { verifier: Verifier::new(name, key.verifying_key())?, key })
    }

    /// The key by which others check what this one signs.
    pub const fn verifier(&self) -> &Verifier {
        &self.verifier
    }

    /// The 64 bytes of a signature of lines.
    pub fn sign(&self, text: &str) -> [u8; 64] {
        self.key.sign(text.as_bytes()).to_bytes()
    }
}

/// Lines with signatures under them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    text: String,
    signatures: Vec<Signature>,
}

/// One signature of a note; whose it is, only a [`Verifier`] can say.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Signature {
    name: String,
    id: [u8; 4],
    bytes: Vec<u8>,
}

/// A text that is no signed note.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("it is not a signed note: {what}")]
pub struct BadNote {
    what: &'static str,
}

impl Note {
    /// Lines that each end in a line break, with one signature.
    pub fn signed(text: String, by: &Verifier, signature: &[u8; 64]) -> Self {
        let signature = Signature { name: by.name.clone(), id: by.id, bytes: signature.to_vec() };
        Self { text, signatures: vec![signature] }
    }

    /// The lines that were signed.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether a key signed these lines. Other signatures do not count, neither for nor against.
    pub fn is_signed_by(&self, verifier: &Verifier) -> bool {
        let by =
            |signature: &&Signature| signature.name == verifier.name && signature.id == verifier.id;
        let mut of_key = self.signatures.iter().filter(by).peekable();
        of_key.peek().is_some()
            && of_key.all(|signature| {
                Ed25519::from_slice(&signature.bytes).is_ok_and(|signature| {
                    verifier.key.verify_strict(self.text.as_bytes(), &signature).is_ok()
                })
            })
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.text)?;
        for Signature { name, id, bytes } in &self.signatures {
            let signature = STANDARD.encode([id.as_slice(), bytes].concat());
            writeln!(f, "{DASH}{name} {signature}")?;
        }
        Ok(())
    }
}

impl FromStr for Note {
    type Err = BadNote;

    fn from_str(note: &str) -> Result<Self, BadNote> {
        let bad = |what| BadNote { what };
        if note.chars().any(|character| character < ' ' && character != '\n') {
            return Err(bad("there is a character in it that does not print"));
        }
        // The last empty line parts text and signatures; the text may have others.
        let (text, signatures) =
            note.rsplit_once("\n\n").ok_or(bad("no empty line parts lines and signatures"))?;
        let signatures =
            signatures.strip_suffix('\n').ok_or(bad("the last signature has no line break"))?;
        let lines = signatures.split('\n');
        if lines.clone().count() > MOST_SIGNATURES {
            return Err(bad("it has more than 100 signatures"));
        }
        let signatures = lines
            .map(|line| signature(line).ok_or(bad("a line under the empty line is no signature")))
            .collect::<Result<Vec<_>, _>>()?;
        Ok(Self { text: format!("{text}\n"), signatures })
    }
}

fn signature(line: &str) -> Option<Signature> {
    let (name, signature) = line.strip_prefix(DASH)?.split_once(' ')?;
    let bytes = STANDARD.decode(signature).ok()?;
    let (id, bytes) = bytes.split_first_chunk()?;
    (is_name(name) && !bytes.is_empty()).then(|| Signature {
        name: name.to_owned(),
        id: *id,
        bytes: bytes.to_vec(),
    })
}

fn is_name(name: &str) -> bool {
    !name.is_empty()
        && !name.chars().any(|character| {
            character == '+' || character.is_whitespace() || character.is_control()
        })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    // From the documentation of Go's package golang.org/x/mod/sumdb/note, recalled from memory. A key id is a hash over name
    // and key, and the signature verifies or does not, so a wrong memory could not pass.
    const KEY: &str = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW";
    const NOTE: &str = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n\n\u{2014} PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n";

    #[test]
    fn a_published_note_is_read_checked_and_written_again() {
        let key: Verifier = KEY.parse().unwrap();
        let note: Note = NOTE.parse().unwrap();

        assert!(note.is_signed_by(&key));
        assert_eq!((key.to_string(), note.to_string()), (KEY.to_owned(), NOTE.to_owned()));
    }

    #[test]
    fn any_other_letter_key_or_name_does_not_pass() {
        let key: Verifier = KEY.parse().unwrap();
        let other = Signer::new("PeterNeumann", &[7; 32]).unwrap();
        assert!(!NOTE.parse::<Note>().unwrap().is_signed_by(other.verifier()));
        for place in (0..NOTE.len()).filter(|place| NOTE.is_char_boundary(*place)) {
            let mut bytes = NOTE.as_bytes().to_vec();
            bytes[place] ^= 1;
            let Ok(text) = String::from_utf8(bytes) else { continue };
            let passes = text.parse::<Note>().is_ok_and(|note| note.is_signed_by(&key));
            assert!(!passes, "{place}: {text}");
        }
        for wrong in
            ["", "PeterNeumann", "Peter Neumann+c74f20a3+AA==", &KEY.replace("c74f", "c74e")]
        {
            assert!(wrong.parse::<Verifier>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_key_is_written_as_the_published_pem_and_read_again() {
        // RFC 8410 section 10.1, from memory: the example of a public key.
        let pem = "-----BEGIN PUBLIC KEY-----\nMCowBQYDK2VwAyEAGb9ECWmEzf6FQbrBZ9w7lshQhqowtrbLDFw4rXAxZuE=\n-----END PUBLIC KEY-----\n";
        let key = Verifier::from_pem("tug", pem).unwrap();
        assert_eq!(key.to_pem(), pem);
        for wrong in ["", "MCow", &pem.replace("MCow", "MCox"), &pem.replace("PUBLIC", "PRIVATE")] {
            assert!(Verifier::from_pem("tug", wrong).is_none(), "{wrong}");
        }
    }

    #[test]
    fn what_one_signs_the_other_checks() {
        let signer = Signer::new("field.example/tug", &[3; 32]).unwrap();
        let text = "one\n\nthree\n".to_owned();
        let note = Note::signed(text.clone(), signer.verifier(), &signer.sign(&text));

        let read: Note = note.to_string().parse().unwrap();

        assert_eq!((read.text(), read.is_signed_by(signer.verifier())), (text.as_str(), true));
        assert!(Signer::new("two words", &[3; 32]).is_err());
    }

    #[test]
    fn what_is_no_note_is_refused() {
        for wrong in [
            "",
            "a\n",
            "a\n\n",
            "a\n\n\u{2014} b\n",
            "a\n\n\u{2014} b AAAA\n",
            "a\t\n\n\u{2014} b AAAAAAAA\n",
            "a\n\n- b AAAAAAAA\n",
        ] {
            assert!(wrong.parse::<Note>().is_err(), "{wrong:?}");
        }
    }
}
