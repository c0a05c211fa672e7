//! Speeds that were demonstrated: stall, best angle and best rate, each with the mass and centre of gravity at which it was
//! obtained. What nobody recorded is said, never worked out from something else.

use programme::in_words;
use programme::nouns::Axis;
use programme::state::{Reduction, ResultState};
use serde_json::Value;

use crate::manuscript::{Blocks, column};
use crate::scope::Extent;
use crate::words::{NOT_RECORDED, bare, known_measure};

fn loading(result: Option<&ResultState>) -> [String; 2] {
    let of = |axis| known_measure(result.and_then(|it| it.reached.get(&axis).copied()));
    [of(Axis::Mass), of(Axis::CentreOfGravity)]
}

/// The mass that a reduction was asked to carry its speeds to, among the figures that were given to it.
const CARRIED_TO: &str = "/rests_on/given/reference_mass_kg";

/// A row from a figure of a reduction.
fn reduced(extent: &Extent<'_>, it: &Reduction, name: &str, speed: &str) -> Option<[String; 6]> {
    let answer: Value = serde_json::from_str(&it.result).ok()?;
    let figure = |at: &str| answer.pointer(at).and_then(Value::as_f64).filter(|it| it.is_finite());
    let speed_kt = figure(speed)?;
    let state = extent.state;
    let result =
        it.point.as_ref().and_then(|point| state.result(it.run, point)).map(|(_, result)| result);
    let counts = match result {
        Some(result) if result.is_accepted() => "result accepted",
        Some(_) => "result NOT accepted",
        None => "no result recorded",
    };
    let [flown, centre] = loading(result);
    let carried = figure(CARRIED_TO).map_or_else(
        || flown.clone(),
        |kg| format!("{} kg (carried to); {flown} (flown)", bare(kg)),
    );
    let point = it.point.as_ref().map_or_else(|| NOT_RECORDED.to_owned(), ToString::to_string);
    Some([
        name.to_owned(),
        format!("{} kt calibrated", bare(speed_kt)),
        carried,
        centre,
        format!("reduction {} of run {}, {point}; {counts}", it.number, it.run),
        it.seq.to_string(),
    ])
}

/// The table, and where each figure comes from.
pub(crate) fn demonstrated(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let mut rows = Vec::new();
    // What a team measured itself: accepted values of channels that are about the stall by their title.
    for result in state.results.iter().filter(|it| it.is_accepted()) {
        for value in &result.values {
            let channel = state.channels.get(&value.parameter);
            let is_stall = channel.is_some_and(|it| {
                it.title.to_lowercase().contains("stall")
                    && it.unit.kind() == programme::measure::Kind::Speed
            });
            let Some(figure) = value.value.filter(|it| is_stall && it.is_finite()) else {
                continue;
            };
            let [mass, centre] = loading(Some(result));
            rows.push([
                "stall".to_owned(),
                in_words::figure(figure, value.unit),
                mass,
                centre,
                format!(
                    "{} of run {}: {}, accepted",
                    result.point,
                    result.run,
                    in_words::channel_name(state, &value.parameter)
                ),
                result.seq.to_string(),
            ]);
        }
    }
    for it in state.recordings.reductions.iter().filter(|it| state.recordings.reduction_counts(it))
    {
        match it.topic.as_str() {
            "stall-speed" => rows.extend(reduced(extent, it, "stall", "/output/cas_reference_kt")),
            "climb" => {
                rows.extend(reduced(extent, it, "best angle", "/output/best_angle/cas_kt"));
                rows.extend(reduced(extent, it, "best rate", "/output/best_rate/cas_kt"));
            }
            _ => {}
        }
    }
    for name in ["stall", "best angle", "best rate"] {
        if !rows.iter().any(|row| row[0] == name) {
            let none = || NOT_RECORDED.to_owned();
            rows.push([name.to_owned(), none(), none(), none(), none(), none()]);
        }
    }
    out.table(
        [
            column("Speed of", 0.8),
            column("Demonstrated", 1.1),
            column("Mass", 1.3),
            column("Centre of gravity", 1.0),
            column("From", 2.2),
            column("Record", 0.8),
        ],
        rows,
        "",
    );
    out.text(
        "Whoever signs compares each speed with its result and chooses the one that is stated. Where several are listed, each was \
         obtained at its own mass and centre of gravity.",
    );
}
