//! What the plots draw: decimated series, beside the result and never part of a verdict.

use serde::{Deserialize, Serialize};

/// One row per time step of the drive (at most a few thousand rows; longer drives are decimated
/// by whole steps). `None` means not measured in this step, never 0.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Series {
    /// Middle of each step on the time axis, seconds.
    pub time_s: Vec<f64>,
    /// Front propeller shaft (or all-wheel equivalent), turns per minute.
    pub front_rpm: Vec<Option<f64>>,
    /// Rear propeller shaft (or equivalent), turns per minute.
    pub rear_rpm: Vec<Option<f64>>,
    /// Case input over range ratio, turns per minute.
    pub input_rpm: Vec<Option<f64>>,
    /// Ground speed by the best source, metres per second.
    pub speed_mps: Vec<Option<f64>>,
    /// Running sum of front minus rear output turns.
    pub counted_turn: Vec<Option<f64>>,
    /// Running sum of the demanded difference, turns.
    pub demanded_turn: Vec<Option<f64>>,
    /// Differential slip: front minus rear over their mean, percent.
    pub differential_slip_percent: Vec<Option<f64>>,
    /// Stretches in which an axle's wheel hung free while the other output stood still.
    pub lifted: Vec<LiftedWindow>,
}

/// A stretch with a wheel lifted and driven.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LiftedWindow {
    /// Start, seconds.
    pub start_s: f64,
    /// End, seconds.
    pub end_s: f64,
    /// Front output over (input / range ratio).
    pub ratio: Option<f64>,
    /// Times of the points below, seconds.
    pub time_s: Vec<f64>,
    /// Front output, turns per minute.
    pub front_rpm: Vec<f64>,
    /// Rear output, turns per minute.
    pub rear_rpm: Vec<f64>,
    /// Input over range ratio, turns per minute.
    pub input_rpm: Vec<f64>,
}
