//! The range ratio: input turns per turn that the center differential's carrier makes.
//!
//! `N_in / r - N_R = a (N_F - N_R) + e N_R` with the range ratio `r` as declared, its relative
//! error `e` and the front's share `a`. Where the outputs turn alike the share does not matter;
//! where they differ, it is fitted beside the error, because a case that couples otherwise than
//! declared is no wrong gear.

use crate::quantity::{Component, Estimate};
use crate::segment::{Phases, Segment, by_kind, is_straight};
use crate::stats::{few, least_squares};
use crate::turn::MOVED_NAMES;
use crate::vehicle::Coupling;

/// Least turns of the outputs that tell a range ratio.
pub const RANGE_MIN_TURN: f64 = 15.0;

/// How far any share from 0 to 1 is from the one of the declared coupling: root of the mean square
/// over a uniform distribution (GUM 4.3.7 about a place that need not be the middle).
fn share_u(declared: f64) -> f64 {
    (1.0 / 12.0 + (declared - 0.5).powi(2)).sqrt()
}

/// What one engagement period says about its range.
#[derive(Debug, Clone, PartialEq)]
pub struct RangeRatio {
    /// Measured over declared range ratio, less one; percent.
    pub excess_percent: Estimate,
    /// Output turns compared.
    pub turns: f64,
}

/// The range ratio of a period whose mode row declares a coupling; `front_share` is the declared
/// share of the center differential, `backlash_turn` the play between the outputs. None where the
/// input is not measured throughout a segment, the mode couples nothing, or less than
/// [`RANGE_MIN_TURN`] was driven.
pub fn range_ratio(
    segments: &[Segment],
    coupling: Coupling,
    front_share: Option<f64>,
    backlash_turn: f64,
) -> Option<RangeRatio> {
    let rows = worth(segments);
    let turns: f64 = rows.iter().map(|s| s.rear).sum();
    let share = match coupling {
        Coupling::Differential | Coupling::Locked => front_share.unwrap_or(0.5),
        Coupling::RearOnly => 0.0,
        Coupling::FrontOnly => 1.0,
        Coupling::Neutral => return None,
    };
    if turns < RANGE_MIN_TURN {
        return None;
    }
    let mut x: Vec<Vec<f64>> = rows.iter().map(|s| vec![s.rear, s.counted]).collect();
    let mut y: Vec<f64> = rows.iter().map(|s| s.input.unwrap_or(0.0) - s.rear).collect();
    let sds = |play: f64| -> Vec<f64> {
        let of_rows = rows.iter().map(|s| s.input_u_with_play(share, play));
        of_rows.chain([share_u(share)]).collect()
    };
    x.push(vec![0.0, 1.0]);
    y.push(share);
    let fit = least_squares(&x, &y, &sds(backlash_turn))?;
    let counting = least_squares(&x, &y, &sds(0.0))?.covariance[0][0];
    let (u2, dof) = (fit.covariance[0][0], fit.dof.max(1) as f64);
    let birge = (fit.chi2 / dof - 1.0).max(0.0).sqrt();
    let mut components = vec![
        Component::own("counting", counting.sqrt()),
        Component::own("backlash", (u2 - counting).max(0.0).sqrt()),
        Component::from_scatter("scatter", u2.sqrt() * birge * few(dof), dof),
    ];
    let scale_u = rows.iter().map(|s| s.input_scale_u).fold(0.0, f64::max);
    Component::gather(&mut components, "signal scale", scale_u);
    for (k, name) in MOVED_NAMES.iter().enumerate() {
        let moved: f64 = rows.iter().map(|s| s.sent.input[k]).sum();
        Component::gather(&mut components, name, (moved / turns).abs());
    }
    components.retain(|c| c.u > 0.0);
    components.iter_mut().for_each(|c| c.u *= 100.0);
    let name = "range ratio excess".into();
    let value = 100.0 * fit.beta[0];
    let excess_percent = Estimate { name, value, unit: "%".into(), components };
    Some(RangeRatio { excess_percent, turns })
}

/// The stretches that are worth comparing: those too slow to say whether the shafts rocked only
/// where there are too few others. A straight that is too short to tell a ratio tells none beside
/// turns either: it would have all the leverage that the share leaves, and an edge too many at a
/// rest shifts the learned places of all that follow.
fn worth(segments: &[Segment]) -> Vec<Segment> {
    let usable = |s: &&Segment| !s.lifted && s.input.is_some();
    let steady = |s: &&Segment| s.open.within == Phases::default();
    let tells = |s: &Segment| !is_straight(s) || s.rear >= RANGE_MIN_TURN;
    let of = |all: Vec<&Segment>| {
        let mut rows = by_kind(all.into_iter().cloned().collect());
        rows.retain(tells);
        rows
    };
    let best = of(segments.iter().filter(usable).filter(steady).collect());
    let is_enough = best.iter().map(|s| s.rear).sum::<f64>() >= RANGE_MIN_TURN;
    if is_enough { best } else { of(segments.iter().filter(usable).collect()) }
}
