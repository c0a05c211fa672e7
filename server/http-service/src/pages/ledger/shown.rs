//! What the pages of the ledger show.

use chrono::{DateTime, Utc};
use maud::{Markup, PreEscaped, html};
use programme::state::State;
use store::{BackupNow, StoredEntry};

use super::{read, sentence};
use crate::pages::form::Draft;
use crate::pages::words::{moment, person};
use crate::qr::qr_as_svg;

/// A record in plain words.
#[derive(Debug, Clone)]
pub(crate) struct Line {
    pub seq: u64,
    pub said: Option<Said>,
}

/// Who recorded what, and when.
#[derive(Debug, Clone)]
pub(crate) struct Said {
    pub by: String,
    pub at: DateTime<Utc>,
    pub observed_at: Option<DateTime<Utc>>,
    pub kind: &'static str,
    pub what: String,
}

/// An entry as a line; without words where a newer program wrote it.
pub(super) fn line(state: &State, entry: &StoredEntry) -> Line {
    let said = read(entry).map(|entry| Said {
        by: person(state, &entry.by),
        at: entry.at,
        observed_at: entry.observed_at,
        kind: entry.record.kind(),
        what: sentence::of(&entry.record),
    });
    Line { seq: entry.seq, said }
}

impl Line {
    fn told(&self) -> Markup {
        html! {
            @match &self.said {
                Some(said) => { strong { (said.by) } " " (said.what) }
                None => "A record that this version of the program cannot read",
            }
        }
    }

    fn when(&self) -> Markup {
        html! {
            @if let Some(said) = &self.said {
                (moment(said.at))
                @if let Some(observed) = said.observed_at { ", observed " (moment(observed)) }
                " · " code { (said.kind) }
            }
        }
    }

    #[cfg(test)]
    fn sample(seq: u64, many: usize) -> Self {
        let said = Said {
            by: crate::pages::tests::long("Marit", many),
            at: DateTime::UNIX_EPOCH,
            observed_at: (many > 1).then_some(DateTime::UNIX_EPOCH),
            kind: "run-opened",
            what: crate::pages::tests::long("opened run 25", many),
        };
        Self { seq, said: (seq % 7 != 6).then_some(said) }
    }
}

/// The last records, and the checkpoint.
#[derive(Debug, Clone)]
pub(crate) struct LedgerPage {
    pub place: String,
    pub token: String,
    pub size: u64,
    pub root: String,
    /// Newest first.
    pub lines: Vec<Line>,
    /// Where older ones begin.
    pub older: Option<u64>,
    /// Whether these are the newest.
    pub newest: bool,
    /// How the backup gets on that is kept up beside; none where none is.
    pub backup: Option<BackupNow>,
    pub checkpoint: Option<String>,
    pub keys: Vec<String>,
}

impl LedgerPage {
    pub fn body(&self) -> Markup {
        html! {
            h1 { "Ledger" }
            p.lead { (self.size) " records, in the order in which they were made. None is ever changed or taken out; a mistake is put right by another." }
            nav.within aria-label="On this page" { a href="#records" { "Records" } a href="#check" { "Check it" } a href="#checkpoint" { "Checkpoint" } }
            section {
                h2 #records { "Records, newest first" }
                @if self.lines.is_empty() { p { "There is none." } }
                ul.calls {
                    @for line in &self.lines {
                        li { p { a href={ (self.place) "/ledger/" (line.seq) } { "No. " (line.seq) } " " (line.told()) } p.source { (line.when()) } }
                    }
                }
                p {
                    @if !self.newest { a.button href={ (self.place) "/ledger" } { "Newest" } " " }
                    @if let Some(before) = self.older { a.button href={ (self.place) "/ledger?before=" (before) } { "Older" } }
                }
            }
            (self.checking())
            (self.checkpoint())
            (self.backup())
        }
    }

    fn backup(&self) -> Markup {
        html! {
            section {
                h2 #backup { "Backup" }
                @match &self.backup {
                    None => { p { "This server keeps none up by itself. Whoever runs it can name a folder on another disk for it." } }
                    Some(BackupNow { failing_since: Some(since), whole_at, .. }) => {
                        p.standing-down role="alert" { strong { "The backup has failed since " (moment(*since)) "." } " The server's log says why. Tell whoever runs it: what is recorded now stands on one disk alone." }
                        @if let Some(whole) = whole_at { p { "It last held everything at " (moment(*whole)) "." } }
                    }
                    Some(BackupNow { whole_at: None, .. }) => { p { "The first copy of everything is being made." } }
                    Some(BackupNow { whole_at: Some(whole), records, .. }) => {
                        p { "A backup is kept up beside this ledger. It held everything at " (moment(*whole)) ": " (records) " records of all programmes." }
                    }
                }
            }
        }
    }

    fn checking(&self) -> Markup {
        let to = format!("{}/ledger/against", self.place);
        let draft = Draft::new("against", &to, &self.token, None);
        html! {
            section {
                h2 #check { "Check it" }
                p { "Every record's hash is computed again from what is on disk, and the root over all of them." }
                p { a.button href={ (self.place) "/ledger/check" } { "Check every record now" } }
                h3 { "Against a checkpoint that you kept" }
                p { "Only that finds a ledger which somebody wrote anew as a whole." }
                (draft.form(html! {
                    (draft.text("kept", "The checkpoint", "All its lines, as they were given."))
                    (draft.send("Hold it against the ledger"))
                }))
            }
        }
    }

    fn checkpoint(&self) -> Markup {
        html! {
            section {
                h2 #checkpoint { "Checkpoint" }
                dl.pairs { dt { "Records" } dd { (self.size) } dt { "Root" } dd { code.digest { (self.root) } } }
                @match &self.checkpoint {
                    None => { p { "None was signed yet: the server signs one with each record." } }
                    Some(checkpoint) => {
                        p { "Name of the ledger, size, root and the server's signature. Keep it elsewhere: photograph the code, print it, send it to somebody outside. With it anyone can tell later that nothing up to here was altered." }
                        div.seal {
                            @if let Ok(code) = qr_as_svg(checkpoint) { (PreEscaped(code)) }
                            div { pre { (checkpoint) } }
                        }
                    }
                }
                @if !self.keys.is_empty() {
                    details {
                        summary { "Keys by which checkpoints are checked" }
                        p { "Note them elsewhere than on this server." }
                        @for key in &self.keys { pre { (key) } }
                    }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            size: many as u64,
            root: "9f86d081".repeat(8),
            lines: (0..many as u64).map(|seq| Line::sample(seq, many)).collect(),
            older: (many > 10).then_some(7),
            newest: many < 10,
            checkpoint: (many > 0)
                .then(|| format!("rungbook/7d1c4f2a90be33d5/tug\n{many}\nroot\n")),
            keys: vec!["rungbook/7d1c4f2a90be33d5/tug+0123abcd+key".to_owned(); many / 3],
            backup: (many > 0).then(|| BackupNow {
                records: 4120,
                whole_at: Some(DateTime::UNIX_EPOCH),
                failing_since: (many > 1).then_some(DateTime::UNIX_EPOCH),
            }),
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(50).body()),
        ]
    }
}

/// One record.
#[derive(Debug, Clone)]
pub(crate) struct RecordPage {
    pub place: String,
    pub line: Line,
    pub leaf: String,
    /// Its text, as it is kept and hashed.
    pub text: String,
    pub size: u64,
    pub root: String,
    /// How many hashes lead from it to the root.
    pub hashes: usize,
    /// Whether they do.
    pub stands: bool,
}

impl RecordPage {
    pub fn body(&self) -> Markup {
        let seq = self.line.seq;
        html! {
            p { a href={ (self.place) "/ledger?before=" (seq.saturating_add(26)) } { "Records around it" } }
            h1 { "Record no. " (seq) }
            p.lead { (self.line.told()) }
            p.source { (self.line.when()) }
            @if self.stands {
                p.recorded { "It stands in the ledger of " (self.size) " records: " (self.hashes) " hashes lead from it to the root." }
            } @else {
                p.warn role="alert" { strong { "It does not lead to the root of the ledger." } " Stop, keep the folder as it is, and have whoever runs the server run " code { "rungbook verify" } "." }
            }
            dl.pairs {
                dt { "Digest" } dd { code.digest { (self.leaf) } }
                dt { "Root" } dd { code.digest { (self.root) } }
            }
            h2 { "As it is kept" }
            p { "The digest is SHA-256 over a zero byte and this text (RFC 9162, RFC 8785)." }
            pre { (self.text) }
            p {
                @if seq > 1 { a.button href={ (self.place) "/ledger/" (seq - 1) } { "The one before" } " " }
                @if seq < self.size { a.button href={ (self.place) "/ledger/" (seq + 1) } { "The one after" } }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            line: Line::sample(many as u64, many),
            leaf: "9f86d081".repeat(8),
            text: crate::pages::tests::long("{\"seq\":1}", many),
            size: 60,
            root: "9f86d081".repeat(8),
            hashes: 9,
            stands: many < 10,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(1).body()),
            ("worst case", page(60).body()),
        ]
    }
}
