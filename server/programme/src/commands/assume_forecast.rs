//! Assumes what forecasts rest on: durations, working days, weather, deliveries, repeats.

use super::given::{Given, one};
use super::{Command, Stamp};
use crate::entry::Draft;
use crate::forecast::{Assumptions, remaining};
use crate::people::Act;
use crate::record::ForecastAssumed;
use crate::refusal::Refusal;
use crate::state::State;

/// Asks for assumptions to hold for the forecasts that come.
#[derive(Debug, Clone)]
pub struct AssumeForecast {
    /// All of them.
    pub assumptions: Assumptions,
}

impl Command for AssumeForecast {
    fn act(&self) -> Act {
        Act::Forecast
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let faults = self.assumptions.faults(&remaining(state));
        Given::new(state, stamp).faults(faults).settled()?;
        Ok(one(ForecastAssumed { assumptions: self.assumptions.clone() }))
    }
}
