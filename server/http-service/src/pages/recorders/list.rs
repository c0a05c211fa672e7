//! What the page with all recorders shows.

use maud::{Markup, html};
use programme::nouns::Recorder;
use programme::state::State;

use crate::pages::door::Member;
use crate::pages::form::{Draft, Trouble};
use crate::pages::words::counted;

/// Of a file so many bytes are looked at.
const LOOKED_AT: usize = 1024 * 1024;

/// A recorder in the list.
#[derive(Debug, Clone)]
pub(crate) struct RecorderLine {
    pub code: String,
    pub title: String,
    pub format: &'static str,
    pub columns: usize,
}

/// The page with all recorders.
#[derive(Debug, Clone)]
pub(crate) struct RecordersPage {
    pub place: String,
    pub token: String,
    pub recorders: Vec<RecorderLine>,
    pub trouble: Option<Trouble>,
}

impl RecordersPage {
    pub fn of<P>(member: &Member<P>, state: &State, trouble: Option<Trouble>) -> Self {
        let line = |recorder: &Recorder| RecorderLine {
            code: recorder.code.to_string(),
            title: recorder.title.clone(),
            format: recorder.file.as_str(),
            columns: recorder.columns.len(),
        };
        Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            recorders: state.recorders.values().map(line).collect(),
            trouble,
        }
    }

    pub fn body(&self) -> Markup {
        let to = format!("{}/recorders/look", self.place);
        let draft = Draft::new("look", &to, &self.token, self.trouble.as_ref());
        let formats = [
            ("csv", "rows of text with a header (CSV)"),
            ("igc", "flight recorder of the International Gliding Commission (IGC)"),
            ("nmea", "sentences of a satellite receiver (NMEA 0183)"),
            ("gpx", "GPS exchange format (GPX)"),
            ("dbc", "database of a CAN bus (DBC), by which its recorder is described first"),
            ("candump", "frames of a CAN bus (candump), by a recorder that has its database"),
        ];
        let formats: Vec<_> =
            formats.map(|(word, told)| (word.to_owned(), told.to_owned())).to_vec();
        let mut eyes = vec![(String::new(), "none: the file is new".to_owned())];
        eyes.extend(
            self.recorders.iter().map(|it| (it.code.clone(), format!("{}: {}", it.code, it.title))),
        );
        html! {
            h1 { "Recorders" }
            p { "A recorder is mapped once: which column of its files is which channel, in which unit, with which sign and scale. Every later file of it is then read alike." }
            section {
                h2 { "Recorders that are known" }
                @if self.recorders.is_empty() { p { "None yet." } }
                ul.plain {
                    @for it in &self.recorders {
                        li { a href={ (self.place) "/recorders/" (it.code) } { strong { (it.code) } " " (it.title) } p.source { (it.format) " · " (counted(it.columns, "column", "columns")) " mapped" } }
                    }
                }
            }
            section {
                h2 #unknown { "Look at an unknown file" }
                p { "Nothing is recorded by looking. The page tells what the file has and which channel each column may be, and why; a person decides." }
                (draft.form_with_file(html! {
                    (draft.choice("format", "What kind of file it is", "", "csv", &formats))
                    (draft.choice("recorder?", "By the eyes of a recorder", "To see whether a file still fits how that recorder was mapped.", "", &eyes))
                    (draft.file("File", "Its first mebibyte is looked at; a file of more than 64 MiB is cut first.", Some(LOOKED_AT)))
                    (draft.send("Look at it"))
                }))
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::long;
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            recorders: (0..many)
                .map(|place| RecorderLine {
                    code: format!("bms-{place}"),
                    title: long("Battery monitoring", many),
                    format: "csv",
                    columns: many,
                })
                .collect(),
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}
