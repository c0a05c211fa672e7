//! Events: told while the ledger grows, to those who may read it and for as long as they are signed in.

use serde_json::json;

use super::Story;
use crate::harness::{Client, Event, at};

pub(super) const SHOWN: &[&str] = &["events_listen"];

/// Streams that one person may have.
const OF_ONE_PERSON: usize = 24;

fn size(person: &Client) -> u64 {
    person.get(&at("ledger")).has_status(200).json()["size"].as_u64().expect("a size")
}

fn observes(person: &Client) {
    let weather = json!({ "weather": { "remarks": "Dry." } });
    person.post(&at("weather"), weather).has_status(201);
}

#[test]
fn whoever_listens_hears_of_each_record_that_others_make() {
    let story = Story::begins();
    let [cas, _, ivo, ..] = story.people();
    let before = size(&ivo);

    let mut stream = ivo.listens(&at("events"));
    assert_eq!(stream.status, 200);
    let header = |name: &str| {
        let found = stream.headers.iter().find(|(known, _)| known == name);
        found.map(|(_, value)| value.as_str()).unwrap_or_default()
    };
    assert_eq!(header("content-type"), "text/event-stream");
    assert!(header("cache-control").contains("private"), "{:?}", stream.headers);
    assert_eq!(stream.next(), Event::Seq(before), "how far it is now");
    observes(&cas);
    assert_eq!(stream.next(), Event::Seq(before + 1));
    observes(&cas);
    assert_eq!(stream.next(), Event::Seq(before + 2));

    let whole = ivo.get(&at("events?lasts_s=1")).has_status(200);
    assert!(whole.text.contains("event: ledger\n"), "{}", whole.text);
    for wrong in ["0", "3601", "-1", "soon"] {
        ivo.get(&at(&format!("events?lasts_s={wrong}"))).has_problem(400, "bad-query");
    }
    ivo.send("HEAD", &at("events"), None).has_status(200);
    story.has_shown(SHOWN);
}

#[test]
fn who_is_not_signed_in_or_takes_no_part_hears_nothing() {
    let story = Story::begins();
    assert_eq!(story.anyone().listens(&at("events")).status, 401);
    assert_eq!(story.keeper().listens(&at("events")).status, 404);
}

#[test]
fn a_stream_ends_when_its_session_does_and_not_that_of_another_session() {
    let story = Story::begins();
    let server = &story.team.server;
    let (first, second) = (server.sign_in("ivo"), server.sign_in("ivo"));
    let mut ends = first.listens(&at("events"));
    let mut goes_on = second.listens(&at("events"));
    let now = size(&second);
    assert_eq!((ends.next(), goes_on.next()), (Event::Seq(now), Event::Seq(now)));

    first.delete("/api/v1/sessions/current").has_status(204);
    assert_eq!(ends.next(), Event::End);
    let [cas, ..] = story.people();
    observes(&cas);
    assert_eq!(goes_on.next(), Event::Seq(now + 1));
}

#[test]
fn readers_who_take_nothing_in_hold_nobody_up_and_one_person_has_no_more_than_so_many_streams() {
    let story = Story::begins();
    let [cas, _, ivo, ..] = story.people();
    let idle: Vec<_> = (0..OF_ONE_PERSON).map(|_| ivo.listens(&at("events"))).collect();
    assert!(idle.iter().all(|stream| stream.status == 200));
    ivo.get(&at("events")).has_problem(503, "busy");
    let mut other = cas.listens(&at("events"));
    let before = size(&cas);
    assert_eq!(other.next(), Event::Seq(before));
    for _ in 0..40 {
        observes(&cas);
    }
    // What comes close together is told as one; the last number is always told.
    let last = size(&cas);
    let mut heard = before;
    while heard < last {
        match other.next() {
            Event::Seq(seq) => {
                assert!(seq > heard, "{seq} after {heard}");
                heard = seq;
            }
            end => panic!("{end:?} before record {last}"),
        }
    }
    drop(idle);
}

#[test]
fn a_server_that_is_told_to_end_lets_go_of_those_who_listen() {
    let mut story = Story::begins();
    let [_, _, ivo, ..] = story.people();
    let mut stream = ivo.listens(&at("events"));
    assert!(matches!(stream.next(), Event::Seq(_)));
    story.team.server.ends_when_asked();
    assert_eq!(stream.next(), Event::End, "the stream was ended and did not break off");
}
