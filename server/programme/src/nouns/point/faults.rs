//! What can be wrong with a point when it is looked at alone.

use super::{Axis, Comparison, Condition, CrewSeat, Criterion, Point, Statistic, WeatherMinima};
use crate::measure::{Kind, Measure};
use crate::nouns::Role;
use crate::nouns::judging::Judging;
use crate::refusal::Fault;

/// No point needs more people; more than that is a slip of the keyboard.
const MOST_PEOPLE: u32 = 100;

/// No point is planned to take longer; a day in minutes.
const LONGEST_DURATION_MIN: f64 = 1440.0;

impl Point {
    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.title("title", &self.title);
        judging.text("objective", &self.objective);
        judging.text("technique", &self.technique);
        for (axis, condition) in &self.conditions {
            condition.judge(*axis, &mut judging);
        }
        judging.positive("duration_min", self.duration_min);
        if self.duration_min > LONGEST_DURATION_MIN {
            judging.fault("duration_min", "must be at most 1440 minutes, which is a day");
        }
        judging.not_negative("energy_kwh", self.energy_kwh);
        judging.no_repeats("data_required", &self.data_required);
        judging.must(
            !self.criteria.is_empty(),
            "criteria",
            "must name at least one: without success criteria nothing can be shown",
        );
        for (place, criterion) in self.criteria.iter().enumerate() {
            criterion.judge(&format!("criteria[{place}]"), &mut judging);
        }
        judging.no_repeats("limits", &self.limits);
        judging.must(
            !self.stop_criteria.is_empty(),
            "stop_criteria",
            "must say at least once when to stop",
        );
        judging.texts("stop_criteria", &self.stop_criteria);
        judging.no_repeats("hazards", &self.hazards);
        judging.no_repeats("after_points", &self.after_points);
        judging.no_repeats("after_checks", &self.after_checks);
        judging.no_repeats("after_documents", &self.after_documents);
        self.judge_crew(&mut judging);
        self.weather.judge(&mut judging);
        let required: Vec<_> = self.configuration.iter().map(|required| &required.item).collect();
        judging.no_repeats("configuration", &required);
        for (place, required) in self.configuration.iter().enumerate() {
            if let Some(version) = &required.version {
                judging.title(&format!("configuration[{place}].version"), version);
            }
        }
        judging.no_repeats("sensitive_to", &self.sensitive_to);
        judging.done()
    }

    fn judge_crew(&self, judging: &mut Judging<'_>) {
        for (place, seat) in self.crew.iter().enumerate() {
            seat.judge(&format!("crew[{place}]"), judging);
        }
        let people: u32 = self.crew.iter().map(|seat| u32::from(seat.count)).sum();
        judging.must(
            people <= MOST_PEOPLE,
            "crew",
            format!("needs {people} people, and no point needs more than {MOST_PEOPLE}"),
        );
        let on_board = || self.crew.iter().filter(|seat| seat.on_board);
        let needed: u32 = on_board().map(|seat| u32::from(seat.count)).sum();
        judging.must(
            needed <= u32::from(self.most_on_board),
            "most_on_board",
            format!("the crew has {needed} on board, and at most {} may be", self.most_on_board),
        );
        if self.phase.is_flight() {
            judging.must(
                on_board().any(|seat| seat.role == Role::Pilot && seat.count > 0),
                "crew",
                format!("a point of the phase {} needs a pilot on board", self.phase),
            );
        }
    }
}

impl Condition {
    fn judge(self, axis: Axis, judging: &mut Judging<'_>) {
        let field = |name: &str| format!("conditions.{axis}.{name}");
        judging.unit(&field("unit"), self.unit, axis.kind());
        judging.not_negative(&field("tolerance"), self.tolerance);
        let target = field("target");
        if !judging.finite(&target, self.target) {
            return;
        }
        match axis {
            Axis::Speed
            | Axis::Power
            | Axis::TimeAtPower
            | Axis::Crosswind
            | Axis::PropellerSpeed => judging.not_negative(&target, self.target),
            Axis::Mass => judging.positive(&target, self.target),
            Axis::ChargeState => judging.must(
                (0.0..=100.0).contains(&self.target),
                &target,
                format!("must be from 0 to 100 %, and {} was given", self.target),
            ),
            Axis::BankAngle => judging.must(
                (-180.0..=180.0).contains(&self.target),
                &target,
                format!("must be from -180 to 180 degrees, and {} was given", self.target),
            ),
            Axis::PackTemperature | Axis::AirTemperature => {
                if self.unit.kind() == Kind::Temperature {
                    judging.temperature(&target, self.target());
                }
            }
            Axis::PressureAltitude | Axis::LoadFactor | Axis::CentreOfGravity => {}
        }
    }
}

impl Criterion {
    fn judge(&self, field: &str, judging: &mut Judging<'_>) {
        judging.finite(&format!("{field}.value"), self.value);
        let upper = format!("{field}.upper");
        match (self.comparison, self.upper) {
            (Comparison::Between, None) => {
                judging.fault(&upper, "must be given: `between` has a lower and an upper bound");
            }
            (Comparison::Between, Some(bound)) => {
                if judging.finite(&upper, bound) && bound < self.value {
                    judging.fault(
                        &upper,
                        format!("the upper bound {bound} is below the lower bound {}", self.value),
                    );
                }
            }
            (Comparison::AtMost | Comparison::AtLeast, Some(_)) => {
                judging.fault(&upper, "must be left out: only `between` has an upper bound");
            }
            (Comparison::AtMost | Comparison::AtLeast, None) => {}
        }
        if self.statistic == Statistic::TimeAbove {
            judging.unit(&format!("{field}.unit"), self.unit, Kind::Time);
        }
    }
}

impl CrewSeat {
    fn judge(&self, field: &str, judging: &mut Judging<'_>) {
        judging.must(self.count > 0, &format!("{field}.count"), "must be at least 1");
        judging.must(
            self.role != Role::Viewer,
            &format!("{field}.role"),
            "an inspector reads everything and is no crew",
        );
        judging.no_repeats(&format!("{field}.qualifications"), &self.qualifications);
    }
}

impl WeatherMinima {
    fn judge(&self, judging: &mut Judging<'_>) {
        for (field, speed) in [
            ("wind_at_most", self.wind_at_most),
            ("gust_at_most", self.gust_at_most),
            ("crosswind_at_most", self.crosswind_at_most),
        ] {
            if let Some(speed) = speed {
                judging.measure_not_negative(&format!("weather.{field}"), speed, Kind::Speed);
            }
        }
        for (field, length) in [
            ("visibility_at_least", self.visibility_at_least),
            ("cloud_base_at_least", self.cloud_base_at_least),
        ] {
            if let Some(length) = length {
                judging.measure_not_negative(&format!("weather.{field}"), length, Kind::Length);
            }
        }
        let mut temperature = |field: &str, figure: Option<Measure>| {
            figure.filter(|figure| {
                judging.measure(&format!("weather.{field}"), *figure, Kind::Temperature)
            })
        };
        let lowest = temperature("temperature_at_least", self.temperature_at_least);
        let highest = temperature("temperature_at_most", self.temperature_at_most);
        if let (Some(lowest), Some(highest)) = (lowest, highest)
            && lowest.in_kinds_unit() > highest.in_kinds_unit()
        {
            judging.fault(
                "weather.temperature_at_most",
                format!("no temperature is at least {lowest} and at most {highest}"),
            );
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn point() -> Point {
        serde_json::from_value(serde_json::json!({
            "code": "FF-01", "title": "First circuit", "phase": "first-flight",
            "objective": "Show handling.", "technique": "One wide circuit.",
            "conditions": {"speed": {"target": 60.0, "tolerance": 3.0, "unit": "kt"}},
            "duration_min": 12.0, "energy_kwh": 6.5,
            "criteria": [{"parameter": "ias", "statistic": "max", "comparison": "between",
                          "value": 50.0, "upper": 70.0, "unit": "kt"}],
            "stop_criteria": ["Any warning."],
            "crew": [{"role": "pilot", "count": 1, "on_board": true}],
            "most_on_board": 1
        }))
        .unwrap()
    }

    fn places(change: impl FnOnce(&mut Point)) -> Vec<String> {
        let mut point = point();
        change(&mut point);
        point.faults("points[0]").into_iter().map(|fault| fault.field).collect()
    }

    #[test]
    fn a_sound_point_has_no_faults() {
        assert_eq!(point().faults(""), vec![]);
    }

    #[test]
    fn every_fault_of_a_point_is_told_at_once_with_its_place() {
        let found = places(|point| {
            point.title = " ".to_owned();
            point.duration_min = -1.0;
            point.energy_kwh = f64::NAN;
            point.criteria[0].upper = Some(40.0);
            point.conditions.get_mut(&Axis::Speed).unwrap().tolerance = -0.1;
            point.crew[0].count = 2;
            point.stop_criteria.clear();
        });
        assert_eq!(
            found,
            [
                "points[0].title",
                "points[0].conditions.speed.tolerance",
                "points[0].duration_min",
                "points[0].energy_kwh",
                "points[0].criteria[0].upper",
                "points[0].stop_criteria",
                "points[0].most_on_board",
            ]
        );
    }

    #[test]
    fn a_unit_that_does_not_fit_its_axis_is_told_with_those_that_do() {
        let mut point = point();
        point.conditions.get_mut(&Axis::Speed).unwrap().unit = crate::measure::Unit::Kilowatt;
        let faults = point.faults("");
        assert_eq!(faults[0].field, "conditions.speed.unit");
        assert_eq!(faults[0].why, "the unit kW does not fit here: use kt, km/h or m/s");
    }

    #[test]
    fn a_flight_without_a_pilot_on_board_is_refused() {
        assert_eq!(places(|point| point.crew[0].on_board = false), ["points[0].crew"]);
    }

    #[test]
    fn a_charge_state_beyond_a_full_pack_is_refused_and_a_full_pack_is_not() {
        let with = |target| {
            places(|point| {
                let unit = crate::measure::Unit::Percent;
                let condition = Condition { target, tolerance: 1.0, unit };
                point.conditions.insert(Axis::ChargeState, condition);
            })
        };
        assert!(with(100.0).is_empty());
        assert_eq!(with(100.1), ["points[0].conditions.charge-state.target"]);
    }

    #[test]
    fn no_point_needs_more_people_than_an_airfield_has() {
        let crew = |count| CrewSeat {
            role: Role::Crew,
            count,
            on_board: false,
            qualifications: Vec::new(),
        };
        let pilot = point().crew.remove(0);
        let needing = |count| places(|point| point.crew = vec![pilot.clone(), crew(count)]);
        assert_eq!(needing(99), Vec::<String>::new());
        assert_eq!(needing(100), ["points[0].crew"]);
    }
}
