//! What the page of the configuration shows.

use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::codes::{PointCode, RunNumber};
use programme::nouns::ItemKind;
use programme::state::{Lapse, Standing, State};

use crate::pages::door::Member;
use crate::pages::form::Draft;
use crate::pages::told::Told;
use crate::pages::words::{moment, person};

/// Changes that are shown.
const CHANGES: usize = 200;

/// An item that is fitted.
#[derive(Debug, Clone)]
pub(crate) struct ItemLine {
    pub code: String,
    pub title: String,
    pub kind: &'static str,
    pub version: String,
    pub since: DateTime<Utc>,
}

/// A change of the configuration.
#[derive(Debug, Clone)]
pub(crate) struct ChangeLine {
    pub record: u64,
    pub at: DateTime<Utc>,
    pub by: String,
    pub item: String,
    pub before: Option<String>,
    pub after: Option<String>,
    pub reason: Option<String>,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct ConfigurationPage {
    pub place: String,
    pub items: Vec<ItemLine>,
    /// Newest first.
    pub changes: Vec<ChangeLine>,
    /// Happenings that end a check.
    pub events: Vec<String>,
    /// Results that lapsed since an item changed: point, run, why.
    pub lapsed: Vec<(PointCode, RunNumber, String)>,
    pub told: Option<Told>,
}

/// A kind of item in words.
pub(crate) const fn kind(kind: ItemKind) -> &'static str {
    match kind {
        ItemKind::Part => "part",
        ItemKind::Software => "software",
    }
}

impl ConfigurationPage {
    pub fn of<P>(member: &Member<P>, state: &State) -> Self {
        let items = state.configuration.items.values().map(|fitted| ItemLine {
            code: fitted.item.code.to_string(),
            title: fitted.item.title.clone(),
            kind: kind(fitted.item.kind),
            version: fitted.item.version.clone(),
            since: fitted.since,
        });
        let changes = state.configuration.changes.iter().rev().take(CHANGES);
        let changes = changes.map(|it| ChangeLine {
            record: it.seq,
            at: it.at,
            by: person(state, &it.by),
            item: it.item.to_string(),
            before: it.before.clone(),
            after: it.after.clone(),
            reason: it.reason.clone(),
        });
        let ends = state.checks.by_code.values().flat_map(|it| &it.check.validity.until);
        let mut events: Vec<String> = ends.map(ToString::to_string).collect();
        events.sort();
        events.dedup();
        let lapsed = state.results.iter().filter_map(|result| match &result.standing {
            Standing::Lapsed(why @ Lapse::ItemChanged { .. }) => {
                Some((result.point.clone(), result.run, why.in_words()))
            }
            _ => None,
        });
        Self {
            place: member.place(""),
            items: items.collect(),
            changes: changes.collect(),
            events,
            lapsed: lapsed.collect(),
            told: None,
        }
    }

    /// The page, with why what was asked of it is refused.
    pub fn refused(self, told: Told) -> Self {
        Self { told: Some(told), ..self }
    }

    pub fn body(&self) -> Markup {
        html! {
            h1 { "Configuration" }
            section {
                h2 #fitted { "What is fitted" }
                @if self.items.is_empty() { p { "Nothing is on record as fitted. An unknown configuration is a hold." } }
                @else {
                    div.wide tabindex="0" role="region" aria-label="What is fitted" {
                        table {
                            thead { tr { th scope="col" { "Item" } th scope="col" { "Version" } th scope="col" { "Since" } } }
                            tbody { @for it in &self.items { tr {
                                th scope="row" { strong { (it.title) } br; span.source { code { (it.code) } " · " (it.kind) } }
                                td { (it.version) }
                                td { (moment(it.since)) }
                            } } }
                        }
                    }
                }
            }
            section { h2 #change { "What would a change undo?" } (self.asking()) }
            section {
                h2 #lapsed { "Results that lapsed by a change" }
                @if self.lapsed.is_empty() { p { "None." } }
                ul { @for (point, run, why) in &self.lapsed {
                    li { a href={ (self.place) "/runs/" (run) "/results/" (point) } { (point) " of run " (run) } ": " (why) ". " a href={ (self.place) "/runs/" (run) "/results/" (point) "/narrowing" } { "Must it be shown again?" } }
                } }
            }
            section {
                h2 #history { "History" }
                @if self.changes.is_empty() { p { "Nothing was changed yet." } }
                ul {
                    @for it in &self.changes {
                        li {
                            strong { (it.item) } ": "
                            @match (&it.before, &it.after) {
                                (Some(before), Some(after)) => { "from " (before) " to " (after) }
                                (None, Some(after)) => { "fitted, " (after) }
                                (Some(before), None) => { "taken off, was " (before) }
                                (None, None) => { "not fitted" }
                            }
                            @if let Some(reason) = &it.reason { ". " (reason) }
                            p.source { (moment(it.at)) " by " (it.by) ", record no. " (it.record) }
                        }
                    }
                }
            }
        }
    }

    fn asking(&self) -> Markup {
        let to = format!("{}/configuration/dry-run", self.place);
        let ask = Draft::new("suppose", &to, "", None);
        let mut items = vec![(String::new(), "choose".to_owned())];
        items.extend(self.items.iter().map(|it| {
            (it.code.clone(), format!("{} ({}), {} now", it.title, it.code, it.version))
        }));
        let changes = [
            ("fitted", "a part or software is exchanged or fitted"),
            ("removed", "it is taken off"),
            ("happened", "something happened that ends a check"),
        ]
        .map(|(word, told)| (word.to_owned(), told.to_owned()));
        let mut events = vec![(String::new(), "choose".to_owned())];
        events.extend(self.events.iter().map(|it| (it.clone(), it.replace('-', " "))));
        html! {
            p { "Nothing is recorded by asking. The answer tells what would not stand any more and why, which checks would be due, and the fewest points to show again." }
            @if let Some(told) = &self.told { (told.part()) }
            (ask.asks(html! {
                (ask.choice("change", "What changes", "", "fitted", &changes))
                (ask.choice("item", "Item", "", "", &items))
                (ask.line("other", "Or the code of an item that is not fitted yet", "", ""))
                (ask.line("version", "Its new version", "As it is written on it: type, part and serial number, release.", ""))
                @if !self.events.is_empty() { (ask.choice("event", "What happened", "Only for the last of the three.", "", &events)) }
                (ask.send("Show what it would undo"))
            }))
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, long};
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            items: (0..many)
                .map(|place| ItemLine {
                    code: format!("item-{place}"),
                    title: long("Inverter", many),
                    kind: "part",
                    version: long("I2 serial 07", many),
                    since: DateTime::UNIX_EPOCH,
                })
                .collect(),
            changes: (0..many)
                .map(|place| ChangeLine {
                    record: 12,
                    at: DateTime::UNIX_EPOCH,
                    by: "Tomas".to_owned(),
                    item: "inverter".to_owned(),
                    before: (place % 2 == 0).then(|| "I2".to_owned()),
                    after: (place % 3 == 0).then(|| long("I3", many)),
                    reason: Some(long("Read twice as often.", many)),
                })
                .collect(),
            events: vec!["hard-landing".to_owned(); many.min(1)],
            lapsed: codes(many)
                .into_iter()
                .map(|code| (code, RunNumber(3), long("the inverter was I2", many)))
                .collect(),
            told: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}
