//! Channels of a recording as a plot needs them.

use actix_web::HttpRequest;
use evaluation::bounds::{self, LevelKind};
use evaluation::taken::moment;
use programme::codes::{ChannelCode, LimitCode};
use programme::measure::Unit;
use programme::nouns::Limit;
use programme::record::Digest;
use programme::state::State;
use recordings::columns::{StoredChannel, Window};
use recordings::envelope::{self, MOST_POINTS};
use recordings::{Micros, Report};
use serde::Deserialize;

use super::plot_view::{Plot, PlotBeyond, PlotChannel, PlotExceedance, PlotLimit, PlotPoint};
use super::view::known;
use super::wanted::{Part, Wanted, channels};
use crate::access::{Permitted, Read};
use crate::columns::Opened;
use crate::desk::{Answer, Shown};
use crate::given::{At, Sha256};
use crate::office::Office;
use crate::problem::{BAD_QUERY, Problem};

/// Points of a channel unless the reader asks for another number.
const USUAL_POINTS: usize = 1_000;

/// Points of a channel at least, so that its ends and its extremes are there.
const FEWEST_POINTS: usize = 4;

/// Channels of one plot at most.
const MOST_CHANNELS: usize = 40;

/// Stretches of one kind that are told one by one; all are counted.
const MOST_STRETCHES: usize = 200;

/// A gap is longer than so many usual steps, and longer than a second: as the quality of the recording tells gaps.
const USUAL_STEPS: f64 = 5.0;

/// Which channels are plotted, and from when to when.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct PlotWanted {
    /// A channel; may be given several times, or as several codes parted by commas. Absent: all.
    #[serde(default)]
    #[param(required = false)]
    #[expect(dead_code, reason = "it is read apart, since it may come several times")]
    pub channel: Vec<String>,
    /// From this moment on, by the recorder's clock (RFC 3339); absent: from the first row on.
    #[param(example = "2026-05-02T09:05:00Z")]
    pub from: Option<String>,
    /// Up to and including this moment, by the recorder's clock (RFC 3339); absent: to the last row.
    #[param(example = "2026-05-02T09:06:00Z")]
    pub to: Option<String>,
    /// Points of each channel at most.
    #[param(minimum = 4, maximum = 2000, default = 1000)]
    pub points: Option<usize>,
}

/// Channels of a recording over some time, as a plot needs them.
///
/// However long the time is, no excursion is lost: of each part of it the smallest and the greatest reading are there, at
/// their true moments. Besides come the limits on the channels with their levels in the channel's unit, the stretches in
/// which readings were beyond one, and the exceedances that were recorded. A stretch is drawn however short it is; an
/// exceedance is judged, by dwell, over the whole run.
#[utoipa::path(
    get, path = "",
    params(PlotWanted),
    responses((status = 200, description = "The plot.", body = Plot)),
)]
pub(crate) async fn plot(
    person: Permitted<Read>,
    recording: At<Sha256>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let Wanted { channels: named, rest } = Wanted::<PlotWanted>::of(&request)?;
    let part = Part::asked(rest.from.as_deref(), rest.to.as_deref())?;
    let points = rest.points.unwrap_or(USUAL_POINTS);
    if !(FEWEST_POINTS..=MOST_POINTS).contains(&points) {
        return Err(Problem::of_field(
            BAD_QUERY,
            "points",
            format!("points is from {FEWEST_POINTS} to {MOST_POINTS}."),
        ));
    }
    let asked = PlotAsked { named, part, points };
    let plot = plotted(&office, &person, &recording.0.0, asked).await?;
    Ok(Shown::tagged(&plot)?.reply(request.headers()))
}

/// Which channels, from when to when, and how many points of each.
pub(crate) struct PlotAsked {
    /// All channels where none is named.
    pub named: Vec<String>,
    pub part: Part,
    pub points: usize,
}

/// Channels of a recording as a plot needs them.
pub(crate) async fn plotted<P>(
    office: &Office,
    person: &Permitted<P>,
    recording: &Digest,
    PlotAsked { named, part, points }: PlotAsked,
) -> Result<Plot, Problem> {
    let (columns, mut plot, limits) = office
        .look(person, None, |view| {
            let (state, take) = known(view.state, recording)?;
            let plot = Plot {
                recording: recording.clone(),
                from: None,
                to: None,
                clock_offset_s: state.clock_offset.as_ref().map(|offset| offset.offset_s),
                set_aside: state.set_aside().is_some(),
                channels: Vec::new(),
                exceedances: exceedances(view.state, recording),
            };
            let limits = view.state.limits.by_code.values();
            let limits: Vec<(u64, Limit)> =
                limits.map(|held| (held.changed_at, (*held.limit).clone())).collect();
            Ok((take.columns.clone(), plot, limits))
        })
        .await?;
    office
        .with_columns(&columns, move |columns| {
            let channels = channels(&columns, named)?;
            if channels.len() > MOST_CHANNELS {
                return Err(Problem::of_field(
                    BAD_QUERY,
                    "channel",
                    format!("These are {} channels, and at most {MOST_CHANNELS} are plotted at once: name those that you want.", channels.len()),
                ));
            }
            fill(&mut plot, &columns, &channels, part, points, &limits)?;
            Ok(plot)
        })
        .await
}

fn fill(
    plot: &mut Plot,
    columns: &Opened,
    channels: &[StoredChannel],
    part: Part,
    points: usize,
    limits: &[(u64, Limit)],
) -> Result<(), Problem> {
    let Some((from, to)) = part.of(columns) else { return Ok(()) };
    (plot.from, plot.to) = (moment(from), moment(to));
    let report = Report::of(columns);
    // One channel after the other, so that a long recording needs the memory of one.
    let mut window = Window::default();
    for channel in channels {
        columns.read_into(&[channel.code.as_str()], from, to, &mut window)?;
        let of_channel = limits.iter().filter(|(_, limit)| {
            ChannelCode::new(&channel.code).is_ok_and(|code| limit.reads(&code))
        });
        plot.channels.push(drawn(
            channel,
            &window,
            (from, to),
            points,
            report.as_ref(),
            of_channel,
        ));
    }
    let of_limits = |code: &LimitCode| {
        plot.channels.iter().any(|channel| channel.limits.iter().any(|limit| limit.limit == *code))
    };
    let within = |it: &PlotExceedance| {
        let began = Micros::from(it.started_at);
        let lasted = it.duration_s.unwrap_or(0.0).max(0.0);
        let ended =
            it.started_at + chrono::TimeDelta::milliseconds((lasted * 1000.0).min(1e12) as i64);
        began <= to && from <= Micros::from(ended)
    };
    let kept = plot.exceedances.iter().filter(|it| of_limits(&it.limit) && within(it));
    plot.exceedances = kept.cloned().collect();
    Ok(())
}

fn drawn<'a>(
    channel: &StoredChannel,
    window: &Window,
    (from, to): (Micros, Micros),
    points: usize,
    report: Option<&Report>,
    limits: impl Iterator<Item = &'a (u64, Limit)>,
) -> PlotChannel {
    let usual_step_s = report
        .and_then(|report| report.quality.channels.iter().find(|it| it.code == channel.code))
        .and_then(|quality| quality.usual_step_s);
    let gap_s = (usual_step_s.unwrap_or(0.0) * USUAL_STEPS).max(1.0);
    let mut shown = PlotChannel {
        channel: channel.code.clone(),
        unit: channel.unit.clone(),
        readings: 0,
        points: Vec::new(),
        limits: Vec::new(),
    };
    let Some(series) = window.series(0) else { return shown };
    shown.readings = series.present().count();
    let envelope = envelope::envelope(series, from, to, points, gap_s);
    shown.points = envelope
        .into_iter()
        .filter_map(|point| {
            Some(PlotPoint {
                at: moment(point.at)?,
                value: point.value,
                after_gap: point.after_gap,
            })
        })
        .collect();
    let named = |unit: &Unit| unit.to_string() == channel.unit || unit.as_str() == channel.unit;
    let unit = Unit::ALL.iter().copied().find(named);
    for (revision, limit) in limits {
        // Of a group of sensors each is within the limit, which says nothing of one alone.
        let levels = unit.map_or_else(Vec::new, |unit| bounds::levels(limit, unit));
        let mut beyond = Vec::new();
        for level in levels.iter().filter(|level| level.level != LevelKind::TimeCounts) {
            beyond.extend(bounds::beyond(series, level).into_iter().map(|it| (*level, it)));
        }
        beyond.sort_by_key(|(_, it)| it.from);
        let stretches = beyond.len();
        let told = beyond.into_iter().take(MOST_STRETCHES).filter_map(|(level, it)| {
            Some(PlotBeyond {
                level: level.level,
                side: level.side,
                from: moment(it.from)?,
                to: moment(it.to)?,
                peak: it.peak,
                peak_at: moment(it.peak_at)?,
            })
        });
        shown.limits.push(PlotLimit {
            limit: limit.code.clone(),
            title: limit.title.clone(),
            revision: *revision,
            kind: limit.kind.as_str(),
            dwell_s: limit.dwell_s,
            phases: limit.phases.clone(),
            levels,
            stretches,
            beyond: told.collect(),
        });
    }
    shown
}

/// All that were recorded of a recording.
fn exceedances(state: &State, recording: &Digest) -> Vec<PlotExceedance> {
    let all = state.exceedances.iter();
    let of_it = all.filter_map(|it| {
        let found = it.found.as_ref().filter(|found| found.recording == *recording)?;
        Some(PlotExceedance {
            exceedance: it.number,
            limit: it.limit.clone(),
            limit_revision: found.limit_revision,
            started_at: found.started_at,
            peak_at: found.peak_at,
            peak: it.peak,
            unit: state.limits.by_code.get(&it.limit).map(|held| held.limit.unit),
            duration_s: it.duration_s,
            closed: it.closed.is_some(),
        })
    });
    of_it.collect()
}
