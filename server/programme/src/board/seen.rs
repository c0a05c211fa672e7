//! What was read of the ladder within one second, so that a point that many look at is looked at once.

use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, SubsecRound, TimeDelta, Utc};

use crate::holds::Reason;

/// The reasons that were read in one second after one record.
#[derive(Debug, Default)]
pub(super) struct Seen(Mutex<Second>);

#[derive(Debug, Default)]
struct Second {
    /// After which record, and the whole second.
    of: Option<(u64, DateTime<Utc>)>,
    /// By place in the ladder.
    points: Vec<Point>,
}

/// What was read of a point.
#[derive(Debug, Clone, Default)]
enum Point {
    #[default]
    Nothing,
    /// It was read once, which is not worth keeping: the next look costs twice as much.
    Once,
    /// The reasons are these from this moment up to, not including, the end of the second.
    From(DateTime<Utc>, Arc<[Reason]>),
}

impl Seen {
    /// The reasons that hold a point at a moment, as they were read in the same second, or else as `look` finds them; and
    /// whether it is known that they last up to the end of the second.
    ///
    /// Time alone can begin or clear a reason (a check runs out, weather becomes too old), but each once at most between
    /// two records. So where the reasons say the same now and at the end of the second, they do so all the while.
    pub fn reasons(
        &self,
        place: usize,
        length: u64,
        now: DateTime<Utc>,
        look: impl Fn(DateTime<Utc>) -> Vec<Reason>,
        say_the_same: impl Fn(&Reason, &Reason) -> bool,
    ) -> (Arc<[Reason]>, bool) {
        let second = now.trunc_subsecs(0);
        let asked_before = match self.point(place, (length, second)) {
            Point::From(from, reasons) if from <= now => return (reasons, true),
            Point::Nothing => false,
            Point::Once | Point::From(..) => true,
        };
        let reasons: Arc<[Reason]> = look(now).into();
        let lasts = asked_before && {
            let later = look(second + TimeDelta::seconds(1));
            reasons.len() == later.len()
                && reasons.iter().zip(&later).all(|(now, then)| say_the_same(now, then))
        };
        let point = if lasts { Point::From(now, Arc::clone(&reasons)) } else { Point::Once };
        self.note(place, (length, second), point);
        (reasons, lasts)
    }

    fn point(&self, place: usize, of: (u64, DateTime<Utc>)) -> Point {
        let seen = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let points = if seen.of == Some(of) { &seen.points[..] } else { &[] };
        points.get(place).cloned().unwrap_or_default()
    }

    fn note(&self, place: usize, of: (u64, DateTime<Utc>), point: Point) {
        let mut seen = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if seen.of != Some(of) {
            *seen = Second { of: Some(of), points: Vec::new() };
        }
        if seen.points.len() <= place {
            seen.points.resize(place + 1, Point::Nothing);
        }
        seen.points[place] = point;
    }
}
