//! What a locked center makes the tyres slip: the way by which one axle would have rolled farther
//! than the other, had it been free, less what the outputs did differ.
//!
//! `|C_F N_F / i_F - C_R N_R / i_R|` on a straight road; in a turn the wider path of the steered
//! axle comes to it. How hard the ground resists is not in it: counts know no force.

use crate::allowance::MismatchPrior;
use crate::demand::{CurvatureSource, DOUBTS};
use crate::quantity::{Component, Estimate};
use crate::segment::Segment;

/// Least way that says anything, metres.
pub const SCRUB_MIN_M: f64 = 15.0;

/// Share of the way of which it may stay unknown how it was curved.
const UNSEEN_MAX: f64 = 0.1;

/// How well the turn part of the demand is known while tyres are made to slide, relative. A locked
/// center works against the turn, and the turn centre leaves its place by up to a tenth of the
/// wheelbase either way (common practice); the front runs wider by the square of its distance, so
/// twice a tenth, as a rectangular distribution.
const SLIDING_U: f64 = 0.2 / 1.732_050_8;

/// The same where only the rear wheels told the curve: wheels that slide show as little as a third
/// of it (found on simulated vehicles), so up to twice as much again (rectangular).
const SLIDING_BY_WHEELS_U: f64 = 2.0 / 1.732_050_8;

/// What the tyres of one engagement period were made to slip.
#[derive(Debug, Clone, PartialEq)]
pub struct Scrub {
    /// Metres per kilometre.
    pub per_km: Estimate,
    /// Metres driven.
    pub driven_m: f64,
    /// Metres slipped.
    pub scrubbed_m: f64,
}

/// Why a period says nothing about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoScrub {
    /// Less than [`SCRUB_MIN_M`] were driven.
    TooShort,
    /// Nothing showed how the path was curved.
    NoCurvature,
}

/// Scrub of a period: its segments, metres per turn of the rear output, and the mismatch as known
/// from elsewhere (the front's free turns over the rear's, less one).
///
/// # Errors
/// Where too little was driven, or nothing showed the curvature of the path.
pub fn scrub(
    segments: &[Segment],
    metres_per_turn: f64,
    mismatch: &MismatchPrior,
) -> Result<Scrub, NoScrub> {
    let rows: Vec<&Segment> = segments.iter().filter(|s| !s.lifted && s.rear > 0.0).collect();
    let turns: f64 = rows.iter().map(|s| s.rear).sum();
    if turns * metres_per_turn < SCRUB_MIN_M {
        return Err(NoScrub::TooShort);
    }
    let unseen: f64 = rows.iter().filter(|s| s.source.is_none()).map(|s| s.rear).sum();
    if unseen > UNSEEN_MAX * turns {
        return Err(NoScrub::NoCurvature);
    }
    let per_km = 1e3 / turns;
    let sum = |mean: f64, doubt: usize| -> f64 {
        rows.iter().map(|s| (s.demanded[doubt] + mean * s.rear - s.counted).abs()).sum()
    };
    let as_known = sum(mismatch.mean, 0);
    let of = |square: fn(&Segment) -> f64| rows.iter().map(|s| square(s)).sum::<f64>().sqrt();
    let mut components = vec![
        Component::own("counting", of(|s| s.counted_u().powi(2)) * per_km),
        Component::own("course", of(|s| s.demanded_u.powi(2)) * per_km),
    ];
    let mut shared = |name: &str, moved: f64| {
        Component::gather(&mut components, name, (moved - as_known).abs() * per_km);
    };
    let u = mismatch.u.hypot(mismatch.scale.1);
    // To whichever side makes more of it: a sum of sizes has a corner where nothing slips.
    let more = sum(mismatch.mean + u, 0).max(sum(mismatch.mean - u, 0));
    shared("mismatch", more);
    for (k, (_, name)) in DOUBTS.iter().enumerate() {
        shared(name, sum(mismatch.mean, k + 1));
    }
    let by_wheels = |s: &Segment| s.source == Some(CurvatureSource::RearWheels);
    let sliding = |s: &Segment| if by_wheels(s) { SLIDING_BY_WHEELS_U } else { SLIDING_U };
    let slid: f64 = rows.iter().map(|s| sliding(s) * s.demanded[0].abs()).sum();
    components.push(Component::own("sliding tyres", slid * per_km));
    components.retain(|c| c.u > 0.0);
    let (name, unit) = ("scrub".to_string(), "m/km".to_string());
    let per_km = Estimate { name, value: as_known * per_km, unit, components };
    Ok(Scrub { per_km, driven_m: turns * metres_per_turn, scrubbed_m: as_known * metres_per_turn })
}
