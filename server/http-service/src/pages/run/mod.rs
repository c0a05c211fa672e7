//! One run: its moments, readings, knock-it-off, results and closing.

mod moments;
mod shown;

use actix_web::http::StatusCode;
use programme::codes::RunNumber;

pub(crate) use shown::RunPage;

use super::around::Section;
use super::door::Member;
use super::form::{Form, Trouble, settled};
use super::point::Recorded;
use crate::access::{ConductRuns, KnockOff, Permission, Permitted, Read};
use crate::api::runs;
use crate::desk::Answer;
use crate::given::{At, Given, Number, Query};
use crate::office::Office;
use crate::problem::Problem;

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    run: At<Number<RunNumber>>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, run.0.0, recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    number: RunNumber,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member
        .look(office, |view| {
            let run = view.state.run(number).ok_or_else(|| Problem::unknown("run", number))?;
            Ok(RunPage::of(member, view, run, trouble))
        })
        .await?;
    let around =
        member.around(format!("Run {number}"), Section::Runs).recorded(recorded).live().keeps();
    Ok(around.reply(status, page.body()))
}

/// Lets the API do what a form asks, and leads back to the run, or shows the form again with why it was refused.
async fn act<P, T, F>(
    (office, member, run): (Office, Member<P>, At<Number<RunNumber>>),
    form: Form,
    acts: impl FnOnce(Permitted<P>, At<Number<RunNumber>>, Given<T>, Office) -> F,
) -> Answer
where
    P: Permission + Clone,
    T: serde::de::DeserializeOwned,
    F: Future<Output = Answer>,
{
    let acted =
        async { acts(member.permitted.clone(), run.clone(), form.given()?, office.clone()).await }
            .await;
    let number = run.0.0;
    let place = match form.text("form.back") {
        "today" => member.place("/today"),
        _ => member.place(&format!("/runs/{number}")),
    };
    settled(acted, form, &place, async |trouble| {
        page(&office, &member, number, None, Some(trouble)).await
    })
    .await
}

/// Notes a moment.
pub(crate) async fn note_moment(
    member: Member<ConductRuns>,
    form: Form,
    run: At<Number<RunNumber>>,
    office: Office,
) -> Answer {
    act((office, member, run), form, runs::note_moment).await
}

/// Reads charge and energy.
pub(crate) async fn read_energy(
    member: Member<ConductRuns>,
    form: Form,
    run: At<Number<RunNumber>>,
    office: Office,
) -> Answer {
    act((office, member, run), form, runs::read_energy).await
}

/// Calls knock-it-off.
pub(crate) async fn knock_off(
    member: Member<KnockOff>,
    form: Form,
    run: At<Number<RunNumber>>,
    office: Office,
) -> Answer {
    act((office, member, run), form, runs::knock_off).await
}

/// Closes it.
pub(crate) async fn close(
    member: Member<ConductRuns>,
    form: Form,
    run: At<Number<RunNumber>>,
    office: Office,
) -> Answer {
    act((office, member, run), form, runs::close).await
}
