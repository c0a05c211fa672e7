//! What a crew reads on the day, in words: weather, checks, snags, verdicts, times and sums.

use programme::nouns::{Severity, WeatherObservation};
use programme::record::{RunKind, RunTimes};
use programme::verdict::Outcome;

use crate::api::checks::CheckStanding;

/// What was observed, as label and figure. What was not observed is not there.
pub(crate) fn observed(weather: &WeatherObservation) -> Vec<(&'static str, String)> {
    let WeatherObservation {
        wind,
        wind_from_deg,
        gust,
        crosswind,
        visibility,
        cloud_base,
        temperature,
        qnh,
        precipitation,
        remarks,
    } = weather;
    let figure = |of: &Option<programme::measure::Measure>| of.map(|figure| figure.to_string());
    let falls = |falls: bool| if falls { "yes" } else { "none" }.to_owned();
    let parts = [
        ("Wind", figure(wind)),
        ("Wind from", wind_from_deg.map(|degrees| format!("{degrees}° true"))),
        ("Gusts", figure(gust)),
        ("Crosswind", figure(crosswind)),
        ("Visibility", figure(visibility)),
        ("Cloud base above the field", figure(cloud_base)),
        ("Air", figure(temperature)),
        ("QNH", figure(qnh)),
        ("Precipitation", precipitation.map(falls)),
        ("Remarks", remarks.clone()),
    ];
    parts.into_iter().filter_map(|(label, figure)| Some((label, figure?))).collect()
}

/// Whether a check is good, in words.
pub(crate) const fn check_word(standing: CheckStanding) -> &'static str {
    match standing {
        CheckStanding::Good => "good",
        CheckStanding::NeverPassed => "never passed",
        CheckStanding::Failed => "did not pass",
        CheckStanding::Overdue => "due",
        CheckStanding::HoursUnknown => "due: hours since are not known",
    }
}

/// How bad something could be, by the four categories of MIL-STD-882E.
pub(crate) const fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Catastrophic => "catastrophic (1)",
        Severity::Critical => "critical (2)",
        Severity::Marginal => "marginal (3)",
        Severity::Negligible => "negligible (4)",
    }
}

/// A severity as it is written in records.
pub(crate) const fn severity_code(severity: Severity) -> &'static str {
    match severity {
        Severity::Catastrophic => "catastrophic",
        Severity::Critical => "critical",
        Severity::Marginal => "marginal",
        Severity::Negligible => "negligible",
    }
}

/// What the values of a result say.
pub(crate) const fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Met => "met",
        Outcome::NotMet => "not met",
        Outcome::Missing => "missing",
    }
}

/// The times of a run on one line, each to the minute in UTC.
pub(crate) fn times_in_short(kind: RunKind, times: &RunTimes) -> String {
    let clock = |at: &chrono::DateTime<chrono::Utc>| at.format("%H:%M").to_string();
    let one = |at: &Option<chrono::DateTime<chrono::Utc>>| {
        at.as_ref().map_or_else(|| "not noted".to_owned(), clock)
    };
    let several = |all: &[chrono::DateTime<chrono::Utc>]| {
        let all: Vec<_> = all.iter().map(clock).collect();
        if all.is_empty() { "none".to_owned() } else { all.join(", ") }
    };
    let mut parts = vec![format!("power on {}", one(&times.power_on))];
    if kind != RunKind::GroundRun {
        parts.push(format!("off blocks {}", one(&times.off_blocks)));
    }
    if kind == RunKind::Flight {
        parts.push(format!("take-off {}", several(&times.take_offs)));
        parts.push(format!("landing {}", several(&times.landings)));
    }
    if kind != RunKind::GroundRun {
        parts.push(format!("on blocks {}", one(&times.on_blocks)));
    }
    parts.push(format!("power off {}", one(&times.power_off)));
    format!("{} UTC", parts.join(", "))
}
