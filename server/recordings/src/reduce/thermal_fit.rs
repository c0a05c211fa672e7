//! Time constant and temperature rise of a part, from its temperature, its power and the cooling air.

use flight_science::catalogue::Field;
use flight_science::input::{Reader, above_up_to};
use serde_json::{Value, json};

use super::recorded::{Present, Recorded};
use super::{CannotReduce, Figure, Interval, Prepared, Reason, Reduction, Role, Stretch};
use crate::Micros;

/// The topic takes at most so many samples, and a thermal fit needs far fewer.
const MOST_SAMPLES: f64 = 100_000.0;

/// The reduction `thermal-fit`.
pub(super) static REDUCTION: Reduction = Reduction {
    name: "thermal-fit",
    version: 1,
    topic: "thermal-fit",
    title: "Warming of a part with its power",
    gives: "Gives the time constant and the rise for each kilowatt of a motor, controller, cable or pack, and on request what \
            another run would bring, with its interval and how far that goes beyond the recording.",
    steps: &[
        "Temperature, ambient temperature and power are averaged over equal pieces of average_s; a piece in which one of them \
         lacks readings is left out.",
        "Between two pieces at most largest_gap_s may lie: power is not known there, and it drives the temperature.",
        "The model is fitted by the topic, with power and ambient on straight lines from piece to piece.",
    ],
    needs: &[
        Role::required("temperature", "degC", "Temperature of the part."),
        Role::required("power", "kW", "Power through the part."),
        Role::required("ambient", "degC", "Temperature of the cooling air."),
    ],
    given: &[
        Field::optional("average_s", "s", "Length of the pieces, 0.1 to 60; 1 when absent."),
        Field::optional(
            "largest_gap_s",
            "s",
            "The longest time without readings, up to 600; 10 when absent.",
        ),
        Field::optional("predict", "object", "Another run, as the topic thermal-fit takes it."),
    ],
    figures: &[
        Figure { pointer: "/time_constant_s", unit: "s", meaning: "time constant" },
        Figure {
            pointer: "/predicted/high_c",
            unit: "degC",
            meaning: "upper end of the predicted temperature",
        },
    ],
    most_missing: 0.05,
    prepare,
};

struct Given {
    average_s: f64,
    largest_gap_s: f64,
    predict: Option<Value>,
}

fn read(recorded: &Recorded<'_>) -> Result<Given, CannotReduce> {
    let mut reader = Reader::object(recorded.given);
    let average = reader.optional_number("average_s", 0.1..=60.0);
    let gap = reader.optional_number("largest_gap_s", above_up_to(0.0, 600.0));
    let predict = reader.optional_object("predict", |predict| {
        let power_kw = predict.required_number("power_kw", 0.0..=100_000.0);
        let duration_s = predict.required_number("duration_s", above_up_to(0.0, 1.0e6));
        let start_c = predict.required_number("start_c", -100.0..=2000.0);
        let ambient_c = predict.required_number("ambient_c", -100.0..=200.0);
        let limit_c = predict.optional_number("limit_c", -100.0..=2000.0);
        let mut asked = json!({
            "power_kw": power_kw?, "duration_s": duration_s?, "start_c": start_c?, "ambient_c": ambient_c?,
        });
        if let (Some(limit_c), Some(fields)) = (limit_c?, asked.as_object_mut()) {
            fields.insert("limit_c".to_owned(), json!(limit_c));
        }
        Some(asked)
    });
    Ok(reader.finish(|| {
        Some(Given {
            average_s: average?.unwrap_or(1.0),
            largest_gap_s: gap?.unwrap_or(10.0),
            predict: predict?,
        })
    })?)
}

fn prepare(recorded: &Recorded<'_>) -> Result<Prepared, CannotReduce> {
    let given = read(recorded)?;
    let pieces = (recorded.interval.seconds() / given.average_s).floor();
    if pieces > MOST_SAMPLES {
        return Err(Reason::NotInTheInterval(format!(
            "The interval has {pieces} pieces of {} s; at most {MOST_SAMPLES} are taken. Give a longer average_s or a shorter \
             interval.",
            given.average_s
        ))
        .into());
    }
    let roles = [recorded.of("temperature")?, recorded.of("power")?, recorded.of("ambient")?];
    let length = Micros::from_seconds(given.average_s).0;
    let mut samples = Vec::new();
    let mut ends = None;
    for piece in 0..pieces as i64 {
        let from = Micros(recorded.interval.from.0.saturating_add(piece.saturating_mul(length)));
        // The last microsecond belongs to the next piece.
        let over = Interval { from, to: Micros(from.0.saturating_add(length - 1)) };
        let [Some(temperature_c), Some(power_kw), Some(ambient_c)] =
            roles.map(|present| average(recorded, present, over))
        else {
            continue;
        };
        let t_s = (piece as f64 + 0.5) * given.average_s;
        if let Some((_, before)) = ends
            && recorded.seconds(over.from) - recorded.seconds(before) > given.largest_gap_s
        {
            return Err(Reason::NotInTheInterval(format!(
                "Between {:.1} s and {:.1} s of the interval readings are missing for more than {} s, and the power there is not \
                 known. Choose an interval before or after.",
                recorded.seconds(before),
                recorded.seconds(over.from),
                given.largest_gap_s
            ))
            .into());
        }
        ends = Some((ends.map_or(over.from, |(first, _)| first), over.to));
        samples.push(json!({
            "t_s": t_s, "temperature_c": temperature_c, "ambient_c": ambient_c, "power_kw": power_kw,
        }));
    }
    let stretches = ends
        .map(|(from, to)| {
            Stretch::with(
                Interval { from, to },
                [("samples", samples.len() as f64), ("average_s", given.average_s)],
            )
        })
        .into_iter()
        .collect();
    let mut input = json!({ "samples": samples });
    if let (Some(predict), Some(fields)) = (given.predict, input.as_object_mut()) {
        fields.insert("predict".to_owned(), predict);
    }
    Ok(Prepared { input, stretches })
}

/// The mean of a piece; for a channel with fewer readings than pieces, the value at its middle.
fn average(recorded: &Recorded<'_>, present: &Present, over: Interval) -> Option<f64> {
    match present.within(over).len() {
        0 | 1 => present.at(Micros(over.from.0.saturating_add((over.to.0 - over.from.0) / 2))),
        _ => recorded.mean(present, over),
    }
}
