//! A measured value with its unit, its uncertainty and where that uncertainty comes from.
//!
//! Uncertainties are standard uncertainties (one sigma) in the sense of the GUM (JCGM 100:2008).

use crate::stats::few;
use serde::{Deserialize, Serialize};

/// So many standard uncertainties make sure of a count: no phase lies further off.
pub(crate) const SURE: f64 = 3.0;

/// One named contribution to a standard uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Component {
    /// What it is, in the field's words: `side slip`, `counting`, `geometry`.
    pub name: String,
    /// Standard uncertainty that it contributes, in the unit of the estimate (never negative).
    pub u: f64,
    /// True when every period of the drive shares it, so that averaging never shrinks it.
    pub shared: bool,
    /// Degrees of freedom; infinite for a contribution that is not estimated from scatter.
    #[serde(with = "finite_or_null")]
    pub dof: f64,
}

/// A measured value: what it is, how far it may be off, and why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Name of the quantity, stable in the result: `allowance`, `mismatch`.
    pub name: String,
    /// Best value, in `unit`.
    pub value: f64,
    /// Unit as printed: `1`, `%`, `s`, `turn`, `mm`.
    pub unit: String,
    /// Contributions to the uncertainty, combined as the root of the sum of squares.
    pub components: Vec<Component>,
}

impl Component {
    /// A contribution that other periods do not share, known without limit of freedom.
    pub fn own(name: &str, u: f64) -> Self {
        Component { name: name.into(), u: u.abs(), shared: false, dof: f64::INFINITY }
    }

    /// A contribution shared by all periods of the drive.
    pub fn shared(name: &str, u: f64) -> Self {
        Component { shared: true, ..Self::own(name, u) }
    }

    /// Adds a shared contribution to those of its name.
    pub fn gather(all: &mut Vec<Component>, name: &str, u: f64) {
        match all.iter_mut().find(|c| c.name == name && c.shared) {
            Some(c) => c.u = c.u.hypot(u),
            None => all.push(Component::shared(name, u)),
        }
    }

    /// A contribution estimated from the scatter of data, with its degrees of freedom.
    pub fn from_scatter(name: &str, u: f64, dof: f64) -> Self {
        Component { dof, ..Self::own(name, u) }
    }

    /// The same from so few data that `u` is made the standard deviation of Student's t, see
    /// [`few`]. Three degrees of freedom more than it was seen with keep the factor of a verdict
    /// from counting the few data twice: 4.9 times 1.73 at three, where the table has 9.2.
    pub fn from_few(name: &str, u: f64, dof: f64) -> Self {
        Self::from_scatter(name, u * few(dof), dof.max(1.0) + 3.0)
    }

    /// What the residuals of a fit add to the `u` that its weights promised: nothing while they
    /// are no larger than promised. The promise counts as much as three residuals would
    /// (a chi-squared prior of the variance, Gelman et al., Bayesian Data Analysis, from memory),
    /// so that two rows that happen to disagree do not undo it.
    ///
    /// ```
    /// use wheelwitness_driveline::quantity::Component;
    /// assert_eq!(Component::from_residuals("scatter", 0.1, 2.0, 3.0).u, 0.0);
    /// let found = Component::from_residuals("scatter", 0.1, 9.0, 1.0).u;
    /// assert!((found - 0.1 * 2f64.sqrt()).abs() < 1e-12);
    /// ```
    pub fn from_residuals(name: &str, u: f64, chi2: f64, dof: f64) -> Self {
        let dof = dof.max(0.0) + PROMISED_DOF;
        let scale = (PROMISED_DOF + chi2) / dof;
        Self::from_scatter(name, u * (scale - 1.0).max(0.0).sqrt(), dof)
    }
}

/// How many residuals the weights of a fit count for.
const PROMISED_DOF: f64 = 3.0;

impl Estimate {
    /// Combined standard uncertainty (GUM 5.1.2, independent contributions).
    ///
    /// ```
    /// use wheelwitness_driveline::quantity::{Component, Estimate};
    /// let e = Estimate { name: "x".into(), value: 1.0, unit: "1".into(),
    ///     components: vec![Component::own("a", 3.0), Component::shared("b", 4.0)] };
    /// assert_eq!(e.u(), 5.0);
    /// ```
    pub fn u(&self) -> f64 {
        self.components.iter().map(|c| c.u * c.u).sum::<f64>().sqrt()
    }

    /// Effective degrees of freedom (Welch-Satterthwaite, GUM G.4.1); infinite when no
    /// contribution is estimated from scatter.
    pub fn dof(&self) -> f64 {
        let u4 = self.u().powi(4);
        let sum: f64 = self.components.iter().map(|c| c.u.powi(4) / c.dof).sum();
        if sum > 0.0 { u4 / sum } else { f64::INFINITY }
    }
}

mod finite_or_null {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub fn serialize<S: Serializer>(v: &f64, s: S) -> Result<S::Ok, S::Error> {
        v.is_finite().then_some(*v).serialize(s)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<f64, D::Error> {
        Ok(Option::deserialize(d)?.unwrap_or(f64::INFINITY))
    }
}
