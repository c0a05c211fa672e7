//! The recordings, and taking in a recorder's file.

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::codes::{RecorderCode, RunNumber};
use programme::nouns::RecorderFile;
use programme::people::Act;
use serde::Deserialize;

use super::around::Section;
use super::door::Member;
use super::form::{Draft, FormWithFile, Trouble, recorded_anew};
use super::words::{bytes, moment, span};
use crate::access::{Permission, Read, TakeRecordings};
use crate::api::recordings::{self, row};
use crate::desk::{Answer, View};
use crate::given::Query;
use crate::intake::{self, FileOf};
use crate::office::Office;
use crate::page::after;
use crate::problem::{INVALID, Problem};

/// Recordings of one page.
const SHOWN: usize = 50;

/// A recorder that files can be of.
#[derive(Debug, Clone)]
pub(crate) struct RecorderChoice {
    pub code: String,
    pub title: String,
    /// Whether its files do not say when they were recorded.
    pub needs_start: bool,
}

/// A recording in the list.
#[derive(Debug, Clone)]
pub(crate) struct RecordingLine {
    pub recording: String,
    pub name: String,
    pub recorder: String,
    pub started: DateTime<Utc>,
    pub ended: DateTime<Utc>,
    pub bytes: u64,
    pub rows: u64,
    pub runs: Vec<RunNumber>,
    pub set_aside: bool,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct RecordingsPage {
    pub place: String,
    pub token: String,
    pub may_take: bool,
    pub recorders: Vec<RecorderChoice>,
    /// Newest first.
    pub recordings: Vec<RecordingLine>,
    /// The number after which older ones follow.
    pub older: Option<usize>,
    pub trouble: Option<Trouble>,
}

/// Which part of the list.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Part {
    after: Option<String>,
}

impl RecordingsPage {
    fn of<P>(
        member: &Member<P>,
        view: View<'_>,
        after: Option<usize>,
        trouble: Option<Trouble>,
    ) -> Self {
        let state = view.state;
        let recorders = state.recorders.values().map(|recorder| RecorderChoice {
            code: recorder.code.to_string(),
            title: recorder.title.clone(),
            needs_start: match &recorder.file {
                RecorderFile::Csv { time, .. } => time.form.needs_start(),
                _ => false,
            },
        });
        let known = &state.recordings;
        let mut rows = known.order.iter().enumerate().rev();
        let mut older = None;
        let mut recordings = Vec::new();
        for (place, digest) in rows.by_ref() {
            if after.is_some_and(|after| place + 1 >= after) {
                continue;
            }
            let Some(row) = known.get(digest).and_then(row) else { continue };
            if recordings.len() == SHOWN {
                older = Some(place + 2);
                break;
            }
            recordings.push(RecordingLine {
                recording: row.recording.to_string(),
                name: row.name.to_owned(),
                recorder: row.recorder.to_string(),
                started: row.started,
                ended: row.ended,
                bytes: row.bytes,
                rows: row.rows,
                runs: row.runs,
                set_aside: row.set_aside,
            });
        }
        Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            may_take: member.may(Act::TakeRecordings),
            recorders: recorders.collect(),
            recordings,
            older,
            trouble,
        }
    }

    fn body(&self) -> Markup {
        html! {
            h1 { "Recordings" }
            section {
                h2 #take { "Take in a recorder's file" }
                (self.taking())
                p { "A file of a recorder that is not listed: " a href={ (self.place) "/recorders" } { "recorders, and looking at an unknown file" } "." }
            }
            section {
                h2 { "All recordings" }
                @if self.recordings.is_empty() { p { "No recording was taken in yet." } }
                ul.runs { @for line in &self.recordings { li { (self.line(line)) } } }
                @if let Some(older) = self.older { p { a.button href={ (self.place) "/recordings?after=" (older) } { "Older recordings" } } }
            }
        }
    }

    fn line(&self, line: &RecordingLine) -> Markup {
        html! {
            a href={ (self.place) "/recordings/" (line.recording) } { strong { (line.name) } }
            @if line.set_aside { " " strong { "set aside" } }
            p.source {
                "Recorder " (line.recorder) " · " (moment(line.started)) " · " (span(line.ended - line.started))
                " · " (line.rows) " rows · " (bytes(line.bytes))
            }
            p.short {
                @if line.runs.is_empty() { "Attached to no run yet." } @else {
                    "Of "
                    @for (place, run) in line.runs.iter().enumerate() {
                        @if place > 0 { ", " }
                        a href={ (self.place) "/runs/" (run) } { "run " (run) }
                    }
                }
            }
        }
    }

    fn taking(&self) -> Markup {
        let to = format!("{}/recordings", self.place);
        let draft = Draft::new("take", &to, &self.token, self.trouble.as_ref());
        let mut choices: Vec<_> = self
            .recorders
            .iter()
            .map(|it| (it.code.clone(), format!("{}: {}", it.code, it.title)))
            .collect();
        choices.insert(0, (String::new(), "choose".to_owned()));
        let relative: Vec<&str> =
            self.recorders.iter().filter(|it| it.needs_start).map(|it| it.code.as_str()).collect();
        html! {
            @if !self.may_take {
                p { "Your roles may not: that is for " (Act::TakeRecordings.allowed_in_words()) "." }
            } @else if self.recorders.is_empty() {
                p { "No recorder is described yet. Look at one of its files first: that is done once." }
            } @else {
                (draft.form_with_file(html! {
                    (draft.choice("recorder", "Recorder that wrote it", "Its columns are read as they were mapped for that recorder.", "", &choices))
                    @if !relative.is_empty() {
                        (draft.moment("began:moment?", "When the file begins", &format!("Only for {}: those files do not say it themselves.", relative.join(", ")), ""))
                    }
                    (draft.file("File", "As the recorder wrote it, not packed, at most 4 GiB. It is kept byte for byte.", None))
                    (draft.send("Take it in"))
                }))
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::long;
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            may_take: true,
            recorders: (0..many)
                .map(|place| RecorderChoice {
                    code: format!("bms-{place}"),
                    title: long("Battery monitoring", many),
                    needs_start: place % 2 == 1,
                })
                .collect(),
            recordings: (0..many)
                .map(|place| RecordingLine {
                    recording: "9f86d081".repeat(8),
                    name: long("bms_2026-05-02.csv", many),
                    recorder: "bms".to_owned(),
                    started: DateTime::UNIX_EPOCH,
                    ended: DateTime::UNIX_EPOCH,
                    bytes: 1 << (place % 40),
                    rows: u64::MAX,
                    runs: (0..place as u32).map(RunNumber).collect(),
                    set_aside: place % 2 == 1,
                })
                .collect(),
            older: (many > 10).then_some(7),
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

/// The page.
pub(crate) async fn show(member: Member<Read>, part: Query<Part>, office: Office) -> Answer {
    let after = after(part.after.as_deref())?;
    page(&office, &member, after, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    after: Option<usize>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page =
        member.look(office, |view| Ok(RecordingsPage::of(member, view, after, trouble))).await?;
    Ok(member.around("Recordings", Section::Recordings).reply(status, page.body()))
}

/// Takes a file in.
pub(crate) async fn take(
    member: Member<TakeRecordings>,
    mut sent: FormWithFile,
    office: Office,
) -> Answer {
    let acted = taken(&member, &mut sent, &office).await;
    match recorded_anew(acted, &member.place("/recordings"), "recording").await {
        Ok(reply) => Ok(reply),
        Err(problem) => {
            let trouble = sent.trouble(problem).await;
            page(&office, &member, None, Some(trouble)).await
        }
    }
}

async fn taken(
    member: &Member<TakeRecordings>,
    sent: &mut FormWithFile,
    office: &Office,
) -> Answer {
    let of = file_of(sent)?;
    let (form, path) = (sent.form.clone(), sent.path().to_owned());
    let asked = move |digest: &_| Ok(FormWithFile::asked(&form, &path, digest));
    recordings::taken(office, &member.permitted, of, sent.bits(), asked).await
}

fn file_of(sent: &FormWithFile) -> Result<FileOf, Problem> {
    let recorder = RecorderCode::new(sent.form.text("recorder")).map_err(|_| {
        Problem::of_field(INVALID, "recorder", "Choose the recorder that wrote the file.")
    })?;
    if sent.name.is_empty() {
        return Err(Problem::of_field(INVALID, "file", "Choose a file."));
    }
    let began: Began = sent.form.only(&["began:moment?"]).given()?.body;
    Ok(FileOf { recorder, name: intake::name(&sent.name)?, began: began.began })
}

/// When a file begins, where it does not say so itself.
#[derive(Debug, Deserialize)]
struct Began {
    began: Option<DateTime<Utc>>,
}
