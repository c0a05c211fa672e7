//! A prediction as a line of a page.

use maud::{Markup, html};
use programme::record::Predicted;
use programme::state::State;

use crate::api::predictions::{self as api, PredictionView};
use crate::pages::words::{channel_name, figure, rounded};

/// A prediction.
#[derive(Debug, Clone)]
pub(crate) struct PredictionLine {
    pub what: String,
    pub estimate: String,
    /// The ends of the 95 % interval.
    pub interval: String,
    /// The bound in words.
    pub bound: Option<String>,
    /// Whether the bad end of the interval lies beyond the bound.
    pub beyond: bool,
    pub rests_on: String,
    pub extrapolated: Option<String>,
    /// Of a temperature: ambient, time to the limit, hot day.
    pub more: Vec<String>,
}

/// What is predicted, in words.
pub(crate) fn predicted(state: &State, what: &Predicted) -> String {
    match what {
        Predicted::Temperature { limit } => {
            let of = state.limits.by_code.get(limit);
            let channel = of.map(|of| channel_name(state, &of.limit.channel));
            format!("Temperature, {} ({limit})", channel.unwrap_or_default())
        }
        Predicted::Energy {} => "Energy out of the pack".to_owned(),
        Predicted::LandingEnergy {} => "Energy left at landing (reserve)".to_owned(),
        Predicted::Damping { channel } => format!("Damping, {}", channel_name(state, channel)),
    }
}

pub(super) fn near(figure: f64) -> f64 {
    (figure * 100.0).round() / 100.0
}

impl PredictionLine {
    pub fn of(state: &State, it: &PredictionView) -> Self {
        let of = |value: f64| figure(near(value), it.unit);
        let bound = it.bound.map(|bound| {
            let end = match it.worst_end {
                Some(api::End::Low) => "at least",
                Some(api::End::High) | None => "at most",
            };
            format!("{end} {}", of(bound))
        });
        let mut more = Vec::new();
        if let Some(detail) = &it.temperature {
            let from = match detail.ambient_from {
                api::AmbientFrom::Observed => "as observed",
                api::AmbientFrom::PointMaximum => "the most that the point allows",
                api::AmbientFrom::HotDay => "the hot day of the policy",
            };
            more.push(format!(
                "{} kW for {} s in air of {} °C, {from}",
                rounded(detail.power_kw),
                rounded(detail.duration_s),
                rounded(detail.ambient_c)
            ));
            if let Some(time) = detail.time_to_limit_s {
                let earliest = detail.earliest_time_to_limit_s.unwrap_or(time);
                more.push(format!(
                    "the limit would be reached after {} s, at the earliest {} s",
                    rounded(time),
                    rounded(earliest)
                ));
            }
            let hot = &detail.hot_day;
            more.push(format!(
                "on a hot day of {} °C: {}, from {} to {}{}",
                rounded(detail.hot_day_ambient_c),
                of(hot.estimate),
                of(hot.low),
                of(hot.high),
                if detail.hot_day_passes_bound {
                    ", NOT within the bound"
                } else {
                    ", within the bound"
                }
            ));
        }
        Self {
            what: predicted(state, &it.what),
            estimate: of(it.value.estimate),
            interval: format!("{} to {}", of(it.value.low), of(it.value.high)),
            bound,
            beyond: it.passes_bound,
            rests_on: it.in_words.clone(),
            extrapolated: it
                .extrapolated_percent
                .filter(|percent| *percent > 0.0)
                .map(|percent| format!("{} % of the range seen", rounded(percent))),
            more,
        }
    }
}

impl PredictionLine {
    /// What is expected, and whether the whole interval keeps the bound.
    pub fn shown(&self) -> Markup {
        html! {
            p { (self.what) ": " strong { (self.estimate) } ", from " (self.interval)
                @if let Some(bound) = &self.bound { "; " (bound) ", " @if self.beyond { strong { "which it does NOT keep over the whole interval" } } @else { "which it keeps over the whole interval" } } "." }
            @if let Some(extrapolated) = &self.extrapolated { p.warn { strong { "Extrapolates " } (extrapolated) " beyond what was seen." } }
        }
    }

    /// What it rests on.
    pub fn basis(&self) -> Markup {
        html! { li { (self.what) ": " (self.rests_on) @for it in &self.more { " " (it) "." } } }
    }
}

#[cfg(test)]
impl PredictionLine {
    pub fn sample(many: usize) -> Self {
        use crate::pages::tests::long;
        Self {
            what: long("Temperature, winding", many),
            estimate: "92.4 °C".to_owned(),
            interval: "88 °C to 97 °C".to_owned(),
            bound: Some("at most 120 °C".to_owned()),
            beyond: many > 10,
            rests_on: long("It rests on run 12.", many),
            extrapolated: (many > 10).then(|| "40 %".to_owned()),
            more: vec![long("On a hot day", many); 2],
        }
    }
}

#[cfg(test)]
mod tests {
    use programme::measure::Unit;

    use super::*;
    use crate::api::predictions::{BasisView, IntervalView};

    /// A landing energy of 21 kWh, from 15 kWh to 27 kWh, of which at least `bound` is asked for.
    fn told(bound: f64, passes_bound: bool) -> String {
        let view = PredictionView {
            what: Predicted::LandingEnergy {},
            value: IntervalView { estimate: 21.0, low: 15.0, high: 27.0 },
            unit: Unit::KilowattHour,
            bound: Some(bound),
            worst_end: Some(api::End::Low),
            passes_bound,
            rests_on: BasisView { reductions: vec![], runs: vec![], recordings: vec![] },
            extrapolated_percent: Some(0.0),
            in_words: String::new(),
            temperature: None,
        };
        PredictionLine::of(&State::default(), &view).shown().into_string()
    }

    #[test]
    fn an_interval_that_passes_its_bound_is_told_not_to_keep_it_and_no_other_is() {
        let kept = told(8.33, false);
        assert!(kept.contains("at least 8.33 kWh, which it keeps over the whole"), "{kept}");
        let passed = told(16.0, true);
        assert!(passed.contains("which it does NOT keep"), "{passed}");
    }
}
