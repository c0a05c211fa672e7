//! Pairs of axes that are shown together: what a result reached on both at once.
//!
//! Where more is more demanding on both axes a state counts as shown if a result dominates it: it reached as much or more
//! on both at once. So 100 kt shown at 2 000 ft and 60 kt shown at 8 000 ft do not show 100 kt at 8 000 ft. Of load factors
//! those below one are more demanding the lower they are, and of charge states likewise. Of loadings everything between
//! those flown counts: what lies in their convex hull.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::design::{self, Boundary};
use super::region::{Region, dominated, enclosed};
use crate::holds::edge::is_at_most;
use crate::measure::{Measure, Unit};
use crate::nouns::{Axis, Direction};
use crate::state::{ResultId, State};

/// Two axes that are looked at together.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    PartialOrd,
    Ord,
    Serialize,
    Deserialize,
    utoipa::ToSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Pair {
    /// Speed and pressure altitude.
    SpeedAltitude,
    /// Speed and load factor.
    SpeedLoadFactor,
    /// Centre of gravity and mass.
    MassCentreOfGravity,
    /// Time at power and power.
    PowerTime,
    /// Charge state and power.
    ChargePower,
}

/// The load factor of steady level flight, from which both ways are more demanding.
const LEVEL: f64 = 1.0;

impl Pair {
    /// Every pair.
    pub const ALL: [Pair; 5] = [
        Pair::SpeedAltitude,
        Pair::SpeedLoadFactor,
        Pair::MassCentreOfGravity,
        Pair::PowerTime,
        Pair::ChargePower,
    ];

    /// The pair as written.
    pub const fn as_str(self) -> &'static str {
        match self {
            Pair::SpeedAltitude => "speed-altitude",
            Pair::SpeedLoadFactor => "speed-load-factor",
            Pair::MassCentreOfGravity => "mass-centre-of-gravity",
            Pair::PowerTime => "power-time",
            Pair::ChargePower => "charge-power",
        }
    }

    /// The axis that is drawn across, with the unit in which the pair tells it.
    pub const fn across(self) -> (Axis, Unit) {
        match self {
            Pair::SpeedAltitude | Pair::SpeedLoadFactor => (Axis::Speed, Unit::Knot),
            Pair::MassCentreOfGravity => (Axis::CentreOfGravity, Unit::PercentMac),
            Pair::PowerTime => (Axis::TimeAtPower, Unit::Second),
            Pair::ChargePower => (Axis::ChargeState, Unit::Percent),
        }
    }

    /// The axis that is drawn upwards, with the unit in which the pair tells it.
    pub const fn upwards(self) -> (Axis, Unit) {
        match self {
            Pair::SpeedAltitude => (Axis::PressureAltitude, Unit::Foot),
            Pair::SpeedLoadFactor => (Axis::LoadFactor, Unit::G),
            Pair::MassCentreOfGravity => (Axis::Mass, Unit::Kilogram),
            Pair::PowerTime | Pair::ChargePower => (Axis::Power, Unit::Kilowatt),
        }
    }

    /// Which way each axis is more demanding, and from where on; none where a hull is taken instead.
    pub(super) fn quarters(self) -> &'static [Quarter] {
        const UP: Quarter =
            Quarter { x: Direction::Up, y: Direction::Up, x_from: 0.0, y_from: 0.0 };
        const LOAD: [Quarter; 2] =
            [Quarter { y_from: LEVEL, ..UP }, Quarter { y: Direction::Down, y_from: LEVEL, ..UP }];
        const CHARGE: [Quarter; 1] = [Quarter { x: Direction::Down, x_from: 100.0, ..UP }];
        match self {
            Pair::SpeedAltitude | Pair::PowerTime => &[UP],
            Pair::SpeedLoadFactor => &LOAD,
            Pair::ChargePower => &CHARGE,
            Pair::MassCentreOfGravity => &[],
        }
    }
}

impl fmt::Display for Pair {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl std::str::FromStr for Pair {
    type Err = UnknownPair;

    fn from_str(text: &str) -> Result<Self, UnknownPair> {
        Pair::ALL.into_iter().find(|pair| pair.as_str() == text).ok_or(UnknownPair)
    }
}

/// Text that names no pair of axes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "the pairs are speed-altitude, speed-load-factor, mass-centre-of-gravity, power-time and charge-power"
)]
pub struct UnknownPair;

/// Which way the two axes are more demanding, and from where.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Quarter {
    pub x: Direction,
    pub y: Direction,
    pub x_from: f64,
    pub y_from: f64,
}

impl Quarter {
    /// A place as a demand on both axes.
    pub(super) const fn demand(self, place: [f64; 2]) -> [f64; 2] {
        [self.x.demand(place[0]), self.y.demand(place[1])]
    }

    /// Whether a place belongs to it.
    pub(super) fn takes(self, place: [f64; 2]) -> bool {
        // Only load factors go both ways, from level flight, which belongs to the upper side.
        self.y_from < LEVEL || (place[1] >= LEVEL) == (self.y == Direction::Up)
    }
}

/// What one result reached on both axes at once, in the pair's units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// The result.
    pub by: ResultId,
    /// What it reached, across and upwards.
    pub at: [f64; 2],
}

/// What was shown of a pair of axes.
#[derive(Debug, Clone, PartialEq)]
pub struct PairShown {
    /// Which pair.
    pub pair: Pair,
    /// What each result reached on both axes, in the order recorded.
    pub evidence: Vec<Evidence>,
    /// What is shown by them inside the design boundary; several where both ways along an axis are more demanding.
    pub regions: Vec<Region>,
    /// The design boundary.
    pub boundary: Boundary,
}

impl PairShown {
    /// What some results show of a pair.
    pub fn of(state: &State, pair: Pair, results: &[ResultId]) -> Self {
        let ((x, x_unit), (y, y_unit)) = (pair.across(), pair.upwards());
        let figure = |measure: &Measure, unit: Unit| {
            measure.in_unit(unit).filter(|figure| figure.is_finite())
        };
        let evidence: Vec<Evidence> = results
            .iter()
            .filter_map(|id| {
                let reached = &state.results[id.0].reached;
                let at = [figure(reached.get(&x)?, x_unit)?, figure(reached.get(&y)?, y_unit)?];
                Some(Evidence { by: *id, at })
            })
            .collect();
        let boundary = design::of_pair(state, pair);
        let regions = match pair.quarters() {
            [] => enclosed(&evidence, &boundary).into_iter().collect(),
            quarters => quarters
                .iter()
                .filter_map(|quarter| {
                    let of_quarter: Vec<Evidence> =
                        evidence.iter().copied().filter(|it| quarter.takes(it.at)).collect();
                    dominated(&of_quarter, *quarter, &boundary)
                })
                .collect(),
        };
        Self { pair, evidence, regions, boundary }
    }

    /// The results that show a state, the first that does in each region; none where it was not shown or lies beyond the
    /// design boundary. Exactly at what was reached is shown. A NaN is not.
    pub fn shown_by(&self, state: &State, place: [f64; 2]) -> Option<Vec<ResultId>> {
        if is_beyond(state, self.pair, place) {
            return None;
        }
        let quarters = self.pair.quarters();
        if quarters.is_empty() {
            let region = self.regions.first()?;
            let inside = super::hull::contains(&region.hull, place);
            return inside.then(|| region.bounds.iter().map(|evidence| evidence.by).collect());
        }
        let dominates = |quarter: &Quarter, evidence: &Evidence| {
            let (asked, reached) = (quarter.demand(place), quarter.demand(evidence.at));
            quarter.takes(evidence.at)
                && is_at_most(asked[0], reached[0])
                && is_at_most(asked[1], reached[1])
        };
        quarters
            .iter()
            .filter(|quarter| quarter.takes(place))
            .find_map(|quarter| self.evidence.iter().find(|it| dominates(quarter, it)))
            .map(|evidence| vec![evidence.by])
    }
}

/// Whether a state lies beyond the design boundary of a pair, as far as that is known. A NaN does.
pub fn is_beyond(state: &State, pair: Pair, place: [f64; 2]) -> bool {
    let ((x, x_unit), (y, y_unit)) = (pair.across(), pair.upwards());
    let beyond_axis = !place.iter().all(|figure| figure.is_finite())
        || design::is_beyond(state, x, Measure::new(place[0], x_unit))
        || design::is_beyond(state, y, Measure::new(place[1], y_unit));
    beyond_axis
        || match pair {
            Pair::SpeedLoadFactor => {
                design::load_factor_is_inside(state, place[0], place[1]) == Some(false)
            }
            Pair::MassCentreOfGravity => {
                design::loading_is_inside(state, place[0], place[1]) == Some(false)
            }
            Pair::PowerTime => {
                let boundary = design::of_pair(state, pair);
                !boundary.upper.is_empty()
                    && boundary.greatest_at(place[0]).is_none_or(|most| !is_at_most(place[1], most))
            }
            Pair::SpeedAltitude | Pair::ChargePower => false,
        }
}
