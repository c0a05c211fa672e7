//! A result: what a run showed for a point, recorded by one person and accepted by two others.

mod asked;
mod recorded;
mod shown;

use actix_web::HttpRequest;
use actix_web::http::StatusCode;
use programme::codes::{IntervalNumber, PointCode, RunNumber};

pub(crate) use shown::ResultPage;

use super::around::Section;
use super::door::Member;
use super::form::{Form, Trouble, recorded};
use crate::access::{Permission, Read, RecordResults};
use crate::api::{intervals, results, sign_offs};
use crate::desk::Answer;
use crate::given::{At, Number};
use crate::office::Office;
use crate::problem::{BAD_QUERY, Problem};

/// Which result.
type Of = (RunNumber, PointCode);

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    run: At<Number<RunNumber>>,
    point: At<PointCode>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let asked = Asked::of(&request)?;
    page(&office, &member, &(run.0.0, point.0), asked, None).await
}

/// What the address may say: the record that was just made, and the intervals whose values fill the result.
#[derive(Debug, Default)]
struct Asked {
    recorded: Option<u64>,
    from: Vec<IntervalNumber>,
}

impl Asked {
    /// Reads the query string, in which `from` may come several times.
    fn of(request: &HttpRequest) -> Result<Self, Problem> {
        let not_understood =
            || Problem::new(BAD_QUERY, "The address cannot be understood. Open the page again.");
        let pairs =
            actix_web::web::Query::<Vec<(String, String)>>::from_query(request.query_string())
                .map_err(|_| not_understood())?
                .into_inner();
        let mut asked = Self::default();
        for (name, text) in pairs {
            match name.as_str() {
                "recorded" => asked.recorded = Some(text.parse().map_err(|_| not_understood())?),
                "from" => {
                    asked.from.push(IntervalNumber(text.parse().map_err(|_| not_understood())?))
                }
                _ => return Err(not_understood()),
            }
        }
        Ok(asked)
    }

    /// The intervals that a form had which was refused.
    fn again(form: &Form) -> Self {
        let from = form.texts("from_intervals[]:count").into_iter();
        let from = from.filter_map(|text| text.parse().ok().map(IntervalNumber));
        Self { recorded: None, from: from.collect() }
    }
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    of: &Of,
    Asked { recorded, from }: Asked,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let filled = if from.is_empty() {
        None
    } else {
        let field = (BAD_QUERY, "from");
        let (asked, values, digest) =
            intervals::proposed(office, &member.permitted, &from, field).await?;
        if (asked.run, &asked.point) != (of.0, &of.1) {
            let why = format!("The intervals were taken for {} in run {}.", asked.point, asked.run);
            return Err(Problem::of_field(BAD_QUERY, "from", why));
        }
        Some(intervals::view_of(&asked, &from, values, digest))
    };
    let page = member
        .look(office, |view| ResultPage::of(member, view, of, filled.as_ref(), trouble))
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
        Err(problem) => {
            let asked = Asked::again(&form);
            page(office, member, of, asked, Some(form.trouble(problem))).await
        }
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
