//! Predictions of energy at landing whose lower end falls short of the reserve. Exactly the reserve is enough.

use chrono::{DateTime, Utc};

use super::{Explained, Reason, Rule, Subject};
use crate::nouns::{LandingReserve, Phase};
use crate::prediction::{Prediction, predictions, rules};
use crate::record::Predicted;
use crate::state::{Rung, State};

static SHORT: Rule = Rule::against_release(
    "predicted-reserve-short",
    "The lower end of the predicted energy at landing covers the reserve.",
);

pub(super) static RULES: &[&Rule] = &[&SHORT];

/// A landing that is predicted below the reserve.
#[derive(Debug, Clone, PartialEq)]
pub struct PredictedReserve {
    /// The prediction of the energy at landing.
    pub prediction: Box<Prediction>,
}

pub(super) fn collect(rung: &Rung, state: &State, now: DateTime<Utc>, found: &mut Vec<Reason>) {
    let predictions = predictions(state, &rung.point, now);
    if let Some(prediction) = predictions.of(&Predicted::LandingEnergy {})
        && prediction.passes_bound()
    {
        let prediction = Box::new(prediction.clone());
        found.push(Reason::PredictedReserve(PredictedReserve { prediction }));
    }
}

fn concerning(state: &State, phase: Phase) -> impl Iterator<Item = &LandingReserve> {
    let reserves = rules(state).into_iter().flat_map(|rules| &rules.reserves);
    reserves.filter(move |it| it.phases.is_empty() || it.phases.contains(&phase))
}

impl Explained for PredictedReserve {
    fn rule(&self) -> &'static Rule {
        &SHORT
    }

    fn subject(&self, rung: &Rung) -> Subject {
        Subject::new("point", &rung.point.code)
    }

    fn why(&self, rung: &Rung, state: &State) -> String {
        let Prediction { value, bound, .. } = &*self.prediction;
        let reserve = bound.map_or(f64::NAN, |bound| bound.figure);
        let rules: Vec<String> = concerning(state, rung.point.phase)
            .map(|it| format!("{} minutes at {}", it.rule.minutes(), it.power))
            .collect();
        format!(
            "At landing {:.2} kWh are predicted to be left ({:.2} to {:.2}); the reserve is {reserve:.2} kWh ({}). {}",
            value.estimate,
            value.low,
            value.high,
            rules.join(", "),
            self.prediction.rests_on()
        )
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        format!(
            "The pack is charged further before the take-off, or less is planned for {}.",
            rung.point.code
        )
    }

    fn source(&self, rung: &Rung, state: &State) -> String {
        let sources: Vec<&str> =
            concerning(state, rung.point.phase).map(|it| it.source.as_str()).collect();
        format!("the programme's policy: {}", sources.join("; "))
    }
}
