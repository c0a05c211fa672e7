//! Who sits where, and which of the points that could be planned are looked at.

use super::answer::{NotReached, PlannedSeat};
use super::candidates::{LeftOut, Open};
use super::search::MOST_CANDIDATES;
use super::terms::DayTerms;
use crate::codes::PointCode;
use crate::holds::can_fill;
use crate::nouns::{CrewSeat, Person};
use crate::state::State;

/// A candidate with who sits where.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Seated {
    pub open: Open,
    pub seats: Vec<PlannedSeat>,
}

pub(super) fn seat_all(
    opened: Vec<Open>,
    state: &State,
    terms: &DayTerms,
    left_out: &mut Vec<LeftOut>,
) -> Vec<Seated> {
    let mut seated = Vec::new();
    for open in opened {
        match seats(&open.point.crew, state, terms) {
            Ok(seats) => seated.push(Seated { open, seats }),
            Err(because) => {
                let point = open.point.code.clone();
                left_out.push(LeftOut { point, because: vec![because] });
            }
        }
    }
    // What waits for a point that nobody can be seated for cannot be planned either.
    loop {
        let codes: Vec<PointCode> = seated.iter().map(code_of).cloned().collect();
        let Some(place) =
            seated.iter().position(|it| it.open.after.iter().any(|code| !codes.contains(code)))
        else {
            return seated;
        };
        let gone = seated.remove(place);
        let why = "A point that must come before cannot be planned for the day.".to_owned();
        left_out.push(LeftOut { point: code_of(&gone).clone(), because: vec![why] });
    }
}

pub(super) fn code_of(seated: &Seated) -> &PointCode {
    &seated.open.point.code
}

/// One person of the day for each seat, earlier ones of the crew first; somebody who sits elsewhere moves where they can.
fn seats(wanted: &[CrewSeat], state: &State, terms: &DayTerms) -> Result<Vec<PlannedSeat>, String> {
    let places: Vec<&CrewSeat> =
        wanted.iter().flat_map(|seat| std::iter::repeat_n(seat, usize::from(seat.count))).collect();
    let people: Vec<Option<&Person>> =
        terms.crew.iter().map(|member| state.people.get(&member.person)).collect();
    let can = |person: usize, place: usize| {
        people[person].is_some_and(|person| {
            can_fill(person, places[place], terms.from) && can_fill(person, places[place], terms.to)
        })
    };
    fn sit(
        place: usize,
        can: &impl Fn(usize, usize) -> bool,
        sits: &mut [Option<usize>],
        asked: &mut [bool],
    ) -> bool {
        for person in 0..sits.len() {
            if asked[person] || !can(person, place) {
                continue;
            }
            asked[person] = true;
            if sits[person].is_none_or(|other| sit(other, can, sits, asked)) {
                sits[person] = Some(place);
                return true;
            }
        }
        false
    }
    let mut sits = vec![None; people.len()];
    for (place, seat) in places.iter().enumerate() {
        let mut asked = vec![false; people.len()];
        if !sit(place, &can, &mut sits, &mut asked) {
            let role = seat.role.in_words();
            return Err(format!(
                "The crew of the day has not enough people for it: a {role} with the qualifications of the plan is missing."
            ));
        }
    }
    let mut seats: Vec<(usize, PlannedSeat)> = sits
        .iter()
        .enumerate()
        .filter_map(|(person, place)| {
            let place = (*place)?;
            let seat = places.get(place)?;
            let person = terms.crew[person].person.clone();
            Some((place, PlannedSeat { person, role: seat.role, on_board: seat.on_board }))
        })
        .collect();
    seats.sort_by_key(|(place, _)| *place);
    Ok(seats.into_iter().map(|(_, seat)| seat).collect())
}

/// So many candidates as are looked at, those that are worth most.
pub(super) fn most_valuable(
    mut seated: Vec<Seated>,
    value: &impl Fn(&PointCode) -> f64,
    not_reached: &mut Vec<NotReached>,
) -> Vec<Seated> {
    let beyond = "More points could be planned than are looked at for one day; give it a priority.";
    let mut let_go = |gone: Seated, because: &str| {
        not_reached.push(NotReached { point: code_of(&gone).clone(), because: because.to_owned() });
    };
    while seated.len() > MOST_CANDIDATES {
        let least = seated
            .iter()
            .enumerate()
            .min_by(|(_, left), (_, right)| value(code_of(left)).total_cmp(&value(code_of(right))))
            .map(|(place, _)| place);
        let Some(place) = least else { break };
        let gone = seated.remove(place);
        let code = code_of(&gone).clone();
        let_go(gone, beyond);
        // Never a point without what must come before it.
        while let Some(place) = seated.iter().position(|it| it.open.after.contains(&code)) {
            let gone = seated.remove(place);
            let_go(gone, beyond);
        }
    }
    seated
}
