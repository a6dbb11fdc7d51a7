//! Small statistics: moments, weighted least squares with priors, Student's t.
//!
//! Distribution quantiles come from `statrs`, linear algebra from `nalgebra`.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Running mean and variance by Welford's recurrence: stable, one pass, constant memory.
///
/// ```
/// use wheelwitness_driveline::stats::Moments;
/// let m: Moments = [10000001.0, 10000003.0, 10000002.0].into_iter().collect();
/// assert_eq!((m.mean(), m.sd()), (10000002.0, 1.0));
/// ```
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Moments {
    n: u64,
    mean: f64,
    m2: f64,
}

impl Moments {
    /// Takes one more value in.
    pub fn push(&mut self, x: f64) {
        self.n += 1;
        let delta = x - self.mean;
        self.mean += delta / self.n as f64;
        self.m2 += delta * (x - self.mean);
    }

    /// Number of values.
    pub fn n(&self) -> u64 {
        self.n
    }

    /// Arithmetic mean; 0 of nothing.
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// Sample standard deviation (n - 1); NaN below two values.
    pub fn sd(&self) -> f64 {
        if self.n < 2 { f64::NAN } else { (self.m2 / (self.n - 1) as f64).sqrt() }
    }
}

impl FromIterator<f64> for Moments {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Self {
        let mut m = Moments::default();
        values.into_iter().for_each(|x| m.push(x));
        m
    }
}

/// What the standard deviation of a scatter seen with few degrees of freedom must be multiplied
/// with, so that it is the standard deviation of Student's t (JCGM 101:2008, 6.4.9, from memory);
/// held at 2.2 below 2.5 degrees, where that deviation has no bound.
///
/// ```
/// use wheelwitness_driveline::stats::few;
/// assert_eq!((few(4.0), few(1.0)), (2f64.sqrt(), 2.2));
/// ```
pub fn few(dof: f64) -> f64 {
    if dof > 2.5 { (dof / (dof - 2.0)).sqrt() } else { 2.2 }
}

/// Result of a least-squares fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Coefficients, one per column.
    pub beta: Vec<f64>,
    /// Covariance of the coefficients for the weights as given (unscaled by the residuals).
    pub covariance: Vec<Vec<f64>>,
    /// Weighted sum of squared residuals.
    pub chi2: f64,
    /// Rows less columns.
    pub dof: i64,
}

impl Fit {
    /// Standard deviation of the residuals, for unit weights; NaN without degrees of freedom.
    pub fn residual_sd(&self) -> f64 {
        if self.dof > 0 { (self.chi2 / self.dof as f64).sqrt() } else { f64::NAN }
    }

    /// Standard uncertainty of coefficient `k` from the scatter of the residuals.
    pub fn u_scatter(&self, k: usize) -> f64 {
        self.covariance[k][k].sqrt() * self.residual_sd()
    }
}

/// Least squares by QR after scaling the columns: `rows[j]` dotted with beta approximates `y[j]`,
/// each row divided by its standard deviation `sd[j]`. None where the columns are dependent.
///
/// ```
/// use wheelwitness_driveline::stats::least_squares;
/// let fit = least_squares(&[vec![1.0, 0.0], vec![1.0, 1.0], vec![1.0, 2.0]],
///                         &[1.0, 3.0, 5.0], &[1.0; 3]).unwrap();
/// assert!((fit.beta[0] - 1.0).abs() < 1e-12 && (fit.beta[1] - 2.0).abs() < 1e-12);
/// ```
pub fn least_squares(rows: &[Vec<f64>], y: &[f64], sd: &[f64]) -> Option<Fit> {
    let (n, p) = (rows.len(), rows.first()?.len());
    if n < p {
        return None;
    }
    let x = DMatrix::from_fn(n, p, |j, k| rows[j][k] / sd[j]);
    let scale: Vec<f64> = (0..p).map(|k| x.column(k).norm()).collect();
    if scale.iter().any(|s| !(s.is_finite() && *s > 0.0)) {
        return None;
    }
    let x = DMatrix::from_fn(n, p, |j, k| x[(j, k)] / scale[k]);
    let v = DVector::from_fn(n, |j, _| y[j] / sd[j]);
    let qr = x.clone().qr();
    let r = qr.r();
    if (0..p).any(|k| r[(k, k)].abs() < 1e-9) {
        return None;
    }
    let r_inverse = r.solve_upper_triangular(&DMatrix::identity(p, p))?;
    let beta = &r_inverse * (qr.q().transpose() * &v);
    let chi2 = (&x * &beta - &v).norm_squared();
    let covariance = &r_inverse * r_inverse.transpose();
    Some(Fit {
        beta: (0..p).map(|k| beta[k] / scale[k]).collect(),
        covariance: (0..p)
            .map(|a| (0..p).map(|b| covariance[(a, b)] / (scale[a] * scale[b])).collect())
            .collect(),
        chi2,
        dof: n as i64 - p as i64,
    })
}

/// Standard uncertainty of a function of uncertain quantities that may be correlated (GUM 5.2.2,
/// equation 13): the root of `c' V c`, with how the function moves with each quantity in `c` and
/// the covariance matrix of the quantities in `V`.
///
/// ```
/// use wheelwitness_driveline::stats::combined_u;
/// // A difference of two lengths that one and the same tape measured wrongly is not wrong.
/// let one_tape = [vec![4.0, 4.0], vec![4.0, 4.0]];
/// assert_eq!(combined_u(&[1.0, -1.0], &one_tape), 0.0);
/// ```
pub fn combined_u(sensitivity: &[f64], covariance: &[Vec<f64>]) -> f64 {
    let row = |v: &Vec<f64>| v.iter().zip(sensitivity).map(|(v, c)| v * c).sum::<f64>();
    let square: f64 = covariance.iter().zip(sensitivity).map(|(v, c)| row(v) * c).sum();
    // Rounding may leave a hair below zero where correlated parts cancel.
    square.max(0.0).sqrt()
}

/// Two-sided Student factor: the interval `value +- factor * u` holds with probability `p`.
/// Infinite `dof` gives the normal factor.
pub fn t_factor(p: f64, dof: f64) -> f64 {
    let q = 0.5 + p / 2.0;
    if dof.is_finite() && dof < 1e6 {
        StudentsT::new(0.0, 1.0, dof.max(1.0)).map_or(f64::INFINITY, |t| t.inverse_cdf(q))
    } else {
        Normal::standard().inverse_cdf(q)
    }
}
