//! How many runs the energy of a day allows, and from which source.

use chrono::TimeDelta;
use quantities::{Power, Temperature};
use serde::Serialize;
use serde_json::Value;

use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::charging::Taper;
use crate::input::{Reader, above_up_to};
use crate::sun::{moment, place, to_the_second};
use crate::sunlight::{power_in_sky, read_panel};

mod day;

pub use day::{Day, Sources, Store, Went, play};

/// The topic `day-energy`.
pub static TOPIC: Topic = Topic {
    name: "day-energy",
    version: 1,
    title: "Energy of a day and the runs that it allows",
    gives: "How many runs a day's energy allows from the pack, panels, a battery on the ground and the mains, when each could begin, \
            what came from which source, and the charge over the day. It knows of energy alone: weather, temperatures, crew and \
            releases are for others to say. A lithium pack is charged by its maker's rules, watched, and away from people.",
    valid_range: "A window of up to 24 hours in the years 1900 to 2100. Minute by minute; the sky between its rows is on a straight line.",
    inputs: &[
        Field::required("from", "text", "When the window begins, by RFC 3339 with its offset."),
        Field::required("to", "text", "When it ends."),
        Field::required("latitude_deg", "°", "Latitude, north positive."),
        Field::required("longitude_deg", "°", "Longitude, east positive."),
        Field::optional("elevation_m", "m", "Height above sea level; 0 when absent."),
        Field::optional(
            "sky",
            "list",
            "Rows of hours after the beginning, cloud cover from 0 to 1 and air temperature in °C; clear and 15 °C when absent.",
        ),
        Field::optional(
            "panel",
            "object",
            "Solar panels, as in the topic sunlight; none when absent.",
        ),
        Field::required("pack", "object", "The aircraft's pack."),
        Field::required("pack.usable_kwh", "kWh", "Energy from empty to full."),
        Field::required("pack.state", "ratio", "Charge state at the beginning, 0 to 1."),
        Field::required("pack.least_state", "ratio", "What stays in it after each run, 0 to 1."),
        Field::optional(
            "pack.taper",
            "list",
            "Rows of charge state and the most power that it takes there, in kW.",
        ),
        Field::required("charger_kw", "kW", "The most that the charger gives to the pack."),
        Field::optional("efficiency", "ratio", "Of the charger; 0.92 when absent."),
        Field::optional("mains_kw", "kW", "Power of the mains; 0 when absent."),
        Field::optional("ground_battery", "object", "A battery on the ground; none when absent."),
        Field::optional("ground_battery.usable_kwh", "kWh", "Energy from empty to full."),
        Field::optional("ground_battery.state", "ratio", "Charge state at the beginning, 0 to 1."),
        Field::optional("ground_battery.least_state", "ratio", "What stays in it, 0 to 1."),
        Field::optional("ground_battery.power_kw", "kW", "The most that it gives or takes."),
        Field::required("run_kwh", "kWh", "Energy of a run."),
        Field::required("run_min", "min", "How long a run takes."),
        Field::optional(
            "turn_round_min",
            "min",
            "How long the aircraft stands after a run; 0 when absent.",
        ),
    ],
    outputs: &[
        Field::required("runs", "count", "Runs that all sources together allow."),
        Field::required("begins", "list", "When each could begin at the earliest."),
        Field::required("runs_by_source", "object", "Runs with fewer sources."),
        Field::required("runs_by_source.pack", "count", "From what is in the pack alone."),
        Field::required("runs_by_source.with_panels", "count", "With the panels."),
        Field::required(
            "runs_by_source.with_ground_battery",
            "count",
            "With panels and the battery on the ground.",
        ),
        Field::required("runs_by_source.with_mains", "count", "With all."),
        Field::required("from_panels_kwh", "kWh", "Into the pack, straight from the panels."),
        Field::required(
            "from_ground_battery_kwh",
            "kWh",
            "Into the pack from the battery on the ground.",
        ),
        Field::required("from_mains_kwh", "kWh", "Into the pack from the mains."),
        Field::required("harvest_kwh", "kWh", "All that the panels gave."),
        Field::required("spilt_kwh", "kWh", "Of the harvest: what found no place."),
        Field::required(
            "over_the_day",
            "list",
            "Each quarter of an hour: hours after the beginning, energy in the pack and in the battery on the ground in kWh, power of the panels in kW.",
        ),
    ],
    equations: &[
        "Each minute: the pack takes what charger, taper and room allow, from panels, then the battery on the ground, then the mains.",
        "A run begins once its energy lies in the pack above what has to stay, and ends inside the window.",
        "Panels as in the topic sunlight, by the sun's height at each fifth minute.",
    ],
    sources: &["common practice, no source: energy balance; sunlight as in the topic of that name"],
    published: &[("day_energy.toml", include_str!("../published/day_energy.toml"))],
    example: r#"{ "from": "2026-06-21T08:00:00Z", "to": "2026-06-21T16:00:00Z", "latitude_deg": 51.5, "longitude_deg": -0.1,
                  "sky": [[0, 0.2, 16], [8, 0.6, 22]], "panel": { "tilt_deg": 30, "azimuth_deg": 180, "peak_kw": 6 },
                  "pack": { "usable_kwh": 24, "state": 0.9, "least_state": 0.3 }, "charger_kw": 10, "mains_kw": 3.6,
                  "ground_battery": { "usable_kwh": 20, "state": 0.8, "least_state": 0.1, "power_kw": 8 },
                  "run_kwh": 8, "run_min": 20, "turn_round_min": 30 }"#,
    compute,
};

#[derive(Serialize)]
struct BySource {
    pack: usize,
    with_panels: usize,
    with_ground_battery: usize,
    with_mains: usize,
}

#[derive(Serialize)]
struct Output {
    runs: usize,
    begins: Vec<String>,
    runs_by_source: BySource,
    from_panels_kwh: f64,
    from_ground_battery_kwh: f64,
    from_mains_kwh: f64,
    harvest_kwh: f64,
    spilt_kwh: f64,
    over_the_day: Vec<[f64; 4]>,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let mut reader = Reader::object(input);
    let (from, to) = (moment(&mut reader, "from"), moment(&mut reader, "to"));
    let place = place(&mut reader);
    let sky = reader.optional_rows("sky", 1, [0.0..=24.0, 0.0..=1.0, -60.0..=60.0]);
    let panel = reader.optional_object("panel", read_panel);
    let pack = reader.required_object("pack", |pack| {
        let store = store(pack);
        let taper = pack.optional_rows("taper", 1, [0.0..=1.0, 0.0..=10_000.0])?.map(|rows| {
            Taper::new(rows.into_iter().map(|[state, kw]| (state, Power::from_kilowatts(kw))).collect())
        });
        if taper == Some(None) {
            pack.fault("taper", FaultCode::NotAscending, "pack.taper has charge states that do not go up from row to row; sort them, each once.");
        }
        Some((store?, taper.flatten()))
    });
    let charger_kw = reader.required_number("charger_kw", above_up_to(0.0, 10_000.0));
    let efficiency = reader.optional_number("efficiency", above_up_to(0.1, 1.0));
    let mains_kw = reader.optional_number("mains_kw", 0.0..=10_000.0);
    let ground = reader.optional_object("ground_battery", |ground| {
        let (store, power_kw) = (store(ground), ground.required_number("power_kw", 0.0..=10_000.0));
        Some(Store { power_kw: power_kw?, ..store? })
    });
    let run_kwh = reader.required_number("run_kwh", above_up_to(0.0, 10_000.0));
    let run_min = reader.required_integer("run_min", 1.0..=1_440.0);
    let turn_round_min = reader.optional_number("turn_round_min", 0.0..=1_440.0);
    if let (Some(from), Some(to)) = (from, to)
        && !(1..=1_440).contains(&(to - from).num_minutes())
    {
        let minutes = (to - from).num_minutes();
        reader.fault(
            "to",
            FaultCode::Inconsistent,
            format!(
                "to is {minutes} minutes after from; a window of 1 minute to 24 hours is wanted."
            ),
        );
    }
    if let Some(Some(rows)) = &sky
        && !rows.windows(2).all(|pair| pair[0][0] < pair[1][0])
    {
        reader.fault(
            "sky",
            FaultCode::NotAscending,
            "sky has hours that do not go up from row to row; sort them, each once.",
        );
    }
    let (pack, taper) = pack.unzip();
    let (from, day) = reader.finish(|| {
        let (from, place, sky) = (from?, place?, sky?.unwrap_or_default());
        let minutes = (to? - from).num_minutes().max(0) as usize;
        let panel = panel?;
        let power_kw = |minute: usize| {
            let Some(panel) = &panel else { return 0.0 };
            let at = from + TimeDelta::minutes(minute as i64);
            let [cloud, air_c] = sky_at(&sky, minute as f64 / 60.0);
            power_in_sky(at, place, cloud, Temperature::from_celsius(air_c), panel).kilowatts()
        };
        const EVERY_MIN: usize = 5;
        let fifths: Vec<f64> =
            (0..=minutes / EVERY_MIN).map(|fifth| power_kw(fifth * EVERY_MIN)).collect();
        Some((
            from,
            Day {
                panels_kw: (0..minutes).map(|minute| fifths[minute / EVERY_MIN]).collect(),
                pack: Store { power_kw: charger_kw?, ..pack? },
                taper: taper?,
                ground: ground?,
                mains_kw: mains_kw?.unwrap_or(0.0),
                efficiency: efficiency?.unwrap_or(0.92),
                run_kwh: run_kwh?,
                run_min: run_min? as usize,
                turn_round_min: turn_round_min?.unwrap_or(0.0).ceil() as usize,
            },
        ))
    })?;
    let runs = |panels, ground, mains| play(&day, Sources { panels, ground, mains });
    let went = runs(true, true, true);
    let over_the_day = went
        .stored_kwh
        .iter()
        .enumerate()
        .step_by(15)
        .map(|(minute, [pack, ground])| {
            [minute as f64 / 60.0, *pack, *ground, day.panels_kw[minute]]
        })
        .collect();
    answer(&Output {
        runs: went.began.len(),
        begins: went
            .began
            .iter()
            .map(|minute| to_the_second(from + TimeDelta::minutes(*minute as i64)))
            .collect(),
        runs_by_source: BySource {
            pack: runs(false, false, false).began.len(),
            with_panels: runs(true, false, false).began.len(),
            with_ground_battery: runs(true, true, false).began.len(),
            with_mains: went.began.len(),
        },
        from_panels_kwh: went.from_panels_kwh,
        from_ground_battery_kwh: went.from_ground_kwh,
        from_mains_kwh: went.from_mains_kwh,
        harvest_kwh: went.harvest_kwh,
        spilt_kwh: went.spilt_kwh,
        over_the_day,
    })
}

fn store(reader: &mut Reader<'_>) -> Option<Store> {
    let usable_kwh = reader.required_number("usable_kwh", above_up_to(0.01, 10_000.0));
    let state = reader.required_number("state", 0.0..=1.0);
    let least_state = reader.required_number("least_state", 0.0..=1.0);
    let usable_kwh = usable_kwh?;
    Some(Store {
        usable_kwh,
        begins_kwh: usable_kwh * state?,
        least_kwh: usable_kwh * least_state?,
        power_kw: 0.0,
    })
}

/// Cloud and air temperature at an hour: on straight lines between rows, level beyond the ends.
fn sky_at(rows: &[[f64; 3]], hour: f64) -> [f64; 2] {
    let after = rows.partition_point(|row| row[0] < hour);
    match (after.checked_sub(1).and_then(|before| rows.get(before)), rows.get(after)) {
        (Some(left), Some(right)) => {
            let part = (hour - left[0]) / (right[0] - left[0]);
            [left[1] + part * (right[1] - left[1]), left[2] + part * (right[2] - left[2])]
        }
        (Some(end), None) | (None, Some(end)) => [end[1], end[2]],
        (None, None) => [0.0, 15.0],
    }
}

#[cfg(test)]
mod tests;
