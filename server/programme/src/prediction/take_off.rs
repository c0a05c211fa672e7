//! The least charge state with which to take off: for the power that a take-off needs, and for the energy until after the
//! landing.

use super::energy::reserve_kwh;
use super::{Predictions, rules};
use crate::holds::edge::is_at_most;
use crate::measure::Unit;
use crate::nouns::{Point, TakeOffPower};
use crate::record::Predicted;
use crate::state::State;

/// The least charge state at take-off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MinimumCharge {
    /// The greater of both, per cent.
    pub percent: f64,
    /// For the power, per cent; absent where the policy states none.
    pub for_power_percent: Option<f64>,
    /// For energy and reserve at the pessimistic end, per cent; absent where the policy states no reserve or no usable
    /// energy.
    pub for_energy_percent: Option<f64>,
}

/// Why there is no least charge state.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoMinimumCharge {
    /// The policy says nothing that it would follow from.
    #[error(
        "the programme's policy states neither a power for take-off nor a reserve with the usable energy"
    )]
    NotDecided,
    /// The table tells nothing at this temperature.
    #[error("the policy tells the power of the pack at no temperature as low, or as high, as this")]
    OutsideTemperatures,
    /// Not even the full pack gives the power.
    #[error(
        "not even the highest charge state that the policy tells gives the power that a take-off needs"
    )]
    NeverEnough,
    /// The energy cannot be predicted.
    #[error("the energy of the point cannot be predicted")]
    NoEnergy,
    /// Energy and reserve are more than the full pack holds.
    #[error("energy and reserve together are more than the full pack holds")]
    MoreThanFull,
}

/// The power at a charge state that is told, on a straight line between temperatures.
fn power_at(table: &[(f64, f64, f64)], charge: f64, pack_c: f64) -> Option<f64> {
    let of_charge = || table.iter().filter(move |row| row.0 == charge);
    let below = of_charge().filter(|row| row.1 <= pack_c).max_by(|a, b| a.1.total_cmp(&b.1))?;
    let above = of_charge().filter(|row| row.1 >= pack_c).min_by(|a, b| a.1.total_cmp(&b.1))?;
    if above.1 == below.1 {
        return Some(below.2.min(above.2));
    }
    Some(below.2 + (above.2 - below.2) * (pack_c - below.1) / (above.1 - below.1))
}

/// The least charge state from which on, up to the highest that is told, the pack gives the power.
fn for_power(rules: &TakeOffPower, pack_c: f64) -> Result<f64, NoMinimumCharge> {
    let needed = rules.needed.in_unit(Unit::Kilowatt).unwrap_or(f64::NAN);
    let table: Option<Vec<(f64, f64, f64)>> = rules
        .available
        .iter()
        .map(|row| {
            let pack_c = row.pack_temperature.in_unit(Unit::Celsius)?;
            Some((row.charge_percent, pack_c, row.power.in_unit(Unit::Kilowatt)?))
        })
        .collect();
    let table = table.unwrap_or_default();
    let mut charges: Vec<f64> = table.iter().map(|row| row.0).collect();
    charges.sort_by(f64::total_cmp);
    charges.dedup();
    let mut least: Option<(f64, f64)> = None;
    for charge in charges.iter().rev().copied() {
        let power = power_at(&table, charge, pack_c).ok_or(NoMinimumCharge::OutsideTemperatures)?;
        if is_at_most(needed, power) {
            least = Some((charge, power));
            continue;
        }
        return match least {
            // Between two charge states that are told the power runs straight.
            Some((above, gives)) => {
                Ok(charge + (above - charge) * (needed - power) / (gives - power))
            }
            None => Err(NoMinimumCharge::NeverEnough),
        };
    }
    least.map(|(charge, _)| charge).ok_or(NoMinimumCharge::OutsideTemperatures)
}

/// The least charge state with which a point may take off, at a temperature of the pack.
///
/// Between the charge states and temperatures that the policy tells, power runs straight; below the lowest charge state
/// nothing is told, so that none lower is given. It is a planning figure: it clears nobody to take off.
///
/// # Errors
///
/// [`NoMinimumCharge`], where it cannot be told. Unknown is not enough.
pub fn minimum_charge(
    state: &State,
    point: &Point,
    predictions: &Predictions,
    pack_c: f64,
) -> Result<MinimumCharge, NoMinimumCharge> {
    let rules = rules(state).ok_or(NoMinimumCharge::NotDecided)?;
    let for_power_percent =
        rules.take_off_power.as_ref().map(|it| for_power(it, pack_c)).transpose()?;
    let usable = rules.usable_energy.and_then(|it| it.in_unit(Unit::KilowattHour));
    let for_energy_percent = match (usable, reserve_kwh(rules, point)) {
        (Some(usable), Some(reserve)) => {
            let energy = predictions.of(&Predicted::Energy {}).ok_or(NoMinimumCharge::NoEnergy)?;
            Some(100.0 * (energy.value.high + reserve) / usable)
        }
        (None, _) | (_, None) => None,
    };
    let percent = match (for_power_percent, for_energy_percent) {
        (None, None) => return Err(NoMinimumCharge::NotDecided),
        (Some(one), None) | (None, Some(one)) => one,
        (Some(one), Some(other)) => one.max(other),
    };
    if !is_at_most(percent, 100.0) {
        return Err(NoMinimumCharge::MoreThanFull);
    }
    Ok(MinimumCharge { percent, for_power_percent, for_energy_percent })
}
