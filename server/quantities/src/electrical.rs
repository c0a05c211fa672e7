//! Power, energy and what they are made of.

use crate::kinds::kinds;
use crate::units::{
    COULOMBS_PER_AMPERE_HOUR, JOULES_PER_KILOWATT_HOUR, WATTS_PER_HORSEPOWER, WATTS_PER_KILOWATT,
};

kinds! {
    /// A power, electrical or mechanical.
    Power held in from_watts / watts,
        from_kilowatts / kilowatts by WATTS_PER_KILOWATT,
        from_horsepower / horsepower by WATTS_PER_HORSEPOWER;

    /// An energy.
    Energy held in from_joules / joules,
        from_kilowatt_hours / kilowatt_hours by JOULES_PER_KILOWATT_HOUR;

    /// An electrical potential difference.
    Voltage held in from_volts / volts;

    /// An electric current.
    Current held in from_amperes / amperes;

    /// An electric charge.
    Charge held in from_coulombs / coulombs,
        from_ampere_hours / ampere_hours by COULOMBS_PER_AMPERE_HOUR;
}

impl std::ops::Mul<Current> for Voltage {
    type Output = Power;

    fn mul(self, current: Current) -> Power {
        Power::from_watts(self.volts() * current.amperes())
    }
}
