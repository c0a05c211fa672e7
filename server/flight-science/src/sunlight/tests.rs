#![allow(clippy::unwrap_used, clippy::panic)]

use proptest::prelude::*;
use quantities::Length;

use super::*;

fn panel(tilt_deg: f64) -> Panel {
    Panel {
        tilt: Angle::from_degrees(tilt_deg),
        azimuth: Angle::from_degrees(180.0),
        peak: Power::from_kilowatts(6.0),
        per_kelvin: -0.004,
        losses: 0.14,
        rise_at_800_k: 25.0,
    }
}

proptest! {
    #[test]
    fn light_is_never_negative_adds_up_and_cloud_never_adds_to_it(
        hours in 0i64..500_000, latitude_deg in -89.0f64..89.0, longitude_deg in -180.0f64..180.0,
        elevation_m in 0.0f64..3_000.0, turbidity in 1.0f64..8.0, cloud in 0.0f64..0.9, more in 0.0f64..0.1,
    ) {
        let start: DateTime<Utc> = "1970-01-01T00:00:00Z".parse().unwrap();
        let place = Place {
            latitude: Angle::from_degrees(latitude_deg),
            longitude: Angle::from_degrees(longitude_deg),
            elevation: Length::from_metres(elevation_m),
        };
        let (sun, pressure) = sun_over(start + chrono::TimeDelta::hours(hours), place);
        let clear = clear_sky(&sun, place, pressure, turbidity);
        let (less, most) = (under_cloud(clear, &sun, cloud + more), under_cloud(clear, &sun, cloud));
        for light in [clear, less, most] {
            prop_assert!(light.global_w_m2 >= 0.0 && light.beam_w_m2 >= 0.0 && light.diffuse_w_m2 >= -1e-9, "{light:?}");
            prop_assert!(light.global_w_m2 < 1_400.0);
        }
        prop_assert!(less.global_w_m2 <= most.global_w_m2 && most.global_w_m2 <= clear.global_w_m2);
        // A level panel gets what falls on level ground, but for the refraction of the last degrees.
        let level = on_plane_w_m2(most, &sun, &panel(0.0), 0.2);
        prop_assert!((level - most.global_w_m2).abs() < 0.03 * most.global_w_m2 + 1e-9, "{level} {most:?}");
    }
}

#[test]
fn by_night_a_panel_gives_nothing() {
    let place = Place {
        latitude: Angle::from_degrees(51.5),
        longitude: Angle::from_degrees(0.0),
        elevation: Length::from_metres(0.0),
    };
    let midnight: DateTime<Utc> = "2026-06-21T00:00:00Z".parse().unwrap();
    let (sun, pressure) = sun_over(midnight, place);
    let light = under_cloud(clear_sky(&sun, place, pressure, 3.0), &sun, 0.0);
    let plane_w_m2 = on_plane_w_m2(light, &sun, &panel(30.0), 0.2);
    let cold = Temperature::from_celsius(-10.0);
    assert_eq!(panel_power(plane_w_m2, cold, &panel(30.0)).watts(), 0.0);
}
