//! Plots of a recording's channels, as pictures that the server makes, with their limits and what went beyond.

mod picture;
mod shown;

use actix_web::http::StatusCode;
use chrono::{DateTime, SecondsFormat, TimeDelta, Utc};
use programme::codes::ExceedanceNumber;
use serde::Deserialize;

pub(crate) use shown::PlotPage;

use super::around::Section;
use super::door::Member;
use crate::access::Read;
use crate::api::recordings::{self as api, Part, PlotAsked};
use crate::desk::Answer;
use crate::given::{At, Query, Sha256};
use crate::office::Office;
use crate::problem::{BAD_QUERY, Problem};

/// Channels of one page at most; each has a picture of its own.
const MOST_CHANNELS: usize = 4;
/// Points of a channel: twice as many as the picture is wide.
const POINTS: usize = 1_400;
/// Around an exceedance so much more is shown on either side, at least, in seconds.
const AROUND_S: f64 = 15.0;

/// Which channels, from when to when.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Asked {
    /// Codes parted by commas.
    channel: Option<String>,
    /// One more, from the form that adds it.
    also: Option<String>,
    from: Option<String>,
    to: Option<String>,
    /// The exceedance around which it is shown.
    around: Option<u32>,
}

/// A moment as the address has it.
pub(crate) fn instant(at: DateTime<Utc>) -> String {
    at.to_rfc3339_opts(SecondsFormat::Millis, true)
}

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    recording: At<Sha256>,
    asked: Query<Asked>,
    office: Office,
) -> Answer {
    let recording = recording.0.0;
    let Asked { channel, also, from, to, around } = asked.0;
    let given = channel.iter().chain(&also).flat_map(|it| it.split(','));
    let mut named: Vec<String> = Vec::new();
    for code in given.map(str::trim).filter(|it| !it.is_empty()) {
        if !named.iter().any(|known| known == code) {
            named.push(code.to_owned());
        }
    }
    if named.len() > MOST_CHANNELS {
        return Err(Problem::of_field(
            BAD_QUERY,
            "channel",
            format!("At most {MOST_CHANNELS} channels are shown on one page."),
        ));
    }
    let blank = |text: &Option<String>| text.clone().filter(|it| !it.trim().is_empty());
    let mut part = Part::asked(blank(&from).as_deref(), blank(&to).as_deref())?;
    let (all, usual, exceedance) = member
        .look(&office, |view| {
            let state = view.state;
            let seen = api::recording_view(state, &recording)?;
            let all: Vec<(String, String)> = seen
                .channels
                .iter()
                .map(|it| (it.channel.to_string(), super::words::channel_name(state, it.channel)))
                .collect();
            let limited = seen.channels.iter().find(|it| {
                state.limits.by_code.values().any(|limit| limit.limit.reads(it.channel))
            });
            let usual = limited.or_else(|| seen.channels.first()).map(|it| it.channel.to_string());
            let of_it = around.and_then(|around| {
                state.exceedances.iter().find(|it| it.number == ExceedanceNumber(around))
            });
            let time = of_it.and_then(|it| Some((it.found.as_ref()?.started_at, it.duration_s)));
            Ok((all, usual, time))
        })
        .await?;
    if named.is_empty() {
        named.extend(usual);
    }
    if let Some((began, lasted_s)) = exceedance {
        let lasted_s = lasted_s.unwrap_or(0.0).clamp(0.0, 1e7);
        let around = TimeDelta::milliseconds((lasted_s.max(AROUND_S) * 1000.0) as i64);
        let lasted = TimeDelta::milliseconds((lasted_s * 1000.0) as i64);
        part.from = part.from.or(Some(began - around));
        part.to = part.to.or(Some(began + lasted + around));
    }
    let wanted = PlotAsked { named: named.clone(), part, points: POINTS };
    let plot = if named.is_empty() {
        None
    } else {
        Some(api::plotted(&office, &member.permitted, &recording, wanted).await?)
    };
    let page = member
        .look(&office, |view| {
            PlotPage::of(member.place(""), view.state, &recording, (all, named, plot))
        })
        .await?;
    let title = format!("Plots of {}", page.name);
    Ok(member.around(title, Section::Recordings).reply(StatusCode::OK, page.body()))
}
