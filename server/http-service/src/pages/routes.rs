//! The one table of pages: what can be opened or sent, by whom, and which function answers.

use actix_web::http::header::{ALLOW, HeaderValue};
use actix_web::http::{Method, StatusCode};
use actix_web::middleware::{Compress, from_fn};
use actix_web::web::{self, PayloadConfig, ServiceConfig};
use actix_web::{Handler, HttpRequest, Responder, Route, guard};

use super::door::{Member, Visitor};
use super::form::{Form, FormAtTheDoor, FormWithFile};
use super::frame::frame;
use super::*;
use crate::access::*;
use crate::desk::Answer;
use crate::problem::Problem;
use crate::routes::nothing_here;

/// One page, or one form of a page.
pub(super) struct Entry {
    pub method: Method,
    pub path: &'static str,
    route: Route,
}

/// Parameters of functions that read no form.
trait Opens<Who> {}
/// Parameters of functions that take a form, whose token was looked at. A form cannot be sent to any other.
trait Sends<Who> {}

macro_rules! parameters {
    ($($rest:ident)*) => {
        impl<Who, $($rest),*> Opens<Who> for (Who, $($rest,)*) {}
        impl<Who, $($rest),*> Sends<Who> for (Who, Form, $($rest,)*) {}
        impl<Who, $($rest),*> Sends<Who> for (Who, FormWithFile, $($rest,)*) {}
        impl<$($rest),*> Sends<AtTheDoor> for (FormAtTheDoor, $($rest,)*) {}
    };
}
parameters!();
parameters!(B);
parameters!(B C);
parameters!(B C D);
parameters!(B C D E);

/// Who sends a form before they are signed in.
enum AtTheDoor {}

fn opened<Who, Args, H>(path: &'static str, handler: H) -> Entry
where
    Args: actix_web::FromRequest + Opens<Who> + 'static,
    H: Handler<Args>,
    H::Output: Responder + 'static,
{
    let reads = guard::fn_guard(|asked| {
        asked.head().method == Method::GET || asked.head().method == Method::HEAD
    });
    Entry { method: Method::GET, path, route: web::route().guard(reads).to(handler) }
}

fn sent<Who, Args, H>(path: &'static str, handler: H) -> Entry
where
    Args: actix_web::FromRequest + Sends<Who> + 'static,
    H: Handler<Args>,
    H::Output: Responder + 'static,
{
    Entry { method: Method::POST, path, route: web::post().to(handler) }
}

macro_rules! pages {
    ($($verb:ident $path:literal $who:ty => $($module:ident)::+;)+) => {
        /// Everything that can be opened or sent.
        pub(super) fn table() -> Vec<Entry> {
            vec![$($verb::<$who, _, _>($path, $($module)::+)),+]
        }
    };
}

pages! {
    opened "/assets/{name}" web::Path<String> => assets::read;

    opened "/" Visitor => home::show;
    opened "/sign-in" HttpRequest => sign_in::show;
    sent "/sign-in" AtTheDoor => sign_in::begin;
    sent "/sign-out" Visitor => sign_in::end;
    opened "/account" Visitor => account::show;
    sent "/account/password" Visitor => account::change_password;
    sent "/account/pin" Visitor => account::change_pin;
    sent "/account/pin-removal" Visitor => account::remove_pin;
    sent "/account/sign-ins" Visitor => account::end_sign_in;
    opened "/who" HttpRequest => sign_in::who;
    opened "/worker.js" HttpRequest => assets::worker;

    opened "/programmes/{programme}" Member<Read> => overview::show;
    opened "/programmes/{programme}/events" Member<Read> => events::listen;
    opened "/programmes/{programme}/ladder" Member<Read> => ladder::show;

    opened "/programmes/{programme}/points/{point}" Member<Read> => point::show;
    opened "/programmes/{programme}/points/{point}/card" Member<Read> => card::of_point;
    sent "/programmes/{programme}/points/{point}/sign-offs" Member<Read> => point::sign;
    sent "/programmes/{programme}/points/{point}/refusals" Member<Read> => point::refuse;
    sent "/programmes/{programme}/points/{point}/withdrawals" Member<Read> => point::withdraw;

    opened "/programmes/{programme}/runs" Member<Read> => runs::show;
    sent "/programmes/{programme}/runs" Member<ConductRuns> => runs::open;
    opened "/programmes/{programme}/runs/{run}" Member<Read> => run::show;
    opened "/programmes/{programme}/runs/{run}/cards" Member<Read> => card::of_run;
    opened "/programmes/{programme}/runs/{run}/briefing" Member<Read> => briefing::show;
    sent "/programmes/{programme}/runs/{run}/moments" Member<ConductRuns> => run::note_moment;
    sent "/programmes/{programme}/runs/{run}/energy" Member<ConductRuns> => run::read_energy;
    sent "/programmes/{programme}/runs/{run}/knock-off" Member<KnockOff> => run::knock_off;
    sent "/programmes/{programme}/runs/{run}/closing" Member<ConductRuns> => run::close;
    opened "/programmes/{programme}/runs/{run}/results/{point}" Member<Read> => result::show;
    sent "/programmes/{programme}/runs/{run}/results/{point}" Member<RecordResults> => result::record;
    sent "/programmes/{programme}/runs/{run}/results/{point}/sign-offs" Member<Read> => result::accept;
    sent "/programmes/{programme}/runs/{run}/results/{point}/refusals" Member<Read> => result::refuse;
    sent "/programmes/{programme}/runs/{run}/results/{point}/withdrawals" Member<Read> => result::withdraw;

    opened "/programmes/{programme}/recordings" Member<Read> => recordings::show;
    sent "/programmes/{programme}/recordings" Member<TakeRecordings> => recordings::take;
    opened "/programmes/{programme}/recorders" Member<Read> => recorders::show;
    sent "/programmes/{programme}/recorders" Member<DescribeRecorders> => recorders::describe;
    sent "/programmes/{programme}/recorders/look" Member<Read> => recorders::look;
    opened "/programmes/{programme}/recorders/{recorder}" Member<Read> => recorders::mapping;
    opened "/programmes/{programme}/recordings/{recording}" Member<Read> => recording::show;
    sent "/programmes/{programme}/recordings/{recording}/attachment" Member<AttachRecordings> => recording::attach;
    sent "/programmes/{programme}/recordings/{recording}/setting-aside" Member<AttachRecordings> => recording::set_aside;
    opened "/programmes/{programme}/recordings/{recording}/limits/{run}" Member<Read> => recording::limits;
    opened "/programmes/{programme}/recordings/{recording}/plot" Member<Read> => plot::show;
    opened "/programmes/{programme}/recordings/{recording}/clock" Member<Read> => recording::clock;
    sent "/programmes/{programme}/recordings/{recording}/clock" Member<ConfirmClocks> => recording::confirm_clock;
    opened "/programmes/{programme}/recordings/{recording}/intervals" Member<Read> => recording::intervals;
    sent "/programmes/{programme}/recordings/{recording}/intervals" Member<TakeIntervals> => recording::take_interval;
    opened "/programmes/{programme}/intervals/{interval}" Member<Read> => interval::show;
    sent "/programmes/{programme}/intervals/{interval}/reductions" Member<MakeReductions> => interval::reduce;
    opened "/programmes/{programme}/exceedances/{exceedance}" Member<Read> => exceedance::show;
    sent "/programmes/{programme}/exceedances/{exceedance}/explanation" Member<ExplainExceedances> => exceedance::explain;
    sent "/programmes/{programme}/exceedances/{exceedance}/closing" Member<CloseExceedances> => exceedance::close;

    opened "/programmes/{programme}/envelope" Member<Read> => envelope::show;
    opened "/programmes/{programme}/predictions" Member<Read> => predictions::show;
    sent "/programmes/{programme}/predictions/reviews" Member<ReviewModels> => predictions::review;

    opened "/programmes/{programme}/configuration" Member<Read> => configuration::show;
    opened "/programmes/{programme}/configuration/dry-run" Member<Read> => configuration::dry_run;
    sent "/programmes/{programme}/configuration/items" Member<Configure> => configuration::fit;
    sent "/programmes/{programme}/configuration/removals" Member<Configure> => configuration::remove;
    opened "/programmes/{programme}/runs/{run}/results/{point}/narrowing" Member<Read> => configuration::narrowing;
    sent "/programmes/{programme}/runs/{run}/results/{point}/narrowing" Member<NarrowRepeats> => configuration::narrow;

    opened "/programmes/{programme}/hazards" Member<Read> => hazards::list;
    sent "/programmes/{programme}/hazards" Member<RecordHazards> => hazards::record;
    opened "/programmes/{programme}/hazards/{hazard}" Member<Read> => hazards::show;
    sent "/programmes/{programme}/hazards/{hazard}/acceptance" Member<AcceptRisk> => hazards::accept;

    opened "/programmes/{programme}/today" Member<Read> => today::show;
    sent "/programmes/{programme}/today/weather" Member<ObserveWeather> => today::observe;
    sent "/programmes/{programme}/today/checks" Member<DoChecks> => today::report;

    opened "/programmes/{programme}/days" Member<Read> => evening::days;
    opened "/programmes/{programme}/days/{day}" Member<Read> => evening::show;

    opened "/programmes/{programme}/dates" Member<Read> => dates::show;
    sent "/programmes/{programme}/dates/link" Member<Read> => dates::make_link;
    sent "/programmes/{programme}/dates/link-removal" Member<Read> => dates::end_link;

    opened "/programmes/{programme}/hours" Member<Read> => hours::show;
    opened "/programmes/{programme}/hours/runs.csv" Member<Read> => hours::csv;
    opened "/programmes/{programme}/hours/completed.json" Member<Read> => hours::json;

    opened "/programmes/{programme}/progress" Member<Read> => progress::show;
    sent "/programmes/{programme}/progress" Member<NoteLostDays> => progress::note;

    opened "/programmes/{programme}/snags" Member<Read> => snags::show;
    sent "/programmes/{programme}/snags" Member<OpenSnags> => snags::open;
    opened "/programmes/{programme}/snags/{snag}" Member<Read> => snags::one;
    sent "/programmes/{programme}/snags/{snag}/work" Member<WorkSnags> => snags::work;
    sent "/programmes/{programme}/snags/{snag}/closing" Member<CloseSnags> => snags::close;

    opened "/programmes/{programme}/checks" Member<Read> => checks::show;
    opened "/programmes/{programme}/happenings" Member<Read> => checks::happenings;
    sent "/programmes/{programme}/happenings" Member<ReportEvents> => checks::happened;
    opened "/programmes/{programme}/checks/{check}" Member<Read> => checks::one;
    sent "/programmes/{programme}/checks/{check}/done" Member<DoChecks> => checks::report;

    opened "/programmes/{programme}/people" Member<Read> => people::show;
    sent "/programmes/{programme}/people" Member<ListPeople> => people::list;

    opened "/programmes/{programme}/ledger" Member<Read> => ledger::show;
    opened "/programmes/{programme}/ledger/check" Member<Read> => ledger::check;
    sent "/programmes/{programme}/ledger/against" Member<Read> => ledger::against;
    opened "/programmes/{programme}/ledger/{seq}" Member<Read> => ledger::record;
    opened "/programmes/{programme}/evidence" Member<Read> => evidence::show;
    sent "/programmes/{programme}/evidence" Member<Read> => evidence::order;
    opened "/programmes/{programme}/evidence/{order}/file" Member<Read> => evidence::file;
    opened "/programmes/{programme}/tomorrow" Member<Read> => tomorrow::show;
    sent "/programmes/{programme}/tomorrow" Member<PlanDays> => tomorrow::plan;
    sent "/programmes/{programme}/tomorrow/anew" Member<PlanDays> => tomorrow::plan_anew;
    opened "/programmes/{programme}/tomorrow/{plan}" Member<Read> => tomorrow::show_one;
    opened "/programmes/{programme}/tomorrow/{plan}/energy" Member<Read> => tomorrow::show_energy;
    sent "/programmes/{programme}/tomorrow/{plan}/replanning" Member<PlanDays> => tomorrow::replan;
    opened "/programmes/{programme}/forecast" Member<Read> => forecast::show;
    sent "/programmes/{programme}/forecast" Member<Forecast> => forecast::make;
    sent "/programmes/{programme}/forecast/assumptions" Member<Forecast> => forecast::assume;

    opened "/programmes/{programme}/past" Member<Read> => past::show;
    sent "/programmes/{programme}/past/copy" Member<AcknowledgeCopy> => past::acknowledge;
    sent "/programmes/{programme}/past/clock" Member<CompareClock> => past::compare_clock;
    opened "/programmes/{programme}/changes" Member<Read> => changes::show;

    opened "/programmes/{programme}/stand-down" Member<Read> => stand_down::show;
    sent "/programmes/{programme}/stand-down" Member<CallStandDown> => stand_down::call;
    sent "/programmes/{programme}/stand-down/lifting" Member<LiftStandDown> => stand_down::lift;
}

/// Registers all pages, and what is told where there is none.
pub(crate) fn register(config: &mut ServiceConfig) {
    let mut pages = web::scope("")
        .app_data(PayloadConfig::new(form::LARGEST))
        .wrap(from_fn(frame))
        .wrap(Compress::default())
        .default_service(web::to(nothing_here));
    let mut entries = table().into_iter().peekable();
    while let Some(Entry { method, path, route }) = entries.next() {
        let mut resource = web::resource(path).route(route);
        let mut allow = method.to_string();
        while let Some(more) = entries.next_if(|more| more.path == path) {
            allow = format!("{allow}, {}", more.method);
            resource = resource.route(more.route);
        }
        let otherwise = move |request| not_so(request, allow.clone());
        pages = pages.service(resource.default_service(web::to(otherwise)));
    }
    config.service(pages);
}

/// Where something can be sent and not opened: a browser that opens it, such as after a form was refused there, is led to
/// the page on which the form stands.
async fn not_so(request: HttpRequest, allow: String) -> Answer {
    if request.method() != Method::GET {
        let problem = Problem::of_status(StatusCode::METHOD_NOT_ALLOWED);
        let allow = HeaderValue::from_str(&allow).unwrap_or(HeaderValue::from_static("GET"));
        return Err(problem.with_header(ALLOW, allow));
    }
    let page = request.path().rsplit_once('/').map_or("/", |(page, _)| page);
    let page = if page.is_empty() { "/" } else { page };
    Ok(led_to(page))
}
