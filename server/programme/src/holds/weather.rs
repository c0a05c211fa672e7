//! Where the plan states weather minima, the weather observed last must meet each of them and be new enough.
//!
//! A value exactly at a minimum meets it; an observation exactly as old as the policy allows is new enough.

use chrono::{DateTime, TimeDelta, Utc};

use super::edge::{is_at_least, is_at_most};
use super::words::{moment, span};
use super::{Explained, Reason, Rule, Subject};
use crate::measure::Measure;
use crate::nouns::{WeatherMinima, WeatherObservation};
use crate::state::{Rung, State};

static NOT_OBSERVED: Rule = Rule::against_run(
    "weather-not-observed",
    "The weather was observed, where the point states minima.",
);
static TOO_OLD: Rule = Rule::against_run(
    "weather-too-old",
    "The last observation of the weather is no older than the policy allows.",
);
static UNKNOWN: Rule = Rule::against_run(
    "weather-value-missing",
    "Every element of the weather for which the point states a minimum was observed.",
);
static OUTSIDE: Rule = Rule::against_run(
    "weather-outside-minima",
    "The observed weather meets every minimum of the point.",
);

pub(super) static RULES: &[&Rule] = &[&NOT_OBSERVED, &TOO_OLD, &UNKNOWN, &OUTSIDE];

/// What is wrong with the weather.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Weather {
    /// Nobody has observed it.
    NotObserved,
    /// The last observation is too old.
    TooOld {
        /// When it was so.
        at: DateTime<Utc>,
        /// How old it is; negative where it is dated ahead.
        age: TimeDelta,
    },
    /// An element was not observed.
    Unknown(Element),
    /// An element is outside the minimum.
    Outside {
        /// Which.
        element: Element,
        /// What was observed; absent for precipitation.
        observed: Option<Measure>,
    },
}

/// An element of the weather for which minima can be stated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Element {
    /// Mean wind, at most.
    Wind,
    /// Gusts, at most.
    Gust,
    /// Crosswind, at most.
    Crosswind,
    /// Visibility, at least.
    Visibility,
    /// Cloud base, at least.
    CloudBase,
    /// Air temperature, at least.
    Cold,
    /// Air temperature, at most.
    Heat,
    /// Nothing falls from the sky.
    Precipitation,
}

impl Element {
    const MEASURED: [Element; 7] = [
        Element::Wind,
        Element::Gust,
        Element::Crosswind,
        Element::Visibility,
        Element::CloudBase,
        Element::Cold,
        Element::Heat,
    ];

    const fn in_words(self) -> &'static str {
        match self {
            Element::Wind => "wind",
            Element::Gust => "gusts",
            Element::Crosswind => "crosswind",
            Element::Visibility => "visibility",
            Element::CloudBase => "cloud base",
            Element::Cold | Element::Heat => "temperature",
            Element::Precipitation => "precipitation",
        }
    }

    const fn minimum(self, minima: &WeatherMinima) -> Option<Measure> {
        match self {
            Element::Wind => minima.wind_at_most,
            Element::Gust => minima.gust_at_most,
            Element::Crosswind => minima.crosswind_at_most,
            Element::Visibility => minima.visibility_at_least,
            Element::CloudBase => minima.cloud_base_at_least,
            Element::Cold => minima.temperature_at_least,
            Element::Heat => minima.temperature_at_most,
            Element::Precipitation => None,
        }
    }

    const fn observed(self, weather: &WeatherObservation) -> Option<Measure> {
        match self {
            Element::Wind => weather.wind,
            Element::Gust => weather.gust,
            Element::Crosswind => weather.crosswind,
            Element::Visibility => weather.visibility,
            Element::CloudBase => weather.cloud_base,
            Element::Cold | Element::Heat => weather.temperature,
            Element::Precipitation => None,
        }
    }

    const fn is_lower_bound(self) -> bool {
        matches!(self, Element::Visibility | Element::CloudBase | Element::Cold)
    }
}

pub(super) fn collect(rung: &Rung, state: &State, now: DateTime<Utc>, found: &mut Vec<Reason>) {
    let minima = &rung.point.weather;
    if minima.is_empty() {
        return;
    }
    let mut against = |reason| found.push(Reason::Weather(reason));
    let Some(latest) = state.latest_weather() else {
        against(Weather::NotObserved);
        return;
    };
    // Without a policy the policy itself is a hold. One dated ahead by more than that is not of now either.
    if let Some(policy) = &state.policy {
        let age = now - latest.at;
        if age.abs() > TimeDelta::minutes(i64::from(policy.weather_good_for_min)) {
            against(Weather::TooOld { at: latest.at, age });
            return;
        }
    }
    found.extend(against_minima(minima, &latest.weather).into_iter().map(Reason::Weather));
}

/// Every minimum that weather does not meet, or of which it says nothing.
pub(crate) fn against_minima(minima: &WeatherMinima, weather: &WeatherObservation) -> Vec<Weather> {
    let mut found = Vec::new();
    for element in Element::MEASURED {
        let Some(minimum) = element.minimum(minima) else { continue };
        let observed = element.observed(weather);
        let figure = observed.and_then(|observed| observed.in_unit(minimum.unit));
        match figure.filter(|figure| figure.is_finite()) {
            None => found.push(Weather::Unknown(element)),
            Some(figure) => {
                let met = if element.is_lower_bound() {
                    is_at_least(figure, minimum.value)
                } else {
                    is_at_most(figure, minimum.value)
                };
                if !met {
                    found.push(Weather::Outside { element, observed });
                }
            }
        }
    }
    let element = Element::Precipitation;
    match weather.precipitation {
        None if minima.dry => found.push(Weather::Unknown(element)),
        Some(true) if minima.dry => found.push(Weather::Outside { element, observed: None }),
        Some(_) | None => {}
    }
    found
}

fn bound(element: Element, minima: &WeatherMinima) -> String {
    let word = if element.is_lower_bound() { "at least" } else { "at most" };
    element.minimum(minima).map_or_else(|| "none".to_owned(), |minimum| format!("{word} {minimum}"))
}

impl Explained for Weather {
    fn rule(&self) -> &'static Rule {
        match self {
            Weather::NotObserved => &NOT_OBSERVED,
            Weather::TooOld { .. } => &TOO_OLD,
            Weather::Unknown(_) => &UNKNOWN,
            Weather::Outside { .. } => &OUTSIDE,
        }
    }

    fn subject(&self, _: &Rung) -> Subject {
        let code = match self {
            Weather::NotObserved | Weather::TooOld { .. } => "observation",
            Weather::Unknown(element) | Weather::Outside { element, .. } => element.in_words(),
        };
        Subject::new("weather", code)
    }

    fn why(&self, rung: &Rung, state: &State) -> String {
        let minima = &rung.point.weather;
        match self {
            Weather::NotObserved => "Nobody has observed the weather.".to_owned(),
            Weather::TooOld { at, age } => {
                let good_for =
                    state.policy.as_ref().map_or(0, |policy| policy.weather_good_for_min);
                let old = if *age < TimeDelta::zero() { "ahead of now" } else { "old" };
                format!(
                    "The last observation, of {}, is {} {old}; it may be {good_for} min old.",
                    moment(*at),
                    span(*age)
                )
            }
            Weather::Unknown(element) => format!(
                "The last observation says nothing usable of {}, which must be {}.",
                element.in_words(),
                bound(*element, minima)
            ),
            Weather::Outside { element: Element::Precipitation, .. } => {
                "Something falls from the sky, and the point needs it dry.".to_owned()
            }
            Weather::Outside { element, observed } => {
                let observed = observed.map_or_else(String::new, |figure| figure.to_string());
                format!(
                    "The {} observed last is {observed}, and must be {}.",
                    element.in_words(),
                    bound(*element, minima)
                )
            }
        }
    }

    fn clears(&self, _: &Rung, _: &State) -> String {
        match self {
            Weather::NotObserved | Weather::TooOld { .. } => {
                "The weather is observed now and noted.".to_owned()
            }
            Weather::Unknown(element) => {
                format!("The weather is observed now, with its {}.", element.in_words())
            }
            Weather::Outside { .. } => {
                "The weather changes, and is observed and noted again.".to_owned()
            }
        }
    }

    fn source(&self, rung: &Rung, _: &State) -> String {
        match self {
            Weather::TooOld { .. } => {
                "the programme's policy: how long weather is good for".to_owned()
            }
            Weather::NotObserved | Weather::Unknown(_) | Weather::Outside { .. } => {
                format!("the plan of {}: weather minima", rung.point.code)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use chrono::TimeDelta;

    use crate::holds::Stage;
    use crate::measure::{Measure, Unit};
    use crate::nouns::{Point, WeatherMinima, WeatherObservation};
    use crate::record::WeatherObserved;
    use crate::story::{Story, point};

    fn kt(value: f64) -> Option<Measure> {
        Some(Measure::new(value, Unit::Knot))
    }

    fn story(minima: WeatherMinima) -> Story {
        let mut story = Story::team();
        story.plan(Point { weather: minima, ..point("B") }).approve("B");
        story
    }

    #[test]
    fn a_point_without_minima_does_not_ask_for_weather() {
        let story = story(WeatherMinima::default());
        assert!(story.rules("B").is_empty());
    }

    #[test]
    fn unobserved_weather_holds_the_run_and_not_the_release() {
        let story = story(WeatherMinima { dry: true, ..WeatherMinima::default() });
        assert_eq!(story.rules("B"), ["weather-not-observed"]);
        assert!(story.rules_against("B", Stage::Release).is_empty());
    }

    #[test]
    fn an_observation_is_good_to_the_second_and_a_late_report_does_not_replace_a_newer_one() {
        let calm = WeatherObservation { wind: kt(5.0), ..WeatherObservation::default() };
        let mut story = story(WeatherMinima { wind_at_most: kt(10.0), ..WeatherMinima::default() });
        let earlier = story.now - TimeDelta::hours(2);
        story.weather(calm);
        let storm = WeatherObservation { wind: kt(30.0), ..WeatherObservation::default() };
        story.observed("crew", earlier, WeatherObserved { weather: storm });
        story.later(TimeDelta::minutes(60) - TimeDelta::seconds(1));
        assert!(story.rules("B").is_empty(), "exactly 60 min old");
        story.later(TimeDelta::seconds(1));
        assert_eq!(story.rules("B"), ["weather-too-old"]);
    }

    #[test]
    fn an_observation_that_is_dated_ahead_is_not_of_now() {
        let mut story = story(WeatherMinima { wind_at_most: kt(10.0), ..WeatherMinima::default() });
        let calm = WeatherObservation { wind: kt(5.0), ..WeatherObservation::default() };
        let ahead = story.now + TimeDelta::days(1);
        story.observed("crew", ahead, WeatherObserved { weather: calm });
        assert_eq!(story.rules("B"), ["weather-too-old"]);
    }

    #[test]
    fn each_minimum_is_met_exactly_at_it_and_not_one_step_beyond() {
        let m = |value| Some(Measure::new(value, Unit::Metre));
        let degrees = |value| Some(Measure::new(value, Unit::Celsius));
        let minima = WeatherMinima {
            wind_at_most: kt(10.0),
            gust_at_most: kt(15.0),
            crosswind_at_most: kt(5.0),
            visibility_at_least: m(5000.0),
            cloud_base_at_least: m(600.0),
            temperature_at_least: degrees(0.0),
            temperature_at_most: degrees(30.0),
            dry: true,
        };
        let at_it = WeatherObservation {
            wind: kt(10.0),
            gust: kt(15.0),
            crosswind: kt(5.0),
            visibility: Some(Measure::new(5.0, Unit::Kilometre)),
            cloud_base: m(600.0),
            temperature: degrees(30.0),
            precipitation: Some(false),
            ..WeatherObservation::default()
        };
        let mut story = story(minima);
        story.weather(at_it.clone());
        assert!(story.rules("B").is_empty());
        let beyond = WeatherObservation {
            wind: kt(10.1),
            gust: kt(15.1),
            crosswind: kt(5.1),
            visibility: m(4999.0),
            cloud_base: m(599.0),
            temperature: degrees(30.1),
            precipitation: Some(true),
            ..WeatherObservation::default()
        };
        story.weather(beyond);
        assert_eq!(story.rules("B"), ["weather-outside-minima"; 7]);
        story.weather(WeatherObservation { temperature: degrees(-0.1), ..at_it });
        let why = story.hold("B", "weather-outside-minima").why;
        assert_eq!(why, "The temperature observed last is -0.1 °C, and must be at least 0 °C.");
    }

    #[test]
    fn what_was_not_observed_or_is_no_figure_of_its_kind_meets_no_minimum() {
        let mut story = story(WeatherMinima {
            wind_at_most: kt(10.0),
            gust_at_most: kt(15.0),
            crosswind_at_most: kt(5.0),
            dry: true,
            ..WeatherMinima::default()
        });
        story.weather(WeatherObservation {
            wind: Some(Measure::new(1.0, Unit::Metre)),
            gust: kt(f64::NAN),
            ..WeatherObservation::default()
        });
        assert_eq!(story.rules("B"), ["weather-value-missing"; 4]);
    }

    #[test]
    fn a_fast_clock_does_not_hide_the_storm_that_is_reported_after_it() {
        let mut story = story(WeatherMinima { wind_at_most: kt(10.0), ..WeatherMinima::default() });
        let calm = WeatherObservation { wind: kt(5.0), ..WeatherObservation::default() };
        let ahead = story.now + TimeDelta::minutes(2);
        story.observed("crew", ahead, WeatherObserved { weather: calm });
        assert!(story.rules("B").is_empty());
        story.weather(WeatherObservation { wind: kt(30.0), ..WeatherObservation::default() });
        assert_eq!(story.rules("B"), ["weather-outside-minima"]);
    }
}
