//! Snags: what was found, the work on it, and its closing.

mod shown;

use actix_web::http::StatusCode;
use programme::codes::SnagNumber;
use serde::Deserialize;

pub(crate) use shown::{SnagPage, SnagsPage};

use super::around::Section;
use super::door::Member;
use super::form::{Form, Trouble, recorded_anew, settled};
use super::point::Recorded;
use crate::access::{CloseSnags, OpenSnags, Permission, Read, WorkSnags};
use crate::api::snags;
use crate::desk::Answer;
use crate::given::{At, Number, Query};
use crate::office::Office;
use crate::problem::Problem;

/// Which of the closed ones.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Which {
    /// Only closed ones with a smaller number.
    pub before: Option<u32>,
    pub recorded: Option<u64>,
}

/// All of them.
pub(crate) async fn show(member: Member<Read>, which: Query<Which>, office: Office) -> Answer {
    list(&office, &member, *which, None).await
}

async fn list<P: Permission>(
    office: &Office,
    member: &Member<P>,
    which: Which,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page =
        member.look(office, |view| SnagsPage::of(member, view, which.before, trouble)).await?;
    Ok(member.around("Snags", Section::Snags).recorded(which.recorded).reply(status, page.body()))
}

/// Opens one.
pub(crate) async fn open(member: Member<OpenSnags>, form: Form, office: Office) -> Answer {
    let acted =
        async { snags::open(member.permitted.clone(), form.given()?, office.clone()).await }.await;
    match recorded_anew(acted, &member.place("/snags"), "snag").await {
        Ok(reply) => Ok(reply),
        Err(problem) => list(&office, &member, Which::default(), Some(form.trouble(problem))).await,
    }
}

/// One.
pub(crate) async fn one(
    member: Member<Read>,
    snag: At<Number<SnagNumber>>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, snag.0.0, recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    number: SnagNumber,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member
        .look(office, |view| {
            let snag = view.state.snag(number).ok_or_else(|| Problem::unknown("snag", number))?;
            SnagPage::of(member, view, snag, trouble)
        })
        .await?;
    let around = member.around(format!("Snag {number}"), Section::Snags).recorded(recorded);
    Ok(around.reply(status, page.body()))
}

async fn ended<P: Permission>(
    acted: Answer,
    form: Form,
    (office, member, number): (&Office, &Member<P>, SnagNumber),
) -> Answer {
    settled(acted, form, &member.place(&format!("/snags/{number}")), async |trouble| {
        page(office, member, number, None, Some(trouble)).await
    })
    .await
}

/// Records what was found out or done.
pub(crate) async fn work(
    member: Member<WorkSnags>,
    form: Form,
    snag: At<Number<SnagNumber>>,
    office: Office,
) -> Answer {
    let acted = async {
        snags::work(member.permitted.clone(), snag.clone(), form.given()?, office.clone()).await
    }
    .await;
    ended(acted, form, (&office, &member, snag.0.0)).await
}

/// Closes it.
pub(crate) async fn close(
    member: Member<CloseSnags>,
    form: Form,
    snag: At<Number<SnagNumber>>,
    office: Office,
) -> Answer {
    let acted = async {
        snags::close(member.permitted.clone(), snag.clone(), form.signed()?, office.clone()).await
    }
    .await;
    ended(acted, form, (&office, &member, snag.0.0)).await
}
