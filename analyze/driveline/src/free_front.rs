//! Could a front axle that nothing drives have made these counts?
//!
//! In a turn a free front output runs ahead by what the road demands. The rear wheels, when they
//! drive alone, slip, and their output then turns more as well: on soft ground, in a wide turn, the
//! two can cancel, and the outputs stay together as if they were locked. What gives such a
//! coincidence away is the rest of the drive: slip is much the same on the straight and in the
//! turn, and it has limits.

use crate::segment::Segment;

/// Slip of a driven axle against a free one, standard uncertainty (common practice: one to two
/// percent on loose ground).
const SLIP_U: f64 = 0.015;

/// How much that slip changes from stretch to stretch, and how far a free axle may be off what is
/// demanded of it (common practice).
const SLIP_CHANGE_U: f64 = 0.003;
const DEMAND_SHARE_U: f64 = 0.1;

/// How much better the counts fit outputs that stay together than a free front axle with whatever
/// constant slip serves it best: a difference of chi-squared, of which 9 is three standard
/// uncertainties. `mismatch` is what freely rolling axles differ by, relative.
///
/// Assumes whole manoeuvres as rows, with a demand where they turn.
pub fn against_free_front(rows: &[&Segment], mismatch: f64) -> f64 {
    let variance = |s: &Segment| {
        let model = (DEMAND_SHARE_U * s.demanded[0]).hypot(SLIP_CHANGE_U * s.rear);
        (s.counted_u().powi(2) + model.powi(2)).max(1e-12)
    };
    let free = |s: &Segment| s.counted - s.demanded[0] - mismatch * s.rear;
    let sum = |f: &dyn Fn(&Segment) -> f64| rows.iter().map(|s| f(s) / variance(s)).sum::<f64>();
    let slip = sum(&|s| free(s) * s.rear) / (sum(&|s| s.rear * s.rear) + SLIP_U.powi(-2));
    let as_free = sum(&|s| (free(s) - slip * s.rear).powi(2)) + (slip / SLIP_U).powi(2);
    as_free - sum(&|s| s.counted * s.counted)
}
