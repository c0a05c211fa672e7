//! How much the sun gives: on the ground, through cloud, on a tilted panel, and out of it.

use chrono::{DateTime, Utc};
use quantities::{Angle, Power, Pressure, Temperature};
use serde::Serialize;
use serde_json::Value;

use crate::catalogue::{Field, Refused, Topic, answer};
use crate::input::{Reader, above_up_to};
use crate::sun::{
    DEFAULT_DELTA_T_S, Place, SunPosition, USUAL_CELSIUS, moment, place, sun_position,
    usual_pressure,
};

/// What falls outside the atmosphere on a plane towards the sun at one astronomical unit, in watts a square metre.
///
/// # Source
///
/// ASTM E490, as pvlib 0.16.1 carries it.
pub const SOLAR_CONSTANT_W_M2: f64 = 1_366.1;

/// Turbidity of air when none is stated: about that of lowland in summer (from memory); 2 is very clear, 5 hazy.
pub const DEFAULT_TURBIDITY: f64 = 3.0;

/// Sunlight in watts a square metre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sunlight {
    /// All of it, on a level plane.
    pub global_w_m2: f64,
    /// Straight from the sun, on a plane towards it.
    pub beam_w_m2: f64,
    /// From the rest of the sky, on a level plane.
    pub diffuse_w_m2: f64,
}

/// No light at all.
const DARK: Sunlight = Sunlight { global_w_m2: 0.0, beam_w_m2: 0.0, diffuse_w_m2: 0.0 };

/// Sunlight of a sky without clouds.
///
/// `turbidity` is Linke's for air mass 2. Valid for turbidity from 1 to 10 and heights up to some 4 000 m; nothing once the
/// sun's centre is below the horizon.
///
/// # Source
///
/// P. Ineichen and R. Perez, A new airmass independent formulation for the Linke turbidity coefficient, Solar Energy 73,
/// 151–157, 2002, as pvlib 0.16.1 carries it; relative air mass by F. Kasten and A. T. Young, 1989. Checked in
/// `tests/reference`.
pub fn clear_sky(sun: &SunPosition, place: Place, pressure: Pressure, turbidity: f64) -> Sunlight {
    let zenith_deg = sun.apparent_zenith.degrees();
    let cos_zenith = sun.apparent_zenith.radians().cos();
    if zenith_deg >= 90.0 || cos_zenith <= 0.0 {
        return DARK;
    }
    let outside_w_m2 = SOLAR_CONSTANT_W_M2 / sun.geocentric.distance_au.powi(2);
    let relative_mass =
        1.0 / (cos_zenith + 0.505_72 * (6.079_95 + 90.0 - zenith_deg).powf(-1.636_4));
    let air_mass = relative_mass * pressure.pascals() / 101_325.0;
    let height_m = place.elevation.metres();
    let (fh1, fh2) = ((-height_m / 8_000.0).exp(), (-height_m / 1_250.0).exp());
    let (cg1, cg2) = (5.09e-5 * height_m + 0.868, 3.92e-5 * height_m + 0.038_7);
    let global_w_m2 =
        cg1 * outside_w_m2 * cos_zenith * (-cg2 * air_mass * (fh1 + fh2 * (turbidity - 1.0))).exp();
    let by_turbidity_w_m2 =
        outside_w_m2 * (0.664 + 0.163 / fh1) * (-0.09 * air_mass * (turbidity - 1.0)).exp();
    let most_of_global =
        (1.0 - (0.1 - 0.2 * (-turbidity).exp()) / (0.1 + 0.882 / fh1)).max(0.0) / cos_zenith;
    let beam_w_m2 = by_turbidity_w_m2.min(global_w_m2 * most_of_global);
    Sunlight { global_w_m2, beam_w_m2, diffuse_w_m2: global_w_m2 - beam_w_m2 * cos_zenith }
}

/// Global sunlight of a sky without clouds, from nothing but the height of the sun; a second opinion on [`clear_sky`].
///
/// # Source
///
/// B. Haurwitz, 1945, as pvlib 0.16.1 carries it. Checked by `published/sunlight.toml`.
pub fn clear_sky_by_height_w_m2(apparent_zenith: Angle) -> f64 {
    let cos_zenith = apparent_zenith.radians().cos();
    if cos_zenith <= 0.0 { 0.0 } else { 1_098.0 * cos_zenith * (-0.059 / cos_zenith).exp() }
}

/// What a cloud cover from 0 to 1 leaves of a clear sky's sunlight.
///
/// A mean over many skies: under broken cloud the light of a minute may be anything between.
///
/// # Source
///
/// Global: 1 − 0.75 n^3.4, F. Kasten and G. Czeplak, Solar Energy 24, 1980 (from memory). Share of diffuse light: D. G. Erbs,
/// S. A. Klein and J. A. Duffie, Solar Energy 28, 293–302, 1982, eq. 1, as pvlib 0.16.1 carries it; so even without a cloud
/// it is split otherwise than by [`clear_sky`]. Checked in `tests/reference`.
pub fn under_cloud(clear: Sunlight, sun: &SunPosition, cloud: f64) -> Sunlight {
    let global_w_m2 = clear.global_w_m2 * (1.0 - 0.75 * cloud.powf(3.4));
    // Close to the horizon the ratio of two small figures says nothing; there all light counts as diffuse.
    const LEAST_COS: f64 = 0.065;
    const LOWEST_DEG: f64 = 87.0;
    let cos_zenith = sun.zenith.radians().cos();
    let outside_w_m2 = SOLAR_CONSTANT_W_M2 / sun.geocentric.distance_au.powi(2);
    let clearness = (global_w_m2 / (outside_w_m2 * cos_zenith.max(LEAST_COS))).clamp(0.0, 1.0);
    let diffuse_share = if clearness <= 0.22 {
        1.0 - 0.09 * clearness
    } else if clearness <= 0.8 {
        0.951_1 - 0.160_4 * clearness + 4.388 * clearness.powi(2) - 16.638 * clearness.powi(3)
            + 12.336 * clearness.powi(4)
    } else {
        0.165
    };
    if sun.zenith.degrees() > LOWEST_DEG {
        return Sunlight { global_w_m2, beam_w_m2: 0.0, diffuse_w_m2: global_w_m2 };
    }
    let diffuse_w_m2 = diffuse_share * global_w_m2;
    Sunlight { global_w_m2, beam_w_m2: (global_w_m2 - diffuse_w_m2) / cos_zenith, diffuse_w_m2 }
}

/// A solar panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Panel {
    /// From level: 0 lies flat, 90° stands.
    pub tilt: Angle,
    /// Where it faces, clockwise from true north.
    pub azimuth: Angle,
    /// Power at 1 000 W/m² and a cell at 25 °C.
    pub peak: Power,
    /// How the power changes for each kelvin of the cell above 25 °C, as a ratio; negative.
    pub per_kelvin: f64,
    /// How much is lost in dirt, wires and converters, from 0 to 1.
    pub losses: f64,
    /// How much warmer than air the cell is in 800 W/m², in kelvins.
    pub rise_at_800_k: f64,
}

/// What falls on a tilted plane, in watts a square metre; `albedo` is what the ground around reflects, from 0 to 1.
///
/// Hills, hangars and the panel's own frame cast no shadow here.
///
/// # Source
///
/// Beam by the cosine of incidence; sky and ground taken to be evenly bright, as B. Liu and R. Jordan have it, 1963. Checked
/// in `tests/reference` against pvlib.
pub fn on_plane_w_m2(light: Sunlight, sun: &SunPosition, panel: &Panel, albedo: f64) -> f64 {
    let (sin_tilt, cos_tilt) = panel.tilt.radians().sin_cos();
    let (sin_zenith, cos_zenith) = sun.apparent_zenith.radians().sin_cos();
    let turned_rad = sun.azimuth.radians() - panel.azimuth.radians();
    let incidence = (cos_zenith * cos_tilt + sin_zenith * sin_tilt * turned_rad.cos()).max(0.0);
    light.beam_w_m2 * incidence
        + light.diffuse_w_m2 * (1.0 + cos_tilt) / 2.0
        + light.global_w_m2 * albedo * (1.0 - cos_tilt) / 2.0
}

/// Temperature of the cells in the sun, with little wind.
///
/// # Source
///
/// A rise in proportion to the light: common practice, no source.
pub fn cell_temperature(plane_w_m2: f64, air: Temperature, panel: &Panel) -> Temperature {
    Temperature::from_celsius(air.celsius() + panel.rise_at_800_k * plane_w_m2 / 800.0)
}

/// What a panel gives.
///
/// # Source
///
/// Power in proportion to light, changed in proportion to the cell's temperature from 25 °C: the direct-current model of
/// PVWatts 5, as pvlib 0.16.1 carries it, less losses. Checked in `tests/reference`.
pub fn panel_power(plane_w_m2: f64, cell: Temperature, panel: &Panel) -> Power {
    let warm = 1.0 + panel.per_kelvin * (cell.celsius() - 25.0);
    Power::from_watts(
        (panel.peak.watts() * plane_w_m2 / 1_000.0 * warm * (1.0 - panel.losses)).max(0.0),
    )
}

/// What a panel gives at a place and moment, under a cloud cover from 0 to 1, in air of a temperature; over ground that
/// reflects a fifth, in air of the usual turbidity and pressure.
///
/// # Source
///
/// [`clear_sky`], [`under_cloud`], [`on_plane_w_m2`], [`cell_temperature`] and [`panel_power`], one after the other.
pub fn power_in_sky(
    at: DateTime<Utc>,
    place: Place,
    cloud: f64,
    air: Temperature,
    panel: &Panel,
) -> Power {
    let (sun, pressure) = sun_over(at, place);
    let light = under_cloud(clear_sky(&sun, place, pressure, DEFAULT_TURBIDITY), &sun, cloud);
    let plane_w_m2 = on_plane_w_m2(light, &sun, panel, 0.2);
    panel_power(plane_w_m2, cell_temperature(plane_w_m2, air, panel), panel)
}

/// The topic `sunlight`.
pub static TOPIC: Topic = Topic {
    name: "sunlight",
    version: 1,
    title: "Sunlight and solar panels",
    gives: "Sunlight of a clear sky, what a typed-in cloud cover leaves of it, what falls on a tilted panel, and the power out of \
            it. A mean over many skies of that cloud cover, and no promise of any hour.",
    valid_range: "Years 1900 to 2100; heights up to 4 000 m; Linke turbidity from 1 to 10. Without shadows of hills and hangars.",
    inputs: &[
        Field::required(
            "at",
            "text",
            "The moment, by RFC 3339 with its offset, such as 2026-06-21T12:00:00Z.",
        ),
        Field::required("latitude_deg", "°", "Latitude, north positive."),
        Field::required("longitude_deg", "°", "Longitude, east positive."),
        Field::optional("elevation_m", "m", "Height above sea level; 0 when absent."),
        Field::optional("turbidity", "ratio", "Linke turbidity of the air; 3 when absent."),
        Field::optional("cloud", "ratio", "Cloud cover from 0 to 1; 0 when absent."),
        Field::optional("air_c", "°C", "Air temperature at the panel; 15 when absent."),
        Field::optional("albedo", "ratio", "What the ground reflects; 0.2 when absent."),
        Field::required("panel", "object", "The panel."),
        Field::required("panel.tilt_deg", "°", "From level: 0 lies flat, 90 stands."),
        Field::required("panel.azimuth_deg", "°", "Where it faces, clockwise from true north."),
        Field::required("panel.peak_kw", "kW", "Power at 1 000 W/m² with cells at 25 °C."),
        Field::optional(
            "panel.per_kelvin",
            "ratio",
            "Change of power for each kelvin above 25 °C; −0.004 when absent.",
        ),
        Field::optional(
            "panel.losses",
            "ratio",
            "Lost in dirt, wires and converters; 0.14 when absent.",
        ),
        Field::optional("panel.rise_at_800_k", "K", "Cells above air in 800 W/m²; 25 when absent."),
    ],
    outputs: &[
        Field::required("clear_global_w_m2", "W/m²", "Clear sky, on a level plane."),
        Field::required("clear_beam_w_m2", "W/m²", "Clear sky, straight from the sun."),
        Field::required("clear_diffuse_w_m2", "W/m²", "Clear sky, from the rest of the sky."),
        Field::required(
            "clear_by_height_w_m2",
            "W/m²",
            "Clear sky, on a level plane, by the sun's height alone.",
        ),
        Field::required("global_w_m2", "W/m²", "Under this cloud, on a level plane."),
        Field::required("beam_w_m2", "W/m²", "Under this cloud, straight from the sun."),
        Field::required("diffuse_w_m2", "W/m²", "Under this cloud, from the rest of the sky."),
        Field::required("plane_w_m2", "W/m²", "Under this cloud, on the panel."),
        Field::required("cell_c", "°C", "Temperature of the cells."),
        Field::required("power_kw", "kW", "Power out of the panel."),
    ],
    equations: &[
        "Clear sky: an exponential of air mass, height and turbidity, for global light and for the beam.",
        "Cloud cover n leaves 1 − 0.75 n^3.4 of global light; its diffuse share goes by the clearness of the sky.",
        "On the panel: beam times the cosine of incidence, diffuse times (1 + cos tilt)/2, reflected times (1 − cos tilt)/2.",
        "Power is peak power times light over 1 000 W/m², changed with the cell's temperature, less losses.",
    ],
    sources: &[
        "P. Ineichen and R. Perez, Solar Energy 73, 151–157, 2002, as carried by pvlib 0.16.1",
        "F. Kasten and A. T. Young, 1989: relative air mass, as carried by pvlib 0.16.1",
        "B. Haurwitz, 1945, as carried by pvlib 0.16.1: the figure by the sun's height alone",
        "F. Kasten and G. Czeplak, Solar Energy 24, 1980: cloud (from memory)",
        "D. G. Erbs, S. A. Klein and J. A. Duffie, Solar Energy 28, 293–302, 1982, as carried by pvlib 0.16.1",
        "common practice, no source: an evenly bright sky, cells warmer in proportion to light",
    ],
    published: &[("sunlight.toml", include_str!("../published/sunlight.toml"))],
    example: r#"{ "at": "2026-06-21T12:00:00Z", "latitude_deg": 51.5, "longitude_deg": -0.1, "elevation_m": 50, "cloud": 0.4,
                  "air_c": 22, "panel": { "tilt_deg": 30, "azimuth_deg": 180, "peak_kw": 6 } }"#,
    compute,
};

#[derive(Serialize)]
struct Output {
    clear_global_w_m2: f64,
    clear_beam_w_m2: f64,
    clear_diffuse_w_m2: f64,
    clear_by_height_w_m2: f64,
    global_w_m2: f64,
    beam_w_m2: f64,
    diffuse_w_m2: f64,
    plane_w_m2: f64,
    cell_c: f64,
    power_kw: f64,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let mut reader = Reader::object(input);
    let at = moment(&mut reader, "at");
    let place = place(&mut reader);
    let turbidity = reader.optional_number("turbidity", 1.0..=10.0);
    let cloud = reader.optional_number("cloud", 0.0..=1.0);
    let air_c = reader.optional_number("air_c", -60.0..=60.0);
    let albedo = reader.optional_number("albedo", 0.0..=1.0);
    let panel = reader.required_object("panel", read_panel);
    let (at, place, turbidity, cloud, air_c, albedo, panel) =
        reader.finish(|| Some((at?, place?, turbidity?, cloud?, air_c?, albedo?, panel?)))?;
    let (sun, pressure) = sun_over(at, place);
    let clear = clear_sky(&sun, place, pressure, turbidity.unwrap_or(DEFAULT_TURBIDITY));
    let light = under_cloud(clear, &sun, cloud.unwrap_or(0.0));
    let plane_w_m2 = on_plane_w_m2(light, &sun, &panel, albedo.unwrap_or(0.2));
    let cell =
        cell_temperature(plane_w_m2, Temperature::from_celsius(air_c.unwrap_or(15.0)), &panel);
    answer(&Output {
        clear_global_w_m2: clear.global_w_m2,
        clear_beam_w_m2: clear.beam_w_m2,
        clear_diffuse_w_m2: clear.diffuse_w_m2,
        clear_by_height_w_m2: clear_sky_by_height_w_m2(sun.apparent_zenith),
        global_w_m2: light.global_w_m2,
        beam_w_m2: light.beam_w_m2,
        diffuse_w_m2: light.diffuse_w_m2,
        plane_w_m2,
        cell_c: cell.celsius(),
        power_kw: panel_power(plane_w_m2, cell, &panel).kilowatts(),
    })
}

/// The sun with the standard atmosphere's pressure at the place.
pub(crate) fn sun_over(at: DateTime<Utc>, place: Place) -> (SunPosition, Pressure) {
    let pressure = usual_pressure(place);
    let temperature = Temperature::from_celsius(USUAL_CELSIUS);
    (sun_position(at, place, pressure, temperature, DEFAULT_DELTA_T_S), pressure)
}

pub(crate) fn read_panel(reader: &mut Reader<'_>) -> Option<Panel> {
    let tilt_deg = reader.required_number("tilt_deg", 0.0..=90.0);
    let azimuth_deg = reader.required_number("azimuth_deg", 0.0..=360.0);
    let peak_kw = reader.required_number("peak_kw", above_up_to(0.0, 10_000.0));
    let per_kelvin = reader.optional_number("per_kelvin", -0.02..=0.0);
    let losses = reader.optional_number("losses", 0.0..=1.0);
    let rise_at_800_k = reader.optional_number("rise_at_800_k", 0.0..=80.0);
    Some(Panel {
        tilt: Angle::from_degrees(tilt_deg?),
        azimuth: Angle::from_degrees(azimuth_deg?),
        peak: Power::from_kilowatts(peak_kw?),
        per_kelvin: per_kelvin?.unwrap_or(-0.004),
        losses: losses?.unwrap_or(0.14),
        rise_at_800_k: rise_at_800_k?.unwrap_or(25.0),
    })
}

#[cfg(test)]
mod tests;
