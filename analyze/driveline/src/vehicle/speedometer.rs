//! The speedometer: what it expects of its sender, and the rule that it must obey.

use super::Place;
use serde::{Deserialize, Serialize};

/// A speedometer that counts the pulses of a sender, or whose unit sends what it shows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Speedometer {
    /// The rule that it must obey.
    pub rule: SpeedRule,
    /// Pulses per kilometre that it expects; not needed where a signal tells what it shows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pulses_per_km: Option<f64>,
    /// Place of the pulse sensor that is wired to the speedometer's line.
    #[serde(default = "default_sender")]
    pub sender: Place,
    /// What it shows above what the pulses say, percent (fed by a generator on the bench).
    #[serde(default)]
    pub surplus_percent: f64,
}

/// What a speedometer may show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum SpeedRule {
    /// UN Regulation No. 39 para 5.3: never less than the truth, and at most a tenth and 4 km/h
    /// more.
    #[serde(rename = "un-r39")]
    UnR39,
    /// 49 CFR 393.82: within 5 miles an hour at 50 miles an hour.
    #[serde(rename = "us-393-82")]
    Us39382,
}

fn default_sender() -> Place {
    Place::SpeedSender
}

impl Speedometer {
    /// Speed that it shows, m/s, at so many pulses a second; None where it is not known how many
    /// it expects.
    ///
    /// ```
    /// use wheelwitness_driveline::vehicle::*;
    /// let s = Speedometer { rule: SpeedRule::UnR39, pulses_per_km: Some(2548.0),
    ///     sender: Place::SpeedSender, surplus_percent: 0.0 };
    /// // 637 turns a minute of a cable with four pulses a turn mean 60 km/h.
    /// assert!((3.6 * s.shown_mps(637.0 * 4.0 / 60.0).unwrap() - 60.0).abs() < 1e-9);
    /// ```
    pub fn shown_mps(&self, pulses_per_s: f64) -> Option<f64> {
        let fed = 1e3 * pulses_per_s / self.pulses_per_km?;
        Some(fed * (1.0 + self.surplus_percent / 100.0))
    }
}
