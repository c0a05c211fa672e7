//! What is coming: planned days, and what comes to its end; and the private link for people's calendars.

use actix_web::HttpRequest;
use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::dates::{Coming, DateKind, coming};

use super::around::Section;
use super::door::{Member, host, is_secure};
use super::form::{Draft, Form};
use super::words::{SOON, moment};
use crate::access::Read;
use crate::api::calendars;
use crate::desk::Answer;
use crate::office::Office;

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct DatesPage {
    place: String,
    token: String,
    now: DateTime<Utc>,
    dates: Vec<Coming>,
    link: LinkShown,
}

/// What is told of the reader's private link.
#[derive(Debug, Clone)]
enum LinkShown {
    /// They have none.
    Nothing,
    /// It was made before; it is told only once.
    Since(DateTime<Utc>),
    /// It was made just now.
    New { address: String },
}

impl DatesPage {
    fn body(&self) -> Markup {
        let (over, ahead): (Vec<_>, Vec<_>) =
            self.dates.iter().partition(|date| date.until.unwrap_or(date.at) < self.now);
        html! {
            h1 { "Dates" }
            p.lead { "Days that are planned, and what comes to its end. A plan is a proposal and releases nothing; a check can end sooner than by the clock." }
            @if !over.is_empty() {
                section {
                    h2 #over { "Over" }
                    ul.calls { @for date in over.iter().rev() { li { (self.told(date)) } } }
                }
            }
            section {
                h2 #ahead { "Ahead" }
                @if ahead.is_empty() { p { "Nothing has a date: no day is planned, and no check, document or qualification ends by the clock." } }
                ul.calls { @for date in &ahead { li { (self.told(date)) } } }
            }
            (self.link())
        }
    }

    fn told(&self, date: &Coming) -> Markup {
        let ends = date.until.unwrap_or(date.at);
        let word = match date.kind {
            DateKind::TestDay if ends < self.now => "Was planned",
            DateKind::TestDay => "Planned",
            _ if ends < self.now => "Over",
            _ if ends - self.now <= SOON => "Soon",
            _ => "Good until then",
        };
        html! {
            p { strong { (word) } ", " (moment(date.at)) ": " (date.title) }
            @for line in date.account.lines() { p.source { (line) } }
        }
    }

    fn link(&self) -> Markup {
        let (make, end) = (format!("{}/link", self.place), format!("{}/link-removal", self.place));
        let making = Draft::new("make-link", &make, &self.token, None);
        let ending = Draft::new("end-link", &end, &self.token, None);
        html! {
            section {
                h2 #link { "In your own calendar" }
                p { "A private link lets your calendar read these dates (iCalendar) for as long as you take part. Whoever knows it can read them: give it to nobody." }
                @match &self.link {
                    LinkShown::Nothing => { (making.form(html! { (making.send("Make a link")) })) }
                    LinkShown::Since(at) => {
                        p { "You have a link since " (moment(*at)) ". It was shown once, when it was made." }
                        (making.form(html! { (making.send("Make another; the old one ends")) }))
                        (ending.form(html! { (ending.send("Take it away")) }))
                    }
                    LinkShown::New { address } => {
                        p role="status" { strong { "This is your link. It is shown only now: copy it into your calendar." } }
                        p { code.digest { (address) } }
                        (ending.form(html! { (ending.send("Take it away")) }))
                    }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::long;
        use chrono::TimeDelta;
        let page = |many: usize, link: LinkShown| {
            let kinds = [
                DateKind::TestDay,
                DateKind::CheckDue,
                DateKind::DocumentEnds,
                DateKind::QualificationEnds,
            ];
            let date = |place: usize| Coming {
                kind: kinds[place % 4],
                key: format!("check-{place}"),
                changed_by: 1,
                at: DateTime::UNIX_EPOCH + TimeDelta::days(20 * place as i64 - 40),
                until: place.is_multiple_of(4).then_some(DateTime::UNIX_EPOCH),
                title: long("C-ISO is due: Insulation resistance", many),
                account: long("Measure at 500 V.\nBy the clock.", many),
            };
            Self {
                place: "/programmes/tug/dates".to_owned(),
                token: "0".repeat(64),
                now: DateTime::UNIX_EPOCH,
                dates: (0..many).map(date).collect(),
                link,
            }
        };
        let address = format!("https://field.local:8440/api/v1/calendars/{}", "5f".repeat(32));
        vec![
            ("ordinary", page(6, LinkShown::Since(DateTime::UNIX_EPOCH)).body()),
            ("empty", page(0, LinkShown::Nothing).body()),
            ("worst case", page(60, LinkShown::New { address }).body()),
        ]
    }
}

/// The page.
pub(crate) async fn show(member: Member<Read>, office: Office) -> Answer {
    let permitted = &member.permitted;
    let made_at =
        office.store.calendar_link_made_at(&permitted.person, &permitted.programme).await?;
    page(&member, &office, made_at.map_or(LinkShown::Nothing, LinkShown::Since)).await
}

async fn page(member: &Member<Read>, office: &Office, link: LinkShown) -> Answer {
    let page = member
        .look(office, |view| {
            Ok(DatesPage {
                place: member.place("/dates"),
                token: member.visitor.form_token.clone(),
                now: view.now,
                dates: coming(view.state, view.now),
                link,
            })
        })
        .await?;
    Ok(member.around("Dates", Section::Dates).reply(StatusCode::OK, page.body()))
}

/// Makes a link, and shows it this once.
pub(crate) async fn make_link(
    member: Member<Read>,
    _form: Form,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let made = calendars::new_link(&member.permitted, &office).await?;
    let scheme = if is_secure(&request, &office) { "https" } else { "http" };
    let address = format!("{scheme}://{}{}", host(&request, &office), made.path);
    page(&member, &office, LinkShown::New { address }).await
}

/// Takes it away.
pub(crate) async fn end_link(member: Member<Read>, _form: Form, office: Office) -> Answer {
    let permitted = &member.permitted;
    office.store.end_calendar_link(&permitted.person, &permitted.programme).await?;
    page(&member, &office, LinkShown::Nothing).await
}
