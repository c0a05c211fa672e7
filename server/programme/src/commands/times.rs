//! Whether the times of a run can have been so.

use crate::record::{RunEvent, RunTimes};
use crate::refusal::Fault;

/// Everything in the times that cannot have been: moments out of order, landings without a take-off.
///
/// Power can be switched off in the air, so power off need only come after power on.
pub(super) fn disorder(times: &RunTimes) -> Vec<Fault> {
    let mut faults = Vec::new();
    let mut fault = |field: String, why: String| faults.push(Fault::at(field, why));
    let RunTimes { power_on, off_blocks, take_offs, landings, on_blocks, power_off } = times;
    let after = [
        ("off_blocks", off_blocks, power_on, RunEvent::PowerOn),
        ("on_blocks", on_blocks, off_blocks, RunEvent::OffBlocks),
        ("power_off", power_off, power_on, RunEvent::PowerOn),
    ];
    for (field, later, earlier, what) in after {
        if let (Some(later), Some(earlier)) = (later, earlier)
            && later < earlier
        {
            fault(field.to_owned(), format!("is before {}", what.in_words()));
        }
    }
    for (field, later, earlier, what) in [after[1], after[2]] {
        if later.is_some() && earlier.is_none() {
            fault(field.to_owned(), format!("needs the moment of {} before it", what.in_words()));
        }
    }
    if !take_offs.is_empty() && off_blocks.is_none() {
        fault("take_offs".to_owned(), "need the moment of off blocks before them".to_owned());
    }
    if landings.len() > take_offs.len() {
        let place = take_offs.len();
        fault(format!("landings[{place}]"), "needs a take-off before it".to_owned());
    }
    if take_offs.len() > landings.len() + 1 {
        let place = landings.len() + 1;
        fault(format!("take_offs[{place}]"), "needs a landing before it".to_owned());
    }
    let mut last = *off_blocks;
    for place in 0..take_offs.len().max(landings.len()) {
        for (name, moment) in
            [("take_offs", take_offs.get(place)), ("landings", landings.get(place))]
        {
            if let Some(moment) = moment {
                if last.is_some_and(|last| *moment < last) {
                    let why = "is before what comes before it: take-offs and landings take turns";
                    fault(format!("{name}[{place}]"), why.to_owned());
                }
                last = Some(*moment);
            }
        }
    }
    if let Some(on_blocks) = on_blocks {
        if take_offs.len() > landings.len() {
            fault("on_blocks".to_owned(), "needs the landing before it".to_owned());
        } else if landings.last().is_some_and(|landing| on_blocks < landing) {
            fault("on_blocks".to_owned(), "is before the last landing".to_owned());
        }
    }
    faults
}

/// Everything that must still have happened before a run is over.
pub(super) fn unfinished(times: &RunTimes) -> Vec<Fault> {
    let mut faults = Vec::new();
    if times.power_on.is_some() && times.power_off.is_none() {
        faults.push(Fault::at("power_off", "power was switched on, and nobody noted power off"));
    }
    if times.take_offs.len() > times.landings.len() {
        faults.push(Fault::at("landings", "a take-off has no landing"));
    }
    faults
}

/// Whether a moment that comes once in a run was noted.
pub(super) fn has(times: &RunTimes, event: RunEvent) -> bool {
    match event {
        RunEvent::PowerOn => times.power_on.is_some(),
        RunEvent::OffBlocks => times.off_blocks.is_some(),
        RunEvent::OnBlocks => times.on_blocks.is_some(),
        RunEvent::PowerOff => times.power_off.is_some(),
        RunEvent::TakeOff | RunEvent::Landing => false,
    }
}

#[cfg(test)]
mod tests {
    use chrono::{DateTime, TimeDelta, Utc};

    use super::*;
    use crate::story::morning;

    fn at(minutes: i64) -> DateTime<Utc> {
        morning() + TimeDelta::minutes(minutes)
    }

    fn flight() -> RunTimes {
        RunTimes {
            power_on: Some(at(0)),
            off_blocks: Some(at(2)),
            take_offs: vec![at(5), at(15)],
            landings: vec![at(15), at(25)],
            on_blocks: Some(at(30)),
            power_off: Some(at(31)),
        }
    }

    fn places(change: impl FnOnce(&mut RunTimes)) -> Vec<String> {
        let mut times = flight();
        change(&mut times);
        disorder(&times).into_iter().map(|fault| fault.field).collect()
    }

    #[test]
    fn a_touch_and_go_lands_and_takes_off_at_one_moment() {
        assert!(disorder(&flight()).is_empty());
        assert!(unfinished(&flight()).is_empty());
    }

    #[test]
    fn power_may_be_switched_off_in_the_air() {
        assert!(places(|times| times.power_off = Some(at(20))).is_empty());
    }

    #[test]
    fn what_cannot_have_been_is_told_with_its_place() {
        assert_eq!(places(|times| times.off_blocks = Some(at(-1))), ["off_blocks"]);
        assert_eq!(places(|times| times.power_off = Some(at(-1))), ["power_off"]);
        assert_eq!(places(|times| times.power_on = None), ["power_off"]);
        assert_eq!(places(|times| times.off_blocks = None), ["on_blocks", "take_offs"]);
        assert_eq!(places(|times| times.on_blocks = Some(at(24))), ["on_blocks"]);
        assert_eq!(places(|times| times.take_offs[1] = at(14)), ["take_offs[1]"]);
        assert_eq!(places(|times| times.take_offs.truncate(1)), ["landings[1]"]);
        assert_eq!(
            places(|times| times.landings.clear()),
            ["take_offs[1]", "on_blocks"],
            "two take-offs without a landing between them"
        );
    }

    #[test]
    fn a_run_is_over_when_power_is_off_and_everything_is_down() {
        let mut times = flight();
        times.power_off = None;
        times.landings.pop();
        let missing: Vec<_> = unfinished(&times).into_iter().map(|fault| fault.field).collect();
        assert_eq!(missing, ["power_off", "landings"]);
        assert!(unfinished(&RunTimes::default()).is_empty(), "a run that never was under power");
    }
}
