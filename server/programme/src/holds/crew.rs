//! Every seat that the plan names can be filled by a listed person who has the role and whose qualifications are good
//! now; one person fills one seat. No more are on board than plan and aircraft allow.

use chrono::{DateTime, Utc};

use super::words::{listed, moment};
use super::{Explained, Reason, Rule, Subject};
use crate::nouns::{CrewSeat, Person};
use crate::state::{Rung, State};

static NOT_FILLED: Rule = Rule::against_run(
    "crew-seat-not-filled",
    "There are enough people with the role and with qualifications that are good now, one for each seat.",
);
static TOO_MANY: Rule = Rule::against_release(
    "crew-too-many-on-board",
    "No more are planned on board than the plan allows and the aircraft has seats for.",
);
static SEATS_UNKNOWN: Rule = Rule::against_release(
    "crew-seats-unknown",
    "The aircraft is described, so that its seats are known, where somebody is on board.",
);

pub(super) static RULES: &[&Rule] = &[&NOT_FILLED, &TOO_MANY, &SEATS_UNKNOWN];

/// What is wrong with the crew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Crew {
    /// A seat that cannot be filled as often as it must be.
    NotFilled {
        /// The place of the seat in the plan.
        seat: usize,
        /// How often it can be.
        filled: u8,
        /// Looked at when.
        at: DateTime<Utc>,
    },
    /// More on board than allowed.
    TooMany {
        /// How many are planned.
        planned: u32,
        /// How many may be.
        most: u8,
    },
    /// Somebody is on board of an aircraft that nobody has described.
    SeatsUnknown,
}

/// Whether a person may fill a seat at a moment.
pub fn can_fill(person: &Person, seat: &CrewSeat, at: DateTime<Utc>) -> bool {
    person.roles.contains(&seat.role)
        && seat.qualifications.iter().all(|wanted| {
            person
                .qualifications
                .iter()
                .any(|held| held.code == *wanted && held.expires.is_none_or(|expires| at < expires))
        })
}

pub(super) fn collect(rung: &Rung, state: &State, now: DateTime<Utc>, found: &mut Vec<Reason>) {
    let seats = &rung.point.crew;
    for (seat, filled) in filled(seats, state, now).into_iter().enumerate() {
        if filled < seats[seat].count {
            found.push(Reason::Crew(Crew::NotFilled { seat, filled, at: now }));
        }
    }
    let on_board = seats.iter().filter(|seat| seat.on_board);
    let planned: u32 = on_board.map(|seat| u32::from(seat.count)).sum();
    if planned == 0 {
        return;
    }
    let most = rung.point.most_on_board;
    match &state.aircraft {
        None => found.push(Reason::Crew(Crew::SeatsUnknown)),
        Some(aircraft) => {
            let most = most.min(aircraft.seats);
            if planned > u32::from(most) {
                found.push(Reason::Crew(Crew::TooMany { planned, most }));
            }
        }
    }
}

/// How often each seat can be filled when nobody sits on two: a largest matching, earlier seats first.
fn filled(seats: &[CrewSeat], state: &State, now: DateTime<Utc>) -> Vec<u8> {
    let people: Vec<&Person> = state.people.values().collect();
    // The seat on which each person sits.
    let mut sits: Vec<Option<usize>> = vec![None; people.len()];
    let mut filled = vec![0; seats.len()];
    for seat in 0..seats.len() {
        while filled[seat] < seats[seat].count {
            let mut asked = vec![false; people.len()];
            if !seat_one(seat, seats, &people, now, &mut sits, &mut asked) {
                break;
            }
            filled[seat] += 1;
        }
    }
    filled
}

/// Seats one more person, asking those who sit elsewhere to move where they can.
fn seat_one(
    seat: usize,
    seats: &[CrewSeat],
    people: &[&Person],
    now: DateTime<Utc>,
    sits: &mut [Option<usize>],
    asked: &mut [bool],
) -> bool {
    for (place, person) in people.iter().enumerate() {
        if asked[place] || !can_fill(person, &seats[seat], now) {
            continue;
        }
        asked[place] = true;
        let free = match sits[place] {
            None => true,
            Some(other) => seat_one(other, seats, people, now, sits, asked),
        };
        if free {
            sits[place] = Some(seat);
            return true;
        }
    }
    false
}

/// What keeps each person of the role from the seat.
fn who_lacks_what(seat: &CrewSeat, state: &State, at: DateTime<Utc>) -> String {
    let of_role = || state.people.values().filter(|person| person.roles.contains(&seat.role));
    let mut lacks = Vec::new();
    for person in of_role() {
        for wanted in &seat.qualifications {
            let held = person.qualifications.iter().filter(|held| held.code == *wanted);
            // The one that lasts longest decides; one without end is never over.
            let best = held.map(|held| held.expires.unwrap_or(DateTime::<Utc>::MAX_UTC)).max();
            match best {
                None => lacks.push(format!("{} lacks {wanted}", person.name)),
                Some(expires) if expires <= at => {
                    lacks.push(format!("{}'s {wanted} lapsed at {}", person.name, moment(expires)));
                }
                Some(_) => {}
            }
        }
    }
    if of_role().next().is_none() {
        format!("nobody is listed as {}", seat.role.in_words())
    } else if lacks.is_empty() {
        "everybody else who could is needed on another seat, or there are too few".to_owned()
    } else {
        listed(lacks)
    }
}

impl Explained for Crew {
    fn rule(&self) -> &'static Rule {
        match self {
            Crew::NotFilled { .. } => &NOT_FILLED,
            Crew::TooMany { .. } => &TOO_MANY,
            Crew::SeatsUnknown => &SEATS_UNKNOWN,
        }
    }

    fn subject(&self, rung: &Rung) -> Subject {
        match self {
            Crew::NotFilled { seat, .. } => {
                let role = rung.point.crew.get(*seat).map_or("", |seat| seat.role.as_str());
                Subject::new("role", role)
            }
            Crew::TooMany { .. } => Subject::new("point", &rung.point.code),
            Crew::SeatsUnknown => Subject::new("programme", "aircraft"),
        }
    }

    fn why(&self, rung: &Rung, state: &State) -> String {
        match self {
            Crew::NotFilled { seat, filled, at } => {
                let Some(seat) = rung.point.crew.get(*seat) else { return String::new() };
                let qualified = if seat.qualifications.is_empty() {
                    String::new()
                } else {
                    format!(" with {}", listed(&seat.qualifications))
                };
                let (count, role) = (seat.count, seat.role.in_words());
                let why = who_lacks_what(seat, state, *at);
                format!("{count} {role}{qualified} needed, {filled} can be had: {why}.")
            }
            Crew::TooMany { planned, most } => {
                format!("{planned} are planned on board, and at most {most} may be.")
            }
            Crew::SeatsUnknown => {
                "The aircraft is not described, so nobody knows how many seats it has.".to_owned()
            }
        }
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        match self {
            Crew::NotFilled { seat, .. } => {
                let role = rung.point.crew.get(*seat).map_or("crew", |seat| seat.role.in_words());
                format!(
                    "Another {role} is listed, or what lapsed or is lacking is renewed and listed."
                )
            }
            Crew::TooMany { .. } => {
                format!("The plan of {} takes fewer people on board.", rung.point.code)
            }
            Crew::SeatsUnknown => "The test lead describes the aircraft.".to_owned(),
        }
    }

    fn source(&self, rung: &Rung, _: &State) -> String {
        match self {
            Crew::NotFilled { .. } | Crew::TooMany { .. } => {
                format!("the plan of {}", rung.point.code)
            }
            Crew::SeatsUnknown => "Rungbook rule: unknown is not safe".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use chrono::TimeDelta;

    use crate::holds::Stage;
    use crate::nouns::{CrewSeat, HeldQualification, Point, Role};
    use crate::record::PersonListed;
    use crate::story::{Story, code, person, point};

    fn seat(role: Role, count: u8) -> CrewSeat {
        CrewSeat { role, count, on_board: false, qualifications: Vec::new() }
    }

    fn needing(crew: Vec<CrewSeat>) -> Story {
        let mut story = Story::team();
        story.plan(Point { crew, ..point("B") }).approve("B");
        story
    }

    #[test]
    fn a_qualification_is_good_up_to_its_last_moment_and_who_lacks_it_is_named() {
        let mut story = Story::team();
        let expires = story.now + TimeDelta::hours(1);
        let mut pilot = person("pilot", Role::Pilot);
        pilot.qualifications =
            vec![HeldQualification { code: code("medical"), expires: Some(expires) }];
        story.record("lead", PersonListed { person: pilot });
        let mut second = person("second", Role::Pilot);
        second.qualifications.clear();
        story.record("lead", PersonListed { person: second });
        story.now = expires - TimeDelta::seconds(1);
        assert!(story.rules("A").is_empty());
        story.now = expires;
        assert_eq!(
            story.hold("A", "crew-seat-not-filled").why,
            "1 test pilot with medical needed, 0 can be had: pilot's medical lapsed at 2031-05-12 07:00 UTC and \
             second lacks medical."
        );
        assert!(story.rules_against("A", Stage::Release).is_empty());
    }

    #[test]
    fn a_role_that_nobody_has_is_not_filled() {
        let mut story = needing(vec![seat(Role::Crew, 1)]);
        assert!(story.rules("B").is_empty());
        let mut gone = person("crew", Role::Crew);
        gone.roles.clear();
        story.record("lead", PersonListed { person: gone });
        assert!(story.hold("B", "crew-seat-not-filled").why.ends_with("listed as ground crew."));
    }

    #[test]
    fn nobody_fills_two_seats_and_people_move_up_where_they_can() {
        let mut story = needing(vec![seat(Role::Crew, 1), seat(Role::Engineer, 1)]);
        // The only engineer left is also the only one of the crew.
        let mut both = person("engineer", Role::Engineer);
        both.roles.push(Role::Crew);
        story.record("lead", PersonListed { person: both });
        assert!(story.rules("B").is_empty(), "the engineer leaves the first seat to the crew");
        let mut gone = person("crew", Role::Crew);
        gone.roles.clear();
        story.record("lead", PersonListed { person: gone });
        assert_eq!(story.hold("B", "crew-seat-not-filled").subject.code, "engineer");
    }

    #[test]
    fn no_more_are_on_board_than_the_plan_and_the_seats_allow() {
        let on_board = |count| CrewSeat { on_board: true, ..seat(Role::Pilot, count) };
        for (count, most, held) in [(2, 2, false), (2, 1, true), (3, 3, true)] {
            let mut story = Story::team();
            for name in ["p2", "p3"] {
                story.record("lead", PersonListed { person: person(name, Role::Pilot) });
            }
            let crew = vec![on_board(count)];
            story.plan(Point { crew, most_on_board: most, ..point("B") }).approve("B");
            let rules = story.rules_against("B", Stage::Release);
            assert_eq!(rules.contains(&"crew-too-many-on-board"), held, "{count} {most}");
        }
    }

    #[test]
    fn the_seats_of_an_aircraft_that_nobody_described_are_unknown() {
        let mut story = Story::empty();
        story.plan(point("A"));
        assert!(story.rules("A").contains(&"crew-seats-unknown"));
    }
}
