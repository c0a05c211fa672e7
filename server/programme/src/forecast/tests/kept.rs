//! Forecasts that were kept: slip, score, and that no hold looks at them.

use std::sync::atomic::AtomicBool;

use chrono::{Days, TimeDelta};

use super::super::*;
use crate::codes::RunNumber;
use crate::commands::{AssumeForecast, MakeForecast, TrialTerms, draw_forecast, grounds_of};
use crate::nouns::{Phase, Point};
use crate::record::{RunEvent, RunKind, RunOpened};
use crate::refusal::Refusal;
use crate::story::{Story, code, point};

fn assumptions(story: &Story, likely: f64) -> Assumptions {
    let spread = Spread::ThreePoint(ThreePoint { best: 1.0, likely, worst: 2.0 * likely });
    let prior = RepeatPrior { repeated: 1.0, shown: 4.0 };
    Assumptions {
        starts: story.now.date_naive(),
        days: Phase::ALL.map(|phase| (phase, spread.clone())).into(),
        days_of: Default::default(),
        repeats: Phase::ALL.map(|phase| (phase, prior)).into(),
        works_on: Weekday::ALL.into(),
        days_off: Default::default(),
        weather: UsableWeather { ground: vec![0.8; 12], flight: vec![0.5; 12] },
        runs_a_day: 2,
        energy_a_day_kwh: None,
        deliveries: Vec::new(),
    }
}

fn drawn(story: &Story) -> MakeForecast {
    let terms = TrialTerms { trials: 200, seed: 3 };
    let grounds = grounds_of(&story.state).unwrap();
    MakeForecast { drawn: draw_forecast(grounds, terms, &AtomicBool::new(false)).unwrap() }
}

fn keep(story: &mut Story, command: &impl crate::commands::Command) {
    story.when("lead", command).unwrap();
}

#[test]
fn a_forecast_slips_with_longer_durations_and_is_scored_once_the_flight_was() {
    let mut story = Story::team();
    story.plan(Point { phase: Phase::FirstFlight, ..point("FF") }).approve("FF");
    assert!(matches!(
        grounds_of(&story.state),
        Err(Refusal::NotNow { code: "nothing-assumed", .. })
    ));
    let first = assumptions(&story, 5.0);
    keep(&mut story, &AssumeForecast { assumptions: first });
    let command = drawn(&story);
    let before = story.rules("FF");
    keep(&mut story, &command);
    assert_eq!(story.rules("FF"), before, "no hold looks at a forecast");
    let longer = AssumeForecast { assumptions: assumptions(&story, 25.0) };
    keep(&mut story, &longer);
    let outdated = story.when("lead", &command).unwrap_err();
    assert!(matches!(outdated, Refusal::NotNow { code: "programme-changed", .. }), "{outdated:?}");
    let command = drawn(&story);
    keep(&mut story, &command);
    let [of_first, of_second] =
        [0, 1].map(|place| outcomes(&story.state, &story.state.planning.forecasts[place]));
    assert_eq!(of_first[1].slip_days, None);
    assert!(of_second[1].slip_days.unwrap() > 0, "{of_second:?}");
    assert_eq!((of_second[0].came, of_second[0].score), (None, None));

    story.later(TimeDelta::days(30));
    let run = RunNumber(1);
    let points = vec![code("FF")];
    story.record("lead", RunOpened { run, what: RunKind::Flight, points, crew: Vec::new() });
    story.moment(run, RunEvent::TakeOff);
    let came = story.now.date_naive();
    let [flight, end] = outcomes(&story.state, &story.state.planning.forecasts[0]);
    let told = &story.state.planning.forecasts[0].told;
    let half = told.first_flight.as_ref().unwrap().by[1].unwrap();
    assert_eq!(flight.came, Some(came));
    let score = flight.score.unwrap();
    assert_eq!(half.checked_add_days(Days::new(score.late_by_days.unsigned_abs())), Some(came));
    assert_eq!(end.came, None);
    let none = story.when("pilot", &command).unwrap_err();
    assert!(matches!(none, Refusal::NotPermitted { .. }));
}
