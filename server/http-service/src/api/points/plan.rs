//! Planning a point, and changing its plan.

use programme::codes::PointCode;
use programme::commands::PlanPoint;
use programme::holds;
use programme::nouns::Point;
use programme::state::Amendable;

use super::read::shown;
use super::view::{RungView, rung_view};
use crate::access::{Permitted, Plan};
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given};
use crate::office::Office;
use crate::problem::{INVALID, Problem};

/// Plan a point, change its plan, or bring back one that was dropped.
///
/// Whoever plans it last is its author, and signs no part of that step. A change voids what was signed for the plan as it
/// was. A new point needs no If-Match; send `If-None-Match: *` to be sure that it is new. Durations are in minutes,
/// energy in kilowatt-hours; every other figure has its unit beside it.
#[utoipa::path(
    put, path = "",
    request_body(content = Point, example = example),
    params(Amends),
    responses(
        (status = 200, description = "Changed.", body = Written<RungView>),
        (status = 201, description = "Planned.", body = Written<RungView>),
    ),
)]
pub(crate) async fn plan(
    person: Permitted<Plan>,
    point: At<PointCode>,
    precondition: Precondition,
    given: Given<Point>,
    office: Office,
) -> Answer {
    let code = point.0;
    if given.body.code != code {
        return Err(Problem::of_field(
            INVALID,
            "code",
            format!(
                "The path names {code}, so the code has to be {code} too. A point keeps its code for ever."
            ),
        ));
    }
    let place = super::place(&person.programme, &code);
    let whose = person.person.clone();
    let command = given.map(|point| PlanPoint { point, expected: None });
    office
        .amend(&person, (precondition, Amendable::Point(code.clone())), command, {
            move |view, _, was_there| {
                Ok(Outcome::put(was_there, place, shown_to(&whose, view, &code)?))
            }
        })
        .await
}

/// A point as it stands with what was just recorded.
pub(super) fn shown_to(
    person: &programme::codes::PersonHandle,
    view: View<'_>,
    code: &PointCode,
) -> Result<Shown, Problem> {
    let View { state, now } = view;
    let rung = super::rung(state, code)?;
    let holds = holds::holds(state, rung, now);
    shown(state, rung, &rung_view(state, rung, person, now, holds)?)
}

/// A plan, for the description.
fn example() -> serde_json::Value {
    serde_json::json!({
        "code": "GR-02",
        "title": "Half power, tied down, five minutes",
        "phase": "ground-run",
        "objective": "Show that motor and pack stay cool at half power.",
        "technique": "Tie down, chock, clear the propeller's disc. Raise power in steps of 5 kW, hold 35 kW for five minutes.",
        "conditions": { "power": { "target": 35.0, "tolerance": 2.0, "unit": "kW" } },
        "duration_min": 12.0,
        "energy_kwh": 3.5,
        "data_required": ["motor_winding_t_1"],
        "criteria": [{
            "parameter": "motor_winding_t_1", "statistic": "max", "comparison": "at-most", "value": 110.0, "unit": "degC",
        }],
        "stop_criteria": ["Smoke, smell or an isolation warning."],
        "after_points": ["GR-01"],
        "crew": [{ "role": "pilot", "count": 1, "on_board": true }],
        "most_on_board": 1,
        "sensitive_to": ["motor"],
    })
}
