//! Airspeed calibration, stall, climb and polar.

use flight_science::airspeed::Airspeeds;
use flight_science::atmosphere::{Air, standard_temperature};
use proptest::prelude::*;
use quantities::{CalibratedAirspeed, EquivalentAirspeed, PressureAltitude, Temperature};
use serde_json::json;

use super::{Made, Noise, figure, is_near};

/// Legs of 60 s on these headings with turns of 3° a second between them, flown at one true airspeed in one wind.
struct Triangle {
    headings_deg: [f64; 3],
    tas_kt: f64,
    wind_kt: f64,
    wind_from_deg: f64,
}

impl Triangle {
    const LEG_S: f64 = 60.0;

    fn lasts_s(&self) -> f64 {
        let [first, second, third] = self.headings_deg;
        3.0 * Self::LEG_S + ((second - first) + (third - second)) / 3.0
    }

    fn heading_deg(&self, mut t_s: f64) -> f64 {
        let mut heading = self.headings_deg[0];
        for next in &self.headings_deg[1..] {
            if t_s <= Self::LEG_S {
                return heading;
            }
            t_s -= Self::LEG_S;
            let turn_s = (next - heading) / 3.0;
            if t_s < turn_s {
                return heading + 3.0 * t_s;
            }
            t_s -= turn_s;
            heading = *next;
        }
        heading
    }

    /// North and east parts of the velocity over ground.
    fn ground_kt(&self, t_s: f64) -> (f64, f64) {
        let (sin, cos) = self.heading_deg(t_s).to_radians().sin_cos();
        let (wind_sin, wind_cos) = self.wind_from_deg.to_radians().sin_cos();
        (self.tas_kt * cos - self.wind_kt * wind_cos, self.tas_kt * sin - self.wind_kt * wind_sin)
    }

    fn made(&self, noise: f64, ias_kt: f64) -> Made {
        let mut random = Noise(7);
        let mut jitter = |size: f64| noise * size * random.next();
        let made = Made::lasting(self.lasts_s(), 5.0);
        let made = made
            .with("ground_speed", "kt", |t_s| {
                let (north, east) = self.ground_kt(t_s);
                north.hypot(east) + jitter(0.3)
            })
            .with("ias", "kt", |_| ias_kt);
        let mut random = Noise(11);
        made.with("track", "deg", move |t_s| {
            let (north, east) = self.ground_kt(t_s);
            (east.atan2(north).to_degrees() + noise * 0.5 * random.next()).rem_euclid(360.0)
        })
        .with("palt", "ft", |_| 3000.0)
        .with("oat", "degC", |_| 9.0)
    }
}

#[test]
fn true_airspeed_wind_and_position_correction_come_back_from_a_noisy_track() {
    let flown = Triangle {
        headings_deg: [330.0, 450.0, 570.0],
        tas_kt: 80.0,
        wind_kt: 14.0,
        wind_from_deg: 250.0,
    };
    let air = Air::at(PressureAltitude::from_feet(3000.0), Some(Temperature::from_celsius(9.0)));
    let true_airspeed = quantities::TrueAirspeed::from_knots(80.0);
    let cas_kt = Airspeeds::from_true(true_airspeed, air.unwrap()).unwrap().calibrated.knots();

    let reduced = flown.made(1.0, cas_kt - 2.5).reduce("airspeed-calibration", json!({})).unwrap();

    assert_eq!(reduced.rests_on.stretches.len(), 3);
    for stretch in &reduced.rests_on.stretches {
        is_near(stretch.to.seconds_since(stretch.from), Triangle::LEG_S, 6.0);
    }
    is_near(figure(&reduced, "/tas_kt"), 80.0, 0.1);
    is_near(figure(&reduced, "/wind_speed_kt"), 14.0, 0.1);
    is_near(figure(&reduced, "/wind_from_deg"), 250.0, 0.6);
    is_near(figure(&reduced, "/position_correction_kt"), 2.5, 0.1);
    is_near(reduced.input["oat_c"].as_f64().unwrap(), 9.0, 1e-9);
    assert_eq!(reduced.share_missing, 0.0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn any_wind_triangle_without_noise_comes_back(
        tas_kt in 60.0f64..110.0, wind_kt in 0.0f64..25.0, wind_from_deg in 0.0f64..360.0, first in 0.0f64..360.0,
    ) {
        let flown = Triangle {
            headings_deg: [first, first + 120.0, first + 240.0], tas_kt, wind_kt, wind_from_deg,
        };
        let reduced = flown.made(0.0, 75.0).reduce("airspeed-calibration", json!({})).unwrap();
        // A little of the turn is left in each leg, up to what its tolerances allow.
        prop_assert!((figure(&reduced, "/tas_kt") - tas_kt).abs() < 0.15);
        prop_assert!((figure(&reduced, "/wind_speed_kt") - wind_kt).abs() < 0.25);
    }
}

#[test]
fn legs_at_two_airspeeds_are_refused() {
    let flown = Triangle {
        headings_deg: [10.0, 130.0, 250.0],
        tas_kt: 80.0,
        wind_kt: 5.0,
        wind_from_deg: 90.0,
    };
    let made = flown.made(0.0, 75.0).with("ias", "kt", |t_s| if t_s < 80.0 { 75.0 } else { 82.0 });
    let refused = made.reduce("airspeed-calibration", json!({})).unwrap_err();
    assert!(
        refused.to_string().contains("Indicated airspeed of the stretches is 7.0 kt apart"),
        "{refused}"
    );
}

#[test]
fn two_legs_are_too_few_and_the_refusal_says_what_a_leg_is() {
    let flown = Triangle {
        headings_deg: [10.0, 130.0, 135.0],
        tas_kt: 80.0,
        wind_kt: 5.0,
        wind_from_deg: 90.0,
    };
    let refused = flown.made(0.0, 75.0).reduce("airspeed-calibration", json!({})).unwrap_err();
    assert!(refused.to_string().contains("2 straight legs, and 3 or more are wanted"), "{refused}");
}

/// Slows from 60 kt at 1 kt/s to `lowest_kt`, and recovers at 3 kt/s.
fn stall(lowest_kt: f64) -> impl Fn(f64) -> f64 {
    let down_s = 5.0 + 60.0 - lowest_kt;
    move |t_s| match t_s {
        t_s if t_s < 5.0 => 60.0,
        t_s if t_s < down_s => 65.0 - t_s,
        t_s => (lowest_kt + 3.0 * (t_s - down_s)).min(60.0),
    }
}

#[test]
fn a_stall_speed_is_read_at_the_bottom_and_carried_to_the_reference_mass() {
    let mut random = Noise(3);
    let stall = stall(43.0);
    let made = Made::lasting(40.0, 10.0)
        .with("cas", "kt", |t_s| stall(t_s) + 0.2 * random.next())
        .with("load_factor", "g", |_| 0.96);
    let given = json!({ "mass_kg": 690.0, "reference_mass_kg": 760.0 });

    let reduced = made.reduce("stall-speed", given).unwrap();

    // The average over a second about the bottom lies above it, so noise and averaging never flatter.
    let read_kt = reduced.input["cas_kt"].as_f64().unwrap();
    assert!((43.0..43.8).contains(&read_kt), "{read_kt}");
    is_near(
        figure(&reduced, "/cas_reference_kt"),
        read_kt * (760.0f64 / (0.96 * 690.0)).sqrt(),
        1e-9,
    );
    is_near(reduced.rests_on.stretches[0].figures["deceleration_kt_per_s"], 1.0, 0.2);
}

#[test]
fn a_lowest_airspeed_at_the_end_of_the_interval_is_no_stall() {
    let stall = stall(43.0);
    let made = Made::lasting(20.0, 10.0).with("cas", "kt", stall);
    let given = json!({ "mass_kg": 690.0, "reference_mass_kg": 760.0 });
    let refused = made.reduce("stall-speed", given).unwrap_err();
    assert!(refused.to_string().contains("at an end of the interval"), "{refused}");
}

#[test]
fn a_stall_that_was_entered_too_fast_is_refused() {
    let stall = stall(43.0);
    let made = Made::lasting(40.0, 10.0).with("cas", "kt", stall);
    let given = |fastest| json!({ "mass_kg": 690, "reference_mass_kg": 760, "fastest_entry_kt_per_s": fastest });
    assert!(made.reduce("stall-speed", given(1.01)).is_ok());
    let refused = made.reduce("stall-speed", given(0.95)).unwrap_err();
    assert!(refused.to_string().contains("steady entry"), "{refused}");
}

#[test]
fn climbs_at_four_speeds_give_the_curve_that_they_were_made_from() {
    // ft/min of pressure altitude: 700 at 65 kt, and a parabola about it.
    let rate_fpm = |cas_kt: f64| 700.0 - 0.9 * (cas_kt - 65.0).powi(2);
    let speeds_kt = [55.0, 62.0, 69.0, 76.0];
    // A minute of climb at each speed, and between them half a minute down again.
    let mut altitude_ft = 2000.0;
    let mut random = Noise(5);
    let mut before = 0.0;
    let speed_at = |t_s: f64| speeds_kt[((t_s / 90.0) as usize).min(3)];
    let made = Made::lasting(360.0, 10.0)
        .with("cas", "kt", speed_at)
        .with("oat", "degC", |_| 15.0)
        .with("palt", "ft", |t_s| {
            let rate = if t_s % 90.0 < 60.0 { rate_fpm(speed_at(t_s)) } else { -1300.0 };
            altitude_ft += rate * (t_s - before) / 60.0;
            before = t_s;
            altitude_ft + 2.0 * random.next()
        });
    let given = json!({ "mass_kg": 700.0, "reference_mass_kg": 700.0 });

    let reduced = made.reduce("climb", given).unwrap();

    assert_eq!(reduced.rests_on.stretches.len(), 4);
    for stretch in &reduced.rests_on.stretches {
        is_near(stretch.figures["climb_rate_fpm"], rate_fpm(stretch.figures["cas_kt"]), 12.0);
        is_near(stretch.figures["altitude_scatter_ft"], 2.0, 0.4);
    }
    // True height grows by warm air's expansion against the standard.
    let standard = standard_temperature(PressureAltitude::from_feet(2300.0).into()).unwrap();
    let expansion = 288.15 / standard.kelvins();
    is_near(figure(&reduced, "/best_rate/climb_rate_fpm"), 700.0 * expansion, 8.0);
    is_near(figure(&reduced, "/best_rate/cas_kt"), 65.0, 0.6);
    assert!(reduced.extrapolated.is_empty());
}

#[test]
fn a_best_speed_beyond_those_flown_is_told_as_extrapolated() {
    let rate_fpm = |cas_kt: f64| 700.0 - 0.5 * (cas_kt - 65.0).powi(2);
    let speed_at = |t_s: f64| [68.0, 75.0, 82.0][((t_s / 60.0) as usize).min(2)];
    let (mut altitude_ft, mut before) = (2000.0, 0.0);
    let made = Made::lasting(180.0, 10.0)
        .with("cas", "kt", speed_at)
        .with("oat", "degC", |_| 11.0)
        .with("palt", "ft", |t_s| {
            altitude_ft += rate_fpm(speed_at(t_s)) * (t_s - before) / 60.0;
            before = t_s;
            altitude_ft
        });
    let reduced =
        made.reduce("climb", json!({ "mass_kg": 700, "reference_mass_kg": 700 })).unwrap();
    let told: Vec<_> = reduced.extrapolated.iter().map(|told| told.pointer.as_str()).collect();
    assert!(told.contains(&"/best_rate"), "{told:?}");
}

/// The polar that points are made from.
const CD0: f64 = 0.028;
const K: f64 = 0.055;
const AREA_M2: f64 = 14.0;
const MASS_KG: f64 = 700.0;

/// Drag in newtons at this equivalent airspeed.
fn drag_n(airspeed: EquivalentAirspeed) -> f64 {
    let speed = airspeed.metres_per_second();
    let force = 0.5 * 1.225 * speed * speed * AREA_M2;
    let lift = MASS_KG * 9.80665 / force;
    force * (CD0 + K * lift * lift)
}

/// Flies 40 s at each of these speeds, with this thrust power and otherwise falling or rising as the energy has it.
fn flown(speeds_kt: [f64; 4], thrust_w: impl Fn(f64) -> f64) -> Made {
    let speed_at = |t_s: f64| speeds_kt[((t_s / 40.0) as usize).min(3)];
    let (mut altitude_ft, mut before) = (5000.0, 0.0);
    Made::lasting(160.0, 10.0).with("cas", "kt", speed_at).with("oat", "degC", |_| 5.094).with(
        "palt",
        "ft",
        |t_s| {
            let altitude = PressureAltitude::from_feet(altitude_ft);
            let at = |altitude_ft: f64| {
                let altitude = PressureAltitude::from_feet(altitude_ft);
                let air = Air::at(altitude, Some(Temperature::from_celsius(5.094))).unwrap();
                let calibrated = CalibratedAirspeed::from_knots(speed_at(t_s));
                Airspeeds::from_calibrated(calibrated, air).unwrap()
            };
            let speeds = at(altitude_ft);
            let true_m_s = speeds.true_airspeed.metres_per_second();
            let excess_w = thrust_w(speed_at(t_s)) - drag_n(speeds.equivalent) * true_m_s;
            let standard = standard_temperature(altitude.into()).unwrap();
            let expansion = Temperature::from_celsius(5.094).kelvins() / standard.kelvins();
            // Of the energy, a part goes into true airspeed where the air becomes thinner.
            let higher_m_s = at(altitude_ft + 10.0).true_airspeed.metres_per_second();
            let gained_per_m = (higher_m_s - true_m_s) / (10.0 * 0.3048 * expansion);
            let true_height_m_s = excess_w / (MASS_KG * (9.80665 + true_m_s * gained_per_m));
            let pressure_ft_s = true_height_m_s / 0.3048 / expansion;
            altitude_ft += pressure_ft_s * (t_s - before);
            before = t_s;
            altitude_ft
        },
    )
}

#[test]
fn glides_with_the_motor_off_give_the_polar_that_they_were_made_from() {
    let made = flown([52.0, 60.0, 72.0, 90.0], |_| 0.0);
    let given = json!({ "mass_kg": MASS_KG, "wing_area_m2": AREA_M2, "span_m": 10.5 });
    let reduced = made.reduce("drag-polar", given).unwrap();
    assert_eq!(reduced.rests_on.stretches.len(), 4);
    is_near(figure(&reduced, "/cd0"), CD0, 0.002 * CD0);
    is_near(figure(&reduced, "/k"), K, 0.002 * K);
}

#[test]
fn powered_points_give_the_same_polar_by_thrust_and_path_together() {
    let made =
        flown([52.0, 60.0, 72.0, 90.0], |_| 0.8 * 20_000.0).with("shaft_power", "kW", |_| 20.0);
    let given = json!({
        "mass_kg": MASS_KG, "wing_area_m2": AREA_M2, "span_m": 10.5, "propeller_efficiency": 0.8,
    });
    let reduced = made.reduce("drag-polar", given).unwrap();
    is_near(figure(&reduced, "/cd0"), CD0, 0.002 * CD0);
    is_near(figure(&reduced, "/k"), K, 0.002 * K);
}

#[test]
fn shaft_power_without_the_propellers_efficiency_is_refused() {
    let made = flown([52.0, 60.0, 72.0, 90.0], |_| 16_000.0).with("shaft_power", "kW", |_| 20.0);
    let given = json!({ "mass_kg": MASS_KG, "wing_area_m2": AREA_M2, "span_m": 10.5 });
    let refused = made.reduce("drag-polar", given).unwrap_err();
    assert!(refused.to_string().contains("propeller_efficiency is missing"), "{refused}");
}
