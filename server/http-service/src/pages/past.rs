//! The past: what changed between two moments, pages as they stood, a checkpoint to print, the copy that the ledger may go on
//! from, and a clock that stands before it.

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use maud::{Markup, PreEscaped, html};
use programme::nouns::Role;
use programme::people::Act;
use programme::state::Furthest;

use super::around::Section;
use super::door::Member;
use super::form::{Draft, Form, Trouble, settled};
use super::point::Recorded;
use super::words::{moment, person};
use crate::access::{AcknowledgeCopy, CompareClock, Permission, Read};
use crate::api;
use crate::desk::Answer;
use crate::given::Query;
use crate::office::Office;
use crate::problem::Problem;
use crate::qr::qr_as_svg;

/// A checkpoint as it is printed.
#[derive(Debug, Clone)]
pub(crate) struct CheckpointShown {
    pub size: u64,
    pub text: String,
    /// The text as a code for cameras.
    pub code: String,
}

/// The copy that the ledger goes on from.
#[derive(Debug, Clone)]
pub(crate) struct CopyShown {
    pub records: u64,
    pub known: Option<u64>,
    pub acknowledged: Vec<(String, DateTime<Utc>, Role)>,
    pub missing: Vec<Role>,
}

/// A record that was made at a later time than the server's clock shows.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ClockShown {
    pub furthest: Furthest,
    pub may_compare: bool,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct PastPage {
    pub place: String,
    pub token: String,
    pub programme: String,
    pub records: u64,
    pub root: String,
    pub checkpoint: Option<CheckpointShown>,
    pub keys: Vec<String>,
    pub copy: Option<CopyShown>,
    pub may_acknowledge: bool,
    pub clock: Option<ClockShown>,
    pub made: DateTime<Utc>,
    pub trouble: Option<Trouble>,
}

impl PastPage {
    fn body(&self) -> Markup {
        html! {
            div.screen {
                h1 { "The past" }
                p.lead { (self.records) " records. Root " code.digest { (self.root) } }
            }
            @if let Some(copy) = &self.copy { (self.copied(copy)) }
            @if let Some(clock) = self.clock { (self.behind(clock)) }
            section {
                h2.screen { "A checkpoint to keep" }
                @match &self.checkpoint {
                    None => { p { "No checkpoint is signed yet." } }
                    Some(checkpoint) => {
                        p.screen { "Print it, or point a camera at it, and keep it away from this server. Later it tells whether anything up to its " (checkpoint.size) " records was changed: with the lines in a file, "
                            code { "rungbook verify --against FILE --key KEY" } "." }
                        p.screen { button type="button" data-print hidden { "Print" } }
                        article.sheet {
                            p.sheet-head { span { (self.programme) } span { "Checkpoint of " (checkpoint.size) " records" } }
                            pre.checkpoint tabindex="0" { (checkpoint.text) }
                            div.qr role="img" aria-label="The checkpoint as a code for cameras" { (PreEscaped(&checkpoint.code)) }
                            p { "Keys that sign this ledger, the oldest first:" }
                            ul { @for key in &self.keys { li { code.digest { (key) } } } }
                            p.sheet-foot { "Printed " (moment(self.made)) ". It says that the ledger had these records then; it says nothing about whether they are right, and clears nobody to fly." }
                        }
                    }
                }
            }
            section.screen {
                h2 { "What changed" }
                form method="get" action={ (self.place) "/changes" } {
                    div.field {
                        label for="from" { "From" }
                        p.hint #from-hint { "A record's number, a time such as 2026-05-02T08:00:00Z, signed (when you last signed), opened:3 or closed:3 (a run)." }
                        input #from name="from" value="signed" required aria-describedby="from-hint";
                    }
                    div.field {
                        label for="to" { "To" }
                        p.hint #to-hint { "The same. Left empty: now." }
                        input #to name="to" aria-describedby="to-hint";
                    }
                    p.send { button { "Show what changed" } }
                }
            }
            section.screen {
                h2 { "As it stood" }
                form method="get" action=(self.place) {
                    div.field {
                        label for="as_of" { "After which record, or at what time" }
                        p.hint #as-of-hint { "A record's number, or a time such as 2026-05-02T08:00:00Z." }
                        input #as_of name="as_of" required aria-describedby="as-of-hint";
                    }
                    p.hint { "Any page shows the past with as_of in its address, such as " code { (self.place) "/ladder?as_of=120" } "; so does any read of the API." }
                    p.send { button { "Show the programme then" } }
                }
            }
        }
    }

    fn copied(&self, copy: &CopyShown) -> Markup {
        let place = format!("{}/past/copy", self.place);
        let draft = Draft::new("copy", &place, &self.token, self.trouble.as_ref());
        html! {
            section.warn.screen {
                h2 { "This ledger goes on from a copy" }
                p {
                    "The copy has " (copy.records) " records. "
                    @match copy.known {
                        Some(known) => { "There had been " (known) ": the last " (known.saturating_sub(copy.records)) " are missing." }
                        None => { "How many there had been is not known here: look at what somebody kept elsewhere." }
                    }
                }
                p { "Until test lead and safety officer have both acknowledged that, nobody signs and no checkpoint is signed. Everything else can be recorded, and a stand-down can be called." }
                ul {
                    @for (name, at, role) in &copy.acknowledged { li { "Acknowledged by " (name) " as " (role.in_words()) ", " (moment(*at)) } }
                    @for role in &copy.missing { li { "Not acknowledged yet: the " (role.in_words()) } }
                }
                @if self.may_acknowledge && !copy.missing.is_empty() {
                    (draft.form(html! {
                        (draft.hidden("records:count", copy.records))
                        (draft.text("account", "What was done to find out what is missing", "Say what was recorded again, and from which notes."))
                        (draft.secret())
                        (draft.send("Acknowledge the copy"))
                    }))
                }
            }
        }
    }

    fn behind(&self, clock: ClockShown) -> Markup {
        let place = format!("{}/past/clock", self.place);
        let draft = Draft::new("clock", &place, &self.token, self.trouble.as_ref());
        html! {
            section.warn.screen #clock {
                h2 { "The server's clock stands before the ledger" }
                p { "It shows " (moment(self.made)) ", and record " (clock.furthest.seq) " was made at " (moment(clock.furthest.at)) ". One of the two is wrong, so nobody knows what has run out, and no point goes ahead." }
                p { "Set the server's clock right. If it is right now, and was wrong when that record was made, the safety officer compares it with another clock." }
                @if clock.may_compare {
                    (draft.form(html! {
                        (draft.line("shown:moment", "What the other clock shows now (UTC)", "As 2026-05-02T08:14. Read it from the other clock, not from this page.", ""))
                        (draft.text("other", "Which clock that is", "Such as a radio time signal."))
                        (draft.secret())
                        (draft.send("The server's clock is right"))
                    }))
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::long;
        let text =
            "rungbook/7d1c4f2a90be33d5/tug\n812\nKS7BGx0gNGgWcEmIzd1Gov8FNvFCkL0HqhQSkOeUJ8A=\n";
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            programme: long("Electric glider tug", many),
            records: 812,
            root: "9f86d081".repeat(8),
            checkpoint: (many > 0).then(|| CheckpointShown {
                size: 812,
                text: text.to_owned(),
                code: qr_as_svg(text).unwrap_or_default(),
            }),
            keys: vec![format!("rungbook/7d1c4f2a90be33d5/tug+0123abcd+{}", "A".repeat(44)); many],
            copy: (many > 10).then(|| CopyShown {
                records: 800,
                known: Some(812),
                acknowledged: vec![("Marit".to_owned(), DateTime::UNIX_EPOCH, Role::Lead)],
                missing: vec![Role::Safety],
            }),
            may_acknowledge: many > 10,
            clock: (many > 10).then_some(ClockShown {
                furthest: Furthest { seq: 812, at: DateTime::UNIX_EPOCH },
                may_compare: true,
            }),
            made: DateTime::UNIX_EPOCH,
            trouble: None,
        };
        vec![
            ("ordinary", page(1).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let id = &member.programme.id;
    let checkpoint = office.store.checkpoint(id, None).await?.map(|found| {
        let text = found.signed.to_string();
        let code = qr_as_svg(&text).unwrap_or_default();
        CheckpointShown { size: found.signed.checkpoint.size, text, code }
    });
    let keys = office.store.checkpoint_keys(id).await?;
    let keys = keys.map(|(_, keys)| keys).unwrap_or_default();
    let copy = office.store.copy_of(id);
    let page = office.store.read(id, |state, head| {
        let view = api::copies::copy_view(state, copy);
        PastPage {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            programme: state.title.clone(),
            records: head.size,
            root: head.root.to_string(),
            checkpoint,
            keys: keys.iter().map(ToString::to_string).collect(),
            copy: view.records.map(|records| CopyShown {
                records,
                known: view.known,
                acknowledged: view
                    .acknowledged
                    .iter()
                    .map(|it| (person(state, &it.by), it.at, it.role))
                    .collect(),
                missing: view.missing,
            }),
            may_acknowledge: member.may(Act::AcknowledgeCopy),
            clock: state.keeping.ahead_of(member.visitor.now).map(|furthest| ClockShown {
                furthest,
                may_compare: member.may(Act::CompareClock),
            }),
            made: member.visitor.now,
            trouble,
        }
    });
    let page = page.ok_or_else(|| Problem::unknown("programme", id))?;
    Ok(member
        .around("The past", Section::Past)
        .of_all_time()
        .recorded(recorded)
        .reply(status, page.body()))
}

/// Acknowledges that the ledger goes on from a copy.
pub(crate) async fn acknowledge(
    member: Member<AcknowledgeCopy>,
    form: Form,
    office: Office,
) -> Answer {
    let acted = async {
        api::copies::acknowledge(member.permitted.clone(), form.signed()?, office.clone()).await
    }
    .await;
    settled(acted, form, &member.place("/past"), async |trouble| {
        page(&office, &member, None, Some(trouble)).await
    })
    .await
}

/// Says that the server's clock is right again.
pub(crate) async fn compare_clock(
    member: Member<CompareClock>,
    form: Form,
    office: Office,
) -> Answer {
    let acted = async {
        api::clock::compare(member.permitted.clone(), form.signed()?, office.clone()).await
    }
    .await;
    settled(acted, form, &member.place("/past"), async |trouble| {
        page(&office, &member, None, Some(trouble)).await
    })
    .await
}
