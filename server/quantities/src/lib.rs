//! One small type for each kind of quantity.
//!
//! Calibrated and true airspeed are both speeds, and a temperature and a temperature difference both have kelvins; mixing
//! them up is the mistake that people make. So each kind has its own type, which is built from and read in a named unit
//! and can't be taken for another kind. Quantities are for calculating: a record keeps the figure and unit as typed.
//!
//! No type checks a range: what range makes sense depends on the method, and the method refuses what is beyond it.

mod kinds;

pub mod electrical;
pub mod geometry;
pub mod motion;
pub mod thermodynamics;
pub mod units;

pub use electrical::{Charge, Current, Energy, Power, Voltage};
pub use geometry::{
    Angle, Area, DensityAltitude, GeopotentialAltitude, Length, Mass, PressureAltitude,
};
pub use motion::{
    CalibratedAirspeed, ClimbRate, Duration, EquivalentAirspeed, Frequency, GroundSpeed,
    LoadFactor, Mach, SpeedOfSound, TrueAirspeed, WindSpeed,
};
pub use thermodynamics::{Density, Pressure, Temperature, TemperatureDifference};
