//! The lead's forms: a day that was lost, what forecasts rest on, and a day planned from nothing.

use chrono::{DateTime, Days, NaiveTime, TimeDelta, Utc};
use serde_json::json;

use super::forms::Form;
use super::{signs_in, token};
use crate::harness::Server;

fn page(path: &str) -> String {
    format!("/programmes/tallow/{path}")
}

#[test]
fn a_day_that_was_lost_is_noted_by_whoever_takes_part_and_counted_by_its_cause() {
    let server = Server::demonstration();
    let [pelle, viktor] = ["pelle", "viktor"].map(|handle| signs_in(&server, handle));
    let seen = pelle.get(&page("progress")).has_status(200);
    assert!(seen.text.contains("Where the days went"), "{}", seen.text);
    let form = Form::of(&seen, "lost-day").with("account", "The tow car <b> broke down.");
    let today = Utc::now().date_naive();
    let tomorrow = (today + Days::new(1)).to_string();
    let refused = form.by_another(token(&seen.text)).with("date", &tomorrow).send(&pelle);
    refused.has_status(422).reads("has not come yet").reads("The tow car &lt;b&gt; broke down.");
    let told = form.with("date", &(today - Days::new(2)).to_string()).with("cause?", "equipment");
    told.send(&pelle).has_status(303);
    pelle.get(&page("progress")).reads("The tow car &lt;b&gt; broke down.").reads("Pelle Norrland");
    let read = viktor.get(&page("progress")).has_status(200);
    assert!(!read.text.contains("form-lost-day"), "who may not is shown no form");
    told.by_another(token(&read.text)).send(&viktor).has_status(403);
}

#[test]
fn what_forecasts_rest_on_is_typed_and_durations_are_taken_from_the_programmes_own_runs() {
    let server = Server::demonstration();
    let [marit, tomas] = ["marit", "tomas"].map(|handle| signs_in(&server, handle));
    let seen = marit.get(&page("forecast")).has_status(200);
    let form = || Form::of(&seen, "assume");
    assert_eq!(form().has("runs_a_day:count"), "3", "it begins with what was assumed last");
    let upside_down = form().with("days.taxi.three-point.best:number?", "9").send(&marit);
    let upside_down = upside_down.has_status(422).reads("best, likely and worst must go up");
    assert_eq!(Form::of(&upside_down, "assume").has("days.taxi.three-point.best:number?"), "9");
    form()
        .with("runs_a_day:count", "many")
        .send(&marit)
        .has_status(422)
        .reads("is not a whole number");
    let given = form()
        .with("form.days_off", "2031-12-24, 2031-12-31")
        .with("weather.ground[0]:number", "0.5")
        .with("deliveries[0].points-in-a-line?", "GR-08 TX-04")
        .and("form.history[]", "taxi");
    given.send(&marit).has_status(303);
    let api = server.sign_in_to_demonstration("marit");
    let read = api.get("/api/v1/programmes/tallow/forecast-assumptions").has_status(200).json();
    let assumed = &read["assumptions"];
    let taxi = assumed["days"]["taxi"]["history"].as_array().unwrap();
    assert_eq!(taxi.len(), 2, "two taxi points were accepted: {assumed:#}");
    assert_eq!(assumed["days_off"], json!(["2031-12-24", "2031-12-31"]));
    assert_eq!(assumed["weather"]["ground"][0], 0.5);
    assert_eq!(assumed["deliveries"][0]["points"], json!(["GR-08", "TX-04"]), "{assumed:#}");
    assert_eq!(assumed["deliveries"].as_array().unwrap().len(), 1, "an empty place goes");
    let own = token(&tomas.get("/").has_status(200).text).to_owned();
    form().by_another(&own).send(&tomas).has_status(403);
    let read = tomas.get(&page("forecast")).has_status(200);
    assert!(!read.text.contains("form-assume"), "who may not is shown no form");
}

#[test]
fn a_day_is_planned_from_nothing_with_parts_that_recordings_know() {
    let server = Server::demonstration();
    let [marit, tomas] = ["marit", "tomas"].map(|handle| signs_in(&server, handle));
    let seen = marit.get(&page("tomorrow")).has_status(200);
    let form = || Form::of(&seen, "anew");
    assert_eq!(form().has("parts[0].name?"), "Winding temperature, sensor 1");
    let day = Utc::now().date_naive().checked_add_days(Days::new(1)).unwrap();
    let at = |hour: u32| day.and_time(NaiveTime::from_hms_opt(hour, 0, 0).unwrap()).and_utc();
    let told = |at: DateTime<Utc>| at.format("%Y-%m-%dT%H:%M").to_string();
    let hours = (0..5).map(|hour| {
        let from = at(9) + TimeDelta::hours(hour);
        format!("{}Z,0.4,5,8,2,20,4000,14,no\n", from.format("%Y-%m-%dT%H:%M:%S"))
    });
    let csv: String =
        std::iter::once(format!("{}\n", form().has("weather_csv"))).chain(hours).collect();
    let whole = form()
        .with("from:moment", &told(at(9)))
        .with("to:moment", &told(at(14)))
        .with("weather_csv", &csv)
        .with("pack.state:percent", "80")
        .with("charging.ground_battery.state:percent?", "90")
        .with("parts[0].begins_c:number?", "14")
        .with("parts[1].begins_c:number?", "14")
        .with("parts[2].begins_c:number?", "14")
        .with("form.taper", "0 18\n80 18\n100 4");
    let refused = whole.by_another(token(&seen.text)).with("pack.usable_kwh:number", "-3");
    refused.send(&marit).has_status(422).reads("must be from").reads("0 18\n80 18\n100 4");
    let nobody_knows = whole.by_another(token(&seen.text)).with("parts[1].begins_c:number?", "");
    nobody_knows.send(&marit).has_status(422).reads("begins_c");
    let torn = whole.by_another(token(&seen.text)).with("form.taper", "0 18\n80");
    torn.send(&marit).has_status(422);
    let sent = whole.send(&marit).has_status(303);
    assert!(sent.header("location").unwrap().starts_with(&page("tomorrow")));
    let api = server.sign_in_to_demonstration("marit");
    let plans = api.get("/api/v1/programmes/tallow/day-plans?limit=1").has_status(200).json();
    let number = plans["items"][0]["plan"].as_u64().unwrap();
    let plan = api.get(&format!("/api/v1/programmes/tallow/day-plans/{number}")).json();
    let terms = &plan["terms"];
    assert_eq!(terms["pack"]["taper"], json!([[0.0, 18.0], [0.8, 18.0], [1.0, 4.0]]));
    assert!(!terms["parts"][0]["rests_on"].as_array().unwrap().is_empty(), "{terms:#}");
    assert_eq!(terms["weather"].as_array().unwrap().len(), 5);
    assert_eq!(terms["crew"].as_array().unwrap().len(), 7, "all that the last plan had");
    let own = token(&tomas.get("/").has_status(200).text).to_owned();
    whole.by_another(&own).send(&tomas).has_status(403);
    marit.get(&page("tomorrow")).has_status(200).reads("Plan ");

    let energy = page(&format!("tomorrow/{number}/energy"));
    tomas.get(&energy).has_status(200).reads("and the battery on the ground").reads("<svg");
    let asked = tomas.get(&format!("{energy}?energy_kwh=2.5&run_min=10&set_up_min=15"));
    assert_eq!(Form::of(&asked.has_status(200), "energy").has("energy_kwh"), "2.5");
    tomas.get(&format!("{energy}?energy_kwh=-1")).has_status(422).reads("must be from 0");
    tomas.get(&page("tomorrow/999/energy")).has_status(404);
}
