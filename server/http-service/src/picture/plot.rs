//! A plot of two axes: where figures stand on the paper, and where its ticks are.

/// About so many ticks are wanted on an axis.
const TICKS: f64 = 7.0;

/// A span of figures on one axis, from the first tick to the last.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Scale {
    pub least: f64,
    pub greatest: f64,
    pub ticks: Vec<f64>,
    decimals: usize,
}

impl Scale {
    /// The scale that holds all figures, with round ticks. Figures that are not finite are left out.
    pub fn of(figures: impl Iterator<Item = f64>) -> Self {
        let (least, greatest) = figures
            .filter(|figure| figure.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(least, greatest), figure| {
                (least.min(figure), greatest.max(figure))
            });
        let (least, greatest) = match () {
            () if least > greatest => (0.0, 1.0),
            () if greatest - least <= f64::EPSILON * greatest.abs().max(1.0) => {
                let room = (least.abs() * 0.1).max(1.0);
                (least - room, greatest + room)
            }
            () => (least, greatest),
        };
        Self::by_steps(least, greatest, round_step((greatest - least) / TICKS))
    }

    /// The scale of a count from 0 on, whose ticks are whole numbers.
    pub fn of_count(most: u32) -> Self {
        let most = f64::from(most.max(1));
        Self::by_steps(0.0, most, round_step(most / TICKS).max(1.0))
    }

    fn by_steps(least: f64, greatest: f64, step: f64) -> Self {
        let (first, last) = ((least / step).floor(), (greatest / step).ceil());
        let count = (last - first).clamp(1.0, 40.0) as u32;
        let ticks: Vec<f64> = (0..=count).map(|tick| (first + f64::from(tick)) * step).collect();
        let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
        Self { least: first * step, greatest: (first + f64::from(count)) * step, ticks, decimals }
    }

    /// How far along the axis a figure stands, from 0 to 1.
    pub fn share(&self, figure: f64) -> f64 {
        ((figure - self.least) / (self.greatest - self.least)).clamp(0.0, 1.0)
    }

    /// A tick as it is written.
    pub fn written(&self, tick: f64) -> String {
        // `0.0 +`, so that no tick reads −0.
        format!("{:.*}", self.decimals, 0.0 + tick).replace('-', "−")
    }
}

/// The least of 1, 2 and 5 times a power of ten that is not below a step.
fn round_step(step: f64) -> f64 {
    let power = 10.0_f64.powf(step.log10().floor());
    let times = [1.0, 2.0, 5.0, 10.0];
    times.into_iter().map(|times| times * power).find(|round| *round >= step).unwrap_or(step)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_hold_all_figures() {
        let scale = Scale::of([3.0, 118.0, f64::INFINITY].into_iter());
        assert_eq!(scale.ticks, [0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0]);
        assert_eq!(scale.written(20.0), "20");
        assert!((scale.share(30.0) - 0.25).abs() < 1e-12);
        let small = Scale::of([-0.8, 2.1].into_iter());
        assert_eq!(small.written(small.ticks[0]), "−1.0");
        assert_eq!(small.ticks.len(), 8);
    }

    #[test]
    fn nothing_and_one_figure_have_a_scale_too() {
        for figures in [vec![], vec![f64::NAN], vec![690.0], vec![0.0, 0.0]] {
            let scale = Scale::of(figures.iter().copied());
            assert!(scale.greatest > scale.least && scale.ticks.len() > 1, "{figures:?}");
        }
    }
}
