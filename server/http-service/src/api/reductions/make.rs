//! Making a reduction, and making one again.

use std::collections::BTreeMap;
use std::io::Write;

use evaluation::gathered::Attached;
use evaluation::reductions::{Answer as Recorded, Asked, NotReduced, Worked, work};
use programme::codes::{ChannelCode, IntervalNumber, ReductionNumber};
use programme::commands::MakeReduction;
use programme::entry::Entry;
use programme::nouns::Channel;
use programme::record::Record;
use programme::state::{Interval, State};
use recordings::reduce::{Reduction, reduction, reductions};
use serde::Deserialize;
use serde_json::Value;

use super::view::{ReductionView, known, shown};
use crate::access::{MakeReductions, Permitted};
use crate::desk::{Answer, Outcome, Written};
use crate::given::{At, Given, Number};
use crate::office::Office;
use crate::problem::{FAULT, INPUT_REFUSED, INVALID, Kind, Problem, capitalised};

/// A reduction that is to be made.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewReduction {
    /// Of which interval.
    pub interval: IntervalNumber,
    /// By which method; `GET /api/v1/reduction-methods` tells them.
    #[schema(max_length = 64)]
    pub method: String,
    /// Which channel plays each of the method's roles.
    pub channels: BTreeMap<String, ChannelCode>,
    /// The figures that no channel has.
    #[serde(default)]
    #[schema(value_type = Object)]
    pub given: Value,
    /// Parameters that criteria ask for, each with the figure of the answer that fills it, as a JSON pointer.
    #[serde(default)]
    #[schema(value_type = BTreeMap<String, String>)]
    pub fills: BTreeMap<ChannelCode, String>,
}

/// Nothing is given besides.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Rerun {}

/// What is needed of the programme.
struct Basis {
    interval: Interval,
    attached: Vec<Attached>,
    channels: BTreeMap<ChannelCode, Channel>,
}

impl Basis {
    fn of(state: &State, number: IntervalNumber) -> Result<Self, Problem> {
        let unknown = || {
            Problem::of_field(
                INVALID,
                "interval",
                format!("There is no interval {number}: take one first."),
            )
        };
        let interval = state.recordings.interval(number).ok_or_else(unknown)?;
        if !state.recordings.counts(&interval.recording, interval.seq) {
            return Err(Problem::new(
                Kind::not_now("recording-set-aside"),
                format!("The recording of interval {number} was set aside since it was taken."),
            )
            .clears("Take an interval of a recording that counts."));
        }
        Ok(Self {
            attached: Attached::of_run(state, interval.run),
            channels: state.channels.iter().map(|(code, it)| (code.clone(), it.clone())).collect(),
            interval: interval.clone(),
        })
    }
}

/// Reduce an interval by a method, and record what came out with all that it rests on.
///
/// Channels may be of other recordings of the run; both clocks are put right and units converted. The exact input of the
/// topic is kept. Figures that lie beyond what was recorded are told, and fill nothing. Made again of the same interval by
/// the same method it takes the place of the earlier one, which stays to be seen beside it; the warming or the damping of
/// another part is another reduction. What is computed advises
/// engineers; it clears nobody to fly. A thermal fit or a damping of another part is another reduction.
#[utoipa::path(
    post, path = "",
    request_body(content = NewReduction, example = json!({
        "interval": 3, "method": "energy", "channels": { "voltage": "pack_v", "current": "pack_a" },
    })),
    responses((status = 201, description = "Made.", body = Written<ReductionView>)),
)]
pub(crate) async fn make(
    person: Permitted<MakeReductions>,
    given: Given<NewReduction>,
    office: Office,
) -> Answer {
    if let Some(before) = office.answered_before(&person.person, &given.asked).await? {
        return Ok(before);
    }
    let asked = given.body.clone();
    reduce(&office, &person, given, asked).await
}

/// Make a reduction again, by the method as it is now. Where it comes out the same by the same version, nothing changes.
#[utoipa::path(
    post, path = "",
    request_body(content = Rerun, example = json!({})),
    responses((status = 201, description = "Made again.", body = Written<ReductionView>)),
)]
pub(crate) async fn rerun(
    person: Permitted<MakeReductions>,
    number: At<Number<ReductionNumber>>,
    given: Given<Rerun>,
    office: Office,
) -> Answer {
    if let Some(before) = office.answered_before(&person.person, &given.asked).await? {
        return Ok(before);
    }
    let asked = office
        .look(&person, None, |view| {
            let made = known(view.state, number.0.0)?;
            let recorded: Option<Recorded> = serde_json::from_str(&made.result).ok();
            let (Some(recorded), Some(interval)) = (recorded, made.interval) else {
                return Err(Problem::new(
                    Kind::not_now("reduction-not-repeatable"),
                    format!("Reduction {} does not say how it was made.", made.number),
                )
                .clears("Make it anew of an interval."));
            };
            let fills = recorded.fills.iter();
            Ok(NewReduction {
                interval,
                method: made.topic.clone(),
                channels: recorded.roles(),
                given: recorded.given(),
                fills: fills.map(|fill| (fill.parameter.clone(), fill.pointer.clone())).collect(),
            })
        })
        .await?;
    reduce(&office, &person, given, asked).await
}

async fn reduce<T>(
    office: &Office,
    person: &Permitted<MakeReductions>,
    given: Given<T>,
    asked: NewReduction,
) -> Answer {
    let method = method_of(&asked.method)?;
    let Basis { interval, attached, channels } =
        office.look(person, None, |view| Basis::of(view.state, asked.interval)).await?;
    let made = {
        let interval = interval.clone();
        let asked = asked.clone();
        office
            .with_recordings(attached, move |gathered| {
                let asked = to_work(method, &interval, asked);
                work(&asked, gathered, &|code| channels.get(code).cloned()).map_err(not_reduced)
            })
            .await?
    };
    let mut incoming = office
        .aside({
            let objects = office.store.objects().clone();
            move || Ok(objects.begin()?)
        })
        .await?;
    incoming.write_all(made.input.as_bytes()).map_err(store::ObjectError::from)?;
    let kept = office.store.objects().keep(incoming).await?;
    let command = command(made, &to_work(method, &interval, asked), kept.digest)?;
    let place = format!("/api/v1/programmes/{}/reductions", person.programme);
    office
        .act(person, given.map(|_| command), move |view, entries| {
            let number = number_of(entries)?;
            Ok(Outcome::created(format!("{place}/{number}"), shown(view.state, number)?))
        })
        .await
}

fn to_work<'a>(
    method: &'static Reduction,
    interval: &'a Interval,
    asked: NewReduction,
) -> Asked<'a> {
    let NewReduction { channels, given, fills, .. } = asked;
    Asked { method, interval, roles: channels, given, fills }
}

fn command(
    made: Worked,
    asked: &Asked<'_>,
    given: programme::record::Digest,
) -> Result<MakeReduction, Problem> {
    made.command(asked, given).map_err(not_reduced)
}

fn method_of(name: &str) -> Result<&'static Reduction, Problem> {
    reduction(name).ok_or_else(|| {
        let known: Vec<&str> = reductions().iter().map(|method| method.name).collect();
        let why = format!("There is no method \"{name}\"; the methods are {}.", known.join(", "));
        Problem::of_field(INVALID, "method", why)
    })
}

fn number_of(entries: &[Entry]) -> Result<ReductionNumber, Problem> {
    let found = entries.iter().find_map(|entry| match &entry.record {
        Record::ReductionMade(body) => Some(body.reduction),
        _ => None,
    });
    found.ok_or_else(|| Problem::new(FAULT, "The reduction was made and cannot be shown."))
}

fn not_reduced(refused: NotReduced) -> Problem {
    let sentence = format!("{}.", capitalised(&refused.to_string()).trim_end_matches('.'));
    match refused {
        NotReduced::Method(_) => Problem::new(INPUT_REFUSED, sentence),
        NotReduced::Fill { parameter, .. } => {
            Problem::of_field(INVALID, format!("fills.{parameter}"), sentence)
        }
        NotReduced::NoRecording(_) => Problem::new(Kind::not_now("recording-set-aside"), sentence)
            .clears("Take an interval of a recording that counts."),
        NotReduced::NoText => Problem::new(INPUT_REFUSED, sentence),
        NotReduced::Unreadable(error) => error.into(),
    }
}
