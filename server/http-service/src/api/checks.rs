//! Recurring inspections: how long each is good for, when it was done, and whether it is good now.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::{CheckCode, PersonHandle, RunNumber};
use programme::commands::{CheckReport, DefineCheck, ReportCheck};
use programme::holds::{CheckFault, check_fault};
use programme::nouns::Check;
use programme::state::{Amendable, CheckState, Done};
use serde::Serialize;

use crate::access::{DefineChecks, DoChecks, Permitted, Read};
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after, beyond};
use crate::problem::Problem;

/// Whether a check is good.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CheckStanding {
    /// It was passed and is good still.
    Good,
    /// It was never passed.
    NeverPassed,
    /// A failure stands that no later pass has answered.
    Failed,
    /// Its validity is over.
    Overdue,
    /// It is good for some powered hours, and those since it was passed are not known.
    HoursUnknown,
}

/// A check, and whether it is good at the moment asked for.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = CheckWithStanding)]
pub struct CheckView<'a> {
    /// The check.
    pub check: &'a Check,
    /// Whether it is good. Everything but `good` holds each point that needs the check.
    pub standing: CheckStanding,
    /// When it becomes due by the clock, or became so; absent: it was never passed, or no time ends it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<Utc>>,
    /// Minutes under power since it was passed; absent: it was never passed, or they are not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub powered_min_since: Option<u64>,
    /// The first run since it was passed whose minutes under power are not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hours_unknown_of: Option<RunNumber>,
    /// The record of the happening, or of the change of an item, that ended it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ended_by: Option<u64>,
    /// The pass that was done last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_pass: Option<DoneView<'a>>,
    /// The failure that stands.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub failure: Option<DoneView<'a>>,
}

/// One time that a check was done.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = CheckDone)]
pub struct DoneView<'a> {
    /// The record.
    pub seq: u64,
    /// When it was done.
    pub at: DateTime<Utc>,
    /// By whom.
    pub by: &'a PersonHandle,
    /// Whether it passed.
    pub passed: bool,
    /// Readings and what was seen.
    pub findings: &'a str,
}

pub(crate) fn done_view(done: &Done) -> DoneView<'_> {
    DoneView {
        seq: done.seq,
        at: done.at,
        by: &done.by,
        passed: done.passed,
        findings: &done.findings,
    }
}

pub(crate) fn check_view<'a>(view: View<'a>, known: &'a CheckState) -> CheckView<'a> {
    let fault = check_fault(known, view.state, view.now);
    let standing = match fault {
        None => CheckStanding::Good,
        // A check that is looked at here is defined.
        Some(CheckFault::Unknown | CheckFault::NeverPassed) => CheckStanding::NeverPassed,
        Some(CheckFault::Failed) => CheckStanding::Failed,
        Some(CheckFault::Overdue { .. }) => CheckStanding::Overdue,
        Some(CheckFault::HoursUnknown(_)) => CheckStanding::HoursUnknown,
    };
    let ended_by = match fault {
        Some(CheckFault::Overdue { happening, change, .. }) => happening.max(change),
        _ => None,
    };
    let last_pass = known.last_pass();
    let powered = last_pass.map(|_| known.powered_minutes_since());
    CheckView {
        check: &known.check,
        standing,
        due_at: known.due_at(),
        powered_min_since: powered.and_then(Result::ok),
        hours_unknown_of: powered.and_then(Result::err),
        ended_by,
        last_pass: last_pass.map(done_view),
        failure: known.failure().map(done_view),
    }
}

fn known<'a>(view: View<'a>, code: &CheckCode) -> Result<&'a CheckState, Problem> {
    view.state.checks.by_code.get(code).ok_or_else(|| Problem::unknown("check", code))
}

fn shown(view: View<'_>, code: &CheckCode) -> Result<Shown, Problem> {
    let revision = view.state.revision(&Amendable::Check(code.clone()));
    Shown::at_revision(revision, &check_view(view, known(view, code)?))
}

/// Checks, each with whether it is good, by code.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of checks.", body = Page<CheckView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<CheckCode> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = beyond(&view.state.checks.by_code, after.as_ref())
                .map(|(code, known)| (code, check_view(view, known)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One check, with whether it is good and when it becomes due.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The check.", body = CheckView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    check: At<CheckCode>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office.show(&person, past.as_of.as_deref(), &request, |view| shown(view, &check)).await
}

/// Define a check, or define it anew. What was done under the old definition is judged by the new one.
#[utoipa::path(
    put, path = "",
    request_body(
        content = Check,
        example = json!({
            "code": "insulation",
            "title": "Insulation resistance of the high-voltage circuit",
            "method": "Isolated and locked out, 500 V for a minute; at least 500 ohm a volt of the pack.",
            "validity": { "days": 7, "until": ["hard-landing"] },
            "phases": ["static", "ground-run", "taxi", "first-flight", "envelope"],
            "by": ["engineer"],
            "source": "test plan, section 3 (invented)",
        }),
    ),
    params(Amends),
    responses(
        (status = 200, description = "Defined anew.", body = Written<CheckView>),
        (status = 201, description = "Defined.", body = Written<CheckView>),
    ),
)]
pub(crate) async fn define(
    person: Permitted<DefineChecks>,
    at: At<CheckCode>,
    precondition: Precondition,
    given: Given<Check>,
    office: Office,
) -> Answer {
    at.names("code", &given.body.code)?;
    let code = at.0;
    let place = format!("/api/v1/programmes/{}/checks/{code}", person.programme);
    let amends = (precondition, Amendable::Check(code.clone()));
    let given = given.map(|check| DefineCheck { check, expected: None });
    office
        .amend(&person, amends, given, move |view, _, was_there| {
            Ok(Outcome::put(was_there, place, shown(view, &code)?))
        })
        .await
}

/// Each time that a check was done, in the order recorded, newest first.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of times.", body = Page<DoneView>)),
)]
pub(crate) async fn history(
    person: Permitted<Read>,
    check: At<CheckCode>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u64> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = known(view, &check)?.done.iter().rev();
            let rows = rows
                .filter(|done| after.is_none_or(|after| done.seq < after))
                .map(|done| (done.seq, done_view(done)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// Report a check as done, passed or not, with readings and what was seen. Each check says who may do it.
#[utoipa::path(
    post, path = "",
    request_body(
        content = CheckReport,
        example = json!({
            "passed": true,
            "findings": "830 kohm at 500 V after one minute, 18 degC, dry.",
            "observed_at": "2026-05-02T07:40:00Z",
        }),
    ),
    responses((status = 201, description = "Recorded.", body = Written<CheckView>)),
)]
pub(crate) async fn report(
    person: Permitted<DoChecks>,
    check: At<CheckCode>,
    given: Given<CheckReport>,
    office: Office,
) -> Answer {
    let check = check.0;
    let place = format!("/api/v1/programmes/{}/checks/{check}", person.programme);
    let given = given.map(|terms| ReportCheck { check: check.clone(), terms });
    office
        .act(&person, given, move |view, _| Ok(Outcome::created(place, shown(view, &check)?)))
        .await
}
