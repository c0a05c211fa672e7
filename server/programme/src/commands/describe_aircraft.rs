//! Describes the aircraft, or describes it anew.

use super::given::{Given, at_revision, changes, one};
use super::{Command, Stamp};
use crate::entry::Draft;
use crate::nouns::Aircraft;
use crate::people::Act;
use crate::record::AircraftDescribed;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// Asks for the aircraft to be described.
#[derive(Debug, Clone)]
pub struct DescribeAircraft {
    /// The aircraft as it is.
    pub aircraft: Aircraft,
    /// The revision that the person saw; 0: nobody had described it.
    pub expected: Option<u64>,
}

impl Command for DescribeAircraft {
    fn act(&self) -> Act {
        Act::DescribeAircraft
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { aircraft, expected } = self;
        at_revision(state, &Amendable::Aircraft, *expected)?;
        let too_many = points_with_more_on_board(state, aircraft.seats);
        Given::new(state, stamp)
            .faults(aircraft.faults(""))
            .must(
                too_many.is_empty(),
                "seats",
                format!(
                    "{} plan more people on board than {} seats: change their plans first",
                    too_many.join(", "),
                    aircraft.seats
                ),
            )
            .settled()?;
        changes(state.aircraft.as_ref() != Some(aircraft), "the aircraft")?;
        Ok(one(AircraftDescribed { aircraft: aircraft.clone() }))
    }
}

fn points_with_more_on_board(state: &State, seats: u8) -> Vec<&str> {
    let standing = state.ladder.rungs().iter().filter(|rung| rung.dropped.is_none());
    let planned = standing.map(|rung| &rung.point);
    planned.filter(|it| it.most_on_board > seats).map(|it| it.code.as_str()).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale};
    use crate::measure::{Measure, Unit};
    use crate::nouns::Point;
    use crate::story::{Story, point};

    fn description(story: &Story) -> DescribeAircraft {
        let aircraft = story.state.aircraft.clone().unwrap();
        DescribeAircraft { aircraft, expected: None }
    }

    #[test]
    fn the_lead_describes_the_aircraft_and_others_do_not() {
        let mut story = Story::team();
        let mut command = description(&story);
        assert_eq!(not_now(story.when("lead", &command)), "nothing-changes");
        command.aircraft.never_exceed_speed = Some(Measure::new(120.0, Unit::Knot));
        story.when("lead", &command).unwrap();
        assert_eq!(story.state.aircraft, Some(command.aircraft.clone()));
        let others = ["pilot", "safety", "engineer", "crew", "viewer"];
        no_permission(&mut story, &command, &others);
    }

    #[test]
    fn an_aircraft_keeps_the_seats_that_points_plan_with() {
        let mut story = Story::team();
        story.plan(Point { most_on_board: 2, ..point("B") });
        let mut command = description(&story);
        command.aircraft.seats = 1;
        command.aircraft.name = String::new();
        let Err(Refusal::Invalid { faults: told }) = story.when("lead", &command) else {
            unreachable!("B takes two along")
        };
        assert!(told.iter().any(|fault| fault.why.starts_with("B plan more")), "{told:?}");
        assert_eq!(told.len(), 2);
        story.drop_point("B");
        assert_eq!(faults(story.when("lead", &command)), ["name"]);
    }

    #[test]
    fn a_description_that_somebody_changed_since_it_was_read_is_not_overwritten() {
        let mut story = Story::team();
        let present = story.state.revision(&Amendable::Aircraft);
        let command = DescribeAircraft { expected: Some(1), ..description(&story) };
        assert_eq!(stale(story.when("lead", &command)), (present, 1));
    }
}
