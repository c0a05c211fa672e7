//! Energy and charge of the pack over an interval.

use flight_science::catalogue::Field;
use flight_science::input::{Reader, above_up_to};
use serde_json::json;

use super::recorded::Recorded;
use super::stretches::Rows;
use super::{CannotReduce, Figure, Prepared, Reason, Reduction, Role};

/// The reduction `energy`.
pub(super) static REDUCTION: Reduction = Reduction {
    name: "energy",
    version: 1,
    topic: "energy",
    title: "Energy drawn from the pack",
    gives: "Energy, charge and power that were drawn from the pack in the interval and that flowed back. Gaps are listed and add \
            nothing, so that with any of them the true energy is greater.",
    steps: &[
        "At each moment of a voltage the current is read, or taken from the straight line between its two neighbours if they \
         have no gap between them.",
        "The topic integrates from moment to moment. A time longer than gap_s, by default three usual steps of the coarser \
         channel, is a gap.",
    ],
    needs: &[
        Role::required("voltage", "V", "Voltage at the pack's terminals."),
        Role::required("current", "A", "Current, positive when drawn from the pack."),
    ],
    given: &[Field::optional("gap_s", "s", "A longer time without readings is a gap, up to 60.")],
    figures: &[
        Figure { pointer: "/energy_kwh", unit: "kWh", meaning: "energy drawn" },
        Figure { pointer: "/net_kwh", unit: "kWh", meaning: "energy drawn less what flowed back" },
        Figure { pointer: "/charge_ah", unit: "Ah", meaning: "charge drawn" },
        Figure { pointer: "/peak_power_kw", unit: "kW", meaning: "greatest power out of the pack" },
    ],
    most_missing: 0.02,
    prepare,
};

fn prepare(recorded: &Recorded<'_>) -> Result<Prepared, CannotReduce> {
    let mut reader = Reader::object(recorded.given);
    let gap = reader.optional_number("gap_s", above_up_to(0.0, 60.0));
    let gap_s = reader.finish(|| gap)?;
    let (voltage, current) = (recorded.of("voltage")?, recorded.of("current")?);
    let gap_s = gap_s.unwrap_or_else(|| voltage.gap_s.max(current.gap_s));
    let Rows { times, columns: [volts, amperes] } = Rows::of(voltage, [voltage, current]);
    if times.len() < 2 {
        return Err(Reason::NotInTheInterval(
            "Voltage and current have fewer than two moments in common. Give channels that were recorded together."
                .to_owned(),
        )
        .into());
    }
    let samples: Vec<_> = times
        .iter()
        .zip(volts.iter().zip(&amperes))
        .map(|(time, (voltage_v, current_a))| {
            json!({ "t_s": recorded.seconds(*time), "voltage_v": voltage_v, "current_a": current_a })
        })
        .collect();
    Ok(Prepared { input: json!({ "samples": samples, "gap_s": gap_s }), stretches: Vec::new() })
}
