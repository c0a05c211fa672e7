//! Taking intervals of a recording for points: by noted moments, by times, or where conditions hold.

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use evaluation::intervals::Found;
use maud::{Markup, html};
use programme::codes::{PointCode, RunNumber};
use programme::measure::Unit;
use programme::people::Act;
use programme::record::{Digest, RunEvent, RunTimes};
use programme::state::State;

use super::lines::IntervalLine;
use crate::access::{Permission, Read, TakeIntervals};
use crate::api::intervals::{self as api, SteadyAsked};
use crate::api::recordings::recording_view;
use crate::desk::Answer;
use crate::given::{At, Given, Query, Sha256};
use crate::office::Office;
use crate::pages::around::Section;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Form, Trouble, recorded_anew};
use crate::pages::point::Recorded;
use crate::pages::words::{axis, condition, exact, seconds};
use crate::problem::Problem;

/// A run of the recording with its points and noted moments.
#[derive(Debug, Clone)]
pub(crate) struct RunOf {
    pub run: RunNumber,
    /// Each with what is planned of it.
    pub points: Vec<(PointCode, String)>,
    /// Value of the form, and words.
    pub marks: Vec<(String, String)>,
}

/// A stretch in which conditions hold.
#[derive(Debug, Clone)]
pub(crate) struct StretchLine {
    pub from: DateTime<Utc>,
    pub to: DateTime<Utc>,
    pub seconds: f64,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct IntervalsPage {
    pub place: String,
    pub token: String,
    pub recording: String,
    pub name: String,
    pub started: DateTime<Utc>,
    pub ended: DateTime<Utc>,
    pub may_take: bool,
    pub runs: Vec<RunOf>,
    /// Code, title and unit.
    pub channels: Vec<(String, String, Unit)>,
    pub intervals: Vec<IntervalLine>,
    /// What was found where conditions were looked for, in words where nothing was.
    pub found: Option<Result<Vec<StretchLine>, String>>,
    pub trouble: Option<Trouble>,
}

fn marks(times: &RunTimes) -> Vec<(String, String)> {
    let one = |event: RunEvent, at: Option<DateTime<Utc>>| at.map(|at| (event, 1_u32, at));
    let many = |event: RunEvent, all: &[DateTime<Utc>]| {
        (1..).zip(all).map(|(number, at)| (event, number, *at)).collect::<Vec<_>>()
    };
    let mut all: Vec<(RunEvent, u32, DateTime<Utc>)> = [
        one(RunEvent::PowerOn, times.power_on),
        one(RunEvent::OffBlocks, times.off_blocks),
        one(RunEvent::OnBlocks, times.on_blocks),
        one(RunEvent::PowerOff, times.power_off),
    ]
    .into_iter()
    .flatten()
    .collect();
    all.extend(many(RunEvent::TakeOff, &times.take_offs));
    all.extend(many(RunEvent::Landing, &times.landings));
    all.sort_by_key(|(_, _, at)| *at);
    let told = |(event, number, at): (RunEvent, u32, DateTime<Utc>)| {
        let mark = serde_json::json!({ "event": event, "number": number });
        let which = if number > 1 { format!(" {number}") } else { String::new() };
        let words = format!("{}{which}, {} UTC", event.in_words(), at.format("%H:%M:%S"));
        (mark.to_string(), words)
    };
    all.into_iter().map(told).collect()
}

impl IntervalsPage {
    fn of<P>(
        member: &Member<P>,
        state: &State,
        recording: &Digest,
        found: Option<Result<Vec<StretchLine>, String>>,
        trouble: Option<Trouble>,
    ) -> Result<Self, Problem> {
        let seen = recording_view(state, recording)?;
        let run_of = |number: &RunNumber| {
            let run = state.run(*number)?;
            let told = |point: &std::sync::Arc<programme::nouns::Point>| {
                let planned: Vec<_> = point
                    .conditions
                    .iter()
                    .map(|(at, it)| format!("{} {}", axis(*at), condition(*it)))
                    .collect();
                let planned = if planned.is_empty() {
                    String::new()
                } else {
                    format!(" ({})", planned.join(", "))
                };
                (point.code.clone(), format!("{} {}{planned}", point.code, point.title))
            };
            Some(RunOf {
                run: *number,
                points: run.points.iter().filter_map(|it| run.planned(it)).map(told).collect(),
                marks: marks(&run.times),
            })
        };
        let channels = seen.channels.iter().filter_map(|held| {
            let known = state.channels.get(held.channel)?;
            Some((held.channel.to_string(), known.title.clone(), known.unit))
        });
        let intervals = state.recordings.intervals.iter().filter(|it| it.recording == *recording);
        Ok(Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            recording: recording.to_string(),
            name: seen.name.to_owned(),
            started: seen.started,
            ended: seen.ended,
            may_take: member.may(Act::TakeIntervals),
            runs: seen.runs.iter().filter_map(run_of).collect(),
            channels: channels.collect(),
            intervals: intervals.map(|it| IntervalLine::of(state, it)).collect(),
            found,
            trouble,
        })
    }

    fn body(&self) -> Markup {
        html! {
            h1 { "Intervals of " (self.name) }
            p { "An interval is the part of a recording that shows a point. Its values are then proposed for the point's result, and reductions are made of it." }
            p { a href={ (self.place) "/recordings/" (self.recording) } { "The recording" } " · from " (exact(self.started)) " to " (exact(self.ended)) " by its own clock" }
            section {
                h2 #taken { "Taken so far" }
                @if self.intervals.is_empty() { p { "None." } }
                ul { @for it in &self.intervals { (it.item(&self.place)) } }
            }
            @if !self.may_take {
                p { "Taking intervals is for " (Act::TakeIntervals.allowed_in_words()) "." }
            } @else if self.runs.is_empty() {
                p { "Attach the recording to its run first: an interval is taken for a point of the run." }
            } @else {
                @for run in &self.runs { (self.taking(run)) }
            }
        }
    }

    fn taking(&self, run: &RunOf) -> Markup {
        let to = format!("{}/recordings/{}/intervals", self.place, self.recording);
        let trouble = self.trouble.as_ref();
        let names = ["marks", "times", "steady"].map(|way| format!("{way}-{}", run.run));
        let [by_marks, by_times, steady] =
            names.each_ref().map(|name| Draft::new(name, &to, &self.token, trouble));
        let open = |name: &str| trouble.is_some_and(|trouble| trouble.form == name);
        let points: Vec<_> =
            run.points.iter().map(|(code, told)| (code.to_string(), told.clone())).collect();
        let last = run.marks.last().map(|(mark, _)| mark.clone()).unwrap_or_default();
        let common = |draft: &Draft<'_>| {
            html! {
                (draft.hidden("recording", &self.recording))
                (draft.hidden("run:count", run.run.0))
                (draft.choice("point", "For the point", "", "", &points))
            }
        };
        let channels: Vec<_> = std::iter::once((String::new(), "none".to_owned()))
            .chain(self.channels.iter().map(|(code, title, unit)| {
                let held = serde_json::json!({ "channel": code, "unit": unit });
                (held.to_string(), format!("{title} ({unit})"))
            }))
            .collect();
        html! {
            section {
                h2 { "Take one of run " (run.run) }
                details open[open(&names[0]) || trouble.is_none()] {
                    summary { "From one noted moment to another" }
                    @if run.marks.len() < 2 { p { "Fewer than two moments of the run were noted." } }
                    @else {
                        (by_marks.form(html! {
                            (common(&by_marks))
                            (by_marks.hidden("how.by", "event-marks"))
                            (by_marks.choice("how.from:chosen", "From", "", "", &run.marks))
                            (by_marks.choice("how.to:chosen", "To", "", &last, &run.marks))
                            (by_marks.send("Take it"))
                        }))
                    }
                }
                details open[open(&names[1])] {
                    summary { "From one time to another" }
                    (by_times.form(html! {
                        (common(&by_times))
                        (by_times.hidden("how.by", "times"))
                        (by_times.line("how.from:moment", "From", "UTC, by the recorder's clock, such as 2026-05-02T09:04:40.5", &whole(self.started)))
                        (by_times.line("how.to:moment", "Up to and including", "UTC, by the recorder's clock", &whole(self.ended)))
                        (by_times.send("Take it"))
                    }))
                }
                details open[open(&names[2]) || self.found.is_some()] {
                    summary { "Where conditions hold" }
                    (self.stretches())
                    (steady.form(html! {
                        (common(&steady))
                        (steady.hidden("how.by", "conditions"))
                        (steady.hidden("how.held:list", ""))
                        @for place in 0..3 {
                            fieldset {
                                legend { "Condition " (place + 1) }
                                (steady.choice(&format!("form.held[{place}]"), "Channel", "", "", &channels))
                                (steady.figure(&format!("form.target[{place}]"), "Stays at", "", "in the channel's unit"))
                                (steady.figure(&format!("form.tolerance[{place}]"), "Plus or minus", "", "in the channel's unit"))
                            }
                        }
                        (steady.figure_with("how.at_least_s:number", "For at least", "", "s", Some(10.0)))
                        (steady.line("how.candidate:count?", "Which stretch", "1 is the longest.", "1"))
                        p.send { button.quiet name="form.only" value="look" { "Look where they hold" } " " button { "Take that stretch" } }
                    }))
                }
            }
        }
    }

    fn stretches(&self) -> Markup {
        html! {
            @match &self.found {
                None => {}
                Some(Err(why)) => { p.warn role="status" { (why) } }
                Some(Ok(stretches)) => {
                    p role="status" { "They hold here, the longest first. Nothing was recorded." }
                    ol { @for it in stretches { li { (exact(it.from)) " to " (exact(it.to)) ", " (seconds(it.seconds)) } } }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, long};
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            recording: "0".repeat(64),
            name: long("bms.csv", many),
            started: DateTime::UNIX_EPOCH,
            ended: DateTime::UNIX_EPOCH,
            may_take: true,
            runs: (0..many.min(5) as u32)
                .map(|run| RunOf {
                    run: RunNumber(run),
                    points: codes(many)
                        .into_iter()
                        .map(|code| (code, long("Taxi", many)))
                        .collect(),
                    marks: vec![("{}".to_owned(), "off blocks".to_owned()); many],
                })
                .collect(),
            channels: (0..many)
                .map(|place| (format!("c_{place}"), long("Speed", many), Unit::Knot))
                .collect(),
            intervals: Vec::new(),
            found: (many > 10).then(|| Err(long("They never hold together.", many))),
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

fn whole(at: DateTime<Utc>) -> String {
    at.format("%Y-%m-%dT%H:%M:%S").to_string()
}

/// The page.
pub(crate) async fn intervals(
    member: Member<Read>,
    recording: At<Sha256>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, &recording.0.0, (recorded.recorded, None), None).await
}

type Beside = (Option<u64>, Option<Result<Vec<StretchLine>, String>>);

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    recording: &Digest,
    (recorded, found): Beside,
    trouble: Option<Trouble>,
) -> Answer {
    // Looking again with what was typed is no refusal.
    let status = match (&trouble, &found) {
        (Some(trouble), None) => trouble.status,
        _ => StatusCode::OK,
    };
    let page = member
        .look(office, |view| IntervalsPage::of(member, view.state, recording, found, trouble))
        .await?;
    let title = format!("Intervals of {}", page.name);
    Ok(member.around(title, Section::Recordings).recorded(recorded).reply(status, page.body()))
}

/// The conditions of the form as the API wants them: a channel with its unit, what it stays at, and how near.
fn with_conditions(mut form: Form) -> Form {
    let mut count = 0;
    for place in 0..3 {
        let held = form.text(&format!("form.held[{place}]")).to_owned();
        let Ok(held) = serde_json::from_str::<serde_json::Value>(&held) else { continue };
        let text = |field: &str| held[field].as_str().unwrap_or_default().to_owned();
        let target = form.text(&format!("form.target[{place}]")).to_owned();
        let tolerance = form.text(&format!("form.tolerance[{place}]")).to_owned();
        form.put(&format!("how.held[{count}].channel"), text("channel"));
        form.put(&format!("how.held[{count}].unit"), text("unit"));
        form.put(&format!("how.held[{count}].target:number"), target);
        form.put(&format!("how.held[{count}].tolerance:number"), tolerance);
        count += 1;
    }
    form
}

/// Takes an interval, or only looks where conditions hold.
pub(crate) async fn take_interval(
    member: Member<TakeIntervals>,
    form: Form,
    recording: At<Sha256>,
    office: Office,
) -> Answer {
    let of = recording.0.0;
    let given = if form.text("how.by") == "conditions" {
        with_conditions(form.clone())
    } else {
        form.clone()
    };
    if form.text("form.only") == "look" {
        let looked = async {
            let asked: Asked = given.without(|name| name == "recording").given()?.body;
            let Asked { run, point, how: Looked { held, at_least_s, .. } } = asked;
            let asked = SteadyAsked {
                run,
                point: Some(point),
                held,
                axes: std::collections::BTreeMap::new(),
                at_least_s,
                dropout_s: None,
            };
            api::stretches(&office, &member.permitted, of.clone(), asked).await
        }
        .await;
        return match looked {
            Ok(found) => {
                let found = Some(in_words(&found.found));
                let typed = form.typed_again();
                page(&office, &member, &of, (None, found), Some(typed)).await
            }
            Err(problem) => {
                page(&office, &member, &of, (None, None), Some(form.trouble(problem))).await
            }
        };
    }
    let person = member.permitted.clone();
    let acted = async {
        let given: Given<api::NewInterval> = given.given()?;
        api::take(person, given, office.clone()).await
    }
    .await;
    match recorded_anew(acted, &member.place("/intervals"), "interval").await {
        Ok(reply) => Ok(reply),
        Err(problem) => {
            page(&office, &member, &of, (None, None), Some(form.trouble(problem))).await
        }
    }
}

#[derive(Debug, serde::Deserialize)]
struct Asked {
    run: RunNumber,
    point: PointCode,
    how: Looked,
}

#[derive(Debug, serde::Deserialize)]
struct Looked {
    #[serde(default)]
    held: Vec<programme::record::SteadyChannel>,
    at_least_s: f64,
}

fn in_words(found: &Found) -> Result<Vec<StretchLine>, String> {
    let line = |it: &evaluation::intervals::Candidate| StretchLine {
        from: it.from,
        to: it.to,
        seconds: it.seconds,
    };
    if !found.candidates.is_empty() {
        return Ok(found.candidates.iter().map(line).collect());
    }
    Err(found.longest.as_ref().map_or_else(
        || "They never hold together.".to_owned(),
        |it| {
            format!(
                "No stretch is long enough. The longest is {}, from {} UTC.",
                seconds(it.seconds),
                it.from.format("%H:%M:%S")
            )
        },
    ))
}
