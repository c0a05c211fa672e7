//! What changed between two moments: the records in between, in words, and the points that stand otherwise.

use actix_web::HttpRequest;
use chrono::{DateTime, SecondsFormat, Utc};
use programme::codes::{PersonHandle, PointCode, RunNumber};
use programme::entry::Entry;
use programme::holds::{Hold, holds};
use programme::state::{Rung, State};
use serde::{Deserialize, Serialize};
use store::AsOf;

use super::points::PointState;
use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown, as_of};
use crate::given::Query;
use crate::office::Office;
use crate::problem::{BAD_QUERY, FAULT, Problem};

/// Records that are told at most; of more, the last.
const MOST_RECORDS: u64 = 500;

/// Which two moments.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Moments {
    /// The earlier: the number of a record, a time, `signed` (when you last signed anything), `signed:TX-03` (when you last
    /// signed a part of that point), `opened:3` or `closed:3` (when that run was).
    #[param(example = "40")]
    pub from: String,
    /// The later, in the same words; absent: now.
    pub to: Option<String>,
}

/// One record between two moments.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ChangeTold {
    /// Its number.
    pub record: u64,
    /// Its kind.
    pub kind: &'static str,
    /// When it was recorded.
    pub at: DateTime<Utc>,
    /// Who recorded it.
    pub by: PersonHandle,
    /// What they did, to follow their name.
    #[schema(example = "signed the release of TX-03")]
    pub what: String,
}

/// A point that stands otherwise than before, or is held for other reasons.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct PointChanged {
    /// The point.
    pub point: PointCode,
    /// Its title.
    pub title: String,
    /// Where it stood; absent: it was not planned yet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<PointState>,
    /// Where it stands.
    pub after: PointState,
    /// Whether its plan is another.
    pub planned_anew: bool,
    /// What held it then and does not any more.
    pub cleared: Vec<Hold>,
    /// What holds it that did not then.
    pub new: Vec<Hold>,
}

/// What changed between two moments.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct Differences {
    /// The last record of the earlier moment.
    pub from: u64,
    /// The last record of the later moment.
    pub to: u64,
    /// In a sentence.
    #[schema(
        example = "12 records in between; 3 points stand otherwise or are held for other reasons."
    )]
    pub summary: String,
    /// How many records there are in between.
    pub records_in_between: u64,
    /// The records in between, oldest first; of more than 500 the last 500.
    pub records: Vec<ChangeTold>,
    /// Points that stand otherwise or are held for other reasons, in the order of the plan. What time alone does, such as a
    /// release that ran out, is judged at each of the two moments.
    pub points: Vec<PointChanged>,
}

/// What changed between two moments: since you last signed, between two runs, or between any two records or times.
#[utoipa::path(
    get, path = "",
    params(Moments),
    responses((status = 200, description = "The records in between, and the points that stand otherwise.", body = Differences)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    asked: Query<Moments>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let found = between(&office, &person, &asked.from, asked.to.as_deref()).await?;
    Ok(Shown::tagged(&found)?.reply(request.headers()))
}

/// How the points stood at a moment.
struct Moment {
    seq: u64,
    points: Vec<(PointCode, String, u64, PointState, Vec<Hold>)>,
}

impl Moment {
    fn of(state: &State, now: DateTime<Utc>) -> Self {
        let point = |rung: &Rung| {
            let holds = holds(state, rung, now);
            let stages = holds.iter().map(|hold| (hold.rule, hold.stage));
            let standing = PointState::of(state, rung, stages);
            (rung.point.code.clone(), rung.point.title.clone(), rung.changed_at, standing, holds)
        };
        Self { seq: state.length(), points: state.ladder.rungs().iter().map(point).collect() }
    }
}

/// What changed between two moments, as people name them.
pub(crate) async fn between(
    office: &Office,
    person: &Permitted<Read>,
    from: &str,
    to: Option<&str>,
) -> Result<Differences, Problem> {
    let named = |field: &'static str, text: &str| {
        office
            .store
            .read(&person.programme, |state, _| moment_of(state, &person.person, field, text))
            .unwrap_or_else(|| Err(Problem::unknown("programme", &person.programme)))
    };
    let from = named("from", from)?;
    let to = to.map(|to| named("to", to)).transpose()?;
    let look = async |past: Option<String>| {
        office.look(person, past.as_deref(), |view| Ok(Moment::of(view.state, view.now))).await
    };
    let before = look(Some(from)).await?;
    let after = look(to).await?;
    if after.seq < before.seq {
        return Err(Problem::of_field(
            BAD_QUERY,
            "to",
            format!(
                "from is record {} and to is record {}, which was before it. Give the earlier one as from.",
                before.seq, after.seq
            ),
        ));
    }
    let records_in_between = after.seq - before.seq;
    let first = before.seq + records_in_between.saturating_sub(MOST_RECORDS);
    let limit = u32::try_from(after.seq - first).unwrap_or(u32::MAX);
    let mut records = Vec::new();
    for stored in office.store.entries(&person.programme, first, limit).await? {
        let entry = Entry::from_json(&stored.text).map_err(|error| {
            Problem::new(
                FAULT,
                "A record cannot be read. Whoever runs the server runs `rungbook verify`.",
            )
            .because(error)
        })?;
        records.push(ChangeTold {
            record: entry.seq,
            kind: entry.record.kind(),
            at: entry.at,
            what: entry.record.told(),
            by: entry.by,
        });
    }
    let (from, to) = (before.seq, after.seq);
    let points = changed(before, after);
    let summary = summary(records_in_between, points.len());
    Ok(Differences { from, to, summary, records_in_between, records, points })
}

fn summary(records: u64, points: usize) -> String {
    let records = match records {
        0 => return "Nothing was recorded in between.".to_owned(),
        1 => "One record in between".to_owned(),
        many => format!("{many} records in between"),
    };
    match points {
        0 => format!("{records}; every point stands as it did."),
        1 => format!("{records}; one point stands otherwise or is held for other reasons."),
        many => format!("{records}; {many} points stand otherwise or are held for other reasons."),
    }
}

fn changed(before: Moment, after: Moment) -> Vec<PointChanged> {
    let mut before: std::collections::HashMap<_, _> = before
        .points
        .into_iter()
        .map(|(code, _, changed_at, standing, holds)| (code, (changed_at, standing, holds)))
        .collect();
    let without = |holds: &[Hold], others: &[Hold]| -> Vec<Hold> {
        let same =
            |hold: &Hold, other: &Hold| hold.rule == other.rule && hold.subject == other.subject;
        holds.iter().filter(|hold| !others.iter().any(|it| same(hold, it))).cloned().collect()
    };
    after
        .points
        .into_iter()
        .filter_map(|(point, title, changed_at, standing, holds)| {
            let (then, stood, held) = match before.remove(&point) {
                Some((then, stood, held)) => (Some(then), Some(stood), held),
                None => (None, None, Vec::new()),
            };
            let (cleared, new) = (without(&held, &holds), without(&holds, &held));
            let planned_anew = then.is_some_and(|then| then != changed_at);
            let same = stood == Some(standing) && cleared.is_empty() && new.is_empty();
            (!same || planned_anew).then_some(PointChanged {
                point,
                title,
                before: stood,
                after: standing,
                planned_anew,
                cleared,
                new,
            })
        })
        .collect()
}

/// What `as_of` would be for a moment as people name it.
fn moment_of(
    state: &State,
    person: &PersonHandle,
    field: &'static str,
    text: &str,
) -> Result<String, Problem> {
    let refused = |why: String| Problem::of_field(BAD_QUERY, field, why);
    let run = |number: &str| {
        let number = number.parse().ok().map(RunNumber);
        number
            .and_then(|number| state.run(number))
            .ok_or_else(|| refused(format!("\"{text}\" names no run of this programme.")))
    };
    let found = match text.split_once(':') {
        None if text == "signed" => state.keeping.last_signed.get(person).copied(),
        Some(("signed", point)) => {
            let rung = point.parse().ok().and_then(|code: PointCode| state.rung(&code));
            let rung = rung.ok_or_else(|| refused(format!("There is no point \"{point}\".")))?;
            rung.signers.iter().filter(|it| it.by == *person).map(|it| it.seq).max()
        }
        Some(("opened", number)) => Some(run(number)?.seq),
        Some(("closed", number)) => {
            let closed = run(number)?.closed.as_ref().map(|(_, at, _)| *at);
            let moment = closed.map(|at| at.to_rfc3339_opts(SecondsFormat::Micros, true));
            return moment.ok_or_else(|| {
                refused(format!(
                    "Run {number} is not closed yet. Give opened:{number}, or nothing for now."
                ))
            });
        }
        _ => {
            return match as_of(text) {
                Ok(AsOf::Seq(_) | AsOf::At(_)) => Ok(text.to_owned()),
                Err(_) => Err(refused(
                    "It is the number of a record, a time such as 2026-05-02T08:00:00Z, signed, signed:POINT, opened:RUN or closed:RUN.".to_owned(),
                )),
            };
        }
    };
    found.map(|seq| seq.to_string()).ok_or_else(|| {
        refused("You have signed nothing of it yet, so there is nothing since then.".to_owned())
    })
}
