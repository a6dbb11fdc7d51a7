//! What a speedometer may show.
//!
//! The limits are functions of the *true* speed; read backwards for a given indication they give
//! the true speeds that are allowed. All speeds in kilometres per hour.

use crate::units::KM_PER_MILE;

/// Indications that UN Regulation No. 39 para 5.3 allows at a true speed: never less than it, and
/// at most a tenth and 4 km/h more.
///
/// ```
/// use wheelwitness_driveline::speedometer::r39_indicated;
/// assert_eq!(r39_indicated(80.0), [80.0, 92.0]);
/// ```
pub fn r39_indicated(true_kmh: f64) -> [f64; 2] {
    [true_kmh, true_kmh + true_kmh / 10.0 + 4.0]
}

/// True speeds at which UN Regulation No. 39 para 5.3 allows an indication.
///
/// ```
/// use wheelwitness_driveline::speedometer::r39_true;
/// assert!((r39_true(80.0)[0] - 69.0909).abs() < 5e-5);
/// ```
pub fn r39_true(indicated_kmh: f64) -> [f64; 2] {
    [((indicated_kmh - 4.0) / 1.1).max(0.0), indicated_kmh]
}

/// Indications that 49 CFR 393.82 allows at a true 50 miles an hour: 5 miles an hour to either
/// side.
pub fn cfr393_indicated() -> [f64; 2] {
    [45.0 * KM_PER_MILE, 55.0 * KM_PER_MILE]
}
