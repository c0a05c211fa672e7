//! Today: what a crew needs on the field, in the order in which a hand reaches for it.

mod shown;

use actix_web::http::StatusCode;
use programme::codes::CheckCode;

pub(crate) use shown::TodayPage;

use super::around::Section;
use super::door::Member;
use super::form::{Form, Trouble, settled};
use super::point::Recorded;
use crate::access::{DoChecks, ObserveWeather, Permission, Read};
use crate::api::{checks, weather};
use crate::desk::Answer;
use crate::given::{At, Query};
use crate::office::Office;
use crate::problem::Problem;

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
        .look_at_ladder(office, |view, board| Ok(TodayPage::of(member, view, board, trouble)))
        .await?;
    Ok(member.around("Today", Section::Today).recorded(recorded).reply(status, page.body()))
}

async fn ended<P: Permission>(
    acted: Answer,
    form: Form,
    (office, member): (&Office, &Member<P>),
) -> Answer {
    settled(acted, form, &member.place("/today"), async |trouble| {
        page(office, member, None, Some(trouble)).await
    })
    .await
}

/// Records the weather as observed.
pub(crate) async fn observe(member: Member<ObserveWeather>, form: Form, office: Office) -> Answer {
    let acted =
        async { weather::observe(member.permitted.clone(), form.given()?, office.clone()).await }
            .await;
    ended(acted, form, (&office, &member)).await
}

/// Reports a check as done.
pub(crate) async fn report(member: Member<DoChecks>, form: Form, office: Office) -> Answer {
    let acted = async {
        let code = form.text("form.check");
        let check = CheckCode::new(code).map_err(|_| Problem::unknown("check", code))?;
        checks::report(member.permitted.clone(), At(check), form.given()?, office.clone()).await
    }
    .await;
    ended(acted, form, (&office, &member)).await
}
