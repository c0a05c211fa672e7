//! What the page of a result shows.

use chrono::{DateTime, Utc};
use evaluation::values::{AskedBy, wished};
use maud::{Markup, html};
use programme::codes::{IntervalNumber, PersonHandle, PointCode, RunNumber};
use programme::measure::{Measure, Unit};
use programme::nouns::{Axis, Point, Statistic};
use programme::people::Act;
use programme::record::ValueSource;
use programme::state::State;
use programme::verdict::{LimitOutcome, LimitVerdict, Outcome, of_change};

use super::Of;
use crate::api::intervals::ProposedValues;
use crate::api::points;
use crate::api::results::{ResultStanding, ResultView, result_view};
use crate::api::sign_offs::PartName;
use crate::desk::View;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Trouble};
use crate::pages::interval::{ValueLine, values_table};
use crate::pages::point::PartShown;
use crate::pages::words::{
    axis, channel_name, condition, criterion, figure, limit, moment, outcome, person, result_word,
    statistic,
};
use crate::problem::Problem;

/// One line of the verdict: what was asked, what came, and how it lies.
#[derive(Debug, Clone)]
pub(crate) struct VerdictLine {
    pub asked: String,
    pub came: Option<String>,
    pub word: &'static str,
    pub bad: bool,
}

/// A result that was recorded.
#[derive(Debug, Clone)]
pub(crate) struct Recorded {
    pub standing: ResultStanding,
    pub by: String,
    pub at: DateTime<Utc>,
    pub revision: u64,
    pub observations: String,
    pub typed_in: bool,
    /// What was measured, and where it comes from.
    pub values: Vec<(String, String, &'static str)>,
    pub verdict: Vec<VerdictLine>,
    pub channels_missing: Vec<String>,
    pub outcome: &'static str,
    pub exceeded: bool,
    pub digest: String,
}

/// A figure that is asked for.
#[derive(Debug, Clone)]
pub(crate) struct Asked {
    pub parameter: String,
    pub statistic: Statistic,
    pub unit: Unit,
    pub name: String,
    /// What asks for it.
    pub why: String,
    /// What was recorded before.
    pub before: Option<f64>,
}

/// An axis on which something is to be reached.
#[derive(Debug, Clone)]
pub(crate) struct ToReach {
    pub axis: Axis,
    pub unit: Unit,
    pub target: String,
    pub before: Option<f64>,
}

/// Values of intervals, as they are proposed: whoever records the result confirms exactly these.
#[derive(Debug, Clone)]
pub(crate) struct Filled {
    pub intervals: Vec<IntervalNumber>,
    pub values: Vec<ValueLine>,
    pub digest: String,
    /// Parameter and statistic of those that have a figure.
    given: Vec<(String, Statistic)>,
}

impl Filled {
    fn of(state: &State, seen: &ProposedValues) -> Self {
        let given = seen.values.iter().filter(|it| it.value.is_some());
        Self {
            intervals: seen.intervals.clone(),
            values: seen.values.iter().map(|it| ValueLine::of(state, it)).collect(),
            digest: seen.digest.to_string(),
            given: given.map(|it| (it.parameter.to_string(), it.statistic)).collect(),
        }
    }
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct ResultPage {
    pub place: String,
    pub token: String,
    pub now: DateTime<Utc>,
    pub run: RunNumber,
    pub point: PointCode,
    pub title: String,
    pub recorded: Option<Recorded>,
    pub may_record: bool,
    pub asked: Vec<Asked>,
    pub to_reach: Vec<ToReach>,
    /// Intervals that were taken for it: number, and what they are.
    pub intervals: Vec<(IntervalNumber, String)>,
    /// What the chosen intervals propose.
    pub filled: Option<Filled>,
    /// The acceptances, where this is the last result of the point.
    pub parts: Vec<PartShown>,
    pub trouble: Option<Trouble>,
}

impl ResultPage {
    pub fn of<P>(
        member: &Member<P>,
        view: View<'_>,
        (number, code): &Of,
        filled: Option<&ProposedValues>,
        trouble: Option<Trouble>,
    ) -> Result<Self, Problem> {
        let View { state, now } = view;
        let run = state.run(*number).ok_or_else(|| Problem::unknown("run", number))?;
        let planned = run.planned(code).ok_or_else(|| {
            Problem::unknown("point", code).clears(format!("Choose a point of run {number}."))
        })?;
        let result = state.result(*number, code).map(|(_, result)| result);
        let seen = result.map(|result| result_view(state, result)).transpose()?;
        let before = |parameter: &programme::codes::ChannelCode, of: Statistic, unit: Unit| {
            let value = seen
                .as_ref()?
                .values
                .iter()
                .find(|value| value.parameter == *parameter && value.statistic == of)?;
            Measure::new(value.value?, of_change(of, value.unit)).in_unit(of_change(of, unit))
        };
        let asked = wished(state, planned).into_iter().map(|wish| Asked {
            name: channel_name(state, &wish.parameter),
            why: wish
                .asked_by
                .iter()
                .map(|by| asked_by(state, planned, by))
                .collect::<Vec<_>>()
                .join("; "),
            before: before(&wish.parameter, wish.statistic, wish.unit),
            parameter: wish.parameter.to_string(),
            statistic: wish.statistic,
            unit: wish.unit,
        });
        let to_reach = planned.conditions.iter().map(|(at, it)| ToReach {
            axis: *at,
            unit: it.unit,
            target: condition(*it),
            before: seen.as_ref().and_then(|seen| seen.reached.get(at)?.in_unit(it.unit)),
        });
        let filled = filled.map(|seen| Filled::of(state, seen));
        let of_it = state.recordings.intervals.iter().filter(|it| {
            it.run == *number && it.point == *code && state.recordings.counts(&it.recording, it.seq)
        });
        let intervals = of_it.map(|it| {
            let (from, to) = (it.from, it.to);
            let name = state.recordings.get(&it.recording).and_then(|it| it.take());
            let name = name.map(|take| take.name.clone()).unwrap_or_default();
            let words =
                format!("{name}, {} to {} UTC", from.format("%H:%M:%S"), to.format("%H:%M:%S"));
            (it.number, words)
        });
        Ok(Self {
            intervals: intervals.collect(),
            filled,
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            now,
            run: *number,
            point: code.clone(),
            title: planned.title.clone(),
            may_record: member.may(Act::RecordResults),
            asked: asked.collect(),
            to_reach: to_reach.collect(),
            parts: parts(member, view, (*number, code))?,
            recorded: seen.map(|seen| Recorded::of(state, &seen)),
            trouble,
        })
    }

    fn here(&self) -> String {
        format!("{}/runs/{}/results/{}", self.place, self.run, self.point)
    }

    pub fn body(&self) -> Markup {
        html! {
            h1 { "Result of run " (self.run) " for " (self.point) }
            p.lead {
                a href={ (self.place) "/points/" (self.point) } { (self.point) " " (self.title) }
                " in " a href={ (self.place) "/runs/" (self.run) } { "run " (self.run) }
            }
            @match &self.recorded {
                Some(recorded) => {
                    (recorded.shown())
                    @if recorded.standing == ResultStanding::Accepted { p { strong { "Next: " } a href={ (self.place) "#next" } { "what can be done next" } } }
                }
                None => { p { "No result is recorded yet." } }
            }
            @if !self.parts.is_empty() {
                section {
                    h2 #accept { "Acceptance" }
                    p { "Two people accept a result, and neither of them recorded it." }
                    @for part in &self.parts { (part.shown(&self.here(), &self.token, self.now, self.trouble.as_ref())) }
                }
            }
            (self.recording())
        }
    }

    fn recording(&self) -> Markup {
        let to = self.here();
        let draft = Draft::new("record", &to, &self.token, self.trouble.as_ref())
            .queued("observed_at:moment");
        let refused = self.trouble.as_ref().is_some_and(|trouble| trouble.form == "record");
        html! {
            @if !self.may_record {
                @if self.recorded.is_none() { p { "Recording it is for " (Act::RecordResults.allowed_in_words()) "." } }
            } @else if self.recorded.is_some() {
                details open[refused] {
                    summary { "Record it anew, because a figure was wrong or missing" }
                    p { "The result before stays on record, and its acceptances are void." }
                    (self.form(&draft))
                }
            } @else {
                section { h2 #record { "Record the result" } (self.form(&draft)) }
            }
        }
    }

    fn form(&self, draft: &Draft<'_>) -> Markup {
        let revision = self.recorded.as_ref().map(|it| it.revision.to_string()).unwrap_or_default();
        let is_given = |it: &Asked| {
            self.filled.as_ref().is_some_and(|filled| {
                filled
                    .given
                    .iter()
                    .any(|(parameter, of)| (parameter, *of) == (&it.parameter, it.statistic))
            })
        };
        let asked: Vec<&Asked> = self.asked.iter().filter(|it| !is_given(it)).collect();
        html! { (self.offering()) (draft.form(html! {
            (draft.hidden("form.revision", revision))
            (draft.hidden("values:list", ""))
            @if let Some(filled) = &self.filled { (filled.shown(draft)) }
            @if !self.to_reach.is_empty() {
                fieldset {
                    legend { "What was really reached" }
                    @for it in &self.to_reach { (reach(draft, it)) }
                }
            }
            @if !asked.is_empty() {
                fieldset {
                    legend { "What was read off" @if self.filled.is_some() { ", since no recording has it" } }
                    p.hint { "What you leave empty is missing, and missing is never a pass." }
                    @for (place, it) in asked.iter().enumerate() { (it.field(draft, place)) }
                }
            }
            (draft.text_with("observations", "What was seen, heard and felt", "", self.recorded.as_ref().map_or("", |it| &it.observations)))
            (draft.send(if self.filled.is_some() { "Confirm these values and record the result" } else { "Record the result" }))
        })) }
    }

    /// Choosing the intervals whose values fill the result.
    fn offering(&self) -> Markup {
        let here = self.here();
        let ask = Draft::new("fill", &here, &self.token, None);
        let chosen = |number: &IntervalNumber| {
            self.filled.as_ref().is_some_and(|filled| filled.intervals.contains(number))
        };
        html! {
            @if self.intervals.is_empty() {
                p { "No interval of a recording was taken for it yet, so that its values are typed. " a href={ (self.place) "/recordings" } { "Recordings" } }
            } @else {
                (ask.asks(html! {
                    fieldset {
                        legend { "Fill it from recordings" }
                        @for (number, words) in &self.intervals {
                            (ask.tick("from", &number.to_string(), html! { "Interval " (number) span.source { " " (words) } }, chosen(number)))
                        }
                        p.send { button.quiet { "Propose their values" } }
                    }
                }))
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, long};
        let page = |many: usize, is_recorded: bool| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            now: DateTime::UNIX_EPOCH,
            run: RunNumber(25),
            point: codes(1).remove(0),
            title: long("Taxi at 28 kt", many),
            recorded: is_recorded.then(|| Recorded::sample(many)),
            may_record: true,
            asked: (0..many)
                .map(|place| Asked {
                    parameter: format!("motor_winding_t_{place}"),
                    statistic: Statistic::Max,
                    unit: Unit::Celsius,
                    name: long("Winding temperature", many),
                    why: "at most 120 °C".to_owned(),
                    before: is_recorded.then_some(83.5),
                })
                .collect(),
            to_reach: Axis::ALL[..many.min(13)]
                .iter()
                .map(|axis| ToReach {
                    axis: *axis,
                    unit: Unit::Knot,
                    target: "28 kt ± 2 kt".to_owned(),
                    before: None,
                })
                .collect(),
            intervals: (0..many as u32)
                .map(|number| (IntervalNumber(number), long("bms.csv, 09:04:40 UTC", many)))
                .collect(),
            filled: (many > 0).then(|| Filled {
                intervals: vec![IntervalNumber(1)],
                values: (0..many)
                    .map(|place| ValueLine {
                        what: long("Current, greatest", many),
                        value: (place % 2 == 0).then(|| "120 A".to_owned()),
                        more: String::new(),
                        source: long("interval 1", many),
                    })
                    .collect(),
                digest: "9f86d081".repeat(8),
                given: Vec::new(),
            }),
            parts: [PartName::EngineeringAcceptance, PartName::SafetyAcceptance]
                .map(|part| PartShown::sample(part, many))
                .to_vec(),
            trouble: None,
        };
        vec![
            ("ordinary", page(3, true).body()),
            ("empty", page(0, false).body()),
            ("worst case", page(60, true).body()),
        ]
    }
}

fn reach(draft: &Draft<'_>, it: &ToReach) -> Markup {
    let at = it.axis.as_str();
    let label = format!("{}, planned {}", axis(it.axis), it.target);
    html! {
        // An axis that is left empty was not read, so that its unit goes with it.
        (draft.measured(&format!("reached.{at}"), &label, it.unit, it.before))
    }
}

impl Filled {
    fn shown(&self, draft: &Draft<'_>) -> Markup {
        html! {
            fieldset {
                legend { "Proposed by the recordings" }
                p { "You confirm exactly these values. What is missing here and asked below can be typed; else it stays missing, which is never a pass." }
                @for number in &self.intervals { (draft.hidden("from_intervals[]:count", number.0)) }
                (draft.hidden("values_digest", &self.digest))
                (values_table(&self.values))
            }
        }
    }
}

impl Asked {
    fn field(&self, draft: &Draft<'_>, place: usize) -> Markup {
        let field = |name: &str| format!("values[{place}].{name}");
        let label = format!("{}, {}", self.name, statistic(self.statistic));
        html! {
            (draft.hidden(&field("parameter"), &self.parameter))
            (draft.hidden(&field("statistic"), self.statistic.as_str()))
            (draft.hidden(&field("unit"), self.unit.as_str()))
            (draft.figure_with(&field("value:number?"), &label, &self.why, &self.unit.to_string(), self.before))
        }
    }
}

impl Recorded {
    fn of(state: &State, seen: &ResultView<'_>) -> Self {
        let verdict = seen.verdict;
        let conditions = verdict.conditions.iter().map(|it| VerdictLine {
            asked: format!("{} {}", axis(it.axis), condition(it.condition)),
            came: it.reached.map(|value| figure(value, it.condition.unit)),
            word: outcome(it.outcome),
            bad: it.outcome != Outcome::Met,
        });
        let criteria = verdict.criteria.iter().map(|it| VerdictLine {
            asked: criterion(state, &it.criterion),
            came: it.measured.map(|value| figure(value, it.criterion.unit)),
            word: outcome(it.outcome),
            bad: it.outcome != Outcome::Met,
        });
        let limits = verdict.limits.iter().map(|it| limit_line(state, it));
        Self {
            standing: seen.standing,
            by: person(state, seen.by),
            at: seen.at,
            revision: seen.revision,
            observations: seen.observations.to_owned(),
            typed_in: seen.typed_in,
            values: seen
                .values
                .iter()
                .map(|value| {
                    let what = format!(
                        "{}, {}",
                        channel_name(state, &value.parameter),
                        statistic(value.statistic)
                    );
                    let came = value.value.map(|it| figure(it, value.unit));
                    let source = match value.source {
                        ValueSource::TypedIn {} => "typed in",
                        ValueSource::Recording { .. } => "from a recording",
                    };
                    (what, came.unwrap_or_else(|| "not measured".to_owned()), source)
                })
                .collect(),
            verdict: conditions.chain(criteria).chain(limits).collect(),
            channels_missing: verdict
                .channels_missing
                .iter()
                .map(|it| channel_name(state, it))
                .collect(),
            outcome: outcome(verdict.outcome),
            exceeded: verdict.exceeded,
            digest: seen.digest.to_string(),
        }
    }

    fn shown(&self) -> Markup {
        html! {
            p { strong { (result_word(self.standing)) } ". Recorded by " (self.by) ", " (moment(self.at)) @if self.typed_in { "; every value was typed in by a person" } "." }
            section {
                h2 #verdict { "Verdict: " (self.outcome) }
                @if self.exceeded { p.warn { strong { "A value lies beyond its limit." } " An engineer explains the exceedance, and the safety officer closes it." } }
                div.wide {
                    table {
                        thead { tr { th scope="col" { "Asked" } th scope="col" { "Came" } th scope="col" { "Verdict" } } }
                        tbody {
                            @for line in &self.verdict {
                                tr.bad[line.bad] { td { (line.asked) } td { (line.came.as_deref().unwrap_or("not measured")) } td { @if line.bad { strong { (line.word) } } @else { (line.word) } } }
                            }
                        }
                    }
                }
                @if !self.channels_missing.is_empty() { p.warn { "Had to be recorded and was not: " (self.channels_missing.join("; ")) "." } }
                h3 { "Seen, heard and felt" }
                p.prose { (self.observations) }
                details {
                    summary { "Values as recorded" }
                    ul { @for (what, came, source) in &self.values { li { (what) ": " (came) ", " (source) } } }
                }
                p.source { "Digest " code.digest { (self.digest) } ", record no. " (self.revision) }
            }
        }
    }

    #[cfg(test)]
    fn sample(many: usize) -> Self {
        use crate::pages::tests::long;
        let line = VerdictLine {
            asked: long("Winding temperature, greatest: at most 120 °C", many),
            came: (many < 10).then(|| "83.5 °C".to_owned()),
            word: "missing",
            bad: true,
        };
        Self {
            standing: ResultStanding::Open,
            by: "Marit".to_owned(),
            at: DateTime::UNIX_EPOCH,
            revision: 412,
            observations: long("Ran straight.", many),
            typed_in: true,
            values: vec![("Winding".to_owned(), "83.5 °C".to_owned(), "typed in"); many],
            verdict: vec![line; many],
            channels_missing: vec!["Isolation".to_owned(); many],
            outcome: "missing",
            exceeded: many > 10,
            digest: "9f86d081".repeat(8),
        }
    }
}

fn limit_line(state: &State, it: &LimitVerdict) -> VerdictLine {
    let known = state.limits.by_code.get(&it.limit);
    let allowed = known.map(|known| {
        format!("{}: {}", channel_name(state, &known.limit.channel), limit(&known.limit))
    });
    let unit = known.map_or(Unit::One, |known| match it.statistic {
        Statistic::TimeAbove => Unit::Second,
        other => of_change(other, known.limit.unit),
    });
    VerdictLine {
        asked: format!("{} ({})", allowed.unwrap_or_default(), it.limit),
        came: it.measured.map(|value| figure(value, unit)),
        word: match it.outcome {
            LimitOutcome::Within => "within",
            LimitOutcome::Caution => "within, past the caution value",
            LimitOutcome::Beyond => "beyond",
            LimitOutcome::Missing => "missing",
        },
        bad: matches!(it.outcome, LimitOutcome::Beyond | LimitOutcome::Missing),
    }
}

/// What asks for a figure, in words.
fn asked_by(state: &State, point: &Point, by: &AskedBy) -> String {
    match by {
        AskedBy::Criterion { place } => point
            .criteria
            .get(*place)
            .map(|it| format!("asked for: {}", crate::pages::words::comparison(it)))
            .unwrap_or_default(),
        AskedBy::Limit { limit: code } => {
            let allowed = state.limits.by_code.get(code).map(|known| limit(&known.limit));
            format!("limit {code}: {}", allowed.unwrap_or_default())
        }
        AskedBy::DataRequired {} => "has to be recorded".to_owned(),
    }
}

/// The acceptances of the point's last result, where that is the one of this run.
fn parts<P>(
    member: &Member<P>,
    view: View<'_>,
    (run, code): (RunNumber, &PointCode),
) -> Result<Vec<PartShown>, Problem> {
    let View { state, now } = view;
    let rung = points::rung(state, code)?;
    let whose = &member.visitor.handle;
    let seen = points::rung_view(state, rung, whose, now, Vec::new())?;
    let accepted_by = seen.results.iter().find(|it| it.run == run);
    let signed = |part: PartName| match part {
        PartName::EngineeringAcceptance => accepted_by.and_then(|it| it.engineering),
        PartName::SafetyAcceptance => accepted_by.and_then(|it| it.safety),
        PartName::PlanApproval | PartName::Release | PartName::Acknowledgement => None,
    };
    let name = |handle: &PersonHandle| person(state, handle);
    let refused = |part: PartName| {
        seen.refusals.iter().any(|it| it.part == part && it.run == Some(run) && it.by == whose)
    };
    let of_run = seen.to_sign.parts.into_iter().filter(|part| part.run == Some(run));
    Ok(of_run
        .map(|part| {
            let own = signed(part.part) == Some(whose) || refused(part.part);
            PartShown::of(part, own, name)
        })
        .collect())
}
