//! What a speedometer may show.
//!
//! The limits are functions of the *true* speed; read backwards for a given indication they give
//! the true speeds that are allowed. All speeds in kilometres per hour.

use crate::units::{KM_PER_MILE, MM_PER_KM};

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

/// What lies between the road and the sender of a speedometer.
///
/// ```
/// use wheelwitness_driveline::speedometer::Geared;
/// let before = Geared { circumference_mm: 2235.65, u_mm: 0.0, sender_turns: 4.1 };
/// let after = Geared { circumference_mm: 2452.2, ..before };
/// // Shown 100, driven 109.7.
/// assert!((before.true_per_shown(&after)[0] - 1.09686).abs() < 5e-6);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Geared {
    /// Rolling circumference of the wheels, mm.
    pub circumference_mm: f64,
    /// Its standard uncertainty, mm.
    pub u_mm: f64,
    /// Turns of the sender's shaft per turn of the wheels: the axle ratio for a sender on a
    /// propeller shaft, 1 for one on a wheel.
    pub sender_turns: f64,
}

impl Geared {
    /// Turns of the sender's shaft per kilometre.
    pub fn sender_turns_per_km(&self) -> f64 {
        self.sender_turns * MM_PER_KM / self.circumference_mm
    }

    /// True over shown speed after a change from `self` to `after`, and its standard uncertainty,
    /// for a speedometer that showed the truth before and was not adjusted. The two
    /// circumferences are taken as independent; tooth counts have no uncertainty. By the same
    /// factor the pulses must become more frequent for the speedometer to be true again.
    pub fn true_per_shown(&self, after: &Geared) -> [f64; 2] {
        let ratio = self.sender_turns_per_km() / after.sender_turns_per_km();
        let [before, after] = [self, after].map(|g| g.u_mm / g.circumference_mm);
        [ratio, ratio * before.hypot(after)]
    }
}
