//! A recording: how good it is, to which runs it belongs, what it shows beyond limits, and what is made of it.

mod clock;
mod intervals;
mod limits;
mod lines;
mod shown;

use actix_web::http::StatusCode;
use programme::codes::RunNumber;
use programme::record::Digest;
use recordings::Report;

pub(crate) use clock::{clock, confirm_clock};
pub(crate) use intervals::{intervals, take_interval};
pub(crate) use limits::limits;
pub(crate) use shown::RecordingPage;
#[cfg(test)]
pub(crate) use {clock::ClockPage, intervals::IntervalsPage, limits::LimitsPage};

use super::around::Section;
use super::door::Member;
use super::form::{Form, Trouble, settled};
use super::point::Recorded;
use super::told::Told;
use crate::access::{AttachRecordings, Permission, Read};
use crate::api::recordings as api;
use crate::desk::Answer;
use crate::given::{At, Query, Sha256};
use crate::office::Office;

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    recording: At<Sha256>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, &recording.0.0, recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    recording: &Digest,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    // Where the report cannot be read, everything else is shown all the same.
    let report: Result<Report, _> = api::report_of(office, &member.permitted, recording).await;
    let page = member
        .look(office, |view| {
            RecordingPage::of(
                member,
                view,
                recording,
                report.map_err(|problem| Told::of(&problem)),
                trouble,
            )
        })
        .await?;
    let title = format!("Recording {}", page.name);
    Ok(member.around(title, Section::Recordings).recorded(recorded).reply(status, page.body()))
}

async fn ended<P: Permission>(
    acted: Answer,
    form: Form,
    (office, member, recording): (&Office, &Member<P>, &Digest),
) -> Answer {
    let place = member.place(&format!("/recordings/{recording}"));
    settled(acted, form, &place, async |trouble| {
        page(office, member, recording, None, Some(trouble)).await
    })
    .await
}

/// Attaches a recording to a run, or evaluates it anew by the limits as they are.
pub(crate) async fn attach(
    member: Member<AttachRecordings>,
    form: Form,
    recording: At<Sha256>,
    office: Office,
) -> Answer {
    let of = recording.0.0.clone();
    let person = member.permitted.clone();
    let acted = async { api::attach(person, recording, form.given()?, office.clone()).await }.await;
    ended(acted, form, (&office, &member, &of)).await
}

/// Sets a recording aside, with the reason.
pub(crate) async fn set_aside(
    member: Member<AttachRecordings>,
    form: Form,
    recording: At<Sha256>,
    office: Office,
) -> Answer {
    let of = recording.0.0.clone();
    let (person, seen) = (member.permitted.clone(), form.revision());
    let acted =
        async { api::set_aside(person, recording, seen, form.given()?, office.clone()).await }
            .await;
    ended(acted, form, (&office, &member, &of)).await
}

/// A run that the address names.
pub(crate) type OfRun = crate::given::Number<RunNumber>;
