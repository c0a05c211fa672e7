//! The one table of routes: what can be asked, by whom, and which handler answers.
//!
//! Routes are registered from it, permission is checked by the extractor that it names, and the description of the API
//! is made from it. A handler whose first parameter is not the extractor of its line does not compile.

use std::collections::BTreeMap;

use actix_web::guard;
use actix_web::http::Method;
use actix_web::http::header::{ALLOW, HeaderValue};
use actix_web::web::{self, PayloadConfig, ServiceConfig};
use actix_web::{Handler, HttpRequest, Resource, Responder, Route, Scope};

use utoipa::openapi::path::ParameterIn;
use utoipa::openapi::{RefOr, Schema};

use crate::access::*;
use crate::api;
use crate::houses::Houses;
use crate::problem::{BAD_QUERY, METHOD_NOT_ALLOWED, Problem};
use crate::token::Verified;

/// Schemas by name, as they are collected.
pub(crate) type Schemas = Vec<(String, RefOr<Schema>)>;

/// One thing that can be asked.
pub(crate) struct Operation {
    pub method: Method,
    pub path: &'static str,
    /// Module and function of the handler, such as `points::read`.
    pub name: &'static str,
    pub who: Who,
    /// The greatest body, where it is another than usual.
    pub largest_body: Option<usize>,
    /// What the handler says of itself.
    pub note: utoipa::openapi::path::Operation,
    /// The schemas that the note refers to.
    pub schemas: fn(&mut Schemas),
    route: Box<dyn Fn() -> Route>,
}

impl Operation {
    fn new<P, Args, H, Note>(
        method: Method,
        path: &'static str,
        name: &'static str,
        largest_body: Option<usize>,
        handler: H,
    ) -> Self
    where
        P: Access,
        Args: actix_web::FromRequest + BeginsWith<P> + 'static,
        H: Handler<Args>,
        H::Output: Responder + 'static,
        Note: utoipa::Path + utoipa::__dev::SchemaReferences,
    {
        let served = method.clone();
        Self {
            method,
            path,
            name,
            who: P::WHO,
            largest_body,
            note: Note::operation(),
            schemas: Note::schemas,
            route: Box::new(move || {
                let served = served.clone();
                web::route()
                    .guard(guard::fn_guard(move |asked| serves(&served, &asked.head().method)))
                    .to(handler.clone())
            }),
        }
    }

    /// The names that a query string may have.
    fn query_names(&self) -> Vec<String> {
        let parameters = self.note.parameters.iter().flatten();
        parameters
            .filter_map(|parameter| match parameter {
                RefOr::T(parameter) if parameter.parameter_in == ParameterIn::Query => {
                    Some(parameter.name.clone())
                }
                RefOr::T(_) | RefOr::Ref(_) => None,
            })
            .collect()
    }
}

/// Who may GET may also HEAD.
fn serves(served: &Method, asked: &Method) -> bool {
    asked == served || (served == Method::GET && asked == Method::HEAD)
}

/// A large recording of samples; about a million rows of four figures.
const LARGE_INPUT: usize = 64 * 1024 * 1024;

macro_rules! table {
    ($($method:ident $path:literal $who:ty $([$largest:expr])? => $module:ident :: $handler:ident;)+) => {
        /// Everything that can be asked.
        pub(crate) fn table() -> Vec<Operation> {
            pastey::paste! {
                vec![$(Operation::new::<$who, _, _, api::$module::[<__path_ $handler>]>(
                    Method::$method,
                    $path,
                    concat!(stringify!($module), "::", stringify!($handler)),
                    None $(.or(Some($largest)))?,
                    api::$module::$handler,
                )),+]
            }
        }
    };
}

table! {
    GET "/api/v1/health/live" Anyone => health::live;
    GET "/api/v1/health/ready" Anyone => health::ready;
    GET "/api/v1/openapi.json" Anyone => description::read;

    POST "/api/v1/sessions" Anyone => sessions::begin;
    POST "/api/v1/sessions/refresh" Anyone => sessions::refresh;
    GET "/api/v1/sessions" SignedIn => sessions::list;
    GET "/api/v1/sessions/current" SignedIn => sessions::current;
    DELETE "/api/v1/sessions/current" SignedIn => sessions::end;
    DELETE "/api/v1/sessions/{session}" SignedIn => sessions::end_one;

    GET "/api/v1/account" SignedIn => account::read;
    PUT "/api/v1/account/password" SignedIn => account::change_password;
    PUT "/api/v1/account/pin" SignedIn => account::change_pin;
    DELETE "/api/v1/account/pin" SignedIn => account::remove_pin;

    GET "/api/v1/accounts" Administrator => accounts::list;
    POST "/api/v1/accounts" Administrator => accounts::create;
    GET "/api/v1/accounts/{person}" Administrator => accounts::read;
    PUT "/api/v1/accounts/{person}" Administrator => accounts::amend;
    PUT "/api/v1/accounts/{person}/password" Administrator => accounts::reset_password;
    DELETE "/api/v1/accounts/{person}/sessions" Administrator => accounts::end_sessions;

    GET "/api/v1/compute" Anyone => compute::list;
    GET "/api/v1/compute/{topic}" Anyone => compute::read;
    POST "/api/v1/compute/{topic}" SignedIn [LARGE_INPUT] => compute::compute;

    GET "/api/v1/reduction-methods" Anyone => reductions::methods;

    GET "/api/v1/rules" Anyone => rules::list;

    GET "/api/v1/calendars/{link}" Anyone => calendars::read;
    GET "/api/v1/programmes/{programme}/calendar-link" Permitted<Read> => calendars::look;
    PUT "/api/v1/programmes/{programme}/calendar-link" Permitted<Read> => calendars::make;
    DELETE "/api/v1/programmes/{programme}/calendar-link" Permitted<Read> => calendars::end;

    GET "/api/v1/programmes" SignedIn => programmes::list;
    POST "/api/v1/programmes" Administrator => programmes::found;
    GET "/api/v1/programmes/{programme}" Permitted<Read> => programmes::read;

    GET "/api/v1/programmes/{programme}/document" Permitted<Read> => document::read;
    POST "/api/v1/programmes/{programme}/document" Permitted<Plan> [api::document::LARGEST] => document::import;
    GET "/api/v1/programmes/{programme}/points-table" Permitted<Read> => points_table::read;
    POST "/api/v1/programmes/{programme}/points-table" Permitted<Plan> [api::document::LARGEST] => points_table::import;

    GET "/api/v1/programmes/{programme}/aircraft" Permitted<Read> => aircraft::read;
    PUT "/api/v1/programmes/{programme}/aircraft" Permitted<DescribeAircraft> => aircraft::describe;
    GET "/api/v1/programmes/{programme}/policy" Permitted<Read> => policy::read;
    PUT "/api/v1/programmes/{programme}/policy" Permitted<SetPolicy> => policy::set;

    GET "/api/v1/programmes/{programme}/people" Permitted<Read> => people::list;
    GET "/api/v1/programmes/{programme}/people/{person}" Permitted<Read> => people::read;
    PUT "/api/v1/programmes/{programme}/people/{person}" Permitted<ListPeople> => people::list_person;

    GET "/api/v1/programmes/{programme}/configuration" Permitted<Read> => configuration::read;
    GET "/api/v1/programmes/{programme}/configuration/changes" Permitted<Read> => configuration::changes;
    GET "/api/v1/programmes/{programme}/configuration/items" Permitted<Read> => configuration::list;
    GET "/api/v1/programmes/{programme}/configuration/items/{item}" Permitted<Read> => configuration::read_item;
    PUT "/api/v1/programmes/{programme}/configuration/items/{item}" Permitted<Configure> => configuration::fit;
    POST "/api/v1/programmes/{programme}/configuration/items/{item}/removal" Permitted<Configure> => configuration::remove;

    GET "/api/v1/programmes/{programme}/channels" Permitted<Read> => channels::list;
    GET "/api/v1/programmes/{programme}/channels/{channel}" Permitted<Read> => channels::read;
    PUT "/api/v1/programmes/{programme}/channels/{channel}" Permitted<DefineChannels> => channels::define;

    GET "/api/v1/programmes/{programme}/limits" Permitted<Read> => limits::list;
    GET "/api/v1/programmes/{programme}/limits/{limit}" Permitted<Read> => limits::read;
    GET "/api/v1/programmes/{programme}/limits/{limit}/history" Permitted<Read> => limits::history;
    GET "/api/v1/programmes/{programme}/limit-proposals" Permitted<Read> => limit_proposals::list;
    POST "/api/v1/programmes/{programme}/limit-proposals" Permitted<ProposeLimit> => limit_proposals::propose;
    GET "/api/v1/programmes/{programme}/limit-proposals/{proposal}" Permitted<Read> => limit_proposals::read;
    POST "/api/v1/programmes/{programme}/limit-proposals/{proposal}/agreement" Permitted<AgreeLimit> => limit_proposals::agree;
    POST "/api/v1/programmes/{programme}/limit-proposals/{proposal}/declining" Permitted<AgreeLimit> => limit_proposals::decline;
    POST "/api/v1/programmes/{programme}/limit-proposals/{proposal}/withdrawal" Permitted<ProposeLimit> => limit_proposals::withdraw;

    GET "/api/v1/programmes/{programme}/recorders" Permitted<Read> => recorders::list;
    GET "/api/v1/programmes/{programme}/recorders/{recorder}" Permitted<Read> => recorders::read;
    PUT "/api/v1/programmes/{programme}/recorders/{recorder}" Permitted<DescribeRecorders> => recorders::describe;
    POST "/api/v1/programmes/{programme}/recorder-files/look" Permitted<Read> => recorder_files::look;

    GET "/api/v1/programmes/{programme}/recordings" Permitted<Read> => recordings::list;
    POST "/api/v1/programmes/{programme}/recordings" Permitted<TakeRecordings> [api::recordings::LARGEST] => recordings::take;
    GET "/api/v1/programmes/{programme}/recordings/{recording}" Permitted<Read> => recordings::read;
    GET "/api/v1/programmes/{programme}/recordings/{recording}/quality" Permitted<Read> => recordings::quality;
    GET "/api/v1/programmes/{programme}/recordings/{recording}/original" Permitted<Read> => recordings::original;
    POST "/api/v1/programmes/{programme}/recordings/{recording}/attachment" Permitted<AttachRecordings> => recordings::attach;
    GET "/api/v1/programmes/{programme}/recordings/{recording}/judged" Permitted<Read> => recordings::judged;
    POST "/api/v1/programmes/{programme}/recordings/{recording}/setting-aside" Permitted<AttachRecordings> => recordings::set_aside;
    GET "/api/v1/programmes/{programme}/recordings/{recording}/clock-estimate" Permitted<Read> => recordings::clock_estimate;
    POST "/api/v1/programmes/{programme}/recordings/{recording}/clock" Permitted<ConfirmClocks> => recordings::confirm_clock;
    GET "/api/v1/programmes/{programme}/recordings/{recording}/plot" Permitted<Read> => recordings::plot;
    GET "/api/v1/programmes/{programme}/recordings/{recording}/data" Permitted<Read> => recordings::data;
    POST "/api/v1/programmes/{programme}/recordings/{recording}/steady" Permitted<Read> => intervals::steady;
    GET "/api/v1/programmes/{programme}/intervals" Permitted<Read> => intervals::list;
    POST "/api/v1/programmes/{programme}/intervals" Permitted<TakeIntervals> => intervals::take;
    GET "/api/v1/programmes/{programme}/intervals/{interval}" Permitted<Read> => intervals::read;
    GET "/api/v1/programmes/{programme}/intervals/{interval}/values" Permitted<Read> => intervals::values;
    GET "/api/v1/programmes/{programme}/reductions" Permitted<Read> => reductions::list;
    POST "/api/v1/programmes/{programme}/reductions" Permitted<MakeReductions> => reductions::make;
    GET "/api/v1/programmes/{programme}/reductions/{reduction}" Permitted<Read> => reductions::read;
    GET "/api/v1/programmes/{programme}/reductions/{reduction}/input" Permitted<Read> => reductions::input;
    POST "/api/v1/programmes/{programme}/reductions/{reduction}/rerun" Permitted<MakeReductions> => reductions::rerun;

    GET "/api/v1/programmes/{programme}/checks" Permitted<Read> => checks::list;
    GET "/api/v1/programmes/{programme}/checks/{check}" Permitted<Read> => checks::read;
    PUT "/api/v1/programmes/{programme}/checks/{check}" Permitted<DefineChecks> => checks::define;
    GET "/api/v1/programmes/{programme}/checks/{check}/done" Permitted<Read> => checks::history;
    POST "/api/v1/programmes/{programme}/checks/{check}/done" Permitted<DoChecks> => checks::report;
    GET "/api/v1/programmes/{programme}/happenings" Permitted<Read> => happenings::list;
    POST "/api/v1/programmes/{programme}/happenings" Permitted<ReportEvents> => happenings::report;

    GET "/api/v1/programmes/{programme}/hazards" Permitted<Read> => hazards::list;
    GET "/api/v1/programmes/{programme}/hazards/{hazard}" Permitted<Read> => hazards::read;
    PUT "/api/v1/programmes/{programme}/hazards/{hazard}" Permitted<RecordHazards> => hazards::record;
    POST "/api/v1/programmes/{programme}/hazards/{hazard}/acceptance" Permitted<AcceptRisk> => hazards::accept;

    GET "/api/v1/programmes/{programme}/documents" Permitted<Read> => documents::list;
    GET "/api/v1/programmes/{programme}/documents/{document}" Permitted<Read> => documents::read;
    PUT "/api/v1/programmes/{programme}/documents/{document}" Permitted<FileDocuments> => documents::file;

    GET "/api/v1/programmes/{programme}/stand-down" Permitted<Read> => stand_down::read;
    POST "/api/v1/programmes/{programme}/stand-down" Permitted<CallStandDown> => stand_down::call;
    GET "/api/v1/programmes/{programme}/stand-down/calls" Permitted<Read> => stand_down::list;
    POST "/api/v1/programmes/{programme}/stand-down/lifting" Permitted<LiftStandDown> => stand_down::lift;

    GET "/api/v1/programmes/{programme}/weather" Permitted<Read> => weather::list;
    POST "/api/v1/programmes/{programme}/weather" Permitted<ObserveWeather> => weather::observe;
    GET "/api/v1/programmes/{programme}/weather/latest" Permitted<Read> => weather::latest;

    GET "/api/v1/programmes/{programme}/snags" Permitted<Read> => snags::list;
    POST "/api/v1/programmes/{programme}/snags" Permitted<OpenSnags> => snags::open;
    GET "/api/v1/programmes/{programme}/snags/{snag}" Permitted<Read> => snags::read;
    POST "/api/v1/programmes/{programme}/snags/{snag}/work" Permitted<WorkSnags> => snags::work;
    POST "/api/v1/programmes/{programme}/snags/{snag}/closing" Permitted<CloseSnags> => snags::close;

    GET "/api/v1/programmes/{programme}/points" Permitted<Read> => points::list;
    GET "/api/v1/programmes/{programme}/points/{point}" Permitted<Read> => points::read;
    PUT "/api/v1/programmes/{programme}/points/{point}" Permitted<Plan> => points::plan;
    POST "/api/v1/programmes/{programme}/points/{point}/drop" Permitted<Plan> => points::drop;
    GET "/api/v1/programmes/{programme}/points/{point}/holds" Permitted<Read> => points::holds;
    GET "/api/v1/programmes/{programme}/next" Permitted<Read> => next::read;

    POST "/api/v1/programmes/{programme}/points/{point}/sign-offs" Permitted<Read> => sign_offs::sign;
    POST "/api/v1/programmes/{programme}/points/{point}/refusals" Permitted<Read> => sign_offs::refuse;
    POST "/api/v1/programmes/{programme}/points/{point}/withdrawals" Permitted<Read> => sign_offs::withdraw;

    GET "/api/v1/programmes/{programme}/runs" Permitted<Read> => runs::list;
    POST "/api/v1/programmes/{programme}/runs" Permitted<ConductRuns> => runs::open;
    GET "/api/v1/programmes/{programme}/runs/{run}" Permitted<Read> => runs::read;
    POST "/api/v1/programmes/{programme}/runs/{run}/moments" Permitted<ConductRuns> => runs::note_moment;
    POST "/api/v1/programmes/{programme}/runs/{run}/energy" Permitted<ConductRuns> => runs::read_energy;
    POST "/api/v1/programmes/{programme}/runs/{run}/knock-off" Permitted<KnockOff> => runs::knock_off;
    POST "/api/v1/programmes/{programme}/runs/{run}/closing" Permitted<ConductRuns> => runs::close;
    PUT "/api/v1/programmes/{programme}/runs/{run}/times" Permitted<CorrectTimes> => runs::correct;

    GET "/api/v1/programmes/{programme}/runs/{run}/results" Permitted<Read> => results::list;
    POST "/api/v1/programmes/{programme}/runs/{run}/results" Permitted<RecordResults> => results::record;
    GET "/api/v1/programmes/{programme}/runs/{run}/results/{point}" Permitted<Read> => results::read;
    PUT "/api/v1/programmes/{programme}/runs/{run}/results/{point}" Permitted<RecordResults> => results::amend;

    GET "/api/v1/programmes/{programme}/exceedances" Permitted<Read> => exceedances::list;
    POST "/api/v1/programmes/{programme}/exceedances" Permitted<NoteExceedances> => exceedances::note;
    GET "/api/v1/programmes/{programme}/exceedances/{exceedance}" Permitted<Read> => exceedances::read;
    PUT "/api/v1/programmes/{programme}/exceedances/{exceedance}/explanation" Permitted<ExplainExceedances> => exceedances::explain;
    POST "/api/v1/programmes/{programme}/exceedances/{exceedance}/closing" Permitted<CloseExceedances> => exceedances::close;

    GET "/api/v1/programmes/{programme}/events" Permitted<Read> => events::listen;

    GET "/api/v1/programmes/{programme}/hours" Permitted<Read> => hours::read;
    GET "/api/v1/programmes/{programme}/progress" Permitted<Read> => progress::read;
    GET "/api/v1/programmes/{programme}/progress/picture" Permitted<Read> => progress::picture;
    POST "/api/v1/programmes/{programme}/lost-days" Permitted<NoteLostDays> => progress::note_lost_day;

    GET "/api/v1/programmes/{programme}/ledger" Permitted<Read> => ledger::head;
    GET "/api/v1/programmes/{programme}/ledger/records" Permitted<Read> => ledger::list;
    GET "/api/v1/programmes/{programme}/ledger/records/{seq}" Permitted<Read> => ledger::read;
    GET "/api/v1/programmes/{programme}/ledger/inclusion" Permitted<Read> => ledger::inclusion;
    GET "/api/v1/programmes/{programme}/ledger/consistency" Permitted<Read> => ledger::consistency;
    GET "/api/v1/programmes/{programme}/ledger/checkpoint" Permitted<Read> => checkpoints::read;
    GET "/api/v1/programmes/{programme}/ledger/keys" Permitted<Read> => checkpoints::keys;
    GET "/api/v1/programmes/{programme}/ledger/copy" Permitted<Read> => copies::read;
    POST "/api/v1/programmes/{programme}/ledger/copy" Permitted<AcknowledgeCopy> => copies::acknowledge;
    GET "/api/v1/programmes/{programme}/ledger/clock" Permitted<Read> => clock::read;
    POST "/api/v1/programmes/{programme}/ledger/clock" Permitted<CompareClock> => clock::compare;
    GET "/api/v1/programmes/{programme}/ledger/differences" Permitted<Read> => differences::read;

    GET "/api/v1/programmes/{programme}/evidence" Permitted<Read> => evidence::list;
    POST "/api/v1/programmes/{programme}/evidence" Permitted<Read> => evidence::order;
    GET "/api/v1/programmes/{programme}/evidence/{order}" Permitted<Read> => evidence::read;
    GET "/api/v1/programmes/{programme}/evidence/{order}/file" Permitted<Read> => evidence::file;

    GET "/api/v1/programmes/{programme}/envelope" Permitted<Read> => envelope::read;
    GET "/api/v1/programmes/{programme}/envelope/{pair}/picture" Permitted<Read> => envelope::picture;
    GET "/api/v1/programmes/{programme}/next-steps" Permitted<Read> => next_steps::read;
    GET "/api/v1/programmes/{programme}/points/{point}/predictions" Permitted<Read> => predictions::read;
    POST "/api/v1/programmes/{programme}/points/{point}/damping-judgements" Permitted<JudgeDamping> => predictions::judge_damping;
    GET "/api/v1/programmes/{programme}/predictions" Permitted<Read> => predictions::list;
    POST "/api/v1/programmes/{programme}/predictions/reviews" Permitted<ReviewModels> => predictions::review;
    POST "/api/v1/programmes/{programme}/changes/dry-run" Permitted<Read> => changes::dry_run;
    GET "/api/v1/programmes/{programme}/runs/{run}/results/{point}/narrowing" Permitted<Read> => changes::read_narrowing;
    POST "/api/v1/programmes/{programme}/runs/{run}/results/{point}/narrowing" Permitted<NarrowRepeats> => changes::narrow;
    GET "/api/v1/programmes/{programme}/forecast-assumptions" Permitted<Read> => forecast_assumptions::read;
    POST "/api/v1/programmes/{programme}/forecast-assumptions" Permitted<Forecast> => forecast_assumptions::assume;
    GET "/api/v1/programmes/{programme}/forecasts" Permitted<Read> => forecasts::list;
    POST "/api/v1/programmes/{programme}/forecasts" Permitted<Forecast> => forecasts::make;
    GET "/api/v1/programmes/{programme}/forecasts/{forecast}" Permitted<Read> => forecasts::read;
    GET "/api/v1/programmes/{programme}/forecasts/{forecast}/picture" Permitted<Read> => forecasts::picture;
    GET "/api/v1/programmes/{programme}/heating" Permitted<Read> => heating::read;
    GET "/api/v1/programmes/{programme}/day-plans" Permitted<Read> => day_plans::list;
    POST "/api/v1/programmes/{programme}/day-plans" Permitted<PlanDays> => day_plans::propose;
    POST "/api/v1/programmes/{programme}/day-plans/draft" Permitted<Read> => day_plans::draft;
    GET "/api/v1/programmes/{programme}/day-plans/{plan}" Permitted<Read> => day_plans::read;
    GET "/api/v1/programmes/{programme}/day-plans/{plan}/picture" Permitted<Read> => day_plans::picture;
    GET "/api/v1/programmes/{programme}/day-plans/{plan}/energy" Permitted<Read> => day_energy::read;
    GET "/api/v1/programmes/{programme}/day-plans/{plan}/energy/picture" Permitted<Read> => day_energy::picture;
    POST "/api/v1/programmes/{programme}/day-plans/{plan}/replanning" Permitted<PlanDays> => day_plans::replan;
    GET "/api/v1/programmes/{programme}/deviations" Permitted<Read> => deviations::list;
    POST "/api/v1/programmes/{programme}/deviations" Permitted<ProposeDeviation> => deviations::propose;
    GET "/api/v1/programmes/{programme}/deviations/{deviation}" Permitted<Read> => deviations::read;
    POST "/api/v1/programmes/{programme}/deviations/{deviation}/agreement" Permitted<AgreeDeviation> => deviations::agree;
    POST "/api/v1/programmes/{programme}/deviations/{deviation}/ending" Permitted<EndDeviation> => deviations::end;
}

/// What a request finds about its route.
pub(crate) struct Facts {
    path: &'static str,
    queries: Vec<(Method, Vec<String>)>,
    largest_body: usize,
}

impl Facts {
    /// The path of the route as the table has it, with names in braces.
    pub fn path(&self) -> &'static str {
        self.path
    }

    /// Refuses names in the query string that the route does not know.
    pub fn check_query(request: &HttpRequest) -> Result<(), Problem> {
        if request.query_string().is_empty() {
            return Ok(());
        }
        let known = request.app_data::<Self>().and_then(|facts| {
            facts.queries.iter().find(|(method, _)| serves(method, request.method()))
        });
        let known = known.map_or(&[][..], |(_, names)| names.as_slice());
        let given = web::Query::<Vec<(String, String)>>::from_query(request.query_string())
            .map_err(|_| {
                Problem::new(BAD_QUERY, "The query string has to be name=value pairs joined by &.")
            })?;
        match given.iter().find(|(name, _)| !known.contains(name)) {
            None => Ok(()),
            Some((name, _)) if known.is_empty() => Err(Problem::of_field(
                BAD_QUERY,
                name.clone(),
                format!(
                    "\"{name}\" is not known here: nothing can be asked for in the query string."
                ),
            )),
            Some((name, _)) => Err(Problem::of_field(
                BAD_QUERY,
                name.clone(),
                format!(
                    "\"{name}\" is not known here; what can be asked for is {}.",
                    known.join(", ")
                ),
            )),
        }
    }

    /// The greatest body that the route reads.
    pub fn largest_body(request: &HttpRequest) -> usize {
        request.app_data::<Self>().map_or(0, |facts| facts.largest_body)
    }
}

/// Where everything of a programme is.
const PROGRAMME: &str = "/api/v1/programmes/{programme}";

/// Registers all routes.
///
/// Patterns are tried one after the other, and one with a name in braces takes long to try. So what belongs to a
/// programme stands in a scope, and in it each kind of thing in another, which is found by comparing letters.
pub(crate) fn register(config: &mut ServiceConfig, houses: &Houses) {
    let usual = houses.premises().settings.largest_body;
    config.app_data(houses.clone()).app_data(Verified::default());
    let mut operations = table();
    // The first pattern that fits is taken, so fixed names come before what stands in braces.
    operations.sort_by_key(|operation| operation.path.replace('{', "~"));
    let (mut of_programmes, mut others) = (BTreeMap::<&str, Vec<&Operation>>::new(), Vec::new());
    for operation in &operations {
        match operation.path.strip_prefix(PROGRAMME) {
            Some(rest) => of_programmes.entry(kind_of_thing(rest)).or_default().push(operation),
            None => others.push(operation),
        }
    }
    let mut programmes = scope(PROGRAMME);
    for (kind, of_kind) in of_programmes {
        let at = [PROGRAMME, kind].concat();
        programmes = if kind.is_empty() {
            programmes.service(resource(&of_kind, "", usual))
        } else {
            programmes.service(by_path(&of_kind).fold(scope(kind), |things, of_one_path| {
                let rest = of_one_path[0].path.strip_prefix(at.as_str()).unwrap_or_default();
                things.service(resource(of_one_path, rest, usual))
            }))
        };
    }
    config.service(programmes);
    for of_one_path in by_path(&others) {
        config.service(resource(of_one_path, of_one_path[0].path, usual));
    }
}

/// What stands behind a programme, up to the next slash: `/points` of `/points/{point}/holds`.
fn kind_of_thing(rest: &str) -> &str {
    let end = rest.match_indices('/').nth(1).map_or(rest.len(), |(place, _)| place);
    &rest[..end]
}

fn scope(at: &str) -> Scope {
    web::scope(at).default_service(web::to(nothing_here))
}

fn by_path<'o>(operations: &'o [&'o Operation]) -> impl Iterator<Item = &'o [&'o Operation]> {
    operations.chunk_by(|one, next| one.path == next.path)
}

/// All that can be asked at one path, which is told without what the scopes around it say; `usual` is the greatest body.
fn resource(of_one_path: &[&Operation], rest: &str, usual: usize) -> Resource {
    let largest_body =
        of_one_path.iter().find_map(|operation| operation.largest_body).unwrap_or(usual);
    let queries = of_one_path
        .iter()
        .map(|operation| (operation.method.clone(), operation.query_names()))
        .collect();
    let allow: Vec<&str> = of_one_path.iter().map(|operation| operation.method.as_str()).collect();
    let allow = allow.join(", ");
    let resource = web::resource(rest)
        .app_data(Facts { path: of_one_path[0].path, queries, largest_body })
        .app_data(PayloadConfig::new(largest_body));
    of_one_path
        .iter()
        .fold(resource, |resource, operation| resource.route((operation.route)()))
        .default_service(web::to(move || {
            let problem = method_not_allowed(&allow);
            async move { Err::<actix_web::HttpResponse, Problem>(problem) }
        }))
}

fn method_not_allowed(allow: &str) -> Problem {
    let value = HeaderValue::from_str(allow).unwrap_or_else(|_| HeaderValue::from_static("GET"));
    Problem::new(METHOD_NOT_ALLOWED, format!("Only {allow} can be used at this path."))
        .with_header(ALLOW, value)
}

/// What is answered where no route fits.
pub(crate) async fn nothing_here() -> Result<actix_web::HttpResponse, Problem> {
    Err(Problem::of_status(actix_web::http::StatusCode::NOT_FOUND))
}
