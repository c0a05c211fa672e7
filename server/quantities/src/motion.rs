//! Speeds, rates, times and load factor.

use crate::kinds::kinds;
use crate::units::{
    MPS_PER_FOOT_PER_MINUTE, MPS_PER_KM_PER_HOUR, MPS_PER_KNOT, SECONDS_PER_HOUR,
    SECONDS_PER_MINUTE,
};

kinds! {
    /// What a perfect airspeed indicator in a perfect installation would show.
    CalibratedAirspeed held in from_metres_per_second / metres_per_second,
        from_knots / knots by MPS_PER_KNOT;

    /// The speed at sea-level density that has the same dynamic pressure; what structures feel.
    EquivalentAirspeed held in from_metres_per_second / metres_per_second,
        from_knots / knots by MPS_PER_KNOT;

    /// Speed through the air mass.
    TrueAirspeed held in from_metres_per_second / metres_per_second,
        from_knots / knots by MPS_PER_KNOT,
        from_km_per_hour / km_per_hour by MPS_PER_KM_PER_HOUR;

    /// Speed over the ground.
    GroundSpeed held in from_metres_per_second / metres_per_second,
        from_knots / knots by MPS_PER_KNOT;

    /// Speed of the air mass over the ground.
    WindSpeed held in from_metres_per_second / metres_per_second,
        from_knots / knots by MPS_PER_KNOT;

    /// Speed of sound in the air at its actual temperature.
    SpeedOfSound held in from_metres_per_second / metres_per_second,
        from_knots / knots by MPS_PER_KNOT;

    /// True airspeed as a ratio to the speed of sound.
    Mach held in from_ratio / ratio;

    /// Rate of climb, upwards positive.
    ClimbRate held in from_metres_per_second / metres_per_second,
        from_feet_per_minute / feet_per_minute by MPS_PER_FOOT_PER_MINUTE;

    /// Lift as a ratio to weight; 1 in steady level flight.
    LoadFactor held in from_ratio / ratio;

    /// A length of time.
    Duration held in from_seconds / seconds,
        from_minutes / minutes by SECONDS_PER_MINUTE,
        from_hours / hours by SECONDS_PER_HOUR;

    /// Cycles in a second.
    Frequency held in from_hertz / hertz;
}
