//! How often runs did not show what they were for.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::nouns::Phase;
use crate::state::{Standing, State};
use crate::verdict::Outcome;

/// The quantile of the standard normal distribution at 0.975 (from memory; SciPy's norm.ppf gives the same).
const Z_95: f64 = 1.959_963_984_540_054;

/// Results of a phase, by whether they showed what they were for. A result that was recorded anew counts once.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, utoipa::ToSchema)]
pub struct Repeats {
    /// They were met.
    pub shown: u32,
    /// They were not, or lacked something, so that the point was or is to be repeated.
    pub repeated: u32,
    /// The share of those to be repeated, from 0 to 1.
    pub share: f64,
    /// In which shares the chance of a repeat lies with 95 % confidence, if one result says nothing about the next.
    pub share_between: [f64; 2],
}

impl Repeats {
    /// Of so many results; none where there is no result.
    ///
    /// # Source
    ///
    /// The score interval of E. B. Wilson, "Probable inference, the law of succession, and statistical inference",
    /// J. Am. Stat. Assoc. 22 (1927) 209–212 (from memory), held against SciPy's `binomtest(…).proportion_ci("wilson")`.
    pub fn of(shown: u32, repeated: u32) -> Option<Self> {
        let results = shown.checked_add(repeated).filter(|results| *results > 0)?;
        let (count, share) = (f64::from(results), f64::from(repeated) / f64::from(results));
        let wider = Z_95 * Z_95 / count;
        let middle = (share + wider / 2.0) / (1.0 + wider);
        let half = (share * (1.0 - share) * wider + wider * wider / 4.0).sqrt() / (1.0 + wider);
        let share_between = [(middle - half).max(0.0), (middle + half).min(1.0)];
        Some(Self { shown, repeated, share, share_between })
    }
}

/// How often runs did not show what they were for, by phase; phases without a result are left out.
pub fn repeats_by_phase(state: &State) -> BTreeMap<Phase, Repeats> {
    let mut counts: BTreeMap<Phase, (u32, u32)> = BTreeMap::new();
    for result in state.results.iter().filter(|it| it.standing != Standing::Replaced) {
        let counts = counts.entry(result.planned.phase).or_default();
        if result.verdict.outcome == Outcome::Met { counts.0 += 1 } else { counts.1 += 1 }
    }
    counts
        .into_iter()
        .filter_map(|(phase, (shown, repeated))| Some((phase, Repeats::of(shown, repeated)?)))
        .collect()
}
