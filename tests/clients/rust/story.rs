//! From a plan to hours, by the client that openapi-to-rust makes of the description.
//!
//! ```text
//! client-story BASE
//! ```
//!
//! Every request is a function of that client, every body and reply one of its types, and every refusal is of the status that
//! the description has for it. Of a reply that is no refusal the client gives the body and no headers.

use std::collections::BTreeSet;
use std::env;
use std::error::Error;

use chrono::{TimeDelta, Utc};

use rungbook_client::*;

// Most of the client's functions are not called here, and how it is written is its generator's business.
#[rustfmt::skip]
#[path = "../.made/rungbook_client_rs/mod.rs"]
#[allow(warnings, clippy::all)]
mod rungbook_client;

const PASSWORD: &str = "a long password for stories";
const PROGRAMME: &str = "small";
const POINT: &str = "GR-03";

/// A parameter that is left out.
const LEFT_OUT: Option<&str> = None;

type Told<T> = Result<T, Box<dyn Error>>;

fn main() -> Told<()> {
    let base = env::args().nth(1).ok_or("say where the service answers")?;
    tokio::runtime::Builder::new_current_thread().enable_all().build()?.block_on(story(&base))
}

async fn story(base: &str) -> Told<()> {
    let anyone = HttpClient::new().with_base_url(base);
    let wrong = SignIn { handle: "lea".to_owned(), password: "not the password".to_owned() };
    let refused = problem(anyone.sessions_begin(LEFT_OUT, wrong).await, |it| match it {
        SessionsBeginApiError::Status401(problem) => Some(problem),
        _ => None,
    });
    assert_eq!(refused.problem.code, "sign-in-refused");
    let cas = &signed_in(&anyone, "cas").await?;
    let eve = &signed_in(&anyone, "eve").await?;
    let lea = &signed_in(&anyone, "lea").await?;
    let pip = &signed_in(&anyone, "pip").await?;
    let sam = &signed_in(&anyone, "sam").await?;

    // The lead plans a point, and nothing of it can go ahead yet.
    let planned = lea.points_plan(PROGRAMME, POINT, LEFT_OUT, Some("*"), plan(60.0)).await?;
    assert_eq!(planned.now.version, 1);
    let again = lea.points_plan(PROGRAMME, POINT, LEFT_OUT, Some("*"), plan(60.0)).await;
    let again = problem(again, |it| match it {
        PointsPlanApiError::Status412(problem) => Some(problem),
        _ => None,
    });
    assert_eq!(again.problem.status, 412);
    let tag = Some(again.headers["ETag"].to_str()?);
    let amended = lea.points_plan(PROGRAMME, POINT, tag, LEFT_OUT, plan(58.0)).await?;
    assert_eq!(amended.now.version, 2);
    let at_first = held(lea).await?;
    for rule in ["plan-not-approved", "release-missing"] {
        assert!(at_first.contains(rule), "{at_first:?}");
    }

    // Its conditions are met: the check, the approval, the release by the safety officer and by nobody else, the card.
    let passed = CheckReport::new("2.1 MΩ at 500 V.".to_owned(), true);
    let checked = cas.checks_report(PROGRAMME, "C-ISO", LEFT_OUT, passed).await?;
    assert_eq!(checked.now.standing, CheckStanding::Good);
    let approval = PlanApprovalSignedSignOff {
        part: PlanApprovalSignedSignOffPart::PlanApproval,
        digest: digest(eve, PartName::PlanApproval).await?,
        secret: PASSWORD.to_owned(),
    };
    sign(eve, SignedSignOff::PlanApprovalSignedSignOff(approval)).await?;
    let release = SignedSignOff::ReleaseSignedSignOff(ReleaseSignedSignOff {
        part: ReleaseSignedSignOffPart::Release,
        digest: digest(sam, PartName::Release).await?,
        secret: PASSWORD.to_owned(),
        conditions: None,
        valid_from: None,
        valid_until: Utc::now() + TimeDelta::hours(8),
    });
    let barred = lea.sign_offs_sign(PROGRAMME, POINT, LEFT_OUT, release.clone()).await;
    let barred = problem(barred, |it| match it {
        SignOffsSignApiError::Status403(problem) => Some(problem),
        _ => None,
    });
    assert_eq!(barred.problem.code, "not-permitted");
    assert_eq!(barred.problem.allowed, Some(vec![Role::Safety]));
    sign(sam, release).await?;
    let acknowledgement = AcknowledgementSignedSignOff {
        part: AcknowledgementSignedSignOffPart::Acknowledgement,
        digest: digest(pip, PartName::Acknowledgement).await?,
        secret: PASSWORD.to_owned(),
    };
    sign(pip, SignedSignOff::AcknowledgementSignedSignOff(acknowledgement)).await?;
    assert_eq!(held(lea).await?, BTreeSet::new());

    // The run, with its moments. Whoever asks for it again with the same key is told of the same run.
    let key = Some("the-run-of-the-day");
    let opened = lea.runs_open(PROGRAMME, key, terms()).await?;
    let repeated = lea.runs_open(PROGRAMME, key, terms()).await?;
    assert_eq!(numbers(&repeated.records), numbers(&opened.records));
    assert_eq!(repeated.now.run, opened.now.run);
    let run = opened.now.run;
    let in_path = run.to_string();
    for event in [RunEvent::PowerOn, RunEvent::PowerOff] {
        let moment = MomentTerms::new(event);
        pip.runs_note_moment(PROGRAMME, &in_path, LEFT_OUT, moment).await?;
    }
    let closing = ClosingTerms { debrief: Some(Some("All as on the card.".to_owned())) };
    let closed = lea.runs_close(PROGRAMME, &in_path, LEFT_OUT, closing).await?;
    assert!(closed.now.closed.flatten().is_some());

    // What it showed, and the two signatures that make it count.
    pip.results_record(PROGRAMME, &in_path, LEFT_OUT, result()).await?;
    let engineering = EngineeringAcceptanceSignedSignOff {
        part: EngineeringAcceptanceSignedSignOffPart::EngineeringAcceptance,
        run,
        digest: digest(eve, PartName::EngineeringAcceptance).await?,
        secret: PASSWORD.to_owned(),
    };
    sign(eve, SignedSignOff::EngineeringAcceptanceSignedSignOff(engineering)).await?;
    let safety = SafetyAcceptanceSignedSignOff {
        part: SafetyAcceptanceSignedSignOffPart::SafetyAcceptance,
        run,
        digest: digest(sam, PartName::SafetyAcceptance).await?,
        secret: PASSWORD.to_owned(),
    };
    let accepted = sign(sam, SignedSignOff::SafetyAcceptanceSignedSignOff(safety)).await?;
    let kinds: Vec<&str> = accepted.records.iter().map(|it| it.kind.as_str()).collect();
    assert_eq!(kinds, ["part-signed"]);
    assert_eq!(rung(lea).await?.state, PointState::Accepted);

    // The hours have it, to the whole minute.
    let hours = lea.hours_read(PROGRAMME, LEFT_OUT, LEFT_OUT).await?;
    assert_eq!(hours.totals.runs, 1);
    assert!(hours.incomplete.is_empty(), "{hours:?}");
    let people: Vec<&str> = hours.by_person.iter().map(|it| it.person.as_str()).collect();
    assert_eq!(people, ["pip"]);
    println!("Rust: planned, released, run, accepted; run {run} is in the hours");
    Ok(())
}

async fn signed_in(anyone: &HttpClient, handle: &str) -> Told<HttpClient> {
    let who = SignIn { handle: handle.to_owned(), password: PASSWORD.to_owned() };
    let tokens = anyone.sessions_begin(LEFT_OUT, who).await?;
    Ok(anyone.clone().with_api_key(tokens.access_token))
}

/// The rules that hold the point.
async fn held(person: &HttpClient) -> Told<BTreeSet<String>> {
    let view = person.points_holds(PROGRAMME, POINT, LEFT_OUT, LEFT_OUT).await?;
    assert!(view.holds.iter().all(|hold| !hold.why.is_empty() && !hold.clears.is_empty()));
    Ok(view.holds.into_iter().map(|hold| hold.rule).collect())
}

async fn rung(person: &HttpClient) -> Told<Rung> {
    Ok(person.points_read(PROGRAMME, POINT, LEFT_OUT, LEFT_OUT).await?)
}

/// What somebody sees who is about to sign a part.
async fn digest(person: &HttpClient, part: PartName) -> Told<Digest> {
    let parts = rung(person).await?.to_sign.parts;
    let found = parts.into_iter().find(|it| it.part == part);
    Ok(found.and_then(|it| it.digest.flatten()).ok_or("there is no such part to sign")?)
}

async fn sign(person: &HttpClient, body: SignedSignOff) -> Told<WrittenSignedOff> {
    Ok(person.sign_offs_sign(PROGRAMME, POINT, LEFT_OUT, body).await?)
}

/// With the highest temperature of the motor in degrees Celsius that may be measured.
fn plan(hottest_c: f64) -> Point {
    let stays_cool = Criterion {
        parameter: "motor_temp".to_owned(),
        statistic: Statistic::Max,
        comparison: Comparison::AtMost,
        value: hottest_c,
        upper: None,
        unit: Unit::DegC,
    };
    let (minutes, kwh, most_on_board) = (10.0, 1.0, 1);
    let (objective, technique) = ("Show that it turns for long.", "Run up to 10 kW and hold it.");
    Point::new(
        POINT.to_owned(),
        vec![stays_cool],
        minutes,
        kwh,
        most_on_board,
        objective.to_owned(),
        Phase::GroundRun,
        vec!["Smoke.".to_owned()],
        technique.to_owned(),
        "Third run".to_owned(),
    )
}

fn terms() -> RunTerms {
    let crew = CrewMember { person: "pip".to_owned(), role: Role::Pilot, on_board: true };
    RunTerms { points: vec![POINT.to_owned()], crew: vec![crew] }
}

fn result() -> NewResult {
    NewResult::new(
        "Smooth.".to_owned(),
        POINT.to_owned(),
        vec![TypedValue {
            parameter: "motor_temp".to_owned(),
            statistic: Statistic::Max,
            value: Some(Some(55.0)),
            unit: Unit::DegC,
        }],
    )
}

fn numbers(records: &[Appended]) -> Vec<i64> {
    records.iter().map(|it| it.seq).collect()
}

/// A refusal: what it says, and the headers of the reply.
struct Refused {
    problem: Problem,
    headers: reqwest::header::HeaderMap,
}

/// The refusal with the status that is expected; anything else ends the story.
fn problem<T: std::fmt::Debug, E: std::fmt::Debug>(
    came: Result<T, ApiOpError<E>>,
    expected: impl FnOnce(E) -> Option<Problem>,
) -> Refused {
    match came {
        Err(ApiOpError::Api(ApiError { typed: Some(typed), headers, body, .. })) => {
            let problem = expected(typed).unwrap_or_else(|| panic!("another refusal came: {body}"));
            Refused { problem, headers }
        }
        other => panic!("no refusal of the described shape came: {other:?}"),
    }
}
