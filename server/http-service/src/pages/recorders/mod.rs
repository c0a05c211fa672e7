//! Recorders: looking at an unknown file, and saying once which column of it is which channel.

mod columns;
mod list;
mod mapping;

use actix_web::http::StatusCode;
use evaluation::mapping::Proposal;
use programme::codes::RecorderCode;
use serde::Deserialize;

pub(crate) use list::RecordersPage;
pub(crate) use mapping::MappingPage;

use super::around::Section;
use super::door::Member;
use super::form::{Form, FormWithFile, LARGEST, Trouble, recorded_anew};
use super::point::Recorded;
use super::words::escaped_for_query;
use crate::access::{DescribeRecorders, Permission, Read};
use crate::api::recorder_files::{self, FileKnown};
use crate::api::recorders as api;
use crate::desk::Answer;
use crate::given::{At, Query};
use crate::office::Office;
use crate::problem::{BODY_TOO_LARGE, INVALID, Problem};

/// The page with all recorders.
pub(crate) async fn show(member: Member<Read>, office: Office) -> Answer {
    list(&office, &member, None).await
}

async fn list<P: Permission>(
    office: &Office,
    member: &Member<P>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page =
        member.look(office, |view| Ok(RecordersPage::of(member, view.state, trouble))).await?;
    Ok(member.around("Recorders", Section::Recordings).reply(status, page.body()))
}

/// Looks at the beginning of a file and offers a mapping. Nothing is recorded.
pub(crate) async fn look(member: Member<Read>, mut sent: FormWithFile, office: Office) -> Answer {
    let found = async {
        if sent.name.is_empty() {
            return Err(Problem::of_field(INVALID, "file", "Choose a file."));
        }
        let known: FileKnown = sent.form.only(&["format", "recorder?"]).given()?.body;
        let silent_at_most = office.settings.sender_silent_at_most;
        let begins = recorder_files::beginning(sent.bits(), silent_at_most).await?;
        let of = known.recorder.clone();
        let proposal = recorder_files::proposal(&office, &member.permitted, begins, known).await?;
        fits_a_form(&proposal)?;
        Ok((proposal, of))
    }
    .await;
    let (proposal, of) = match found {
        Ok(found) => found,
        Err(problem) => {
            let trouble = sent.trouble(problem).await;
            return list(&office, &member, Some(trouble)).await;
        }
    };
    let name = sent.name;
    let page = member
        .look(&office, |view| {
            MappingPage::of_file(&member, view.state, (&name, &proposal), of.as_ref())
        })
        .await?;
    let title = format!("What {name} offers");
    Ok(member.around(title, Section::Recordings).reply(StatusCode::OK, page.body()))
}

/// How a file is read goes with the form of its mapping; a database may be too long for that.
fn fits_a_form(proposal: &Proposal) -> Result<(), Problem> {
    let file = serde_json::to_string(&proposal.recorder.file).unwrap_or_default();
    if escaped_for_query(&file).len() <= LARGEST / 2 {
        return Ok(());
    }
    Err(Problem::new(
        BODY_TOO_LARGE,
        "The database is too long to go with a form. Leave out of it the messages that the recorder does not write, or describe the recorder by the API.",
    ))
}

/// The mapping of a recorder.
pub(crate) async fn mapping(
    member: Member<Read>,
    recorder: At<RecorderCode>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    let page = member
        .look(&office, |view| MappingPage::of_recorder(&member, view.state, &recorder))
        .await?;
    let title = format!("Recorder {}", recorder.0);
    let around = member.around(title, Section::Recordings).recorded(recorded.recorded);
    Ok(around.reply(StatusCode::OK, page.body()))
}

/// The code that a form has.
#[derive(Debug, Deserialize)]
struct Named {
    code: RecorderCode,
}

/// Describes a recorder, or describes it anew where the person saw how it was.
pub(crate) async fn describe(
    member: Member<DescribeRecorders>,
    form: Form,
    office: Office,
) -> Answer {
    let (form, mapped) = form.filled_first("columns", "channel?");
    let acted = async {
        let Named { code } = form.only(&["code"]).given()?.body;
        let given = mapped.given()?;
        let seen = form.revision();
        api::describe(member.permitted.clone(), At(code), seen, given, office.clone()).await
    }
    .await;
    match recorded_anew(acted, &member.place("/recorders"), "code").await {
        Ok(reply) => Ok(reply),
        Err(problem) => {
            let trouble = form.trouble(problem);
            let status = trouble.status;
            let page = member
                .look(&office, |view| Ok(MappingPage::again(&member, view.state, trouble)))
                .await?;
            let around = member.around("The mapping of a recorder", Section::Recordings);
            Ok(around.reply(status, page.body()))
        }
    }
}
