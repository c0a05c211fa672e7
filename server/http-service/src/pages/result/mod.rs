//! A result: what a run showed for a point, recorded by one person and accepted by two others.

mod shown;

use actix_web::http::StatusCode;
use programme::codes::{PointCode, RunNumber};

pub(crate) use shown::ResultPage;

use super::around::Section;
use super::door::Member;
use super::form::{Form, Trouble, recorded};
use super::point::Recorded;
use crate::access::{Permission, Read, RecordResults};
use crate::api::{results, sign_offs};
use crate::desk::Answer;
use crate::given::{At, Number, Query};
use crate::office::Office;

/// Which result.
type Of = (RunNumber, PointCode);

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    run: At<Number<RunNumber>>,
    point: At<PointCode>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, &(run.0.0, point.0), recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    of: &Of,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = office
        .look(&member.permitted, member.past.as_deref(), |view| {
            ResultPage::of(member, view, of, trouble)
        })
        .await?;
    let title = format!("Result of run {} for {}", of.0, of.1);
    Ok(member
        .around(title, Section::Runs)
        .recorded(recorded)
        .live()
        .keeps()
        .reply(status, page.body()))
}

async fn ended<P: Permission>(
    acted: Answer,
    form: Form,
    (office, member, of): (&Office, &Member<P>, &Of),
) -> Answer {
    let place = member.place(&format!("/runs/{}/results/{}", of.0, of.1));
    match recorded(acted, &place).await {
        Ok(reply) => Ok(reply),
        Err(problem) => page(office, member, of, None, Some(form.trouble(problem))).await,
    }
}

/// Records a result, or records it anew where the person saw one.
pub(crate) async fn record(
    member: Member<RecordResults>,
    form: Form,
    run: At<Number<RunNumber>>,
    point: At<PointCode>,
    office: Office,
) -> Answer {
    let of = (run.0.0, point.0.clone());
    let (person, seen) = (member.permitted.clone(), form.revision());
    let acted =
        async { results::amend(person, run, point, seen, form.given()?, office.clone()).await }
            .await;
    ended(acted, form, (&office, &member, &of)).await
}

/// Accepts a result, as an engineer or as the safety officer.
pub(crate) async fn accept(
    member: Member<Read>,
    form: Form,
    run: At<Number<RunNumber>>,
    point: At<PointCode>,
    office: Office,
) -> Answer {
    let of = (run.0.0, point.0.clone());
    let acted = async {
        sign_offs::sign(member.permitted.clone(), point, form.signed()?, office.clone()).await
    }
    .await;
    ended(acted, form, (&office, &member, &of)).await
}

/// Refuses to accept a result, with the reasons.
pub(crate) async fn refuse(
    member: Member<Read>,
    form: Form,
    run: At<Number<RunNumber>>,
    point: At<PointCode>,
    office: Office,
) -> Answer {
    let of = (run.0.0, point.0.clone());
    let acted = async {
        sign_offs::refuse(member.permitted.clone(), point, form.given()?, office.clone()).await
    }
    .await;
    ended(acted, form, (&office, &member, &of)).await
}

/// Takes back one's own acceptance or refusal.
pub(crate) async fn withdraw(
    member: Member<Read>,
    form: Form,
    run: At<Number<RunNumber>>,
    point: At<PointCode>,
    office: Office,
) -> Answer {
    let of = (run.0.0, point.0.clone());
    let acted = async {
        sign_offs::withdraw(member.permitted.clone(), point, form.signed()?, office.clone()).await
    }
    .await;
    ended(acted, form, (&office, &member, &of)).await
}
