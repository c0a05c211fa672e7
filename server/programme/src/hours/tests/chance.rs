//! Properties of completed hours over runs as chance would have them.

use std::collections::BTreeSet;

use chrono::Timelike;
use proptest::prelude::*;

use super::*;
use crate::story::chance::steps;

/// What one run of chance is like. Gaps are seconds from each moment to the next.
#[derive(Debug, Clone)]
struct Outing {
    point: &'static str,
    crew: u8,
    gaps: Vec<u32>,
    touch_and_goes: usize,
    moves: bool,
    knocked_off: bool,
    /// Which moment is forgotten, if any.
    forgotten: u8,
    /// Whether power off is noted before power on.
    reversed: bool,
    corrected: bool,
    closed: bool,
    counters: (Option<f64>, Option<f64>),
    motor: &'static str,
}

fn outing() -> impl Strategy<Value = Outing> {
    let counter = || prop_oneof![Just(None), (0.0..60.0).prop_map(Some)];
    let chances = (0_u8..12, any::<bool>(), any::<bool>(), any::<bool>());
    (
        prop::sample::select(vec!["S", "A", "T", "F", "E"]),
        0_u8..8,
        prop::collection::vec(0_u32..4000, 12),
        0_usize..3,
        (any::<bool>(), prop::bool::weighted(0.1), prop::bool::weighted(0.05)),
        chances,
        (counter(), counter()),
        prop::sample::select(vec!["1", "2", "3"]),
    )
        .prop_map(|(point, crew, gaps, touch_and_goes, odds, chances, counters, motor)| {
            let (moves, knocked_off, reversed) = odds;
            let (forgotten, corrected, is_closed, closed) = chances;
            let closed = closed || is_closed;
            Outing {
                point,
                crew,
                gaps,
                touch_and_goes,
                moves,
                knocked_off,
                forgotten,
                reversed,
                corrected,
                closed,
                counters,
                motor,
            }
        })
}

impl Outing {
    fn times(&self, kind: RunKind) -> RunTimes {
        let mut gaps = self.gaps.iter();
        let mut moment = morning();
        let mut next = || {
            moment += TimeDelta::seconds(gaps.next().copied().unwrap_or(0).into());
            moment
        };
        let mut times = RunTimes { power_on: Some(next()), ..RunTimes::default() };
        if self.moves || kind != RunKind::GroundRun {
            times.off_blocks = Some(next());
            if kind == RunKind::Flight {
                times.take_offs.push(next());
                for _ in 0..self.touch_and_goes {
                    let touched = next();
                    times.landings.push(touched);
                    times.take_offs.push(touched);
                }
                times.landings.push(next());
            }
            times.on_blocks = Some(next());
        }
        times.power_off = Some(next());
        match self.forgotten {
            0 => times.power_on = None,
            1 => times.off_blocks = None,
            2 => drop(times.take_offs.pop()),
            3 => drop(times.landings.pop()),
            4 => times.on_blocks = None,
            5 => times.power_off = None,
            _ => {}
        }
        if self.reversed {
            std::mem::swap(&mut times.power_on, &mut times.power_off);
        }
        times
    }

    fn crew(&self) -> Vec<CrewMember> {
        [("pilot", Role::Pilot), ("engineer", Role::Engineer), ("crew", Role::Crew)]
            .into_iter()
            .enumerate()
            .filter(|(place, _)| self.crew >> place & 1 == 1)
            .map(|(place, (name, role))| member(name, role, place == 0 || self.moves))
            .collect()
    }

    fn happen(&self, story: &mut Story) {
        story.fit("motor", self.motor);
        let number = open(story, self.point, self.crew());
        if self.knocked_off {
            story.record("pilot", KnockedOff { run: number, reason: "Smell.".to_owned() });
        }
        read(story, number, ReadingMoment::Before, self.counters.0);
        read(story, number, ReadingMoment::After, self.counters.1);
        let kind = story.state.run(number).unwrap().what;
        if self.corrected {
            correct(story, number, RunTimes::default());
        }
        correct(story, number, self.times(kind));
        if self.closed {
            story.close_run(number);
        }
    }
}

fn minute(moment: DateTime<Utc>) -> DateTime<Utc> {
    moment.with_second(0).unwrap().with_nanosecond(0).unwrap()
}

fn cut(from: DateTime<Utc>, to: DateTime<Utc>) -> u32 {
    u32::try_from((minute(to) - minute(from)).num_minutes()).unwrap()
}

/// Adds up rows figure by figure, without [`HoursTotals`].
fn sum(rows: &[&RunHours]) -> [u64; 8] {
    let of = |figure: fn(&RunHours) -> u64| rows.iter().map(|row| figure(row)).sum::<u64>();
    [
        rows.len() as u64,
        of(|row| row.powered_minutes.into()),
        of(|row| row.taxi_minutes.into()),
        of(|row| row.airborne_minutes.into()),
        of(|row| row.block_minutes.into()),
        of(|row| row.landings.into()),
        of(|row| row.energy_wh.unwrap_or(0)),
        of(|row| row.energy_wh.is_some().into()),
    ]
}

const fn figures(totals: &HoursTotals) -> [u64; 8] {
    [
        totals.runs,
        totals.powered_minutes,
        totals.taxi_minutes,
        totals.airborne_minutes,
        totals.block_minutes,
        totals.landings,
        totals.energy_wh,
        totals.runs_with_energy,
    ]
}

fn added(all: impl Iterator<Item = [u64; 8]>) -> [u64; 8] {
    all.fold([0; 8], |sum, more| std::array::from_fn(|place| sum[place] + more[place]))
}

/// Everything that must hold of completed hours whatever happened.
fn totals_equal_the_sums_of_their_rows(state: &State) {
    let hours = completed(state);
    let rows: Vec<&RunHours> = hours.runs.iter().collect();
    let some = |keep: &dyn Fn(&RunHours) -> bool| {
        sum(&rows.iter().copied().filter(|row| keep(row)).collect::<Vec<_>>())
    };
    assert_eq!(figures(&hours.totals), sum(&rows));

    assert_eq!(hours.by_phase.iter().map(|of| of.phase).collect::<Vec<_>>(), Phase::ALL);
    for of in &hours.by_phase {
        assert_eq!(figures(&of.totals), some(&|row| row.phase == of.phase));
    }
    assert_eq!(added(hours.by_phase.iter().map(|of| figures(&of.totals))), sum(&rows));

    for of in &hours.by_configuration {
        assert_eq!(figures(&of.totals), some(&|row| row.configuration == of.configuration));
        assert_eq!(Digest::of(&of.items).unwrap(), of.configuration.digest);
        assert!(of.totals.runs > 0, "a configuration without a counted run is not listed");
    }
    assert_eq!(added(hours.by_configuration.iter().map(|of| figures(&of.totals))), sum(&rows));

    let people: BTreeSet<_> =
        rows.iter().flat_map(|row| &row.crew).map(|member| &member.person).collect();
    assert!(hours.by_person.iter().map(|of| &of.person).eq(people));
    for of in &hours.by_person {
        let there = |row: &RunHours| row.crew.iter().any(|member| member.person == of.person);
        let on_board =
            |row: &RunHours| row.crew.iter().any(|m| m.person == of.person && m.on_board);
        assert_eq!(figures(&of.totals), some(&there));
        assert_eq!(figures(&of.on_board), some(&on_board));
    }

    // Every run is counted, incomplete or open, and never two of them.
    let mut told: Vec<_> = rows.iter().map(|row| row.run).collect();
    told.extend(hours.incomplete.iter().map(|left_out| left_out.run));
    told.extend(&hours.open);
    told.sort_unstable();
    assert!(told.into_iter().eq(state.runs.iter().map(|run| run.number)));
    let open: Vec<_> =
        state.runs.iter().filter(|run| run.closed.is_none()).map(|run| run.number).collect();
    assert_eq!(hours.open, open);
    for left_out in &hours.incomplete {
        assert!(!left_out.missing.is_empty() || !left_out.out_of_order.is_empty());
    }

    for to_go in &hours.to_go {
        let counted = HoursTotals::of(
            rows.iter()
                .copied()
                .filter(|row| to_go.phases.is_empty() || to_go.phases.contains(&row.phase)),
        );
        assert_eq!(to_go.done, counted.of_total(to_go.total));
        assert_eq!(to_go.remaining, to_go.required.max(to_go.done) - to_go.done);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn totals_equal_the_sums_of_their_rows_for_any_runs(
        outings in prop::collection::vec(outing(), 0..14),
    ) {
        let mut story = team();
        let required_totals = vec![
            RequiredTotal {
                total: Total::AirborneMinutes,
                at_least: 90,
                phases: Vec::new(),
                source: "conditions of the permit".to_owned(),
            },
            RequiredTotal {
                total: Total::PoweredMinutes,
                at_least: 120,
                phases: vec![Phase::Static, Phase::GroundRun],
                source: "the team's test plan".to_owned(),
            },
        ];
        let policy = crate::nouns::Policy { required_totals, ..policy() };
        story.record("lead", PolicySet { policy });
        for outing in &outings {
            outing.happen(&mut story);
        }
        totals_equal_the_sums_of_their_rows(&story.state);

        let hours = completed(&story.state);
        for (run, outing) in story.state.runs.iter().zip(&outings) {
            let times = outing.times(run.what);
            let row = hours.runs.iter().find(|row| row.run == run.number);
            let all_is_known = outing.closed && outing.forgotten > 5
                && (!outing.reversed || times.power_on == times.power_off);
            if all_is_known {
                prop_assert!(row.is_some(), "run {} is not counted: {times:?}", run.number);
            }
            let Some(row) = row else { continue };
            prop_assert_eq!(row.taxi_minutes + row.airborne_minutes, row.block_minutes);
            prop_assert_eq!(row.powered_minutes, cut(row.power_on, row.power_off));
            if let (Some(off), Some(on)) = (times.off_blocks, times.on_blocks) {
                prop_assert_eq!(row.block_minutes, cut(off, on));
            }
            let airborne: u32 =
                times.take_offs.iter().zip(&times.landings).map(|(up, down)| cut(*up, *down)).sum();
            prop_assert_eq!(row.airborne_minutes, airborne);
            prop_assert_eq!(row.landings as usize, times.landings.len());
            prop_assert_eq!(row.time_corrections, 1 + u32::from(outing.corrected));
        }
        let corrections: u32 =
            story.state.runs.iter().filter(|run| run.closed.is_some())
                .map(|run| u32::try_from(run.corrections.len()).unwrap()).sum();
        prop_assert_eq!(hours.time_corrections, corrections);
    }

    #[test]
    fn totals_equal_the_sums_of_their_rows_whatever_else_happens(steps in steps(60)) {
        let mut story = Story::ladder();
        for step in steps {
            story.step(step);
        }
        totals_equal_the_sums_of_their_rows(&story.state);
    }
}
