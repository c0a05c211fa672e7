//! Many calibrated airspeeds at once: whole columns of a recording.
//!
//! The definition stays with the conversion of a single value. Each call samples it at a few points, lays a polynomial
//! through them (Chebyshev interpolation, which for functions as smooth as these is exact to rounding), and runs the
//! columns through the polynomials. What the polynomials do not cover goes through the single conversion itself.

use quantities::{CalibratedAirspeed, Mach, PressureAltitude, Temperature};
use rayon::prelude::*;

use super::{Airspeeds, BeyondSubsonic, impact_pressure_ratio, mach_of_impact_pressure_ratio};
use crate::atmosphere::{
    self, Air, OutsideStandardAtmosphere, SEA_LEVEL_PA, sea_level_speed_of_sound,
};

/// Why a batch gave no answer. Where it names a row, that is the first that can't be converted.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum BatchRefused {
    /// Columns of different lengths.
    #[error(
        "the columns have {cas} airspeeds, {altitudes} altitudes and {temperatures} temperatures"
    )]
    Lengths {
        /// Number of airspeeds.
        cas: usize,
        /// Number of altitudes.
        altitudes: usize,
        /// Number of temperatures; as many as airspeeds if none were given.
        temperatures: usize,
    },
    /// An airspeed at which the method does not hold.
    #[error("row {row} can't be converted")]
    Airspeed {
        /// The row, counted from zero.
        row: usize,
        /// What is wrong with it.
        #[source]
        source: BeyondSubsonic,
    },
    /// An altitude at which the method does not hold.
    #[error("row {row} can't be converted")]
    Altitude {
        /// The row, counted from zero.
        row: usize,
        /// What is wrong with it.
        #[source]
        source: OutsideStandardAtmosphere,
    },
    /// A temperature at or below absolute zero.
    #[error("row {row} can't be converted: an air temperature of {oat_c} °C does not exist")]
    Temperature {
        /// The row, counted from zero.
        row: usize,
        /// The temperature given.
        oat_c: f64,
    },
}

/// True airspeeds in knots from columns of calibrated airspeed in knots, pressure altitude in feet and air temperature in
/// °C (standard if `None`).
///
/// A row in which any figure is NaN is missing and stays NaN. Valid as [`Airspeeds::from_calibrated`], and equal to it
/// to a relative 1e-12.
///
/// # Errors
///
/// [`BatchRefused`] if the columns differ in length or any row is outside the method's range.
///
/// # Source
///
/// As [`Airspeeds::from_calibrated`].
pub fn true_from_calibrated_batch(
    cas_kt: &[f64],
    pressure_altitude_ft: &[f64],
    oat_c: Option<&[f64]>,
) -> Result<Vec<f64>, BatchRefused> {
    let temperatures = oat_c.map_or(cas_kt.len(), <[f64]>::len);
    if pressure_altitude_ft.len() != cas_kt.len() || temperatures != cas_kt.len() {
        return Err(BatchRefused::Lengths {
            cas: cas_kt.len(),
            altitudes: pressure_altitude_ft.len(),
            temperatures,
        });
    }
    let columns = Columns { cas_kt, pressure_altitude_ft, oat_c };
    let interpolated = Interpolated::new();
    let mut tas_kt = vec![0.0; cas_kt.len()];
    // Each row stands alone, so that the blocks' order and number of threads do not show in the figures.
    let any_left = tas_kt
        .par_chunks_mut(BLOCK)
        .enumerate()
        .map(|(block, tas_kt)| {
            let fill = Fill {
                interpolated: &interpolated,
                columns: &columns,
                start: block * BLOCK,
                tas_kt,
            };
            pulp::Arch::new().dispatch(fill)
        })
        .reduce(|| false, |one, other| one | other);
    if any_left {
        for (row, tas_kt) in tas_kt.iter_mut().enumerate().filter(|(_, tas_kt)| tas_kt.is_nan()) {
            *tas_kt = columns.convert_row(row)?;
        }
    }
    Ok(tas_kt)
}

struct Columns<'a> {
    cas_kt: &'a [f64],
    pressure_altitude_ft: &'a [f64],
    oat_c: Option<&'a [f64]>,
}

impl Columns<'_> {
    /// One row by the single conversion.
    fn convert_row(&self, row: usize) -> Result<f64, BatchRefused> {
        let (cas_kt, altitude_ft) = (self.cas_kt[row], self.pressure_altitude_ft[row]);
        let oat_c = self.oat_c.map(|oat_c| oat_c[row]);
        if cas_kt.is_nan() || altitude_ft.is_nan() || oat_c.is_some_and(f64::is_nan) {
            return Ok(f64::NAN);
        }
        if let Some(oat_c) = oat_c
            && Temperature::from_celsius(oat_c).kelvins() <= 0.0
        {
            return Err(BatchRefused::Temperature { row, oat_c });
        }
        let air =
            Air::at(PressureAltitude::from_feet(altitude_ft), oat_c.map(Temperature::from_celsius))
                .map_err(|source| BatchRefused::Altitude { row, source })?;
        let speeds = Airspeeds::from_calibrated(CalibratedAirspeed::from_knots(cas_kt), air)
            .map_err(|source| BatchRefused::Airspeed { row, source })?;
        Ok(speeds.true_airspeed.knots())
    }
}

/// Rows that go through the polynomials together, so that the processor's vector unit is kept full.
const LANES: usize = 32;

/// Rows that one thread takes at a time.
const BLOCK: usize = 1 << 15;

/// Pressure altitudes in feet for which the polynomials are laid: those of light aircraft.
const ALTITUDES_FT: (f64, f64) = (-2_000.0, 20_000.0);
/// Largest calibrated airspeed over the sea-level speed of sound, squared, for which they are laid: 330 kt.
const LARGEST_SQUARE: f64 = 0.25;
/// Largest impact pressure over static pressure for which they are laid: Mach 0.62.
const LARGEST_RATIO: f64 = 0.3;

/// Air temperatures in °C for which they are laid.
const TEMPERATURES_C: (f64, f64) = (-60.0, 60.0);

/// The single conversion, taken apart into smooth functions of one variable each, as polynomials: with m the calibrated
/// airspeed over the sea-level speed of sound, M = m √((qc/p0)/m²) √(p0/p) √(M²/(qc/p)) and TAS = M a.
///
/// The number of coefficients is what brings each to a relative 2e-13 over its range.
struct Interpolated {
    /// √(p0/p) over pressure altitude in feet.
    pressure: Polynomial<11>,
    /// √((qc/p0)/m²) over m².
    impact_pressure: Polynomial<6>,
    /// √(M²/(qc/p)) over qc/p.
    mach: Polynomial<10>,
    /// Speed of sound in knots over air temperature in °C.
    sound_kt: Polynomial<12>,
    /// Speed of sound in knots in the standard atmosphere over pressure altitude in feet.
    standard_sound_kt: Polynomial<9>,
    /// One over the sea-level speed of sound.
    per_sound_kt: f64,
}

impl Interpolated {
    fn new() -> Self {
        // The range of altitudes lies inside the standard atmosphere. If it ever did not, NaN would send each row to the
        // single conversion.
        let standard =
            |altitude_ft: f64| Air::at(PressureAltitude::from_feet(altitude_ft), None).ok();
        Self {
            pressure: Polynomial::through(ALTITUDES_FT, |altitude_ft| {
                standard(altitude_ft)
                    .map_or(f64::NAN, |air| (SEA_LEVEL_PA / air.pressure.pascals()).sqrt())
            }),
            impact_pressure: Polynomial::through((0.0, LARGEST_SQUARE), |square| {
                (impact_pressure_ratio(Mach::from_ratio(square.sqrt())) / square).sqrt()
            }),
            mach: Polynomial::through((0.0, LARGEST_RATIO), |ratio| {
                mach_of_impact_pressure_ratio(ratio).ratio() / ratio.sqrt()
            }),
            sound_kt: Polynomial::through(TEMPERATURES_C, |oat_c| {
                atmosphere::speed_of_sound(Temperature::from_celsius(oat_c)).knots()
            }),
            standard_sound_kt: Polynomial::through(ALTITUDES_FT, |altitude_ft| {
                standard(altitude_ft).map_or(f64::NAN, |air| air.speed_of_sound().knots())
            }),
            per_sound_kt: 1.0 / sea_level_speed_of_sound().knots(),
        }
    }

    /// Fills in the rows from `start` on; NaN where a row is missing, outside the polynomials' range, or faulty.
    /// Gives whether there was such a row.
    #[inline(always)]
    fn lanes(&self, columns: &Columns<'_>, start: usize) -> ([f64; LANES], bool) {
        let cas_kt = lanes_of(columns.cas_kt, start);
        let altitude_ft = lanes_of(columns.pressure_altitude_ft, start);
        // Comparisons with NaN are false, so a missing figure is not covered.
        let mut covered = [true; LANES];
        let sound_kt = match columns.oat_c {
            Some(oat_c) => {
                let oat_c = lanes_of(oat_c, start);
                for lane in 0..LANES {
                    covered[lane] =
                        (oat_c[lane] >= TEMPERATURES_C.0) & (oat_c[lane] <= TEMPERATURES_C.1);
                }
                self.sound_kt.at(&oat_c)
            }
            None => self.standard_sound_kt.at(&altitude_ft),
        };
        let mut m = [0.0; LANES];
        let mut square = [0.0; LANES];
        for lane in 0..LANES {
            m[lane] = cas_kt[lane] * self.per_sound_kt;
            square[lane] = m[lane] * m[lane];
        }
        let impact_pressure = self.impact_pressure.at(&square);
        let pressure = self.pressure.at(&altitude_ft);
        let mut root = [0.0; LANES];
        let mut ratio = [0.0; LANES];
        for lane in 0..LANES {
            root[lane] = m[lane] * impact_pressure[lane] * pressure[lane];
            ratio[lane] = root[lane] * root[lane];
        }
        let mach = self.mach.at(&ratio);
        let mut tas_kt = [0.0; LANES];
        let mut any_left = false;
        for lane in 0..LANES {
            let covered = covered[lane]
                & (m[lane] >= 0.0)
                & (square[lane] <= LARGEST_SQUARE)
                & (altitude_ft[lane] >= ALTITUDES_FT.0)
                & (altitude_ft[lane] <= ALTITUDES_FT.1)
                & (ratio[lane] <= LARGEST_RATIO);
            let tas = root[lane] * mach[lane] * sound_kt[lane];
            tas_kt[lane] = if covered { tas } else { f64::NAN };
            any_left |= !covered;
        }
        (tas_kt, any_left)
    }
}

/// Fills in true airspeeds in knots, and NaN where a row is missing, outside the polynomials' range, or faulty. Gives
/// whether there was such a row.
struct Fill<'a> {
    interpolated: &'a Interpolated,
    columns: &'a Columns<'a>,
    /// The row that `tas_kt` begins with.
    start: usize,
    tas_kt: &'a mut [f64],
}

impl pulp::NullaryFnOnce for Fill<'_> {
    type Output = bool;

    #[inline(always)]
    fn call(self) -> bool {
        let (chunks, rest) = self.tas_kt.as_chunks_mut::<LANES>();
        let mut any_left = !rest.is_empty();
        let mut start = self.start;
        for chunk in chunks {
            let (tas_kt, left) = self.interpolated.lanes(self.columns, start);
            *chunk = tas_kt;
            any_left |= left;
            start += LANES;
        }
        rest.fill(f64::NAN);
        any_left
    }
}

/// The figures of as many rows as go together. There are at least so many from `start` on.
#[inline(always)]
fn lanes_of(column: &[f64], start: usize) -> [f64; LANES] {
    let mut lanes = [0.0; LANES];
    lanes.copy_from_slice(&column[start..start + LANES]);
    lanes
}

/// A polynomial with `N` coefficients, in a variable scaled to -1 … 1 over its range.
struct Polynomial<const N: usize> {
    scale: f64,
    shift: f64,
    coefficients: [f64; N],
}

impl<const N: usize> Polynomial<N> {
    /// Through `function` at the Chebyshev points of the range.
    fn through((low, high): (f64, f64), function: impl Fn(f64) -> f64) -> Self {
        let (centre, half) = (0.5 * (low + high), 0.5 * (high - low));
        let angle = |point: usize| std::f64::consts::PI * (point as f64 + 0.5) / N as f64;
        let values: Vec<f64> =
            (0..N).map(|point| function(centre + half * angle(point).cos())).collect();
        // Sum the Chebyshev series in powers of the variable: T0 = 1, T1 = x, T(n+1) = 2 x T(n) - T(n-1).
        let mut coefficients = [0.0; N];
        let (mut last, mut this) = ([0.0; N], [0.0; N]);
        this[0] = 1.0;
        for order in 0..N {
            let sum: f64 =
                (0..N).map(|point| values[point] * (order as f64 * angle(point)).cos()).sum();
            let weight = sum * if order == 0 { 1.0 } else { 2.0 } / N as f64;
            let mut next = [0.0; N];
            for power in 0..N {
                coefficients[power] += weight * this[power];
                if power + 1 < N {
                    next[power + 1] += if order == 0 { this[power] } else { 2.0 * this[power] };
                }
                if order > 0 {
                    next[power] -= last[power];
                }
            }
            (last, this) = (this, next);
        }
        Self { scale: 1.0 / half, shift: -centre / half, coefficients }
    }

    /// The values, by Horner's scheme. A fused multiply-add rounds once, in hardware or not, so that every machine
    /// gives the same figures.
    #[inline(always)]
    fn at(&self, variable: &[f64; LANES]) -> [f64; LANES] {
        let mut x = [0.0; LANES];
        let mut value = [self.coefficients[N - 1]; LANES];
        for lane in 0..LANES {
            x[lane] = variable[lane].mul_add(self.scale, self.shift);
        }
        for coefficient in self.coefficients[..N - 1].iter().rev() {
            for lane in 0..LANES {
                value[lane] = value[lane].mul_add(x[lane], *coefficient);
            }
        }
        value
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]

    use proptest::prelude::*;

    use super::*;

    fn single(cas_kt: f64, altitude_ft: f64, oat_c: Option<f64>) -> Option<f64> {
        let altitude = PressureAltitude::from_feet(altitude_ft);
        let air = Air::at(altitude, oat_c.map(Temperature::from_celsius)).unwrap();
        Airspeeds::from_calibrated(CalibratedAirspeed::from_knots(cas_kt), air)
            .ok()
            .map(|speeds| speeds.true_airspeed.knots())
    }

    fn rows() -> impl Strategy<Value = Vec<(f64, f64, f64)>> {
        let row = (0.0..=420.0, -16_404.0..=40_000.0, -60.0..=50.0);
        proptest::collection::vec(row, 1..200).prop_map(|rows| {
            rows.into_iter()
                .filter(|(cas_kt, altitude_ft, _)| single(*cas_kt, *altitude_ft, None).is_some())
                .collect()
        })
    }

    proptest! {
        #[test]
        fn a_batch_gives_what_the_single_conversion_gives(rows in rows()) {
            let cas_kt: Vec<f64> = rows.iter().map(|row| row.0).collect();
            let altitude_ft: Vec<f64> = rows.iter().map(|row| row.1).collect();
            let oat_c: Vec<f64> = rows.iter().map(|row| row.2).collect();
            let warm = true_from_calibrated_batch(&cas_kt, &altitude_ft, Some(&oat_c)).unwrap();
            let standard = true_from_calibrated_batch(&cas_kt, &altitude_ft, None).unwrap();
            for (row, (cas_kt, altitude_ft, oat_c)) in rows.into_iter().enumerate() {
                let one = single(cas_kt, altitude_ft, Some(oat_c)).unwrap();
                prop_assert!((warm[row] - one).abs() <= 1.0e-12 * one);
                let one = single(cas_kt, altitude_ft, None).unwrap();
                prop_assert!((standard[row] - one).abs() <= 1.0e-12 * one);
            }
        }
    }

    #[test]
    fn a_missing_figure_stays_missing_and_its_neighbours_are_converted() {
        let mut cas_kt = vec![80.0; 100];
        let mut altitude_ft = vec![2_000.0; 100];
        let mut oat_c = vec![5.0; 100];
        cas_kt[3] = f64::NAN;
        altitude_ft[50] = f64::NAN;
        oat_c[99] = f64::NAN;
        let tas_kt = true_from_calibrated_batch(&cas_kt, &altitude_ft, Some(&oat_c)).unwrap();
        let missing: Vec<usize> = (0..100).filter(|row| tas_kt[*row].is_nan()).collect();
        assert_eq!(missing, [3, 50, 99]);
    }

    #[test]
    fn the_first_row_outside_the_range_is_named() {
        let mut cas_kt = vec![80.0; 100];
        cas_kt[70] = -1.0;
        cas_kt[40] = 700.0;
        assert!(matches!(
            true_from_calibrated_batch(&cas_kt, &[0.0; 100], None),
            Err(BatchRefused::Airspeed { row: 40, source: BeyondSubsonic::Supersonic { .. } })
        ));
        assert!(matches!(
            true_from_calibrated_batch(&[80.0; 2], &[0.0, 70_000.0], None),
            Err(BatchRefused::Altitude { row: 1, .. })
        ));
        assert!(matches!(
            true_from_calibrated_batch(&[80.0; 2], &[0.0; 2], Some(&[15.0, -300.0])),
            Err(BatchRefused::Temperature { row: 1, .. })
        ));
        assert!(matches!(
            true_from_calibrated_batch(&[80.0; 2], &[0.0; 3], None),
            Err(BatchRefused::Lengths { cas: 2, altitudes: 3, temperatures: 2 })
        ));
    }
}
