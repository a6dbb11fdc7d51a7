//! The verdict rule: the one place that turns an estimate and a limit into a word.
//!
//! Intervals are shown at 95 % (k = 2), verdicts use the 99.73 % factor of Student's t at the
//! effective degrees of freedom, at least 3: at k = 2 one verdict in forty near a limit would be
//! wrong. A disproof looks for the worst of `n` periods, so its factor is adjusted for `n`
//! (Bonferroni).

use crate::quantity::Estimate;
use crate::stats::t_factor;

/// Probability that the verdict factor stands for.
pub const VERDICT_PROBABILITY: f64 = 0.9973;

/// What an estimate says about a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Judgement {
    /// Inside the limit by the factor.
    Inside,
    /// Outside by the factor.
    Outside,
    /// Neither.
    Between,
}

/// Bounds that an estimate is held against, in its unit; an absent bound never binds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Lower bound.
    pub lower: Option<f64>,
    /// Upper bound.
    pub upper: Option<f64>,
}

impl Bounds {
    /// Between two bounds.
    pub fn between(lower: f64, upper: f64) -> Self {
        Bounds { lower: Some(lower), upper: Some(upper) }
    }

    /// Within `size` of zero.
    pub fn within(size: f64) -> Self {
        Self::between(-size, size)
    }

    /// At most `upper`.
    pub fn at_most(upper: f64) -> Self {
        Bounds { lower: None, upper: Some(upper) }
    }
}

/// The factor for a verdict on the worst of `periods` periods, never below 3.
///
/// ```
/// use wheelwitness_driveline::verdict::factor;
/// assert!((factor(f64::INFINITY, 1) - 3.0).abs() < 1e-4);
/// assert!(factor(4.0, 1) > 6.0 && factor(f64::INFINITY, 4) > 3.3);
/// ```
pub fn factor(dof: f64, periods: usize) -> f64 {
    let miss = (1.0 - VERDICT_PROBABILITY) / periods.max(1) as f64;
    t_factor(1.0 - miss, dof).max(3.0)
}

/// Judges one estimate among `periods`; an estimate that is not finite decides nothing.
///
/// ```
/// use wheelwitness_driveline::{quantity::*, verdict::*};
/// let e = Estimate { name: "allowance".into(), value: 1.0, unit: "1".into(),
///                    components: vec![Component::own("counting", 0.05)] };
/// assert_eq!(judge(&e, Bounds::between(0.7, 1.3), 1), Judgement::Inside);
/// assert_eq!(judge(&e, Bounds::within(0.1), 1), Judgement::Outside);
/// assert_eq!(judge(&e, Bounds::at_most(1.1), 1), Judgement::Between);
/// ```
pub fn judge(estimate: &Estimate, bounds: Bounds, periods: usize) -> Judgement {
    let u = estimate.u();
    if !(estimate.value.is_finite() && u.is_finite()) {
        return Judgement::Between;
    }
    let (inner, outer) = (factor(estimate.dof(), 1) * u, factor(estimate.dof(), periods) * u);
    let lower = bounds.lower.unwrap_or(f64::NEG_INFINITY);
    let upper = bounds.upper.unwrap_or(f64::INFINITY);
    if estimate.value - inner >= lower && estimate.value + inner <= upper {
        Judgement::Inside
    } else if estimate.value + outer < lower || estimate.value - outer > upper {
        Judgement::Outside
    } else {
        Judgement::Between
    }
}

/// Whether estimates of the same quantity from several periods agree: every pair within the
/// verdict factor of its own contributions (shared ones move all periods alike and drop out).
pub fn agree(estimates: &[&Estimate]) -> bool {
    let own = |e: &Estimate| -> f64 {
        e.components.iter().filter(|c| !c.shared).map(|c| c.u * c.u).sum()
    };
    let pairs = (estimates.len() * estimates.len().saturating_sub(1) / 2).max(1);
    estimates.iter().enumerate().all(|(k, a)| {
        estimates[k + 1..].iter().all(|b| {
            let u = (own(a) + own(b)).sqrt();
            (a.value - b.value).abs() <= factor(a.dof().min(b.dof()), pairs) * u
        })
    })
}
