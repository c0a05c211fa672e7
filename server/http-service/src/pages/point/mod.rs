//! A point: where it stands, every hold, its card, what can be signed, its results and its history.

mod next;
mod shown;
mod signing;

use actix_web::http::StatusCode;
use programme::codes::PointCode;
use programme::holds;
use serde::Deserialize;

pub(crate) use shown::PointPage;
pub(crate) use signing::PartShown;

use super::around::Section;
use super::door::Member;
use super::form::{Form, Trouble, settled};
use crate::access::Read;
use crate::api::{points, sign_offs};
use crate::desk::Answer;
use crate::given::{At, Query};
use crate::office::Office;

/// What the address may say of a page: which record was just made. As of when it is shown is read at the door.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
pub(crate) struct Recorded {
    pub recorded: Option<u64>,
}

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    point: At<PointCode>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, &point, recorded.recorded, None).await
}

async fn page(
    office: &Office,
    member: &Member<Read>,
    point: &PointCode,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member
        .look(office, |view| {
            let rung = points::rung(view.state, point)?;
            let holds = holds::holds(view.state, rung, view.now);
            let handle = &member.visitor.handle;
            let seen = points::rung_view(view.state, rung, handle, view.now, holds)?;
            PointPage::of(member, view, rung, seen, trouble)
        })
        .await?;
    let title = format!("{} {}", page.card.code, page.card.title);
    Ok(member.around(title, Section::Ladder).recorded(recorded).live().reply(status, page.body()))
}

/// Leads to the point after an act, or shows the form again with why it was refused.
async fn ended(
    acted: Answer,
    form: Form,
    (office, member, point): (&Office, &Member<Read>, &PointCode),
) -> Answer {
    settled(acted, form, &member.place(&format!("/points/{point}")), async |trouble| {
        page(office, member, point, None, Some(trouble)).await
    })
    .await
}

/// Signs a part of the step.
pub(crate) async fn sign(
    member: Member<Read>,
    form: Form,
    point: At<PointCode>,
    office: Office,
) -> Answer {
    let acted = async {
        sign_offs::sign(member.permitted.clone(), point.clone(), form.signed()?, office.clone())
            .await
    }
    .await;
    ended(acted, form, (&office, &member, &point)).await
}

/// Refuses to sign a part, with the reasons.
pub(crate) async fn refuse(
    member: Member<Read>,
    form: Form,
    point: At<PointCode>,
    office: Office,
) -> Answer {
    let acted = async {
        sign_offs::refuse(member.permitted.clone(), point.clone(), form.given()?, office.clone())
            .await
    }
    .await;
    ended(acted, form, (&office, &member, &point)).await
}

/// Takes back one's own signature or refusal.
pub(crate) async fn withdraw(
    member: Member<Read>,
    form: Form,
    point: At<PointCode>,
    office: Office,
) -> Answer {
    let acted = async {
        sign_offs::withdraw(member.permitted.clone(), point.clone(), form.signed()?, office.clone())
            .await
    }
    .await;
    ended(acted, form, (&office, &member, &point)).await
}
