//! The private link by which people's calendars read the dates of a programme.

use super::Story;
use crate::harness::at;

pub(super) const SHOWN: &[&str] =
    &["calendars_read", "calendars_look", "calendars_make", "calendars_end"];

#[test]
fn a_link_is_told_once_read_by_any_calendar_and_good_until_it_is_taken_away() {
    let story = Story::begins();
    let [cas, _, ivo, ..] = story.people();
    assert!(ivo.get(&at("calendar-link")).has_status(200).json().get("made_at").is_none());
    let first = ivo.send("PUT", &at("calendar-link"), None).has_status(200).json();
    let path = first["path"].as_str().expect("a path").to_owned();
    let told = ivo.get(&at("calendar-link")).has_status(200);
    assert_eq!(told.json()["made_at"], first["made_at"]);
    assert!(!told.text.contains(&path), "it is told only once");
    assert!(cas.get(&at("calendar-link")).json().get("made_at").is_none(), "it is one's own");

    let calendar = story.anyone().get(&path).has_status(200);
    assert_eq!(calendar.header("content-type"), Some("text/calendar; charset=utf-8"));
    assert!(calendar.text.starts_with("BEGIN:VCALENDAR\r\nVERSION:2.0\r\n"), "{}", calendar.text);
    assert!(calendar.text.contains("UID:document-D-PERMIT@small-"), "{}", calendar.text);
    let tag = calendar.header("etag").expect("a tag").to_owned();
    story.anyone().with("If-None-Match", &tag).get(&path).has_status(304);
    // Another link ends the one before.
    let second = ivo.send("PUT", &at("calendar-link"), None).has_status(200).json();
    story.anyone().get(&path).has_problem(404, "not-found");
    let path = second["path"].as_str().expect("a path").to_owned();
    story.anyone().get(&path).has_status(200);
    ivo.send("DELETE", &at("calendar-link"), None).has_status(204);
    ivo.send("DELETE", &at("calendar-link"), None).has_status(204);
    let gone = story.anyone().get(&path).has_problem(404, "not-found");
    assert!(!gone.text.contains(&path), "a secret is not told again");
    story.anyone().get("/api/v1/calendars/soon").has_problem(404, "not-found");

    // Who takes no part finds no programme to have dates of.
    for method in ["GET", "PUT", "DELETE"] {
        story.keeper().send(method, &at("calendar-link"), None).has_problem(404, "not-found");
        story.anyone().send(method, &at("calendar-link"), None).has_status(401);
    }
    story.has_shown(SHOWN);
}

#[test]
fn a_link_reads_nothing_once_its_person_takes_no_part_or_may_not_sign_in() {
    let story = Story::begins();
    let [cas, _, ivo, ..] = story.people();
    let link = |person: &crate::harness::Client| {
        let made = person.send("PUT", &at("calendar-link"), None).has_status(200).json();
        made["path"].as_str().expect("a path").to_owned()
    };
    let (of_cas, of_ivo) = (link(&cas), link(&ivo));
    let keeper = story.keeper();
    keeper
        .change(
            "/api/v1/accounts/cas",
            serde_json::json!({ "name": "Cas", "administrator": false, "disabled": true }),
        )
        .has_status(200);
    story.anyone().get(&of_cas).has_problem(404, "not-found");
    story.anyone().get(&of_ivo).has_status(200);
}
