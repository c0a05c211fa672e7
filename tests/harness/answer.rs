//! What the service answered, with the words in which stories ask about it.

use std::fmt::Write as _;

use serde_json::Value;

/// One reply.
#[derive(Debug, Clone)]
pub struct Answer {
    /// What was asked, for messages.
    pub asked: String,
    /// Status code.
    pub status: u16,
    /// Headers, names in lower case.
    pub headers: Vec<(String, String)>,
    /// Body as it came.
    pub text: String,
    /// The same where it is no text.
    pub bytes: Vec<u8>,
}

impl Answer {
    /// The value of a header.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// Every header but these, in order.
    pub fn headers_but(&self, own: &[&str]) -> Vec<String> {
        let others = self.headers.iter().filter(|(name, _)| !own.contains(&name.as_str()));
        let mut others: Vec<String> =
            others.map(|(name, value)| format!("{name}: {value}")).collect();
        others.sort_unstable();
        others
    }

    /// Asserts what holds for every reply of the service, whatever was asked and whatever came of it: it has an id, and
    /// browsers are told what to run, to guess nothing, to keep it to its reader and to tell others nothing.
    #[track_caller]
    pub fn is_dressed(&self) {
        let header = |name: &str| self.header(name).unwrap_or_default();
        let policy = header("content-security-policy");
        let dressed = header("x-content-type-options") == "nosniff"
            && policy.contains("default-src 'none'")
            && policy.contains("frame-ancestors 'none'")
            && policy.contains("base-uri 'none'")
            && !policy.contains("unsafe")
            && matches!(header("referrer-policy"), "no-referrer" | "same-origin")
            && header("cross-origin-resource-policy") == "same-origin"
            && !self.headers.iter().any(|(name, _)| name.starts_with("access-control-"))
            && self.header("cache-control").is_some()
            && self.header("x-request-id").is_some();
        assert!(dressed, "{}: {:?}", self.asked, self.headers);
    }

    /// The body as JSON.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.text)
            .unwrap_or_else(|error| panic!("{}: not JSON ({error}): {}", self.asked, self.text))
    }

    /// Asserts the status; gives the answer on.
    #[track_caller]
    pub fn has_status(self, status: u16) -> Self {
        assert!(self.status == status, "{}", self.unexpected(&format!("status {status}")));
        self
    }

    /// Asserts that what was asked was done.
    #[track_caller]
    pub fn succeeds(self) -> Self {
        assert!((200..300).contains(&self.status), "{}", self.unexpected("success"));
        self
    }

    /// Asserts that it is an earlier answer given again.
    #[track_caller]
    pub fn is_again(&self, first: &Self) {
        let said = self.header("idempotency-replayed");
        assert!(said == Some("true"), "{}", self.unexpected("an answer given again"));
        assert!(self.status == first.status, "{}", self.unexpected("the same status"));
        for name in ["content-type", "location", "etag"] {
            assert!(self.header(name) == first.header(name), "{}", self.unexpected(name));
        }
        // Access tokens are never kept, so a repeated sign-in gets another one for the same session.
        if self.asked.starts_with("POST /api/v1/sessions") {
            for kept in ["session", "handle", "refresh_token"] {
                assert!(self.json()[kept] == first.json()[kept], "{}", self.unexpected(kept));
            }
        } else {
            assert!(self.text == first.text, "{}", self.unexpected(&first.text));
        }
    }

    /// Asserts that it is an RFC 9457 problem with this status and code, and that it says what to do.
    #[track_caller]
    pub fn has_problem(self, status: u16, code: &str) -> Self {
        let answer = self.has_status(status);
        let kind = answer.header("content-type").unwrap_or_default().to_owned();
        assert!(kind.starts_with("application/problem+json"), "{}", answer.unexpected("a problem"));
        let problem = answer.json();
        assert!(problem["code"] == code, "{}", answer.unexpected(&format!("code {code}")));
        assert!(problem["status"] == status, "{}", answer.unexpected("its own status"));
        for field in ["type", "title", "detail"] {
            let text = problem[field].as_str().unwrap_or_default();
            assert!(!text.is_empty(), "{}", answer.unexpected(field));
        }
        answer
    }

    /// Asserts that a problem names a hold of this rule.
    #[track_caller]
    pub fn names_hold(self, rule: &str) -> Self {
        let problem = self.json();
        let named = problem["holds"].as_array().is_some_and(|holds| {
            holds.iter().any(|hold| hold["rule"] == rule && hold["clears"].is_string())
        });
        assert!(named, "{}", self.unexpected(&format!("a hold {rule}")));
        self
    }

    /// Asserts that the body contains a text.
    #[track_caller]
    pub fn reads(self, text: &str) -> Self {
        assert!(self.text.contains(text), "{}", self.unexpected(&format!("to read \"{text}\"")));
        self
    }

    fn unexpected(&self, wanted: &str) -> String {
        let mut message = format!("{}: expected {wanted}, got {}", self.asked, self.status);
        let _ = write!(message, "\n{}", self.text.chars().take(4000).collect::<String>());
        message
    }
}
