//! Several recordings of one run.

use programme::nouns::Statistic;

use super::*;

fn winding(dwell_s: f64) -> State {
    let limit = Limit { dwell_s, ..limit("t", Unit::Celsius, maximum(120.0)) };
    state(&[channel("t", Unit::Celsius, None)], vec![limit])
}

fn file(which: u8, recorder: &str, from_s: f64, values: &[f64]) -> RunRecording<Sheet> {
    recording(which, recorder, from_s, &[("t", Unit::Celsius, values)])
}

#[test]
fn what_goes_on_into_the_next_file_is_told_of_each_with_the_peak_of_its_part() {
    let state = winding(2.0);
    let files = [
        file(1, "r", 0.0, &[100.0, 100.0, 121.0, 122.0]),
        file(2, "r", 4.0, &[125.0, 100.0, 100.0]),
    ];
    // Two seconds in the first file alone are not longer than the dwell.
    assert!(judgement(&state, &files[..1], 1).found.is_empty());
    let first = judgement(&state, &files, 1).found;
    let second = judgement(&state, &files, 2).found;
    let told = |found: &[FoundExceedance]| {
        let [found] = found else { panic!("{found:?}") };
        (found.started_at.timestamp(), found.peak_at.timestamp(), found.peak, found.duration_s)
    };
    assert_eq!(told(&first), (2, 3, 122.0, 3.0));
    assert_eq!(told(&second), (4, 4, 125.0, 1.0));
}

#[test]
fn time_in_use_goes_on_from_file_to_file_whichever_is_attached_last() {
    let kind = LimitKind::TimeAbove { threshold: 105.0, caution_s: None, limit_s: 5.0 };
    let limit = limit("t", Unit::Celsius, kind);
    let state = state(&[channel("t", Unit::Celsius, None)], vec![limit]);
    let files = [file(1, "r", 0.0, &[110.0; 4]), file(2, "r", 4.0, &[110.0, 110.0, 100.0])];
    assert!(judgement(&state, &files[..1], 1).found.is_empty());
    assert!(judgement(&state, &files[1..], 2).found.is_empty());
    for which in [1, 2] {
        let found = judgement(&state, &files, which).found;
        assert_eq!((found[0].statistic, found[0].peak), (Statistic::TimeAbove, 6.0));
    }
}

#[test]
fn two_recorders_with_one_channel_are_each_judged() {
    let state = winding(0.0);
    let files = [file(1, "a", 0.0, &[100.0; 4]), file(2, "b", 0.0, &[100.0, 130.0, 100.0])];
    let judged = judgement(&state, &files, 1);
    assert!(judged.found.is_empty(), "the other recording shows it");
    assert_eq!(judged.limits[0].outcome, LimitOutcome::Exceeded);
    assert_eq!(judged.limits[0].exceedances[0].recording, digest(2));
    assert_eq!(judgement(&state, &files, 2).found.len(), 1);
}

#[test]
fn a_spread_over_two_recorders_is_taken_on_one_clock_and_told_by_the_recorders_own() {
    let with = vec![ChannelCode::new("b").unwrap()];
    let spread = limit("a", Unit::Celsius, LimitKind::Spread { with, caution: None, limit: 9.0 });
    let channels = [channel("a", Unit::Celsius, None), channel("b", Unit::Celsius, None)];
    let state = state(&channels, vec![spread]);
    let rising = [20.0, 30.0, 40.0, 50.0, 60.0];
    let one = recording(1, "a", 0.0, &[("a", Unit::Celsius, &rising)]);
    let mut other = recording(2, "b", 100.0, &[("b", Unit::Celsius, &rising)]);
    other.facts.ahead_s = 100.0;
    let mut files = [one, other];
    assert!(judgement(&state, &files, 2).found.is_empty(), "they agree on one clock");
    files[1].facts.ahead_s = 99.0;
    let found = judgement(&state, &files, 2).found;
    assert_eq!(found[0].peak, 10.0);
    assert!(found[0].started_at.timestamp() >= 100, "by the recorder's own clock");
    let alone = judgement(&state, &files[1..], 2);
    assert_eq!(alone.limits[0].outcome, LimitOutcome::Missing);
    assert_eq!(alone.limits[0].missing, ["a"]);
}

#[test]
fn readings_of_another_run_are_not_this_runs() {
    let state = winding(0.0);
    let files = [file(1, "r", 0.0, &[130.0, 100.0, 100.0, 130.0])];
    let mut part = question(&state);
    part.stretch = Stretch { from: s(1.0), to: s(2.0) };
    let judged = judge(&part, &files, &digest(1)).unwrap();
    assert!(judged.found.is_empty());
    part.stretch.to = s(3.0);
    let judged = judge(&part, &files, &digest(1)).unwrap();
    assert_eq!(judged.found.len(), 1);
}

#[test]
fn what_is_beyond_a_limit_is_of_the_point_that_was_flown_then_where_that_is_one() {
    let state = state(
        &[channel("t", Unit::Celsius, None)],
        vec![limit("t", Unit::Celsius, maximum(100.0))],
    );
    // Beyond from second 20 to 29.
    let values: Vec<f64> =
        (0..60).map(|row| if (20..30).contains(&row) { 110.0 } else { 90.0 }).collect();
    let files = [recording(1, "r", 0.0, &[("t", Unit::Celsius, &values)])];
    let flown = |point: &str, from: f64, to: f64| Flown {
        point: PointCode::new(point).unwrap(),
        from: s(from),
        to: s(to),
    };
    let point = |flown: Vec<Flown>| {
        let found =
            judge(&Question { flown, ..question(&state) }, &files, &digest(1)).unwrap().found;
        assert_eq!(found.len(), 1);
        found[0].point.as_ref().map(|it| it.as_str().to_owned())
    };
    assert_eq!(point(Vec::new()), None);
    assert_eq!(point(vec![flown("A", 0.0, 25.0), flown("B", 40.0, 50.0)]).as_deref(), Some("A"));
    assert_eq!(point(vec![flown("A", 0.0, 15.0), flown("A", 25.0, 26.0)]).as_deref(), Some("A"));
    assert_eq!(point(vec![flown("A", 0.0, 25.0), flown("B", 26.0, 50.0)]), None, "two points");
    assert_eq!(point(vec![flown("B", 40.0, 50.0)]), None);
}
