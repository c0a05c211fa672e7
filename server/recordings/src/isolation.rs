//! Isolation resistance of a high-voltage bus, for each volt of working voltage.
//!
//! What is found is advice. Work on a high-voltage system is for those who are qualified for it; the authority, the licensed
//! inspector and the maker's handbook come first.

use flight_science::electrical::Bus;
use serde::{Deserialize, Serialize};

use crate::limits::{Judged, KindOfLimit, LimitRule, WatchOptions, exceedances};
use crate::{Micros, Series};

/// How a bus is fed and guarded, in the words of the regulation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BusKind {
    /// Direct current, galvanically isolated from any alternating-current bus.
    Direct,
    /// Alternating current, galvanically isolated from any direct-current bus.
    Alternating,
    /// Direct and alternating current galvanically connected.
    Connected,
    /// Connected, and every alternating-current bus is guarded by one of the two measures that the regulation names: two or
    /// more layers of insulation, barriers or enclosures that meet its requirements each by itself, or mechanically robust
    /// protection that lasts as long as the vehicle.
    ConnectedAndGuarded,
}

impl BusKind {
    /// The least isolation resistance for each volt of working voltage, in ohms a volt. Exactly so much is enough.
    ///
    /// # Source
    ///
    /// UN Regulation No. 100, paragraphs 5.1.3.1 and 5.1.3.2, read as a clause library quotes them (lawinsider.com). It is a
    /// rule for road vehicles; an aircraft's authority may want more.
    pub const fn least_ohm_per_v(self) -> f64 {
        match self {
            Self::Direct | Self::ConnectedAndGuarded => Bus::Direct.least_isolation_ohm_per_v(),
            Self::Alternating => Bus::Alternating.least_isolation_ohm_per_v(),
            Self::Connected => Bus::Connected.least_isolation_ohm_per_v(),
        }
    }
}

/// The working voltage that resistance is held against.
#[derive(Debug, Clone, Copy)]
pub enum WorkingVoltage<'a> {
    /// As the maker of the system states it, in volts.
    Stated(f64),
    /// As recorded, in volts: the greatest reading counts, for all of the recording.
    Recorded(Series<'a>),
}

/// What a recording says of isolation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Isolation {
    /// The working voltage, in volts.
    pub working_voltage_v: f64,
    /// The least resistance that the regulation allows at this voltage, in ohms.
    pub least_allowed_ohm: f64,
    /// The smallest resistance for each volt, in ohms a volt; absent where no resistance was read.
    pub smallest_ohm_per_v: Option<f64>,
    /// When.
    pub smallest_at: Option<Micros>,
    /// Resistance in ohms held against the least that is allowed, as a minimum without dwell.
    pub judged: Judged,
}

/// Why isolation can't be judged.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NoWorkingVoltage {
    /// It is stated as zero, negative or no number.
    #[error("the working voltage {volts} V is not above zero; state that of the system")]
    NotPositive {
        /// As stated or read.
        volts: f64,
    },
    /// The channel has no reading.
    #[error("the channel of the working voltage has no reading; state the voltage of the system")]
    NoReading,
}

/// Holds a recorded isolation resistance, in ohms, against UN Regulation No. 100.
///
/// # Errors
///
/// [`NoWorkingVoltage`] where there is none above zero.
///
/// # Source
///
/// See [`BusKind::least_ohm_per_v`]. That the greatest recorded voltage stands for the working voltage is our choice, on the
/// careful side of the readings; the regulation goes by what the maker states (from memory).
pub fn isolation(
    channel: &str,
    resistance: Series<'_>,
    voltage: WorkingVoltage<'_>,
    bus: BusKind,
    options: &WatchOptions,
) -> Result<Isolation, NoWorkingVoltage> {
    let volts = match voltage {
        WorkingVoltage::Stated(volts) => volts,
        WorkingVoltage::Recorded(series) => series
            .present()
            .map(|(_, volts)| volts)
            .reduce(f64::max)
            .ok_or(NoWorkingVoltage::NoReading)?,
    };
    if !(volts > 0.0 && volts.is_finite()) {
        return Err(NoWorkingVoltage::NotPositive { volts });
    }
    let least_allowed_ohm = bus.least_ohm_per_v() * volts;
    let rule = LimitRule {
        code: "un-r100-5.1.3".to_owned(),
        channel: channel.to_owned(),
        unit: "Ω".to_owned(),
        kind: KindOfLimit::Minimum { caution: None, limit: least_allowed_ohm },
        dwell_s: 0.0,
    };
    let judged = exceedances(&rule, &|code| (code == channel).then_some(resistance), options);
    let smallest = judged.nearest().map(|nearest| (nearest.value / volts, nearest.at));
    Ok(Isolation {
        working_voltage_v: volts,
        least_allowed_ohm,
        smallest_ohm_per_v: smallest.map(|(ohm_per_v, _)| ohm_per_v),
        smallest_at: smallest.map(|(_, at)| at),
        judged,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const TIMES: [Micros; 3] = [Micros(0), Micros(100_000), Micros(200_000)];

    fn of(ohm: f64, voltage: WorkingVoltage<'_>, bus: BusKind) -> Isolation {
        let values = [1e6, ohm, 1e6];
        let series = Series { times: &TIMES, values: &values };
        isolation("riso", series, voltage, bus, &WatchOptions::default()).unwrap()
    }

    #[test]
    fn exactly_the_least_resistance_is_enough_and_one_ohm_less_is_not() {
        // UN Regulation No. 100, 5.1.3.1 and 5.1.3.2, at 400 V.
        for (bus, least) in [
            (BusKind::Direct, 40_000.0),
            (BusKind::Alternating, 200_000.0),
            (BusKind::Connected, 200_000.0),
            (BusKind::ConnectedAndGuarded, 40_000.0),
        ] {
            let at = of(least, WorkingVoltage::Stated(400.0), bus);
            assert!(at.judged.shows_inside(), "{bus:?}");
            assert_eq!((at.least_allowed_ohm, at.smallest_at), (least, Some(TIMES[1])));
            assert_eq!(at.smallest_ohm_per_v, Some(bus.least_ohm_per_v()));
            let below = of(least - 1.0, WorkingVoltage::Stated(400.0), bus);
            assert_eq!(below.judged.found.len(), 1, "{bus:?}");
        }
    }

    #[test]
    fn a_recorded_voltage_counts_with_its_greatest_reading_and_none_is_refused() {
        let volts = [380.0, 400.0, f64::NAN];
        let recorded = WorkingVoltage::Recorded(Series { times: &TIMES, values: &volts });
        assert_eq!(of(39_999.0, recorded, BusKind::Direct).judged.found.len(), 1);
        let silent = Series { times: &TIMES, values: &[f64::NAN; 3] };
        let refused = |voltage| {
            isolation("riso", silent, voltage, BusKind::Direct, &WatchOptions::default())
                .unwrap_err()
        };
        assert_eq!(refused(WorkingVoltage::Recorded(silent)), NoWorkingVoltage::NoReading);
        for volts in [0.0, -1.0, f64::INFINITY] {
            let told = refused(WorkingVoltage::Stated(volts));
            assert_eq!(told, NoWorkingVoltage::NotPositive { volts });
        }
    }

    #[test]
    fn resistance_that_was_not_read_is_never_a_pass() {
        let silent = Series { times: &TIMES, values: &[f64::NAN; 3] };
        let voltage = WorkingVoltage::Stated(400.0);
        let options = WatchOptions::default();
        let found = isolation("riso", silent, voltage, BusKind::Direct, &options).unwrap();
        assert!(!found.judged.shows_inside() && found.smallest_ohm_per_v.is_none());
    }
}
