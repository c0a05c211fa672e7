//! In which order components would reach their limits at a point.

use super::Predictions;
use crate::codes::LimitCode;
use crate::record::Predicted;

/// How near a component comes to its limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Margin {
    /// The limit.
    pub limit: LimitCode,
    /// Limit less the upper end of the predicted temperature, kelvins; negative: beyond.
    pub margin_k: f64,
    /// Limit less the estimate, kelvins.
    pub expected_margin_k: f64,
    /// Until the limit would be reached by the estimate, seconds; absent: it would settle below.
    pub time_to_limit_s: Option<f64>,
    /// Whether it is certain that it comes before the next one: their intervals do not overlap.
    pub certain: bool,
}

/// Components whose temperatures are predicted, the one that reaches its limit first first: by the time to the limit, and of
/// those that settle below by the margin that is expected to be left.
pub fn margin_order(predictions: &Predictions) -> Vec<Margin> {
    let mut found: Vec<(Margin, (f64, f64))> = predictions
        .made
        .iter()
        .filter_map(|prediction| {
            let Predicted::Temperature { limit } = &prediction.what else { return None };
            let detail = prediction.temperature.as_ref()?;
            let (low, high) = (prediction.value.low, prediction.value.high);
            let margin = Margin {
                limit: limit.clone(),
                margin_k: detail.limit_c - high,
                expected_margin_k: detail.limit_c - prediction.value.estimate,
                time_to_limit_s: detail.time_to_limit.estimate_s,
                certain: false,
            };
            Some((margin, (detail.limit_c - high, detail.limit_c - low)))
        })
        .collect();
    found.sort_by(|(one, _), (other, _)| {
        let time = |margin: &Margin| margin.time_to_limit_s.unwrap_or(f64::INFINITY);
        time(one)
            .total_cmp(&time(other))
            .then(one.expected_margin_k.total_cmp(&other.expected_margin_k))
    });
    let apart: Vec<bool> = found.windows(2).map(|pair| pair[0].1.1 < pair[1].1.0).collect();
    let margins = found.into_iter().enumerate();
    margins
        .map(|(place, (margin, _))| Margin {
            certain: apart.get(place).copied().unwrap_or(false),
            ..margin
        })
        .collect()
}
