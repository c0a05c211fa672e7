//! When it may fly: the last forecast, what would move it, how it slipped, and making another.

mod assuming;

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use chrono::NaiveDate;
use maud::{Markup, PreEscaped, html};
use programme::forecast::{DateOutcome, DateSpread, SHARES, outcomes, remaining};
use programme::nouns::Phase;
use programme::people::Act;
use programme::progress::working_days_to_acceptance;
use programme::state::{AssumedForecast, MadeForecast, State};

use assuming::Assuming;
pub(crate) use assuming::assume;

use crate::access::{Forecast, Permission, Read};
use crate::api;
use crate::desk::Answer;
use crate::given::Query;
use crate::office::Office;
use crate::pages::around::Section;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Form, Trouble, settled};
use crate::pages::point::Recorded;
use crate::pages::words::moment;
use crate::picture::{ForecastPicture, draw_forecast};

/// So many of the most critical points are shown.
const CRITICAL: usize = 12;
/// So many earlier forecasts are shown.
const EARLIER: usize = 20;

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct ForecastPage {
    pub place: String,
    pub token: String,
    pub may_forecast: bool,
    /// As the form for new assumptions proposes it.
    pub today: String,
    /// Phases with points that are still to be shown.
    pub remaining: Vec<Phase>,
    /// Working days from a run to the acceptance of its result, by phase.
    pub history: BTreeMap<Phase, Vec<f64>>,
    pub assumed: Option<AssumedForecast>,
    /// Newest first, with what became of each.
    pub forecasts: Vec<(MadeForecast, [DateOutcome; 2])>,
    /// The picture of the newest, as SVG.
    pub picture: Option<String>,
    pub trouble: Option<Trouble>,
}

fn told(date: Option<NaiveDate>) -> String {
    date.map_or_else(|| "not within ten years".to_owned(), |date| date.to_string())
}

fn slip(outcome: &DateOutcome) -> String {
    match outcome.slip_days {
        None => "nothing to compare with".to_owned(),
        Some(0) => "unchanged".to_owned(),
        Some(days) if days > 0 => format!("{days} days later"),
        Some(days) => format!("{} days earlier", -days),
    }
}

fn came(outcome: &DateOutcome) -> String {
    match (outcome.came, outcome.score) {
        (None, _) => "not yet".to_owned(),
        (Some(came), None) => came.to_string(),
        (Some(came), Some(score)) => format!(
            "{came}, {} days after the 50 % date; mean quantile loss {:.1} days",
            score.late_by_days, score.loss_days
        ),
    }
}

impl ForecastPage {
    fn body(&self) -> Markup {
        html! {
            h1 { "Forecast" }
            @match self.forecasts.first() {
                None => { p.lead { "No forecast was made yet." } }
                Some((made, outcomes)) => { (self.newest(made, outcomes)) }
            }
            (self.making())
            (self.assumptions())
            (self.assuming())
            @if self.forecasts.len() > 1 { section { h2 { "Earlier forecasts" } (self.earlier()) } }
        }
    }

    fn newest(&self, made: &MadeForecast, [flight, end]: &[DateOutcome; 2]) -> Markup {
        html! {
            p.lead {
                @match &made.told.first_flight {
                    Some(date) => { "First flight by " strong { (told(date.by[1])) } " in half of the trials, by " (told(date.by[2])) " in 80 %." }
                    None => { "No first flight remains to be flown. End by " strong { (told(made.told.end.by[1])) } " in half of the trials." }
                }
            }
            p { "Forecast " (made.number) ", made " (moment(made.at)) ", if the assumptions hold. No hold looks at it: being late never softens one." }
            (dates(made, flight, end))
            @if let Some(picture) = &self.picture {
                div.picture.chart tabindex="0" role="region" aria-label="First flight and end as distributions" { (PreEscaped(picture)) }
            }
            section { h2 { "What would move the date most" } (drivers(made)) }
            section { h2 { "Points on the longest way" } (self.critical(made)) }
            section { h2 { "What takes the time" } (taken(made)) }
        }
    }

    fn critical(&self, made: &MadeForecast) -> Markup {
        html! {
            table.phases {
                caption { "In how many of the trials each point lay on the longest way to the end" }
                thead { tr { th scope="col" { "Point" } th scope="col" { "Critical" } th scope="col" { "Half by" } } }
                tbody {
                    @for point in made.told.points.iter().take(CRITICAL) {
                        tr {
                            th scope="row" { a href={ (self.place) "/points/" (point.code) } { (point.code) } }
                            td { (format!("{:.0} %", point.critical * 100.0)) }
                            td { (told(point.half_by)) }
                        }
                    }
                }
            }
        }
    }

    fn making(&self) -> Markup {
        let to = format!("{}/forecast", self.place);
        let draft = Draft::new("forecast", &to, &self.token, self.trouble.as_ref());
        html! {
            section {
                h2 { "Forecast anew" }
                @if !self.may_forecast {
                    p { "Forecasts are made by: " (Act::Forecast.allowed_in_words()) "." }
                } @else if self.assumed.is_none() {
                    p { "First say what a forecast rests on: " a href="#assume" { "durations, working days, weather, deliveries, repeats" } "." }
                } @else {
                    (draft.form(html! {
                        (draft.figure_with("trials:count", "Courses of the programme that are drawn", "Up to 20 000.", "trials", Some(2000.0)))
                        (draft.figure_with("seed:count", "Seed", "The same seed gives the same answer.", "", Some(1.0)))
                        (draft.send("Make a forecast"))
                    }))
                }
            }
        }
    }

    fn assumptions(&self) -> Markup {
        let Some(assumed) = &self.assumed else { return html! {} };
        let given = &assumed.assumptions;
        html! {
            section {
                h2 { "What it rests on" }
                p { "Assumed by " (assumed.by) ", " (moment(assumed.at)) ", record no. " (assumed.seq) ", from " (given.starts) " on." }
                dl.pairs {
                    dt { "Working days" } dd { (given.works_on.len()) " days of the week" }
                    dt { "Runs a day" } dd { (given.runs_a_day) " at most" }
                    @if let Some(energy_kwh) = given.energy_a_day_kwh { dt { "Energy a day" } dd { (energy_kwh) " kWh at most" } }
                    @for delivery in &given.deliveries {
                        dt { (delivery.what) } dd { (delivery.best) " at best, " (delivery.likely) " likely, " (delivery.worst) " at worst" }
                    }
                }
            }
        }
    }

    fn assuming(&self) -> Markup {
        if !self.may_forecast {
            return html! {};
        }
        let to = format!("{}/forecast/assumptions", self.place);
        let draft = Draft::new("assume", &to, &self.token, self.trouble.as_ref());
        let form = Assuming {
            assumed: self.assumed.as_ref().map(|it| &it.assumptions),
            today: self.today.clone(),
            remaining: self.remaining.clone(),
            history: &self.history,
        };
        // Whoever has typed into it sees it open again.
        let is_open = self.assumed.is_none() || draft.was_sent();
        html! {
            section {
                h2 #assume { "Assume anew" }
                p { "Everything is an assumption of the test lead; no hold looks at it." }
                details open[is_open] {
                    summary { "Durations, working days, weather, deliveries, repeats" }
                    (form.form(&draft))
                }
            }
        }
    }

    fn earlier(&self) -> Markup {
        html! {
            div.wide tabindex="0" role="region" aria-label="Earlier forecasts" {
                table {
                    caption { "The dates by which half of the trials had it, beside the forecast before and what came" }
                    thead { tr { th scope="col" { "Forecast" } th scope="col" { "First flight" } th scope="col" { "Since the one before" } th scope="col" { "Came" } th scope="col" { "End" } } }
                    tbody {
                        @for (made, [flight, _]) in self.forecasts.iter().take(EARLIER) {
                            tr {
                                th scope="row" { (made.number) ", " (moment(made.at)) }
                                td { @if let Some(date) = &made.told.first_flight { (told(date.by[1])) } @else { "flown" } }
                                td { (slip(flight)) }
                                td { (came(flight)) }
                                td { (told(made.told.end.by[1])) }
                            }
                        }
                    }
                }
            }
        }
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, long};
        use programme::entry::Entry;
        let mut state = State::default();
        for text in [
            include_str!("../../../../programme/records/forecast-assumed-v1-full.json"),
            include_str!("../../../../programme/records/forecast-made-v1-full.json"),
        ] {
            state.apply(&Entry::from_json(text.trim()).unwrap());
        }
        let assumed = state.planning.assumed.take();
        let made = state.planning.forecasts.remove(0);
        let page = |many: usize| {
            let mut made = made.clone();
            let (point, driver) = (made.told.points.remove(0), made.drivers.remove(0));
            for code in codes(many) {
                let mut point = point.clone();
                point.code = code;
                made.told.points.push(point);
                let mut driver = driver.clone();
                driver.what = long("the weather does on every day", many);
                made.drivers.push(driver);
            }
            let programme = long("Electric glider tug", many);
            let drawn = draw_forecast(&ForecastPicture { programme: &programme, made: &made });
            let outcome = DateOutcome { slip_days: Some(-3), ..DateOutcome::default() };
            Self {
                place: "/programmes/tug".to_owned(),
                token: "0".repeat(64),
                may_forecast: true,
                today: "2031-06-03".to_owned(),
                remaining: vec![Phase::Taxi],
                history: [(Phase::Taxi, vec![1.0; many])].into(),
                assumed: assumed.clone().filter(|_| many > 0),
                picture: (many > 0).then_some(drawn),
                forecasts: vec![(made, [outcome; 2]); many],
                trouble: None,
            }
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

fn dates(made: &MadeForecast, flight: &DateOutcome, end: &DateOutcome) -> Markup {
    let row = |name: &str, spread: &DateSpread, outcome: &DateOutcome| {
        html! {
            tr {
                th scope="row" { (name) }
                @for date in spread.by { td { (told(date)) } }
                td { (slip(outcome)) }
                td { (came(outcome)) }
            }
        }
    };
    html! {
        div.wide tabindex="0" role="region" aria-label="Dates of the forecast" {
            table {
                caption { "Dates by which so many of the trials had it" }
                thead {
                    tr {
                        th scope="col" { span.for-ears { "What" } }
                        @for share in SHARES { th scope="col" { (format!("{:.0} %", share * 100.0)) } }
                        th scope="col" { "Since the one before" }
                        th scope="col" { "Came" }
                    }
                }
                tbody {
                    @if let Some(date) = &made.told.first_flight { (row("First flight", date, flight)) }
                    (row("End", &made.told.end, end))
                }
            }
        }
    }
}

fn drivers(made: &MadeForecast) -> Markup {
    let days =
        |days: Option<i64>| days.map_or_else(|| "–".to_owned(), |days| format!("{days} days"));
    html! {
        div.wide tabindex="0" role="region" aria-label="What would move the date most" {
            table {
                caption { "By how much half of the trials come earlier with one assumption kinder. Gains do not add up." }
                thead { tr { th scope="col" { "If" } th scope="col" { "First flight earlier by" } th scope="col" { "End earlier by" } } }
                tbody {
                    @for driver in &made.drivers {
                        tr { th scope="row" { (driver.what) } td { (days(driver.first_flight_days)) } td { (days(driver.end_days)) } }
                    }
                }
            }
        }
    }
}

fn taken(made: &MadeForecast) -> Markup {
    let taken = made.told.taken;
    html! {
        p { "Working days of the longest way to the end, means of the trials:" }
        dl.pairs {
            @for (what, days) in [
                ("First attempts, up to acceptance", taken.work), ("Repeats", taken.repeats), ("Waiting for weather", taken.weather),
                ("Waiting for the aircraft or its energy", taken.aircraft), ("Waiting for deliveries", taken.deliveries),
            ] {
                dt { (what) } dd { (format!("{days:.1} days")) }
            }
        }
    }
}

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member
        .look(office, |view| {
            let state = view.state;
            let newest = state.planning.forecasts.last();
            let forecasts = state.planning.forecasts.iter().rev().take(EARLIER);
            Ok(ForecastPage {
                place: member.place(""),
                token: member.visitor.form_token.clone(),
                may_forecast: member.may(Act::Forecast),
                today: view.now.date_naive().to_string(),
                remaining: phases_left(state),
                history: working_days_to_acceptance(state),
                assumed: state.planning.assumed.clone(),
                picture: newest
                    .map(|made| draw_forecast(&ForecastPicture { programme: &state.title, made })),
                forecasts: forecasts.map(|made| (made.clone(), outcomes(state, made))).collect(),
                trouble,
            })
        })
        .await?;
    Ok(member.around("Forecast", Section::Forecast).recorded(recorded).reply(status, page.body()))
}

/// Phases with points that are still to be shown, in order.
fn phases_left(state: &State) -> Vec<Phase> {
    let mut phases: Vec<Phase> = remaining(state).steps.iter().map(|step| step.phase).collect();
    phases.sort_unstable();
    phases.dedup();
    phases
}

/// Makes a forecast.
pub(crate) async fn make(member: Member<Forecast>, form: Form, office: Office) -> Answer {
    let acted = async {
        api::forecasts::make(member.permitted.clone(), form.given()?, office.clone()).await
    }
    .await;
    settled(acted, form, &member.place("/forecast"), async |trouble| {
        page(&office, &member, None, Some(trouble)).await
    })
    .await
}
