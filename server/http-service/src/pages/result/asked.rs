//! What is asked for when a result is recorded: figures, what was reached, and values that recordings propose.

use evaluation::values::AskedBy;
use maud::{Markup, html};
use programme::codes::IntervalNumber;
use programme::measure::Unit;
use programme::nouns::{Axis, Point, Statistic};
use programme::state::State;

use crate::api::intervals::ProposedValues;
use crate::pages::form::Draft;
use crate::pages::interval::{ValueLine, values_table};
use crate::pages::words::{axis, comparison, limit, statistic};

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
    pub given: Vec<(String, Statistic)>,
}

impl Filled {
    pub fn of(state: &State, seen: &ProposedValues) -> Self {
        let given = seen.values.iter().filter(|it| it.value.is_some());
        Self {
            intervals: seen.intervals.clone(),
            values: seen.values.iter().map(|it| ValueLine::of(state, it)).collect(),
            digest: seen.digest.to_string(),
            given: given.map(|it| (it.parameter.to_string(), it.statistic)).collect(),
        }
    }

    /// Whether the recordings propose that figure.
    pub fn gives(&self, it: &Asked) -> bool {
        self.given.iter().any(|(parameter, of)| (parameter, *of) == (&it.parameter, it.statistic))
    }

    pub fn shown(&self, draft: &Draft<'_>) -> Markup {
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

impl ToReach {
    pub fn field(&self, draft: &Draft<'_>) -> Markup {
        let at = self.axis.as_str();
        let label = format!("{}, planned {}", axis(self.axis), self.target);
        html! {
            // An axis that is left empty was not read, so that its unit goes with it.
            (draft.measured(&format!("reached.{at}"), &label, self.unit, self.before))
        }
    }
}

impl Asked {
    pub fn field(&self, draft: &Draft<'_>, place: usize) -> Markup {
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

/// What asks for a figure, in words.
pub(super) fn asked_by(state: &State, point: &Point, by: &AskedBy) -> String {
    match by {
        AskedBy::Criterion { place } => point
            .criteria
            .get(*place)
            .map(|it| format!("asked for: {}", comparison(it)))
            .unwrap_or_default(),
        AskedBy::Limit { limit: code } => {
            let allowed = state.limits.by_code.get(code).map(|known| limit(&known.limit));
            format!("limit {code}: {}", allowed.unwrap_or_default())
        }
        AskedBy::DataRequired {} => "has to be recorded".to_owned(),
    }
}
