//! Forecasts on a calendar.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::AtomicBool;

use chrono::NaiveDate;

use super::super::*;
use crate::codes::PointCode;
use crate::nouns::Phase;

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn code(text: &str) -> PointCode {
    serde_json::from_value(serde_json::json!(text)).unwrap()
}

fn certain(days: f64) -> Spread {
    Spread::ThreePoint(ThreePoint { best: days, likely: days, worst: days })
}

fn step(name: &str, phase: Phase, after: &[&str]) -> Step {
    Step {
        code: code(name),
        phase,
        after: after.iter().map(|name| code(name)).collect(),
        energy_kwh: 10.0,
    }
}

fn of(steps: Vec<Step>) -> Remaining {
    let known = steps.iter().map(|step| step.code.clone()).collect();
    Remaining { steps, known, runs: BTreeMap::new() }
}

/// A taxi run, the first flight, two flights.
fn ladder() -> Remaining {
    of(vec![
        step("TX", Phase::Taxi, &[]),
        step("FF", Phase::FirstFlight, &["TX"]),
        step("E1", Phase::Envelope, &["FF"]),
        step("E2", Phase::Envelope, &["FF"]),
    ])
}

/// Weekdays only from Monday 1 June 2026, weather always, no repeats, a day after each run, two runs a day.
fn assumed() -> Assumptions {
    use Weekday::{Friday, Monday, Thursday, Tuesday, Wednesday};
    let never = RepeatPrior { repeated: 0.5, shown: 10_000.0 };
    Assumptions {
        starts: date("2026-06-01"),
        days: Phase::ALL.map(|phase| (phase, certain(1.0))).into(),
        days_of: BTreeMap::new(),
        repeats: Phase::ALL.map(|phase| (phase, never)).into(),
        works_on: BTreeSet::from([Monday, Tuesday, Wednesday, Thursday, Friday]),
        days_off: BTreeSet::new(),
        weather: UsableWeather { ground: vec![1.0; 12], flight: vec![1.0; 12] },
        runs_a_day: 2,
        energy_a_day_kwh: None,
        deliveries: vec![],
    }
}

fn told(remaining: &Remaining, assumptions: &Assumptions) -> Forecast {
    forecast(remaining, assumptions, 400, 11, &AtomicBool::new(false)).unwrap()
}

fn half(spread: &DateSpread) -> NaiveDate {
    spread.by[1].unwrap()
}

fn first_flight(forecast: &Forecast) -> NaiveDate {
    half(forecast.first_flight.as_ref().unwrap())
}

#[test]
fn with_nothing_left_to_chance_the_dates_are_those_of_the_calendar() {
    let plain = told(&ladder(), &assumed());
    // Taxi on Monday, accepted on Tuesday; first flight on Tuesday; both flights on Wednesday; accepted on Thursday.
    assert_eq!(first_flight(&plain), date("2026-06-02"));
    assert_eq!(half(&plain.end), date("2026-06-04"));
    assert!(plain.taken.weather == 0.0 && plain.taken.aircraft == 0.0);

    let one_a_day = told(&ladder(), &Assumptions { runs_a_day: 1, ..assumed() });
    assert_eq!(half(&one_a_day.end), date("2026-06-05"));
    assert!(one_a_day.taken.aircraft > 0.9, "{:?}", one_a_day.taken);

    // Twice 10 kWh is more than 15 in one day.
    let energy = told(&ladder(), &Assumptions { energy_a_day_kwh: Some(15.0), ..assumed() });
    assert_eq!(half(&energy.end), date("2026-06-05"));

    let over_the_weekend =
        told(&ladder(), &Assumptions { starts: date("2026-06-05"), ..assumed() });
    assert_eq!(first_flight(&over_the_weekend), date("2026-06-08"));
}

#[test]
fn a_delivery_holds_the_points_that_wait_for_it_and_is_told_as_the_cause() {
    let permit = Delivery {
        what: "the permit".to_owned(),
        best: date("2026-06-15"),
        likely: date("2026-06-15"),
        worst: date("2026-06-15"),
        phases: vec![Phase::FirstFlight],
        points: vec![],
    };
    let assumptions = Assumptions { deliveries: vec![permit], ..assumed() };
    let late = told(&ladder(), &assumptions);
    assert_eq!(first_flight(&late), date("2026-06-15"));
    assert!(late.taken.deliveries > 8.9, "{:?}", late.taken);
    let found = drivers(&ladder(), &assumptions, 100, 11, &AtomicBool::new(false)).unwrap();
    assert_eq!(found[0].what, "the permit comes on the first day");
    assert_eq!(found[0].first_flight_days, Some(13));
}

#[test]
fn weather_on_half_of_the_days_costs_a_day_a_run_on_average() {
    // Worked out: a wait for the first success of even chances has mean 1.
    let weather = UsableWeather { ground: vec![1.0; 12], flight: vec![0.5; 12] };
    let found = forecast(
        &ladder(),
        &Assumptions { weather, ..assumed() },
        4_000,
        3,
        &AtomicBool::new(false),
    )
    .unwrap();
    // The way to the end has the first flight and the later of two flights, whose weather is the same unless both runs are used.
    assert!((found.taken.weather - 2.0).abs() < 0.15, "{:?}", found.taken);
    assert!(found.end.by[3] > found.end.by[0]);
}

#[test]
fn results_that_had_to_be_repeated_make_the_end_later() {
    let prior = RepeatPrior { repeated: 1.0, shown: 9.0 };
    let assumptions =
        Assumptions { repeats: Phase::ALL.map(|phase| (phase, prior)).into(), ..assumed() };
    let repeats = |runs: &[(Phase, (u32, u32))]| {
        let remaining = Remaining { runs: runs.iter().copied().collect(), ..ladder() };
        told(&remaining, &assumptions).taken.repeats
    };
    let none = repeats(&[]);
    let good = repeats(&[
        (Phase::FirstFlight, (40, 0)),
        (Phase::Envelope, (40, 0)),
        (Phase::Taxi, (40, 0)),
    ]);
    let bad = repeats(&[
        (Phase::FirstFlight, (5, 35)),
        (Phase::Envelope, (5, 35)),
        (Phase::Taxi, (5, 35)),
    ]);
    assert!(good < none && none < bad, "{good} {none} {bad}");
}

#[test]
fn one_thread_and_two_forecast_the_same() {
    let weather = UsableWeather { ground: vec![0.8; 12], flight: vec![0.4; 12] };
    let assumptions = Assumptions { weather, ..assumed() };
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| told(&ladder(), &assumptions))
    };
    assert_eq!(on(1), on(2));
}

#[test]
fn assumptions_that_can_never_come_true_are_told_all_at_once() {
    let weather = UsableWeather { ground: vec![0.5; 11], flight: vec![0.0; 12] };
    let never = Assumptions {
        weather,
        works_on: BTreeSet::new(),
        runs_a_day: 0,
        energy_a_day_kwh: Some(-5.0),
        days: BTreeMap::from([(Phase::Taxi, certain(-1.0))]),
        ..assumed()
    };
    let Err(CannotForecast::Faulty { faults }) =
        forecast(&ladder(), &never, 0, 1, &AtomicBool::new(false))
    else {
        panic!("it was forecast");
    };
    let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
    assert_eq!(
        fields,
        [
            "days.taxi",
            "works_on",
            "weather.ground",
            "weather.flight",
            "runs_a_day",
            "energy_a_day_kwh",
            "days.first-flight",
            "days.envelope",
            "trials",
        ]
    );
}

#[test]
fn a_month_of_bad_weather_is_waited_out_and_years_of_it_are_not_reached() {
    let mut flight = vec![0.0; 12];
    flight[8] = 1.0;
    let ground = vec![1.0; 12];
    let autumn = told(
        &ladder(),
        &Assumptions { weather: UsableWeather { ground: ground.clone(), flight }, ..assumed() },
    );
    assert_eq!(first_flight(&autumn), date("2026-09-01"));

    let mut flight = vec![0.0; 12];
    flight[8] = 1e-6;
    let hardly =
        told(&ladder(), &Assumptions { weather: UsableWeather { ground, flight }, ..assumed() });
    assert!(hardly.end.not_reached > 0.9 && hardly.end.by[3].is_none());
}

#[test]
fn a_forecast_is_scored_and_its_slip_is_told() {
    let sure = told(&ladder(), &assumed()).end;
    let right = score(&sure, date("2026-06-04")).unwrap();
    assert_eq!((right.loss_days, right.late_by_days), (0.0, 0));
    let late = score(&sure, date("2026-06-14")).unwrap();
    // 10 days late at shares 0.1, 0.5, 0.8, 0.95: 23.5 / 4.
    assert!((late.loss_days - 5.875).abs() < 1e-9 && late.late_by_days == 10);
    let later = told(&ladder(), &Assumptions { starts: date("2026-06-08"), ..assumed() }).end;
    assert_eq!(slip_days(&sure, &later), Some(7));
}

#[test]
fn nothing_in_the_holds_knows_of_the_forecast() {
    let holds = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/holds");
    let files: Vec<_> =
        std::fs::read_dir(holds).unwrap().map(|file| file.unwrap().path()).collect();
    assert!(files.len() > 10);
    for file in files.iter().filter(|file| file.is_file()) {
        let text = std::fs::read_to_string(file).unwrap();
        assert!(!text.contains("forecast::"), "{}", file.display());
    }
}
