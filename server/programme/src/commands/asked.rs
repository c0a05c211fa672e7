//! What tests ask of commands, and what happened before in their stories.

#![allow(clippy::unwrap_used, clippy::panic)]

use chrono::{DateTime, Utc};

use super::{Command, Stamp, decide, digests};
use crate::codes::{ExceedanceNumber, RunNumber, SnagNumber};
use crate::entry::Draft;
use crate::holds::Hold;
use crate::measure::Unit;
use crate::nouns::{Role, Statistic};
use crate::record::{
    ExceedanceClosed, ExceedanceExplained, Part, PartSigned, PersonListed, PointDropped,
    ReleaseWindow, ResultRecorded, SignatureWithdrawn, SnagClosed, SnagWorked,
};
use crate::refusal::Refusal;
use crate::story::{Story, code, typed};

/// The holds with which a command was refused.
pub(crate) fn held(answer: Result<Vec<Draft>, Refusal>) -> Vec<Hold> {
    match answer {
        Err(Refusal::Held { holds }) => holds,
        other => panic!("expected holds, got {other:?}"),
    }
}

/// The rules with which a command was refused.
pub(crate) fn rules(answer: Result<Vec<Draft>, Refusal>) -> Vec<&'static str> {
    held(answer).into_iter().map(|hold| hold.rule).collect()
}

/// The places of the faults for which a command was refused.
pub(crate) fn faults(answer: Result<Vec<Draft>, Refusal>) -> Vec<String> {
    match answer {
        Err(Refusal::Invalid { faults }) => faults.into_iter().map(|fault| fault.field).collect(),
        other => panic!("expected faults, got {other:?}"),
    }
}

/// The code with which a command was refused for the state of the programme.
pub(crate) fn not_now(answer: Result<Vec<Draft>, Refusal>) -> &'static str {
    match answer {
        Err(Refusal::NotNow { code, why, clears }) => {
            assert!(!why.is_empty() && !clears.is_empty());
            code
        }
        other => panic!("expected not now, got {other:?}"),
    }
}

/// The revisions, present and given, for which a command was refused.
pub(crate) fn stale(answer: Result<Vec<Draft>, Refusal>) -> (u64, u64) {
    match answer {
        Err(Refusal::Stale { present, given, .. }) => (present, given),
        other => panic!("expected stale, got {other:?}"),
    }
}

/// What was named and does not exist.
pub(crate) fn unknown(answer: Result<Vec<Draft>, Refusal>) -> &'static str {
    match answer {
        Err(Refusal::Unknown { what, .. }) => what,
        other => panic!("expected unknown, got {other:?}"),
    }
}

/// None of these people, and no stranger, may.
pub(crate) fn no_permission(story: &mut Story, command: &impl Command, people: &[&str]) {
    for person in people.iter().chain(&["stranger"]) {
        let stamp = Stamp { by: code(person), now: story.now };
        let answer = decide(&story.state, command, &stamp);
        assert!(matches!(answer, Err(Refusal::NotPermitted { .. })), "{person}: {answer:?}");
    }
}

impl Story {
    pub fn has_roles(&mut self, person: &str, roles: &[Role]) -> &mut Self {
        let mut listed = self.state.people[person].clone();
        listed.roles = roles.to_vec();
        self.record("lead", PersonListed { person: listed })
    }

    pub fn drop_point(&mut self, point: &str) -> &mut Self {
        let reason = "Not needed.".to_owned();
        self.record("lead", PointDropped { point: code(point), reason })
    }

    /// A release from now on, with the digest that a release has.
    pub fn releases(&mut self, by: &str, point: &str, valid_until: DateTime<Utc>) -> &mut Self {
        let window = ReleaseWindow { valid_from: self.now, valid_until, conditions: None };
        let digest = digests::release(&self.state, self.rung(point), &window).unwrap();
        let (point, part) = (code(point), Part::Release {});
        self.record(by, PartSigned { point, part, window: Some(window), digest })
    }

    pub fn withdraws(&mut self, by: &str, point: &str, part: Part) -> &mut Self {
        let reason = "A doubt.".to_owned();
        self.record(by, SignatureWithdrawn { point: code(point), part, reason })
    }

    pub fn result_by(
        &mut self,
        by: &str,
        run: RunNumber,
        point: &str,
        winding: Option<f64>,
    ) -> &mut Self {
        let values = vec![typed("winding", Statistic::Max, winding, Unit::Celsius)];
        let (point, observations) = (code(point), "Nothing unusual.".to_owned());
        let reached = std::collections::BTreeMap::new();
        self.record(by, ResultRecorded { run, point, values, reached, observations })
    }

    pub fn explained(&mut self, number: u32) -> &mut Self {
        let exceedance = ExceedanceNumber(number);
        let (explanation, action) = ("A hot day.".to_owned(), "Wait for a cool one.".to_owned());
        self.record("engineer", ExceedanceExplained { exceedance, explanation, action })
    }

    pub fn explained_and_closed(&mut self, number: u32) -> &mut Self {
        self.explained(number);
        let exceedance = ExceedanceNumber(number);
        let known = self.state.exceedance(exceedance).unwrap();
        let digest = digests::exceedance(known).unwrap();
        self.record("safety", ExceedanceClosed { exceedance, digest })
    }

    pub fn snag_worked(&mut self, by: &str, number: u32) -> &mut Self {
        let action = Some("Clip fitted.".to_owned());
        let snag = SnagNumber(number);
        self.record(by, SnagWorked { snag, cause: None, action, grounds_now: false })
    }

    pub fn snag_closed(&mut self, number: u32) -> &mut Self {
        let snag = SnagNumber(number);
        let (cause, action) = ("Clip missing.".to_owned(), "Clip fitted.".to_owned());
        let known = self.state.snag(snag).unwrap();
        let digest = digests::snag_closing(known, &cause, &action).unwrap();
        self.record("engineer", SnagClosed { snag, cause, action, digest })
    }
}
