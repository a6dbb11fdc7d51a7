//! Speed-sender scales, and how finely a frequency can be read.

use crate::units::KM_PER_MILE;

/// Turns per kilometre of a speedometer cable at 637 turns a minute for 60 km/h (JIS D 5601
/// practice, from memory).
pub const CABLE_TURNS_PER_KM: f64 = 637.0;

/// Turns per kilometre of a speedometer cable of 1,000 turns a mile (SAE practice).
pub const CABLE_1000_PER_MILE: f64 = 1000.0 / KM_PER_MILE;

/// Pulses per kilometre of a sender on something that turns so often per kilometre.
///
/// ```
/// use wheelwitness_driveline::scale::{CABLE_TURNS_PER_KM, pulses_per_km};
/// assert_eq!(pulses_per_km(CABLE_TURNS_PER_KM, 4.0), 2548.0);
/// ```
pub fn pulses_per_km(turns_per_km: f64, pulses_per_turn: f64) -> f64 {
    turns_per_km * pulses_per_turn
}

/// Pulses per mile of a shaft sensor: teeth, tyre turns per mile, axle ratio.
pub fn pulses_per_mile(teeth: f64, tyre_turns_per_mile: f64, axle_ratio: f64) -> f64 {
    teeth * tyre_turns_per_mile * axle_ratio
}

/// Pulse frequency in hertz at a speed.
pub fn frequency_hz(pulses_per_km: f64, kmh: f64) -> f64 {
    pulses_per_km * kmh / 3600.0
}

/// Distance per pulse in millimetres.
pub fn pulse_distance_mm(pulses_per_km: f64) -> f64 {
    1e6 / pulses_per_km
}

/// Relative resolution of counting pulses through a gate: one count, `1 / (f T)`
/// (Instrumentation Reference Book, 3rd ed., fig. 20.75).
///
/// ```
/// use wheelwitness_driveline::scale::gated_resolution;
/// assert_eq!(gated_resolution(1.0, 1.0), 1.0);
/// ```
pub fn gated_resolution(frequency_hz: f64, gate_s: f64) -> f64 {
    1.0 / (frequency_hz * gate_s)
}

/// Relative resolution of timing the whole periods that fit into a gate with a clock of this
/// tick: `t / (N T)` (same source). `None` when not one period fits.
pub fn reciprocal_resolution(frequency_hz: f64, gate_s: f64, tick_s: f64) -> Option<f64> {
    let periods = (frequency_hz * gate_s).floor();
    (periods >= 1.0).then(|| tick_s * frequency_hz / periods)
}

/// Frequency that one period timed in whole ticks gives: the tick count is cut, so it reads high.
pub fn one_period_reading_hz(frequency_hz: f64, clock_hz: f64) -> f64 {
    clock_hz / (clock_hz / frequency_hz).floor()
}

/// Lowest speed in km/h that a time-out of this length can tell from rest.
pub fn slowest_kmh(pulses_per_km: f64, timeout_s: f64) -> f64 {
    3600.0 / (pulses_per_km * timeout_s)
}

/// Distance between teeth of a ring on its circumference, in the unit of the radius.
pub fn tooth_pitch(teeth: u32, radius: f64) -> f64 {
    std::f64::consts::TAU * radius / f64::from(teeth)
}
