//! What one unit is in another: exact by definition.
//!
//! # Source
//!
//! The factors are definitions (international yard and pound of 1959, nautical mile of 1 852 m, standard acceleration of
//! free fall); NIST SP 811 (2008), Appendix B, gives the same figures. Checked by `published/units.toml`, whose rows say
//! how each figure was come by.

/// Standard acceleration of free fall.
pub const STANDARD_GRAVITY_M_PER_S2: f64 = 9.806_65;

/// Metres in one foot.
pub const METRES_PER_FOOT: f64 = 0.304_8;
/// Metres in one inch.
pub const METRES_PER_INCH: f64 = 0.025_4;
/// Metres in one nautical mile.
pub const METRES_PER_NAUTICAL_MILE: f64 = 1_852.0;
/// Metres in one statute mile.
pub const METRES_PER_STATUTE_MILE: f64 = 5_280.0 * METRES_PER_FOOT;

/// Metres per second in one knot.
pub const MPS_PER_KNOT: f64 = METRES_PER_NAUTICAL_MILE / SECONDS_PER_HOUR;
/// Metres per second in one kilometre per hour.
pub const MPS_PER_KM_PER_HOUR: f64 = 1_000.0 / SECONDS_PER_HOUR;
/// Metres per second in one foot per minute.
pub const MPS_PER_FOOT_PER_MINUTE: f64 = METRES_PER_FOOT / SECONDS_PER_MINUTE;

/// Kilograms in one pound (avoirdupois).
pub const KILOGRAMS_PER_POUND: f64 = 0.453_592_37;
/// Newtons in one pound-force.
pub const NEWTONS_PER_POUND_FORCE: f64 = KILOGRAMS_PER_POUND * STANDARD_GRAVITY_M_PER_S2;
/// Kilograms in one slug, which is one pound-force second squared per foot.
pub const KILOGRAMS_PER_SLUG: f64 = NEWTONS_PER_POUND_FORCE / METRES_PER_FOOT;
/// Newton metres in one pound-force foot.
pub const NEWTON_METRES_PER_POUND_FORCE_FOOT: f64 = NEWTONS_PER_POUND_FORCE * METRES_PER_FOOT;

/// Pascals in one hectopascal, which is one millibar.
pub const PASCALS_PER_HECTOPASCAL: f64 = 100.0;
/// Pascals in one pound-force per square inch.
pub const PASCALS_PER_PSI: f64 = NEWTONS_PER_POUND_FORCE / (METRES_PER_INCH * METRES_PER_INCH);
/// Pascals in one pound-force per square foot.
pub const PASCALS_PER_PSF: f64 = NEWTONS_PER_POUND_FORCE / (METRES_PER_FOOT * METRES_PER_FOOT);
/// Pascals in one inch of mercury, the conventional one that altimeter settings are in: conventional density of mercury
/// of 13 595.1 kg/m³ under standard gravity. (Mercury at 0 °C is the same to five digits.)
pub const PASCALS_PER_INCH_OF_MERCURY: f64 = 13_595.1 * STANDARD_GRAVITY_M_PER_S2 * METRES_PER_INCH;

/// Watts in one kilowatt.
pub const WATTS_PER_KILOWATT: f64 = 1_000.0;
/// Watts in one mechanical horsepower, which is 550 pound-force feet per second.
pub const WATTS_PER_HORSEPOWER: f64 = 550.0 * NEWTON_METRES_PER_POUND_FORCE_FOOT;
/// Watts in one metric horsepower, which is 75 kilogram-force metres per second.
pub const WATTS_PER_METRIC_HORSEPOWER: f64 = 75.0 * STANDARD_GRAVITY_M_PER_S2;

/// Joules in one kilowatt-hour.
pub const JOULES_PER_KILOWATT_HOUR: f64 = WATTS_PER_KILOWATT * SECONDS_PER_HOUR;
/// Coulombs in one ampere-hour.
pub const COULOMBS_PER_AMPERE_HOUR: f64 = SECONDS_PER_HOUR;

/// Cubic metres in one US gallon, which is 231 cubic inches.
pub const CUBIC_METRES_PER_US_GALLON: f64 =
    231.0 * METRES_PER_INCH * METRES_PER_INCH * METRES_PER_INCH;

/// Seconds in one minute.
pub const SECONDS_PER_MINUTE: f64 = 60.0;
/// Seconds in one hour.
pub const SECONDS_PER_HOUR: f64 = 3_600.0;

/// Kelvins at 0 °C.
pub const KELVINS_AT_ZERO_CELSIUS: f64 = 273.15;
/// Kelvins in one Fahrenheit degree.
pub const KELVINS_PER_FAHRENHEIT_DEGREE: f64 = 5.0 / 9.0;
