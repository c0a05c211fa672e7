//! A figure and its unit, kept as a person typed them, and compared only within one kind.

use std::fmt;

use serde::{Deserialize, Serialize};

/// The kinds of quantity that figures can belong to; only figures of one kind compare.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Speeds, held in knots.
    Speed,
    /// Lengths and altitudes, held in metres.
    Length,
    /// Masses, held in kilograms.
    Mass,
    /// Powers, held in kilowatts.
    Power,
    /// Energies, held in kilowatt-hours.
    Energy,
    /// Times, held in seconds.
    Time,
    /// Temperatures, held in degrees Celsius.
    Temperature,
    /// Readings of a temperature in degrees Fahrenheit, which recorders' files have. Nothing else is written in them, so
    /// that a difference of temperatures is never taken for a temperature.
    FahrenheitReading,
    /// Differences of temperature, held in kelvins.
    TemperatureDifference,
    /// Rates of temperature, held in kelvins a second.
    TemperatureRate,
    /// Shares of a whole, held in per cent.
    Share,
    /// Per cent of the mean aerodynamic chord.
    Chord,
    /// Multiples of the weight.
    LoadFactor,
    /// Voltages, held in volts.
    Voltage,
    /// Currents, held in amperes.
    Current,
    /// Charges, held in ampere-hours.
    Charge,
    /// Resistances, held in ohms.
    Resistance,
    /// Resistance by voltage, held in ohms a volt.
    ResistancePerVolt,
    /// Turns in a minute.
    Turning,
    /// Torques, held in newton-metres.
    Torque,
    /// Pressures, held in hectopascals.
    Pressure,
    /// Frequencies, held in hertz.
    Frequency,
    /// Angles, held in degrees.
    Angle,
    /// Vertical speeds, held in feet a minute.
    VerticalSpeed,
    /// Vibration velocities, held in millimetres a second.
    VibrationVelocity,
    /// Volume flows, held in litres a minute.
    Flow,
    /// Plain numbers and ratios.
    Number,
}

// The text is a token tree, since the description of the API is derived from the token itself.
macro_rules! units {
    ($($(#[$note:meta])* $name:ident $text:tt $kind:ident $factor:expr),+ $(,)?) => {
        /// The units that figures may be typed in.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema)]
        pub enum Unit {
            $($(#[$note])* #[serde(rename = $text)] $name,)+
        }

        impl Unit {
            /// Every unit.
            pub const ALL: &'static [Unit] = &[$(Unit::$name),+];

            /// The unit as written.
            pub const fn as_str(self) -> &'static str {
                match self { $(Unit::$name => $text),+ }
            }

            /// The kind of quantity that the unit measures.
            pub const fn kind(self) -> Kind {
                match self { $(Unit::$name => Kind::$kind),+ }
            }

            /// How many of the kind's own unit one of this is.
            const fn factor(self) -> f64 {
                match self { $(Unit::$name => $factor),+ }
            }
        }
    };
}

units! {
    /// Knots.
    Knot "kt" Speed 1.0,
    /// Kilometres an hour.
    KilometrePerHour "km/h" Speed 1.0 / 1.852,
    /// Metres a second.
    MetrePerSecond "m/s" Speed 3.6 / 1.852,
    /// Metres.
    Metre "m" Length 1.0,
    /// Feet.
    Foot "ft" Length 0.3048,
    /// Kilometres.
    Kilometre "km" Length 1000.0,
    /// Millimetres.
    Millimetre "mm" Length 0.001,
    /// Kilograms.
    Kilogram "kg" Mass 1.0,
    /// Pounds.
    Pound "lb" Mass 0.453_592_37,
    /// Kilowatts.
    Kilowatt "kW" Power 1.0,
    /// Watts.
    Watt "W" Power 0.001,
    /// Kilowatt-hours.
    KilowattHour "kWh" Energy 1.0,
    /// Watt-hours.
    WattHour "Wh" Energy 0.001,
    /// Seconds.
    Second "s" Time 1.0,
    /// Minutes.
    Minute "min" Time 60.0,
    /// Hours.
    Hour "h" Time 3600.0,
    /// Degrees Celsius.
    Celsius "degC" Temperature 1.0,
    /// Degrees Fahrenheit, of columns in recorders' files only: they become degrees Celsius as they are read.
    Fahrenheit "degF" FahrenheitReading 1.0,
    /// Kelvins of difference.
    Kelvin "K" TemperatureDifference 1.0,
    /// Kelvins a second.
    KelvinPerSecond "K/s" TemperatureRate 1.0,
    /// Kelvins a minute.
    KelvinPerMinute "K/min" TemperatureRate 1.0 / 60.0,
    /// Per cent.
    Percent "%" Share 1.0,
    /// Per cent of the mean aerodynamic chord.
    PercentMac "%MAC" Chord 1.0,
    /// Multiples of the weight.
    G "g" LoadFactor 1.0,
    /// Volts.
    Volt "V" Voltage 1.0,
    /// Millivolts.
    Millivolt "mV" Voltage 0.001,
    /// Amperes.
    Ampere "A" Current 1.0,
    /// Ampere-hours.
    AmpereHour "Ah" Charge 1.0,
    /// Ohms.
    Ohm "ohm" Resistance 1.0,
    /// Kilo-ohms.
    Kiloohm "kohm" Resistance 1000.0,
    /// Mega-ohms.
    Megaohm "Mohm" Resistance 1.0e6,
    /// Ohms a volt.
    OhmPerVolt "ohm/V" ResistancePerVolt 1.0,
    /// Turns a minute.
    Rpm "rpm" Turning 1.0,
    /// Newton-metres.
    NewtonMetre "Nm" Torque 1.0,
    /// Hectopascals.
    Hectopascal "hPa" Pressure 1.0,
    /// Hertz.
    Hertz "Hz" Frequency 1.0,
    /// Degrees of angle.
    Degree "deg" Angle 1.0,
    /// Feet a minute.
    FootPerMinute "ft/min" VerticalSpeed 1.0,
    /// Millimetres a second.
    MillimetrePerSecond "mm/s" VibrationVelocity 1.0,
    /// Litres a minute.
    LitrePerMinute "l/min" Flow 1.0,
    /// A plain number or ratio.
    One "1" Number 1.0,
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Unit::Celsius => "°C",
            Unit::Fahrenheit => "°F",
            Unit::Ohm => "Ω",
            Unit::Kiloohm => "kΩ",
            Unit::Megaohm => "MΩ",
            Unit::OhmPerVolt => "Ω/V",
            Unit::Degree => "°",
            Unit::One => "",
            other => other.as_str(),
        })
    }
}

/// Kelvins at 0 °C, by definition of the degree Celsius.
const KELVINS_AT_0_C: f64 = 273.15;

/// Degrees Fahrenheit at 0 °C, by definition.
const FAHRENHEIT_AT_0_C: f64 = 32.0;

/// Degrees Celsius that one degree Fahrenheit is, as a difference; by definition.
const CELSIUS_PER_FAHRENHEIT: f64 = 5.0 / 9.0;

/// How figures in one unit become figures in another: `figure × factor + offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conversion {
    /// Units of the other that one of this is.
    pub factor: f64,
    /// Added after that, in the other unit.
    pub offset: f64,
}

impl Unit {
    /// How readings in this unit become readings in another; absent where they do not compare.
    ///
    /// A reading of a temperature in kelvins is an absolute temperature, so it becomes degrees Celsius by its zero.
    /// Between differences of temperatures there is no such offset; those are no readings of one sensor.
    pub fn conversion_of_readings(self, other: Unit) -> Option<Conversion> {
        match (self, other) {
            (Unit::Kelvin, Unit::Celsius) => {
                Some(Conversion { factor: 1.0, offset: -KELVINS_AT_0_C })
            }
            (Unit::Fahrenheit, Unit::Celsius) => Some(Conversion {
                factor: CELSIUS_PER_FAHRENHEIT,
                offset: -FAHRENHEIT_AT_0_C * CELSIUS_PER_FAHRENHEIT,
            }),
            (this, other) if this == other => Some(Conversion { factor: 1.0, offset: 0.0 }),
            (this, other) if this.kind() == other.kind() => {
                Some(Conversion { factor: this.factor() / other.factor(), offset: 0.0 })
            }
            _ => None,
        }
    }
}

/// A figure with its unit, as typed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Measure {
    /// The figure, in `unit`.
    pub value: f64,
    /// The unit.
    pub unit: Unit,
}

impl Measure {
    /// A figure in a unit.
    pub const fn new(value: f64, unit: Unit) -> Self {
        Self { value, unit }
    }

    /// The figure in its kind's own unit, for comparing.
    pub fn in_kinds_unit(self) -> f64 {
        self.value * self.unit.factor()
    }

    /// The figure in another unit of the same kind; `None` where the kinds differ.
    pub fn in_unit(self, unit: Unit) -> Option<f64> {
        if unit == self.unit {
            return Some(self.value);
        }
        (unit.kind() == self.unit.kind()).then(|| self.in_kinds_unit() / unit.factor())
    }
}

impl fmt::Display for Measure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Nobody reads "-0".
        let rounded = 0.0 + (self.value * 1000.0).round() / 1000.0;
        match self.unit {
            Unit::One => write!(f, "{rounded}"),
            Unit::Percent => write!(f, "{rounded} %"),
            unit => write!(f, "{rounded} {unit}"),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn what_rounds_to_nothing_is_written_without_a_sign() {
        assert_eq!(Measure::new(-0.0, Unit::Second).to_string(), "0 s");
        assert_eq!(Measure::new(-0.000_4, Unit::Knot).to_string(), "0 kt");
        assert_eq!(Measure::new(-0.001, Unit::Knot).to_string(), "-0.001 kt");
    }

    #[test]
    fn figures_compare_within_their_kind_only() {
        // One nautical mile is 1852 m by definition.
        let speed = Measure::new(185.2, Unit::KilometrePerHour);
        assert!((speed.in_unit(Unit::Knot).unwrap() - 100.0).abs() < 1e-12);
        assert_eq!(speed.in_unit(Unit::Metre), None);
        assert_eq!(
            Measure::new(5.0, Unit::Celsius).in_unit(Unit::Kelvin),
            None,
            "a temperature is not a difference of temperatures"
        );
        assert_eq!(
            Measure::new(32.0, Unit::Fahrenheit).in_unit(Unit::Celsius),
            None,
            "a figure in degrees Fahrenheit may be a difference, so it is converted only where a file is read"
        );
    }

    #[test]
    fn readings_convert_within_their_kind_and_kelvins_are_absolute_where_a_temperature_is_read() {
        let convert = |from: Unit, to: Unit, figure: f64| {
            let conversion = from.conversion_of_readings(to)?;
            Some(figure * conversion.factor + conversion.offset)
        };
        assert_eq!(convert(Unit::Celsius, Unit::Celsius, 21.5), Some(21.5));
        assert!((convert(Unit::Kelvin, Unit::Celsius, 300.0).unwrap() - 26.85).abs() < 1e-12);
        assert!((convert(Unit::Millivolt, Unit::Volt, 3712.0).unwrap() - 3.712).abs() < 1e-12);
        // The boiling and the freezing point of water, the standard atmosphere's 11 km, and where both scales meet: from
        // memory, as follows from the definition.
        for (fahrenheit, celsius) in [(212.0, 100.0), (32.0, 0.0), (-69.7, -56.5), (-40.0, -40.0)] {
            let converted = convert(Unit::Fahrenheit, Unit::Celsius, fahrenheit).unwrap();
            assert!((converted - celsius).abs() < 1e-9, "{fahrenheit} °F: {converted}");
        }
        assert_eq!(convert(Unit::Fahrenheit, Unit::Kelvin, 5.0), None);
        assert_eq!(convert(Unit::Celsius, Unit::Fahrenheit, 5.0), None);
        assert_eq!(convert(Unit::Celsius, Unit::Kelvin, 5.0), None);
        assert_eq!(convert(Unit::Volt, Unit::Ampere, 5.0), None);
    }
}
