//! What an engineer does in a browser: each form once as it should be, once refused, and once by somebody who may not.

use std::fmt::Write as _;

use chrono::{DateTime, SecondsFormat, TimeDelta, Utc};
use serde_json::Value;

use super::forms::Form;
use super::{signs_in, token};
use crate::harness::{Answer, Client, Server};

const PIN: &str = "271845";

fn page(path: &str) -> String {
    format!("/programmes/tallow{path}")
}

/// Where a form led to, without the record that it tells.
#[track_caller]
fn led_to(answer: Answer) -> String {
    let answer = answer.has_status(303);
    let place = answer.header("location").expect("a place").to_owned();
    place.split('?').next().unwrap().to_owned()
}

/// Refuses a form to somebody who may not, whatever stands in it.
#[track_caller]
fn not_for(form: &Form, who: &Client) {
    let own = token(&who.get("/").has_status(200).text).to_owned();
    form.by_another(&own).send(who).has_status(403);
}

/// The demonstration's recording that the run of most channels has, with that run.
fn recording_of_a_run(server: &Server) -> (String, u64, DateTime<Utc>) {
    let marit = server.sign_in_to_demonstration("marit");
    let all = marit.get("/api/v1/programmes/tallow/recordings").has_status(200).json();
    let rows = all["items"].as_array().unwrap();
    let with_pack = rows.iter().find(|row| {
        row["recorder"] == "bms" && row["runs"].as_array().is_some_and(|runs| !runs.is_empty())
    });
    let row = with_pack.expect("a recording of the pack");
    let started = row["started"].as_str().unwrap();
    let started = DateTime::parse_from_rfc3339(started).unwrap().with_timezone(&Utc);
    (row["recording"].as_str().unwrap().to_owned(), row["runs"][0].as_u64().unwrap(), started)
}

/// A file with columns that no recorder of the programme has, in which the winding gets too hot.
fn hot(from: DateTime<Utc>) -> String {
    let mut text = "Moment;Motor temp [°C];Isolation [ohm/V];Words\n".to_owned();
    for second in 0..300 {
        let at = (from + TimeDelta::seconds(second)).to_rfc3339_opts(SecondsFormat::Secs, true);
        let winding = if (100..180).contains(&second) { 131 } else { 60 };
        let winding = if second == 7 { "broken".to_owned() } else { format!("{winding},5") };
        writeln!(text, "{at};{winding};{};on", 940 + second % 7).unwrap();
    }
    text
}

/// The place among the columns of a mapping at which a column stands.
#[track_caller]
fn column(form: &Form, name: &str) -> usize {
    (0..9).find(|place| form.has(&format!("columns[{place}].column")) == name).expect(name)
}

#[test]
fn a_file_is_looked_at_mapped_taken_in_attached_and_explained() {
    let server = Server::demonstration();
    let [tomas, jonas, sofia] = ["tomas", "jonas", "sofia"].map(|handle| signs_in(&server, handle));
    let (_, run, started) = recording_of_a_run(&server);
    let text = hot(started);

    let recorders = tomas.get(&page("/recorders")).has_status(200);
    let look = Form::of(&recorders, "look");
    look.send_with(&tomas, ("empty.csv", "")).has_status(422);
    let seen = look.send_with(&tomas, ("hot.csv", &text)).has_status(200);
    assert!(seen.text.contains("Motor temp [°C]") && seen.text.contains("Nothing was recorded."));
    let mapping = Form::of(&seen, "describe").with("code", "stick").with("title", "Data stick");
    let (winding, isolation) =
        (column(&mapping, "Motor temp [°C]"), column(&mapping, "Isolation [ohm/V]"));
    let channel = |place: usize| format!("columns[{place}].channel?");
    let unmapped = mapping.with(&channel(winding), "").with(&channel(isolation), "");
    let again = unmapped.send(&tomas).has_status(422);
    assert!(again.text.contains("must map at least one column"), "{}", again.text);
    assert_eq!(Form::of(&again, "describe").has("title"), "Data stick", "nothing typed is lost");
    let mapping = Form::of(&again, "describe");
    let (winding, isolation) =
        (column(&mapping, "Motor temp [°C]"), column(&mapping, "Isolation [ohm/V]"));
    let mapping = mapping
        .with(&channel(winding), "motor_winding_t_1")
        .with(&format!("columns[{winding}].unit"), "degC")
        .with(&channel(isolation), "iso_ohm_v")
        .with(&format!("columns[{isolation}].unit"), "ohm/V");
    not_for(&mapping, &jonas);
    assert_eq!(led_to(mapping.send(&tomas)), page("/recorders/stick"));
    tomas.get(&page("/recorders/stick")).has_status(200).reads("motor_winding_t_1");

    let list = tomas.get(&page("/recordings")).has_status(200);
    let take = Form::of(&list, "take");
    take.send_with(&tomas, ("hot.csv", &text)).has_status(422).reads("Choose the recorder");
    let take = take.with("recorder", "stick");
    let own = token(&jonas.get("/").text).to_owned();
    take.by_another(&own).send_with(&jonas, ("hot.csv", &text)).has_status(403);
    take.by_another("0").send_with(&tomas, ("hot.csv", &text)).has_status(403);
    let place = led_to(take.send_with(&tomas, ("hot.csv", &text)));
    let anew = Form::of(&tomas.get(&page("/recordings")), "take").with("recorder", "stick");
    anew.send_with(&tomas, ("hot.csv", &text)).has_status(409);

    let shown = tomas.get(&place).has_status(200);
    let shown =
        shown.reads("broken").reads("it is not a number").reads("It belongs to no run yet.");
    let attach = Form::of(&shown, "attach");
    assert_eq!(attach.has("run:count"), run.to_string(), "its time says so");
    not_for(&attach, &jonas);
    let none = Form::of(&shown, "attach").with("run:count", "");
    none.send(&tomas).has_status(422);
    assert_eq!(led_to(attach.send(&tomas)), place);
    let shown = tomas.get(&place).has_status(200);
    let shown = shown.reads("limit as of record").reads("open");
    tomas.get(&format!("{place}/limits/{run}")).has_status(200).reads("exceeded");
    let plot = tomas.get(&format!("{place}/plot?channel=motor_winding_t_1")).has_status(200);
    plot.reads("<svg").reads("beyond, no. ").reads("limit ").reads("by the recorder's clock");
    tomas.get(&format!("{place}/plot?channel=none")).has_status(400);

    let exceedance = shown.text.split("/exceedances/").nth(1).unwrap().split('"').next().unwrap();
    let exceedance = page(&format!("/exceedances/{exceedance}"));
    let seen = tomas.get(&exceedance).has_status(200);
    let explain = Form::of(&seen, "explain");
    explain.send(&tomas).has_status(422);
    let explain = Form::of(&seen, "explain")
        .with("explanation", "The flap was shut.")
        .with("action", "It is on the card now.");
    not_for(&explain, &jonas);
    assert_eq!(led_to(explain.send(&tomas)), exceedance);
    let close = Form::of(&sofia.get(&exceedance).has_status(200), "close");
    not_for(&close, &tomas);
    let wrong = Form::of(&sofia.get(&exceedance), "close").with("secret", "000000");
    wrong.send(&sofia).has_status(403);
    assert_eq!(led_to(close.with("secret", PIN).send(&sofia)), exceedance);

    let aside = Form::of(&tomas.get(&place).has_status(200), "set-aside");
    aside.send(&tomas).has_status(422);
    let aside = Form::of(&tomas.get(&place), "set-aside").with("reason", "Another aircraft.");
    not_for(&aside, &jonas);
    assert_eq!(led_to(aside.send(&tomas)), place);
    tomas.get(&place).has_status(200).reads("Another aircraft.");
}

/// A point of a run, by the page on which intervals are taken.
fn point_of(intervals: &Answer, run: u64) -> String {
    Form::of(intervals, &format!("times-{run}")).has("point").to_owned()
}

#[test]
fn an_interval_is_found_reduced_and_fills_a_result() {
    let server = Server::demonstration();
    let [tomas, jonas, viktor] =
        ["tomas", "jonas", "viktor"].map(|handle| signs_in(&server, handle));
    let (recording, run, started) = recording_of_a_run(&server);
    let place = page(&format!("/recordings/{recording}/intervals"));
    let seen = tomas.get(&place).has_status(200);
    let point = point_of(&seen, run);
    let moment =
        |after: i64| (started + TimeDelta::seconds(after)).format("%Y-%m-%dT%H:%M:%S").to_string();
    let times = |from: i64, to: i64| {
        Form::of(&tomas.get(&place), &format!("times-{run}"))
            .with("how.from:moment", &moment(from))
            .with("how.to:moment", &moment(to))
    };
    times(60, 20).send(&tomas).has_status(422);
    not_for(&times(20, 60), &jonas);
    let first = led_to(times(20, 60).send(&tomas));
    assert!(first.starts_with(&page("/intervals/")), "{first}");
    let marks = Form::of(&tomas.get(&place), &format!("marks-{run}"));
    led_to(marks.send(&tomas));
    let steady = Form::of(&tomas.get(&place), &format!("steady-{run}"))
        .and("form.only", "look")
        .with("form.held[0]", r#"{"channel":"pack_v","unit":"V"}"#)
        .with("form.target[0]", "360")
        .with("form.tolerance[0]", "100");
    steady.send(&tomas).has_status(200).reads("They hold here");
    let empty = Form::of(&tomas.get(&place), &format!("steady-{run}"));
    empty.send(&tomas).has_status(422).reads("Name at least one channel");

    let methods = tomas.get(&format!("{first}?method=energy")).has_status(200);
    let methods = methods.reads("Values that it proposes");
    let reduce = Form::of(&methods, "reduce");
    not_for(&reduce, &jonas);
    let refused = reduce.send(&tomas);
    assert!((400..500).contains(&refused.status), "{}", refused.status);
    let reduce = Form::of(&refused, "reduce")
        .with("channels.voltage?", "pack_v")
        .with("channels.current?", "pack_a");
    // A figure that no channel has is a field with its unit, and a wrong one comes again as it was typed.
    let wrong = Form::of(&refused, "reduce")
        .with("channels.voltage?", "pack_v")
        .with("channels.current?", "pack_a")
        .with("given.gap_s:number?", "-5");
    let wrong = wrong.send(&tomas);
    assert!((400..500).contains(&wrong.status), "{}", wrong.status);
    assert_eq!(Form::of(&wrong, "reduce").has("given.gap_s:number?"), "-5");
    assert_eq!(led_to(reduce.send(&tomas)), first);
    tomas.get(&first).has_status(200).reads("Reduction ");
    let climb = tomas.get(&format!("{first}?method=climb")).has_status(200);
    let climb = Form::of(&climb, "reduce");
    assert_eq!(climb.has("given.polar.cd0:number?"), "", "each figure of a thing has its field");
    let on_the_run = tomas.get(&page(&format!("/runs/{run}"))).has_status(200);
    on_the_run.reads(&format!("/recordings/{recording}/limits/{run}"));

    let number = first.rsplit('/').next().unwrap();
    let result = page(&format!("/runs/{run}/results/{point}"));
    tomas.get(&result).has_status(200).reads("Propose their values");
    let filled = tomas.get(&format!("{result}?from={number}")).has_status(200);
    filled.reads("Proposed by the recordings");
    let record = || {
        Form::of(&tomas.get(&format!("{result}?from={number}")), "record")
            .with("observations", "As the recorder has it.")
    };
    not_for(&record(), &viktor);
    let stale = record().with("values_digest", &"0".repeat(64)).send(&tomas).has_status(412);
    stale.reads("As the recorder has it.").reads("Proposed by the recordings");
    assert_eq!(led_to(record().send(&tomas)), result);
    tomas.get(&result).has_status(200).reads("from a recording");
    tomas.get(&format!("{result}?from=9999")).has_status(400);
}

#[test]
fn a_clock_is_compared_with_anothers_and_confirmed() {
    let server = Server::demonstration();
    let [tomas, jonas] = ["tomas", "jonas"].map(|handle| signs_in(&server, handle));
    let marit = server.sign_in_to_demonstration("marit");
    let all = marit.get("/api/v1/programmes/tallow/recordings").has_status(200).json();
    let found = all["items"].as_array().unwrap().iter().find_map(|row: &Value| {
        let place = page(&format!("/recordings/{}/clock", row["recording"].as_str().unwrap()));
        let seen = tomas.get(&place).has_status(200);
        seen.text.contains("form-compare").then_some((place, seen))
    });
    let (place, seen) = found.expect("two recordings with a channel in common");
    let with = Form::of(&seen, "compare").has("with").to_owned();
    let compared = tomas.get(&format!("{place}?with={}&most_s=120", with.replace(' ', "+")));
    let confirm = Form::of(&compared.has_status(200), "confirm");
    not_for(&confirm, &jonas);
    let nothing =
        Form::of(&tomas.get(&format!("{place}?with={}", with.replace(' ', "+"))), "confirm");
    nothing.with("offset_s:number", "").send(&tomas).has_status(422);
    let recording = place.strip_suffix("/clock").unwrap();
    assert_eq!(led_to(confirm.with("offset_s:number", "0.25").send(&tomas)), recording);
    tomas.get(recording).has_status(200).reads("0.25 s ahead of");
}

#[test]
fn a_change_is_tried_recorded_and_narrowed() {
    let server = Server::demonstration();
    let [tomas, jonas, sofia] = ["tomas", "jonas", "sofia"].map(|handle| signs_in(&server, handle));
    let marit = server.sign_in_to_demonstration("marit");
    let items = marit.get("/api/v1/programmes/tallow/configuration/items").has_status(200).json();
    let place = page("/configuration");
    tomas.get(&place).has_status(200).reads("What would a change undo?");
    let mut lapsing = None;
    for item in items["items"].as_array().unwrap() {
        let code = item["code"].as_str().unwrap();
        let dry = format!("{place}/dry-run?change=fitted&item={code}&other=&version=Another+one");
        let seen = tomas.get(&dry).has_status(200);
        if !seen.text.contains("0 results would not stand") {
            lapsing = Some((code.to_owned(), seen));
            break;
        }
    }
    let (code, seen) = lapsing.expect("an item whose change undoes something");
    let seen = seen.reads("to show again").reads("Nothing is recorded.");
    tomas.get(&format!("{place}/dry-run?change=removed&item=none")).has_status(422);
    let fit = Form::of(&seen, "fit");
    not_for(&fit, &jonas);
    Form::of(&seen, "fit").with("version", "").send(&tomas).has_status(422);
    assert_eq!(led_to(fit.with("reason?", "Worn.").send(&tomas)), place);
    let after = tomas.get(&place).has_status(200);
    let after = after.reads("Worn.").reads("Must it be shown again?");

    let link = after
        .text
        .split("href=\"")
        .find(|it| it.split('"').next().unwrap().ends_with("/narrowing"));
    let narrowing = link.unwrap().split('"').next().unwrap().to_owned();
    tomas.get(&narrowing).has_status(200).reads("That is for");
    let narrow = || Form::of(&sofia.get(&narrowing).has_status(200), "narrow").with("secret", PIN);
    not_for(&narrow(), &tomas);
    narrow().send(&sofia).has_status(422);
    let reason = "Only its casing is another.";
    assert_eq!(led_to(narrow().with("reason", reason).send(&sofia)), narrowing);

    let dry = format!("{place}/dry-run?change=removed&item={code}");
    let remove = || Form::of(&tomas.get(&dry).has_status(200), "remove");
    remove().send(&tomas).has_status(422);
    not_for(&remove(), &jonas);
    assert_eq!(led_to(remove().with("reason", "It leaks.").send(&tomas)), place);
    tomas.get(&place).has_status(200).reads("It leaks.");
}

#[test]
fn a_hazard_is_recorded_judged_anew_and_accepted_by_whose_part_it_is() {
    let server = Server::demonstration();
    let [tomas, jonas, sofia] = ["tomas", "jonas", "sofia"].map(|handle| signs_in(&server, handle));
    let place = page("/hazards");
    let new = || {
        Form::of(&tomas.get(&place).has_status(200), "hazard")
            .with("code", "HZ-X1")
            .with("title", "Loose cowling")
            .with("cause", "A latch was left open.")
            .with("effect", "It is lost in flight.")
            .with("before.severity", "marginal")
            .with("before.probability", "occasional")
            .with("form.mitigations", "Latch marked.\nChecked before each run.")
            .with("after.severity?", "marginal")
            .with("after.probability?", "improbable")
    };
    let refused = new().with("title", "").send(&tomas).has_status(422);
    assert_eq!(Form::of(&refused, "hazard").has("cause"), "A latch was left open.");
    not_for(&new(), &jonas);
    let own = led_to(new().send(&tomas));
    assert_eq!(own, page("/hazards/HZ-X1"));
    let seen = tomas.get(&own).has_status(200);
    let seen = seen.reads("Checked before each run.").reads("is not accepted");
    let anew = Form::of(&seen, "hazard").with("title", "Cowling comes loose");
    assert_eq!(led_to(anew.send(&tomas)), own);
    Form::of(&seen, "hazard")
        .with("title", "By somebody who saw it before")
        .with("form.key", "0197a1c4-5b1e-7c3d-9a42-0d6f5e8b7a11")
        .send(&tomas)
        .has_status(412);

    let accept = || Form::of(&sofia.get(&own).has_status(200), "accept");
    not_for(&accept(), &jonas);
    accept().with("secret", "000000").send(&sofia).has_status(403);
    assert_eq!(led_to(accept().with("secret", PIN).send(&sofia)), own);
    let accepted = sofia.get(&own).has_status(200);
    assert!(!accepted.text.contains("is not accepted"), "{}", accepted.text);
}

#[test]
fn the_envelope_tells_what_shows_it_and_a_model_is_reviewed() {
    let server = Server::demonstration();
    let [tomas, jonas] = ["tomas", "jonas"].map(|handle| signs_in(&server, handle));
    let envelope = jonas.get(&page("/envelope")).has_status(200);
    envelope.reads("<svg").reads("/results/").reads("design boundary");
    jonas.get(&page("/envelope?configuration=none")).has_status(404);
    let predictions = tomas.get(&page("/predictions")).has_status(200);
    let predictions = predictions.reads("Next steps").reads("Predicted beside measured");
    let own = token(&predictions.text).to_owned();
    let review = |what: &str, token: &str, by: &Client| {
        let pairs = [
            ("form.token", token),
            ("form.name", "review"),
            ("what:chosen", what),
            ("findings", "Looked at."),
        ];
        by.send("POST", &page("/predictions/reviews"), super::fields(&pairs))
    };
    let unknown = review(r#"{"of":"temperature","limit":"L-NONE"}"#, &own, &tomas);
    assert!((400..500).contains(&unknown.status), "{}", unknown.status);
    let of_jonas = token(&jonas.get("/").text).to_owned();
    review(r#"{"of":"energy"}"#, &of_jonas, &jonas).has_status(403);
}

#[test]
fn a_recorder_of_a_can_bus_is_described_by_its_database_before_it_wrote_anything() {
    let server = Server::demonstration();
    let [tomas, jonas] = ["tomas", "jonas"].map(|handle| signs_in(&server, handle));
    let database = "VERSION \"\"\n\nNS_ :\n\nBS_:\n\nBU_: Inverter\n\nBO_ 257 Inverter: 2 Inverter\n SG_ Winding : 0|16@1+ (1,0) [0|200] \"degC\" Vector__XXX\n";
    let look = || Form::of(&tomas.get(&page("/recorders")).has_status(200), "look");
    let offer = |text: &str| look().with("format", "dbc").send_with(&tomas, ("bus.dbc", text));
    offer("no database").has_status(422);
    let comment = format!("{database}\nCM_ \"{}\";\n", "a comment ".repeat(20_000));
    offer(&comment).has_status(413).reads("Leave out of it");

    let seen = offer(database).has_status(200).reads("Inverter.Winding");
    let mapping = Form::of(&seen, "describe").with("code", "bus").with("title", "Frames");
    let mapping =
        mapping.with("columns[0].channel?", "motor_winding_t_1").with("columns[0].unit", "degC");
    not_for(&mapping, &jonas);
    assert_eq!(led_to(mapping.send(&tomas)), page("/recorders/bus"));

    let frames = "(1777712680.100000) can0 101#5300\n(1777712680.200000) can0 101#5400\n";
    let by_it = look().with("format", "candump").with("recorder?", "bus");
    by_it.send_with(&tomas, ("run.log", frames)).has_status(200).reads("Inverter.Winding");
}
