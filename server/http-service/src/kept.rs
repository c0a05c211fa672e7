//! What was made and still holds: after the same record, in the same second.

use std::collections::HashMap;
use std::hash::Hash;

use chrono::{DateTime, SubsecRound, TimeDelta, Utc};
use parking_lot::RwLock;
use programme::codes::{PersonHandle, PointCode, ProgrammeId};
use programme::holds::{self, Hold};
use programme::state::{Rung, State};

use crate::desk::Shown;
use crate::problem::Problem;

/// What was put together for somebody, kept for those who ask for the same within a second.
#[derive(Debug)]
pub(crate) struct Kept<K, T> {
    made: RwLock<HashMap<K, Made<T>>>,
    /// So much is kept at most.
    most: usize,
}

/// Something that was made.
#[derive(Debug, Clone)]
struct Made<T> {
    /// After which record.
    seq: u64,
    /// From this moment up to, not including, the next whole second.
    from: DateTime<Utc>,
    what: T,
}

impl<K: Hash + Eq, T: Clone> Kept<K, T> {
    pub fn at_most(most: usize) -> Self {
        Self { made: RwLock::default(), most }
    }

    /// What was made after the last record, and holds at this moment.
    pub fn of(&self, key: &K, seq: u64, now: DateTime<Utc>) -> Option<T> {
        let made = self.made.read();
        let it = made.get(key).filter(|it| it.seq == seq && it.from <= now)?;
        (it.from.trunc_subsecs(0) == now.trunc_subsecs(0)).then(|| it.what.clone())
    }

    /// Keeps what was made of something that says the same from a moment up to the end of its second.
    pub fn put(&self, key: K, seq: u64, from: DateTime<Utc>, what: T) {
        let mut made = self.made.write();
        if made.len() >= self.most && !made.contains_key(&key) {
            made.clear();
        }
        made.insert(key, Made { seq, from, what });
    }
}

/// Whose view of what: each reader is told what they themselves may sign.
pub(crate) type Whose = (ProgrammeId, PointCode, PersonHandle);

impl Kept<Whose, Shown> {
    /// The view of a point that was made after the last record and in this second, or else a new one.
    ///
    /// What holds a point can change with time alone, and its words with it. Each such change comes once between two
    /// records (a release begins, a check runs out), so where the holds are the same at both ends of a second they are
    /// so throughout, and the view is kept; else it is made for the very moment and not kept.
    pub fn view(
        &self,
        whose: &Whose,
        state: &State,
        rung: &Rung,
        now: DateTime<Utc>,
        make: impl FnOnce(DateTime<Utc>, Vec<Hold>) -> Result<Shown, Problem>,
    ) -> Result<Shown, Problem> {
        let (seq, second) = (state.length(), now.trunc_subsecs(0));
        if let Some(shown) = self.of(whose, seq, now) {
            return Ok(shown);
        }
        let at_first = holds::holds(state, rung, second);
        if at_first != holds::holds(state, rung, second + TimeDelta::seconds(1)) {
            return make(now, holds::holds(state, rung, now));
        }
        let shown = make(second, at_first)?;
        self.put(whose.clone(), seq, second, shown.clone());
        Ok(shown)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    #[test]
    fn what_was_made_is_given_from_its_moment_to_the_end_of_its_second_and_after_no_other_record() {
        let kept = Kept::at_most(2);
        kept.put("a", 7, at("2026-05-02T08:00:01.200Z"), "made");
        for (seq, now, given) in [
            (7, "2026-05-02T08:00:01.199Z", false),
            (7, "2026-05-02T08:00:01.200Z", true),
            (7, "2026-05-02T08:00:01.999Z", true),
            (7, "2026-05-02T08:00:02Z", false),
            (6, "2026-05-02T08:00:01.500Z", false),
            (8, "2026-05-02T08:00:01.500Z", false),
        ] {
            assert_eq!(kept.of(&"a", seq, at(now)).is_some(), given, "{seq} {now}");
        }
        assert_eq!(kept.of(&"b", 7, at("2026-05-02T08:00:01.500Z")), None);
    }

    #[test]
    fn no_more_is_kept_than_may_be() {
        let (kept, now) = (Kept::at_most(2), at("2026-05-02T08:00:01Z"));
        for number in 0..9 {
            kept.put(number, 1, now, number);
            assert_eq!(kept.of(&number, 1, now), Some(number));
            assert!(kept.made.read().len() <= 2);
        }
    }
}
