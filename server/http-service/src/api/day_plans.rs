//! Plans of days: proposals, with charge and temperatures along the day, and the rest of a day planned anew.

use actix_web::HttpRequest;
use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use programme::codes::{DayPlanNumber, ForecastNumber, PersonHandle, PointCode};
use programme::commands::{ProposeDayPlan, critical_of};
use programme::day_plan::{AgainTerms, DayPlan, DayProblem, DayTerms, rest_of_day, weather_of_csv};
use programme::entry::Entry;
use programme::refusal::Refusal;
use programme::state::{ProposedDay, State};
use serde::{Deserialize, Serialize};

use crate::access::{Permitted, PlanDays, Read};
use crate::desk::{Answer, Outcome, Shown, View, Written, answer};
use crate::given::{At, Given, Number, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after};
use crate::picture::{DayPicture, draw_day};
use crate::problem::Problem;

/// A day that is to be planned.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewDayPlan {
    /// All that the plan rests on, besides the ladder.
    pub terms: DayTerms,
    /// The weather by the hour as CSV, in place of that of the terms: a line of column names (from, cloud, and any of wind_kt,
    /// wind_from_deg, gust_kt, crosswind_kt, visibility_km, cloud_base_ft, temperature_c, qnh_hpa, precipitation), then a row
    /// for each hour.
    #[serde(default)]
    #[schema(max_length = 100_000)]
    pub weather_csv: Option<String>,
}

impl NewDayPlan {
    /// The terms with the weather of the CSV, where there is one.
    pub fn whole(self) -> Result<DayTerms, Problem> {
        let Self { mut terms, weather_csv } = self;
        if let Some(csv) = weather_csv {
            terms.weather = weather_of_csv(&csv).map_err(|faults| {
                let faults = faults.into_iter().map(|mut fault| {
                    fault.field = format!("weather_csv, {}", fault.field);
                    fault
                });
                Problem::from(Refusal::Invalid { faults: faults.collect() })
            })?;
        }
        Ok(terms)
    }
}

/// A plan of a day in the list.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct DayPlanRow<'a> {
    /// Its number.
    pub plan: DayPlanNumber,
    /// The record.
    pub seq: u64,
    /// Who proposed it.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The day begins.
    pub from: DateTime<Utc>,
    /// It ends.
    pub to: DateTime<Utc>,
    /// The points of its runs in order.
    pub points: Vec<&'a PointCode>,
    /// What they are worth.
    pub value: f64,
    /// The plan of the same day whose place it took.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub replaces: Option<DayPlanNumber>,
    /// The plan that took its place.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub replaced_by: Option<DayPlanNumber>,
    /// The forecast by which points count as critical; absent: there was none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub forecast: Option<ForecastNumber>,
}

impl<'a> DayPlanRow<'a> {
    /// The row of a plan.
    pub fn of(state: &State, proposed: &'a ProposedDay) -> Self {
        Self {
            plan: proposed.number,
            seq: proposed.seq,
            by: &proposed.by,
            at: proposed.at,
            from: proposed.terms.from,
            to: proposed.terms.to,
            points: proposed.day.runs.iter().map(|run| &run.point).collect(),
            value: proposed.day.value,
            replaces: proposed.replaces,
            replaced_by: state.planning.replaced_by(proposed.number),
            forecast: proposed.forecast,
        }
    }
}

/// A plan of a day: a proposal, which releases nothing.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ProposedDayPlan)]
pub struct DayPlanView<'a> {
    /// What the list says of it.
    pub row: DayPlanRow<'a>,
    /// What was given for the day.
    pub terms: &'a DayTerms,
    /// The plan.
    pub day: &'a DayPlan,
    /// Where its picture is.
    pub picture: String,
}

pub(crate) fn known(state: &State, number: DayPlanNumber) -> Result<&ProposedDay, Problem> {
    state.planning.day(number).ok_or_else(|| Problem::unknown("plan of a day", number))
}

fn shown(state: &State, number: DayPlanNumber, places: &str) -> Result<Shown, Problem> {
    let proposed = known(state, number)?;
    Shown::tagged(&DayPlanView {
        row: DayPlanRow::of(state, proposed),
        terms: &proposed.terms,
        day: &proposed.day,
        picture: format!("{places}/{number}/picture"),
    })
}

fn places<P>(person: &Permitted<P>) -> String {
    format!("/api/v1/programmes/{}/day-plans", person.programme)
}

fn problem_of(state: &State, terms: &DayTerms) -> Result<DayProblem, Problem> {
    let problem = DayProblem::of(state, terms, &critical_of(state));
    Ok(problem.map_err(Refusal::from)?)
}

async fn planned(office: &Office, problem: DayProblem) -> Result<DayPlan, Problem> {
    office.aside_while_awaited(move |stop| Ok(problem.plan(stop).map_err(Refusal::from)?)).await
}

/// Plans of days, newest first.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of plans.", body = Page<DayPlanRow>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u32> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let proposed = view.state.planning.days.iter().rev();
            let rows = proposed
                .filter(|it| after.is_none_or(|after| it.number.0 < after))
                .map(|it| (it.number, DayPlanRow::of(view.state, it)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One plan of a day: its runs in order with times, charge and temperatures, what is charged when, who has to do what
/// before, and what to do if a point is not met.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The plan.", body = DayPlanView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    plan: At<Number<DayPlanNumber>>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let places = places(&person);
    office
        .show(&person, past.as_of.as_deref(), &request, |view| shown(view.state, plan.0.0, &places))
        .await
}

/// A plan of a day as a picture (SVG): charge state and temperatures over the day, with runs and charges.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((
        status = 200,
        description = "The picture.",
        body = String,
        content_type = "image/svg+xml",
        example = "<svg xmlns=\"http://www.w3.org/2000/svg\"></svg>",
    )),
)]
pub(crate) async fn picture(
    person: Permitted<Read>,
    plan: At<Number<DayPlanNumber>>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, past.as_of.as_deref(), &request, |view| {
            let proposed = known(view.state, plan.0.0)?;
            Ok(Shown::picture(draw_day(&DayPicture { programme: &view.state.title, proposed })))
        })
        .await
}

/// Plan a day, and record nothing: what could be done, and why the rest could not.
#[utoipa::path(
    post, path = "",
    request_body(content = NewDayPlan, example = json!(crate::api::day_plans::example())),
    responses((status = 200, description = "The plan.", body = DayPlan)),
)]
pub(crate) async fn draft(
    person: Permitted<Read>,
    given: Given<NewDayPlan>,
    office: Office,
) -> Answer {
    let Given { body, asked } = given;
    let replayed = office.was_computed(&person.person, &asked).await?;
    let terms = body.whole()?;
    let problem = office.look(&person, None, |view| problem_of(view.state, &terms)).await?;
    let plan = planned(&office, problem).await?;
    office.computed(&person.person, asked, replayed, answer(StatusCode::OK, &plan)?).await
}

/// Plan a day and propose that plan to the team.
///
/// It is a proposal: the safety officer's releases, the checks and the acknowledgements that it needs are as they are
/// without it. A point that only time, luck or a decision of others would open is never in it.
#[utoipa::path(
    post, path = "",
    request_body(content = NewDayPlan, example = json!(crate::api::day_plans::example())),
    responses((status = 201, description = "Proposed.", body = Written<DayPlanView>)),
)]
pub(crate) async fn propose(
    person: Permitted<PlanDays>,
    given: Given<NewDayPlan>,
    office: Office,
) -> Answer {
    if let Some(before) = office.replayed(&person, &given.asked).await? {
        return Ok(before);
    }
    let Given { body, asked } = given;
    let terms = body.whole()?;
    proposed(&person, Given { body: terms, asked }, None, office).await
}

/// Plan the rest of a day anew, from where it stands, and propose that in the plan's place.
///
/// The window, weather, crew and chargers are those of the plan; runs that were made since count against the day's most.
#[utoipa::path(
    post, path = "",
    request_body(
        content = AgainTerms,
        example = json!({ "from": "2026-06-21T11:30:00Z", "state": 0.54, "without": ["TX-03"] }),
    ),
    responses((status = 201, description = "Proposed.", body = Written<DayPlanView>)),
)]
pub(crate) async fn replan(
    person: Permitted<PlanDays>,
    plan: At<Number<DayPlanNumber>>,
    given: Given<AgainTerms>,
    office: Office,
) -> Answer {
    if let Some(before) = office.replayed(&person, &given.asked).await? {
        return Ok(before);
    }
    let number = plan.0.0;
    let Given { body, asked } = given;
    let terms = office
        .look(&person, None, |view| {
            let before = known(view.state, number)?;
            let rest = rest_of_day(view.state, before, &body);
            Ok(rest.map_err(|faults| Refusal::Invalid { faults })?)
        })
        .await?;
    proposed(&person, Given { body: terms, asked }, Some(number), office).await
}

async fn proposed(
    person: &Permitted<PlanDays>,
    given: Given<DayTerms>,
    replaces: Option<DayPlanNumber>,
    office: Office,
) -> Answer {
    let problem = office.look(person, None, |view| problem_of(view.state, &given.body)).await?;
    let day = planned(&office, problem.clone()).await?;
    let places = places(person);
    let given = given.map(|terms| ProposeDayPlan { replaces, terms, problem, day });
    office
        .act(person, given, move |view: View<'_>, _: &[Entry]| {
            let made = u32::try_from(view.state.planning.days.len()).unwrap_or(u32::MAX);
            let shown = shown(view.state, DayPlanNumber(made), &places)?;
            Ok(Outcome::created(format!("{places}/{made}"), shown))
        })
        .await
}

/// A day in June, as the description shows it.
pub(crate) fn example() -> serde_json::Value {
    let weather = (7..16).map(|hour| {
        serde_json::json!({
            "from": format!("2026-06-21T{hour:02}:00:00Z"),
            "cloud": 0.3,
            "weather": {
                "wind": { "value": 6, "unit": "kt" },
                "crosswind": { "value": 3, "unit": "kt" },
                "gust": { "value": 9, "unit": "kt" },
                "visibility": { "value": 20, "unit": "km" },
                "cloud_base": { "value": 4000, "unit": "ft" },
                "temperature": { "value": 18, "unit": "degC" },
                "precipitation": false,
            },
        })
    });
    let member = |person: &str| {
        serde_json::json!({
            "person": person, "from": "2026-06-21T07:00:00Z", "to": "2026-06-21T16:00:00Z",
            "most_on_board_min": 180,
        })
    };
    let crew = ["marit", "jonas", "tomas", "ruth", "pelle", "sofia"].map(member);
    serde_json::json!({ "terms": {
        "from": "2026-06-21T07:00:00Z",
        "to": "2026-06-21T16:00:00Z",
        "field": { "latitude_deg": 52.1, "longitude_deg": 7.9, "elevation_m": 60 },
        "weather": weather.collect::<Vec<_>>(),
        "pack": { "usable_kwh": 36, "state": 0.9, "least_state": 0.3, "taper": [[0, 20], [0.8, 20], [1, 4]] },
        "charging": {
            "charger_kw": 20, "efficiency": 0.92, "mains_kw": 11,
            "panels": { "tilt_deg": 20, "azimuth_deg": 180, "peak_kw": 6 },
        },
        "parts": [{ "name": "Winding", "time_constant_min": 14, "rise_c_per_kw": 1.1, "begins_c": 18, "most_c": 110 }],
        "set_up_min": { "ground-run": 20, "taxi": 20 },
        "turn_round_min": 15,
        "acceptance_min": 30,
        "crew": crew,
        "most_runs": 6,
        "priorities": {},
    }})
}
