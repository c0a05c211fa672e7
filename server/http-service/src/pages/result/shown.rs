//! What the page of a result shows.

use chrono::{DateTime, Utc};
use evaluation::values::wished;
use maud::{Markup, html};
use programme::codes::{IntervalNumber, PersonHandle, PointCode, RunNumber};
use programme::measure::{Measure, Unit};
use programme::nouns::Statistic;
use programme::people::Act;
use programme::verdict::of_change;

use super::Of;
use super::asked::{Asked, Filled, ToReach, asked_by};
use super::recorded::Recorded;
use crate::api::intervals::ProposedValues;
use crate::api::points;
use crate::api::results::{ResultStanding, result_view};
use crate::api::sign_offs::PartName;
use crate::desk::View;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Trouble};
use crate::pages::point::PartShown;
use crate::pages::words::{channel_name, condition, person};
use crate::problem::Problem;

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
        let is_given = |it: &Asked| self.filled.as_ref().is_some_and(|filled| filled.gives(it));
        let asked: Vec<&Asked> = self.asked.iter().filter(|it| !is_given(it)).collect();
        html! { (self.offering()) (draft.form(html! {
            (draft.hidden("form.revision", revision))
            (draft.hidden("values:list", ""))
            @if let Some(filled) = &self.filled { (filled.shown(draft)) }
            @if !self.to_reach.is_empty() {
                fieldset {
                    legend { "What was really reached" }
                    @for it in &self.to_reach { (it.field(draft)) }
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
        use programme::nouns::Axis;

        use crate::pages::interval::ValueLine;
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
