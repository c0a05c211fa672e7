//! A clock that jumps while the program runs: nothing is lost, nothing that ran out comes back, and what nobody can know is a hold.

use serde_json::json;

use crate::harness::{
    Chance, PASSWORD, Server, SettableClock, Team, at, in_hours, records, verifies,
};

const BEHIND: &str = "clock-behind";

#[test]
fn a_release_that_ran_out_does_not_come_back_when_the_clock_is_set_back() {
    let Some(clock) = SettableClock::or_say_why_not() else { return };
    let mut team = Team::new();
    team.clears_the_first_point();
    team.server.ends_when_asked();
    let server = Server::serve_by(&clock, &team.server.data);
    let ivo = server.sign_in("ivo");
    assert_eq!(ivo.rules_against("GR-01"), [""; 0]);

    clock.set("+9h");
    let (ivo, cas) = (server.sign_in("ivo"), server.sign_in("cas"));
    assert_eq!(ivo.rules_against("GR-01"), ["release-expired"]);
    let dry = json!({ "weather": { "remarks": "Dry." } });
    cas.post(&at("weather"), dry.clone()).has_status(201);

    clock.set("+0s");
    // Who signed in tomorrow is not signed in today.
    cas.post(&at("weather"), dry).has_problem(401, "token-refused");
    let [cas, ivo, lea, sam] = ["cas", "ivo", "lea", "sam"].map(|person| server.sign_in(person));
    assert_eq!(ivo.rules_against("GR-01"), [BEHIND]);
    let crew = json!([{ "person": "pip", "role": "pilot", "on_board": true }]);
    lea.post(&at("runs"), json!({ "points": ["GR-01"], "crew": crew }))
        .has_status(409)
        .names_hold(BEHIND);
    // Whatever the clock shows, anyone stops everything.
    cas.post(&at("stand-down"), json!({ "reason": "The clock jumped." })).has_status(201);
    let compared = json!({ "shown": in_hours(0), "other": "The radio", "secret": PASSWORD });
    sam.post(&at("ledger/clock"), compared).has_status(201);
    // Meanwhile the release is good again by all clocks, and the stand-down waits for the safety officer.
    assert_eq!(ivo.rules_against("GR-01"), ["stand-down"]);
}

#[test]
fn whatever_a_clock_does_each_record_is_kept_in_its_place_and_done_once() {
    let Some(clock) = SettableClock::or_say_why_not() else { return };
    let mut team = Team::new();
    team.clears_the_first_point();
    team.server.ends_when_asked();
    let mut server = Server::serve_by(&clock, &team.server.data);
    let before = records(&server.sign_in_from_elsewhere("ivo")).len();
    let mut chance = Chance::new("clock");
    let (mut ahead, mut held) = (0, 0);
    for count in 0..40 {
        // Keys are kept for a day, which no jump passes.
        let seconds = i64::try_from(chance.below(20_000)).unwrap() - 10_000;
        clock.set(&format!("{seconds:+}s"));
        let (cas, ivo) =
            (server.sign_in_from_elsewhere("cas"), server.sign_in_from_elsewhere("ivo"));
        let keyed = cas.with("idempotency-key", &format!("jump-{count}"));
        let seen = json!({ "weather": { "remarks": format!("jump {count}") } });
        let first = keyed.post(&at("weather"), seen.clone()).has_status(201).json();
        assert_eq!(first["records"][0]["seq"], before + 1 + count);
        ahead = ahead.max(seconds);
        let behind = ahead - seconds;
        let is_held = ivo.rules_against("GR-01").contains(&BEHIND.to_owned());
        // Within seconds of the edge the story itself takes too long to say.
        if !(50..70).contains(&behind) {
            assert_eq!(is_held, behind > 60, "{behind} s behind");
        }
        held += usize::from(is_held);
        let seconds = seconds / 2;
        clock.set(&format!("{seconds:+}s"));
        let keyed =
            server.sign_in_from_elsewhere("cas").with("idempotency-key", &format!("jump-{count}"));
        assert_eq!(keyed.post(&at("weather"), seen).has_status(201).json(), first);
        if count % 10 == 9 {
            server.kill();
            server = Server::serve_by(&clock, &team.server.data);
        }
    }
    assert!(held > 20, "{held} of 40 looks found the clock behind");
    let kept = records(&server.sign_in_from_elsewhere("ivo"));
    assert_eq!(kept.len(), before + 40);
    server.ends_when_asked();
    verifies(&team.server.data);
}
