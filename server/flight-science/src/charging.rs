//! How long charging takes, and what it draws from the supply.

use quantities::{Duration, Energy, Power};
use serde::Serialize;
use serde_json::Value;

use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::{Reader, above_up_to};

/// The most power that a pack takes at a charge state from 0 to 1: straight lines between points, level beyond the last.
#[derive(Debug, Clone, PartialEq)]
pub struct Taper {
    points: Vec<(f64, Power)>,
}

impl Taper {
    /// Points with charge states that go up, at least one. `None` where they do not, or a power is negative.
    pub fn new(points: Vec<(f64, Power)>) -> Option<Self> {
        let ascending = points.windows(2).all(|pair| pair[0].0 < pair[1].0);
        let possible =
            points.iter().all(|(state, power)| (0.0..=1.0).contains(state) && power.watts() >= 0.0);
        (!points.is_empty() && ascending && possible).then_some(Self { points })
    }

    /// The most power at a charge state.
    pub fn at(&self, state: f64) -> Power {
        let after = self.points.partition_point(|(point, _)| *point < state);
        let (Some(left), Some(right)) =
            (after.checked_sub(1).and_then(|left| self.points.get(left)), self.points.get(after))
        else {
            let end = if after == 0 { self.points.first() } else { self.points.last() };
            return end.map_or(Power::from_watts(0.0), |(_, power)| *power);
        };
        let part = (state - left.0) / (right.0 - left.0);
        Power::from_watts(left.1.watts() + part * (right.1.watts() - left.1.watts()))
    }
}

/// A charge from one state to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Charge {
    /// How long it takes.
    pub time: Duration,
    /// What the pack takes in.
    pub into_pack: Energy,
    /// What the supply gives for it.
    pub from_supply: Energy,
}

/// Charges a pack: the charger's output, or what the pack takes at its charge state, whichever is less.
///
/// `usable` is the pack's energy from empty to full. Losses in the pack itself are not in it, nor is the time for balancing
/// cells or for cooling down before. `None` where the power comes to nothing before the wanted state, which then is never
/// reached.
///
/// # Source
///
/// Time is the integral of energy over power; on each straight line of power it is E ln(P₂/P₁)/(P₂ − P₁): worked out here.
/// Checked by `published/charging.toml`, and against NumPy in `tests/reference`.
pub fn charge(
    usable: Energy,
    from_state: f64,
    to_state: f64,
    supply: Power,
    efficiency: f64,
    taper: Option<&Taper>,
) -> Option<Charge> {
    let output = Power::from_watts(supply.watts() * efficiency);
    let power_w = |state: f64| {
        let most = taper.map_or(f64::INFINITY, |taper| taper.at(state).watts());
        most.min(output.watts())
    };
    let mut edges = vec![from_state, to_state];
    for pair in taper.map_or(&[][..], |taper| &taper.points).windows(2) {
        let [(left, before), (right, after)] = pair else { continue };
        edges.extend([*left, *right]);
        // Where the line of the taper crosses the charger's output, the lesser of the two bends.
        let part = (output.watts() - before.watts()) / (after.watts() - before.watts());
        if part > 0.0 && part < 1.0 {
            edges.push(left + part * (right - left));
        }
    }
    edges.retain(|edge| (from_state..=to_state).contains(edge));
    edges.sort_by(f64::total_cmp);
    let mut seconds = 0.0;
    for pair in edges.windows(2) {
        let energy_j = usable.joules() * (pair[1] - pair[0]);
        if energy_j > 0.0 {
            seconds += energy_j * mean_of_inverse(power_w(pair[0]), power_w(pair[1]))?;
        }
    }
    let into_pack = Energy::from_joules(usable.joules() * (to_state - from_state));
    Some(Charge {
        time: Duration::from_seconds(seconds),
        into_pack,
        from_supply: Energy::from_joules(into_pack.joules() / efficiency),
    })
}

/// The mean of 1/P along a straight line of P; none where P comes to nothing.
fn mean_of_inverse(first: f64, last: f64) -> Option<f64> {
    if !(first > 0.0 && last > 0.0) {
        return None;
    }
    let ratio = last / first - 1.0;
    // Close to 0 the logarithm over the difference loses its digits; ln(1 + r)/r is 1 − r/2 there.
    let mean = if ratio.abs() < 1.0e-9 { 1.0 - ratio / 2.0 } else { ratio.ln_1p() / ratio };
    Some(mean / first)
}

/// The topic `charging`.
pub static TOPIC: Topic = Topic {
    name: "charging",
    version: 1,
    title: "Charging a pack",
    gives: "How long a charge takes and what it draws from a mains supply of one or three phases, or of direct current, with the \
            power that tapers as the pack fills. A lithium pack is charged by its maker's rules, watched, and away from people \
            and buildings: these figures are for planning.",
    valid_range: "One supply takes its own fields and no others. Losses in the pack, balancing and cooling down are left out.",
    inputs: &[
        Field::required("supply", "text", "One of single-phase, three-phase, direct."),
        Field::optional(
            "voltage_v",
            "V",
            "single-phase: supply voltage. three-phase: phase to phase.",
        ),
        Field::optional("current_a", "A", "single-phase and three-phase: current in each line."),
        Field::optional("power_factor", "ratio", "single-phase and three-phase: 1 when absent."),
        Field::optional("power_kw", "kW", "direct: power of the supply."),
        Field::optional(
            "efficiency",
            "ratio",
            "Of the charger, from supply to pack; 0.92 when absent.",
        ),
        Field::required("usable_kwh", "kWh", "Energy of the pack from empty to full."),
        Field::required("from_state", "ratio", "Charge state before, 0 to 1."),
        Field::required("to_state", "ratio", "Charge state after, above that before."),
        Field::optional(
            "taper",
            "list",
            "Rows of charge state and the most power that the pack takes there, in kW; no bound when absent.",
        ),
    ],
    outputs: &[
        Field::required("supply_kw", "kW", "Power from the supply before any taper."),
        Field::required("time_h", "h", "How long the charge takes."),
        Field::required("into_pack_kwh", "kWh", "What the pack takes in."),
        Field::required("from_supply_kwh", "kWh", "What the supply gives."),
        Field::required("last_kw", "kW", "Power into the pack at the end."),
    ],
    equations: &[
        "Single phase: voltage times current times power factor; three phases: √3 times line voltage times line current times power factor.",
        "Into the pack goes the supply times efficiency, or what the pack takes, whichever is less.",
        "Time is the integral of energy over power.",
    ],
    sources: &["common practice, no source: power of one and three phases, energy balance"],
    published: &[("charging.toml", include_str!("../published/charging.toml"))],
    example: r#"{ "supply": "three-phase", "voltage_v": 400, "current_a": 16, "efficiency": 0.93, "usable_kwh": 24, "from_state": 0.3,
                  "to_state": 0.9, "taper": [[0, 20], [0.8, 20], [1, 2]] }"#,
    compute,
};

#[derive(Debug, Clone, Copy)]
enum Supply {
    SinglePhase,
    ThreePhase,
    Direct,
}

const SUPPLIES: [(&str, Supply); 3] = [
    ("single-phase", Supply::SinglePhase),
    ("three-phase", Supply::ThreePhase),
    ("direct", Supply::Direct),
];

#[derive(Serialize)]
struct Output {
    supply_kw: f64,
    time_h: f64,
    into_pack_kwh: f64,
    from_supply_kwh: f64,
    last_kw: f64,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let mut reader = Reader::object(input);
    let supply = reader.one_of("supply", &SUPPLIES).and_then(|supply| power(&mut reader, supply));
    let efficiency = reader.optional_number("efficiency", above_up_to(0.1, 1.0));
    let usable_kwh = reader.required_number("usable_kwh", above_up_to(0.01, 10_000.0));
    let from_state = reader.required_number("from_state", 0.0..=1.0);
    let to_state = reader.required_number("to_state", 0.0..=1.0);
    let rows = reader.optional_rows("taper", 1, [0.0..=1.0, 0.0..=10_000.0]);
    if let (Some(from), Some(to)) = (from_state, to_state)
        && to <= from
    {
        reader.fault(
            "to_state",
            FaultCode::Inconsistent,
            format!("to_state is {to}, not above from_state, which is {from}; nothing is charged."),
        );
    }
    let taper = rows.map(|rows| rows.map(taper_of));
    if let Some(Some(None)) = taper {
        reader.fault(
            "taper",
            FaultCode::NotAscending,
            "taper has charge states that do not go up from row to row; sort them, each once.",
        );
    }
    let (supply, efficiency, usable_kwh, from_state, to_state, taper) = reader.finish(|| {
        Some((supply?, efficiency?.unwrap_or(0.92), usable_kwh?, from_state?, to_state?, taper?))
    })?;
    let taper = taper.flatten();
    let usable = Energy::from_kilowatt_hours(usable_kwh);
    let Some(charge) = charge(usable, from_state, to_state, supply, efficiency, taper.as_ref())
    else {
        let why = format!(
            "taper comes down to no power before the charge state {to_state}, which then is never reached; end lower, or give the power that the pack still takes there."
        );
        return Err(Refused::because("taper", FaultCode::Undetermined, why));
    };
    let most_w = taper.as_ref().map_or(f64::INFINITY, |taper| taper.at(to_state).watts());
    answer(&Output {
        supply_kw: supply.kilowatts(),
        time_h: charge.time.hours(),
        into_pack_kwh: charge.into_pack.kilowatt_hours(),
        from_supply_kwh: charge.from_supply.kilowatt_hours(),
        last_kw: Power::from_watts(most_w.min(supply.watts() * efficiency)).kilowatts(),
    })
}

fn taper_of(rows: Vec<[f64; 2]>) -> Option<Taper> {
    Taper::new(rows.into_iter().map(|[state, kw]| (state, Power::from_kilowatts(kw))).collect())
}

fn power(reader: &mut Reader<'_>, supply: Supply) -> Option<Power> {
    if let Supply::Direct = supply {
        let power_kw = reader.required_number("power_kw", above_up_to(0.001, 10_000.0));
        return Some(Power::from_kilowatts(power_kw?));
    }
    let voltage_v = reader.required_number("voltage_v", above_up_to(1.0, 10_000.0));
    let current_a = reader.required_number("current_a", above_up_to(0.1, 10_000.0));
    let power_factor = reader.optional_number("power_factor", above_up_to(0.05, 1.0));
    let lines = if let Supply::ThreePhase = supply { 3.0_f64.sqrt() } else { 1.0 };
    Some(Power::from_watts(lines * voltage_v? * current_a? * power_factor?.unwrap_or(1.0)))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// Simpson's rule in small steps, inside the bends of the power.
        #[test]
        fn the_time_is_the_integral_of_energy_over_power(
            supply_kw in 2.0f64..40.0, first in 5.0f64..30.0, last in 0.5f64..30.0, from in 0.0f64..0.5, by in 0.1f64..0.5,
        ) {
            let kilowatts = Power::from_kilowatts;
            let taper = Taper::new(vec![(0.0, kilowatts(first)), (1.0, kilowatts(last))]).unwrap();
            let (usable, to) = (Energy::from_kilowatt_hours(20.0), from + by);
            let found = charge(usable, from, to, kilowatts(supply_kw), 0.9, Some(&taper)).unwrap();
            let inverse = |state: f64| 1.0 / taper.at(state).kilowatts().min(0.9 * supply_kw);
            let steps = 20_000;
            let step = by / f64::from(steps);
            let sum: f64 = (0..steps)
                .map(|index| {
                    let left = from + f64::from(index) * step;
                    (inverse(left) + 4.0 * inverse(left + step / 2.0) + inverse(left + step)) / 6.0 * step
                })
                .sum();
            prop_assert!((found.time.hours() / (20.0 * sum) - 1.0).abs() < 1e-6);
            prop_assert!((found.from_supply.joules() * 0.9 - found.into_pack.joules()).abs() < 1e-3);
        }
    }
}
