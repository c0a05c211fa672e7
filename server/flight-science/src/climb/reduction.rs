//! From the altimeter's rate of climb on the day to the rate at another mass.

use quantities::units::{METRES_PER_FOOT, STANDARD_GRAVITY_M_PER_S2};
use quantities::{
    CalibratedAirspeed, ClimbRate, EquivalentAirspeed, Mass, PressureAltitude, Temperature,
    TrueAirspeed,
};

use crate::airspeed::{Airspeeds, BeyondSubsonic};
use crate::atmosphere::{Air, OutsideStandardAtmosphere, standard_temperature};
use crate::drag_polar::{DragPolar, weight_n};

/// Over so many feet the change of true airspeed at constant calibrated airspeed is taken.
const HEIGHT_STEP_FT: f64 = 100.0;

/// One steady climb.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClimbPoint {
    /// Calibrated airspeed held.
    pub airspeed: CalibratedAirspeed,
    /// Rate by the altimeter set to 1013.25 hPa.
    pub pressure_rate: ClimbRate,
    /// Mass of the aircraft at the time.
    pub mass: Mass,
    /// Mean pressure altitude of the climb.
    pub altitude: PressureAltitude,
    /// Outside air temperature there.
    pub temperature: Temperature,
}

/// A climb reduced to the reference mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReducedClimb {
    /// Rate at which the aircraft rose in feet by the tape measure.
    pub tapeline_rate: ClimbRate,
    /// The rate that the same excess power would give without the true airspeed's increase during the climb.
    pub energy_rate: ClimbRate,
    /// Rate at the reference mass.
    pub corrected_rate: ClimbRate,
    /// Calibrated airspeed to which the corrected rate belongs.
    pub corrected_airspeed: CalibratedAirspeed,
}

/// A climb that lies beyond the atmosphere or the speeds that the method holds for.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ClimbError {
    /// Beyond the standard atmosphere.
    #[error(transparent)]
    Atmosphere(#[from] OutsideStandardAtmosphere),
    /// Beyond the speed of sound.
    #[error(transparent)]
    Airspeed(#[from] BeyondSubsonic),
}

/// Rate of climb in true height, from the rate by the altimeter.
///
/// Each foot of pressure altitude is `T / T_standard` feet of true height, since warm air is thinner.
///
/// # Errors
///
/// [`OutsideStandardAtmosphere`] beyond the standard atmosphere.
///
/// # Source
///
/// `dh = dh_p · T / T_standard`, from the hydrostatic equation. Checked by `published/climb.toml`.
pub fn tapeline_rate(
    rate: ClimbRate,
    altitude: PressureAltitude,
    temperature: Temperature,
) -> Result<ClimbRate, OutsideStandardAtmosphere> {
    let standard = standard_temperature(altitude.into())?;
    let ratio = temperature.kelvins() / standard.kelvins();
    Ok(ClimbRate::from_metres_per_second(rate.metres_per_second() * ratio))
}

/// Rate that the same excess power gives at constant true airspeed, where `gained_per_metre` is the true airspeed in metres
/// per second that is gained for each metre of climb.
///
/// # Source
///
/// Energy height: `P_s = dh/dt (1 + V/g · dV/dh)`. Checked by rows of `published/climb_energy_rate.toml`.
pub fn energy_rate(rate: ClimbRate, airspeed: TrueAirspeed, gained_per_metre: f64) -> ClimbRate {
    let factor = 1.0 + airspeed.metres_per_second() / STANDARD_GRAVITY_M_PER_S2 * gained_per_metre;
    ClimbRate::from_metres_per_second(rate.metres_per_second() * factor)
}

impl ClimbPoint {
    /// The air of the day at this point.
    ///
    /// # Errors
    ///
    /// [`OutsideStandardAtmosphere`].
    pub fn air(&self) -> Result<Air, OutsideStandardAtmosphere> {
        Air::at(self.altitude, Some(self.temperature))
    }

    /// Reduces the climb to `reference` mass at the same pressure altitude.
    ///
    /// With a polar: the excess power is the rate times the weight; the drag's power on the day is added to it and that of
    /// the reference mass, at the same lift coefficient in air of standard temperature, is taken off. The thrust power is
    /// taken to be the same, as an electric motor at a set power gives it. Without a polar: the excess power is taken to be
    /// the same at the same airspeed, so the rate goes with one over the mass; the heavier aircraft's greater induced drag
    /// is left out, which flatters a correction to a greater mass.
    ///
    /// # Errors
    ///
    /// [`ClimbError`] beyond the atmosphere or the speeds of the method.
    ///
    /// # Source
    ///
    /// Work and energy, `(thrust power − drag · speed) / weight`; checked by `published/climb.toml`.
    pub fn reduce(
        &self,
        reference: Mass,
        polar: Option<&DragPolar>,
    ) -> Result<ReducedClimb, ClimbError> {
        let air = self.air()?;
        let speeds = Airspeeds::from_calibrated(self.airspeed, air)?;
        let tapeline = tapeline_rate(self.pressure_rate, self.altitude, self.temperature)?;
        let excess_power_w = tapeline.metres_per_second() * weight_n(self.mass);
        let (left_power_w, corrected_airspeed) = match polar {
            None => (excess_power_w, self.airspeed),
            Some(polar) => {
                let standard_air = Air::at(self.altitude, None)?;
                let mass_ratio = reference.kilograms() / self.mass.kilograms();
                let equivalent = EquivalentAirspeed::from_metres_per_second(
                    speeds.equivalent.metres_per_second() * mass_ratio.sqrt(),
                );
                let reference_speeds = Airspeeds::from_equivalent(equivalent, standard_air)?;
                let drag_power = |speeds: &Airspeeds, mass| {
                    polar.drag_n(speeds.equivalent, mass) * speeds.true_airspeed.metres_per_second()
                };
                let thrust_power_w = excess_power_w + drag_power(&speeds, self.mass);
                (
                    thrust_power_w - drag_power(&reference_speeds, reference),
                    reference_speeds.calibrated,
                )
            }
        };
        Ok(ReducedClimb {
            tapeline_rate: tapeline,
            energy_rate: energy_rate(
                tapeline,
                speeds.true_airspeed,
                self.true_airspeed_gained_per_metre()?,
            ),
            corrected_rate: ClimbRate::from_metres_per_second(left_power_w / weight_n(reference)),
            corrected_airspeed,
        })
    }

    /// How much true airspeed a metre of true height brings at constant calibrated airspeed, with the day's deviation from
    /// the standard temperature all the way.
    fn true_airspeed_gained_per_metre(&self) -> Result<f64, ClimbError> {
        let deviation = self.temperature - standard_temperature(self.altitude.into())?;
        let true_airspeed_at = |altitude_ft: f64| -> Result<f64, ClimbError> {
            let altitude = PressureAltitude::from_feet(altitude_ft);
            let temperature = standard_temperature(altitude.into())? + deviation;
            let air = Air::at(altitude, Some(temperature))?;
            let speeds = Airspeeds::from_calibrated(self.airspeed, air)?;
            Ok(speeds.true_airspeed.metres_per_second())
        };
        let half = HEIGHT_STEP_FT / 2.0;
        let middle_ft = self.altitude.feet();
        let gained = true_airspeed_at(middle_ft + half)? - true_airspeed_at(middle_ft - half)?;
        let standard_kelvins = self.temperature.kelvins() - deviation.kelvins();
        let true_height_m =
            HEIGHT_STEP_FT * METRES_PER_FOOT * self.temperature.kelvins() / standard_kelvins;
        Ok(gained / true_height_m)
    }
}
