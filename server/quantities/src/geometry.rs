//! Lengths, areas, masses, angles and the kinds of altitude.

use crate::kinds::kinds;
use crate::units::{KILOGRAMS_PER_POUND, METRES_PER_FOOT, METRES_PER_INCH};

kinds! {
    /// A length, or an arm from the datum.
    Length held in from_metres / metres,
        from_millimetres / millimetres by 1.0e-3,
        from_inches / inches by METRES_PER_INCH,
        from_feet / feet by METRES_PER_FOOT;

    /// An area.
    Area held in from_square_metres / square_metres;

    /// A mass.
    Mass held in from_kilograms / kilograms,
        from_pounds / pounds by KILOGRAMS_PER_POUND;

    /// An angle; as a direction it counts clockwise from true north.
    Angle held in from_radians / radians;

    /// Height in the standard atmosphere's own measure, in which gravity does not fall off.
    GeopotentialAltitude held in from_metres / metres,
        from_feet / feet by METRES_PER_FOOT;

    /// The geopotential altitude at which the standard atmosphere has this pressure.
    PressureAltitude held in from_metres / metres,
        from_feet / feet by METRES_PER_FOOT;

    /// The geopotential altitude at which the standard atmosphere has this density.
    DensityAltitude held in from_metres / metres,
        from_feet / feet by METRES_PER_FOOT;
}

impl Angle {
    /// From a figure in degrees.
    pub const fn from_degrees(degrees: f64) -> Self {
        Self::from_radians(degrees.to_radians())
    }

    /// The figure in degrees.
    pub const fn degrees(self) -> f64 {
        self.radians().to_degrees()
    }

    /// The same direction in degrees from 0 up to, but not including, 360.
    pub fn degrees_of_turn(self) -> f64 {
        let degrees = self.degrees().rem_euclid(360.0);
        // A tiny negative angle wraps to 360 exactly by rounding.
        if degrees >= 360.0 { 0.0 } else { degrees }
    }
}

impl From<PressureAltitude> for GeopotentialAltitude {
    /// A pressure altitude is an altitude of the standard atmosphere, so this is its plain meaning.
    fn from(altitude: PressureAltitude) -> Self {
        Self::from_metres(altitude.metres())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_direction_is_told_between_0_and_360() {
        for (given, told) in
            [(-90.0, 270.0), (0.0, 0.0), (360.0, 0.0), (725.0, 5.0), (-1.0e-30, 0.0)]
        {
            let turned = Angle::from_degrees(given).degrees_of_turn();
            assert!((turned - told).abs() < 1.0e-9, "{given} gave {turned}");
        }
    }
}
