//! What can be signed: each part of a step with who may, who has, what stands against it, and the forms.

use chrono::{DateTime, TimeDelta, Utc};
use maud::{Markup, html};
use programme::codes::RunNumber;
use programme::holds::Hold;

use crate::api::points::PartToSign;
use crate::api::sign_offs::PartName;
use crate::pages::form::{Draft, Trouble};
use crate::pages::words::{for_field, holds_list, roles};

/// A release is proposed for so long; the policy says how long it may be at most.
const USUAL_RELEASE: TimeDelta = TimeDelta::hours(8);

/// One part of a step.
#[derive(Debug, Clone)]
pub(crate) struct PartShown {
    pub part: PartName,
    /// Of the result of which run.
    pub run: Option<RunNumber>,
    pub digest: Option<String>,
    /// Who signed it, by name, where the signature stands.
    pub signed_by: Option<String>,
    /// Whether the visitor has signed it, or refused to.
    pub own: bool,
    /// The roles that may, in words.
    pub roles: String,
    pub permitted: bool,
    /// What stands against the visitor's signing it now.
    pub holds: Vec<Hold>,
}

/// A part as it is written in records.
pub(crate) const fn written(part: PartName) -> &'static str {
    match part {
        PartName::PlanApproval => "plan-approval",
        PartName::Release => "release",
        PartName::Acknowledgement => "acknowledgement",
        PartName::EngineeringAcceptance => "engineering-acceptance",
        PartName::SafetyAcceptance => "safety-acceptance",
    }
}

/// A part in words.
pub(crate) const fn in_words(part: PartName) -> &'static str {
    match part {
        PartName::PlanApproval => "Approval of the plan",
        PartName::Release => "Release",
        PartName::Acknowledgement => "Acknowledgement of the card",
        PartName::EngineeringAcceptance => "Acceptance by an engineer",
        PartName::SafetyAcceptance => "Acceptance by the safety officer",
    }
}

/// What signing means, and the words of the button.
const fn meaning(part: PartName) -> (&'static str, &'static str) {
    match part {
        PartName::PlanApproval => ("The plan on this page is right.", "Approve the plan"),
        PartName::Release => (
            "The point may be run as this card says, in the time that you give.",
            "Release the point",
        ),
        PartName::Acknowledgement => {
            ("You have read this card and will fly exactly that.", "Acknowledge the card")
        }
        PartName::EngineeringAcceptance => {
            ("The result stands, as an engineer sees it.", "Accept the result")
        }
        PartName::SafetyAcceptance => {
            ("The result stands, as the safety officer sees it.", "Accept the result")
        }
    }
}

impl PartShown {
    pub fn of(
        part: PartToSign,
        own: bool,
        name: impl Fn(&programme::codes::PersonHandle) -> String,
    ) -> Self {
        Self {
            part: part.part,
            run: part.run,
            digest: part.digest.map(|digest| digest.to_string()),
            signed_by: part.signed_by.as_ref().map(name),
            own,
            roles: roles(part.roles),
            permitted: part.permitted,
            holds: part.holds,
        }
    }

    /// The part with its forms; `place` is where they go.
    pub fn shown(
        &self,
        place: &str,
        token: &str,
        now: DateTime<Utc>,
        trouble: Option<&Trouble>,
    ) -> Markup {
        let name = written(self.part);
        html! {
            section.part id=(name) {
                h3 { (in_words(self.part)) }
                @match &self.signed_by {
                    Some(by) => { p.signed { "Signed by " strong { (by) } "." } }
                    None => { p.unsigned { "Not signed. That is for: " (self.roles) "." } }
                }
                @if self.permitted && self.signed_by.is_none() { (self.sign(place, token, now, trouble)) }
                @if self.permitted { (self.say_no(place, token, trouble)) }
            }
        }
    }

    fn fixed(&self, draft: &Draft<'_>) -> Markup {
        html! {
            (draft.hidden("part", written(self.part)))
            @if let Some(run) = self.run { (draft.hidden("run:count", run.0)) }
        }
    }

    fn sign(
        &self,
        place: &str,
        token: &str,
        now: DateTime<Utc>,
        trouble: Option<&Trouble>,
    ) -> Markup {
        let (name, to) = (format!("sign-{}", written(self.part)), format!("{place}/sign-offs"));
        let draft = Draft::new(&name, &to, token, trouble);
        let (means, button) = meaning(self.part);
        html! {
            @if !self.holds.is_empty() {
                p { strong { "You cannot sign it now:" } }
                (holds_list(&self.holds))
            } @else if let Some(digest) = &self.digest {
                p { (means) " Your signature binds digest " code.digest { (digest) } "; any later change voids it." }
                (draft.form(html! {
                    (self.fixed(&draft))
                    (draft.hidden("digest", digest))
                    @if self.part == PartName::Release {
                        (draft.moment("valid_until:moment", "Good until", "As long as the programme's policy allows at most.", &for_field(now + USUAL_RELEASE)))
                        (draft.text("conditions?", "Under these conditions besides the plan's", "Left empty: none."))
                    }
                    (draft.secret())
                    (draft.send(button))
                }))
            } @else {
                p { "There is nothing to sign yet." }
            }
            // A form that was refused is told also where it is not offered any more.
            @if !self.holds.is_empty() || self.digest.is_none() {
                @if let Some(trouble) = trouble.filter(|trouble| trouble.form == name) { (trouble.told.part()) }
            }
        }
    }

    fn say_no(&self, place: &str, token: &str, trouble: Option<&Trouble>) -> Markup {
        let (refusing, to) =
            (format!("refuse-{}", written(self.part)), format!("{place}/refusals"));
        let refuse = Draft::new(&refusing, &to, token, trouble);
        let (taking, to) =
            (format!("withdraw-{}", written(self.part)), format!("{place}/withdrawals"));
        let withdraw = Draft::new(&taking, &to, token, trouble);
        let open = |name: &str| trouble.is_some_and(|trouble| trouble.form == name);
        html! {
            @if self.signed_by.is_none() {
                details open[open(&refusing)] {
                    summary { "Refuse to sign, with reasons" }
                    (refuse.form(html! {
                        (self.fixed(&refuse))
                        (refuse.text("reasons", "Why not", "A refusal is recorded and holds the point until it is taken back or the part is signed. It needs no PIN."))
                        (refuse.send("Record the refusal"))
                    }))
                }
            }
            @if self.own {
                details open[open(&taking)] {
                    summary { "Take back what you signed or refused" }
                    (withdraw.form(html! {
                        (self.fixed(&withdraw))
                        (withdraw.text("reason", "Why", ""))
                        (withdraw.secret())
                        (withdraw.send("Take it back"))
                    }))
                }
            }
        }
    }

    #[cfg(test)]
    pub fn sample(part: PartName, many: usize) -> Self {
        use crate::pages::tests::{holds, long};
        Self {
            part,
            run: None,
            digest: (many > 0).then(|| "9f86d081".repeat(8)),
            signed_by: (many > 10).then(|| long("Marit", many)),
            own: many > 0,
            roles: "test lead, engineer".to_owned(),
            permitted: true,
            holds: holds(many.saturating_sub(3)),
        }
    }
}
