//! Stopping everything, and lifting the stop.

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::people::Act;

use super::around::Section;
use super::door::Member;
use super::form::{Draft, Form, Trouble, settled};
use super::point::Recorded;
use super::words::{moment, person};
use crate::access::{CallStandDown, LiftStandDown, Permission, Read};
use crate::api;
use crate::desk::Answer;
use crate::given::Query;
use crate::office::Office;

/// One call.
#[derive(Debug, Clone)]
pub(crate) struct Call {
    pub record: u64,
    pub by: String,
    pub at: DateTime<Utc>,
    pub reason: String,
    /// Who lifted it, when and why.
    pub lifted: Option<(String, DateTime<Utc>, String)>,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct StandDownPage {
    pub place: String,
    pub token: String,
    pub may_call: bool,
    pub may_lift: bool,
    /// In force, oldest first.
    pub in_force: Vec<Call>,
    /// Lifted, newest first.
    pub lifted: Vec<Call>,
    pub trouble: Option<Trouble>,
}

impl StandDownPage {
    fn body(&self) -> Markup {
        let lifting = format!("{}/lifting", self.place);
        let call = Draft::new("call", &self.place, &self.token, self.trouble.as_ref());
        let lift = Draft::new("lift", &lifting, &self.token, self.trouble.as_ref());
        html! {
            h1 { "Stand-down" }
            @if self.in_force.is_empty() {
                p.lead { "No stand-down is in force." }
            } @else {
                p.lead { strong { "A stand-down is in force." } " Nothing is released and nothing runs until the safety officer lifts it." }
                ul.calls { @for call in &self.in_force { li { (call.told()) } } }
            }
            @if self.may_call {
                section.big {
                    h2 { "Stop everything" }
                    (call.form(html! {
                        (call.text("reason", "Why", "One word is enough. It works at once and needs no PIN. In danger act first and write later."))
                        p.send { button.danger { "Call a stand-down" } }
                    }))
                }
            } @else { p { "Your roles may not call one here: that is for " (Act::CallStandDown.allowed_in_words()) ". In danger shout: anyone may." } }
            @if !self.in_force.is_empty() {
                section {
                    h2 { "Lift it" }
                    @if self.may_lift {
                        p { "You lift every call that stands above. One that is called meanwhile stays in force." }
                        (lift.form(html! {
                            @for call in &self.in_force { (lift.hidden("calls[]:count", call.record)) }
                            (lift.text("reasons", "Why it can be lifted", ""))
                            (lift.secret())
                            (lift.send("Lift the stand-down"))
                        }))
                    } @else { p { "Only the safety officer lifts it." } }
                }
            }
            @if !self.lifted.is_empty() {
                section {
                    h2 { "Earlier" }
                    ul.calls { @for call in &self.lifted { li { (call.told()) } } }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::long;
        let page = |many: usize| {
            let call = Call {
                record: 412,
                by: "Jonas".to_owned(),
                at: DateTime::UNIX_EPOCH,
                reason: long("Smoke seen from the hangar.", many),
                lifted: None,
            };
            let lifted = Some(("Sofia".to_owned(), DateTime::UNIX_EPOCH, long("A kettle.", many)));
            Self {
                place: "/programmes/tug/stand-down".to_owned(),
                token: "0".repeat(64),
                may_call: many > 0,
                may_lift: many > 0,
                lifted: vec![Call { lifted, ..call.clone() }; many],
                in_force: vec![call; many],
                trouble: None,
            }
        };
        vec![
            ("ordinary", page(1).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

impl Call {
    fn told(&self) -> Markup {
        html! {
            p.why { (self.reason) }
            p.source { "Called by " (self.by) ", " (moment(self.at)) ", record no. " (self.record) }
            @if let Some((by, at, reasons)) = &self.lifted {
                p { "Lifted by " (by) ", " (moment(*at)) ": " (reasons) }
            }
        }
    }
}

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member
        .look(office, |view| {
            let calls = view.state.stand_downs.iter().map(api::stand_down::call_view);
            let calls = calls.map(|call| Call {
                record: call.seq,
                by: person(view.state, call.by),
                at: call.at,
                reason: call.reason.to_owned(),
                lifted: call
                    .lifted
                    .map(|it| (person(view.state, it.by), it.at, it.reasons.to_owned())),
            });
            let (in_force, mut lifted): (Vec<_>, Vec<_>) =
                calls.partition(|call| call.lifted.is_none());
            lifted.reverse();
            Ok(StandDownPage {
                place: member.place("/stand-down"),
                token: member.visitor.form_token.clone(),
                may_call: member.may(Act::CallStandDown),
                may_lift: member.may(Act::LiftStandDown),
                in_force,
                lifted,
                trouble,
            })
        })
        .await?;
    Ok(member
        .around("Stand-down", Section::StandDown)
        .live()
        .recorded(recorded)
        .reply(status, page.body()))
}

/// Calls one.
pub(crate) async fn call(member: Member<CallStandDown>, form: Form, office: Office) -> Answer {
    let acted = async {
        api::stand_down::call(member.permitted.clone(), form.given()?, office.clone()).await
    }
    .await;
    settled(acted, form, &member.place("/stand-down"), async |trouble| {
        page(&office, &member, None, Some(trouble)).await
    })
    .await
}

/// Lifts all that are in force, as the safety officer read them.
pub(crate) async fn lift(member: Member<LiftStandDown>, form: Form, office: Office) -> Answer {
    let acted = async {
        api::stand_down::lift(member.permitted.clone(), form.signed()?, office.clone()).await
    }
    .await;
    settled(acted, form, &member.place("/stand-down"), async |trouble| {
        page(&office, &member, None, Some(trouble)).await
    })
    .await
}
