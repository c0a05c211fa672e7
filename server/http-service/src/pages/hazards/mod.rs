//! Hazards: what they are, how large the risk is before and after what is done about it, and who accepts what is left.

mod matrix;
mod shown;

use actix_web::http::StatusCode;
use programme::codes::HazardCode;
use serde::Deserialize;

pub(crate) use shown::{HazardPage, HazardsPage};

use super::around::Section;
use super::door::Member;
use super::form::{Form, Trouble, recorded, settled};
use super::point::Recorded;
use crate::access::{AcceptRisk, Permission, Read, RecordHazards};
use crate::api::hazards as api;
use crate::desk::Answer;
use crate::given::{At, Query};
use crate::office::Office;
use crate::problem::Problem;

/// The page with all hazards.
pub(crate) async fn list(member: Member<Read>, office: Office) -> Answer {
    listed(&office, &member, None).await
}

async fn listed<P: Permission>(
    office: &Office,
    member: &Member<P>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member.look(office, |view| HazardsPage::of(member, view.state, trouble)).await?;
    Ok(member.around("Hazards", Section::Hazards).reply(status, page.body()))
}

/// The page of one.
pub(crate) async fn show(
    member: Member<Read>,
    hazard: At<HazardCode>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, &hazard, recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    hazard: &HazardCode,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page =
        member.look(office, |view| HazardPage::of(member, view.state, hazard, trouble)).await?;
    let title = format!("{hazard} {}", page.written.title);
    Ok(member.around(title, Section::Hazards).recorded(recorded).reply(status, page.body()))
}

/// The hazard that a form is about.
#[derive(Debug, Deserialize)]
struct Named {
    code: HazardCode,
}

fn code_of(form: &Form) -> Result<HazardCode, Problem> {
    let Named { code } = form.only(&["code"]).given()?.body;
    Ok(code)
}

/// Every line of what is done about it is a mitigation.
fn with_mitigations(form: &Form) -> Form {
    let mut form = form.clone();
    let written = form.text("form.mitigations").to_owned();
    form.put("mitigations:list", String::new());
    for line in written.lines().map(str::trim).filter(|line| !line.is_empty()) {
        form.put("mitigations[]", line.to_owned());
    }
    form
}

/// Records a hazard, or judges it anew where the person saw how it was.
pub(crate) async fn record(member: Member<RecordHazards>, form: Form, office: Office) -> Answer {
    let (person, seen) = (member.permitted.clone(), form.revision());
    let is_new = form.text("form.revision").is_empty();
    let code = code_of(&form);
    let acted = async {
        let given = with_mitigations(&form).given()?;
        api::record(person, At(code_of(&form)?), seen, given, office.clone()).await
    }
    .await;
    let place = code.as_ref().map_or_else(
        |_| member.place("/hazards"),
        |code| member.place(&format!("/hazards/{code}")),
    );
    match (recorded(acted, &place).await, code) {
        (Ok(reply), _) => Ok(reply),
        (Err(problem), Ok(code)) if !is_new => {
            page(&office, &member, &code, None, Some(form.trouble(problem))).await
        }
        (Err(problem), _) => listed(&office, &member, Some(form.trouble(problem))).await,
    }
}

/// Accepts the risk that is left.
pub(crate) async fn accept(
    member: Member<AcceptRisk>,
    form: Form,
    hazard: At<HazardCode>,
    office: Office,
) -> Answer {
    let code = hazard.0.clone();
    let person = member.permitted.clone();
    let acted = async { api::accept(person, hazard, form.signed()?, office.clone()).await }.await;
    settled(acted, form, &member.place(&format!("/hazards/{code}")), async |trouble| {
        page(&office, &member, &code, None, Some(trouble)).await
    })
    .await
}
