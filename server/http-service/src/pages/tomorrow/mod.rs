//! The plan of the next day: what is done when, with charge and temperatures, and planning it anew.

mod anew;
mod energy;
mod shown;

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use programme::codes::DayPlanNumber;
use programme::nouns::Role;
use programme::people::Act;
use serde::Deserialize;

pub(crate) use anew::plan_anew;
#[cfg(test)]
pub(crate) use energy::EnergyPage;
pub(crate) use energy::show_energy;
pub(crate) use shown::TomorrowPage;

use super::around::Section;
use super::door::Member;
use super::form::{Form, Trouble, settled};
use super::point::Recorded;
use super::words::person;
use crate::access::{Permission, PlanDays, Read};
use crate::api;
use crate::api::day_plans::NewDayPlan;
use crate::api::heating::HeatingKnown;
use crate::desk::Answer;
use crate::given::{At, Given, Number, Query};
use crate::office::Office;
use crate::picture::{DayPicture, draw_day};
use crate::problem::{NOT_FOUND, Problem};

/// So many other plans are linked to.
const OTHERS: usize = 12;

/// What the lead gives to plan another day with the field, the chargers, the parts and the crew of the last plan.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct AnotherDay {
    from: DateTime<Utc>,
    to: DateTime<Utc>,
    state: f64,
    weather_csv: String,
}

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, None, recorded.recorded, None).await
}

/// The page of one plan.
pub(crate) async fn show_one(
    member: Member<Read>,
    plan: At<Number<DayPlanNumber>>,
    office: Office,
) -> Answer {
    page(&office, &member, Some(plan.0.0), None, None).await
}

/// For which day a plan is: most often tomorrow, and a day of its own otherwise.
fn heading(begins: Option<DateTime<Utc>>, now: DateTime<Utc>) -> String {
    let day = begins.map(|begins| begins.date_naive());
    match day {
        Some(day) if day == now.date_naive() => "Today's plan".to_owned(),
        Some(day) if Some(day) != now.date_naive().succ_opt() => {
            format!("Plan for {}", day.format("%A %-d %B %Y"))
        }
        Some(_) | None => "Tomorrow".to_owned(),
    }
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    plan: Option<DayPlanNumber>,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member
        .look(office, |view| {
            let state = view.state;
            let proposed = match plan {
                None => state.planning.days.last(),
                Some(number) => {
                    let known = state.planning.day(number);
                    Some(known.ok_or_else(|| Problem::unknown("plan of a day", number))?)
                }
            };
            let others = state.planning.days.iter().rev().take(OTHERS);
            let others = others.filter(|it| Some(it.number) != proposed.map(|it| it.number));
            let names = proposed.iter().flat_map(|it| &it.terms.crew);
            let names = names.map(|it| (it.person.clone(), person(state, &it.person)));
            Ok(TomorrowPage {
                heading: heading(proposed.map(|it| it.terms.from), view.now),
                place: member.place(""),
                token: member.visitor.form_token.clone(),
                may_plan: member.may(Act::PlanDays),
                picture: proposed
                    .map(|proposed| draw_day(&DayPicture { programme: &state.title, proposed })),
                others: others.map(|it| (it.number, it.terms.from, it.replaces)).collect(),
                names: names.collect(),
                last: state.planning.last_whole_day().map(|it| it.terms.clone()),
                known: HeatingKnown::all(state),
                people: state
                    .people
                    .values()
                    .filter(|it| it.roles.iter().any(|role| *role != Role::Viewer))
                    .map(|it| (it.handle.clone(), it.name.clone()))
                    .collect(),
                window: anew::next_morning(view.now),
                proposed: proposed.cloned(),
                trouble,
            })
        })
        .await?;
    Ok(member
        .around(page.heading.clone(), Section::Tomorrow)
        .recorded(recorded)
        .reply(status, page.body()))
}

/// Proposes a plan for another day, like the last one.
pub(crate) async fn plan(member: Member<PlanDays>, form: Form, office: Office) -> Answer {
    let acted = async {
        let Given { body, asked }: Given<AnotherDay> = form.given()?;
        let terms = member
            .look(&office, |view| {
                let last = view.state.planning.last_whole_day().ok_or_else(|| {
                    Problem::new(
                        NOT_FOUND,
                        "There is no plan yet whose field and chargers could be taken. Plan a day from nothing first.",
                    )
                })?;
                let mut terms = last.terms.clone();
                let (from, to) = (body.from, body.to);
                for member in &mut terms.crew {
                    (member.from, member.to) = (from, to);
                }
                (terms.from, terms.to) = (from, to);
                terms.pack.state = body.state;
                terms.without.clear();
                Ok(terms)
            })
            .await?;
        let given = Given { body: NewDayPlan { terms, weather_csv: Some(body.weather_csv) }, asked };
        api::day_plans::propose(member.permitted.clone(), given, office.clone()).await
    }
    .await;
    settled(acted, form, &member.place("/tomorrow"), async |trouble| {
        page(&office, &member, None, None, Some(trouble)).await
    })
    .await
}

/// Proposes a plan for the rest of the day, from where it stands.
pub(crate) async fn replan(
    member: Member<PlanDays>,
    form: Form,
    plan: At<Number<DayPlanNumber>>,
    office: Office,
) -> Answer {
    let number = plan.0.0;
    let acted = async {
        api::day_plans::replan(member.permitted.clone(), plan, form.given()?, office.clone()).await
    }
    .await;
    settled(acted, form, &member.place("/tomorrow"), async |trouble| {
        page(&office, &member, Some(number), None, Some(trouble)).await
    })
    .await
}
