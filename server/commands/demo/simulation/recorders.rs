//! The three recorders: what their sensors make of the truth, and the files that they write.

use std::fmt::Write as _;

use chrono::{DateTime, TimeDelta, Utc};

use super::chance::Chance;
use super::flights::{Drift, Flight};
use super::sheet::{Column, Sheet, Style};
use super::truth::{Truth, truths};

/// The satellite receiver tells two of these a second fewer than the others: every second row.
const ROWS_PER_FIX: usize = 2;

/// Below this the pitot tube feels nothing.
const LEAST_IAS_KMH: f64 = 37.0;
const KMH_PER_KT: f64 = 1.852;

/// Pressure altitude of the airfield: 210 ft less 75 ft for 1016 hPa.
const FIELD_M: f64 = 41.0;

/// A kind of recorder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Recorder {
    /// Battery management.
    Bms,
    /// Motor controller.
    Inverter,
    /// Satellite receiver.
    Gnss,
}

/// The recorders that wrote a file of this flight.
pub fn of(flight: &Flight) -> Vec<Recorder> {
    let mut recorders = vec![Recorder::Bms, Recorder::Inverter];
    if flight.track_deg.is_some() {
        recorders.push(Recorder::Gnss);
    }
    recorders
}

const BMS: [Column; 18] = [
    Column::from_zero("U_pack", "V", 1, 0.15),
    Column::signed("I_pack", "A", 1, 0.4),
    Column::signed("P_pack", "kW", 2, 0.0),
    Column::from_zero("SOC", "%", 2, 0.005),
    Column::from_zero("U_cell_min", "mV", 0, 0.8),
    Column::from_zero("U_cell_max", "mV", 0, 0.8),
    Column::from_zero("U_cell_spread", "mV", 0, 0.0),
    Column::signed("T_cell_1", "°C", 2, 0.02),
    Column::signed("T_cell_2", "°C", 2, 0.02),
    Column::signed("T_cell_3", "°C", 2, 0.02),
    Column::signed("T_cell_4", "°C", 2, 0.02),
    Column::signed("T_cell_max", "°C", 2, 0.0),
    Column::from_zero("R_iso", "Ohm/V", 0, 30.0),
    Column::from_zero("U_aux", "V", 2, 0.02),
    Column::signed("T_contactor", "°C", 1, 0.1),
    Column::signed("T_box_front", "°C", 1, 0.1),
    Column::signed("T_box_rear", "°C", 1, 0.1),
    Column::from_zero("Q_out", "Ah", 3, 0.0),
];

const INVERTER: [Column; 20] = [
    Column::from_zero("speed_rpm", "", 0, 1.2),
    Column::from_zero("torque_nm", "", 1, 0.8),
    Column::from_zero("shaft_kw", "", 2, 0.05),
    Column::from_zero("u_link_v", "", 1, 0.2),
    Column::signed("i_link_a", "", 1, 0.5),
    Column::from_zero("lever_percent", "", 1, 0.05),
    Column::signed("t_winding_1_c", "", 1, 0.12),
    Column::signed("t_winding_2_c", "", 1, 0.12),
    Column::signed("t_inverter_c", "", 1, 0.12),
    Column::signed("t_bearing_c", "", 1, 0.12),
    Column::signed("t_coolant_in_c", "", 1, 0.08),
    Column::signed("t_coolant_out_c", "", 1, 0.08),
    Column::from_zero("coolant_l_min", "", 2, 0.08),
    Column::from_zero("vib_front_mm_s", "", 2, 0.15),
    Column::from_zero("vib_rear_mm_s", "", 2, 0.2),
    Column::from_zero("ias_kmh", "", 1, 0.6),
    Column::signed("palt_m", "", 1, 0.4),
    Column::signed("oat_c", "", 1, 0.1),
    Column::signed("load_factor_g", "", 3, 0.006),
    Column::signed("bank_deg", "", 1, 0.15),
];

impl Recorder {
    /// Its code in the programme.
    pub const fn code(self) -> &'static str {
        match self {
            Recorder::Bms => "bms",
            Recorder::Inverter => "inverter",
            Recorder::Gnss => "gnss",
        }
    }

    /// Whether it writes temperatures of parts beside the power.
    pub const fn shows_warming(self) -> bool {
        matches!(self, Recorder::Inverter)
    }

    /// How its files' names end.
    pub const fn extension(self) -> &'static str {
        match self {
            Recorder::Bms | Recorder::Inverter => "csv",
            Recorder::Gnss => "nmea",
        }
    }

    /// The file that it wrote of a flight.
    pub fn write(self, flight: &Flight, begins: DateTime<Utc>) -> Vec<u8> {
        match self {
            Recorder::Bms => bms(flight, begins),
            Recorder::Inverter => inverter(flight, begins),
            Recorder::Gnss => gnss(flight, begins),
        }
    }
}

/// What a sensor reads of each column: the truth, its noise, and its drift.
struct Sensors<'f> {
    columns: &'static [Column],
    drifts: Vec<(usize, &'f Drift)>,
    chance: Chance,
}

impl<'f> Sensors<'f> {
    fn of(recorder: Recorder, columns: &'static [Column], flight: &'f Flight) -> Self {
        let drifts = flight.drifts.iter().filter_map(|drift| {
            let place = columns.iter().position(|column| column.name == drift.column)?;
            Some((place, drift))
        });
        Self { columns, drifts: drifts.collect(), chance: Chance::of(flight.seed, recorder.code()) }
    }

    fn read<const N: usize>(&mut self, t_s: f64, truth: [f64; N]) -> [f64; N] {
        let mut values = truth;
        for (value, column) in values.iter_mut().zip(self.columns) {
            if column.noise > 0.0 {
                *value += self.chance.noise(column.noise);
            }
            // What is not a number stays so: it is below nothing.
            if column.from_zero && *value < 0.0 {
                *value = 0.0;
            }
        }
        for (place, drift) in &self.drifts {
            if let Some(value) = values.get_mut(*place) {
                *value += drift.at(t_s);
            }
        }
        values
    }
}

fn bms(flight: &Flight, begins: DateTime<Utc>) -> Vec<u8> {
    let style = Style { delimiter: ';', decimal: ',', line_end: "\r\n" };
    let code = Recorder::Bms.code();
    let mut sheet = Sheet::begun("\u{feff}".to_owned(), style, code, &BMS, flight);
    sheet.heading("Zeit", |column| column.name);
    sheet.heading("", |column| column.unit);
    let mut sensors = Sensors::of(Recorder::Bms, &BMS, flight);
    let mut moment = String::new();
    for (row, truth) in truths(flight).enumerate() {
        let mut values = sensors.read(truth.t_s, bms_truth(&truth, flight));
        // What the management works out of its own readings.
        let [pack_v, into_a, pack_kw, _, least_mv, most_mv, spread_mv, t1, t2, t3, t4, hottest, ..] =
            &mut values;
        *pack_kw = -*pack_v * *into_a / 1000.0;
        *spread_mv = (*most_mv - *least_mv).max(0.0);
        *hottest = t1.max(*t2).max(*t3).max(*t4);
        moment.clear();
        let at = begins + TimeDelta::milliseconds(100 * row as i64);
        // Writing to a string cannot fail.
        let _ = write!(moment, "{}", at.format("%Y-%m-%dT%H:%M:%S%.3fZ"));
        sheet.row(truth.t_s, &moment, &values);
    }
    sheet.finish()
}

fn bms_truth(truth: &Truth, flight: &Flight) -> [f64; 18] {
    let plant = &truth.plant;
    let cell_mv = 1000.0 * plant.cell_v();
    // The weakest cell has a little more resistance than the others, and the strongest a little less.
    let [t1, t2, t3, t4] = plant.cells_c;
    let boxes = 0.35;
    let in_box = |cell_c: f64| flight.oat_c + boxes * (cell_c - flight.oat_c);
    [
        plant.pack_v,
        -plant.pack_a,
        0.0,
        plant.charge_percent(),
        cell_mv - 6.0 - 0.10 * plant.pack_a,
        cell_mv + 6.0 + 0.04 * plant.pack_a,
        0.0,
        t1,
        t2,
        t3,
        t4,
        0.0,
        4300.0 - 4.0 * (plant.winding_c - flight.oat_c),
        if truth.asked.live { 13.6 } else { 12.9 },
        plant.contactor_c,
        in_box(t1),
        in_box(t3),
        plant.drawn_ah(),
    ]
}

fn inverter(flight: &Flight, begins: DateTime<Utc>) -> Vec<u8> {
    let style = Style { delimiter: ',', decimal: '.', line_end: "\n" };
    let code = Recorder::Inverter.code();
    let mut sheet = Sheet::begun(String::new(), style, code, &INVERTER, flight);
    sheet.heading("time_ms", |column| column.name);
    let mut sensors = Sensors::of(Recorder::Inverter, &INVERTER, flight);
    let mut jitter = Chance::of(flight.seed, "inverter's clock");
    let ahead_ms = (1000.0 * flight.inverter_clock_ahead_s).round() as i64;
    let begins_ms = begins.timestamp_millis() + ahead_ms;
    let mut moment = String::new();
    for (row, truth) in truths(flight).enumerate() {
        let values = sensors.read(truth.t_s, inverter_truth(&truth, flight));
        moment.clear();
        let _ = write!(moment, "{}", begins_ms + 100 * row as i64 + jitter.below(4) as i64);
        sheet.row(truth.t_s, &moment, &values);
    }
    sheet.finish()
}

fn inverter_truth(truth: &Truth, flight: &Flight) -> [f64; 20] {
    let plant = &truth.plant;
    let per_s = truth.rpm * std::f64::consts::TAU / 60.0;
    let torque_nm = if per_s > 0.0 { 1000.0 * truth.shaft_kw / per_s } else { 0.0 };
    let ias_kmh = truth.asked.speed_kt * KMH_PER_KT;
    let rolls = 0.004 * truth.asked.speed_kt;
    [
        truth.rpm,
        torque_nm,
        truth.shaft_kw,
        plant.link_v,
        if truth.asked.live { plant.pack_a } else { 0.0 },
        100.0 * truth.shaft_kw / 71.0,
        plant.winding_c,
        // The second sensor sits nearer to the coolant.
        plant.winding_c - 0.03 * (plant.winding_c - flight.oat_c),
        plant.inverter_c,
        plant.bearing_c,
        plant.coolant_in_c,
        plant.coolant_out_c,
        plant.flow_l_per_min.unwrap_or(f64::NAN),
        truth.vib_front_mm_s,
        truth.vib_rear_mm_s,
        if ias_kmh >= LEAST_IAS_KMH { ias_kmh } else { f64::NAN },
        FIELD_M,
        flight.oat_c,
        1.0 + rolls * (7.3 * truth.t_s).sin(),
        0.4 + 10.0 * rolls * (3.1 * truth.t_s).sin(),
    ]
}

/// A receiver's course means nothing below this speed, and it leaves it out.
const LEAST_COURSE_KT: f64 = 0.6;

fn gnss(flight: &Flight, begins: DateTime<Utc>) -> Vec<u8> {
    let mut text = String::new();
    let mut chance = Chance::of(flight.seed, Recorder::Gnss.code());
    let code = Recorder::Gnss.code();
    for (row, truth) in truths(flight).enumerate().step_by(ROWS_PER_FIX) {
        let off = |dropout: &super::flights::Dropout| {
            dropout.recorder == code && dropout.covers(truth.t_s)
        };
        if flight.dropouts.iter().any(off) {
            continue;
        }
        let at = begins + TimeDelta::milliseconds(100 * row as i64);
        let time = format!("{}.{:02}", at.format("%H%M%S"), at.timestamp_subsec_millis() / 10);
        let speed_kt = (truth.asked.speed_kt + chance.noise(0.05)).abs();
        let track_deg = (truth.asked.track_deg + chance.noise(0.5)).rem_euclid(360.0);
        // A tenth of a metre, and two for the height.
        let latitude = degrees_and_minutes(truth.latitude_deg + chance.noise(1e-6), 2);
        let longitude = degrees_and_minutes(truth.longitude_deg + chance.noise(1e-6), 3);
        let course =
            if speed_kt < LEAST_COURSE_KT { String::new() } else { format!("{track_deg:.1}") };
        let date = at.format("%d%m%y");
        sentence(
            &mut text,
            &format!("GNRMC,{time},A,{latitude},N,{longitude},E,{speed_kt:.2},{course},{date},,,A"),
        );
        let height_m = 64.0 + chance.noise(0.6);
        sentence(
            &mut text,
            &format!("GNGGA,{time},{latitude},N,{longitude},E,1,11,0.8,{height_m:.1},M,40.1,M,,"),
        );
    }
    text.into_bytes()
}

/// Whole degrees with so many digits, then minutes, as NMEA 0183 writes them.
fn degrees_and_minutes(degrees: f64, digits: usize) -> String {
    let whole = degrees.floor();
    // Rounding minutes could give 60, which no receiver writes.
    let minutes = (60.0 * (degrees - whole)).min(59.999_99);
    format!("{whole:0digits$.0}{minutes:08.5}")
}

/// Adds a sentence with its checksum: the exclusive or of what stands between dollar and star.
fn sentence(text: &mut String, body: &str) {
    let checksum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    // Writing to a string cannot fail.
    let _ = write!(text, "${body}*{checksum:02X}\r\n");
}
