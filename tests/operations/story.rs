//! A story about some operations, in which every answer is kept and held against the description.

use std::collections::BTreeSet;

use crate::harness::{Answer, Client, Description, Heard, PEOPLE, Team};

/// Codes of problems that are about who asks, and not about what was asked.
const ABOUT_WHO_ASKS: [&str; 4] =
    ["not-signed-in", "token-refused", "not-permitted", "not-administrator"];

/// A team whose people's answers are kept.
pub struct Story {
    /// The team.
    pub team: Team,
    /// What the program says of itself.
    pub description: Description,
    heard: Heard,
}

impl Story {
    /// A fresh team.
    pub fn begins() -> Self {
        let team = Team::new();
        let description = Description::read(&team.server.stranger());
        Self { team, description, heard: Heard::default() }
    }

    /// Ground crew, engineer, inspector, lead, pilot and safety officer; their answers are kept.
    pub fn people(&self) -> [Client; 6] {
        PEOPLE.map(|handle| self.keeps_answers_of(self.team.person(handle)))
    }

    /// The administrator, who has no part in the programme.
    pub fn keeper(&self) -> Client {
        self.keeps_answers_of(&self.team.server.sign_in("keeper"))
    }

    /// Somebody who has not signed in.
    pub fn anyone(&self) -> Client {
        self.keeps_answers_of(&self.team.server.stranger())
    }

    /// The same person, with their answers kept, and sending again what was done as if the reply had got lost.
    pub fn keeps_answers_of(&self, person: &Client) -> Client {
        person.heard_by(&self.heard).sending_again()
    }

    /// Asserts that each of these operations was seen to succeed and to refuse, for another reason than who asked; that
    /// each POST among them was seen to be repeated without being done again; and that no answer was one that the
    /// description does not know.
    #[track_caller]
    pub fn has_shown(&self, operations: &[&str]) {
        let (mut succeeded, mut refused) = (BTreeSet::new(), BTreeSet::new());
        let mut repeated = BTreeSet::new();
        for answer in self.heard.lock().unwrap().iter() {
            let (method, path) = answer.asked.split_once(' ').expect("method and path");
            let Some(operation) = self.description.find(method, path) else { continue };
            assert!(
                operation.statuses.contains(&answer.status),
                "{}: {} is no answer that the description knows",
                answer.asked,
                answer.status
            );
            if answer.header("idempotency-replayed") == Some("true") {
                repeated.insert(operation.id.as_str());
            }
            match answer.status {
                200..300 => succeeded.insert(operation.id.as_str()),
                400..500 if is_refusal(answer) => refused.insert(operation.id.as_str()),
                _ => false,
            };
        }
        for operation in self.description.operations().filter(|it| it.method == "POST") {
            let id = operation.id.as_str();
            let done_once = repeated.contains(id) || !operations.contains(&id);
            assert!(done_once, "{id} was not seen to be repeated");
        }
        for operation in operations {
            assert!(succeeded.contains(operation), "{operation} was not seen to succeed");
            assert!(refused.contains(operation), "{operation} was not seen to refuse anything");
        }
    }
}

fn is_refusal(answer: &Answer) -> bool {
    let answer = answer.clone();
    let code = answer.json()["code"].as_str().unwrap_or_default().to_owned();
    let status = answer.status;
    let _ = answer.has_problem(status, &code);
    !ABOUT_WHO_ASKS.contains(&code.as_str())
}
