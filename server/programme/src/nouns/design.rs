//! What the aircraft is designed for, as far as its team states it: loading limits, and what load factors follow from.

use flight_science::loading::{Corner, LoadingEnvelope, MeanChord};
use flight_science::structural_envelope::{Basis, Design, StructuralEnvelope};
use quantities::{Area, EquivalentAirspeed, Length, Mass, PressureAltitude};
use serde::{Deserialize, Serialize};

use crate::measure::{Kind, Measure};
use crate::nouns::judging::Judging;

/// A corner of the loading limits.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LoadingCorner {
    /// Centre of gravity, in per cent of the mean aerodynamic chord.
    pub centre_of_gravity: Measure,
    /// Mass.
    pub mass: Measure,
}

/// Where mass and centre of gravity may be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LoadingLimits {
    /// Leading edge of the mean aerodynamic chord, aft of the datum.
    pub chord_leading_edge: Measure,
    /// Length of the mean aerodynamic chord.
    pub chord_length: Measure,
    /// Corners in order; they enclose what is allowed.
    pub corners: Vec<LoadingCorner>,
    /// Where the limits come from.
    pub source: String,
}

/// The certification basis whose limit load factors hold.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    PartialOrd,
    Ord,
    Serialize,
    Deserialize,
    utoipa::ToSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum CertificationBasis {
    /// CS-23 normal category, before amendment 5.
    #[serde(rename = "cs-23-normal")]
    Cs23Normal,
    /// CS-23 utility category, before amendment 5.
    #[serde(rename = "cs-23-utility")]
    Cs23Utility,
    /// CS-VLA.
    CsVla,
}

impl CertificationBasis {
    /// Every basis.
    pub const ALL: [CertificationBasis; 3] = [
        CertificationBasis::Cs23Normal,
        CertificationBasis::Cs23Utility,
        CertificationBasis::CsVla,
    ];

    const fn basis(self) -> Basis {
        match self {
            CertificationBasis::Cs23Normal => Basis::Cs23Normal,
            CertificationBasis::Cs23Utility => Basis::Cs23Utility,
            CertificationBasis::CsVla => Basis::CsVla,
        }
    }
}

/// What the limit load factors of an aircraft follow from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StructuralDesign {
    /// The certification basis.
    pub basis: CertificationBasis,
    /// Reference area of the wing, in square metres.
    pub wing_area_m2: f64,
    /// Greatest lift coefficient, flaps up.
    pub cl_max: f64,
    /// Least (inverted) lift coefficient; below zero.
    pub cl_min: f64,
    /// Slope of the aircraft's lift coefficient over angle of attack, for each radian.
    pub lift_slope_per_rad: f64,
    /// Mean geometric chord of the wing.
    pub mean_chord: Measure,
    /// Design cruising speed VC, as equivalent airspeed.
    pub cruise_speed: Measure,
    /// Design dive speed VD, as equivalent airspeed.
    pub dive_speed: Measure,
    /// Where the figures come from.
    pub source: String,
}

impl LoadingLimits {
    /// The chord; absent where its figures are no lengths.
    pub fn chord(&self) -> Option<MeanChord> {
        let length = |measure: Measure| {
            (measure.unit.kind() == Kind::Length)
                .then(|| Length::from_metres(measure.in_kinds_unit()))
        };
        Some(MeanChord {
            leading_edge: length(self.chord_leading_edge)?,
            length: length(self.chord_length)?,
        })
    }

    /// The limits as a polygon of places and masses; absent where the figures make none.
    pub fn envelope(&self) -> Option<LoadingEnvelope> {
        let chord = self.chord()?;
        let corners = self.corners.iter().map(|corner| Corner {
            cg_mm: place_mm(chord, corner.centre_of_gravity.in_kinds_unit()),
            mass_kg: corner.mass.in_kinds_unit(),
        });
        LoadingEnvelope::from_corners(corners.collect()).ok()
    }

    pub(super) fn judge(&self, field: &str, judging: &mut Judging<'_>) {
        judging.measure(
            &format!("{field}.chord_leading_edge"),
            self.chord_leading_edge,
            Kind::Length,
        );
        judging.measure_positive(&format!("{field}.chord_length"), self.chord_length, Kind::Length);
        for (place, corner) in self.corners.iter().enumerate() {
            let at = |name: &str| format!("{field}.corners[{place}].{name}");
            judging.measure(&at("centre_of_gravity"), corner.centre_of_gravity, Kind::Chord);
            judging.measure_positive(&at("mass"), corner.mass, Kind::Mass);
        }
        judging.must(
            self.envelope().is_some(),
            &format!("{field}.corners"),
            "must enclose an area: three corners or more, in order, with no edge that crosses another",
        );
        judging.text(&format!("{field}.source"), &self.source);
    }
}

/// A place in per cent of the chord, as millimetres aft of the datum.
pub(crate) fn place_mm(chord: MeanChord, percent: f64) -> f64 {
    chord.leading_edge.millimetres() + percent / 100.0 * chord.length.millimetres()
}

impl StructuralDesign {
    /// The envelope of limit load factors at a mass, with gusts met at sea level; absent where the figures contradict each
    /// other or the basis does not cover them.
    pub fn envelope(&self, mass: Mass) -> Option<StructuralEnvelope> {
        let knots = |measure: Measure| {
            (measure.unit.kind() == Kind::Speed)
                .then(|| EquivalentAirspeed::from_knots(measure.in_kinds_unit()))
        };
        let design = Design {
            basis: self.basis.basis(),
            mass,
            wing_area: Area::from_square_metres(self.wing_area_m2),
            cl_max: self.cl_max,
            cl_min: self.cl_min,
            lift_slope_per_rad: self.lift_slope_per_rad,
            mean_chord: Length::from_metres(self.mean_chord.in_kinds_unit()),
            cruise: knots(self.cruise_speed)?,
            dive: knots(self.dive_speed)?,
            altitude: PressureAltitude::from_feet(0.0),
        };
        design.envelope().ok()
    }

    pub(super) fn judge(&self, field: &str, judging: &mut Judging<'_>) {
        judging.positive(&format!("{field}.wing_area_m2"), self.wing_area_m2);
        judging.positive(&format!("{field}.cl_max"), self.cl_max);
        judging.must(self.cl_min < 0.0, &format!("{field}.cl_min"), "must be below zero");
        judging.finite(&format!("{field}.cl_min"), self.cl_min);
        judging.positive(&format!("{field}.lift_slope_per_rad"), self.lift_slope_per_rad);
        judging.measure_positive(&format!("{field}.mean_chord"), self.mean_chord, Kind::Length);
        judging.measure_positive(&format!("{field}.cruise_speed"), self.cruise_speed, Kind::Speed);
        judging.measure_positive(&format!("{field}.dive_speed"), self.dive_speed, Kind::Speed);
        judging.must(
            self.dive_speed.in_kinds_unit() > self.cruise_speed.in_kinds_unit(),
            &format!("{field}.dive_speed"),
            "must be above the cruising speed",
        );
        judging.text(&format!("{field}.source"), &self.source);
    }
}
