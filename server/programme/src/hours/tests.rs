#![allow(clippy::unwrap_used, clippy::panic)]

mod chance;

use chrono::TimeDelta;

use super::*;
use crate::nouns::{RequiredTotal, Role, Total};
use crate::record::{
    KnockedOff, PolicySet, ReadingMoment, RunClosed, RunEnergyRead, RunEvent, RunOpened, RunTimes,
    RunTimesCorrected,
};
use crate::story::{Story, code, morning, point, policy};

/// So many minutes and seconds after the story's morning.
fn at(minutes: i64, seconds: i64) -> DateTime<Utc> {
    morning() + TimeDelta::minutes(minutes) + TimeDelta::seconds(seconds)
}

fn member(name: &str, role: Role, on_board: bool) -> CrewMember {
    CrewMember { person: code(name), role, on_board }
}

/// The pilot on board, and the engineer beside the aircraft.
fn two() -> Vec<CrewMember> {
    vec![member("pilot", Role::Pilot, true), member("engineer", Role::Engineer, false)]
}

/// A team with a point of each phase: `A` is a ground run.
fn team() -> Story {
    let mut story = Story::team();
    for (name, phase) in [
        ("S", Phase::Static),
        ("T", Phase::Taxi),
        ("F", Phase::FirstFlight),
        ("E", Phase::Envelope),
    ] {
        let mut planned = point(name);
        planned.phase = phase;
        story.plan(planned);
    }
    story
}

/// Opens a run of a point, with the kind that goes with its phase.
fn open(story: &mut Story, point: &str, crew: Vec<CrewMember>) -> RunNumber {
    let run = RunNumber(u32::try_from(story.state.runs.len()).unwrap() + 1);
    let what = RunKind::of_phase(story.rung(point).point.phase);
    story.record("lead", RunOpened { run, what, points: vec![code(point)], crew });
    run
}

fn correct(story: &mut Story, run: RunNumber, times: RunTimes) {
    let reason = "The tower's book says so.".to_owned();
    story.record("lead", RunTimesCorrected { run, times, reason });
}

fn read(story: &mut Story, run: RunNumber, moment: ReadingMoment, counter: Option<f64>) {
    let energy = RunEnergyRead { run, moment, charge_percent: 80.0, energy_counter_kwh: counter };
    story.record("crew", energy);
}

/// A closed run of a point with these times.
fn run(story: &mut Story, point: &str, times: RunTimes) -> RunNumber {
    let run = open(story, point, two());
    // As corrected before the run was closed: how the times came about makes no difference to what they count.
    correct(story, run, times);
    story.record("lead", RunClosed { run, debrief: None });
    run
}

/// A flight of 40 minutes' block with a touch-and-go.
fn flight() -> RunTimes {
    RunTimes {
        power_on: Some(at(0, 0)),
        off_blocks: Some(at(2, 0)),
        take_offs: vec![at(5, 0), at(15, 0)],
        landings: vec![at(15, 0), at(35, 0)],
        on_blocks: Some(at(42, 0)),
        power_off: Some(at(45, 0)),
    }
}

fn powered(minutes: i64) -> RunTimes {
    RunTimes { power_on: Some(at(0, 0)), power_off: Some(at(minutes, 0)), ..RunTimes::default() }
}

fn without(change: impl FnOnce(&mut RunTimes)) -> RunTimes {
    let mut times = flight();
    change(&mut times);
    times
}

#[test]
fn a_flight_counts_its_minutes_and_every_landing_of_a_touch_and_go() {
    let mut story = team();
    let number = run(&mut story, "E", flight());
    let hours = completed(&story.state);
    let [row] = &hours.runs[..] else { panic!("{:?}", hours.runs) };
    assert_eq!((row.run, row.kind, row.phase), (number, RunKind::Flight, Phase::Envelope));
    assert_eq!(row.date.to_string(), "2031-05-12");
    assert_eq!(row.crew, two());
    assert_eq!(
        (row.powered_minutes, row.block_minutes, row.airborne_minutes, row.taxi_minutes),
        (45, 40, 30, 10)
    );
    assert_eq!(row.landings, 2);
    assert_eq!(hours.totals.landings, 2);
    assert_eq!(hours.records, story.state.length());
}

#[test]
fn each_moment_is_cut_to_its_minute_so_that_taxi_and_airborne_are_the_block() {
    let mut story = team();
    // Four minutes and one second by the clock, and five by the cut: 06:00 to 06:05. Airborne 06:01 to 06:04.
    let times = RunTimes {
        power_on: Some(at(0, 59)),
        off_blocks: Some(at(0, 59)),
        take_offs: vec![at(1, 59)],
        landings: vec![at(4, 0)],
        on_blocks: Some(at(5, 0)),
        power_off: Some(at(5, 59)),
    };
    run(&mut story, "F", times);
    let row = &completed(&story.state).runs[0];
    assert_eq!(
        (row.powered_minutes, row.block_minutes, row.airborne_minutes, row.taxi_minutes),
        (5, 5, 3, 2)
    );
}

#[test]
fn a_ground_run_that_stays_on_the_spot_counts_power_and_itself_and_no_block() {
    let mut story = team();
    story.run_for(&["A"], 10);
    let hours = completed(&story.state);
    assert!(hours.incomplete.is_empty());
    assert_eq!(
        hours.totals,
        HoursTotals { runs: 1, powered_minutes: 10, ..HoursTotals::default() }
    );
    assert_eq!(hours.runs[0].off_blocks, None);
}

#[test]
fn an_open_run_is_named_and_not_counted() {
    let mut story = team();
    let number = open(&mut story, "A", two());
    correct(&mut story, number, powered(30));
    let hours = completed(&story.state);
    assert_eq!(hours.open, [number]);
    assert_eq!(hours.totals, HoursTotals::default());
    story.close_run(number);
    let hours = completed(&story.state);
    assert!(hours.open.is_empty());
    assert_eq!(hours.totals.powered_minutes, 30);
}

#[test]
fn a_run_whose_moments_are_not_all_known_is_listed_with_what_is_missing_and_not_counted() {
    use RunEvent::{Landing, OffBlocks, OnBlocks, PowerOff, PowerOn, TakeOff};
    for (point, times, missing) in [
        ("A", RunTimes::default(), vec![PowerOn, PowerOff]),
        ("A", RunTimes { power_off: None, ..powered(5) }, vec![PowerOff]),
        ("A", RunTimes { off_blocks: Some(at(1, 0)), ..powered(5) }, vec![OnBlocks]),
        ("T", powered(5), vec![OffBlocks, OnBlocks]),
        ("T", without(|times| times.on_blocks = None), vec![OnBlocks]),
        ("E", powered(5), vec![OffBlocks, TakeOff, Landing, OnBlocks]),
        ("E", without(|times| times.take_offs.truncate(1)), vec![TakeOff]),
        ("E", without(|times| times.landings.truncate(1)), vec![Landing]),
        ("E", without(|times| times.power_on = None), vec![PowerOn]),
    ] {
        let mut story = team();
        let number = run(&mut story, point, times);
        let hours = completed(&story.state);
        let [left_out] = &hours.incomplete[..] else { panic!("{missing:?}: {hours:?}") };
        assert_eq!((left_out.run, &left_out.missing), (number, &missing));
        for event in missing {
            assert!(left_out.why.contains(event.in_words()), "{}", left_out.why);
        }
        assert!(hours.runs.is_empty() && hours.by_person.is_empty());
        assert_eq!(hours.totals, HoursTotals::default());
    }
}

#[test]
fn times_that_cannot_have_been_so_are_never_counted() {
    use RunEvent::{Landing, OffBlocks, OnBlocks, PowerOff, TakeOff};
    for (times, wrong) in [
        (without(|times| times.power_off = Some(at(-1, 0))), vec![PowerOff]),
        (without(|times| times.off_blocks = Some(at(-1, 0))), vec![OffBlocks]),
        (without(|times| times.off_blocks = Some(at(6, 0))), vec![TakeOff]),
        (without(|times| times.landings[0] = at(4, 0)), vec![Landing]),
        (without(|times| times.take_offs[1] = at(14, 0)), vec![TakeOff]),
        (without(|times| times.on_blocks = Some(at(34, 0))), vec![OnBlocks]),
    ] {
        let mut story = team();
        run(&mut story, "E", times);
        let hours = completed(&story.state);
        assert!(hours.runs.is_empty(), "{wrong:?}");
        assert_eq!(hours.incomplete[0].out_of_order, wrong);
        assert!(hours.incomplete[0].why.contains(wrong[0].in_words()));
    }
}

#[test]
fn a_flight_that_was_knocked_off_before_take_off_counts_what_it_was() {
    let taxied = without(|times| {
        times.take_offs.clear();
        times.landings.clear();
    });
    let told = |knocked_off: bool| {
        let mut story = team();
        let number = open(&mut story, "E", two());
        if knocked_off {
            story.record("pilot", KnockedOff { run: number, reason: "Vibration.".to_owned() });
        }
        correct(&mut story, number, taxied.clone());
        story.close_run(number);
        completed(&story.state)
    };
    assert_eq!(told(false).incomplete[0].missing, [RunEvent::TakeOff, RunEvent::Landing]);
    let row = &told(true).runs[0];
    assert_eq!((row.taxi_minutes, row.airborne_minutes, row.landings), (40, 0, 0));
}

#[test]
fn a_correction_of_times_counts_and_is_told() {
    let mut story = team();
    let number = story.run_for(&["A"], 10);
    let first = completed(&story.state);
    assert_eq!((first.totals.powered_minutes, first.time_corrections), (10, 0));
    correct(&mut story, number, powered(25));
    let second = completed(&story.state);
    assert_eq!((second.totals.powered_minutes, second.time_corrections), (25, 1));
    assert_eq!(second.runs[0].time_corrections, 1);
    // A correction can also say that a moment was not known after all.
    correct(&mut story, number, RunTimes { power_off: None, ..powered(25) });
    let third = completed(&story.state);
    assert_eq!((third.totals.powered_minutes, third.time_corrections), (0, 2));
    assert_eq!(third.incomplete[0].time_corrections, 2);
}

#[test]
fn energy_is_counted_where_the_counter_was_read_before_and_after() {
    let mut story = team();
    let mut counted = |before, after| {
        let number = open(&mut story, "A", two());
        read(&mut story, number, ReadingMoment::Before, before);
        read(&mut story, number, ReadingMoment::After, after);
        correct(&mut story, number, powered(5));
        story.close_run(number);
        completed(&story.state).runs.last().unwrap().energy_wh
    };
    assert_eq!(counted(Some(10.1), Some(13.3)), Some(3200));
    assert_eq!(counted(Some(13.3), Some(13.3)), Some(0));
    assert_eq!(counted(Some(13.3), None), None);
    assert_eq!(counted(None, Some(14.0)), None);
    assert_eq!(counted(Some(14.0), Some(13.9)), None, "a counter does not run backwards");
    let totals = completed(&story.state).totals;
    assert_eq!((totals.energy_wh, totals.runs_with_energy, totals.runs), (3200, 2, 5));
}

#[test]
fn runs_that_follow_each_other_add_up_to_what_the_counter_shows() {
    let mut story = team();
    // Each reading ends in half a watt-hour or worse; rounding the differences would drift.
    let readings = [10.0004, 10.0009, 10.0014, 10.0019, 10.0024];
    for pair in readings.windows(2) {
        let number = open(&mut story, "A", two());
        read(&mut story, number, ReadingMoment::Before, Some(pair[0]));
        read(&mut story, number, ReadingMoment::After, Some(pair[1]));
        correct(&mut story, number, powered(5));
        story.close_run(number);
    }
    assert_eq!(completed(&story.state).totals.energy_wh, 2);
}

#[test]
fn hours_are_told_by_what_was_fitted_when_the_run_was_opened() {
    let mut story = team();
    story.run_for(&["A"], 10);
    story.fit("motor", "2");
    story.run_for(&["A"], 7);
    story.fit("motor", "1");
    story.run_for(&["A"], 3);
    let hours = completed(&story.state);
    let found: Vec<_> = hours
        .by_configuration
        .iter()
        .map(|of| (of.items[&code::<ItemCode>("motor")].as_str(), of.totals.powered_minutes))
        .collect();
    assert_eq!(found, [("1", 13), ("2", 7)]);
    let name = &hours.by_configuration[0].configuration;
    // Of {"motor":"1","pack":"1"}, computed with sha256sum.
    assert_eq!(
        name.digest.to_string(),
        "2a49e281379e259cd322823d9cb897f8ca79e3fb4f911460c918f7b7ab63352b"
    );
    assert!(name.digest.to_string().starts_with(&name.short) && name.short.len() == 12);
    assert_eq!(hours.runs[2].configuration, *name);
}

#[test]
fn hours_are_told_by_person_and_those_on_board_apart() {
    let mut story = team();
    run(&mut story, "E", flight());
    story.run_for(&["A"], 10);
    let hours = completed(&story.state);
    let found: Vec<_> = hours
        .by_person
        .iter()
        .map(|of| {
            let (all, on_board) = (of.totals.powered_minutes, of.on_board.powered_minutes);
            (of.person.as_str(), of.name.as_deref(), all, on_board)
        })
        .collect();
    assert_eq!(found, [("engineer", Some("engineer"), 45, 0), ("pilot", Some("pilot"), 55, 55)]);
}

#[test]
fn what_is_still_to_go_is_counted_in_the_phases_that_are_asked_for() {
    let mut story = team();
    let asked = |total, at_least, phases: &[Phase]| RequiredTotal {
        total,
        at_least,
        phases: phases.to_vec(),
        source: "conditions of the permit".to_owned(),
    };
    let required_totals = vec![
        asked(Total::AirborneMinutes, 100, &[]),
        asked(Total::Landings, 2, &[Phase::FirstFlight, Phase::Envelope]),
        asked(Total::PoweredMinutes, 60, &[Phase::GroundRun]),
        asked(Total::TaxiMinutes, 10, &[Phase::Taxi]),
        asked(Total::BlockMinutes, 41, &[]),
        asked(Total::Runs, 5, &[]),
    ];
    story
        .record("lead", PolicySet { policy: crate::nouns::Policy { required_totals, ..policy() } });
    run(&mut story, "E", flight());
    story.run_for(&["A"], 12);
    run(&mut story, "T", powered(30));
    let hours = completed(&story.state);
    let found: Vec<_> =
        hours.to_go.iter().map(|to_go| (to_go.required, to_go.done, to_go.remaining)).collect();
    assert_eq!(
        found,
        [(100, 30, 70), (2, 2, 0), (60, 12, 48), (10, 0, 10), (41, 40, 1), (5, 2, 3)],
        "the taxi run without blocks is not counted"
    );
    assert_eq!(hours.to_go[0].source, "conditions of the permit");
}

#[test]
fn minutes_are_told_as_whole_numbers_with_their_unit_in_the_name() {
    let mut story = team();
    run(&mut story, "E", flight());
    let told = serde_json::to_value(completed(&story.state)).unwrap();
    let row = &told["runs"][0];
    for (name, figure) in [
        ("powered_minutes", 45),
        ("taxi_minutes", 10),
        ("airborne_minutes", 30),
        ("block_minutes", 40),
        ("landings", 2),
    ] {
        assert_eq!(row[name], figure, "{name}");
        assert_eq!(told["totals"][name], figure, "{name}");
    }
    assert_eq!(row["date"], "2031-05-12");
    assert_eq!(row["kind"], "flight");
    assert_eq!(
        row["crew"][0],
        serde_json::json!({"person": "pilot", "role": "pilot", "on_board": true})
    );
    assert!(row.get("energy_wh").is_none());
}

#[test]
fn the_log_as_a_table_has_a_row_for_each_counted_run_and_empty_cells_for_what_is_not_known() {
    let mut story = team();
    run(&mut story, "E", flight());
    run(&mut story, "A", powered(10));
    let text = runs_csv(&completed(&story.state)).unwrap();
    let lines: Vec<_> = text.split_terminator("\r\n").collect();
    let [heading, flown, on_the_spot] = &lines[..] else { panic!("{text}") };
    assert!(heading.starts_with("run,date_utc,kind,phase,power_on_utc"), "{heading}");
    let cells = |line: &str| line.split(',').map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(cells(flown)[..4], ["1", "2031-05-12", "flight", "envelope"], "{flown}");
    assert_eq!(cells(flown)[8..14], ["45", "10", "30", "40", "2", ""], "{flown}");
    assert_eq!(
        cells(flown)[15],
        "pilot pilot on board; engineer engineer on the ground",
        "{flown}"
    );
    assert_eq!(cells(on_the_spot)[5..7], ["", ""], "it did not move: {on_the_spot}");
    assert_eq!(cells(on_the_spot).len(), cells(heading).len());
}
