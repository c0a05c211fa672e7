//! Programmes by chance: every one sound, with odd names, figures and references.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeZone, Utc};
use proptest::collection::{btree_map, vec};
use proptest::option;
use proptest::prelude::*;
use proptest::sample::{select, subsequence};

use crate::codes::LimitCode;
use crate::document::ProgrammeDocument;
use crate::measure::{Kind, Measure, Unit};
use crate::nouns::{
    AcceptingRole, Aircraft, AssessedRisk, Axis, BuildUpRule, Channel, Check, Comparison,
    Condition, CrewSeat, Criterion, DecimalMark, Direction, Document, DocumentKind, Hazard,
    HeldQualification, Item, ItemKind, Limit, LimitKind, LoadingStation, MappedColumn, Person,
    Phase, Point, Policy, Probability, Recorder, RecorderFile, RequiredItem, RequiredTotal,
    RiskLevel, RiskMatrix, Role, Severity, Statistic, TimeColumn, TimeForm, TimedRating, Total,
    Validity, WeatherMinima,
};

fn title() -> impl Strategy<Value = String> {
    "\\PC{0,20}[A-Za-zäß°\"'\\\\#=,;±]\\PC{0,20}"
}

fn text() -> impl Strategy<Value = String> {
    (title(), option::of("\\PC{0,30}")).prop_map(|(first, second)| match second {
        Some(second) => format!("{first}\n{second}"),
        None => first,
    })
}

fn positive() -> impl Strategy<Value = f64> {
    prop_oneof![
        1e-9..1e9,
        (1u32..5000).prop_map(f64::from),
        (1u32..5000).prop_map(|n| f64::from(n) / 10.0)
    ]
}

fn figure() -> impl Strategy<Value = f64> {
    (positive(), any::<bool>()).prop_map(|(figure, below)| if below { -figure } else { figure })
}

fn unit(kind: Kind) -> impl Strategy<Value = Unit> {
    select(Unit::ALL.iter().copied().filter(|unit| unit.kind() == kind).collect::<Vec<_>>())
}

fn measure(kind: Kind) -> impl Strategy<Value = Measure> {
    (positive(), unit(kind)).prop_map(|(value, unit)| Measure::new(value, unit))
}

fn phases() -> impl Strategy<Value = Vec<Phase>> {
    subsequence(Phase::ALL.to_vec(), 1..=5)
}

fn moment() -> impl Strategy<Value = DateTime<Utc>> {
    (0i64..4_000_000_000).prop_map(|second| Utc.timestamp_opt(second, 0).unwrap())
}

fn aircraft() -> impl Strategy<Value = Aircraft> {
    let station = (title(), measure(Kind::Mass), measure(Kind::Length))
        .prop_map(|(name, mass, arm)| LoadingStation { name, mass, arm });
    (
        (title(), text(), option::of(title()), option::of(title())),
        option::of(measure(Kind::Speed)),
        option::of(measure(Kind::Mass)),
        vec(station, 0..3),
    )
        .prop_map(|((name, description, registration, airfield), speed, mass, loading)| {
            Aircraft {
                name,
                registration,
                description,
                airfield,
                never_exceed_speed: speed,
                maximum_altitude: None,
                maximum_mass: mass,
                seats: 9,
                loading,
                loading_limits: None,
                structure: None,
            }
        })
}

fn policy() -> impl Strategy<Value = Policy> {
    let rule = select(Axis::ALL.to_vec()).prop_flat_map(|axis| {
        (option::of(measure(axis.kind())), measure(axis.kind()), measure(axis.kind()), text())
            .prop_map(move |(from, step, first, source)| BuildUpRule {
                axis,
                direction: Direction::Up,
                phases: Vec::new(),
                from_share: None,
                from,
                step,
                first,
                source,
            })
    });
    let total =
        (select(vec![Total::Landings, Total::TaxiMinutes]), 1u32..999, phases(), text()).prop_map(
            |(total, at_least, phases, source)| RequiredTotal { total, at_least, phases, source },
        );
    (1u32..1440, 1u32..720, text(), option::of(rule), vec(total, 0..3)).prop_map(
        |(weather_good_for_min, longest_release_h, source, rule, required_totals)| {
            use RiskLevel::{Eliminated, High, Low, Medium, Serious};
            Policy {
                weather_good_for_min,
                longest_release_h,
                risk: RiskMatrix {
                    source,
                    rows: [
                        [High, High, High, Serious, Medium, Eliminated],
                        [High, High, Serious, Medium, Medium, Eliminated],
                        [Serious, Serious, Medium, Medium, Low, Eliminated],
                        [Medium, Medium, Low, Low, Low, Eliminated],
                    ],
                    accepted_by: vec![AcceptingRole { level: Serious, roles: vec![Role::Safety] }],
                },
                build_up: rule.into_iter().collect(),
                required_totals,
                heating_order: Vec::new(),
                heating_horizon_min: None,
                quarantine: Vec::new(),
                build_up_pairs: Vec::new(),
                predictions: None,
            }
        },
    )
}

/// A lead and a safety officer, and some more.
fn people() -> impl Strategy<Value = Vec<Person>> {
    let held = btree_map("[a-z]{1,6}", option::of(moment()), 0..3);
    let role = select(vec![Role::Pilot, Role::Crew, Role::Engineer, Role::Viewer]);
    vec((title(), role, held), 2..5).prop_map(|listed| {
        let person = |(place, (name, role, held)): (usize, (String, Role, BTreeMap<String, _>))| {
            let (handle, role) = match place {
                0 => ("lea".to_owned(), Role::Lead),
                1 => ("sam".to_owned(), Role::Safety),
                place => (format!("x{place}"), role),
            };
            let qualifications = held
                .into_iter()
                .map(|(code, expires)| HeldQualification { code: code.parse().unwrap(), expires })
                .collect();
            Person { handle: handle.parse().unwrap(), name, roles: vec![role], qualifications }
        };
        listed.into_iter().enumerate().map(person).collect()
    })
}

fn items() -> impl Strategy<Value = Vec<Item>> {
    vec((title(), any::<bool>(), title()), 2..4).prop_map(|listed| {
        let item = |(place, (title, part, version)): (usize, (String, bool, String))| Item {
            code: format!("I-{place}").parse().unwrap(),
            title,
            kind: if part { ItemKind::Part } else { ItemKind::Software },
            version,
        };
        listed.into_iter().enumerate().map(item).collect()
    })
}

/// The units of the channels `c0`, `c1` …
const CHANNEL_UNITS: [Unit; 4] = [Unit::Celsius, Unit::Kilowatt, Unit::One, Unit::Celsius];

fn channels() -> impl Strategy<Value = Vec<Channel>> {
    vec((title(), option::of(positive()), option::of(text())), 4).prop_map(|listed| {
        let channel =
            |(place, (title, highest, derived_from)): (usize, (String, Option<f64>, _))| Channel {
                code: format!("c{place}").parse().unwrap(),
                title,
                unit: CHANNEL_UNITS[place],
                lowest: highest.map(|highest| -highest),
                highest,
                accuracy: highest,
                derived_from,
            };
        listed.into_iter().enumerate().map(channel).collect()
    })
}

fn recorder_file() -> impl Strategy<Value = RecorderFile> {
    let words = (title(), text(), select(TimeForm::ALL.to_vec()));
    (words, option::of(select(vec![';', '\t', '|'])), option::of(1u32..1000), any::<bool>(), 0..5)
        .prop_map(|((column, dbc, form), delimiter, header_line, flag, which)| match which {
            0 => RecorderFile::Csv {
                delimiter,
                decimal: if flag { DecimalMark::Comma } else { DecimalMark::Point },
                header_line,
                unit_row: flag,
                time: TimeColumn { column, form },
            },
            1 => RecorderFile::Candump { dbc },
            2 => RecorderFile::Igc {},
            3 => RecorderFile::Nmea {},
            _ => RecorderFile::Gpx {},
        })
}

/// Recorders of the channels `c0` and `c1`.
fn recorders() -> impl Strategy<Value = Vec<Recorder>> {
    let column = || (title(), positive(), any::<bool>());
    vec((title(), recorder_file(), column(), column()), 0..3).prop_map(|listed| {
        let recorder = |(place, (title, file, first, second)): (usize, (String, _, _, _))| {
            let mapped =
                |channel: usize, (column, scale, flag): (String, f64, bool)| MappedColumn {
                    column,
                    channel: format!("c{channel}").parse().unwrap(),
                    unit: match (channel, flag) {
                        (0, true) => Unit::Kelvin,
                        (1, true) => Unit::Watt,
                        (channel, _) => CHANNEL_UNITS[channel],
                    },
                    scale: if flag { 1.0 } else { scale + 1e-3 },
                    inverted: flag,
                };
            Recorder {
                code: format!("R-{place}").parse().unwrap(),
                title,
                file,
                columns: vec![mapped(0, first), mapped(1, second)],
            }
        };
        listed.into_iter().enumerate().map(recorder).collect()
    })
}

fn limit_kind() -> impl Strategy<Value = LimitKind> {
    (figure(), positive(), positive(), any::<bool>(), 0..7).prop_map(
        |(at, apart, more, cautious, which)| {
            let caution = |value: f64| cautious.then_some(value);
            match which {
                0 => LimitKind::Maximum { caution: caution(at - apart), limit: at },
                1 => LimitKind::Minimum { caution: caution(at + apart), limit: at },
                2 => LimitKind::Range {
                    low: at,
                    high: at + apart,
                    caution_low: caution(at),
                    caution_high: caution(at + apart),
                },
                3 => LimitKind::Rate { caution_per_s: caution(apart / 2.0), limit_per_s: apart },
                4 => LimitKind::Spread {
                    with: vec!["c3".parse().unwrap()],
                    caution: caution(apart / 2.0),
                    limit: apart,
                },
                5 => {
                    LimitKind::TimeAbove { threshold: at, caution_s: caution(0.0), limit_s: apart }
                }
                _ => LimitKind::Rating {
                    continuous: at,
                    timed: vec![
                        TimedRating { value: at + 1.0 + apart, seconds: more + 1.0 },
                        TimedRating { value: at + 3.0 + 2.0 * apart, seconds: more },
                    ],
                },
            }
        },
    )
}

fn limits() -> impl Strategy<Value = Vec<Limit>> {
    vec((title(), limit_kind(), positive(), phases(), text()), 1..4).prop_map(|listed| {
        let limit = |(place, (title, kind, dwell_s, phases, source))| Limit {
            code: format!("L-{place}").parse().unwrap(),
            title,
            channel: "c0".parse().unwrap(),
            unit: Unit::Celsius,
            kind,
            dwell_s,
            phases,
            source,
        };
        let mut limits: Vec<Limit> = listed.into_iter().enumerate().map(limit).collect();
        // All are of one channel, whose time above can be counted above one figure only.
        let mut counted = false;
        limits.retain(|limit| {
            let counts = limit.kind.counts_time_above().is_some();
            let stays = !(counts && counted);
            counted |= counts;
            stays
        });
        limits
    })
}

fn checks() -> impl Strategy<Value = Vec<Check>> {
    let validity = (option::of(positive()), option::of(positive()), option::of(1u32..99)).prop_map(
        |(powered_hours, clock_hours, days)| Validity {
            powered_hours,
            clock_hours,
            days,
            until: vec!["hard-landing".parse().unwrap()],
            until_changed: Vec::new(),
        },
    );
    (title(), text(), validity, phases(), text()).prop_map(
        |(title, method, validity, phases, source)| {
            let by = vec![Role::Crew, Role::Engineer];
            vec![Check {
                code: "C-0".parse().unwrap(),
                title,
                method,
                validity,
                phases,
                by,
                source,
            }]
        },
    )
}

fn hazards() -> impl Strategy<Value = Vec<Hazard>> {
    let severity = select(Severity::ALL.to_vec());
    let after = option::of(select(vec![Probability::Remote, Probability::Eliminated]));
    (title(), text(), text(), severity, vec(text(), 1..3), after).prop_map(
        |(title, cause, effect, severity, mitigations, after)| {
            vec![Hazard {
                code: "H-0".parse().unwrap(),
                title,
                cause,
                effect,
                before: AssessedRisk { severity, probability: Probability::Occasional },
                mitigations,
                after: after.map(|probability| AssessedRisk { severity, probability }),
            }]
        },
    )
}

fn papers() -> impl Strategy<Value = Vec<Document>> {
    (title(), option::of(title()), option::of(moment()), option::of(1i64..999_999), phases())
        .prop_map(|(title, reference, valid_from, seconds, covers)| {
            let until = valid_from.zip(seconds);
            vec![Document {
                code: "D-0".parse().unwrap(),
                title,
                kind: DocumentKind::Conditions,
                reference,
                valid_from,
                valid_until: until
                    .map(|(from, seconds)| from + chrono::TimeDelta::seconds(seconds)),
                needed_in: vec![covers[0]],
                covers,
            }]
        })
}

fn conditions() -> impl Strategy<Value = BTreeMap<Axis, Condition>> {
    vec((select(Axis::ALL.to_vec()), 1u32..90, positive()), 0..5).prop_flat_map(|listed| {
        let one = |(axis, target, tolerance): (Axis, u32, f64)| {
            let condition =
                move |unit| (axis, Condition { target: f64::from(target) + 0.25, tolerance, unit });
            unit(axis.kind()).prop_map(condition)
        };
        listed
            .into_iter()
            .map(one)
            .collect::<Vec<_>>()
            .prop_map(|listed| listed.into_iter().collect())
    })
}

fn criterion() -> impl Strategy<Value = Criterion> {
    (0usize..4, figure(), option::of(positive()), any::<bool>()).prop_map(
        |(channel, value, range, timed)| {
            let at_least = if value > 0.0 { Comparison::AtLeast } else { Comparison::AtMost };
            Criterion {
                parameter: format!("c{channel}").parse().unwrap(),
                statistic: if timed { Statistic::TimeAbove } else { Statistic::Mean },
                comparison: if range.is_some() { Comparison::Between } else { at_least },
                value,
                upper: range.map(|range| value + range),
                unit: if timed { Unit::Minute } else { CHANNEL_UNITS[channel] },
            }
        },
    )
}

fn weather() -> impl Strategy<Value = WeatherMinima> {
    let speed = || option::of(measure(Kind::Speed));
    let length = || option::of(measure(Kind::Length));
    let temperature = || option::of(measure(Kind::Temperature));
    (speed(), speed(), speed(), length(), length(), temperature(), any::<bool>()).prop_map(
        |(wind, gust, crosswind, visibility, cloud_base, coldest, dry)| WeatherMinima {
            wind_at_most: wind,
            gust_at_most: gust,
            crosswind_at_most: crosswind,
            visibility_at_least: visibility,
            cloud_base_at_least: cloud_base,
            temperature_at_least: coldest,
            temperature_at_most: coldest,
            dry,
        },
    )
}

fn point() -> impl Strategy<Value = Point> {
    let words = (title(), text(), text(), vec(text(), 1..3), option::of(title()));
    let figures =
        (positive(), positive(), select(Phase::ALL.to_vec()), any::<bool>(), any::<bool>());
    (words, figures, conditions(), vec(criterion(), 1..3), weather()).prop_map(
        |(words, figures, conditions, criteria, weather)| {
            let (title, objective, technique, stop_criteria, version) = words;
            let (duration, energy_kwh, phase, axes_together, named) = figures;
            let qualifications = vec!["test-pilot".parse().unwrap(), "hv".parse().unwrap()];
            let seat = CrewSeat { role: Role::Pilot, count: 1, on_board: true, qualifications };
            let watch =
                CrewSeat { role: Role::Crew, count: 2, on_board: false, qualifications: vec![] };
            Point {
                code: "P".parse().unwrap(),
                title,
                phase,
                objective,
                technique,
                conditions,
                axes_together,
                duration_min: duration % 1440.0 + 1e-3,
                energy_kwh,
                data_required: vec!["c0".parse().unwrap(), "c1".parse().unwrap()],
                criteria,
                limits: if named { vec!["L-0".parse().unwrap()] } else { vec![] },
                stop_criteria,
                hazards: if named { vec!["H-0".parse().unwrap()] } else { vec![] },
                after_points: vec![],
                after_checks: if named { vec!["C-0".parse().unwrap()] } else { vec![] },
                after_documents: if named { vec!["D-0".parse().unwrap()] } else { vec![] },
                crew: vec![seat, watch],
                most_on_board: 2,
                weather,
                configuration: vec![
                    RequiredItem { item: "I-0".parse().unwrap(), version },
                    RequiredItem { item: "I-1".parse().unwrap(), version: None },
                ],
                sensitive_to: if named { vec!["I-1".parse().unwrap()] } else { vec![] },
            }
        },
    )
}

/// Points that wait for any of those before them.
fn points() -> impl Strategy<Value = Vec<Point>> {
    vec((point(), any::<u8>()), 1..6).prop_map(|listed| {
        let mut points: Vec<Point> = Vec::new();
        for (place, (mut point, before)) in listed.into_iter().enumerate() {
            point.code = format!("P-{place}").parse().unwrap();
            point.after_points = points
                .iter()
                .enumerate()
                .filter(|(earlier, _)| before >> earlier & 1 == 1)
                .map(|(_, earlier)| earlier.code.clone())
                .collect();
            points.push(point);
        }
        points
    })
}

/// All greatest temperatures, the last first, where there are two at least.
fn hottest(limits: &[Limit]) -> Vec<LimitCode> {
    let greatest = limits.iter().rev().filter(|limit| limit.greatest_temperature().is_some());
    let order: Vec<_> = greatest.map(|limit| limit.code.clone()).collect();
    if order.len() < 2 { Vec::new() } else { order }
}

/// Whole programmes, their lists in the order of their codes.
pub(super) fn documents() -> impl Strategy<Value = ProgrammeDocument> {
    let channels = (channels(), recorders());
    let first = (title(), aircraft(), policy(), people(), items(), channels);
    (first, limits(), checks(), hazards(), papers(), points()).prop_map(
        |(first, limits, checks, hazards, documents, points)| {
            let (title, aircraft, mut policy, people, items, (channels, recorders)) = first;
            policy.heating_order = hottest(&limits);
            ProgrammeDocument {
                title: Some(title),
                aircraft: Some(aircraft),
                policy: Some(policy),
                people,
                items,
                channels,
                recorders,
                limits,
                checks,
                hazards,
                documents,
                points,
            }
        },
    )
}
