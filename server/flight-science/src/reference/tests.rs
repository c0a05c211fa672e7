#![allow(clippy::unwrap_used, clippy::panic)]

use super::*;

/// The fields that the contract of the compute topics promises: of the input, then of the answer.
const PROMISED: [(&str, &[&str], &[&str]); 16] = [
    (
        "atmosphere",
        &["pressure_altitude_ft", "oat_c", "isa_deviation_c"],
        &[
            "isa_temperature_c",
            "temperature_c",
            "pressure_hpa",
            "density_kg_m3",
            "pressure_ratio",
            "temperature_ratio",
            "density_ratio",
            "density_altitude_ft",
            "speed_of_sound_kt",
        ],
    ),
    (
        "altimetry",
        &["field_elevation_ft", "qnh_hpa", "oat_c", "dew_point_c"],
        &["pressure_altitude_ft", "density_altitude_ft"],
    ),
    (
        "airspeed",
        &["cas_kt", "eas_kt", "tas_kt", "mach", "pressure_altitude_ft", "oat_c"],
        &["cas_kt", "eas_kt", "tas_kt", "mach", "impact_pressure_pa", "dynamic_pressure_pa"],
    ),
    (
        "gps-airspeed",
        &["legs[].ground_speed_kt", "legs[].track_deg", "ias_kt", "pressure_altitude_ft", "oat_c"],
        &[
            "tas_kt",
            "tas_se_kt",
            "wind_speed_kt",
            "wind_from_deg",
            "headings_deg",
            "residual_rms_kt",
            "three_leg.mean_tas_kt",
            "three_leg.sample_sd_tas_kt",
            "three_leg.solutions[].tas_kt",
            "three_leg.solutions[].wind_speed_kt",
            "three_leg.solutions[].wind_from_deg",
            "cas_kt",
            "position_correction_kt",
        ],
    ),
    (
        "structural-envelope",
        &[
            "basis",
            "mass_kg",
            "wing_area_m2",
            "cl_max",
            "cl_min",
            "lift_slope_per_rad",
            "mean_chord_m",
            "vc_kt",
            "vd_kt",
            "pressure_altitude_ft",
        ],
        &[
            "n_positive",
            "n_negative",
            "vs_kt",
            "va_kt",
            "mass_ratio",
            "gust_alleviation",
            "gusts[].at",
            "gusts[].speed_kt",
            "gusts[].gust_m_s",
            "gusts[].n_up",
            "gusts[].n_down",
            "boundary",
        ],
    ),
    (
        "stall-speed",
        &["cas_kt", "mass_kg", "reference_mass_kg", "load_factor"],
        &["cas_reference_kt"],
    ),
    (
        "hot-day",
        &[
            "peak_c",
            "ambient_c",
            "pressure_altitude_ft",
            "sea_level_hot_day_c",
            "factor",
            "limit_c",
        ],
        &["hot_day_ambient_c", "corrected_c", "margin_c"],
    ),
    (
        "drag-polar",
        &[
            "wing_area_m2",
            "span_m",
            "points[].tas_kt",
            "points[].density_kg_m3",
            "points[].mass_kg",
            "points[].thrust_power_kw",
            "reference_mass_kg",
        ],
        &[
            "cd0",
            "cd0_se",
            "k",
            "k_se",
            "oswald",
            "r_squared",
            "best_glide.eas_kt",
            "best_glide.ratio",
            "min_power.eas_kt",
        ],
    ),
    (
        "climb",
        &[
            "points[].cas_kt",
            "points[].climb_rate_fpm",
            "points[].mass_kg",
            "points[].pressure_altitude_ft",
            "points[].oat_c",
            "reference_mass_kg",
        ],
        &[
            "tapeline_rate_fpm",
            "corrected_rate_fpm",
            "best_rate.cas_kt",
            "best_rate.climb_rate_fpm",
            "best_angle.cas_kt",
            "best_angle.gradient_percent",
        ],
    ),
    (
        "damping",
        &["peaks", "period_s", "samples"],
        &["damping_ratio", "structural_damping", "frequency_hz", "log_decrement"],
    ),
    (
        "flutter-margin",
        &[
            "points[].eas_kt",
            "points[].density_ratio",
            "points[].modes[].frequency_hz",
            "points[].modes[].damping_ratio",
        ],
        &[
            "margins[].dynamic_pressure_pa",
            "margins[].margin",
            "flutter_eas_kt",
            "low",
            "high",
            "extrapolated_by_percent",
        ],
    ),
    (
        "thermal-fit",
        &[
            "samples[].t_s",
            "samples[].temperature_c",
            "samples[].ambient_c",
            "samples[].power_kw",
            "predict.power_kw",
            "predict.duration_s",
            "predict.start_c",
            "predict.ambient_c",
            "predict.limit_c",
        ],
        &[
            "time_constant_s",
            "rise_c_per_kw",
            "time_constant_se_s",
            "rise_se_c_per_kw",
            "residual_rms_c",
            "predicted.temperature_c",
            "predicted.low_c",
            "predicted.high_c",
            "predicted.confidence",
            "predicted.steady_c",
            "predicted.time_to_limit_s",
            "predicted.extrapolated_by_percent",
        ],
    ),
    (
        "energy",
        &["samples[].t_s", "samples[].voltage_v", "samples[].current_a", "gap_s"],
        &["energy_kwh", "charge_ah", "regenerated_kwh", "peak_power_kw", "mean_power_kw", "gaps"],
    ),
    (
        "reserve",
        &[
            "usable_kwh",
            "legs[].energy_kwh",
            "legs[].sd_kwh",
            "reserve.minutes",
            "reserve.power_kw",
            "reserve.kwh",
            "confidence",
        ],
        &["landing_kwh", "landing_low_kwh", "reserve_kwh", "margin_kwh", "enough"],
    ),
    (
        "loading",
        &[
            "stations[].name",
            "stations[].mass_kg",
            "stations[].arm_mm",
            "mac.leading_edge_mm",
            "mac.length_mm",
            "envelope",
        ],
        &["mass_kg", "cg_mm", "cg_percent_mac", "inside", "nearest_edge_mm"],
    ),
    ("risk", &["severity", "probability"], &["level"]),
];

/// Whether the list names the field: by its whole path, by its last step, or in the meaning of what it is a part of.
fn names(fields: &[Field], promised: &str) -> bool {
    let (whole, step) = promised.rsplit_once('.').unwrap_or(("", promised));
    let whole = whole.trim_end_matches("[]");
    fields.iter().any(|field| {
        field.name == promised
            || field.name.rsplit_once('.').is_some_and(|(_, last)| last == step)
            || (!whole.is_empty() && field.name == whole && field.meaning.contains(step))
    })
}

#[test]
fn the_reference_names_every_field_that_the_contract_promises() {
    let mut missing = Vec::new();
    for (topic, inputs, outputs) in PROMISED {
        let reference = find(topic).unwrap_or_else(|| panic!("{topic} is not in the reference"));
        let sides = [(inputs, reference.inputs, "input"), (outputs, reference.outputs, "answer")];
        for (promised, fields, side) in sides {
            for field in promised {
                if !names(fields, field) {
                    missing.push(format!("{topic}: {field} of the {side}"));
                }
            }
        }
    }
    assert!(missing.is_empty(), "{missing:#?}");
}

#[test]
fn the_text_of_a_topic_tells_all_that_the_catalogue_and_the_cases_say() {
    for topic in all() {
        let text = topic.as_text();
        // Lines are wrapped, so words are compared and not lines.
        let told = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let tells = |words: &str| {
            let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(told.contains(&words), "{} does not tell: {words}", topic.name);
        };
        tells(topic.title);
        tells(topic.gives);
        tells(topic.valid_range);
        tells(&format!("version {}", topic.version));
        for field in topic.inputs.iter().chain(topic.outputs) {
            let mark = if field.required { "" } else { "?" };
            tells(&format!("{}{mark} [{}] {}", field.name, field.unit, field.meaning));
        }
        for sentence in topic.equations.iter().chain(topic.sources) {
            tells(sentence);
        }
        for case in &topic.published {
            tells(&case.source);
        }
        let told_cases: usize = topic.case_sources().iter().map(|(_, _, count)| count).sum();
        assert_eq!(told_cases, topic.published.len());
    }
}

#[test]
fn every_topic_of_the_catalogue_stands_in_the_reference_with_cases_and_a_refusal() {
    let text = as_text();
    for topic in catalogue() {
        let reference = find(topic.name).unwrap();
        assert!(text.contains(&format!("\n{}: {}", topic.name, topic.title)), "{}", topic.name);
        assert!(reference.published.iter().any(|case| case.refusal), "{}", topic.name);
        assert!(reference.published.iter().any(|case| !case.refusal), "{}", topic.name);
    }
    assert_eq!(of_topic("warp-drive"), None);
}

#[test]
fn the_reference_can_be_written_as_json_with_units_and_cases() {
    let json = serde_json::to_value(all()).unwrap();
    let risk = json.as_array().unwrap().iter().find(|topic| topic["name"] == "risk").unwrap();
    assert_eq!(risk["inputs"][0]["name"], "severity");
    assert_eq!(risk["inputs"][0]["required"], true);
    assert_eq!(risk["example"]["severity"], 1);
    assert!(risk["published"].as_array().unwrap().len() >= 24);
    assert!(risk["published"][0]["source"].as_str().unwrap().contains("MIL-STD-882E"));
}

#[test]
fn no_line_of_prose_is_wider_than_the_text() {
    let mut text = String::new();
    paragraph(&mut text, "  ", &"sieben Wörter über der grünen Wiese stehen ".repeat(20));
    assert!(text.lines().all(|line| line.chars().count() <= WIDTH && line.starts_with("  ")));
    assert!(text.ends_with('\n'));
}

#[test]
fn a_number_is_not_broken_between_its_thousands() {
    let mut text = String::new();
    paragraph(&mut text, "", &"up to 20 000 ft and ".repeat(40));
    assert!(!text.contains("20\n000"));
    assert!(text.contains("20 000"));
}
