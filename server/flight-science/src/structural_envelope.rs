//! The structural flight envelope: manoeuvre and gust load factors over speed, with the stall lines.

use quantities::{
    Area, Density, EquivalentAirspeed, GeopotentialAltitude, Length, LoadFactor, Mass,
    PressureAltitude,
};

use crate::atmosphere::{self, OutsideStandardAtmosphere};
use crate::stall_speed::stall_speed_from_lift;

pub use basis::{Basis, GustSpeeds, LEAST_DIVE_OVER_CRUISE, LeastSpeeds};
pub use boundary::{Boundary, Point};
pub use gust::GustResponse;
pub use topic::TOPIC;

mod basis;
mod boundary;
mod gust;
mod topic;

/// What the envelope is made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Design {
    /// The certification basis.
    pub basis: Basis,
    /// The mass for which the envelope holds.
    pub mass: Mass,
    /// Reference area of the wing.
    pub wing_area: Area,
    /// Greatest lift coefficient, flaps up; above zero.
    pub cl_max: f64,
    /// Least (inverted) lift coefficient; below zero.
    pub cl_min: f64,
    /// Slope of the aircraft's lift coefficient over angle of attack, for each radian.
    pub lift_slope_per_rad: f64,
    /// Mean geometric chord of the wing.
    pub mean_chord: Length,
    /// Design cruising speed VC.
    pub cruise: EquivalentAirspeed,
    /// Design dive speed VD.
    pub dive: EquivalentAirspeed,
    /// Pressure altitude at which the gusts are met.
    pub altitude: PressureAltitude,
}

/// One of the two gusts that the basis asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gust {
    /// Speed at which it is met.
    pub speed: EquivalentAirspeed,
    /// Derived gust speed, as equivalent airspeed.
    pub gust: EquivalentAirspeed,
    /// Load factor in a gust from below.
    pub up: LoadFactor,
    /// Load factor in a gust from above.
    pub down: LoadFactor,
}

/// The envelope.
#[derive(Debug, Clone, PartialEq)]
pub struct StructuralEnvelope {
    /// Positive limit manoeuvring load factor.
    pub positive: LoadFactor,
    /// Negative limit manoeuvring load factor up to VC.
    pub negative: LoadFactor,
    /// Stall speed VS in steady flight, flaps up.
    pub stall: EquivalentAirspeed,
    /// Stall speed in steady inverted flight.
    pub inverted_stall: EquivalentAirspeed,
    /// Manoeuvring speed VA, at which the stall line reaches the positive limit.
    pub manoeuvring: EquivalentAirspeed,
    /// The aircraft's answer to gusts.
    pub response: GustResponse,
    /// The gust at VC.
    pub at_cruise: Gust,
    /// The gust at VD.
    pub at_dive: Gust,
    /// The least design speeds of the basis.
    pub least: LeastSpeeds,
    /// The boundary that all lines make together.
    pub boundary: Boundary,
}

/// Figures that contradict each other, or that the basis does not cover.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Contradiction {
    /// A figure is missing or has the wrong sign.
    #[error(
        "a figure is missing (NaN), infinite, or not above zero (for the least lift coefficient: not below zero)"
    )]
    Unusable,
    /// The basis ends below this mass.
    #[error("a mass of {mass_kg} kg is more than the {heaviest_kg} kg of this basis")]
    TooHeavy {
        /// The mass given.
        mass_kg: f64,
        /// The most that the basis covers.
        heaviest_kg: f64,
    },
    /// The aircraft would not fly at its cruising speed.
    #[error("VC of {cruise_kt} kt is not above the stall speed of {stall_kt} kt EAS")]
    CruiseBelowStall {
        /// Design cruising speed.
        cruise_kt: f64,
        /// Stall speed.
        stall_kt: f64,
    },
    /// The dive speed is not the highest.
    #[error("VD of {dive_kt} kt is not above VC of {cruise_kt} kt")]
    DiveBelowCruise {
        /// Design dive speed.
        dive_kt: f64,
        /// Design cruising speed.
        cruise_kt: f64,
    },
    /// The wing could never lift the limit load factor.
    #[error(
        "VD of {dive_kt} kt is below VA of {manoeuvring_kt} kt, so the limit load factor could never be reached"
    )]
    DiveBelowManoeuvring {
        /// Design dive speed.
        dive_kt: f64,
        /// Manoeuvring speed.
        manoeuvring_kt: f64,
    },
    /// There is no standard air at this altitude.
    #[error(transparent)]
    Altitude(#[from] OutsideStandardAtmosphere),
}

impl Design {
    /// The envelope of this design.
    ///
    /// Valid for the masses of the basis; for speeds in the order VS < VC < VD, with VA not above VD; for altitudes of the
    /// standard atmosphere. The gust lines run straight from load factor 1 at rest to VC, and from there to VD.
    ///
    /// # Errors
    ///
    /// Every [`Contradiction`] that was found.
    ///
    /// # Source
    ///
    /// 14 CFR 23.333, 23.335, 23.337 and 23.341 before amendment 64 (which CS-23 shares); CS-VLA 333, 335, 337 and 341.
    /// Checked by `published/structural_envelope.toml`.
    pub fn envelope(&self) -> Result<StructuralEnvelope, Vec<Contradiction>> {
        if !self.is_usable() {
            return Err(vec![Contradiction::Unusable]);
        }
        let stall = stall_speed_from_lift(self.mass, self.wing_area, self.cl_max);
        let inverted_stall = stall_speed_from_lift(self.mass, self.wing_area, -self.cl_min);
        let positive = self.basis.positive_manoeuvre(self.mass);
        let negative = self.basis.negative_manoeuvre(self.mass);
        let manoeuvring = EquivalentAirspeed::from_knots(stall.knots() * positive.ratio().sqrt());

        let mut contradictions = self.contradictions(stall, manoeuvring);
        let density = match standard_density(self.altitude) {
            Ok(density) if contradictions.is_empty() => density,
            Ok(_) => return Err(contradictions),
            Err(outside) => {
                contradictions.push(outside.into());
                return Err(contradictions);
            }
        };
        let response = GustResponse::new(
            self.mass,
            self.wing_area,
            self.mean_chord,
            self.lift_slope_per_rad,
            density,
        );
        let gusts = self.basis.gust_speeds(self.altitude);
        let gust_at = |speed: EquivalentAirspeed, gust: EquivalentAirspeed| {
            let increment = response.increment(speed, gust);
            Gust {
                speed,
                gust,
                up: LoadFactor::from_ratio(1.0 + increment),
                down: LoadFactor::from_ratio(1.0 - increment),
            }
        };
        let at_cruise = gust_at(self.cruise, gusts.at_cruise);
        let at_dive = gust_at(self.dive, gusts.at_dive);
        let boundary = Boundary::new(boundary::Lines {
            stall,
            inverted_stall,
            cruise: self.cruise,
            dive: self.dive,
            positive: positive.ratio(),
            negative: negative.ratio(),
            negative_at_dive: self.basis.negative_manoeuvre_at_dive().ratio(),
            gust_at_cruise: at_cruise.up.ratio() - 1.0,
            gust_at_dive: at_dive.up.ratio() - 1.0,
        });
        Ok(StructuralEnvelope {
            positive,
            negative,
            stall,
            inverted_stall,
            manoeuvring,
            response,
            at_cruise,
            at_dive,
            least: self.basis.least_speeds(self.mass, self.wing_area),
            boundary,
        })
    }

    /// Whether every figure is there and has the sign that it should have. NaN is neither above nor below zero.
    fn is_usable(&self) -> bool {
        let positive = [
            self.mass.kilograms(),
            self.wing_area.square_metres(),
            self.cl_max,
            -self.cl_min,
            self.lift_slope_per_rad,
            self.mean_chord.metres(),
            self.cruise.knots(),
            self.dive.knots(),
        ];
        positive.iter().all(|figure| *figure > 0.0 && figure.is_finite())
            && self.altitude.feet().is_finite()
    }

    fn contradictions(
        &self,
        stall: EquivalentAirspeed,
        manoeuvring: EquivalentAirspeed,
    ) -> Vec<Contradiction> {
        let mut found = Vec::new();
        let heaviest = self.basis.heaviest();
        if self.mass > heaviest {
            found.push(Contradiction::TooHeavy {
                mass_kg: self.mass.kilograms(),
                heaviest_kg: heaviest.kilograms(),
            });
        }
        let (cruise_kt, dive_kt) = (self.cruise.knots(), self.dive.knots());
        if self.cruise <= stall {
            found.push(Contradiction::CruiseBelowStall { cruise_kt, stall_kt: stall.knots() });
        }
        if self.dive <= self.cruise {
            found.push(Contradiction::DiveBelowCruise { dive_kt, cruise_kt });
        } else if self.dive < manoeuvring {
            found.push(Contradiction::DiveBelowManoeuvring {
                dive_kt,
                manoeuvring_kt: manoeuvring.knots(),
            });
        }
        found
    }
}

fn standard_density(altitude: PressureAltitude) -> Result<Density, OutsideStandardAtmosphere> {
    let altitude = GeopotentialAltitude::from(altitude);
    let pressure = atmosphere::standard_pressure(altitude)?;
    let temperature = atmosphere::standard_temperature(altitude)?;
    Ok(atmosphere::density(pressure, temperature))
}

impl StructuralEnvelope {
    /// The boundary as a closed polygon, with corners of their own for VS, VA and the inverted stall at the negative limit.
    pub fn polygon(&self) -> Vec<Point> {
        self.boundary.polygon(&[self.stall, self.manoeuvring, self.inverted_manoeuvring()])
    }

    /// The speed at which the inverted stall line reaches the negative limit.
    pub fn inverted_manoeuvring(&self) -> EquivalentAirspeed {
        EquivalentAirspeed::from_knots(
            self.inverted_stall.knots() * self.negative.ratio().abs().sqrt(),
        )
    }

    /// What the basis would not accept as it stands, in sentences. None of these make the envelope wrong.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        let (cruise, dive) = (self.at_cruise.speed, self.at_dive.speed);
        let least = self.least;
        if cruise < least.cruise {
            notes.push(format!(
                "VC of {:.1} kt is below the {:.1} kt that the basis asks for; it may be so only as far as level speed at full power does not reach that.",
                cruise.knots(),
                least.cruise.knots()
            ));
        }
        if dive < least.dive {
            notes.push(format!(
                "VD of {:.1} kt is below the {:.1} kt that goes with the least VC of the basis.",
                dive.knots(),
                least.dive.knots()
            ));
        }
        if dive.knots() < LEAST_DIVE_OVER_CRUISE * cruise.knots() {
            notes.push(format!(
                "VD of {:.1} kt is less than {LEAST_DIVE_OVER_CRUISE} times VC of {:.1} kt.",
                dive.knots(),
                cruise.knots()
            ));
        }
        if self.manoeuvring > cruise {
            notes.push(format!(
                "VA of {:.1} kt is above VC of {:.1} kt; as a design speed it need not be more than VC.",
                self.manoeuvring.knots(),
                cruise.knots()
            ));
        }
        notes
    }
}

#[cfg(test)]
mod tests;
