//! Closed runs that are not counted: which moments are missing, or cannot have been as noted.

use serde::Serialize;

use crate::codes::RunNumber;
use crate::nouns::Phase;
use crate::record::{RunEvent, RunKind, RunTimes};
use crate::state::Run;

/// A closed run that is not counted.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct IncompleteRun {
    /// Which run.
    pub run: RunNumber,
    /// Ground run, taxi run or flight.
    pub kind: RunKind,
    /// The phase of its points.
    pub phase: Phase,
    /// The moments that are missing, in the order in which they come.
    pub missing: Vec<RunEvent>,
    /// The moments that are noted before something that must come before them.
    pub out_of_order: Vec<RunEvent>,
    /// Why it is not counted and what to do, in a sentence or two.
    pub why: String,
    /// How often its times were corrected.
    pub time_corrections: u32,
}

impl IncompleteRun {
    pub(super) fn of(run: &Run) -> Self {
        let missing = missing(run);
        let out_of_order = out_of_order(&run.times);
        let mut whys = Vec::new();
        if !missing.is_empty() {
            whys.push(format!("nobody noted {}", in_words(&missing)));
        }
        if !out_of_order.is_empty() {
            whys.push(format!(
                "{} cannot have been before what comes before",
                in_words(&out_of_order)
            ));
        }
        Self {
            run: run.number,
            kind: run.what,
            phase: run.phase,
            why: format!(
                "Run {} is not counted: {}. Correct the times of the run, if they are known.",
                run.number,
                whys.join("; ")
            ),
            missing,
            out_of_order,
            time_corrections: super::count(&run.corrections),
        }
    }
}

fn in_words(events: &[RunEvent]) -> String {
    let words: Vec<_> = events.iter().map(|event| event.in_words()).collect();
    words.join(", ")
}

/// The moments that a closed run of its kind must have, and that nobody noted.
pub(super) fn missing(run: &Run) -> Vec<RunEvent> {
    let times = &run.times;
    // Who stops early need not have moved, or left the ground.
    let went_all_the_way = run.knocked_off.is_none();
    let moved = times.off_blocks.is_some()
        || times.on_blocks.is_some()
        || !times.take_offs.is_empty()
        || !times.landings.is_empty();
    let must_move = moved || (went_all_the_way && run.what != RunKind::GroundRun);
    let must_fly = went_all_the_way && run.what == RunKind::Flight;
    let take_offs = times.take_offs.len();
    let landings = times.landings.len();
    let needs = [
        (RunEvent::PowerOn, times.power_on.is_none()),
        (RunEvent::OffBlocks, must_move && times.off_blocks.is_none()),
        (RunEvent::TakeOff, take_offs < landings || (must_fly && take_offs == 0)),
        (RunEvent::Landing, landings < take_offs || (must_fly && landings == 0)),
        (RunEvent::OnBlocks, must_move && times.on_blocks.is_none()),
        (RunEvent::PowerOff, times.power_off.is_none()),
    ];
    needs.into_iter().filter(|(_, is_missing)| *is_missing).map(|(event, _)| event).collect()
}

/// The moments that come before something that must be before them; moments that are missing say nothing here.
///
/// Nobody can note such times, and minutes are never counted from them whatever the ledger says.
pub(super) fn out_of_order(times: &RunTimes) -> Vec<RunEvent> {
    let mut found = Vec::new();
    let mut in_turn = Vec::new();
    in_turn.extend(times.off_blocks.map(|at| (RunEvent::OffBlocks, at)));
    for place in 0..times.take_offs.len().max(times.landings.len()) {
        in_turn.extend(times.take_offs.get(place).map(|at| (RunEvent::TakeOff, *at)));
        in_turn.extend(times.landings.get(place).map(|at| (RunEvent::Landing, *at)));
    }
    in_turn.extend(times.on_blocks.map(|at| (RunEvent::OnBlocks, at)));
    for pair in in_turn.windows(2) {
        if pair[1].1 < pair[0].1 && !found.contains(&pair[1].0) {
            found.push(pair[1].0);
        }
    }
    for (event, later) in
        [(RunEvent::OffBlocks, times.off_blocks), (RunEvent::PowerOff, times.power_off)]
    {
        if let (Some(later), Some(power_on)) = (later, times.power_on)
            && later < power_on
            && !found.contains(&event)
        {
            found.push(event);
        }
    }
    found.sort_unstable();
    found
}
