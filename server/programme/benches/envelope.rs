//! How fast the shown envelope and the next steps are worked out from 2,000 accepted results.
//!
//! `cargo bench -p programme --bench envelope`. Everything is invented and drawn from fixed sequences.

#![allow(missing_docs, clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::hint::black_box;

use chrono::{DateTime, TimeDelta, TimeZone, Utc};
use criterion::{Criterion, criterion_group, criterion_main};
use programme::board::Board;
use programme::entry::{Draft, Entry};
use programme::envelope::Envelope;
use programme::measure::{Measure, Unit};
use programme::next_steps::next_steps;
use programme::nouns::{
    Axis, BuildUpRule, Comparison, Condition, Direction, Phase, Point, Policy, RiskLevel,
    RiskMatrix, Statistic, WeatherMinima,
};
use programme::record::{
    Digest, MeasuredValue, Part, PartSigned, PointPlanned, PolicySet, ProgrammeFounded, Record,
    ResultRecorded, RunKind, RunOpened, ValueSource,
};
use programme::state::State;

/// Points that were shown, and points that were not yet.
const SHOWN: u32 = 2000;
const TO_SHOW: u32 = 500;

struct Ledger {
    state: State,
    now: DateTime<Utc>,
}

impl Ledger {
    fn record(&mut self, by: &str, record: impl Into<Record>) {
        self.now += TimeDelta::seconds(1);
        let seq = self.state.length() + 1;
        let by = by.parse().unwrap();
        let draft = Draft { observed_at: None, record: record.into() };
        self.state.apply(&Entry::new("P".parse().unwrap(), seq, self.now, by, draft));
    }
}

/// A figure that wanders over a span without repeating soon.
fn spread(place: u32, step: f64, span: f64) -> f64 {
    (f64::from(place) * step) % span
}

fn reached(place: u32) -> BTreeMap<Axis, Measure> {
    let at = Measure::new;
    BTreeMap::from([
        (Axis::Speed, at(40.0 + spread(place, 0.618, 70.0), Unit::Knot)),
        (Axis::PressureAltitude, at(spread(place, 71.7, 9000.0), Unit::Foot)),
        (Axis::LoadFactor, at(-0.5 + spread(place, 0.037, 3.5), Unit::G)),
        (Axis::Mass, at(600.0 + spread(place, 1.73, 150.0), Unit::Kilogram)),
        (Axis::CentreOfGravity, at(18.0 + spread(place, 0.131, 10.0), Unit::PercentMac)),
        (Axis::Power, at(5.0 + spread(place, 0.391, 60.0), Unit::Kilowatt)),
        (Axis::TimeAtPower, at(10.0 + spread(place, 7.3, 900.0), Unit::Second)),
        (Axis::ChargeState, at(20.0 + spread(place, 0.457, 80.0), Unit::Percent)),
    ])
}

fn point(place: u32) -> Point {
    let after = place.checked_sub(1 + place % 7).filter(|_| place > SHOWN);
    let name = |place: u32| format!("P-{place:05}").parse().unwrap();
    let conditions = reached(place)
        .into_iter()
        .map(|(axis, at)| (axis, Condition { target: at.value, tolerance: 1.0, unit: at.unit }));
    Point {
        code: name(place),
        title: format!("Point {place}"),
        phase: Phase::Envelope,
        objective: "Show it.".to_owned(),
        technique: "Fly it.".to_owned(),
        conditions: conditions.collect(),
        axes_together: true,
        duration_min: 10.0,
        energy_kwh: 1.0,
        data_required: Vec::new(),
        criteria: vec![programme::nouns::Criterion {
            parameter: "winding".parse().unwrap(),
            statistic: Statistic::Max,
            comparison: Comparison::AtMost,
            value: 60.0,
            upper: None,
            unit: Unit::Celsius,
        }],
        limits: Vec::new(),
        stop_criteria: vec!["Smoke.".to_owned()],
        hazards: Vec::new(),
        after_points: after.map(name).into_iter().collect(),
        after_checks: Vec::new(),
        after_documents: Vec::new(),
        crew: Vec::new(),
        most_on_board: 1,
        weather: WeatherMinima::default(),
        configuration: Vec::new(),
        sensitive_to: Vec::new(),
    }
}

fn policy() -> Policy {
    let rule = |axis, direction, first, step, unit| BuildUpRule {
        axis,
        direction,
        phases: Vec::new(),
        from: None,
        from_share: None,
        step: Measure::new(step, unit),
        first: Measure::new(first, unit),
        source: "an invented build-up".to_owned(),
    };
    Policy {
        weather_good_for_min: 60,
        longest_release_h: 24,
        risk: RiskMatrix {
            source: "an invented matrix".to_owned(),
            rows: [[RiskLevel::Low; 6]; 4],
            accepted_by: Vec::new(),
        },
        build_up: vec![
            rule(Axis::Speed, Direction::Up, 20.0, 5.0, Unit::Knot),
            rule(Axis::PressureAltitude, Direction::Up, 500.0, 500.0, Unit::Foot),
            rule(Axis::Power, Direction::Up, 10.0, 10.0, Unit::Kilowatt),
            rule(Axis::ChargeState, Direction::Down, 80.0, 10.0, Unit::Percent),
        ],
        required_totals: Vec::new(),
        heating_order: Vec::new(),
        heating_horizon_min: None,
        quarantine: Vec::new(),
        build_up_pairs: Vec::new(),
        predictions: None,
    }
}

fn ledger() -> Ledger {
    let now = Utc.with_ymd_and_hms(2031, 5, 12, 6, 0, 0).unwrap();
    let mut ledger = Ledger { state: State::default(), now };
    ledger.record("lead", ProgrammeFounded { title: "A programme".to_owned() });
    ledger.record("safety", PolicySet { policy: policy() });
    for place in 0..SHOWN + TO_SHOW {
        ledger.record("lead", PointPlanned { point: point(place) });
    }
    for place in 0..SHOWN {
        let point = point(place).code;
        let run = programme::codes::RunNumber(place + 1);
        let points = vec![point.clone()];
        ledger.record("lead", RunOpened { run, what: RunKind::Flight, points, crew: Vec::new() });
        let values = vec![MeasuredValue {
            parameter: "winding".parse().unwrap(),
            statistic: Statistic::Max,
            value: Some(50.0),
            unit: Unit::Celsius,
            source: ValueSource::TypedIn {},
        }];
        let (reached, observations) = (reached(place), "None.".to_owned());
        ledger.record(
            "crew",
            ResultRecorded { run, point: point.clone(), values, reached, observations },
        );
        for (by, part) in [
            ("engineer", Part::EngineeringAcceptance { run }),
            ("safety", Part::SafetyAcceptance { run }),
        ] {
            let digest = Digest::from_bytes([7; 32]);
            let point = point.clone();
            ledger.record(by, PartSigned { point, part, window: None, digest });
        }
    }
    assert_eq!(Envelope::present(&ledger.state).results.len(), SHOWN as usize);
    ledger
}

fn envelope_and_next_steps(criterion: &mut Criterion) {
    let Ledger { state, now } = ledger();
    let board = Board::new(&state, now);
    criterion.bench_function("envelope", |bencher| {
        bencher.iter(|| black_box(Envelope::present(&state)));
    });
    criterion.bench_function("next steps", |bencher| {
        bencher.iter(|| black_box(next_steps(&state, &board, now)));
    });
    criterion.bench_function("envelope and next steps", |bencher| {
        bencher.iter(|| {
            black_box(Envelope::present(&state));
            black_box(next_steps(&state, &board, now))
        });
    });
}

criterion_group!(benches, envelope_and_next_steps);
criterion_main!(benches);
