//! Lists a person with their roles and qualifications, or lists them anew; without any role they have left.
//!
//! Nobody changes their own roles or renews their own qualifications, the safety officer's role is given and taken by a safety officer, and a programme is
//! never left without a lead or a safety officer.

use super::given::{Given, at_revision, changes, one};
use super::held::{hold, unless_held};
use super::{Command, Stamp};
use crate::codes::PersonHandle;
use crate::entry::Draft;
use crate::holds::Hold;
use crate::nouns::{HeldQualification, Person, Role};
use crate::people::Act;
use crate::record::PersonListed;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// Asks for a person to be listed.
#[derive(Debug, Clone)]
pub struct ListPerson {
    /// The person as they are to be listed.
    pub person: Person,
    /// The revision that whoever lists them saw; 0: the person was not listed.
    pub expected: Option<u64>,
}

impl Command for ListPerson {
    fn act(&self) -> Act {
        Act::ListPeople
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { person, expected } = self;
        let handle = &person.handle;
        at_revision(state, &Amendable::Person(handle.clone()), *expected)?;
        Given::new(state, stamp)
            .faults(person.faults(""))
            .must(
                !person.roles.is_empty() || state.people.contains_key(handle),
                "roles",
                format!("{handle} has no role: name at least one"),
            )
            .settled()?;
        changes(state.people.get(handle) != Some(person), format_args!("the entry of {handle}"))?;
        let mut holds = against_roles(state, &stamp.by, person);
        holds.extend(
            [Role::Lead, Role::Safety]
                .into_iter()
                .filter_map(|role| against_taking_the_last(state, person, role)),
        );
        unless_held(holds)?;
        Ok(one(PersonListed { person: person.clone() }))
    }
}

/// What stands against somebody giving a person these roles and qualifications.
pub(crate) fn against_roles(state: &State, by: &PersonHandle, person: &Person) -> Vec<Hold> {
    let (handle, has) = (&person.handle, state.roles(&person.handle));
    let changed: Vec<_> = Role::ALL
        .into_iter()
        .filter(|role| has.contains(role) != person.roles.contains(role))
        .collect();
    let mut holds = Vec::new();
    if handle == by && !changed.is_empty() {
        holds.push(hold(
            "own-roles",
            ("person", handle),
            format!("{handle} would change their own roles, and nobody does."),
            "Another who may list people changes them.",
            "Rungbook rule: nobody gives themselves a role, or takes one",
        ));
    }
    if handle == by {
        holds.extend(against_own_qualifications(state, person));
    }
    let one_is_listed = state.people.values().any(|it| it.roles.contains(&Role::Safety));
    if changed.contains(&Role::Safety) && one_is_listed && !state.roles(by).contains(&Role::Safety)
    {
        let (done, to) =
            if has.contains(&Role::Safety) { ("taken", "from") } else { ("given", "to") };
        holds.push(hold(
            "safety-role-by-another",
            ("person", handle),
            format!(
                "The safety officer's role would be {done} {to} {handle} by {by}, who is none."
            ),
            "A safety officer lists the person so.",
            "Rungbook rule: nobody acts in the safety officer's place",
        ));
    }
    holds
}

/// A hold for each qualification that a person would give themselves, or have for longer.
fn against_own_qualifications(state: &State, person: &Person) -> Vec<Hold> {
    let listed = state.people.get(&person.handle);
    let had = |wanted: &HeldQualification| {
        let held = listed.iter().flat_map(|listed| &listed.qualifications);
        held.filter(|held| held.code == wanted.code).any(|held| {
            match (held.expires, wanted.expires) {
                (None, _) => true,
                (Some(_), None) => false,
                (Some(held), Some(wanted)) => wanted <= held,
            }
        })
    };
    let gained = person.qualifications.iter().filter(|wanted| !had(wanted));
    let handle = &person.handle;
    gained
        .map(|gained| {
            hold(
                "own-qualifications",
                ("person", handle),
                format!("{handle} would list {} for themselves, and nobody does.", gained.code),
                "Another who may list people has seen the paper and lists it.",
                "Rungbook rule: nobody says of themselves that they are qualified",
            )
        })
        .collect()
}

fn against_taking_the_last(state: &State, person: &Person, role: Role) -> Option<Hold> {
    let taken = state.roles(&person.handle).contains(&role) && !person.roles.contains(&role);
    let another =
        state.people.values().any(|it| it.handle != person.handle && it.roles.contains(&role));
    if !taken || another {
        return None;
    }
    let words = role.in_words();
    Some(hold(
        "last-of-role",
        ("person", &person.handle),
        format!("{} is the only {words} of the programme.", person.handle),
        format!("Another {words} is listed first."),
        "Rungbook rule: a programme has a test lead and a safety officer",
    ))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, rules, stale};
    use crate::story::{Story, code, person};

    fn listing(handle: &str, roles: &[Role]) -> ListPerson {
        let mut person = person(handle, Role::Crew);
        person.roles = roles.to_vec();
        ListPerson { person, expected: None }
    }

    #[test]
    fn lead_and_safety_officer_list_people_and_others_do_not() {
        let mut story = Story::team();
        let pilot_and_engineer = listing("new", &[Role::Pilot, Role::Engineer]);
        story.when("lead", &pilot_and_engineer).unwrap();
        assert_eq!(not_now(story.when("safety", &pilot_and_engineer)), "nothing-changes");
        story.when("safety", &listing("new", &[Role::Pilot])).unwrap();
        assert_eq!(*story.state.roles(&code("new")), [Role::Pilot]);
        let others = ["pilot", "engineer", "crew", "viewer"];
        no_permission(&mut story, &listing("other", &[Role::Crew]), &others);
    }

    #[test]
    fn nobody_changes_their_own_roles_and_everybody_who_may_list_corrects_their_own_name() {
        let mut story = Story::team();
        let more = listing("lead", &[Role::Lead, Role::Engineer]);
        assert_eq!(rules(story.when("lead", &more)), ["own-roles"]);
        story.when("safety", &more).unwrap();
        let mut renamed = listing("lead", &[Role::Engineer, Role::Lead]);
        renamed.person.name = "Lea Lind".to_owned();
        story.when("lead", &renamed).unwrap();
    }

    #[test]
    fn only_a_safety_officer_gives_or_takes_the_safety_officers_role() {
        let mut story = Story::team();
        let second = listing("second", &[Role::Safety]);
        assert_eq!(rules(story.when("lead", &second)), ["safety-role-by-another"]);
        story.when("safety", &second).unwrap();
        let taken = listing("second", &[Role::Crew]);
        assert_eq!(rules(story.when("lead", &taken)), ["safety-role-by-another"]);
        story.when("safety", &taken).unwrap();
    }

    #[test]
    fn the_lead_lists_the_first_safety_officer_where_there_is_none() {
        let mut story = Story::empty();
        let lead = person("lead", Role::Lead);
        story.record("lead", PersonListed { person: lead });
        story.when("lead", &listing("first", &[Role::Safety])).unwrap();
        let second = listing("second", &[Role::Safety]);
        assert_eq!(rules(story.when("lead", &second)), ["safety-role-by-another"]);
    }

    #[test]
    fn the_last_lead_and_the_last_safety_officer_keep_their_roles() {
        let mut story = Story::team();
        assert_eq!(rules(story.when("safety", &listing("lead", &[]))), ["last-of-role"]);
        let gone = listing("safety", &[]);
        assert_eq!(rules(story.when("lead", &gone)), ["safety-role-by-another", "last-of-role"]);
        story.when("safety", &listing("second", &[Role::Lead, Role::Safety])).unwrap();
        story.when("second", &listing("lead", &[])).unwrap();
        story.when("second", &gone).unwrap();
        assert!(story.state.people.contains_key("safety"), "who left stays in the history");
    }

    #[test]
    fn a_person_has_a_name_and_a_role_and_an_inspector_no_other_beside() {
        let mut story = Story::team();
        let mut command = listing("new", &[]);
        command.person.name = String::new();
        assert_eq!(faults(story.when("lead", &command)), ["roles", "name"]);
        let both = listing("new", &[Role::Viewer, Role::Crew]);
        assert_eq!(faults(story.when("lead", &both)), ["roles"]);
        let present = story.state.revision(&Amendable::Person(code("crew")));
        let command = ListPerson { expected: Some(0), ..listing("crew", &[Role::Pilot]) };
        assert_eq!(stale(story.when("lead", &command)), (present, 0));
    }

    #[test]
    fn nobody_renews_their_own_qualifications_or_gives_themselves_one() {
        let expires = |days| Some(crate::story::morning() + chrono::TimeDelta::days(days));
        let holding = |expires| {
            let mut command = listing("lead", &[Role::Lead, Role::Pilot]);
            command.person.qualifications[0].expires = expires;
            command
        };
        let mut story = Story::team();
        story.when("safety", &holding(expires(10))).unwrap();
        for longer in [expires(11), None] {
            assert_eq!(rules(story.when("lead", &holding(longer))), ["own-qualifications"]);
        }
        let mut another = holding(expires(10));
        another.person.qualifications[0].code = code("hv-aware");
        assert_eq!(rules(story.when("lead", &another)), ["own-qualifications"]);
        story.when("lead", &holding(expires(9))).unwrap();
        story.when("safety", &holding(None)).unwrap();
    }
}
