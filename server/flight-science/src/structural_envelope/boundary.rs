//! Stall, manoeuvre and gust lines combined into one closed boundary.
//!
//! Inside the envelope is what a manoeuvre or a gust may ask for, as far as the wing can lift it. So at each speed the upper
//! side is the lesser of the stall line and of the greater of manoeuvre and gust line, and the lower side mirrors that.

use quantities::{EquivalentAirspeed, LoadFactor};

/// A stall line is drawn with chords no longer than this share of the stall speed; the chord then lies at most 0.0007 of a
/// load factor beyond the line.
const CHORD_OVER_STALL_SPEED: f64 = 0.05;

/// A point of speed and load factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Equivalent airspeed.
    pub speed: EquivalentAirspeed,
    /// Load factor.
    pub load_factor: LoadFactor,
}

impl Point {
    fn new(speed_kt: f64, load_factor: f64) -> Self {
        Self {
            speed: EquivalentAirspeed::from_knots(speed_kt),
            load_factor: LoadFactor::from_ratio(load_factor),
        }
    }
}

/// Straight from corner to corner: speed in knots and load factor, speeds ascending from zero to the dive speed.
#[derive(Debug, Clone, PartialEq)]
struct Polyline(Vec<(f64, f64)>);

impl Polyline {
    fn at(&self, speed_kt: f64) -> f64 {
        let mut previous = self.0[0];
        for &corner in &self.0 {
            if speed_kt <= corner.0 {
                if corner.0 == previous.0 {
                    return corner.1;
                }
                let share = (speed_kt - previous.0) / (corner.0 - previous.0);
                return previous.1 + share * (corner.1 - previous.1);
            }
            previous = corner;
        }
        previous.1
    }

    fn pieces(&self) -> impl Iterator<Item = ((f64, f64), (f64, f64))> + '_ {
        self.0.iter().copied().zip(self.0.iter().skip(1).copied())
    }
}

/// One side of the envelope, told upwards: the lower side is held with its sign turned.
#[derive(Debug, Clone, PartialEq)]
struct Side {
    /// Speed at which the wing lifts a load factor of 1 (or −1) at its greatest lift coefficient.
    stall_kt: f64,
    manoeuvre: Polyline,
    gust: Polyline,
    dive_kt: f64,
}

impl Side {
    fn stall(&self, speed_kt: f64) -> f64 {
        (speed_kt / self.stall_kt).powi(2)
    }

    fn asked_for(&self, speed_kt: f64) -> f64 {
        self.manoeuvre.at(speed_kt).max(self.gust.at(speed_kt))
    }

    fn limit(&self, speed_kt: f64) -> f64 {
        self.stall(speed_kt).min(self.asked_for(speed_kt))
    }

    /// Every speed at which one line may take over from another, ascending, from zero to the dive speed.
    fn changes(&self, also: &[f64]) -> Vec<f64> {
        let mut speeds = vec![0.0, self.dive_kt];
        speeds.extend_from_slice(also);
        for line in [&self.manoeuvre, &self.gust] {
            for ((from_kt, from_n), (to_kt, to_n)) in line.pieces() {
                speeds.extend([from_kt, to_kt]);
                let slope = (to_n - from_n) / (to_kt - from_kt);
                let at_zero = from_n - slope * from_kt;
                speeds.extend(self.stall_meets(slope, at_zero));
            }
        }
        // Where the manoeuvre line meets the gust line: each piece of one against each of the other.
        for ((from_kt, from_n), (to_kt, to_n)) in self.manoeuvre.pieces() {
            for ((gust_from_kt, gust_from_n), (gust_to_kt, gust_to_n)) in self.gust.pieces() {
                let slope = (to_n - from_n) / (to_kt - from_kt);
                let gust_slope = (gust_to_n - gust_from_n) / (gust_to_kt - gust_from_kt);
                let at_zero = from_n - slope * from_kt;
                let gust_at_zero = gust_from_n - gust_slope * gust_from_kt;
                speeds.push((at_zero - gust_at_zero) / (gust_slope - slope));
            }
        }
        speeds.retain(|speed_kt| (0.0..=self.dive_kt).contains(speed_kt));
        speeds.sort_by(f64::total_cmp);
        // Speeds that rounding alone tells apart are one.
        speeds.dedup_by(|later, earlier| *later - *earlier <= 1e-9 * self.dive_kt);
        speeds
    }

    /// Speeds at which (v / stall)² = slope v + at_zero.
    fn stall_meets(&self, slope: f64, at_zero: f64) -> [f64; 2] {
        let square = self.stall_kt.powi(2);
        let half = 0.5 * slope * square;
        let root = (half.powi(2) + at_zero * square).sqrt();
        // Without a meeting the root is NaN, which no range contains.
        [half - root, half + root]
    }

    /// The corners of this side from zero to the dive speed, with the stall line cut into chords.
    fn corners(&self, also: &[f64]) -> Vec<(f64, f64)> {
        let changes = self.changes(also);
        let mut corners = vec![(0.0, 0.0)];
        for pair in changes.windows(2) {
            let (from_kt, to_kt) = (pair[0], pair[1]);
            let middle_kt = 0.5 * (from_kt + to_kt);
            if self.stall(middle_kt) < self.asked_for(middle_kt) {
                let chords =
                    ((to_kt - from_kt) / (CHORD_OVER_STALL_SPEED * self.stall_kt)).ceil().max(1.0);
                // At most a few hundred, because no line is met beyond a few stall speeds.
                for chord in 1..chords as usize {
                    let speed_kt = from_kt + (to_kt - from_kt) * chord as f64 / chords;
                    corners.push((speed_kt, self.stall(speed_kt)));
                }
            }
            corners.push((to_kt, self.limit(to_kt)));
        }
        corners
    }

    /// The speed at which the stall line is left for good.
    fn stall_ends(&self) -> f64 {
        let changes = self.changes(&[]);
        let mut ends_kt = 0.0;
        for pair in changes.windows(2) {
            let middle_kt = 0.5 * (pair[0] + pair[1]);
            if self.stall(middle_kt) < self.asked_for(middle_kt) {
                ends_kt = pair[1];
            }
        }
        ends_kt
    }
}

/// The lines of which a boundary is made; speeds as equivalent airspeed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Lines {
    pub stall: EquivalentAirspeed,
    pub inverted_stall: EquivalentAirspeed,
    pub cruise: EquivalentAirspeed,
    pub dive: EquivalentAirspeed,
    pub positive: f64,
    pub negative: f64,
    pub negative_at_dive: f64,
    pub gust_at_cruise: f64,
    pub gust_at_dive: f64,
}

/// The closed boundary of speed and load factor.
#[derive(Debug, Clone, PartialEq)]
pub struct Boundary {
    upper: Side,
    lower: Side,
}

impl Boundary {
    pub(super) fn new(lines: Lines) -> Self {
        let (cruise_kt, dive_kt) = (lines.cruise.knots(), lines.dive.knots());
        let upper = Side {
            stall_kt: lines.stall.knots(),
            manoeuvre: Polyline(vec![(0.0, lines.positive), (dive_kt, lines.positive)]),
            gust: Polyline(vec![
                (0.0, 1.0),
                (cruise_kt, 1.0 + lines.gust_at_cruise),
                (dive_kt, 1.0 + lines.gust_at_dive),
            ]),
            dive_kt,
        };
        let lower = Side {
            stall_kt: lines.inverted_stall.knots(),
            manoeuvre: Polyline(vec![
                (0.0, -lines.negative),
                (cruise_kt, -lines.negative),
                (dive_kt, -lines.negative_at_dive),
            ]),
            gust: Polyline(vec![
                (0.0, -1.0),
                (cruise_kt, lines.gust_at_cruise - 1.0),
                (dive_kt, lines.gust_at_dive - 1.0),
            ]),
            dive_kt,
        };
        Self { upper, lower }
    }

    /// The least and the greatest load factor at a speed; none below zero or beyond the dive speed.
    pub fn limits_at(&self, speed: EquivalentAirspeed) -> Option<(LoadFactor, LoadFactor)> {
        let speed_kt = speed.knots();
        (0.0..=self.upper.dive_kt).contains(&speed_kt).then(|| {
            (
                LoadFactor::from_ratio(-self.lower.limit(speed_kt)),
                LoadFactor::from_ratio(self.upper.limit(speed_kt)),
            )
        })
    }

    /// Whether a point lies inside; exactly on the boundary is inside. A missing figure (NaN) is outside.
    pub fn contains(&self, point: Point) -> bool {
        self.limits_at(point.speed)
            .is_some_and(|(least, greatest)| (least..=greatest).contains(&point.load_factor))
    }

    /// The speed at which the wing no longer limits the positive load factor: the corner where the stall line is left.
    pub fn stall_line_ends(&self) -> EquivalentAirspeed {
        EquivalentAirspeed::from_knots(self.upper.stall_ends())
    }

    /// The boundary as a polygon: from rest along the upper side, down at the dive speed, and back along the lower side to
    /// rest, where it closes on its first point. `also` are speeds that get a corner of their own.
    pub fn polygon(&self, also: &[EquivalentAirspeed]) -> Vec<Point> {
        let also: Vec<f64> = also.iter().map(|speed| speed.knots()).collect();
        let upper = self.upper.corners(&also);
        let lower = self.lower.corners(&also);
        let there = upper.iter().map(|&(speed_kt, n)| Point::new(speed_kt, n));
        // `0.0 - n`, so that no corner reads −0.
        let back = lower.iter().rev().map(|&(speed_kt, n)| Point::new(speed_kt, 0.0 - n));
        there.chain(back).collect()
    }
}
