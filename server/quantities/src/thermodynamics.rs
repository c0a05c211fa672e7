//! Pressure, density and temperature.

use crate::kinds::kinds;
use crate::units::{
    KELVINS_AT_ZERO_CELSIUS, KELVINS_PER_FAHRENHEIT_DEGREE, PASCALS_PER_HECTOPASCAL,
    PASCALS_PER_INCH_OF_MERCURY, PASCALS_PER_PSI,
};

kinds! {
    /// A pressure: static, impact or dynamic.
    Pressure held in from_pascals / pascals,
        from_hectopascals / hectopascals by PASCALS_PER_HECTOPASCAL,
        from_inches_of_mercury / inches_of_mercury by PASCALS_PER_INCH_OF_MERCURY,
        from_psi / psi by PASCALS_PER_PSI;

    /// A mass of air in a volume.
    Density held in from_kg_per_m3 / kg_per_m3;

    /// A temperature on a scale with a zero. A difference of two is a [`TemperatureDifference`].
    Temperature held in from_kelvins / kelvins;

    /// How much warmer one temperature is than another.
    TemperatureDifference held in from_kelvins / kelvins;
}

impl Temperature {
    /// From a figure in degrees Celsius.
    pub const fn from_celsius(celsius: f64) -> Self {
        Self::from_kelvins(celsius + KELVINS_AT_ZERO_CELSIUS)
    }

    /// The figure in degrees Celsius.
    pub const fn celsius(self) -> f64 {
        self.kelvins() - KELVINS_AT_ZERO_CELSIUS
    }

    /// From a figure in degrees Fahrenheit.
    pub const fn from_fahrenheit(fahrenheit: f64) -> Self {
        Self::from_celsius((fahrenheit - 32.0) * KELVINS_PER_FAHRENHEIT_DEGREE)
    }

    /// The figure in degrees Fahrenheit.
    pub const fn fahrenheit(self) -> f64 {
        self.celsius() / KELVINS_PER_FAHRENHEIT_DEGREE + 32.0
    }
}

impl std::ops::Sub for Temperature {
    type Output = TemperatureDifference;

    fn sub(self, colder: Self) -> TemperatureDifference {
        TemperatureDifference::from_kelvins(self.kelvins() - colder.kelvins())
    }
}

impl std::ops::Add<TemperatureDifference> for Temperature {
    type Output = Self;

    fn add(self, warmer_by: TemperatureDifference) -> Self {
        Self::from_kelvins(self.kelvins() + warmer_by.kelvins())
    }
}
