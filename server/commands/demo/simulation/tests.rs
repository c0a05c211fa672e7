//! The model keeps its energy, the files are what recorders write, and the runs are those of the story.

#![allow(clippy::unwrap_used, clippy::panic)]

use chrono::{DateTime, TimeZone, Utc};

use super::flights::{self, Asked, Flight, Segment};
use super::powerplant::Powerplant;
use super::recorders::{self, Recorder};
use super::truth::{STEP_S, Truth, truths};
use super::{Dated, FLIGHTS, SimulatedFile, begins, files};

const PROGRAMME: &str = include_str!("../../../../seed/programme.toml");
const STORY: &str = include_str!("../../../../seed/story.toml");

fn now() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2031, 5, 12, 15, 0, 0).unwrap()
}

fn flight(run: u32) -> Flight {
    flights::read(FLIGHTS).unwrap().into_iter().find(|flight| flight.run == run).unwrap()
}

fn file(run: u32, recorder: &str) -> SimulatedFile {
    let flight = flight(run);
    let recorder = recorders::of(&flight).into_iter().find(|one| one.code() == recorder).unwrap();
    let begins = begins(&flight, now()).unwrap();
    Dated { flight, begins }.file(recorder)
}

#[track_caller]
fn is_near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found} is not {wanted} ± {within}");
}

fn greatest(run: u32, of: impl Fn(&Truth) -> f64) -> f64 {
    truths(&flight(run)).map(|truth| of(&truth)).fold(f64::NEG_INFINITY, f64::max)
}

/// How long something is so, all together.
fn seconds(run: u32, is: impl Fn(&Truth) -> bool) -> f64 {
    truths(&flight(run)).filter(|truth| is(truth)).count() as f64 * STEP_S
}

#[test]
fn the_energy_that_leaves_the_cells_is_all_found_again() {
    for flight in flights::read(FLIGHTS).unwrap() {
        let plant = truths(&flight).last().unwrap().plant;
        let energy = plant.energy;
        let found = energy.pack_loss + energy.drive_loss + energy.auxiliary + energy.shaft;
        is_near(found / energy.from_cells, 1.0, 1e-9);
        // About 370 V at rest: the charge that is gone took this energy along.
        let charge_ah = 108.0 * flight.charge_percent / 100.0 - plant.charge_ah;
        is_near(energy.from_cells / (charge_ah * 3600.0), 390.0, 15.0);
    }
}

#[test]
fn parts_settle_at_their_rise_over_what_cools_them() {
    let flight = flight(16);
    let mut plant = Powerplant::at_rest(&flight);
    let asked = Asked { power_kw: 40.0, live: true, pump: true, ..Asked::default() };
    for _ in 0..30_000 {
        plant.step(&asked, 2000.0, STEP_S);
        // The pack is full again each time, so that an hour can be run.
        plant.charge_ah = 90.0;
    }
    is_near(plant.coolant_out_c, flight.oat_c + 0.86 * 40.0, 0.01);
    is_near(plant.winding_c, plant.coolant_out_c + (0.36 + 0.50) * 40.0, 0.01);
    is_near(plant.inverter_c, plant.coolant_in_c + 0.20 * 40.0, 0.01);
    // After one time constant from a step, 1/e of the way is left.
    let mut stepped = Powerplant::at_rest(&flight);
    for _ in 0..1390 {
        stepped.step(&asked, 2000.0, STEP_S);
    }
    let left = (plant.coolant_out_c - stepped.coolant_out_c) / (plant.coolant_out_c - flight.oat_c);
    is_near(left, (-1.0_f64).exp(), 0.001);
}

#[test]
fn the_same_day_gives_the_same_bytes() {
    let bytes = |now| files(now).unwrap().map(|file| (file.name, file.bytes)).collect::<Vec<_>>();
    assert_eq!(bytes(now()), bytes(now() + chrono::TimeDelta::hours(8)));
    let of_next_day = files(now() + chrono::TimeDelta::days(1)).unwrap().next().unwrap();
    assert_ne!(of_next_day.bytes, files(now()).unwrap().next().unwrap().bytes);
}

#[test]
fn there_are_files_of_three_recorders_with_about_forty_channels_ten_times_a_second() {
    let all: Vec<_> = files(now()).unwrap().collect();
    let of = |recorder: &str| all.iter().filter(|file| file.recorder == recorder).count();
    assert_eq!((of("bms"), of("inverter"), of("gnss")), (8, 8, 2));
    let mut names: Vec<_> = all.iter().map(|file| &file.name).collect();
    names.dedup();
    assert_eq!(names.len(), all.len());
    let bytes: usize = all.iter().map(|file| file.bytes.len()).sum();
    assert!((20_000_000..60_000_000).contains(&bytes), "{bytes} bytes");
}

#[test]
fn the_battery_recorder_writes_a_byte_order_mark_semicolons_decimal_commas_and_a_unit_row() {
    let file = file(16, "bms");
    let text = String::from_utf8(file.bytes).unwrap();
    let mut lines = text.strip_prefix('\u{feff}').unwrap().split("\r\n");
    assert!(lines.next().unwrap().starts_with("Zeit;U_pack;I_pack;"));
    assert!(lines.next().unwrap().starts_with(";V;A;kW;%;mV;"));
    let row: Vec<_> = lines.next().unwrap().split(';').collect();
    assert_eq!((row.len(), row[0]), (19, "2031-04-16T09:04:45.000Z"));
    assert!(row[1].contains(',') && !row[1].contains('.'), "{}", row[1]);
    assert!(text.ends_with("\r\n") && !text.replace("\r\n", "").contains('\n'));
    assert!(text.contains(";ERR;"));
}

#[test]
fn every_sentence_of_the_receiver_has_its_checksum() {
    let text = String::from_utf8(file(21, "gnss").bytes).unwrap();
    let mut count = 0;
    for line in text.lines() {
        let (body, checksum) = line.strip_prefix('$').unwrap().split_once('*').unwrap();
        let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
        assert_eq!(u8::from_str_radix(checksum, 16), Ok(sum), "{line}");
        count += 1;
    }
    // Two sentences a fix, five fixes a second.
    assert_eq!(count, 1980 * 10);
}

#[test]
fn every_column_that_the_programme_maps_is_in_the_files() {
    let programme: toml::Value = toml::from_str(PROGRAMME).unwrap();
    let mut looked = 0;
    for recorder in programme["recorders"].as_array().unwrap() {
        let code = recorder["code"].as_str().unwrap();
        if code == Recorder::Gnss.code() {
            continue;
        }
        let text = String::from_utf8(file(12, code).bytes).unwrap();
        let header: Vec<_> = text.lines().next().unwrap().split([';', ',']).collect();
        for mapped in recorder["columns"].as_array().unwrap() {
            let column = mapped["column"].as_str().unwrap();
            assert!(header.contains(&column), "{code} has no {column}");
            looked += 1;
        }
    }
    assert_eq!(looked, 38);
}

/// Every act of the story of this kind, in order.
fn acts<'s>(story: &'s toml::Value, kind: &str) -> Vec<&'s toml::Value> {
    let acts = story["act"].as_array().unwrap().iter();
    acts.filter(|act| act["do"].as_str() == Some(kind)).collect()
}

#[test]
fn runs_points_days_times_and_charge_are_those_of_the_story() {
    let story: toml::Value = toml::from_str(STORY).unwrap();
    let runs = acts(&story, "open-run");
    let before = acts(&story, "read-energy").into_iter();
    let before: Vec<_> = before.filter(|act| act["moment"].as_str() == Some("before")).collect();
    let (noted, corrected) = (acts(&story, "note-moments"), acts(&story, "correct-times"));
    for flight in flights::read(FLIGHTS).unwrap() {
        let run = runs[flight.run as usize - 1];
        let day = run["day"].as_integer().unwrap();
        assert_eq!(flight.day, day, "run {}", flight.run);
        let points: Vec<_> =
            run["points"].as_array().unwrap().iter().map(|code| code.as_str().unwrap()).collect();
        assert_eq!(flight.points, points, "run {}", flight.run);
        let opened = run["time"].as_str().unwrap();
        let same_run = |act: &&&toml::Value| {
            act["day"].as_integer() == Some(day) && act["time"].as_str().unwrap() > opened
        };
        let charge = before.iter().find(same_run).unwrap()["charge_percent"].as_float().unwrap();
        assert_eq!(flight.charge_percent, charge, "run {}", flight.run);
        let told = corrected.iter().find(same_run).or_else(|| noted.iter().find(same_run));
        let told = told.unwrap()["moments"].as_array().unwrap();
        let told = |what: &str| {
            let of = told.iter().find_map(|told| told.as_str().unwrap().strip_prefix(what));
            of.map(|time| minute_of(time.trim()))
        };
        let begins_s =
            60.0 * minute_of(&flight.begins[..5]) + flight.begins[6..].parse::<f64>().unwrap();
        let at = |is: &dyn Fn(&Truth) -> bool| {
            truths(&flight).find(|truth| is(truth)).map(|truth| (begins_s + truth.t_s) / 60.0)
        };
        is_near(at(&|truth| truth.asked.live).unwrap(), told("power-on").unwrap(), 0.02);
        if let Some(off_blocks) = told("off-blocks") {
            is_near(at(&|truth| truth.asked.speed_kt > 0.0).unwrap(), off_blocks, 0.05);
        }
        let still = truths(&flight).filter(|truth| truth.asked.speed_kt > 0.0).last();
        if let (Some(still), Some(on_blocks)) = (still, told("on-blocks")) {
            is_near((begins_s + still.t_s) / 60.0, on_blocks, 0.1);
        }
    }
}

/// Minutes since midnight.
fn minute_of(time: &str) -> f64 {
    let (hours, minutes) = time.split_once(':').unwrap();
    60.0 * hours.parse::<f64>().unwrap() + minutes.parse::<f64>().unwrap()
}

#[test]
fn what_the_story_read_is_nearly_what_the_recorders_saw() {
    // GR-05: the inverter at 86.2 °C, above its limit of 85 °C for 4 s.
    is_near(greatest(12, |truth| truth.plant.inverter_c), 86.2, 0.6);
    is_near(seconds(12, |truth| truth.plant.inverter_c > 85.0), 4.0, 1.5);
    is_near(greatest(12, |truth| truth.shaft_kw), 56.3, 0.3);
    // GR-07, first try: coolant below 9 l/min at 40 kW, and not below its limit of 8.
    let flow = |truth: &Truth| truth.plant.flow_l_per_min.unwrap();
    let least = -greatest(13, |truth| -flow(truth));
    assert!((8.2..9.0).contains(&least), "{least}");
    // GR-08: settles at 99 °C, coolant at 56.9 °C, cells at 37.5 °C.
    is_near(greatest(16, |truth| truth.plant.winding_c), 99.0, 1.5);
    is_near(greatest(16, |truth| truth.plant.coolant_out_c), 56.9, 0.5);
    is_near(greatest(16, |truth| truth.plant.cells_c[0]), 37.5, 1.0);
    // GR-14: 104 °C after three minutes at 70 kW, of which 6 °C in the last 30 s.
    is_near(greatest(17, |truth| truth.plant.winding_c), 104.0, 1.5);
    is_near(greatest(17, |truth| truth.shaft_kw), 70.1, 0.3);
    // TX-01 and TX-02: 10.6 kt and 20.4 kt.
    is_near(greatest(20, |truth| truth.asked.speed_kt), 10.6, 0.2);
    is_near(greatest(21, |truth| truth.asked.speed_kt), 20.4, 0.3);
    // GR-10: 12.4 mm/s at the front, above 11 for 34 s in all, 18.6 at the rear, 2398 rpm.
    is_near(greatest(22, |truth| truth.vib_front_mm_s), 12.4, 0.4);
    is_near(seconds(22, |truth| truth.vib_front_mm_s > 11.0), 34.0, 4.0);
    is_near(greatest(22, |truth| truth.vib_rear_mm_s), 18.6, 0.6);
    is_near(greatest(22, |truth| truth.rpm), 2398.0, 4.0);
}

#[test]
fn charge_left_after_each_run_is_nearly_what_was_read() {
    let after = [
        (12, 90.6),
        (13, 95.1),
        (16, 74.9),
        (17, 83.6),
        (18, 84.2),
        (20, 93.8),
        (21, 92.1),
        (22, 88.3),
    ];
    for (run, percent) in after {
        let left = truths(&flight(run)).last().unwrap().plant.charge_percent();
        is_near(left, percent, 1.3);
    }
}

/// The figures of one column of a file with commas between its cells, with their seconds after the first row.
fn column(file: &SimulatedFile, name: &str) -> Vec<(f64, f64)> {
    let text = std::str::from_utf8(&file.bytes).unwrap();
    let (delimiter, mark) = if file.recorder == "bms" { (';', ",") } else { (',', ".") };
    let place = text.lines().next().unwrap().split(delimiter).position(|cell| cell == name);
    let moment = |cell: &str| {
        let at = DateTime::parse_from_rfc3339(cell).map(|at| at.timestamp_millis());
        at.ok().or_else(|| cell.parse().ok())
    };
    let rows = text.lines().filter_map(|line| {
        let cells: Vec<_> = line.split(delimiter).collect();
        let value = cells[place.unwrap()].replace(mark, ".").parse().ok()?;
        Some((moment(cells[0])? as f64 / 1000.0, value))
    });
    rows.collect()
}

#[test]
fn one_cell_sensor_drifts_away_from_the_others_and_they_stay_together() {
    let file = file(16, "bms");
    let last = |name| column(&file, name).last().unwrap().1;
    let others = [last("T_cell_1"), last("T_cell_2"), last("T_cell_3")];
    assert!(others.iter().all(|other| (other - others[0]).abs() < 2.0), "{others:?}");
    is_near(last("T_cell_4") - others[1], -7.2, 0.6);
}

#[test]
fn the_motor_controllers_clock_is_ahead_by_what_is_told() {
    let begins = |recorder| {
        column(&file(16, recorder), if recorder == "bms" { "SOC" } else { "lever_percent" })[0].0
    };
    is_near(begins("inverter") - begins("bms"), 4.7, 0.005);
    // Both record the current out of the pack, by which the difference can be found.
    let jump = |recorder, name, sign: f64| {
        let rows = column(&file(16, recorder), name);
        rows.iter().find(|(_, current)| sign * current > 60.0).unwrap().0
    };
    is_near(jump("inverter", "i_link_a", 1.0) - jump("bms", "I_pack", -1.0), 4.7, 0.25);
}

#[test]
fn recorders_leave_gaps_and_cells_empty_where_the_flight_says_so() {
    // GR-11: all cell temperatures are gone four minutes after power off, and stay so.
    let hottest = column(&file(18, "bms"), "T_cell_max");
    let pack = column(&file(18, "bms"), "U_pack");
    is_near(hottest.last().unwrap().0 - hottest[0].0, 889.9, 0.05);
    assert_eq!(pack.len(), 36_200);
    // The controller skips 3.1 s.
    let link = column(&file(18, "inverter"), "u_link_v");
    let longest = link.windows(2).map(|pair| pair[1].0 - pair[0].0).fold(0.0, f64::max);
    is_near(longest, 3.2, 0.01);
}

#[test]
fn a_segment_of_turning_speed_asks_for_the_power_that_the_propeller_takes_there() {
    let segment = |rpm| Segment {
        what: String::new(),
        seconds: 1.0,
        power_kw: None,
        rpm,
        speed_kt: None,
        turn_to_deg: None,
        live: true,
        pump: true,
    };
    let flight = Flight { segments: vec![segment(Some(2000.0)), segment(None)], ..flight(22) };
    let last = flights::asked(&flight, 0.1).last().unwrap();
    // From the tie-down runs of the story: 42.5 kW at 2010 rpm.
    is_near(last.power_kw, 42.5 * (2000.0_f64 / 2010.0).powi(3), 0.5);
    is_near(flights::rpm_of(last.power_kw), 2000.0, 1e-9);
    assert_eq!(recorders::of(&flight), [Recorder::Bms, Recorder::Inverter]);
}
