//! What the page of an interval shows.

use chrono::{DateTime, Utc};
use flight_science::catalogue::{self, Field};
use maud::{Markup, html};
use programme::codes::{IntervalNumber, PointCode, ReductionNumber, RunNumber};
use programme::people::Act;
use programme::record::IntervalBasis;
use programme::state::{Reduction, State};
use recordings::reduce::{self, reductions};

use super::values::{ValueLine, values_table};
use crate::api::intervals::ProposedValues;
use crate::desk::View;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Trouble};
use crate::pages::told::Told;
use crate::pages::words::{channel_name, exact, moment, person, rounded, short, span};
use crate::problem::{Problem, capitalised};

/// A reduction that was made of the interval.
#[derive(Debug, Clone)]
pub(crate) struct ReductionLine {
    pub number: ReductionNumber,
    pub method: String,
    pub version: String,
    pub by: String,
    pub at: DateTime<Utc>,
    pub counts: bool,
    pub replaced: bool,
    /// What came out, a figure a line.
    pub figures: Vec<(String, String)>,
    pub beyond: Vec<String>,
}

impl ReductionLine {
    fn of(state: &State, made: &Reduction) -> Self {
        let result: serde_json::Value = serde_json::from_str(&made.result).unwrap_or_default();
        let known = reduce::reduction(&made.topic);
        let figure = |it: &reduce::Figure| {
            let value = result["output"].pointer(it.pointer)?.as_f64()?;
            Some((it.meaning.to_owned(), format!("{} {}", rounded(value), it.unit)))
        };
        let extrapolated = result["extrapolated"].as_array().into_iter().flatten();
        Self {
            number: made.number,
            method: made.topic.clone(),
            version: made.version.clone(),
            by: person(state, &made.by),
            at: made.at,
            counts: state.recordings.reduction_counts(made),
            replaced: made.replaced_by.is_some(),
            figures: known
                .map(|known| known.figures.iter().filter_map(figure).collect())
                .unwrap_or_default(),
            beyond: extrapolated.filter_map(|it| beyond(known, it)).collect(),
        }
    }
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct IntervalPage {
    pub place: String,
    pub token: String,
    pub interval: IntervalNumber,
    pub run: RunNumber,
    pub point: PointCode,
    pub recording: String,
    pub by: String,
    pub at: DateTime<Utc>,
    pub from: DateTime<Utc>,
    pub to: DateTime<Utc>,
    pub how: String,
    pub counts: bool,
    pub values: Vec<ValueLine>,
    /// Why no value can be proposed.
    pub no_values: Option<Told>,
    pub outcome: &'static str,
    pub reductions: Vec<ReductionLine>,
    pub may_reduce: bool,
    pub may_record: bool,
    /// The method that was chosen.
    pub method: Option<&'static reduce::Reduction>,
    /// Channels of the run's recordings: code and words.
    pub channels: Vec<(String, String)>,
    /// Parameters of the point's criteria, which a figure can fill.
    pub parameters: Vec<(String, String)>,
    pub trouble: Option<Trouble>,
}

impl IntervalPage {
    pub fn of<P>(
        member: &Member<P>,
        view: View<'_>,
        number: IntervalNumber,
        (proposed, method): (Result<ProposedValues, Told>, Option<&str>),
        trouble: Option<Trouble>,
    ) -> Result<Self, Problem> {
        let state = view.state;
        let known = state.recordings.interval(number);
        let known = known.ok_or_else(|| Problem::unknown("interval", number))?;
        let made =
            state.recordings.reductions.iter().rev().filter(|it| it.interval == Some(number));
        let mut channels: Vec<(String, String)> = state
            .recordings
            .of_run(known.run)
            .filter_map(|it| it.take())
            .flat_map(|take| &take.channels)
            .map(|held| {
                let unit = state.channels.get(&held.channel).map(|it| it.unit.to_string());
                let told = format!(
                    "{} ({})",
                    channel_name(state, &held.channel),
                    unit.unwrap_or_default()
                );
                (held.channel.to_string(), told)
            })
            .collect();
        channels.sort();
        channels.dedup();
        let planned = state.run(known.run).and_then(|run| run.planned(&known.point));
        let parameters = planned.map(|point| {
            let derived = point.criteria.iter().filter(|it| {
                state.channels.get(&it.parameter).is_none_or(|it| it.derived_from.is_some())
            });
            derived
                .map(|it| (it.parameter.to_string(), channel_name(state, &it.parameter)))
                .collect()
        });
        let (values, no_values, outcome) = match proposed {
            Ok(seen) => {
                let lines = seen.values.iter().map(|it| ValueLine::of(state, it)).collect();
                let outcome = match seen.verdict.outcome {
                    programme::verdict::Outcome::Met => "met",
                    programme::verdict::Outcome::NotMet => "not met",
                    programme::verdict::Outcome::Missing => "something is missing",
                };
                (lines, None, outcome)
            }
            Err(told) => (Vec::new(), Some(told), ""),
        };
        Ok(Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            interval: number,
            run: known.run,
            point: known.point.clone(),
            recording: known.recording.to_string(),
            by: person(state, &known.by),
            at: known.at,
            from: known.from,
            to: known.to,
            how: how(&known.how),
            counts: state.recordings.counts(&known.recording, known.seq),
            values,
            no_values,
            outcome,
            reductions: made.map(|it| ReductionLine::of(state, it)).collect(),
            may_reduce: member.may(Act::MakeReductions),
            may_record: member.may(Act::RecordResults),
            method: method.and_then(reduce::reduction),
            channels,
            parameters: parameters.unwrap_or_default(),
            trouble,
        })
    }

    pub fn body(&self) -> Markup {
        let query = format!(
            "from={}&to={}",
            super::super::plot::instant(self.from),
            super::super::plot::instant(self.to)
        );
        html! {
            h1 { "Interval " (self.interval) " for " (self.point) }
            p.lead { (exact(self.from)) " to " (exact(self.to)) ", " (span(self.to - self.from)) ", " (self.how) }
            p {
                "Of recording " a href={ (self.place) "/recordings/" (self.recording) } { (short(&self.recording)) }
                ", " a href={ (self.place) "/runs/" (self.run) } { "run " (self.run) }
                ". Taken by " (self.by) ", " (moment(self.at)) ". "
                a href={ (self.place) "/recordings/" (self.recording) "/plot?" (query) } { "Plot it" }
            }
            @if !self.counts { p.warn { "Its recording was set aside, so that it counts for nothing." } }
            section {
                h2 #values { "Values that it proposes" }
                @match &self.no_values {
                    Some(told) => { (told.part()) }
                    None => {
                        p { "By these alone the verdict would be: " strong { (self.outcome) } ". Nothing is recorded until a person confirms them." }
                        @if self.values.is_empty() { p { "Neither a criterion nor a limit of the point asks for anything." } }
                        @else { (values_table(&self.values)) }
                        @if self.may_record && self.counts { p { a.button href={ (self.place) "/runs/" (self.run) "/results/" (self.point) "?from=" (self.interval) "#record" } { "Fill the result from it" } } }
                    }
                }
            }
            (self.made())
            (self.making())
        }
    }

    fn made(&self) -> Markup {
        html! {
            section {
                h2 #reductions { "Reductions" }
                @if self.reductions.is_empty() { p { "None was made of it." } }
                ul.groups {
                    @for it in &self.reductions {
                        li {
                            p { strong { "Reduction " (it.number) ", " (it.method) } @if it.replaced { ", replaced by a later one" } @if !it.counts { ", " strong { "does not count" } } }
                            dl.pairs { @for (what, came) in &it.figures { dt { (what) } dd { (came) } } }
                            @for beyond in &it.beyond { p.warn { "Extrapolated past what was recorded: " (beyond) ". It fills no result." } }
                            p.source { "By " (it.by) ", " (moment(it.at)) ", version " (it.version) }
                        }
                    }
                }
            }
        }
    }

    fn making(&self) -> Markup {
        let here = format!("{}/intervals/{}", self.place, self.interval);
        let ask = Draft::new("choose", &here, &self.token, None);
        let methods: Vec<_> =
            reductions().iter().map(|it| (it.name.to_owned(), it.title.to_owned())).collect();
        html! {
            @if !self.may_reduce {
                p { "Making reductions is for " (Act::MakeReductions.allowed_in_words()) "." }
            } @else if self.counts {
                section {
                    h2 #reduce { "Make a reduction" }
                    (ask.asks(html! {
                        (ask.choice("method", "Method", "", self.method.map_or("", |it| it.name), &methods))
                        p.send { button.quiet { "What it needs" } }
                    }))
                    @if let Some(method) = self.method { (self.with(method)) }
                }
            }
        }
    }

    fn with(&self, method: &'static reduce::Reduction) -> Markup {
        let to = format!("{}/intervals/{}/reductions", self.place, self.interval);
        let draft = Draft::new("reduce", &to, &self.token, self.trouble.as_ref());
        let mut channels = vec![(String::new(), "none".to_owned())];
        channels.extend(self.channels.iter().cloned());
        let mut figures = vec![(String::new(), "not filled".to_owned())];
        figures.extend(method.figures.iter().map(|it| {
            let told = format!("{} ({})", it.meaning, it.unit);
            (it.pointer.to_owned(), told)
        }));
        html! {
            p { (method.gives) }
            details { summary { "How it is worked" } ol { @for step in method.steps { li { (step) } } } }
            (draft.form(html! {
                (draft.hidden("method", method.name))
                @for role in method.needs {
                    @let unit = if role.unit.is_empty() { "any unit".to_owned() } else { format!("in {}", role.unit) };
                    @let needed = if role.required { "" } else { ", may be left out" };
                    (draft.choice(&format!("channels.{}?", role.name), &format!("{} ({unit}{needed})", role.name.replace('_', " ")), role.meaning, "", &channels))
                }
                @if !method.given.is_empty() {
                    fieldset {
                        legend { "Figures that no channel has" }
                        @for field in method.given { (given(&draft, method, field)) }
                    }
                }
                @for (parameter, name) in &self.parameters {
                    (draft.choice(&format!("fills.{parameter}?"), &format!("Fills {name}"), "", "", &figures))
                }
                (draft.send("Make the reduction"))
            }))
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, long};
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            interval: IntervalNumber(3),
            run: RunNumber(3),
            point: codes(1).remove(0),
            recording: "0".repeat(64),
            by: "Tomas".to_owned(),
            at: DateTime::UNIX_EPOCH,
            from: DateTime::UNIX_EPOCH,
            to: DateTime::UNIX_EPOCH,
            how: "from off blocks to on blocks".to_owned(),
            counts: many < 10,
            values: (0..many)
                .map(|place| ValueLine {
                    what: long("Winding, greatest", many),
                    value: (place % 2 == 0).then(|| "83.5 °C".to_owned()),
                    more: long("at 09:12:04 UTC", many),
                    source: long("interval 3", many),
                })
                .collect(),
            no_values: None,
            outcome: "met",
            reductions: (0..many as u32)
                .map(|number| ReductionLine {
                    number: ReductionNumber(number),
                    method: "energy".to_owned(),
                    version: "1".to_owned(),
                    by: "Tomas".to_owned(),
                    at: DateTime::UNIX_EPOCH,
                    counts: true,
                    replaced: false,
                    figures: vec![("Energy".to_owned(), "3.2 kWh".to_owned())],
                    beyond: vec![long("at 60 kt", many); many.min(5)],
                })
                .collect(),
            may_reduce: true,
            may_record: true,
            method: (many > 0).then(|| reductions()[many % reductions().len()]),
            channels: (0..many)
                .map(|place| (format!("c_{place}"), long("Current", many)))
                .collect(),
            parameters: vec![("brake_distance".to_owned(), long("Braking distance", many))],
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

/// The field of a figure that no channel has; of a thing of several figures, each of them, as the topic tells them.
fn given(draft: &Draft<'_>, method: &reduce::Reduction, field: &Field) -> Markup {
    let inner = format!("{}.", field.name);
    let of_it = catalogue::topic(method.topic).map(|topic| topic.inputs).unwrap_or_default();
    let of_it = of_it.iter().filter(|it| it.name.starts_with(&inner));
    html! {
        @match field.unit {
            "object" => {
                fieldset {
                    legend { (in_words(field.name)) ", may be left out" }
                    p.hint { (field.meaning) }
                    @for it in of_it { (figure_of(draft, it, &in_words(&it.name[inner.len()..]))) }
                }
            }
            "text" => { (draft.line(&format!("given.{}?", field.name), &in_words(field.name), field.meaning, "")) }
            _ => { (figure_of(draft, field, &in_words(field.name))) }
        }
    }
}

fn figure_of(draft: &Draft<'_>, field: &Field, label: &str) -> Markup {
    let (name, unit) = (format!("given.{}:number?", field.name), unit_in_words(field.unit));
    let needed = if field.required { "" } else { ", may be left out" };
    draft.figure(&name, &format!("{label}{needed}"), field.meaning, unit)
}

/// The name of a field without its unit, which stands behind the field.
fn in_words(name: &str) -> String {
    const UNITS: [&str; 11] =
        ["_kt_per_s", "_kg", "_m2", "_m", "_s", "_kt", "_fpm", "_deg", "_ft", "_c", "_kw"];
    let plain = UNITS.iter().find_map(|unit| name.strip_suffix(unit)).unwrap_or(name);
    capitalised(&plain.replace('_', " "))
}

/// A unit of the flight science as people write it.
fn unit_in_words(unit: &str) -> &str {
    match unit {
        "m2" => "m²",
        "deg" => "°",
        "ratio" => "(a ratio)",
        other => other,
    }
}

/// A part of an answer that lies beyond what was recorded, in words.
fn beyond(method: Option<&reduce::Reduction>, told: &serde_json::Value) -> Option<String> {
    let pointer = told["pointer"].as_str()?;
    let figures = method.map_or(&[][..], |method| method.figures);
    let named: Vec<_> =
        figures.iter().filter(|it| it.pointer.starts_with(pointer)).map(|it| it.meaning).collect();
    let what = if named.is_empty() {
        pointer.trim_start_matches('/').replace('/', ", ").replace('_', " ")
    } else {
        named.join(", ")
    };
    Some(match told["percent"].as_f64() {
        Some(percent) => format!("{what}: {} % beyond", rounded(percent)),
        None => format!("{what}: there is nothing recorded to compare it with"),
    })
}

fn how(basis: &IntervalBasis) -> String {
    let mark = |mark: &programme::record::EventMark| {
        let number = if mark.number > 1 { format!(" {}", mark.number) } else { String::new() };
        let after =
            if mark.after_s == 0.0 { String::new() } else { format!(" {:+} s", mark.after_s) };
        format!("{}{number}{after}", mark.event.in_words())
    };
    match basis {
        IntervalBasis::EventMarks { from, to } => format!("from {} to {}", mark(from), mark(to)),
        IntervalBasis::Times {} => "from time to time".to_owned(),
        IntervalBasis::Conditions { held, at_least_s } => {
            let held: Vec<_> = held
                .iter()
                .map(|it| format!("{} at {} ± {} {}", it.channel, it.target, it.tolerance, it.unit))
                .collect();
            format!("where {} for at least {at_least_s} s", held.join(" and "))
        }
    }
}
