//! The tables of a campaign, and the rules that they are held against.

use crate::campaign::{Call, Measured, Outcome};
use std::collections::BTreeMap;
use std::fmt::Write;

/// Root mean square of error over uncertainty.
fn rms(of: &[&Measured], u: impl Fn(&Measured) -> f64) -> f64 {
    let sum: f64 = of.iter().map(|m| (m.error / u(m)).powi(2)).sum();
    (sum / of.len().max(1) as f64).sqrt()
}

/// A rule of the campaign that is broken.
#[derive(Debug)]
pub struct Failure {
    /// What broke it: the same drive or estimate breaks it under the same name.
    pub name: String,
    /// With the numbers, for a person.
    pub text: String,
    /// Whether errors are larger than the uncertainty promises.
    pub too_certain: bool,
}

/// What a campaign found, judged.
#[derive(Debug)]
pub struct Report {
    /// The tables, for a person.
    pub text: String,
    /// What went against the campaign's rules; empty when it passed.
    pub failures: Vec<Failure>,
}

/// Root mean square of error over uncertainty that honest uncertainties may have.
pub const RMS_MIN: f64 = 0.5;
/// See [`RMS_MIN`].
pub const RMS_MAX: f64 = 1.05;
/// Fewer estimates than this say nothing about an uncertainty.
const ENOUGH: usize = 25;
/// Share of its variance from which a component dominates an estimate.
const DOMINATES: f64 = 0.4;
/// Percent of the drives that a claim must decide once its evidence goal is met.
const DECIDED_MIN: [(&str, f64); 3] =
    [("center-opens", 99.0), ("center-locks", 99.0), ("all", 95.0)];

/// Judges a campaign: no wrong verdict, honest uncertainties, and decisions where the evidence is
/// in. `without` names an uncertainty component that is taken off everywhere, to see that the
/// campaign would notice.
pub fn report(outcomes: &[Outcome], without: Option<&str>) -> Report {
    let mut r = Report { text: String::new(), failures: Vec::new() };
    verdict_table(outcomes, &mut r);
    estimate_table(outcomes, without, &mut r);
    decision_table(outcomes, &mut r);
    r
}

fn verdict_table(outcomes: &[Outcome], r: &mut Report) {
    let mut calls: BTreeMap<&str, BTreeMap<Call, usize>> = BTreeMap::new();
    for c in outcomes.iter().flat_map(|o| &o.calls) {
        *calls.entry(&c.claim).or_default().entry(c.call).or_default() += 1;
    }
    let head = ("claim", "right", "wrong", "wrong near", "undecided");
    let _ =
        writeln!(r.text, "{:<22}{:>7}{:>7}{:>12}{:>11}", head.0, head.1, head.2, head.3, head.4);
    for (claim, n) in &calls {
        let of = |c: Call| n.get(&c).copied().unwrap_or(0);
        let (right, wrong) = (of(Call::Right), of(Call::Wrong));
        let (near, undecided) = (of(Call::WrongNear), of(Call::Undecided));
        let _ = writeln!(r.text, "{claim:<22}{right:>7}{wrong:>7}{near:>12}{undecided:>11}");
    }
    for (o, c) in outcomes.iter().flat_map(|o| o.calls.iter().map(move |c| (o, c))) {
        if c.call == Call::Wrong {
            let name = format!("{} {}: {} ({})", o.kind, o.seed, c.claim, c.scope);
            let text = format!("{name}: {}", c.line);
            r.failures.push(Failure { name, text, too_certain: false });
        }
    }
}

fn estimate_table(outcomes: &[Outcome], without: Option<&str>, r: &mut Report) {
    let u = |m: &Measured| match without {
        None => m.u,
        Some(name) => {
            let rest = m.components.iter().filter(|c| c.0 != name);
            rest.map(|c| c.1 * c.1).sum::<f64>().sqrt().max(1e-12)
        }
    };
    let mut groups: BTreeMap<String, Vec<&Measured>> = BTreeMap::new();
    for (o, m) in outcomes.iter().flat_map(|o| o.measured.iter().map(move |m| (o, m))) {
        // A stress keeps everything quiet but one thing: what it does not stress is too certain to
        // say whether an uncertainty is honest, so it makes no whole groups.
        match o.kind.as_str() {
            "random" | "hands" => groups.entry(m.name.clone()).or_default().push(m),
            "bus" => groups.entry(format!("{}, by bus", m.name)).or_default().push(m),
            kind => {
                groups.entry(format!("{}, stress by {kind}", m.name)).or_default().push(m);
            }
        }
        // Where a stress moved another number, that one is what a large error would tell of.
        let told = |name: &str| ["random", "hands", "bus", name].contains(&o.kind.as_str());
        let dominates = |c: f64| c * c > DOMINATES * m.u * m.u;
        for (name, _) in m.components.iter().filter(|(name, c)| dominates(*c) && told(name)) {
            groups.entry(format!("{}, mostly {name}", m.name)).or_default().push(m);
        }
    }
    let _ = writeln!(
        r.text,
        "\n{:<52}{:>6}{:>9}{:>10}{:>9}",
        "estimate", "n", "RMS e/u", "bias e/u", "cover95"
    );
    for (name, of) in &groups {
        let (n, spread) = (of.len(), rms(of, u));
        let bias = of.iter().map(|m| m.error / u(m)).sum::<f64>() / n as f64;
        let inside = of.iter().filter(|m| m.error.abs() <= 2.0 * u(m)).count();
        let cover = 100.0 * inside as f64 / n as f64;
        let _ = writeln!(r.text, "{name:<52}{n:>6}{spread:>9.2}{bias:>+10.2}{cover:>8.1}%");
        // What units on a bus leave open is seldom as bad as it may be.
        let picked = [", mostly ", ", stress by ", ", by bus"];
        let whole = !picked.iter().any(|p| name.contains(p));
        // A root mean square has a standard error itself. It excuses what is too cautious, and what
        // is too certain only in groups that are picked after the fact.
        let error = 1.0 / (2.0 * n as f64).sqrt();
        let too_certain = spread > if whole { RMS_MAX } else { RMS_MAX + error };
        let too_cautious = whole && spread * (1.0 + error) < RMS_MIN;
        if n >= ENOUGH && (too_certain || too_cautious) {
            let text = format!("{name}: RMS of error over uncertainty {spread:.2} in {n}");
            r.failures.push(Failure { name: name.clone(), text, too_certain });
        }
    }
}

fn decision_table(outcomes: &[Outcome], r: &mut Report) {
    let mut claims: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    // The goals are those of driving; a hand has none.
    let driven = outcomes.iter().filter(|o| o.kind != "hands");
    for c in driven.flat_map(|o| &o.calls).filter(|c| c.goal_met) {
        let (decided, all) = claims.entry(&c.claim).or_default();
        *decided += usize::from(c.call != Call::Undecided);
        *all += 1;
    }
    let _ = writeln!(r.text, "\n{:<22}{:>9}{:>7}{:>7}", "evidence goal met", "decided", "of", "%");
    let sum = |a: (usize, usize), b: &(usize, usize)| (a.0 + b.0, a.1 + b.1);
    let every = claims.values().fold((0, 0), sum);
    for (claim, (decided, all)) in claims.into_iter().chain([("all", every)]) {
        let percent = 100.0 * decided as f64 / all.max(1) as f64;
        let _ = writeln!(r.text, "{claim:<22}{decided:>9}{all:>7}{percent:>7.2}");
        let asked = DECIDED_MIN.iter().find(|(c, _)| *c == claim);
        if all >= ENOUGH && asked.is_some_and(|(_, least)| percent < *least) {
            let text = format!("{claim}: only {percent:.1} % decided where the goal is met");
            r.failures.push(Failure {
                name: format!("decided: {claim}"),
                text,
                too_certain: false,
            });
        }
    }
}
