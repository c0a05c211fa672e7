//! Stretches of a recording in which stated conditions hold.

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use evaluation::gathered::Attached;
use evaluation::intervals::{CannotSeek, Found, PlannedCondition, Sought, find, planned};
use programme::codes::{ChannelCode, PointCode, RunNumber};
use programme::nouns::{Axis, Point};
use programme::record::{Digest, SteadyChannel};
use programme::state::State;
use recordings::Micros;
use serde::{Deserialize, Serialize};

use crate::access::{Permitted, Read};
use crate::desk::{Answer, answer};
use crate::given::{At, Given, Sha256};
use crate::office::Office;
use crate::problem::{FaultView, INVALID, Kind, Problem};

/// A channel may be silent for so long inside a stretch unless another time is given.
const USUAL_DROPOUT_S: f64 = 1.0;

/// The most conditions.
const MOST_CONDITIONS: usize = 20;

/// What is to hold, and for how long.
#[derive(Debug, Clone)]
pub(super) struct Conditions {
    pub held: Vec<SteadyChannel>,
    pub axes: BTreeMap<Axis, ChannelCode>,
    pub at_least_s: f64,
    pub dropout_s: Option<f64>,
}

/// Where to look, and what for.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SteadyAsked {
    /// The run that the recording belongs to.
    pub run: RunNumber,
    /// The point whose planned conditions are meant; needed for `axes`.
    #[serde(default)]
    pub point: Option<PointCode>,
    /// Channels with target and tolerance.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub held: Vec<SteadyChannel>,
    /// Channels that show an axis of the point's planned conditions: target and tolerance are those of the plan.
    #[serde(default)]
    pub axes: BTreeMap<Axis, ChannelCode>,
    /// For at least so long, in seconds.
    #[schema(minimum = 0, maximum = 86400)]
    pub at_least_s: f64,
    /// A channel may be without reading for at most so long inside, in seconds; 1 when absent.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 86400)]
    pub dropout_s: Option<f64>,
}

/// Stretches that were found. Nothing was recorded.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct SteadyFound {
    /// The conditions that were looked for.
    pub held: Vec<SteadyChannel>,
    /// For at least so long, in seconds.
    pub at_least_s: f64,
    /// A channel may be silent for so long inside, in seconds.
    pub dropout_s: f64,
    /// What was found.
    pub found: Found,
    /// The conditions that the point was planned with, each with the recorded channels of its kind.
    pub planned: Vec<PlannedCondition>,
}

/// A search that is well put.
pub(super) struct Search {
    pub recording: Digest,
    pub sought: Sought,
    pub attached: Vec<Attached>,
    within: (Micros, Micros),
    planned: Vec<PlannedCondition>,
}

impl Search {
    /// Makes a search of what was asked, with every fault at once.
    pub fn of(
        state: &State,
        recording: Digest,
        run: RunNumber,
        point: Option<&PointCode>,
        conditions: &Conditions,
    ) -> Result<Self, Problem> {
        let known = state.run(run).ok_or_else(|| Problem::unknown("run", run))?;
        let attached = Attached::of_run(state, run);
        let Some(home) = attached.iter().find(|it| it.facts.recording == recording) else {
            state
                .recordings
                .get(&recording)
                .ok_or_else(|| Problem::unknown("recording", &recording))?;
            return Err(Problem::new(
                Kind::not_now("recording-not-attached"),
                format!("Recording {recording} does not belong to run {run}, or was set aside."),
            )
            .clears("An engineer or the test lead attaches it to the run."));
        };
        let plan = match point {
            None => None,
            Some(code) => {
                let plan = known.planned(code).ok_or_else(|| {
                    Problem::of_field(
                        INVALID,
                        "point",
                        format!("{code} was not planned for run {run}."),
                    )
                })?;
                Some(plan)
            }
        };
        let (held, faults) = conditions.held(plan.map(|plan| &**plan));
        let faults = faults.into_iter().chain(conditions.faults(&held));
        refuse(faults.collect())?;
        let (begun, over) = known.span();
        let end = over.map_or(home.facts.span().1, Micros::from);
        let unit_of = |code: &ChannelCode| state.channels.get(code).map(|channel| channel.unit);
        Ok(Self {
            planned: plan.map(|plan| planned(plan, &attached, unit_of)).unwrap_or_default(),
            sought: Sought {
                held,
                at_least_s: conditions.at_least_s,
                dropout_s: conditions.dropout_s.unwrap_or(USUAL_DROPOUT_S),
            },
            within: (begun.into(), end),
            recording,
            attached,
        })
    }

    /// Looks.
    pub async fn run(&self, office: &Office) -> Result<Found, Problem> {
        let (sought, recording, within) =
            (self.sought.clone(), self.recording.clone(), self.within);
        office
            .with_recordings(self.attached.clone(), move |gathered| {
                find(&sought, &recording, within, gathered).map_err(cannot_seek)
            })
            .await
    }
}

impl Conditions {
    /// Those of the plan that channels are named for, after those that are given.
    fn held(&self, plan: Option<&Point>) -> (Vec<SteadyChannel>, Vec<FaultView>) {
        let (mut held, mut faults) = (self.held.clone(), Vec::new());
        for (axis, channel) in &self.axes {
            let condition = plan.and_then(|plan| plan.conditions.get(axis));
            match condition {
                Some(condition) => held.push(SteadyChannel {
                    channel: channel.clone(),
                    target: condition.target,
                    tolerance: condition.tolerance,
                    unit: condition.unit,
                }),
                None => faults.push(fault(
                    format!("axes.{axis}"),
                    format!("The plan has no condition on {axis}: name a point that has, or give target and tolerance in held."),
                )),
            }
        }
        (held, faults)
    }

    fn faults(&self, held: &[SteadyChannel]) -> Vec<FaultView> {
        let mut faults = Vec::new();
        if held.is_empty() && self.axes.is_empty() {
            faults.push(fault("held", "Name at least one channel with target and tolerance."));
        }
        if held.len() > MOST_CONDITIONS {
            faults.push(fault(
                "held",
                format!("At most {MOST_CONDITIONS} conditions are looked for."),
            ));
        }
        for (place, one) in self.held.iter().enumerate() {
            if !one.target.is_finite() {
                faults.push(fault(format!("held[{place}].target"), "Give a number."));
            }
            if !(one.tolerance.is_finite() && one.tolerance > 0.0) {
                faults.push(fault(
                    format!("held[{place}].tolerance"),
                    "The tolerance has to be greater than 0.",
                ));
            }
        }
        for (field, seconds) in
            [("at_least_s", Some(self.at_least_s)), ("dropout_s", self.dropout_s)]
        {
            if seconds.is_some_and(|seconds| !(0.0..=86_400.0).contains(&seconds)) {
                faults.push(fault(field, "Give seconds from 0 to 86,400."));
            }
        }
        faults
    }
}

pub(super) fn fault(field: impl Into<String>, why: impl Into<String>) -> FaultView {
    FaultView { field: field.into(), why: why.into(), code: None }
}

pub(super) fn refuse(faults: Vec<FaultView>) -> Result<(), Problem> {
    match faults.as_slice() {
        [] => Ok(()),
        [one] => Err(Problem::of_field(INVALID, one.field.clone(), one.why.clone())),
        many => {
            let detail =
                format!("{} things cannot be accepted; each fault says where and why.", many.len());
            Err(Problem::new(INVALID, detail).with_faults(faults))
        }
    }
}

fn cannot_seek(mut faults: Vec<CannotSeek>) -> Problem {
    if let Some(place) = faults.iter().position(|fault| matches!(fault, CannotSeek::Unreadable(_)))
        && let CannotSeek::Unreadable(error) = faults.swap_remove(place)
    {
        return error.into();
    }
    let of = |found: &CannotSeek| {
        let why = format!("{}.", crate::problem::capitalised(&found.to_string()));
        match found {
            CannotSeek::NotRecorded { place, .. } => fault(format!("held[{place}].channel"), why),
            CannotSeek::Unit { place, .. } => fault(format!("held[{place}].unit"), why),
            CannotSeek::NoRecording {} | CannotSeek::Unreadable(_) => fault("recording", why),
        }
    };
    let told = refuse(faults.iter().map(of).collect());
    told.err().unwrap_or_else(|| Problem::new(INVALID, "Nothing can be looked for."))
}

/// Look for stretches of a recording in which stated conditions hold. Nothing is recorded.
///
/// Conditions may be on channels of other recordings of the run; both clocks are put right. Units are converted. Where no
/// stretch is long enough the longest is told, and what broke it. With a point named, its planned conditions are shown with
/// the recorded channels that could show them: which of them does, a person says in `axes`.
#[utoipa::path(
    post, path = "",
    request_body(content = SteadyAsked, example = json!({
        "run": 7, "held": [{ "channel": "ias", "target": 60.0, "tolerance": 3.0, "unit": "kt" }], "at_least_s": 30.0,
    })),
    responses((status = 200, description = "What was found.", body = SteadyFound)),
)]
pub(crate) async fn steady(
    person: Permitted<Read>,
    recording: At<Sha256>,
    given: Given<SteadyAsked>,
    office: Office,
) -> Answer {
    let Given { body, asked } = given;
    let replayed = office.was_computed(&person.person, &asked).await?;
    let shown = stretches(&office, &person, recording.0.0, body).await?;
    office.computed(&person.person, asked, replayed, answer(StatusCode::OK, &shown)?).await
}

/// Stretches of a recording in which stated conditions hold.
pub(crate) async fn stretches<P>(
    office: &Office,
    person: &Permitted<P>,
    recording: Digest,
    asked: SteadyAsked,
) -> Result<SteadyFound, Problem> {
    let search = office
        .look(person, None, |view| {
            let SteadyAsked { run, point, held, axes, at_least_s, dropout_s } = asked;
            let conditions = Conditions { held, axes, at_least_s, dropout_s };
            Search::of(view.state, recording.clone(), run, point.as_ref(), &conditions)
        })
        .await?;
    let found = search.run(office).await?;
    let Search { sought, planned, .. } = search;
    let Sought { held, at_least_s, dropout_s } = sought;
    Ok(SteadyFound { held, at_least_s, dropout_s, found, planned })
}
