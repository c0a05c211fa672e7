//! Whether the people of a run fit the seats that its points name.
//!
//! Holds look at who is listed; this looks at who is really there.

use chrono::{DateTime, Utc};

use crate::codes::QualificationCode;
use crate::holds::{Hold, Stage, Subject};
use crate::nouns::{CrewSeat, Person, Point, Role};
use crate::record::CrewMember;
use crate::refusal::Fault;
use crate::state::{Rung, State};

/// What is wrong with a crew whatever it runs: strangers, people named twice, roles that people do not have.
pub(super) fn faults(crew: &[CrewMember], state: &State) -> Vec<Fault> {
    let mut faults = Vec::new();
    if crew.is_empty() {
        faults.push(Fault::at("crew", "must name at least one person"));
    }
    for (place, member) in crew.iter().enumerate() {
        let mut fault =
            |field: &str, why| faults.push(Fault::at(format!("crew[{place}].{field}"), why));
        let CrewMember { person, role, .. } = member;
        if crew[..place].iter().any(|earlier| earlier.person == *person) {
            fault("person", format!("{person} is named twice"));
        }
        match state.people.get(person) {
            None => fault("person", format!("there is no {person} in this programme")),
            Some(_) if *role == Role::Viewer => {
                fault("role", "an inspector reads everything and is no crew".to_owned());
            }
            Some(listed) if !listed.roles.contains(role) => {
                fault("role", format!("{person} is not listed as {}", role.in_words()));
            }
            Some(_) => {}
        }
    }
    faults
}

/// Everything that keeps a crew from running a point.
pub(super) fn against(
    crew: &[CrewMember],
    rung: &Rung,
    state: &State,
    now: DateTime<Utc>,
) -> Vec<Hold> {
    let point = &rung.point;
    let mut holds = seats_not_filled(crew, point, state, now);
    let on_board = crew.iter().filter(|member| member.on_board).count();
    if on_board > usize::from(point.most_on_board) {
        holds.push(hold(
            "crew-too-many-on-board",
            Subject { what: "point", code: point.code.to_string() },
            format!(
                "{on_board} are on board, and {} allows {} at most.",
                point.code, point.most_on_board
            ),
            "Fewer come on board.",
            format!("the plan of {}", point.code),
        ));
    }
    let seats = state.aircraft.as_ref().map(|aircraft| aircraft.seats);
    if on_board > 0 && seats.is_none_or(|seats| on_board > usize::from(seats)) {
        let why = seats.map_or_else(
            || "Nobody has described the aircraft, so its seats are unknown.".to_owned(),
            |seats| format!("{on_board} are on board, and the aircraft has seats for {seats}."),
        );
        holds.push(hold(
            "crew-more-than-seats",
            Subject { what: "programme", code: "aircraft".to_owned() },
            why,
            "The aircraft is described as it is, or fewer come on board.",
            "the aircraft's seats".to_owned(),
        ));
    }
    holds.extend(acknowledged_by_another(crew, rung));
    holds
}

/// Where pilots are in the crew, one of them must be the one who acknowledged the card.
fn acknowledged_by_another(crew: &[CrewMember], rung: &Rung) -> Option<Hold> {
    let acknowledged = rung.acknowledgement.as_ref()?;
    let mut pilots = crew.iter().filter(|member| member.role == Role::Pilot).peekable();
    pilots.peek()?;
    if pilots.any(|pilot| pilot.person == acknowledged.by) {
        return None;
    }
    let (code, by) = (&rung.point.code, &acknowledged.by);
    Some(hold(
        "acknowledged-by-another",
        Subject { what: "point", code: code.to_string() },
        format!("{by} acknowledged the card of {code} and is no pilot of this run."),
        "A pilot of the run reads the card and acknowledges it.",
        "Rungbook rule: who flies the card has acknowledged it".to_owned(),
    ))
}

fn hold(rule: &'static str, subject: Subject, why: String, clears: &str, source: String) -> Hold {
    Hold { rule, subject, why, clears: clears.to_owned(), source, stage: Stage::Run }
}

/// A seat for each person that the plan asks for.
fn single_seats(point: &Point) -> Vec<&CrewSeat> {
    point.crew.iter().flat_map(|seat| std::iter::repeat_n(seat, usize::from(seat.count))).collect()
}

fn seats_not_filled(
    crew: &[CrewMember],
    point: &Point,
    state: &State,
    now: DateTime<Utc>,
) -> Vec<Hold> {
    let seats = single_seats(point);
    let fits = |member: usize, seat: usize| {
        let (member, seat) = (&crew[member], seats[seat]);
        sits_there(member, seat) && lacking(member, seat, state, now).is_empty()
    };
    let mut sits: Vec<Option<usize>> = vec![None; crew.len()];
    let mut holds = Vec::new();
    for (place, seat) in seats.iter().enumerate() {
        let mut asked = vec![false; crew.len()];
        if seat_one(place, &fits, &mut sits, &mut asked) {
            continue;
        }
        let where_to = if seat.on_board { "on board" } else { "on the ground" };
        let role = seat.role.in_words();
        let there: Vec<_> = crew.iter().filter(|member| sits_there(member, seat)).collect();
        let lacks: Vec<String> =
            there.iter().flat_map(|member| lacking(member, seat, state, now)).collect();
        let why = if lacks.is_empty() {
            "there are too few in the crew".to_owned()
        } else {
            lacks.join("; ")
        };
        holds.push(hold(
            "crew-seat-empty",
            Subject { what: "role", code: seat.role.as_str().to_owned() },
            format!("{} has no {role} {where_to}: {why}.", point.code),
            "Somebody with the role and the qualifications joins the crew.",
            format!("the plan of {}", point.code),
        ));
    }
    holds.dedup();
    holds
}

/// Finds a person for one more seat, asking those who sit elsewhere to move where they can.
fn seat_one(
    seat: usize,
    fits: &impl Fn(usize, usize) -> bool,
    sits: &mut [Option<usize>],
    asked: &mut [bool],
) -> bool {
    for member in 0..sits.len() {
        if asked[member] || !fits(member, seat) {
            continue;
        }
        asked[member] = true;
        if sits[member].is_none_or(|other| seat_one(other, fits, sits, asked)) {
            sits[member] = Some(seat);
            return true;
        }
    }
    false
}

fn sits_there(member: &CrewMember, seat: &CrewSeat) -> bool {
    member.role == seat.role && member.on_board == seat.on_board
}

/// The qualifications of a seat that a person lacks, or that have lapsed, in words.
fn lacking(member: &CrewMember, seat: &CrewSeat, state: &State, now: DateTime<Utc>) -> Vec<String> {
    let listed = state.people.get(&member.person);
    let lacks = |wanted: &QualificationCode| {
        let held = listed.and_then(|listed| longest(listed, wanted));
        match held {
            None => Some(format!("{} lacks {wanted}", member.person)),
            Some(Some(expires)) if expires <= now => Some(format!(
                "{wanted} of {} lapsed at {}",
                member.person,
                expires.format("%Y-%m-%d %H:%M UTC")
            )),
            Some(_) => None,
        }
    };
    seat.qualifications.iter().filter_map(lacks).collect()
}

/// Until when a person holds a qualification: the longest of what is listed; `Some(None)` is without end.
fn longest(person: &Person, wanted: &QualificationCode) -> Option<Option<DateTime<Utc>>> {
    let held = person.qualifications.iter().filter(|held| held.code == *wanted);
    held.map(|held| held.expires).max_by_key(|expires| expires.unwrap_or(DateTime::<Utc>::MAX_UTC))
}
