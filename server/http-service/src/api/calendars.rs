//! The dates of a programme for people's calendars, by a private link.

use std::str::FromStr;

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, SubsecRound, Utc};
use icalendar::{Calendar, Component, Event, EventLike, EventStatus, Property};
use programme::dates::{Coming, DateKind, coming};
use programme::people::Act;
use programme::state::State;
use serde::Serialize;

use crate::access::{Anyone, Permitted, Read};
use crate::desk::{Answer, Shown, answer};
use crate::given::At;
use crate::office::Office;
use crate::problem::{NOT_FOUND, Problem};
use crate::token::HandedOut;

/// The media type of iCalendar.
const CALENDAR: &str = "text/calendar; charset=utf-8";

/// Where feeds are; the secret follows.
pub(crate) const FEEDS: &str = "/api/v1/calendars/";

/// The secret at the end of a private link. Not shown by `Debug`.
pub(crate) struct Link(HandedOut);

impl FromStr for Link {
    type Err = ();

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        HandedOut::read(text).map(Self).ok_or(())
    }
}

/// Whether you have a private link for this programme.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct CalendarLink {
    /// When it was made; absent where you have none. The link itself is told only when it is made.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub made_at: Option<DateTime<Utc>>,
}

/// A private link that was just made.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct NewCalendarLink {
    /// The path on this server. Whoever knows it can read the dates: keep it as you keep a key.
    #[schema(
        example = "/api/v1/calendars/3b0c6d6a1f5e2b7c9d84e0a1725f3c6b8d9e0f1a2b3c4d5e6f708192a3b49a41"
    )]
    pub path: String,
    /// When.
    pub made_at: DateTime<Utc>,
}

/// Whether you have a private link by which your calendar reads the dates of the programme.
#[utoipa::path(get, path = "", responses((status = 200, description = "Whether, and since when.", body = CalendarLink)))]
pub(crate) async fn look(person: Permitted<Read>, request: HttpRequest, office: Office) -> Answer {
    let made_at = office.store.calendar_link_made_at(&person.person, &person.programme).await?;
    Ok(Shown::tagged(&CalendarLink { made_at })?.reply(request.headers()))
}

/// Make a private link by which your calendar reads the dates of the programme: planned test days, checks that are due,
/// documents and qualifications that end. The one that you had before is no longer good.
#[utoipa::path(put, path = "", responses((status = 200, description = "Made.", body = NewCalendarLink)))]
pub(crate) async fn make(person: Permitted<Read>, office: Office) -> Answer {
    answer(StatusCode::OK, &new_link(&person, &office).await?)
}

/// Makes a link for a person who may read the programme.
pub(crate) async fn new_link(
    person: &Permitted<Read>,
    office: &Office,
) -> Result<NewCalendarLink, Problem> {
    let (secret, made_at) = (office.tokens.handed_out()?, office.now().trunc_subsecs(6));
    let (handle, programme) = (&person.person, &person.programme);
    office.store.make_calendar_link(handle, programme, secret.hash(), made_at).await?;
    tracing::info!(person = %handle, "{handle} made a calendar link for {programme}");
    Ok(NewCalendarLink { path: format!("{FEEDS}{}", secret.text()), made_at })
}

/// Take your private link away. Calendars that had it read nothing any more.
#[utoipa::path(delete, path = "", responses((status = 204, description = "You have none.")))]
pub(crate) async fn end(person: Permitted<Read>, office: Office) -> Answer {
    office.store.end_calendar_link(&person.person, &person.programme).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The dates of a programme, as iCalendar (RFC 5545), for whoever has the private link of a person who takes part.
///
/// Planned test days are tentative: a plan is a proposal and releases nothing. A check is due by the clock; powered hours,
/// changes and happenings can end it sooner.
#[utoipa::path(
    get, path = "",
    responses((
        status = 200,
        description = "The calendar.",
        body = String,
        content_type = "text/calendar",
        example = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Rungbook//Dates of a programme//EN\r\nEND:VCALENDAR\r\n",
    )),
)]
pub(crate) async fn read(
    _: Anyone,
    link: At<Link>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let unknown = || {
        Problem::new(
            NOT_FOUND,
            "There is no such calendar. The link may have been taken away; make another on the page \"Dates\".",
        )
    };
    let found = office.store.calendar_link(&link.0.0.hash()).await?;
    let (person, programme) = found.ok_or_else(unknown)?;
    if office.store.account(&person).is_none_or(|account| account.disabled_at.is_some()) {
        return Err(unknown());
    }
    let now = office.now();
    let text = office.store.read(&programme, |state, _| {
        Act::Read.is_allowed_to(state.roles(&person)).then(|| calendar(state, &coming(state, now)))
    });
    let text = text.flatten().ok_or_else(unknown)?;
    Ok(Shown::file(CALENDAR, text).reply(request.headers()))
}

/// Dates as iCalendar. What has no end in time has none here either, and takes no time in anybody's day.
fn calendar(state: &State, dates: &[Coming]) -> String {
    let programme = state.id.as_ref().map(ToString::to_string).unwrap_or_default();
    let founded = state.founded_at.map_or(0, |at| at.timestamp_micros());
    // Nothing here tells when a single date was revised; none was after the last record.
    let revised = state.last_at.unwrap_or_default();
    let mut calendar = Calendar::empty();
    for (name, value) in [
        ("VERSION", "2.0"),
        ("PRODID", "-//Rungbook//Dates of a programme//EN"),
        ("CALSCALE", "GREGORIAN"),
    ] {
        calendar.append_property(Property::new(name, value));
    }
    calendar.name(&one_line(&state.title));
    for date in dates {
        let mut event = Event::new();
        event
            .uid(&format!("{}@{programme}-{founded:x}.rungbook", date.key))
            .sequence(u32::try_from(date.changed_by).unwrap_or(u32::MAX))
            .timestamp(revised)
            .summary(&one_line(&date.title))
            .description(&date.account.replace('\r', ""))
            .starts(date.at);
        match date.kind {
            DateKind::TestDay => {
                event.ends(date.until.unwrap_or(date.at)).status(EventStatus::Tentative);
            }
            DateKind::CheckDue | DateKind::DocumentEnds | DateKind::QualificationEnds => {
                event.add_property("TRANSP", "TRANSPARENT");
            }
        }
        calendar.push(event.done());
    }
    calendar.to_string()
}

fn one_line(text: &str) -> String {
    text.split(['\r', '\n']).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn date(title: &str, account: &str) -> Coming {
        let at = "2031-05-12T06:00:00Z".parse().unwrap();
        Coming {
            kind: DateKind::CheckDue,
            key: "check-C-1".to_owned(),
            changed_by: 7,
            at,
            until: None,
            title: title.to_owned(),
            account: account.to_owned(),
        }
    }

    #[test]
    fn nothing_that_people_wrote_ends_a_line_or_an_entry_and_no_line_is_too_long() {
        let hostile =
            "Torque\r\nEND:VEVENT\r\nBEGIN:VALARM; a, b \\ ".repeat(20) + "ä—äää\u{1F6E9}";
        let text = calendar(&State::default(), &[date(&hostile, &hostile)]);
        assert_eq!(text.matches("\r\nEND:VEVENT\r\n").count(), 1);
        assert!(!text.contains("\r\nBEGIN:VALARM"));
        assert!(text.lines().all(|line| line.len() <= 75), "{text}");
        assert_eq!(text.matches('\n').count(), text.matches("\r\n").count());
        let unfolded = text.replace("\r\n ", "");
        assert!(unfolded.contains("ä—äää\u{1F6E9}"), "{unfolded}");
        assert!(unfolded.contains("BEGIN:VALARM\\; a\\, b \\\\"), "{unfolded}");
    }

    #[test]
    fn times_are_in_utc_and_what_only_ends_takes_no_time() {
        let text = calendar(&State::default(), &[date("Torque", "Pull.")]);
        for line in ["DTSTART:20310512T060000Z", "SEQUENCE:7", "TRANSP:TRANSPARENT"] {
            assert!(text.contains(&format!("\r\n{line}\r\n")), "{text}");
        }
        assert!(!text.contains("DTEND"), "{text}");
    }
}
