//! Forecasts of the first flight and of the end: made, kept, held against earlier ones and against what came true.

use actix_web::HttpRequest;
use chrono::{DateTime, NaiveDate, Utc};
use programme::codes::{ForecastNumber, PersonHandle};
use programme::commands::{MakeForecast, TrialTerms, draw_forecast, grounds_of};
use programme::entry::Entry;
use programme::forecast::{
    DateOutcome, DateSpread, DaysTaken, Driver, PointOutlook, Score, outcomes,
};
use programme::state::{MadeForecast, State};
use serde::Serialize;

use crate::access::{Forecast as MayForecast, Permitted, Read};
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::given::{At, Given, Number, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after};
use crate::picture::{ForecastPicture, draw_forecast as draw};
use crate::problem::Problem;

/// A date of a forecast.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ForecastDate)]
pub struct DateView {
    /// By these dates it had happened in 10, 50, 80 and 95 % of the trials; null where it had not within ten years.
    pub by: [Option<NaiveDate>; 4],
    /// By how many days half of the trials have it later than in the forecast before; negative: earlier.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slip_days: Option<i64>,
    /// The true date, once it has come.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub came: Option<NaiveDate>,
    /// The forecast held against that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub score: Option<Score>,
}

impl DateView {
    fn of(spread: &DateSpread, outcome: DateOutcome) -> Self {
        let DateOutcome { slip_days, came, score } = outcome;
        Self { by: spread.by, slip_days, came, score }
    }
}

/// A forecast in the list.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ForecastRow<'a> {
    /// Its number.
    pub forecast: ForecastNumber,
    /// The record.
    pub seq: u64,
    /// Who made it.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The first flight; absent: none remained to be flown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub first_flight: Option<DateView>,
    /// The end of all points.
    pub end: DateView,
}

impl<'a> ForecastRow<'a> {
    /// The row of a forecast.
    pub fn of(state: &State, made: &'a MadeForecast) -> Self {
        let [flight, end] = outcomes(state, made);
        Self {
            forecast: made.number,
            seq: made.seq,
            by: &made.by,
            at: made.at,
            first_flight: made.told.first_flight.as_ref().map(|it| DateView::of(it, flight)),
            end: DateView::of(&made.told.end, end),
        }
    }
}

/// A forecast.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ForecastMade)]
pub struct ForecastView<'a> {
    /// Its dates, beside the forecast before and what came true.
    pub dates: ForecastRow<'a>,
    /// The record of what was assumed.
    pub assumed: u64,
    /// How many courses of the programme were drawn.
    pub trials: u32,
    /// From which seed.
    pub seed: u64,
    /// The first flight as a distribution; absent: none remained to be flown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub first_flight: Option<&'a DateSpread>,
    /// The end of all points as a distribution.
    pub end: &'a DateSpread,
    /// What takes the working days of the longest way to the end.
    pub taken: DaysTaken,
    /// What would move the dates most: the greatest gain at the end first.
    pub drivers: &'a [Driver],
    /// By point, the most critical first.
    pub points: &'a [PointOutlook],
    /// Where its picture is.
    pub picture: String,
}

fn known(state: &State, number: ForecastNumber) -> Result<&MadeForecast, Problem> {
    state.planning.forecast_of(number).ok_or_else(|| Problem::unknown("forecast", number))
}

fn shown(state: &State, number: ForecastNumber, places: &str) -> Result<Shown, Problem> {
    let made = known(state, number)?;
    Shown::tagged(&ForecastView {
        dates: ForecastRow::of(state, made),
        assumed: made.assumed,
        trials: made.told.trials,
        seed: made.told.seed,
        first_flight: made.told.first_flight.as_ref(),
        end: &made.told.end,
        taken: made.told.taken,
        drivers: &made.drivers,
        points: &made.told.points,
        picture: format!("{places}/{number}/picture"),
    })
}

fn places<P>(person: &Permitted<P>) -> String {
    format!("/api/v1/programmes/{}/forecasts", person.programme)
}

/// Forecasts, newest first, each beside the one before and what came true.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of forecasts.", body = Page<ForecastRow>)),
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
            let made = view.state.planning.forecasts.iter().rev();
            let rows = made
                .filter(|it| after.is_none_or(|after| it.number.0 < after))
                .map(|it| (it.number, ForecastRow::of(view.state, it)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One forecast: the dates by which 10, 50, 80 and 95 % of the trials had the first flight and the end, how often each point
/// lay on the longest way, and what would move the dates most.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The forecast.", body = ForecastView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    forecast: At<Number<ForecastNumber>>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let places = places(&person);
    office
        .show(&person, past.as_of.as_deref(), &request, |view| {
            shown(view.state, forecast.0.0, &places)
        })
        .await
}

/// A forecast as a picture (SVG): in how many trials the first flight and the end fell into each week.
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
    forecast: At<Number<ForecastNumber>>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, past.as_of.as_deref(), &request, |view| {
            let made = known(view.state, forecast.0.0)?;
            Ok(Shown::picture(draw(&ForecastPicture { programme: &view.state.title, made })))
        })
        .await
}

/// Make a forecast from what was assumed and what is left of the ladder, and keep it.
///
/// The same seed gives the same answer. It opens no rung, and no hold looks at it.
#[utoipa::path(
    post, path = "",
    request_body(content = TrialTerms, example = json!({ "trials": 2000, "seed": 1 })),
    responses((status = 201, description = "Made.", body = Written<ForecastView>)),
)]
pub(crate) async fn make(
    person: Permitted<MayForecast>,
    given: Given<TrialTerms>,
    office: Office,
) -> Answer {
    if let Some(before) = office.replayed(&person, &given.asked).await? {
        return Ok(before);
    }
    let grounds = office.look(&person, None, |view| Ok(grounds_of(view.state)?)).await?;
    let terms = given.body;
    let drawn =
        office.aside_while_awaited(move |stop| Ok(draw_forecast(grounds, terms, stop)?)).await?;
    let places = places(&person);
    let given = given.map(|_| MakeForecast { drawn });
    office
        .act(&person, given, move |view: View<'_>, _: &[Entry]| {
            let made = u32::try_from(view.state.planning.forecasts.len()).unwrap_or(u32::MAX);
            let shown = shown(view.state, ForecastNumber(made), &places)?;
            Ok(Outcome::created(format!("{places}/{made}"), shown))
        })
        .await
}
