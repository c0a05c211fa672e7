//! What a change would bring about, and the form that records it.

use maud::{Markup, html};
use programme::codes::{CheckCode, PointCode, RunNumber};
use programme::holds::Hold;
use programme::nouns::ItemKind;
use programme::people::Act;
use programme::state::{Amendable, State};

use super::Change;
use crate::api::changes::EffectsView;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Trouble};
use crate::pages::predictions::predicted;
use crate::pages::words::{counted, holds_list};

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct DryRunPage {
    pub place: String,
    pub token: String,
    pub change: Change,
    /// Title, kind and version of the item as it is fitted.
    pub fitted: Option<(String, ItemKind, String)>,
    pub revision: Option<u64>,
    pub lapsing: Vec<(PointCode, RunNumber, String)>,
    pub restored: Vec<(PointCode, RunNumber)>,
    /// Point, what, and why there would be none any more.
    pub predictions: Vec<(PointCode, String, Option<String>)>,
    pub checks: Vec<(CheckCode, String)>,
    pub holds: Vec<(PointCode, Vec<Hold>)>,
    pub repeat: Vec<PointCode>,
    pub covered: Vec<(PointCode, PointCode)>,
    pub records: u64,
    pub may_record: bool,
    pub trouble: Option<Trouble>,
}

impl DryRunPage {
    pub fn of<P>(
        member: &Member<P>,
        state: &State,
        change: Change,
        effects: &EffectsView,
        trouble: Option<Trouble>,
    ) -> Self {
        let item = match &change {
            Change::Fitted { item, .. } | Change::Removed { item } => Some(item),
            Change::Happened { .. } => None,
        };
        let fitted = item.and_then(|item| state.configuration.items.get(item));
        let revision = item.map(|item| state.revision(&Amendable::Item(item.clone())));
        let title = |check: &CheckCode| {
            state.checks.by_code.get(check).map(|it| it.check.title.clone()).unwrap_or_default()
        };
        Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            fitted: fitted.map(|it| (it.item.title.clone(), it.item.kind, it.item.version.clone())),
            revision: revision.filter(|revision| *revision > 0),
            lapsing: effects
                .lapsing
                .iter()
                .map(|it| (it.point.clone(), it.run, it.why.in_words()))
                .collect(),
            restored: effects.restored.iter().map(|it| (it.point.clone(), it.run)).collect(),
            predictions: effects
                .predictions
                .iter()
                .map(|it| (it.point.clone(), predicted(state, &it.what), it.gone_because.clone()))
                .collect(),
            checks: effects.checks.iter().map(|it| (it.clone(), title(it))).collect(),
            holds: effects
                .new_holds
                .iter()
                .map(|it| (it.point.clone(), it.holds.clone()))
                .collect(),
            repeat: effects.repeat.points.clone(),
            covered: effects
                .repeat
                .covered
                .iter()
                .map(|it| (it.point.clone(), it.by.clone()))
                .collect(),
            records: effects.records,
            may_record: member.may(Act::Configure),
            change,
            trouble,
        }
    }

    fn told(&self) -> String {
        let now = self.fitted.as_ref().map(|(_, _, version)| format!(", {version} now"));
        let now = now.unwrap_or_default();
        match &self.change {
            Change::Fitted { item, version } => format!("{item}{now}, would be {version}"),
            Change::Removed { item } => format!("{item}{now}, would be taken off"),
            Change::Happened { event } => format!("if this happened: {}", event.replace('-', " ")),
        }
    }

    fn point(&self, code: &PointCode) -> Markup {
        html! { a href={ (self.place) "/points/" (code) } { (code) } }
    }

    fn points<'a>(&self, codes: impl Iterator<Item = &'a PointCode>) -> Markup {
        html! { @for (place, code) in codes.enumerate() { @if place > 0 { ", " } (self.point(code)) } }
    }

    pub fn body(&self) -> Markup {
        html! {
            h1 { "What a change would undo" }
            p.lead { (self.told()) }
            p { strong { "Nothing is recorded. " } "Looked at after record no. " (self.records) ". " a href={ (self.place) "/configuration#change" } { "Ask about another change" } }
            section {
                h2 #lapsing { (counted(self.lapsing.len(), "result", "results")) " would not stand any more" }
                ul { @for (point, run, why) in &self.lapsing { li { a href={ (self.place) "/runs/" (run) "/results/" (point) } { (point) " of run " (run) } ": " (why) } } }
                @if !self.restored.is_empty() { p { "Would stand again: " (self.points(self.restored.iter().map(|(point, _)| point))) "." } }
            }
            section {
                h2 #repeat { (counted(self.repeat.len(), "point", "points")) " to show again" }
                @if self.repeat.is_empty() { p { "None." } } @else { p { "The fewest that show all of it again, in this order: " (self.points(self.repeat.iter())) "." } }
                @if !self.covered.is_empty() { ul { @for (point, by) in &self.covered { li { (self.point(point)) " is covered by " (self.point(by)) } } } }
            }
            section {
                h2 #checks { (counted(self.checks.len(), "check", "checks")) " would be due" }
                ul { @for (code, title) in &self.checks { li { (title) " " code { (code) } } } }
            }
            section {
                h2 #predictions { (counted(self.predictions.len(), "prediction", "predictions")) " would lose something that it rests on" }
                ul { @for (point, what, gone) in &self.predictions { li { (self.point(point)) ", " (what) @if let Some(gone) = gone { ": " strong { "none any more. " } (gone) } } } }
            }
            section {
                h2 #holds { (counted(self.holds.len(), "point", "points")) " would have holds that are not there now" }
                @for (point, holds) in &self.holds { details { summary { (point) ": " (counted(holds.len(), "new hold", "new holds")) } p { (self.point(point)) } (holds_list(holds)) } }
            }
            section { h2 #record { "Record it" } (self.recording()) }
        }
    }

    fn recording(&self) -> Markup {
        if !self.may_record {
            return html! { p { "Recording a change is for " (Act::Configure.allowed_in_words()) "." } };
        }
        let revision = self.revision.map(|it| it.to_string()).unwrap_or_default();
        match &self.change {
            Change::Fitted { item, version } => {
                let to = format!("{}/configuration/items", self.place);
                let draft = Draft::new("fit", &to, &self.token, self.trouble.as_ref());
                let (title, of) = self.fitted.as_ref().map_or_else(
                    || (String::new(), ItemKind::Part),
                    |(title, kind, _)| (title.clone(), *kind),
                );
                let of = if of == ItemKind::Software { "software" } else { "part" };
                let kinds = [("part", "part"), ("software", "software or parameters")]
                    .map(|(word, told)| (word.to_owned(), told.to_owned()));
                html! {
                    p { "Once it is done on the aircraft, and not before: the record says what is fitted." }
                    (draft.form(html! {
                        (draft.hidden("item", item.as_str()))
                        (draft.hidden("form.revision", revision))
                        (draft.line("title", "What it is", "", &title))
                        (draft.choice("kind", "Kind", "", of, &kinds))
                        (draft.line("version", "Version", "", version))
                        (draft.text("reason?", "Why", ""))
                        (draft.send(&format!("Record {item} as fitted")))
                    }))
                }
            }
            Change::Removed { item } => {
                let to = format!("{}/configuration/removals", self.place);
                let draft = Draft::new("remove", &to, &self.token, self.trouble.as_ref());
                draft.form(html! {
                    (draft.hidden("item", item.as_str()))
                    (draft.hidden("form.revision", revision))
                    (draft.text("reason", "Why", ""))
                    (draft.send(&format!("Record {item} as taken off")))
                })
            }
            Change::Happened { .. } => {
                html! { p { "What happened is reported with the checks that it ends." } }
            }
        }
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, holds, long};
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            change: Change::Fitted {
                item: programme::codes::ItemCode::new("inverter").unwrap(),
                version: long("I3 serial 09", many),
            },
            fitted: (many > 0).then(|| (long("Inverter", many), ItemKind::Part, "I2".to_owned())),
            revision: (many > 0).then_some(12),
            lapsing: codes(many)
                .into_iter()
                .map(|code| (code, RunNumber(3), long("the inverter was I2", many)))
                .collect(),
            restored: codes(many).into_iter().map(|code| (code, RunNumber(3))).collect(),
            predictions: codes(many)
                .into_iter()
                .map(|code| (code, "Energy".to_owned(), Some(long("no run has it", many))))
                .collect(),
            checks: (0..many)
                .map(|place| {
                    (CheckCode::new(&format!("CK-{place}")).unwrap(), long("Insulation", many))
                })
                .collect(),
            holds: codes(many).into_iter().map(|code| (code, holds(3))).collect(),
            repeat: codes(many),
            covered: codes(many).into_iter().map(|code| (code.clone(), code)).collect(),
            records: 412,
            may_record: true,
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}
