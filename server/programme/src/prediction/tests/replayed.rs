//! What predictions of a past would have been worth.

use super::*;
use crate::nouns::Statistic;
use crate::story::typed;

/// Five runs that each warm by as much as the ones before, but for the last.
fn past() -> Story {
    let mut story = Story::team();
    story.predicting(prediction_rules()).plan(powered("W", 30.0)).air(15.0);
    // 30 kW · 1.2 K/kW · 0.950 213 over 15 °C.
    for winding in [49.2, 49.3, 49.1, 49.2, 75.0] {
        story.air(15.0);
        story.warmed("W", 1.2);
        let run = RunNumber(u32::try_from(story.state.runs.len()).unwrap());
        let point = std::sync::Arc::clone(&story.rung("W").point);
        let reached = point.conditions.iter().map(|(axis, it)| (*axis, it.target())).collect();
        story.result(
            run,
            "W",
            vec![typed("winding", Statistic::Max, winding, Unit::Celsius)],
            reached,
        );
    }
    story
}

#[test]
fn a_backtest_tells_coverage_and_bias_and_predicts_no_run_from_itself() {
    let story = past();
    for hindsight in [false, true] {
        let found = backtest(&story.entries, None, hindsight);
        let tally = &found.tallies[&winding()];
        assert_eq!((tally.made, tally.comparable, tally.inside), (4, 4, 3), "{hindsight}");
        assert_eq!(tally.coverage(), Some(0.75));
        // 0.092 4, −0.107 6, −0.007 6 and 25.792 4 K off 49.207 7 °C, on the mean.
        assert!((tally.bias.unwrap() - 6.442).abs() < 0.01, "{tally:?}");
        assert!(found.tried.iter().all(|it| !it.predicted.runs.contains(&it.run)));
    }
}

#[test]
fn other_rules_may_be_tried_on_a_past() {
    let mut story = past();
    story.record("safety", crate::record::PolicySet { policy: crate::story::policy() });
    let mut rules = prediction_rules();
    rules.model_error_percent = 100.0;
    let found = backtest(&story.entries, Some(&rules), false);
    assert_eq!(found.tallies[&winding()].inside, 4);
    assert_eq!(backtest(&[], None, true), Backtest::default());
}
