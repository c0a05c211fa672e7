//! What predictions take from reductions, read once as they are recorded.
//!
//! A reduction is kept as its answer: the topic's output, and which channel played which part.

use serde_json::Value;

use crate::codes::ChannelCode;

/// What predictions take from a reduction.
#[derive(Debug, Clone, PartialEq)]
pub enum Figures {
    /// Of a fit of a part's warming.
    Thermal(ThermalFigures),
    /// Of a decay.
    Damping(DampingFigures),
}

/// How a part warms with power.
#[derive(Debug, Clone, PartialEq)]
pub struct ThermalFigures {
    /// The channel of its temperature.
    pub channel: ChannelCode,
    /// Time constant in seconds.
    pub time_constant_s: f64,
    /// Its standard error.
    pub time_constant_se_s: f64,
    /// Rise for each kilowatt, in kelvins.
    pub rise_c_per_kw: f64,
    /// Its standard error.
    pub rise_se_c_per_kw: f64,
    /// Correlation of both errors; zero where it is not told.
    pub correlation: f64,
    /// Scatter of readings about the fit, in kelvins.
    pub residual_sd_c: f64,
    /// What was recorded; absent where an older version of the method does not tell.
    pub recorded: Option<Recorded>,
}

/// What a fit rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recorded {
    /// Highest power, kilowatts.
    pub highest_power_kw: f64,
    /// Length, seconds.
    pub duration_s: f64,
    /// Highest rise over the ambient temperature, kelvins.
    pub highest_rise_c: f64,
    /// Rise over the ambient temperature at the beginning, kelvins.
    pub start_rise_c: f64,
}

/// Damping of a decay.
#[derive(Debug, Clone, PartialEq)]
pub struct DampingFigures {
    /// The channel that showed it.
    pub channel: ChannelCode,
    /// Share of critical damping.
    pub damping_ratio: f64,
    /// Frequency in hertz, where it is told.
    pub frequency_hz: Option<f64>,
}

fn figure(answer: &Value, pointer: &str) -> Option<f64> {
    answer.pointer(pointer).and_then(Value::as_f64).filter(|figure| figure.is_finite())
}

fn channel(answer: &Value, role: &str) -> Option<ChannelCode> {
    let named = answer.pointer(&format!("/rests_on/channels/{role}"))?.as_str()?;
    ChannelCode::new(named).ok()
}

impl Figures {
    /// The channel of the part that they are of.
    pub const fn channel(&self) -> &ChannelCode {
        match self {
            Figures::Thermal(figures) => &figures.channel,
            Figures::Damping(figures) => &figures.channel,
        }
    }

    /// Reads what was kept of a reduction; absent where predictions take nothing from it, or where a figure is missing.
    pub fn read(topic: &str, result: &str) -> Option<Self> {
        match topic {
            "thermal-fit" => {
                let answer: Value = serde_json::from_str(result).ok()?;
                Self::thermal(&answer)
            }
            "damping" => {
                let answer: Value = serde_json::from_str(result).ok()?;
                Some(Figures::Damping(DampingFigures {
                    channel: channel(&answer, "signal")?,
                    damping_ratio: figure(&answer, "/output/damping_ratio")?,
                    frequency_hz: figure(&answer, "/output/frequency_hz"),
                }))
            }
            _ => None,
        }
    }

    fn thermal(answer: &Value) -> Option<Self> {
        let positive = |pointer: &str| figure(answer, pointer).filter(|figure| *figure > 0.0);
        let recorded = |name: &str| figure(answer, &format!("/output/recorded/{name}"));
        let recorded = || {
            Some(Recorded {
                highest_power_kw: recorded("highest_power_kw")?,
                duration_s: recorded("duration_s")?,
                highest_rise_c: recorded("highest_rise_c")?,
                start_rise_c: recorded("start_rise_c")?,
            })
        };
        Some(Figures::Thermal(ThermalFigures {
            channel: channel(answer, "temperature")?,
            time_constant_s: positive("/output/time_constant_s")?,
            time_constant_se_s: figure(answer, "/output/time_constant_se_s")?,
            rise_c_per_kw: positive("/output/rise_c_per_kw")?,
            rise_se_c_per_kw: figure(answer, "/output/rise_se_c_per_kw")?,
            correlation: figure(answer, "/output/time_constant_rise_correlation").unwrap_or(0.0),
            residual_sd_c: figure(answer, "/output/residual_sd_c")?,
            recorded: recorded(),
        }))
    }
}

impl ThermalFigures {
    /// The rise over the ambient temperature after so long at so much power, begun as the recording was.
    pub(super) fn rise_c(&self, power_kw: f64, after_s: f64) -> f64 {
        let kept = (-after_s / self.time_constant_s).exp();
        let begun = self.recorded.map_or(0.0, |recorded| recorded.start_rise_c);
        self.rise_c_per_kw * power_kw * (1.0 - kept) + begun * kept
    }

    /// The variance of that, as far as the fit leaves its parameters open: to first order.
    pub(super) fn variance_c2(&self, power_kw: f64, after_s: f64) -> f64 {
        let x = after_s / self.time_constant_s;
        let kept = (-x).exp();
        let begun = self.recorded.map_or(0.0, |recorded| recorded.start_rise_c);
        let by_rise = power_kw * (1.0 - kept) * self.rise_se_c_per_kw;
        let by_time = (begun - self.rise_c_per_kw * power_kw) * kept * x / self.time_constant_s
            * self.time_constant_se_s;
        let both = 2.0 * self.correlation.clamp(-1.0, 1.0) * by_rise * by_time;
        (by_rise.powi(2) + by_time.powi(2) + both).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]
    use super::*;

    #[test]
    fn what_lacks_a_figure_or_its_channel_is_no_basis_of_a_prediction() {
        let whole = r#"{"output":{"time_constant_s":140,"time_constant_se_s":4,"rise_c_per_kw":0.9,"rise_se_c_per_kw":0.02,"residual_sd_c":0.4},"rests_on":{"channels":{"temperature":"winding","power":"kw","ambient":"oat"}}}"#;
        let Some(Figures::Thermal(read)) = Figures::read("thermal-fit", whole) else { panic!() };
        assert_eq!((read.channel.as_str(), read.recorded), ("winding", None));
        for (was, is) in [
            ("\"temperature\"", "\"other\""),
            ("\"rise_c_per_kw\":0.9", "\"rise_c_per_kw\":-0.9"),
            ("\"residual_sd_c\":0.4", "\"residual_sd_c\":null"),
        ] {
            assert_eq!(Figures::read("thermal-fit", &whole.replace(was, is)), None, "{is}");
        }
        assert_eq!(Figures::read("energy", whole), None);
        assert_eq!(Figures::read("thermal-fit", "no JSON"), None);
    }

    #[test]
    fn a_rise_begins_where_the_recording_did_and_ends_at_its_rise_for_each_kilowatt() {
        let recorded = Recorded {
            highest_power_kw: 40.0,
            duration_s: 600.0,
            highest_rise_c: 50.0,
            start_rise_c: 5.0,
        };
        let part = ThermalFigures {
            channel: ChannelCode::new("winding").unwrap(),
            time_constant_s: 100.0,
            time_constant_se_s: 1.0,
            rise_c_per_kw: 1.2,
            rise_se_c_per_kw: 0.01,
            correlation: 0.0,
            residual_sd_c: 0.3,
            recorded: Some(recorded),
        };
        assert!((part.rise_c(50.0, 0.0) - 5.0).abs() < 1e-12);
        assert!((part.rise_c(50.0, 1e6) - 60.0).abs() < 1e-9);
        // After one time constant 1 - 1/e of the way is gone: 5 + 55 · 0.632 121.
        assert!((part.rise_c(50.0, 100.0) - 39.766_63).abs() < 1e-4);
        assert!((part.variance_c2(50.0, 1e6).sqrt() - 0.5).abs() < 1e-9, "50 kW · 0.01 K/kW");
    }
}
