//! Access tokens: short-lived JWTs that say who asks and in which session; and refresh tokens, of which only hashes are kept.

use std::cell::RefCell;
use std::collections::HashMap;

use chrono::{DateTime, SubsecRound, TimeDelta, Utc};
use hmac::{Hmac, KeyInit, Mac};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation};
use programme::codes::PersonHandle;
use rand::TryRng;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use uuid::Uuid;

use crate::live::Pass;
use crate::problem::{FAULT, Problem, TOKEN_REFUSED};

/// Who issues tokens, and for whom.
const ISSUER: &str = "rungbook";
const AUDIENCE: &str = "rungbook-api";
/// The token's type in its header, as RFC 9068 has it for access tokens.
const HEADER_TYPE: &str = "at+jwt";
/// The token's use in its claims.
const USE: &str = "access";
/// For whom tokens are that browsers keep in a cookie, how they are called in their header, and their use: other words than
/// those of access tokens, so that neither passes for the other.
const PAGES_AUDIENCE: &str = "rungbook-pages";
const PAGES_HEADER_TYPE: &str = "pages+jwt";
const PAGES_USE: &str = "pages";
/// No token of ours is longer.
const LONGEST: usize = 1024;
/// So many verified tokens are remembered by each worker.
const REMEMBERED: usize = 1024;

/// What an access token says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Claims {
    iss: String,
    aud: String,
    sub: PersonHandle,
    sid: Uuid,
    iat: i64,
    nbf: i64,
    exp: i64,
    typ: String,
}

/// Which secret tokens are signed with, told without the secret.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Signer([u8; 32]);

/// What a good token says.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Bearer {
    pub handle: PersonHandle,
    pub session: Uuid,
    pub issued_at: DateTime<Utc>,
    not_before: i64,
    expires: i64,
}

/// An access token, and until when it is good.
#[derive(Debug, Clone)]
pub(crate) struct AccessToken {
    pub token: String,
    pub expires_at: DateTime<Utc>,
}

/// Signs and verifies access tokens, and makes refresh tokens.
pub(crate) struct Tokens {
    signer: Signer,
    encoding: EncodingKey,
    decoding: DecodingKey,
    header: Header,
    validation: Validation,
    pages_header: Header,
    pages_validation: Validation,
    refresh_key: Vec<u8>,
    lasts: TimeDelta,
}

impl Tokens {
    /// Signs with one secret, and derives refresh tokens of repeated requests with another.
    pub fn new(access_secret: &[u8], refresh_secret: &[u8], lasts: TimeDelta) -> Self {
        Self {
            signer: Signer(Sha256::digest(access_secret).into()),
            encoding: EncodingKey::from_secret(access_secret),
            decoding: DecodingKey::from_secret(access_secret),
            header: header_of(HEADER_TYPE),
            validation: validation_for(AUDIENCE),
            pages_header: header_of(PAGES_HEADER_TYPE),
            pages_validation: validation_for(PAGES_AUDIENCE),
            refresh_key: refresh_secret.to_vec(),
            lasts,
        }
    }

    /// Which secret it is that they are signed with.
    pub fn signer(&self) -> Signer {
        self.signer
    }

    /// An access token for a session.
    pub fn issue(
        &self,
        handle: &PersonHandle,
        session: Uuid,
        now: DateTime<Utc>,
    ) -> Result<AccessToken, Problem> {
        let expires_at = now.trunc_subsecs(0) + self.lasts;
        let claims = claims(AUDIENCE, USE, (handle, session), now, expires_at);
        Ok(AccessToken { token: self.sign(&self.header, &claims)?, expires_at })
    }

    /// What a browser keeps in a cookie for a session. It opens pages and nothing of the API.
    pub fn issue_for_pages(
        &self,
        handle: &PersonHandle,
        session: Uuid,
        now: DateTime<Utc>,
        expires_at: DateTime<Utc>,
    ) -> Result<String, Problem> {
        let claims = claims(PAGES_AUDIENCE, PAGES_USE, (handle, session), now, expires_at);
        self.sign(&self.pages_header, &claims)
    }

    fn sign(&self, header: &Header, claims: &Claims) -> Result<String, Problem> {
        jsonwebtoken::encode(header, claims, &self.encoding).map_err(|error| {
            Problem::new(FAULT, "The token could not be made. Sign in again.").because(error)
        })
    }

    /// Who a token is of, if it is ours, of the right use, and good now.
    pub fn verify(&self, token: &str, now: DateTime<Utc>) -> Result<Bearer, Problem> {
        self.read(token, now, (&self.header, &self.validation, USE))
    }

    /// As [`Tokens::verify`], of what a browser keeps in a cookie.
    pub fn verify_for_pages(&self, token: &str, now: DateTime<Utc>) -> Result<Bearer, Problem> {
        self.read(token, now, (&self.pages_header, &self.pages_validation, PAGES_USE))
    }

    fn read(
        &self,
        token: &str,
        now: DateTime<Utc>,
        (header, validation, used_for): (&Header, &Validation, &str),
    ) -> Result<Bearer, Problem> {
        if token.len() > LONGEST {
            return Err(refused());
        }
        let read = jsonwebtoken::decode::<Claims>(token, &self.decoding, validation)
            .map_err(|_| refused())?;
        if read.header != *header || read.claims.typ != used_for {
            return Err(refused());
        }
        let claims = read.claims;
        let issued_at = DateTime::from_timestamp(claims.iat, 0).ok_or_else(refused)?;
        let bearer = Bearer {
            handle: claims.sub,
            session: claims.sid,
            issued_at,
            not_before: claims.nbf,
            expires: claims.exp,
        };
        bearer.is_good(now)?;
        Ok(bearer)
    }

    /// What every form of a session carries, so that no other site can make a browser send one: a code over the session's
    /// id that nobody can guess without the server's secret.
    pub fn form_token(&self, session: Uuid) -> Result<String, Problem> {
        let code = self.form_code(session)?.finalize().into_bytes();
        Ok(programme::record::Digest::from_bytes(code.into()).to_string())
    }

    /// Whether a form carries the token of its session. It takes as long for any wrong token.
    pub fn is_form_token(&self, session: Uuid, given: &str) -> Result<bool, Problem> {
        let Ok(given) = programme::record::Digest::try_from(given.to_owned()) else {
            return Ok(false);
        };
        Ok(self.form_code(session)?.verify_slice(given.bytes()).is_ok())
    }

    fn form_code(&self, session: Uuid) -> Result<Hmac<Sha256>, Problem> {
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.refresh_key).map_err(|error| {
            Problem::new(FAULT, "The form could not be made. Load the page again.").because(error)
        })?;
        mac.update(b"form of session ");
        mac.update(session.as_bytes());
        Ok(mac)
    }

    /// A new secret: 256 random bits.
    pub fn handed_out(&self) -> Result<HandedOut, Problem> {
        let mut bytes = [0; 32];
        rand::rngs::SysRng.try_fill_bytes(&mut bytes).map_err(|error| {
            Problem::new(FAULT, "The system gave no random bytes. Try again.").because(error)
        })?;
        Ok(HandedOut(bytes))
    }

    /// The refresh token that follows from a request which may be repeated under the same idempotency key: the same
    /// each time, so that a reply can be given again without any token being kept. Nobody can guess it without the
    /// server's secret.
    pub fn refresh_token_of(&self, parts: &[&str]) -> Result<HandedOut, Problem> {
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.refresh_key).map_err(|error| {
            Problem::new(FAULT, "The refresh token could not be made. Sign in again.")
                .because(error)
        })?;
        for part in parts {
            mac.update(&(part.len() as u64).to_be_bytes());
            mac.update(part.as_bytes());
        }
        Ok(HandedOut(mac.finalize().into_bytes().into()))
    }
}

fn header_of(kind: &str) -> Header {
    let mut header = Header::new(Algorithm::HS256);
    header.typ = Some(kind.to_owned());
    header
}

fn validation_for(audience: &str) -> Validation {
    let mut validation = Validation::new(Algorithm::HS256);
    validation.algorithms = vec![Algorithm::HS256];
    validation.set_audience(&[audience]);
    validation.set_issuer(&[ISSUER]);
    validation.set_required_spec_claims(&["exp", "nbf", "aud", "iss", "sub"]);
    // Times are held against the service's own clock instead.
    validation.validate_exp = false;
    validation.validate_nbf = false;
    validation
}

fn claims(
    audience: &str,
    used_for: &str,
    (handle, session): (&PersonHandle, Uuid),
    now: DateTime<Utc>,
    expires_at: DateTime<Utc>,
) -> Claims {
    Claims {
        iss: ISSUER.to_owned(),
        aud: audience.to_owned(),
        sub: handle.clone(),
        sid: session,
        iat: now.timestamp(),
        nbf: now.timestamp(),
        exp: expires_at.timestamp(),
        typ: used_for.to_owned(),
    }
}

/// What whoever has no good token is told: always the same, so that nobody learns from it what is wrong with theirs.
pub(crate) fn refused() -> Problem {
    Problem::unauthenticated(
        TOKEN_REFUSED,
        "The access token is not one of this server, or it or its session is over. Refresh it, or sign in again.",
    )
}

impl Bearer {
    /// Until when it is good.
    pub fn expires_at(&self) -> DateTime<Utc> {
        DateTime::from_timestamp(self.expires, 0).unwrap_or(self.issued_at)
    }

    fn is_good(&self, now: DateTime<Utc>) -> Result<(), Problem> {
        let now = now.timestamp();
        if self.not_before <= now && now < self.expires { Ok(()) } else { Err(refused()) }
    }
}

impl From<Bearer> for Pass {
    fn from(bearer: Bearer) -> Self {
        let expires_at = bearer.expires_at();
        let Bearer { handle: person, session, issued_at, .. } = bearer;
        Self { person, session, issued_at, expires_at }
    }
}

/// Tokens that this worker has verified, each with whose they are: one that is good in one house is not known in another. It
/// saves the work, not the check whether the session still stands.
#[derive(Debug, Default)]
pub(crate) struct Verified(RefCell<HashMap<String, (Signer, Bearer)>>);

impl Verified {
    /// As [`Tokens::verify`].
    pub fn verify(
        &self,
        tokens: &Tokens,
        token: &str,
        now: DateTime<Utc>,
    ) -> Result<Bearer, Problem> {
        if let Some((signer, bearer)) = self.0.borrow().get(token)
            && *signer == tokens.signer()
        {
            bearer.is_good(now)?;
            return Ok(bearer.clone());
        }
        let bearer = tokens.verify(token, now)?;
        let mut known = self.0.borrow_mut();
        if known.len() >= REMEMBERED {
            known.retain(|_, (_, bearer)| bearer.is_good(now).is_ok());
            if known.len() >= REMEMBERED {
                known.clear();
            }
        }
        known.insert(token.to_owned(), (tokens.signer(), bearer.clone()));
        Ok(bearer)
    }
}

/// A secret that is handed out once and of which only the hash is kept: a refresh token, or that of a private link. Not shown
/// by `Debug`.
#[derive(Clone, PartialEq, Eq)]
pub(crate) struct HandedOut([u8; 32]);

impl std::fmt::Debug for HandedOut {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("HandedOut(..)")
    }
}

impl HandedOut {
    /// As it is handed out: 64 lower-case hexadecimal digits.
    pub fn text(&self) -> String {
        programme::record::Digest::from_bytes(self.0).to_string()
    }

    /// Reads what was handed out.
    pub fn read(text: &str) -> Option<Self> {
        programme::record::Digest::try_from(text.to_owned()).ok().map(|bytes| Self(*bytes.bytes()))
    }

    /// What the store keeps of it.
    pub fn hash(&self) -> [u8; 32] {
        Sha256::digest(self.0).into()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn tokens() -> Tokens {
        Tokens::new(&[7; 32], &[8; 32], TimeDelta::minutes(10))
    }

    fn now() -> DateTime<Utc> {
        "2026-05-02T08:00:00.4Z".parse().unwrap()
    }

    fn claims() -> Claims {
        let issued = now().timestamp();
        Claims {
            iss: ISSUER.into(),
            aud: AUDIENCE.into(),
            sub: PersonHandle::new("ada").unwrap(),
            sid: Uuid::nil(),
            iat: issued,
            nbf: issued,
            exp: issued + 600,
            typ: USE.into(),
        }
    }

    fn signed(header: &Header, claims: &Claims, secret: &[u8]) -> String {
        jsonwebtoken::encode(header, claims, &EncodingKey::from_secret(secret)).unwrap()
    }

    #[test]
    fn a_token_is_good_until_it_expires_and_not_a_second_longer() {
        let ada = PersonHandle::new("ada").unwrap();
        let issued = tokens().issue(&ada, Uuid::nil(), now()).unwrap();
        let at = |seconds| tokens().verify(&issued.token, now() + TimeDelta::seconds(seconds));
        assert_eq!(at(0).unwrap().handle, ada);
        assert!(at(599).is_ok());
        assert_eq!(at(600).unwrap_err().code(), "token-refused");
        assert!(at(-1).is_err(), "not before it was issued");
    }

    #[test]
    fn a_token_with_another_key_algorithm_type_audience_or_issuer_is_refused() {
        let tokens = tokens();
        let right = tokens.header.clone();
        assert!(tokens.verify(&signed(&right, &claims(), &[7; 32]), now()).is_ok());

        let mut bad = vec![signed(&right, &claims(), &[9; 32])];
        for (typ, alg) in [
            (Some("JWT"), Algorithm::HS256),
            (None, Algorithm::HS256),
            (Some(HEADER_TYPE), Algorithm::HS512),
        ] {
            let mut header = Header::new(alg);
            header.typ = typ.map(str::to_owned);
            bad.push(signed(&header, &claims(), &[7; 32]));
        }
        let mut critical = right.clone();
        critical.crit = Some(vec!["exp".to_owned()]);
        bad.push(signed(&critical, &claims(), &[7; 32]));
        let mut with_key = right.clone();
        with_key.kid = Some("../../secret".to_owned());
        bad.push(signed(&with_key, &claims(), &[7; 32]));
        for change in [
            (|c| c.aud = "someone-else".into()) as fn(&mut Claims),
            |c| c.iss = "someone-else".into(),
            |c| c.typ = "refresh".into(),
            |c| c.exp = c.iat,
            |c| c.nbf = c.exp,
        ] {
            let mut changed = claims();
            change(&mut changed);
            bad.push(signed(&right, &changed, &[7; 32]));
        }
        // {"alg":"none","typ":"at+jwt"} and no signature.
        let good = signed(&right, &claims(), &[7; 32]);
        let payload = good.split('.').nth(1).unwrap();
        bad.push(format!("eyJhbGciOiJub25lIiwidHlwIjoiYXQrand0In0.{payload}."));
        bad.push(good[..good.len() - 1].to_owned());
        bad.push("a".repeat(5000));
        bad.push(String::new());
        for token in bad {
            assert!(tokens.verify(&token, now()).is_err(), "{token}");
        }
    }

    #[test]
    fn a_remembered_token_expires_all_the_same() {
        let ada = PersonHandle::new("ada").unwrap();
        let tokens = tokens();
        let known = Verified::default();
        let issued = tokens.issue(&ada, Uuid::nil(), now()).unwrap();
        assert!(known.verify(&tokens, &issued.token, now()).is_ok());
        assert!(known.verify(&tokens, &issued.token, now()).is_ok());
        let later = now() + TimeDelta::minutes(10);
        assert!(known.verify(&tokens, &issued.token, later).is_err());
    }

    #[test]
    fn refresh_tokens_differ_each_time_unless_derived_from_the_same_request() {
        let tokens = tokens();
        assert_ne!(tokens.handed_out().unwrap(), tokens.handed_out().unwrap());
        let one = tokens.refresh_token_of(&["a", "bc"]).unwrap();
        assert_eq!(one, tokens.refresh_token_of(&["a", "bc"]).unwrap());
        assert_ne!(one, tokens.refresh_token_of(&["ab", "c"]).unwrap());
        assert_eq!(HandedOut::read(&one.text()), Some(one));
    }

    /// The published token: its key, its text before the signature, and its signature.
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct PublishedToken {
        source: String,
        status: String,
        key_k: String,
        protected_header_text: String,
        payload_text: String,
        signing_input: String,
        signature: String,
        jws_compact: String,
    }

    fn published() -> (PublishedToken, Tokens) {
        let published: PublishedToken =
            serde_json::from_str(include_str!("../published/rfc7515_a1.json")).unwrap();
        // A JSON Web Key is written without the padding that is asked for here; 64 bytes leave two places.
        let padded = format!("{}==", published.key_k);
        let key = EncodingKey::from_urlsafe_base64_secret(&padded).unwrap();
        let tokens = Tokens::new(key.as_bytes(), &[8; 32], TimeDelta::minutes(10));
        (published, tokens)
    }

    #[test]
    fn our_keys_sign_and_verify_the_token_of_rfc_7515_appendix_a_1() {
        let (published, tokens) = published();
        let PublishedToken { source, status, signing_input, signature, .. } = &published;
        let message = signing_input.as_bytes();
        let signed =
            jsonwebtoken::crypto::sign(message, &tokens.encoding, tokens.header.alg).unwrap();
        assert_eq!(signed, *signature, "{source} ({status})");

        let verifies = |message: &[u8], signature: &str| {
            let key = &tokens.decoding;
            tokens.validation.algorithms.iter().all(|algorithm| {
                jsonwebtoken::crypto::verify(signature, message, key, *algorithm).unwrap_or(false)
            })
        };
        assert_eq!(tokens.validation.algorithms, [Algorithm::HS256]);
        assert!(verifies(message, signature), "{source} ({status})");
        for place in 0..message.len() {
            let mut altered = message.to_vec();
            altered[place] ^= 1;
            assert!(!verifies(&altered, signature), "byte {place} was altered");
        }
        // All but the last letter, of which two bits say nothing.
        for place in 0..signature.len() - 1 {
            let other = if signature.as_bytes()[place] == b'A' { "B" } else { "A" };
            let mut altered = signature.clone();
            altered.replace_range(place..=place, other);
            assert!(!verifies(message, &altered), "letter {place} of the signature was altered");
        }
    }

    #[test]
    fn the_token_of_rfc_7515_appendix_a_1_is_read_as_published_and_is_none_of_ours() {
        let (published, tokens) = published();
        let PublishedToken { signing_input, signature, jws_compact, .. } = &published;
        assert_eq!(*jws_compact, format!("{signing_input}.{signature}"));

        let mut validation = Validation::new(Algorithm::HS256);
        validation.validate_exp = false;
        let read = |validation: &Validation| {
            jsonwebtoken::decode::<serde_json::Value>(jws_compact, &tokens.decoding, validation)
        };
        let token = read(&validation).unwrap();
        let text = |json: &str| serde_json::from_str::<serde_json::Value>(json).unwrap();
        assert_eq!(token.claims, text(&published.payload_text), "{}", published.source);
        let header = serde_json::to_value(&token.header).unwrap();
        assert_eq!(header, text(&published.protected_header_text));
        // It expired in 2011.
        validation.validate_exp = true;
        assert!(read(&validation).is_err());

        // Though it is signed with our key, it says nothing that an access token of ours must say.
        let in_its_time = DateTime::from_timestamp(1_300_819_000, 0).unwrap();
        assert!(tokens.verify(jws_compact, in_its_time).is_err());
    }
}
