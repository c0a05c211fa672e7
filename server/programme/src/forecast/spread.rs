//! How long a step may take, as a distribution.

use std::cell::Cell;
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

/// Best case, most likely and worst case.
///
/// # Source
///
/// Mean (a + 4 m + b) / 6 and variance ((b − a) / 6)², as the textbooks on PERT have them; drawn from the beta distribution
/// with α = 1 + 4 (m − a) / (b − a) and β = 1 + 4 (b − m) / (b − a), which has the same mean.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ThreePoint {
    /// If all goes well.
    pub best: f64,
    /// Most likely.
    pub likely: f64,
    /// If much goes wrong.
    pub worst: f64,
}

impl ThreePoint {
    /// The mean.
    pub fn mean(self) -> f64 {
        (self.best + 4.0 * self.likely + self.worst) / 6.0
    }

    /// The textbook's variance; that of the beta distribution differs a little with the skew.
    pub fn variance(self) -> f64 {
        ((self.worst - self.best) / 6.0).powi(2)
    }
}

/// How long a step takes, in working days.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum Spread {
    /// As the lead judges.
    ThreePoint(ThreePoint),
    /// As earlier steps of the same kind took: one is drawn, with values between neighbours filled in.
    History(Vec<f64>),
}

/// The longest that a step may take, in working days.
pub(super) const LONGEST_DAYS: f64 = 1_000.0;

impl Spread {
    /// What is wrong with it, as the rest of a sentence that begins with its field.
    pub(super) fn fault(&self) -> Option<String> {
        let possible = |days: f64| (0.0..=LONGEST_DAYS).contains(&days);
        match self {
            Self::ThreePoint(ThreePoint { best, likely, worst }) => {
                let all = [*best, *likely, *worst];
                if !all.into_iter().all(possible) {
                    Some(format!("has {all:?} days; each must be from 0 to {LONGEST_DAYS}"))
                } else if !(best <= likely && likely <= worst) {
                    Some(format!("has {all:?} days; best, likely and worst must go up"))
                } else {
                    None
                }
            }
            Self::History(days) if days.is_empty() => {
                Some("has no earlier durations; give at least one, or three points".to_owned())
            }
            Self::History(days) => days
                .iter()
                .find(|days| !possible(**days))
                .map(|days| format!("has {days} days; each must be from 0 to {LONGEST_DAYS}")),
        }
    }

    /// The mean, in working days.
    pub fn mean(&self) -> f64 {
        match self {
            Self::ThreePoint(points) => points.mean(),
            Self::History(days) => {
                let sum: f64 = days.iter().sum();
                sum / days.len().max(1) as f64
            }
        }
    }
}

/// So many halvings of chance, from the middle towards either end, each have their own cells.
const LEVELS: usize = 16;

/// So many cells has each; inside one, values are taken to be even.
const CELLS: usize = 32;

/// Values up from the lowest chance to the middle, or down from the highest.
type Half = [f32; LEVELS * CELLS + 1];

/// Quantiles from which values are drawn: closer to each other the closer they are to either end. The greatest of many values
/// comes from the end, so that ends too coarse would make every end of a forecast late.
///
/// Against the true distribution its function is off by less than 0.001, its mean by less than 0.0001 of the range.
#[derive(Debug, Clone)]
pub(super) struct Quantiles {
    low: Half,
    high: Half,
}

impl Quantiles {
    /// Takes them from a function of the share of chance that lies below.
    fn of(value_at: impl Fn(f64) -> f64) -> Self {
        // From the end, in parts of 2^32: 32 cells up to 2^16, then 32 up to each doubling, up to 2^31.
        let share = |place: usize| {
            let (level, cell) = (place / CELLS, (place % CELLS) as u64);
            let parts = if level == 0 { cell << 11 } else { (32 + cell) << (10 + level) };
            parts as f64 / 4_294_967_296.0
        };
        Self {
            low: std::array::from_fn(|place| value_at(share(place)) as f32),
            high: std::array::from_fn(|place| value_at(1.0 - share(place)) as f32),
        }
    }
}

/// A beta distribution is looked at in so many steps.
const STEPS: usize = 2_048;

/// A value that a beta distribution is looked at, with what does not depend on its parameters.
#[derive(Clone, Copy, Default)]
struct Looked {
    x: f64,
    ln: f64,
    ln_of_rest: f64,
    /// How fast `x` goes up there.
    speed: f64,
}

/// x = t² (3 − 2 t) for even t, so that ends at which the density is steep or endless are looked at finely.
static LOOKED: LazyLock<Vec<Looked>> = LazyLock::new(|| {
    let at = |step: usize| {
        let t = step as f64 / STEPS as f64;
        let x = t * t * (3.0 - 2.0 * t);
        Looked { x, ln: x.ln(), ln_of_rest: (1.0 - x).ln(), speed: 6.0 * t * (1.0 - t) }
    };
    (0..=STEPS).map(at).collect()
});

/// Quantiles of the beta distribution, for parameters of at least 0.5.
pub(super) fn beta_quantiles(alpha: f64, beta: f64) -> Quantiles {
    let looked = &*LOOKED;
    let mode = if alpha + beta > 2.0 {
        ((alpha - 1.0) / (alpha + beta - 2.0)).clamp(1e-9, 1.0 - 1e-9)
    } else {
        0.5
    };
    let highest = (alpha - 1.0) * mode.ln() + (beta - 1.0) * (1.0 - mode).ln();
    let weight = |it: Looked| {
        if it.x <= 0.0 || it.x >= 1.0 {
            return 0.0;
        }
        ((alpha - 1.0) * it.ln + (beta - 1.0) * it.ln_of_rest - highest).exp() * it.speed
    };
    let mut below = Vec::with_capacity(STEPS + 1);
    let (mut sum, mut before) = (0.0, 0.0);
    for it in looked {
        let here = weight(*it);
        sum += 0.5 * (before + here);
        before = here;
        below.push(sum);
    }
    // Shares are asked for mostly in order, so that the step is mostly where it was or a little further.
    let last = Cell::new(0);
    Quantiles::of(|share| {
        if share <= 0.0 || share >= 1.0 {
            return share;
        }
        let wanted = sum * share;
        let mut step = last.get();
        while step > 0 && below[step] > wanted {
            step -= 1;
        }
        while step + 1 < STEPS && below[step + 1] <= wanted {
            step += 1;
        }
        last.set(step);
        let width = below[step + 1] - below[step];
        let part = if width > 0.0 { ((wanted - below[step]) / width).clamp(0.0, 1.0) } else { 0.0 };
        looked[step].x + part * (looked[step + 1].x - looked[step].x)
    })
}

/// A value for a random number, by quantiles.
#[inline]
pub(super) fn drawn(quantiles: &Quantiles, random: u32) -> f64 {
    let (half, parts) = match random >> 31 {
        0 => (&quantiles.low, random),
        _ => (&quantiles.high, !random),
    };
    let level = (32 - parts.leading_zeros()).saturating_sub(16);
    let shift = 10 + level.max(1);
    let place = level as usize * CELLS + (parts >> shift) as usize % CELLS;
    let within = (parts & ((1 << shift) - 1)) as f32 / (1_u32 << shift) as f32;
    f64::from(half[place] + (half[place + 1] - half[place]) * within)
}

/// How the days of one step are drawn: from which quantiles, times width, plus least.
#[derive(Debug, Clone, Copy)]
pub(super) struct Draw {
    table: u32,
    least: f64,
    width: f64,
}

/// All steps' draws; steps of one shape share their quantiles.
#[derive(Debug)]
pub(super) struct Draws {
    tables: Vec<Quantiles>,
    draws: Vec<Draw>,
}

impl Draws {
    pub(super) fn of<'a>(spreads: impl IntoIterator<Item = &'a Spread>) -> Self {
        use rayon::prelude::*;
        let mut shapes: std::collections::HashMap<u64, u32> = std::collections::HashMap::new();
        let mut modes = Vec::new();
        let mut histories: Vec<&[f64]> = Vec::new();
        let mut draws = Vec::new();
        for spread in spreads {
            match spread {
                Spread::ThreePoint(ThreePoint { best, likely, worst }) => {
                    let width = worst - best;
                    let mode = if width > 0.0 { (likely - best) / width } else { 0.5 };
                    let table = *shapes.entry(mode.to_bits()).or_insert_with(|| {
                        modes.push(mode);
                        modes.len() as u32 - 1
                    });
                    draws.push(Draw { table, least: *best, width });
                }
                Spread::History(days) => {
                    // Counted on from the shapes once all of those are known.
                    draws.push(Draw {
                        table: u32::MAX - histories.len() as u32,
                        least: 0.0,
                        width: 1.0,
                    });
                    histories.push(days);
                }
            }
        }
        let mut tables: Vec<Quantiles> = modes
            .par_iter()
            .map(|mode| beta_quantiles(1.0 + 4.0 * mode, 5.0 - 4.0 * mode))
            .collect();
        for draw in &mut draws {
            let place = u32::MAX - draw.table;
            if (place as usize) < histories.len() {
                draw.table = tables.len() as u32 + place;
            }
        }
        tables.extend(histories.into_iter().map(history_quantiles));
        Self { tables, draws }
    }

    #[inline]
    pub(super) fn days(&self, step: usize, random: u32) -> f64 {
        self.of_step(step).days(random)
    }

    /// How one step's days are drawn.
    #[inline]
    pub(super) fn of_step(&self, step: usize) -> StepDraw<'_> {
        let Draw { table, least, width } = self.draws[step];
        StepDraw { quantiles: &self.tables[table as usize], least, width }
    }
}

/// How the days of one step are drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct StepDraw<'a> {
    quantiles: &'a Quantiles,
    least: f64,
    width: f64,
}

impl StepDraw<'_> {
    /// The days for a random number.
    #[inline]
    pub(super) fn days(self, random: u32) -> f64 {
        self.least + self.width * drawn(self.quantiles, random)
    }
}

fn history_quantiles(days: &[f64]) -> Quantiles {
    let mut sorted = days.to_vec();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().saturating_sub(1);
    Quantiles::of(|share| {
        let place = last as f64 * share;
        let low = (place.floor() as usize).min(last);
        let high = (low + 1).min(last);
        sorted[low] + (place - low as f64) * (sorted[high] - sorted[low])
    })
}
