//! The design boundary: what the aircraft, as it is described, may never be asked for.
//!
//! Figures that the description does not state bound nothing here; limits and the plan's own stop criteria still do. A
//! target exactly on the boundary is inside. No deviation lifts this hold.

use chrono::{DateTime, Utc};

use super::{Explained, Reason, Rule, Subject, words};
use crate::envelope::{self, Pair};
use crate::measure::Measure;
use crate::nouns::Axis;
use crate::state::{Rung, State};

static BEYOND: Rule = Rule::against_release(
    "target-beyond-design-boundary",
    "No target lies beyond what the aircraft is designed for, as far as its description states it.",
);

pub(super) static RULES: &[&Rule] = &[&BEYOND];

/// A target that the aircraft is not designed for.
#[derive(Debug, Clone, PartialEq)]
pub enum BeyondDesign {
    /// On one axis.
    Axis {
        /// Which.
        axis: Axis,
        /// The target.
        target: Measure,
        /// The least and the greatest that is allowed, as far as stated.
        bounds: (Option<Measure>, Option<Measure>),
    },
    /// On two axes together.
    Pair {
        /// Which.
        pair: Pair,
        /// Both targets, across and upwards.
        targets: (Measure, Measure),
        /// Whether the boundary is known at the loadings flown.
        known: bool,
    },
}

/// Whether the aircraft states what load factors follow from, and that gives no envelope at the masses flown.
fn structure_is_unknown(state: &State) -> bool {
    state.aircraft.as_ref().is_some_and(|aircraft| aircraft.structure.is_some())
        && envelope::structures(state).is_empty()
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    let conditions = &rung.point.conditions;
    let mut beyond = Vec::new();
    for (axis, condition) in conditions {
        let target = condition.target();
        if envelope::is_beyond(state, *axis, target) {
            let bounds = envelope::design_of_axis(state, *axis);
            beyond.push(*axis);
            found.push(Reason::BeyondDesign(BeyondDesign::Axis { axis: *axis, target, bounds }));
        }
    }
    for pair in [Pair::SpeedLoadFactor, Pair::MassCentreOfGravity] {
        let ((x, x_unit), (y, y_unit)) = (pair.across(), pair.upwards());
        let (Some(across), Some(upwards)) = (conditions.get(&x), conditions.get(&y)) else {
            continue;
        };
        // What is told of one axis is not told of both again.
        if beyond.contains(&x) || beyond.contains(&y) {
            continue;
        }
        let targets = (across.target(), upwards.target());
        let at =
            [targets.0.in_unit(x_unit), targets.1.in_unit(y_unit)].map(|it| it.unwrap_or(f64::NAN));
        let known = pair != Pair::SpeedLoadFactor || !structure_is_unknown(state);
        if !known || envelope::pair_is_beyond(state, pair, at) {
            found.push(Reason::BeyondDesign(BeyondDesign::Pair { pair, targets, known }));
        }
    }
}

impl Explained for BeyondDesign {
    fn rule(&self) -> &'static Rule {
        &BEYOND
    }

    fn subject(&self, _: &Rung) -> Subject {
        match self {
            BeyondDesign::Axis { axis, .. } => Subject::new("axis", axis),
            BeyondDesign::Pair { pair, .. } => Subject::new("pair", pair),
        }
    }

    fn why(&self, _: &Rung, _: &State) -> String {
        match self {
            BeyondDesign::Axis { axis, target, bounds } => {
                let axis = words::axis(*axis);
                match bounds {
                    (Some(least), Some(greatest)) => format!(
                        "The target {target} in {axis} lies beyond the {least} to {greatest} that the aircraft is \
                         designed for."
                    ),
                    (None, Some(greatest)) => format!(
                        "The target {target} in {axis} is more than the {greatest} that the aircraft is designed for."
                    ),
                    (Some(least), None) => format!(
                        "The target {target} in {axis} is less than the {least} that the aircraft is designed for."
                    ),
                    (None, None) => {
                        format!("The target {target} in {axis} is no figure of that axis.")
                    }
                }
            }
            BeyondDesign::Pair { pair, targets: (across, upwards), known } => {
                let (x, y) = (words::axis(pair.across().0), words::axis(pair.upwards().0));
                if *known {
                    format!(
                        "{across} in {x} with {upwards} in {y} lies beyond what the aircraft is designed for, though each \
                         alone does not."
                    )
                } else {
                    format!(
                        "Whether the aircraft is designed for {across} in {x} with {upwards} in {y} is not known: what it \
                         states gives no limit load factors at the masses flown."
                    )
                }
            }
        }
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        let code = &rung.point.code;
        match self {
            BeyondDesign::Axis { .. } | BeyondDesign::Pair { known: true, .. } => {
                format!("The targets of {code} are brought inside the design boundary.")
            }
            BeyondDesign::Pair { known: false, .. } => {
                "The description of the aircraft is put right, so that its basis covers the masses flown.".to_owned()
            }
        }
    }

    fn source(&self, _: &Rung, state: &State) -> String {
        let aircraft = state.aircraft.as_ref();
        let stated = match self {
            BeyondDesign::Pair { pair: Pair::SpeedLoadFactor, .. }
            | BeyondDesign::Axis { axis: Axis::LoadFactor, .. } => {
                aircraft.and_then(|it| it.structure.as_ref()).map(|it| &it.source)
            }
            BeyondDesign::Pair { .. } | BeyondDesign::Axis { axis: Axis::CentreOfGravity, .. } => {
                aircraft.and_then(|it| it.loading_limits.as_ref()).map(|it| &it.source)
            }
            BeyondDesign::Axis { .. } => None,
        };
        stated.map_or_else(
            || "the description of the aircraft".to_owned(),
            |source| format!("the description of the aircraft: {source}"),
        )
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::measure::Unit;
    use crate::nouns::{CertificationBasis, StructuralDesign};
    use crate::record::AircraftDescribed;
    use crate::story::{Story, condition, point};

    fn described() -> Story {
        let mut story = Story::team();
        let mut aircraft = story.state.aircraft.clone().unwrap();
        aircraft.never_exceed_speed = Some(Measure::new(120.0, Unit::Knot));
        aircraft.maximum_mass = Some(Measure::new(760.0, Unit::Kilogram));
        aircraft.structure = Some(StructuralDesign {
            basis: CertificationBasis::Cs23Utility,
            wing_area_m2: 15.2,
            cl_max: 1.5,
            cl_min: -0.9,
            lift_slope_per_rad: 4.9,
            mean_chord: Measure::new(1.3, Unit::Metre),
            cruise_speed: Measure::new(100.0, Unit::Knot),
            dive_speed: Measure::new(133.0, Unit::Knot),
            source: "an invented design".to_owned(),
        });
        story.record("lead", AircraftDescribed { aircraft });
        story
    }

    fn rules(story: &mut Story, targets: &[(Axis, f64, Unit)]) -> bool {
        let mut planned = point("B");
        planned.axes_together = true;
        planned.conditions =
            targets.iter().map(|(axis, at, unit)| (*axis, condition(*at, 1.0, *unit))).collect();
        story.plan(planned).approve("B");
        story.rules("B").contains(&"target-beyond-design-boundary")
    }

    #[test]
    fn a_target_at_the_boundary_is_inside_and_one_beyond_it_is_held() {
        let mut story = described();
        assert!(!rules(&mut story, &[(Axis::Speed, 120.0, Unit::Knot)]));
        assert!(rules(&mut story, &[(Axis::Speed, 120.1, Unit::Knot)]));
        assert!(!rules(&mut story, &[(Axis::Mass, 760.0, Unit::Kilogram)]));
        assert!(rules(&mut story, &[(Axis::Mass, 760.1, Unit::Kilogram)]));
        // CS-23 utility: 4.4 g.
        assert!(!rules(&mut story, &[(Axis::LoadFactor, 4.4, Unit::G)]));
        assert!(rules(&mut story, &[(Axis::LoadFactor, 4.5, Unit::G)]));
    }

    #[test]
    fn a_load_factor_that_the_wing_cannot_lift_at_the_speed_is_held_though_each_alone_is_not() {
        let mut story = described();
        let at = |speed, n| [(Axis::Speed, speed, Unit::Knot), (Axis::LoadFactor, n, Unit::G)];
        assert!(!rules(&mut story, &at(100.0, 4.0)));
        assert!(rules(&mut story, &at(60.0, 4.0)));
        assert_eq!(
            story.hold("B", "target-beyond-design-boundary").subject.code,
            "speed-load-factor"
        );
    }

    #[test]
    fn a_basis_that_does_not_cover_the_mass_is_unknown_and_holds() {
        let mut story = described();
        let mut aircraft = story.state.aircraft.clone().unwrap();
        aircraft.structure.as_mut().unwrap().basis = CertificationBasis::CsVla;
        story.record("lead", AircraftDescribed { aircraft });
        let targets = [(Axis::Speed, 60.0, Unit::Knot), (Axis::LoadFactor, 1.2, Unit::G)];
        assert!(rules(&mut story, &targets), "760 kg is more than CS-VLA covers");
        assert!(story.hold("B", "target-beyond-design-boundary").why.contains("is not known"));
    }

    #[test]
    fn what_is_not_stated_bounds_nothing() {
        let mut story = Story::team();
        assert!(!rules(&mut story, &[(Axis::Mass, 9000.0, Unit::Kilogram)]));
    }
}
