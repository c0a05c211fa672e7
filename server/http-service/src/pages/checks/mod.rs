//! Checks: whether each is good, what one asks for, and reporting it as done; and happenings that end them.

mod shown;

use actix_web::http::StatusCode;
use programme::codes::CheckCode;

pub(crate) use shown::{CheckLine, CheckPage, ChecksPage, form, is_due};

use super::around::Section;
use super::door::Member;
use super::form::{Form, Trouble, settled};
use super::led_to;
use super::point::Recorded;
use crate::access::{DoChecks, Permission, Read, ReportEvents};
use crate::api;
use crate::desk::Answer;
use crate::given::{At, Query};
use crate::office::Office;
use crate::problem::Problem;

/// All of them.
pub(crate) async fn show(
    member: Member<Read>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    list(&office, &member, recorded.recorded, None).await
}

async fn list<P: Permission>(
    office: &Office,
    member: &Member<P>,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member.look(office, |view| Ok(ChecksPage::of(member, view, trouble))).await?;
    Ok(member.around("Checks", Section::Checks).recorded(recorded).reply(status, page.body()))
}

/// Happenings stand on the page of the checks, which they end.
pub(crate) async fn happenings(member: Member<Read>) -> Answer {
    let place = member.place("/checks#happenings");
    Ok(led_to(&place))
}

/// Reports a happening.
pub(crate) async fn happened(member: Member<ReportEvents>, form: Form, office: Office) -> Answer {
    let acted = async {
        api::happenings::report(member.permitted.clone(), form.given()?, office.clone()).await
    }
    .await;
    settled(acted, form, &member.place("/checks"), async |trouble| {
        list(&office, &member, None, Some(trouble)).await
    })
    .await
}

/// One.
pub(crate) async fn one(
    member: Member<Read>,
    check: At<CheckCode>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, &check, recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    check: &CheckCode,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member
        .look(office, |view| {
            let known = view.state.checks.by_code.get(check);
            let known = known.ok_or_else(|| Problem::unknown("check", check))?;
            Ok(CheckPage::of(member, view, known, trouble))
        })
        .await?;
    let around = member.around(format!("Check {check}"), Section::Checks).recorded(recorded);
    Ok(around.reply(status, page.body()))
}

/// Reports one as done.
pub(crate) async fn report(
    member: Member<DoChecks>,
    form: Form,
    check: At<CheckCode>,
    office: Office,
) -> Answer {
    let acted = async {
        api::checks::report(member.permitted.clone(), check.clone(), form.given()?, office.clone())
            .await
    }
    .await;
    settled(acted, form, &member.place(&format!("/checks/{}", *check)), async |trouble| {
        page(&office, &member, &check, None, Some(trouble)).await
    })
    .await
}
