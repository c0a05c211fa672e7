//! What is coming: days that are planned, and what comes to its end.

use chrono::{DateTime, TimeDelta, Utc};

use crate::state::{Amendable, CheckState, ProposedDay, State};

/// What comes to a date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum DateKind {
    /// A day that is planned. It is a proposal: it releases nothing.
    TestDay,
    /// A check has to be done again by then.
    CheckDue,
    /// A document ends.
    DocumentEnds,
    /// A person's qualification ends.
    QualificationEnds,
}

/// Something with a date.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Coming {
    /// What it is.
    pub kind: DateKind,
    /// The same for as long as it is the same thing, also when it is moved: within the programme.
    pub key: String,
    /// Goes up whenever it changes: the number of the record that changed it last.
    pub changed_by: u64,
    /// From then on, or the moment of its end.
    pub at: DateTime<Utc>,
    /// When it is over, where it takes time.
    pub until: Option<DateTime<Utc>>,
    /// What it is, in a line.
    pub title: String,
    /// More of it.
    pub account: String,
}

/// So long a test day that is over stays among what is coming, so that a calendar keeps it.
const KEPT: TimeDelta = TimeDelta::days(60);

/// What is coming, in the order of time. What ended stays for sixty days: an end that was missed still matters.
///
/// A check is due by the clock here; powered hours, changes and happenings can end it sooner.
pub fn coming(state: &State, now: DateTime<Utc>) -> Vec<Coming> {
    let days = state.planning.days.iter();
    let standing = days.filter(|day| state.planning.replaced_by(day.number).is_none());
    let checks = state.checks.by_code.values();
    let documents = state.documents.values().filter(|document| document.reference.is_some());
    let people = state.people.values().filter(|person| !person.roles.is_empty());
    let mut all: Vec<Coming> = standing
        .map(|day| test_day(state, day))
        .chain(checks.filter_map(|check| check_due(state, check)))
        .chain(documents.filter_map(|document| {
            Some(Coming {
                kind: DateKind::DocumentEnds,
                key: format!("document-{}", document.code),
                changed_by: state.revision(&Amendable::Document(document.code.clone())),
                at: document.valid_until?,
                until: None,
                title: format!("{} ends: {}", document.code, document.title),
                account: "From then on it covers nothing, and points that need it are held."
                    .to_owned(),
            })
        }))
        .chain(people.flat_map(|person| {
            person.qualifications.iter().filter_map(|held| {
                Some(Coming {
                    kind: DateKind::QualificationEnds,
                    key: format!("qualification-{}-{}", person.handle, held.code),
                    changed_by: state.revision(&Amendable::Person(person.handle.clone())),
                    at: held.expires?,
                    until: None,
                    title: format!("{} of {} ends", held.code, person.name),
                    account: "From then on nothing that needs it can be crewed with them."
                        .to_owned(),
                })
            })
        }))
        .filter(|it| it.until.unwrap_or(it.at) >= now - KEPT)
        .collect();
    all.sort_by(|left, right| (left.at, &left.key).cmp(&(right.at, &right.key)));
    all
}

fn test_day(state: &State, day: &ProposedDay) -> Coming {
    // The first plan of the day gives the key, so that a plan that takes its place moves the same entry.
    let mut first = day;
    while let Some(before) = first.replaces.and_then(|number| state.planning.day(number)) {
        first = before;
    }
    let runs = &day.day.runs;
    let plural = if runs.len() == 1 { "" } else { "s" };
    let mut account = String::from("A proposal: it releases nothing and clears nobody to fly.");
    for run in runs {
        account.push_str(&format!(
            "\n{} {} to {} UTC",
            run.point,
            run.begins_at.format("%H:%M"),
            run.ends_at.format("%H:%M")
        ));
    }
    let over = runs.iter().map(|run| run.ready_at).max();
    Coming {
        kind: DateKind::TestDay,
        key: format!("day-{}", first.number.0),
        changed_by: day.seq,
        at: first.terms.from,
        until: Some(over.map_or(day.terms.to, |over| over.max(day.terms.to))),
        title: format!("Test day, plan {}: {} run{plural}", day.number.0, runs.len()),
        account,
    }
}

fn check_due(state: &State, check: &CheckState) -> Option<Coming> {
    let code = &check.check.code;
    let defined = state.revision(&Amendable::Check(code.clone()));
    let done = check.done.iter().map(|done| done.seq).max().unwrap_or(0);
    Some(Coming {
        kind: DateKind::CheckDue,
        key: format!("check-{code}"),
        changed_by: defined.max(done),
        at: check.due_at()?,
        until: None,
        title: format!("{code} is due: {}", check.check.title),
        account: format!(
            "{}\nBy the clock; powered hours, changes and happenings can end it sooner.",
            check.check.method
        ),
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::nouns::{HeldQualification, Role};
    use crate::record::{DocumentFiled, PersonListed};
    use crate::story::{Story, code, document, morning, person};

    fn of_kind(story: &Story, kind: DateKind) -> Vec<Coming> {
        coming(&story.state, story.now).into_iter().filter(|it| it.kind == kind).collect()
    }

    #[test]
    fn a_check_that_is_done_again_moves_and_keeps_its_key() {
        let mut story = Story::team();
        let before = of_kind(&story, DateKind::CheckDue);
        assert_eq!(before.len(), 1);
        assert_eq!(before[0].key, "check-C-torque");
        story.later(TimeDelta::days(10)).check("C-torque", true);
        let after = of_kind(&story, DateKind::CheckDue);
        assert_eq!(after[0].key, before[0].key);
        assert!(after[0].changed_by > before[0].changed_by);
        assert_eq!(after[0].at, story.now + TimeDelta::days(30));
    }

    #[test]
    fn what_has_no_end_or_belongs_to_nobody_here_is_not_told() {
        let mut story = Story::team();
        assert!(of_kind(&story, DateKind::DocumentEnds).is_empty());
        assert!(of_kind(&story, DateKind::QualificationEnds).is_empty());
        let until = morning() + TimeDelta::days(20);
        let ending = crate::nouns::Document { valid_until: Some(until), ..document("D-permit") };
        story.record("lead", DocumentFiled { document: ending.clone() });
        assert_eq!(of_kind(&story, DateKind::DocumentEnds)[0].at, until);
        let not_in_hand = crate::nouns::Document { reference: None, ..ending };
        story.record("lead", DocumentFiled { document: not_in_hand });
        assert!(of_kind(&story, DateKind::DocumentEnds).is_empty());

        let medical = HeldQualification { code: code("medical"), expires: Some(until) };
        let mut pilot = person("pilot", Role::Pilot);
        pilot.qualifications = vec![medical];
        story.record("lead", PersonListed { person: pilot.clone() });
        assert_eq!(of_kind(&story, DateKind::QualificationEnds)[0].at, until);
        pilot.roles.clear();
        story.record("lead", PersonListed { person: pilot });
        assert!(of_kind(&story, DateKind::QualificationEnds).is_empty());
    }

    #[test]
    fn what_ended_long_ago_is_not_told_any_more() {
        let mut story = Story::team();
        let due = of_kind(&story, DateKind::CheckDue)[0].at;
        story.now = due + KEPT;
        assert_eq!(of_kind(&story, DateKind::CheckDue).len(), 1);
        story.now += TimeDelta::seconds(1);
        assert!(of_kind(&story, DateKind::CheckDue).is_empty());
    }
}
