//! Uncertainty and regression against the GUM's worked examples and NIST's certified values.

use crate::common::{close, reference};
use serde::Deserialize;
use wheelwitness_driveline::quantity::{Component, Estimate};
use wheelwitness_driveline::stats::{Fit, Moments, combined_u, least_squares, t_factor};

#[derive(Deserialize)]
struct Gum {
    h1: H1,
    h2: H2,
    h3: H3,
}

#[derive(Deserialize)]
struct H1 {
    source: String,
    components: Vec<Part>,
    combined_nm: f64,
    unrounded_nm: f64,
    unrounded_dof: f64,
    dof: f64,
    k95: f64,
}

#[derive(Deserialize)]
struct Part {
    name: String,
    u: f64,
    dof: f64,
}

#[derive(Deserialize)]
struct H2 {
    source: String,
    volt: Vec<f64>,
    milliampere: Vec<f64>,
    radian: Vec<f64>,
    resistance: [f64; 2],
    reactance: [f64; 2],
    impedance: [f64; 2],
    input_correlations: [f64; 3],
    result_correlations: [f64; 3],
}

#[derive(Deserialize)]
struct H3 {
    source: String,
    t: Vec<f64>,
    b: Vec<f64>,
    y1: [f64; 2],
    y2: [f64; 2],
    correlation: f64,
    residual_sd: f64,
    at_30: [f64; 2],
}

fn gum() -> Gum {
    reference("gum.toml")
}

#[test]
fn gum_h1_components_combine_with_their_effective_degrees_of_freedom() {
    let h1 = gum().h1;
    let part = |p: &Part| Component::from_scatter(&p.name, p.u, p.dof);
    let components = h1.components.iter().map(part).collect();
    let estimate = Estimate { name: "length".into(), value: 0.0, unit: "nm".into(), components };
    close(estimate.u(), h1.combined_nm, 0.5, &h1.source);
    close(estimate.u(), h1.unrounded_nm, 0.05, &h1.source);
    close(estimate.dof(), h1.unrounded_dof, 0.1, &h1.source);
    // The guide cuts 16.7 to 16.
    close(estimate.dof().floor(), h1.dof, 0.0, &h1.source);
    close(t_factor(0.95, estimate.dof().floor()), h1.k95, 0.005, &h1.source);
}

/// Mean and the standard uncertainty of the mean.
fn mean_and_u(values: impl Iterator<Item = f64>) -> [f64; 2] {
    let m: Moments = values.collect();
    [m.mean(), m.sd() / (m.n() as f64).sqrt()]
}

#[test]
fn gum_h2_impedances_follow_from_five_sets_of_readings() {
    let h2 = gum().h2;
    let impedance = || h2.volt.iter().zip(&h2.milliampere).map(|(v, i)| v / i * 1000.0);
    let with_phase = || impedance().zip(&h2.radian);
    let results = [
        (mean_and_u(with_phase().map(|(z, p)| z * p.cos())), h2.resistance),
        (mean_and_u(with_phase().map(|(z, p)| z * p.sin())), h2.reactance),
        (mean_and_u(impedance()), h2.impedance),
    ];
    for (computed, published) in results {
        close(computed[0], published[0], 1e-3, &h2.source);
        close(computed[1], published[1], 1e-3, &h2.source);
    }
}

/// Covariance of the means of two sets of readings (GUM 5.2.3, equation 17).
fn covariance_of_means(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len() as f64;
    let mean = |values: &[f64]| values.iter().copied().collect::<Moments>().mean();
    let (mean_a, mean_b) = (mean(a), mean(b));
    let sum: f64 = a.iter().zip(b).map(|(a, b)| (a - mean_a) * (b - mean_b)).sum();
    sum / (n * (n - 1.0))
}

/// The input means of H.2 (volt, ampere, radian) with their covariance matrix.
fn h2_inputs(h2: &H2) -> ([f64; 3], Vec<Vec<f64>>) {
    let ampere: Vec<f64> = h2.milliampere.iter().map(|i| i / 1000.0).collect();
    let sets = [&h2.volt, &ampere, &h2.radian];
    let covariance = |a: &[f64]| sets.iter().map(|b| covariance_of_means(a, b)).collect();
    let means = sets.map(|s| s.iter().copied().collect::<Moments>().mean());
    (means, sets.iter().map(|a| covariance(a)).collect())
}

/// How the resistance, the reactance and the impedance move with volt, ampere and radian.
fn h2_sensitivities([v, i, phase]: [f64; 3]) -> [[f64; 3]; 3] {
    let (z, sin, cos) = (v / i, phase.sin(), phase.cos());
    [[cos / i, -z * cos / i, -z * sin], [sin / i, -z * sin / i, z * cos], [1.0 / i, -z / i, 0.0]]
}

#[test]
fn gum_h2_the_same_uncertainties_follow_from_correlated_means() {
    let h2 = gum().h2;
    let (means, covariance) = h2_inputs(&h2);
    for ((a, b), published) in [(0, 1), (0, 2), (1, 2)].into_iter().zip(h2.input_correlations) {
        let r = covariance[a][b] / (covariance[a][a] * covariance[b][b]).sqrt();
        close(r, published, 0.006, &h2.source);
    }
    let sensitivities = h2_sensitivities(means);
    for (c, published) in sensitivities.iter().zip([h2.resistance, h2.reactance, h2.impedance]) {
        close(combined_u(c, &covariance), published[1], 1e-3, &h2.source);
    }
    // Without the correlations the resistance would look nearly three times as uncertain.
    let alone: Vec<Vec<f64>> = (0..3)
        .map(|j| (0..3).map(|k| if j == k { covariance[j][k] } else { 0.0 }).collect())
        .collect();
    assert!(combined_u(&sensitivities[0], &alone) > 2.5 * h2.resistance[1]);
}

#[test]
fn gum_h2_the_results_are_correlated_as_published() {
    let h2 = gum().h2;
    let (means, covariance) = h2_inputs(&h2);
    let c = h2_sensitivities(means);
    let u = |c: &[f64; 3]| combined_u(c, &covariance);
    for ((a, b), published) in [(0, 1), (0, 2), (1, 2)].into_iter().zip(h2.result_correlations) {
        // Polarisation: u(a + b)^2 = u(a)^2 + u(b)^2 + 2 u(a, b).
        let sum: [f64; 3] = std::array::from_fn(|k| c[a][k] + c[b][k]);
        let both = (u(&sum).powi(2) - u(&c[a]).powi(2) - u(&c[b]).powi(2)) / 2.0;
        close(both / (u(&c[a]) * u(&c[b])), published, 6e-4, &h2.source);
    }
}

#[test]
fn gum_h3_a_calibration_line_and_its_prediction_keep_their_correlation() {
    let h3 = gum().h3;
    let rows: Vec<Vec<f64>> = h3.t.iter().map(|t| vec![1.0, t - 20.0]).collect();
    let fit = least_squares(&rows, &h3.b, &vec![1.0; h3.b.len()]).unwrap();
    close(fit.beta[0], h3.y1[0], 5e-5, &h3.source);
    close(fit.u_scatter(0), h3.y1[1], 5e-5, &h3.source);
    close(fit.beta[1], h3.y2[0], 5e-6, &h3.source);
    close(fit.u_scatter(1), h3.y2[1], 5e-6, &h3.source);
    close(fit.residual_sd(), h3.residual_sd, 5e-5, &h3.source);
    let [[a, ab], [_, b]] = [0, 1].map(|j| [0, 1].map(|k| fit.covariance[j][k]));
    close(ab / (a * b).sqrt(), h3.correlation, 5e-4, &h3.source);
    let u = fit.residual_sd() * combined_u(&[1.0, 10.0], &fit.covariance);
    close(fit.beta[0] + 10.0 * fit.beta[1], h3.at_30[0], 5e-5, &h3.source);
    close(u, h3.at_30[1], 5e-5, &h3.source);
}

#[derive(Deserialize)]
struct Nist {
    source: String,
    norris: Line,
    noint1: Line,
    noint2: Line,
    pontius: Parabola,
    numacc: NumAcc,
}

#[derive(Deserialize)]
struct Line {
    beta: Vec<f64>,
    sd: Vec<f64>,
    residual_sd: f64,
    r_squared: f64,
    f: Option<f64>,
    yx: Vec<[f64; 2]>,
}

#[derive(Deserialize)]
struct Parabola {
    beta: Vec<f64>,
    sd: Vec<f64>,
    residual_sd: f64,
    r_squared: f64,
    y: Vec<f64>,
}

#[derive(Deserialize)]
struct NumAcc {
    numacc1: Few,
    numacc2: Long,
    numacc3: Long,
    numacc4: Long,
}

#[derive(Deserialize)]
struct Few {
    data: Vec<f64>,
    mean: f64,
    sd: f64,
}

#[derive(Deserialize)]
struct Long {
    first: f64,
    pair: [f64; 2],
    mean: f64,
    sd: f64,
}

fn nist() -> Nist {
    reference("nist-strd.toml")
}

/// Holds a fit against certified values, to a relative difference.
fn certified(fit: &Fit, beta: &[f64], sd: &[f64], residual_sd: f64, relative: f64) {
    let source = &nist().source;
    for k in 0..beta.len() {
        close(fit.beta[k] / beta[k], 1.0, relative, source);
        close(fit.u_scatter(k) / sd[k], 1.0, relative, source);
    }
    close(fit.residual_sd() / residual_sd, 1.0, relative, source);
}

fn fit(xs: impl Iterator<Item = Vec<f64>>, y: &[f64]) -> Fit {
    least_squares(&xs.collect::<Vec<_>>(), y, &vec![1.0; y.len()]).expect("independent columns")
}

fn response(line: &Line) -> Vec<f64> {
    line.yx.iter().map(|[y, _]| *y).collect()
}

/// Sum of squares about a value that the model explains without any of its columns.
fn squares_about(y: &[f64], about: f64) -> f64 {
    y.iter().map(|y| (y - about).powi(2)).sum()
}

fn mean(y: &[f64]) -> f64 {
    y.iter().copied().collect::<Moments>().mean()
}

/// Share of the squares explained, and the F ratio, held against the certified ones.
fn explained(fit: &Fit, total: f64, columns: usize, r_squared: f64, f: Option<f64>) {
    let source = &nist().source;
    close(1.0 - fit.chi2 / total, r_squared, 1e-13, source);
    if let Some(published) = f {
        let ratio = (total - fit.chi2) / columns as f64 / (fit.chi2 / fit.dof as f64);
        close(ratio / published, 1.0, 1e-10, source);
    }
}

#[test]
fn nist_norris_a_line_to_ten_digits() {
    let d = nist().norris;
    let f = fit(d.yx.iter().map(|[_, x]| vec![1.0, *x]), &response(&d));
    certified(&f, &d.beta, &d.sd, d.residual_sd, 1e-10);
    let y = response(&d);
    explained(&f, squares_about(&y, mean(&y)), 1, d.r_squared, d.f);
}

#[test]
fn nist_noint_lines_through_the_origin_to_ten_digits() {
    for d in [nist().noint1, nist().noint2] {
        let f = fit(d.yx.iter().map(|[_, x]| vec![*x]), &response(&d));
        certified(&f, &d.beta, &d.sd, d.residual_sd, 1e-10);
        explained(&f, squares_about(&response(&d), 0.0), 1, d.r_squared, d.f);
    }
}

#[test]
fn nist_pontius_an_unscaled_parabola_to_nine_digits() {
    let d = nist().pontius;
    let x = |k: usize| 150_000.0 * (k % 20 + 1) as f64;
    let f = fit((0..d.y.len()).map(|k| vec![1.0, x(k), x(k) * x(k)]), &d.y);
    certified(&f, &d.beta, &d.sd, d.residual_sd, 1e-9);
    explained(&f, squares_about(&d.y, mean(&d.y)), 2, d.r_squared, None);
}

#[test]
fn nist_numacc_a_small_spread_on_a_large_mean_survives() {
    let NumAcc { numacc1, numacc2, numacc3, numacc4 } = nist().numacc;
    let source = &nist().source;
    let m: Moments = numacc1.data.iter().copied().collect();
    close(m.mean(), numacc1.mean, 0.0, source);
    close(m.sd(), numacc1.sd, 0.0, source);
    // The data are rounded in binary already: eight digits of the last one are all f64 can hold.
    for (set, relative) in [(numacc2, 1e-13), (numacc3, 1e-9), (numacc4, 1e-8)] {
        let pairs = std::iter::repeat_n(set.pair, 500).flatten();
        let m: Moments = std::iter::once(set.first).chain(pairs).collect();
        close(m.mean() / set.mean, 1.0, 1e-14, source);
        close(m.sd() / set.sd, 1.0, relative, source);
    }
}
