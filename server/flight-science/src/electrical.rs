//! Plain facts of shafts and high-voltage circuits, checked so that nobody has to trust their head for them.
//!
//! High voltage kills. These figures are for planning and for reading a measurement; work on the circuit is for people
//! who are qualified for it, with the circuit shown dead.

use std::f64::consts::TAU;

use quantities::units::{
    NEWTON_METRES_PER_POUND_FORCE_FOOT, SECONDS_PER_MINUTE, WATTS_PER_KILOWATT,
};
use quantities::{Current, Power, Voltage};
use serde::Serialize;
use serde_json::Value;

use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::{Reader, above_up_to};

/// Shaft power from torque in newton-metres and speed in revolutions a minute.
///
/// Valid for any torque and speed.
///
/// # Source
///
/// Power is torque times angular speed: common practice, no source.
/// Checked by `published/electrical.toml`.
pub fn shaft_power(torque_n_m: f64, speed_rpm: f64) -> Power {
    Power::from_watts(torque_n_m * angular_speed_rad_s(speed_rpm))
}

/// Shaft torque in newton-metres from power, and speed in revolutions a minute.
///
/// Valid for a speed other than zero; at zero the torque is not determined and the answer is not finite.
///
/// # Source
///
/// Power is torque times angular speed: common practice, no source.
/// Checked by `published/electrical.toml`.
pub fn shaft_torque_n_m(power: Power, speed_rpm: f64) -> f64 {
    power.watts() / angular_speed_rad_s(speed_rpm)
}

fn angular_speed_rad_s(speed_rpm: f64) -> f64 {
    speed_rpm * TAU / SECONDS_PER_MINUTE
}

/// Line voltage of a symmetrical three-phase system in star, from its phase voltage.
///
/// # Source
///
/// Line voltage is √3 times phase voltage: common practice, no source.
/// Checked by `published/electrical.toml`.
pub fn line_voltage(phase_voltage: Voltage) -> Voltage {
    Voltage::from_volts(3.0_f64.sqrt() * phase_voltage.volts())
}

/// Current into a short circuit at the terminals, once it has settled, from open-circuit voltage and internal resistance
/// in ohms.
///
/// A pack that feeds one can burn, burst and spray molten metal, and a fuse may be too slow. Valid for a resistance
/// above zero; the inductance of the circuit, which shapes the rise, is left out.
///
/// # Source
///
/// Ohm's law: common practice, no source.
/// Checked by `published/electrical.toml`.
pub fn short_circuit_current(open_circuit: Voltage, internal_resistance_ohm: f64) -> Current {
    Current::from_amperes(open_circuit.volts() / internal_resistance_ohm)
}

/// How a high-voltage bus is fed, which sets how well it has to be isolated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bus {
    /// Direct current, galvanically separate from any alternating-current bus.
    Direct,
    /// Alternating current, galvanically separate from any direct-current bus.
    Alternating,
    /// Direct and alternating current galvanically connected, as through an inverter without further barriers.
    Connected,
}

impl Bus {
    /// The least isolation resistance for each volt of working voltage, in ohms a volt.
    ///
    /// # Source
    ///
    /// UN Regulation No. 100, paragraphs 5.1.3.1 and 5.1.3.2. It is a rule for road vehicles; an aircraft's authority may
    /// want more. Checked by `published/electrical.toml`.
    pub const fn least_isolation_ohm_per_v(self) -> f64 {
        match self {
            Self::Direct => 100.0,
            Self::Alternating | Self::Connected => 500.0,
        }
    }
}

/// The topic `electrical`.
pub static TOPIC: Topic = Topic {
    name: "electrical",
    version: 1,
    title: "Plain facts of shafts and circuits",
    gives: "One plain fact: shaft power and torque, electrical power and the loss of a drive, single-phase and three-phase \
            power, the current of a short circuit, or isolation resistance per volt against UN Regulation No. 100. High \
            voltage kills: these are figures for planning, and the work is for people qualified for it.",
    valid_range: "fact says which; each fact takes its own fields and no others. Three-phase figures are for a symmetrical load \
                  in star. UN Regulation No. 100 is a rule for road vehicles; an aircraft's authority may want more.",
    inputs: &[
        Field::required(
            "fact",
            "text",
            "One of shaft, drive, single-phase, three-phase, short-circuit, isolation.",
        ),
        Field::optional("torque_n_m", "N·m", "shaft: torque; either this or shaft_power_kw."),
        Field::optional(
            "shaft_power_kw",
            "kW",
            "shaft: power, in place of torque. drive: power at the shaft, if known.",
        ),
        Field::optional("speed_rpm", "1/min", "shaft: speed of rotation."),
        Field::optional(
            "voltage_v",
            "V",
            "drive: bus voltage. single-phase: supply voltage. short-circuit: open-circuit voltage.",
        ),
        Field::optional(
            "current_a",
            "A",
            "drive and single-phase: current. three-phase: line current, if known.",
        ),
        Field::optional(
            "power_factor",
            "ratio",
            "single-phase and three-phase: real over apparent power; 1 when absent.",
        ),
        Field::optional(
            "phase_voltage_v",
            "V",
            "three-phase: phase to star point; either this or line_voltage_v.",
        ),
        Field::optional(
            "line_voltage_v",
            "V",
            "three-phase: phase to phase, in place of phase_voltage_v.",
        ),
        Field::optional(
            "internal_resistance_ohm",
            "Ω",
            "short-circuit: resistance of the source and the path.",
        ),
        Field::optional(
            "isolation_resistance_ohm",
            "Ω",
            "isolation: measured from bus to chassis.",
        ),
        Field::optional("working_voltage_v", "V", "isolation: the bus's working voltage."),
        Field::optional(
            "bus",
            "text",
            "isolation: dc, ac, or connected-dc-ac where they are galvanically connected.",
        ),
    ],
    outputs: &[
        Field::required("fact", "text", "The fact that was asked for."),
        Field::optional("torque_n_m", "N·m", "shaft: torque."),
        Field::optional("torque_lbf_ft", "lbf·ft", "shaft: torque."),
        Field::optional("shaft_power_kw", "kW", "shaft: power."),
        Field::optional("shaft_power_hp", "hp", "shaft: power, in horsepower of 550 lbf·ft/s."),
        Field::optional("electrical_power_kw", "kW", "drive: power from the bus."),
        Field::optional("efficiency", "ratio", "drive: shaft power over electrical power."),
        Field::optional("loss_kw", "kW", "drive: electrical power that does not reach the shaft."),
        Field::optional(
            "power_kw",
            "kW",
            "single-phase and three-phase: real power. short-circuit: heat in the source.",
        ),
        Field::optional("phase_voltage_v", "V", "three-phase: phase to star point."),
        Field::optional("line_voltage_v", "V", "three-phase: phase to phase."),
        Field::optional("short_circuit_current_a", "A", "short-circuit: settled current."),
        Field::optional(
            "isolation_ohm_per_v",
            "Ω/V",
            "isolation: measured resistance for each volt.",
        ),
        Field::optional(
            "least_isolation_ohm_per_v",
            "Ω/V",
            "isolation: the least that the regulation allows.",
        ),
        Field::optional(
            "least_isolation_ohm",
            "Ω",
            "isolation: the same for this working voltage.",
        ),
        Field::optional(
            "meets_least",
            "true or false",
            "isolation: whether the measurement reaches it; exactly at it does.",
        ),
    ],
    equations: &[
        "Shaft power is torque times angular speed; angular speed is 2π times revolutions a second.",
        "Direct-current power is voltage times current; a drive's efficiency is shaft power over that, its loss the difference.",
        "Single-phase real power is voltage times current times power factor.",
        "Line voltage is √3 times phase voltage; three-phase real power is √3 times line voltage times line current times power factor.",
        "A short circuit's settled current is open-circuit voltage over internal resistance.",
        "Isolation per volt is resistance over working voltage; at least 100 Ω/V for direct current, 500 Ω/V for alternating \
         current and for connected buses.",
    ],
    sources: &[
        "common practice, no source: shaft power, single-phase and three-phase power, Ohm's law",
        "UN Regulation No. 100, paragraphs 5.1.3.1 and 5.1.3.2 (text as quoted by a clause library, lawinsider.com): isolation resistance",
    ],
    published: &[("electrical.toml", include_str!("../published/electrical.toml"))],
    example: r#"{ "fact": "shaft", "torque_n_m": 200, "speed_rpm": 2400 }"#,
    compute,
};

#[derive(Debug, Clone, Copy)]
enum Fact {
    Shaft,
    Drive,
    SinglePhase,
    ThreePhase,
    ShortCircuit,
    Isolation,
}

const FACTS: [(&str, Fact); 6] = [
    ("shaft", Fact::Shaft),
    ("drive", Fact::Drive),
    ("single-phase", Fact::SinglePhase),
    ("three-phase", Fact::ThreePhase),
    ("short-circuit", Fact::ShortCircuit),
    ("isolation", Fact::Isolation),
];

const BUSES: [(&str, Bus); 3] =
    [("dc", Bus::Direct), ("ac", Bus::Alternating), ("connected-dc-ac", Bus::Connected)];

const MOST_KILOWATTS: f64 = 100_000.0;
const MOST_VOLTS: f64 = 10_000.0;
const MOST_AMPERES: f64 = 100_000.0;

fn compute(input: &Value) -> Result<Value, Refused> {
    let mut reader = Reader::object(input);
    match reader.one_of("fact", &FACTS) {
        None => reader.finish(|| None::<Value>),
        Some(Fact::Shaft) => shaft(reader),
        Some(Fact::Drive) => drive(reader),
        Some(Fact::SinglePhase) => single_phase(reader),
        Some(Fact::ThreePhase) => three_phase(reader),
        Some(Fact::ShortCircuit) => short_circuit(reader),
        Some(Fact::Isolation) => isolation(reader),
    }
}

fn shaft(mut reader: Reader<'_>) -> Result<Value, Refused> {
    #[derive(Serialize)]
    struct Output {
        fact: &'static str,
        torque_n_m: f64,
        torque_lbf_ft: f64,
        shaft_power_kw: f64,
        shaft_power_hp: f64,
    }
    let speed_rpm = reader.required_number("speed_rpm", above_up_to(0.0, 200_000.0));
    let given = reader.exactly_one_number(&[
        ("torque_n_m", 0.0..=1.0e6),
        ("shaft_power_kw", 0.0..=MOST_KILOWATTS),
    ]);
    let (speed_rpm, (name, amount)) = reader.finish(|| Some((speed_rpm?, given?)))?;
    let (torque_n_m, power) = if name == "torque_n_m" {
        (amount, shaft_power(amount, speed_rpm))
    } else {
        let power = Power::from_kilowatts(amount);
        (shaft_torque_n_m(power, speed_rpm), power)
    };
    answer(&Output {
        fact: "shaft",
        torque_n_m,
        torque_lbf_ft: torque_n_m / NEWTON_METRES_PER_POUND_FORCE_FOOT,
        shaft_power_kw: power.kilowatts(),
        shaft_power_hp: power.horsepower(),
    })
}

fn drive(mut reader: Reader<'_>) -> Result<Value, Refused> {
    #[derive(Serialize)]
    struct Output {
        fact: &'static str,
        electrical_power_kw: f64,
        efficiency: Option<f64>,
        loss_kw: Option<f64>,
    }
    let voltage_v = reader.required_number("voltage_v", above_up_to(0.0, MOST_VOLTS));
    let current_a = reader.required_number("current_a", above_up_to(0.0, MOST_AMPERES));
    let shaft_power_kw = reader.optional_number("shaft_power_kw", 0.0..=MOST_KILOWATTS);
    if let (Some(voltage_v), Some(current_a), Some(Some(shaft_kw))) =
        (voltage_v, current_a, shaft_power_kw)
    {
        let electrical_kw = voltage_v * current_a / WATTS_PER_KILOWATT;
        if shaft_kw > electrical_kw {
            reader.fault(
                "shaft_power_kw",
                FaultCode::Inconsistent,
                format!(
                    "shaft_power_kw is {shaft_kw}, more than the {electrical_kw} kW drawn from the bus; one of the readings is wrong."
                ),
            );
        }
    }
    let (voltage_v, current_a, shaft_power_kw) =
        reader.finish(|| Some((voltage_v?, current_a?, shaft_power_kw?)))?;
    let electrical_power_kw = voltage_v * current_a / WATTS_PER_KILOWATT;
    answer(&Output {
        fact: "drive",
        electrical_power_kw,
        efficiency: shaft_power_kw.map(|shaft_kw| shaft_kw / electrical_power_kw),
        loss_kw: shaft_power_kw.map(|shaft_kw| electrical_power_kw - shaft_kw),
    })
}

fn single_phase(mut reader: Reader<'_>) -> Result<Value, Refused> {
    #[derive(Serialize)]
    struct Output {
        fact: &'static str,
        power_kw: f64,
    }
    let voltage_v = reader.required_number("voltage_v", 0.0..=MOST_VOLTS);
    let current_a = reader.required_number("current_a", 0.0..=MOST_AMPERES);
    let power_factor = reader.optional_number("power_factor", above_up_to(0.0, 1.0));
    let (voltage_v, current_a, power_factor) =
        reader.finish(|| Some((voltage_v?, current_a?, power_factor?)))?;
    answer(&Output {
        fact: "single-phase",
        power_kw: voltage_v * current_a * power_factor.unwrap_or(1.0) / WATTS_PER_KILOWATT,
    })
}

fn three_phase(mut reader: Reader<'_>) -> Result<Value, Refused> {
    #[derive(Serialize)]
    struct Output {
        fact: &'static str,
        phase_voltage_v: f64,
        line_voltage_v: f64,
        power_kw: Option<f64>,
    }
    let voltage = reader.exactly_one_number(&[
        ("phase_voltage_v", 0.0..=MOST_VOLTS),
        ("line_voltage_v", 0.0..=MOST_VOLTS),
    ]);
    let current_a = reader.optional_number("current_a", 0.0..=MOST_AMPERES);
    let power_factor = reader.optional_number("power_factor", above_up_to(0.0, 1.0));
    let ((name, volts), current_a, power_factor) =
        reader.finish(|| Some((voltage?, current_a?, power_factor?)))?;
    let (phase_v, line_v) = if name == "phase_voltage_v" {
        (volts, line_voltage(Voltage::from_volts(volts)).volts())
    } else {
        (volts / 3.0_f64.sqrt(), volts)
    };
    let power_factor = power_factor.unwrap_or(1.0);
    answer(&Output {
        fact: "three-phase",
        phase_voltage_v: phase_v,
        line_voltage_v: line_v,
        power_kw: current_a
            .map(|amperes| 3.0 * phase_v * amperes * power_factor / WATTS_PER_KILOWATT),
    })
}

fn short_circuit(mut reader: Reader<'_>) -> Result<Value, Refused> {
    #[derive(Serialize)]
    struct Output {
        fact: &'static str,
        short_circuit_current_a: f64,
        power_kw: f64,
    }
    let voltage_v = reader.required_number("voltage_v", above_up_to(0.0, MOST_VOLTS));
    let resistance_ohm = reader.required_number("internal_resistance_ohm", above_up_to(0.0, 1.0e6));
    let (voltage_v, resistance_ohm) = reader.finish(|| Some((voltage_v?, resistance_ohm?)))?;
    let voltage = Voltage::from_volts(voltage_v);
    let current = short_circuit_current(voltage, resistance_ohm);
    answer(&Output {
        fact: "short-circuit",
        short_circuit_current_a: current.amperes(),
        power_kw: (voltage * current).kilowatts(),
    })
}

fn isolation(mut reader: Reader<'_>) -> Result<Value, Refused> {
    #[derive(Serialize)]
    struct Output {
        fact: &'static str,
        isolation_ohm_per_v: f64,
        least_isolation_ohm_per_v: f64,
        least_isolation_ohm: f64,
        meets_least: bool,
    }
    let resistance_ohm = reader.required_number("isolation_resistance_ohm", 0.0..=1.0e15);
    let voltage_v = reader.required_number("working_voltage_v", above_up_to(0.0, MOST_VOLTS));
    let bus = reader.one_of("bus", &BUSES);
    let (resistance_ohm, voltage_v, bus) =
        reader.finish(|| Some((resistance_ohm?, voltage_v?, bus?)))?;
    let least_isolation_ohm_per_v = bus.least_isolation_ohm_per_v();
    let least_isolation_ohm = least_isolation_ohm_per_v * voltage_v;
    answer(&Output {
        fact: "isolation",
        isolation_ohm_per_v: resistance_ohm / voltage_v,
        least_isolation_ohm_per_v,
        least_isolation_ohm,
        meets_least: resistance_ohm >= least_isolation_ohm,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn torque_and_power_lead_back_to_each_other(torque_n_m in 0.1f64..5000.0, speed_rpm in 1.0f64..30_000.0) {
            let back = shaft_torque_n_m(shaft_power(torque_n_m, speed_rpm), speed_rpm);
            prop_assert!((back - torque_n_m).abs() <= 1e-12 * torque_n_m);
        }
    }
}
