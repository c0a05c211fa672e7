//! An interval: the values that it proposes for its point, and what the flight-test science makes of it.

mod shown;
mod values;

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use programme::codes::{ChannelCode, IntervalNumber};
use serde::Deserialize;
use serde_json::Value;

pub(crate) use shown::IntervalPage;
pub(crate) use values::{ValueLine, values_table};

use super::around::Section;
use super::door::Member;
use super::form::{Form, Trouble, recorded};
use super::told::Told;
use crate::access::{MakeReductions, Permission, Read};
use crate::api::{intervals, reductions};
use crate::desk::Answer;
use crate::given::{At, Number, Query};
use crate::office::Office;
use crate::problem::{BAD_QUERY, Problem};

/// What the address may say: the record that was just made, and the method that is asked about.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Asked {
    recorded: Option<u64>,
    method: Option<String>,
}

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    interval: At<Number<IntervalNumber>>,
    asked: Query<Asked>,
    office: Office,
) -> Answer {
    page(&office, &member, interval.0.0, asked.0, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    number: IntervalNumber,
    asked: Asked,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    member
        .look(office, |view| {
            let known = view.state.recordings.interval(number);
            known.map(|_| ()).ok_or_else(|| Problem::unknown("interval", number))
        })
        .await?;
    let proposed =
        intervals::proposed(office, &member.permitted, &[number], (BAD_QUERY, "interval")).await;
    let proposed = proposed
        .map(|(asked, values, digest)| intervals::view_of(&asked, &[number], values, digest))
        .map_err(|problem| Told::of(&problem));
    let page = member
        .look(office, |view| {
            IntervalPage::of(member, view, number, (proposed, asked.method.as_deref()), trouble)
        })
        .await?;
    let title = format!("Interval {number} for {}", page.point);
    let around = member.around(title, Section::Recordings).recorded(asked.recorded);
    Ok(around.reply(status, page.body()))
}

/// Makes a reduction of the interval.
pub(crate) async fn reduce(
    member: Member<MakeReductions>,
    form: Form,
    interval: At<Number<IntervalNumber>>,
    office: Office,
) -> Answer {
    let number = interval.0.0;
    let person = member.permitted.clone();
    let acted = async {
        let typed: Typed = form.given()?.body;
        let asked = reductions::NewReduction {
            interval: number,
            method: typed.method,
            channels: typed.channels.unwrap_or_default(),
            given: typed.given,
            fills: typed.fills.unwrap_or_default(),
        };
        let given = form.given::<Value>()?.map(|_| asked);
        reductions::make(person, given, office.clone()).await
    }
    .await;
    match recorded(acted, &member.place(&format!("/intervals/{number}"))).await {
        Ok(reply) => Ok(reply),
        Err(problem) => {
            let method = Some(form.text("method").to_owned());
            let asked = Asked { recorded: None, method };
            page(&office, &member, number, asked, Some(form.trouble(problem))).await
        }
    }
}

/// What the form of a reduction has.
#[derive(Debug, Deserialize)]
struct Typed {
    method: String,
    channels: Option<BTreeMap<String, ChannelCode>>,
    #[serde(default)]
    given: Value,
    fills: Option<BTreeMap<ChannelCode, String>>,
}
