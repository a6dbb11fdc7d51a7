//! The front's share of the drive where units send some of the turns.

use crate::quantity::Component;
use crate::stats::{Fit, least_squares};
use crate::turn::{MOVED, MOVED_NAMES};

/// A row of the fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SentRow {
    /// Turns: front less rear, rear, input (over range ratio) less rear.
    pub turns: [f64; 3],
    /// How much input less rear moves by what units leave open, see [`crate::turn::moved`].
    pub moved: [f64; MOVED],
    /// Relative standard uncertainty of the scale of the input against the rear output.
    pub scale_u: f64,
}

/// The front share by rows with these standard deviations, and the components that counted turns
/// do not have. The scale of the input against the outputs is a column of the fit, which running
/// with equal outputs tells. None where all turns are counted.
pub fn share_of_sent(rows: &[SentRow], sd: &[f64]) -> Option<(f64, Vec<Component>)> {
    let scale_u = rows.iter().map(|r| r.scale_u).fold(0.0, f64::max);
    let is_sent = |k: &usize| rows.iter().any(|r| r.moved[*k] != 0.0);
    let kinds: Vec<usize> = (0..MOVED).filter(is_sent).collect();
    if scale_u == 0.0 && kinds.is_empty() {
        return None;
    }
    let fit = |kind: Option<usize>, scale: f64| {
        let mut x: Vec<Vec<f64>> = rows.iter().map(|r| r.turns[..2].to_vec()).collect();
        let moved = |r: &SentRow| kind.map_or(0.0, |k| r.moved[k]);
        let mut y: Vec<f64> = rows.iter().map(|r| r.turns[2] + moved(r)).collect();
        let mut sd = sd.to_vec();
        x.push(vec![0.0, 1.0]);
        y.push(scale);
        sd.push(scale_u.max(1e-9));
        least_squares(&x, &y, &sd)
    };
    let base = fit(None, 0.0)?;
    let value = base.beta[0];
    let mut components = vec![Component::own("counting", base.covariance[0][0].sqrt())];
    let mut doubt = |name, moved: Option<Fit>| {
        let moved = moved.map_or(0.0, |f| f.beta[0] - value);
        Component::gather(&mut components, name, moved);
    };
    for k in kinds {
        doubt(MOVED_NAMES[k], fit(Some(k), 0.0));
    }
    doubt("signal scale", fit(None, scale_u));
    Some((value, components))
}
