//! Evidence to take away: ordering packs and papers, how far they have come, and how whoever gets one checks it.

use actix_web::http::StatusCode;
use actix_web::http::header::{CONTENT_ENCODING, HeaderValue};
use actix_web::{HttpRequest, HttpResponse};
use maud::{Markup, html};
use programme::nouns::Phase;
use programme::scope::Scope;
use programme::state::{Run, State};
use uuid::Uuid;

use super::around::Section;
use super::door::Member;
use super::form::{Draft, Form, Trouble, settled};
use super::words::{bytes, moment};
use crate::access::Read;
use crate::api::evidence::{self as api, EvidenceOrder, EvidenceState, LOOK_AGAIN_S};
use crate::desk::Answer;
use crate::evidence::{EvidenceKind, KEPT};
use crate::given::At;
use crate::office::Office;

/// What the page shows.
#[derive(Debug)]
pub(crate) struct EvidencePage {
    place: String,
    token: String,
    /// The newest first.
    orders: Vec<EvidenceOrder>,
    /// The parts that there are: as a form sends them, and in words.
    parts: Vec<(String, String)>,
    trouble: Option<Trouble>,
}

impl EvidencePage {
    fn body(&self) -> Markup {
        let is_working = self
            .orders
            .iter()
            .any(|it| matches!(it.state, EvidenceState::Waiting | EvidenceState::BeingMade));
        html! {
            h1 { "Evidence" }
            p.lead { "What was shown, in a file that anybody can check without this server. It is made from the ledger while the rest goes on, and clears nobody to fly." }
            section {
                h2 #orders { "Ordered" }
                div #ordered data-again=[is_working.then_some(LOOK_AGAIN_S)] {
                    @if self.orders.is_empty() { p { "Nothing was ordered of late." } }
                    ul.calls { @for order in &self.orders { li { (self.order(order)) } } }
                }
                // A script tells here once that all is made; what it shows meanwhile would talk over who listens.
                p #ordered-told role="status" {}
                @if is_working { p { a href=(self.place) { "Look again" } } }
                p.source { "The last " (KEPT) " that are done are kept here for a day, or until the server starts anew. Keep a copy elsewhere: it is made again from the ledger whenever it is asked for." }
            }
            (self.pack())
            (self.paper())
            (checking())
        }
    }

    fn order(&self, order: &EvidenceOrder) -> Markup {
        html! {
            p { strong { (order.what.title()) } " of " (order.scope.to_string()) @if order.digests_only { ", recordings by their digests" } }
            @match order.state {
                EvidenceState::Waiting => {
                    p { strong { "Waits. " } @match order.ahead { Some(1) => "One is made before it.", Some(ahead) if ahead > 1 => { (ahead) " are made before it." }, _ => "It is next." } }
                }
                EvidenceState::BeingMade => { (being_made(order)) }
                EvidenceState::Ready => { p { strong { "Ready. " } "The server keeps it for a while; fetch it now." } }
                EvidenceState::Failed => { p { strong { "Not made. " } (order.why.as_deref().unwrap_or_default()) } }
            }
            @if let Some(file) = &order.file {
                p { a href={ (self.place) "/" (order.order) "/file" } download=(file.name) { "Download " (file.name) } ", " (bytes(file.bytes)) }
                p { "SHA-256 " code.digest { (file.sha256.to_string()) } }
                p.source { "Of " (file.records) " records, root " code.digest { (file.root.to_string()) } ". Kept until " (moment(file.kept_until)) "." }
            }
            p.source { "Ordered by " (order.by) ", " (moment(order.at)) "." }
        }
    }

    fn pack(&self) -> Markup {
        let draft = Draft::new("pack", &self.place, &self.token, self.trouble.as_ref());
        html! {
            section {
                h2 #pack { "Order a pack" }
                p { (EvidenceKind::Pack.is_for()) " It is of the last signed checkpoint." }
                (draft.form(html! {
                    (draft.hidden("what", "pack"))
                    (draft.choice("scope:chosen", "Of which part", "A part leaves records out that are about other points and runs; the whole programme leaves nothing out.", &whole(), &self.parts))
                    (draft.tick("digests_only:chosen", "true", html! { "Leave recorder files out and name them by their SHA-256 (a much smaller file)" }, false))
                    (draft.send("Order the pack"))
                }))
            }
        }
    }

    fn paper(&self) -> Markup {
        let draft = Draft::new("paper", &self.place, &self.token, self.trouble.as_ref());
        let papers: Vec<(String, String)> = EvidenceKind::ALL
            .iter()
            .filter(|kind| **kind != EvidenceKind::Pack)
            .map(|kind| {
                let name = serde_json::to_value(kind).unwrap_or_default();
                let title = match kind.draft() {
                    Some(draft) => format!("{} (draft)", draft.title()),
                    None => kind.title().to_owned(),
                };
                (name.as_str().unwrap_or_default().to_owned(), title)
            })
            .collect();
        html! {
            section {
                h2 #paper { "Order a paper" }
                p { "A PDF to read. A draft is to be completed and signed by people; the authority's current text rules, and no form of theirs is imitated." }
                dl.pairs {
                    @for kind in EvidenceKind::ALL.iter().filter(|kind| **kind != EvidenceKind::Pack) {
                        dt { (kind.title()) } dd { (kind.is_for()) }
                    }
                }
                (draft.form(html! {
                    (draft.choice("what", "Which", "", "evidence-document", &papers))
                    (draft.choice("scope:chosen", "Of which part", "Drafts are of the whole programme.", &whole(), &self.parts))
                    (draft.send("Order the paper"))
                }))
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::{codes, long};
        use crate::api::evidence::EvidenceFile;
        use chrono::DateTime;
        let order = |place: usize, many: usize| {
            let state = match place % 4 {
                0 => EvidenceState::Ready,
                1 => EvidenceState::BeingMade,
                2 => EvidenceState::Failed,
                _ => EvidenceState::Waiting,
            };
            let file = EvidenceFile {
                path: String::new(),
                name: long("tug-pack.zip", many),
                media_type: "application/zip",
                bytes: 1 << 33,
                sha256: "ab".repeat(32).try_into().unwrap_or_else(|_| unreachable!()),
                records: 123_456,
                root: programme::ledger::NodeHash::from_bytes([7; 32]),
                kept_until: DateTime::UNIX_EPOCH,
            };
            EvidenceOrder {
                order: Uuid::nil(),
                what: EvidenceKind::ALL[place % EvidenceKind::ALL.len()],
                scope: Scope::Point { point: codes(place + 1).remove(place) },
                digests_only: place.is_multiple_of(2),
                by: "marit".parse().unwrap_or_else(|_| unreachable!()),
                at: DateTime::UNIX_EPOCH,
                state,
                ahead: Some(place as u64),
                done: (place > 1).then_some(1),
                of: (place > 1).then_some(3),
                file: (state == EvidenceState::Ready).then_some(file),
                why: Some(long("Nothing in the ledger is about the day.", many)),
            }
        };
        let page = |many: usize| Self {
            place: "/programmes/tug/evidence".to_owned(),
            token: "0".repeat(64),
            orders: (0..many).map(|place| order(place, many)).collect(),
            parts: std::iter::once((whole(), "The whole programme".to_owned()))
                .chain(
                    codes(many)
                        .into_iter()
                        .map(|point| (long(point.as_str(), many), long("Point", many))),
                )
                .collect(),
            trouble: None,
        };
        vec![
            ("ordinary", page(4).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

fn being_made(order: &EvidenceOrder) -> Markup {
    html! {
        @match (order.done, order.of) {
            (Some(done), Some(of)) if of > 0 => {
                p.going {
                    "Being made: " (done.saturating_mul(100) / of) " %. "
                    progress value=(done) max=(of) aria-label="Made so far" {}
                }
            }
            _ => { p { strong { "Being made. " } "What is to be read is set first, which takes a while." } }
        }
    }
}

fn checking() -> Markup {
    html! {
        section {
            h2 #checking { "How whoever gets it checks it" }
            p { "A pack is checked on any machine, without this server:" }
            p { code { "rungbook verify --pack FILE --against CHECKPOINT" } }
            p {
                "CHECKPOINT is one that was kept elsewhere before, such as by the inspector, from the page \"Ledger\": only against one is a ledger found which somebody wrote anew as a whole. "
                "The README in the pack tells how to check all of it without this program, and has the shape of each record in its folder \"schemas\". "
                code { "sha256sum FILE" } " has to give the SHA-256 above, told by somebody and not by this server alone."
            }
            p.caution {
                "It shows what was recorded, by whom, in which order, and not altered since; not that it is true, and not that anything may be flown. "
                "The document in a pack, and a paper, are to be read and are bound to nothing: each page names the size and root of the ledger that it was made of. "
                "The authority's permit and conditions, local rules, the pilot in command and licensed inspectors come first."
            }
        }
    }
}

fn whole() -> String {
    as_sent(&Scope::Programme)
}

fn as_sent(scope: &Scope) -> String {
    serde_json::to_string(scope).unwrap_or_default()
}

/// Every part of a programme: phases that have points, days on which something was run, and points.
fn parts(state: &State) -> Vec<(String, String)> {
    let mut days: Vec<_> = state.runs.iter().map(Run::day).collect();
    days.sort_unstable();
    days.dedup();
    let has = |phase: &Phase| state.ladder.rungs().iter().any(|rung| rung.point.phase == *phase);
    let phases = Phase::ALL.into_iter().filter(has);
    let phases = phases.map(|phase| (Scope::Phase { phase }, format!("Phase {phase}")));
    let days = days.into_iter().rev().map(|day| (Scope::Day { day }, format!("Day {day} (UTC)")));
    let points = state.ladder.rungs().iter().map(|rung| {
        let point = &rung.point;
        (
            Scope::Point { point: point.code.clone() },
            format!("Point {}: {}", point.code, point.title),
        )
    });
    std::iter::once((Scope::Programme, "The whole programme".to_owned()))
        .chain(phases)
        .chain(days)
        .chain(points)
        .map(|(scope, words)| (as_sent(&scope), words))
        .collect()
}

/// The page.
pub(crate) async fn show(member: Member<Read>, office: Office) -> Answer {
    page(&member, &office, None).await
}

async fn page(member: &Member<Read>, office: &Office, trouble: Option<Trouble>) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let orders = office.evidence.of_programme(&member.programme.id, office.now());
    let page = EvidencePage {
        place: member.place("/evidence"),
        token: member.visitor.form_token.clone(),
        orders: orders.iter().map(|order| api::view(order, &office.evidence)).collect(),
        // What can be ordered is told as it is now: nothing is made of the past.
        parts: office.look(&member.permitted, None, |view| Ok(parts(view.state))).await?,
        trouble,
    };
    let around = member.around("Evidence", Section::Evidence).of_all_time();
    Ok(around.reply(status, page.body()))
}

/// Orders something.
pub(crate) async fn order(member: Member<Read>, form: Form, office: Office) -> Answer {
    let acted =
        async { api::order(member.permitted.clone(), form.given()?, office.clone()).await }.await;
    settled(acted, form, &member.place("/evidence"), async |trouble| {
        page(&member, &office, Some(trouble)).await
    })
    .await
}

/// The file of an order.
pub(crate) async fn file(
    member: Member<Read>,
    order: At<Uuid>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let mut reply: HttpResponse =
        api::fetch(&member.permitted, *order, request.headers(), &office)?;
    // Packed already: it goes out as it is, so that its size is told and nothing is packed twice.
    reply.headers_mut().insert(CONTENT_ENCODING, HeaderValue::from_static("identity"));
    Ok(reply)
}
