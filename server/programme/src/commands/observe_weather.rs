//! Records the weather as somebody observed it.

use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::given::{Given, one_seen};
use super::{Command, Stamp};
use crate::entry::Draft;
use crate::nouns::WeatherObservation;
use crate::people::Act;
use crate::record::WeatherObserved;
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives about the weather.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WeatherTerms {
    /// What was observed; what was not is left out, and never meets a minimum.
    pub weather: WeatherObservation,
    /// When; absent: now.
    #[serde(default)]
    pub observed_at: Option<DateTime<Utc>>,
}

/// Asks for weather to be recorded.
#[derive(Debug, Clone)]
pub struct ObserveWeather {
    /// What was given.
    pub terms: WeatherTerms,
}

impl Command for ObserveWeather {
    fn act(&self) -> Act {
        Act::ObserveWeather
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let WeatherTerms { weather, observed_at } = self.terms.clone();
        Given::new(state, stamp)
            .observed(observed_at)
            .faults(weather.faults("weather"))
            .settled()?;
        Ok(one_seen(observed_at, WeatherObserved { weather }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeDelta;

    use super::*;
    use crate::commands::asked::{faults, no_permission};
    use crate::measure::{Measure, Unit};
    use crate::story::Story;

    fn weather(wind: f64) -> ObserveWeather {
        let weather = WeatherObservation {
            wind: Some(Measure::new(wind, Unit::Knot)),
            ..WeatherObservation::default()
        };
        ObserveWeather { terms: WeatherTerms { weather, observed_at: None } }
    }

    #[test]
    fn weather_is_recorded_also_during_a_stand_down_and_the_latest_observation_holds() {
        let mut story = Story::team();
        story.stand_down().later(TimeDelta::hours(1));
        story.when("crew", &weather(8.0)).unwrap();
        let mut earlier = weather(20.0);
        earlier.terms.observed_at = Some(story.now - TimeDelta::minutes(30));
        story.when("pilot", &earlier).unwrap();
        let latest = story.state.latest_weather().unwrap();
        assert_eq!(latest.weather.wind, Some(Measure::new(8.0, Unit::Knot)));
        no_permission(&mut story, &weather(8.0), &["viewer"]);
    }

    #[test]
    fn weather_that_cannot_be_or_says_nothing_is_refused() {
        let mut story = Story::team();
        assert_eq!(faults(story.when("crew", &weather(-1.0))), ["weather.wind.value"]);
        let mut nothing = weather(1.0);
        nothing.terms.weather = WeatherObservation::default();
        nothing.terms.observed_at = Some(story.now + TimeDelta::hours(1));
        assert_eq!(faults(story.when("crew", &nothing)), ["observed_at", "weather.weather"]);
    }
}
