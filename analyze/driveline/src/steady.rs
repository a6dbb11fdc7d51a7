//! What a sender counts, or a speedometer shows, against the speed over ground, in steady straight
//! running.
//!
//! A receiver speaks late, so only windows of nearly constant speed are compared: three seconds in
//! which the sender's rate is a line that hardly climbs, fix by fix against that line. Windows are
//! summed by speed, because what a speedometer may show depends on it.

use crate::course::Course;
use crate::pulse::{Held, Step};
use crate::quantity::Component;
use crate::turn::Turn;
use std::collections::BTreeMap;

/// Steps of a window (three seconds).
const WINDOW: usize = 6;

/// Slower than this the noise of a receiver outweighs its speed, m/s.
pub const STEADY_MIN_MPS: f64 = 2.5;

/// Largest change of the rate over a window, and largest distance of a step from the line.
const CLIMB_MAX: f64 = 0.05;
const OFF_LINE_MAX: f64 = 0.02;

/// Fewest fixes in a window.
const FIXES_MIN: usize = 3;

/// Sharper than this is no straight, 1/m.
const STRAIGHT_PER_M: f64 = 1.0 / 150.0;

/// Width of a band of speed, m/s (10 km/h).
const BAND_MPS: f64 = 10.0 / 3.6;

/// What a receiver's speed leaves open however long it is averaged, relative: its own scale, and
/// that it speaks of the level way while a road climbs (common practice: a grade of 4 percent
/// makes the way 0.08 percent longer).
pub const RECEIVER_U: f64 = 0.0005;

/// Standard uncertainty of a receiver's latency, seconds: estimated on a grid of 0.05 s, or taken
/// as typical (0.05 to 0.5 s, common practice).
pub const LAG_U_S: [f64; 2] = [0.03, 0.13];

/// Sums over steady windows of about one speed.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Windows.
    pub windows: u32,
    /// Fixes in them.
    pub fixes: f64,
    /// Start of the first and end of the last window, microseconds.
    pub span_us: (i64, i64),
    /// Raw records.
    pub records: (u64, u64),
    /// Sum over fixes of the speed over ground, m/s.
    speed: f64,
    /// Sum over fixes of the sender's rate, turns per second.
    rate: f64,
    /// Sums over windows, by fixes: speed squared, speed times rate, rate squared.
    squares: [f64; 3],
    /// Residuals of fixes about their window's own ratio, and how many are free.
    residuals: (f64, f64),
    /// Variance of the sum of rates by the teeth at the ends of windows.
    teeth: f64,
    /// Sum over fixes of the acceleration, m/s^2.
    climb: f64,
    /// Sums over fixes of what a unit leaves open of the rate: see [`Window::sent`].
    sent: [f64; 2],
}

impl Band {
    fn of(w: Window) -> Self {
        let n = w.fixes;
        Band {
            windows: 1,
            fixes: n,
            span_us: w.span_us,
            records: w.records,
            speed: n * w.speed,
            rate: n * w.rate,
            squares: [n * w.speed * w.speed, n * w.speed * w.rate, n * w.rate * w.rate],
            residuals: (w.residual, n - 1.0),
            teeth: (n * w.rate_u).powi(2),
            climb: n * w.climb,
            sent: w.sent.map(|s| n * s),
        }
    }

    /// Both together.
    fn add(&mut self, o: &Band) {
        self.windows += o.windows;
        self.fixes += o.fixes;
        self.span_us = (self.span_us.0.min(o.span_us.0), self.span_us.1.max(o.span_us.1));
        self.records = (self.records.0.min(o.records.0), self.records.1.max(o.records.1));
        self.speed += o.speed;
        self.rate += o.rate;
        self.squares.iter_mut().zip(o.squares).for_each(|(a, b)| *a += b);
        self.residuals = (self.residuals.0 + o.residuals.0, self.residuals.1 + o.residuals.1);
        self.teeth += o.teeth;
        self.climb += o.climb;
        self.sent.iter_mut().zip(o.sent).for_each(|(a, b)| *a += b);
    }

    /// All bands together; None of none.
    pub fn all(bands: &[Band]) -> Option<Band> {
        let (first, rest) = bands.split_first()?;
        let mut sum = first.clone();
        rest.iter().for_each(|b| sum.add(b));
        Some(sum)
    }

    /// Mean speed over ground, m/s.
    pub fn speed_mps(&self) -> f64 {
        self.speed / self.fixes
    }

    /// Mean rate of the sender, turns per second.
    pub fn rate(&self) -> f64 {
        self.rate / self.fixes
    }

    /// Relative uncertainties of rate over speed; `lag_u_s` is that of the receiver's latency, and
    /// `noise` the variance of one fix with its degrees of freedom, see [`noise`].
    pub fn components(&self, lag_u_s: f64, (variance, dof): (f64, f64)) -> Vec<Component> {
        let of_fixes = (self.fixes * variance).sqrt() / self.speed;
        let [vv, vr, rr] = self.squares;
        let q = self.speed / self.rate;
        let chi2 = (vv - 2.0 * q * vr + q * q * rr).max(0.0) / variance.max(1e-9);
        let mut components = vec![
            Component::from_few("receiver noise", of_fixes, dof),
            Component::from_residuals("scatter", of_fixes, chi2, f64::from(self.windows) - 1.0),
            Component::own("counting", self.teeth.sqrt() / self.rate),
            Component::own("latency", self.climb * lag_u_s / self.speed),
            Component::own("signal resolution", self.sent[0] / self.rate),
            Component::own("signal delay", self.sent[1].abs() / self.rate),
            Component::shared("receiver", RECEIVER_U),
        ];
        components.retain(|c| c.u > 0.0);
        components
    }
}

/// Variance of the speed of one fix, (m/s)^2, from all bands, and its degrees of freedom.
pub fn noise(bands: &[Band]) -> (f64, f64) {
    let (squares, dof) =
        bands.iter().fold((0.0, 0.0), |sum, b| (sum.0 + b.residuals.0, sum.1 + b.residuals.1));
    (squares / f64::max(dof, 1.0), dof)
}

struct Window {
    fixes: f64,
    span_us: (i64, i64),
    records: (u64, u64),
    speed: f64,
    rate: f64,
    rate_u: f64,
    residual: f64,
    climb: f64,
    /// What a unit that sends the rate leaves open of it, one standard uncertainty, turns per
    /// second: by its resolution, and by its delay.
    sent: [f64; 2],
}

/// Folds the steps of a sender, or of what is shown.
#[derive(Debug, Clone, Default)]
pub struct SteadyFold {
    recent: Vec<Held>,
    bands: BTreeMap<u32, Band>,
}

impl SteadyFold {
    /// Takes a step: the sender's turns, where the sender was watched and the wheels of its output
    /// roll freely (not in a locked mode, none lifted).
    pub fn push(&mut self, step: &Step, course: &Course, turn: Option<Turn>) {
        let Some(turn) = turn.filter(|t| !t.still) else { return self.recent.clear() };
        if self.recent.last().is_some_and(|l| l.end_us != step.start_us) {
            self.recent.clear();
        }
        self.recent.push(Held::of(step, turn));
        if self.recent.len() < WINDOW {
            return;
        }
        let Some(w) = window(&self.recent, course) else {
            self.recent.remove(0);
            return;
        };
        self.recent.clear();
        let key = (w.speed / BAND_MPS) as u32;
        let band = Band::of(w);
        self.bands.entry(key).and_modify(|b| b.add(&band)).or_insert(band);
    }

    /// The bands, slowest first.
    pub fn finish(self) -> Vec<Band> {
        self.bands.into_values().collect()
    }
}

/// Turns a second of a step.
fn rate(h: &Held) -> f64 {
    h.turn.turns / ((h.end_us - h.start_us) as f64 * 1e-6)
}

/// The steps as a window, where they are steady and straight.
fn window(steps: &[Held], course: &Course) -> Option<Window> {
    let (first, last) = (steps.first()?, steps.last()?);
    let (from_s, to_s) = (first.start_us as f64 * 1e-6, last.end_us as f64 * 1e-6);
    let (middle_s, seconds) = ((from_s + to_s) / 2.0, to_s - from_s);
    let at = |h: &Held| (h.start_us + h.end_us) as f64 * 5e-7 - middle_s;
    let mean = steps.iter().map(|h| h.turn.turns).sum::<f64>() / seconds;
    let spread: f64 = steps.iter().map(|h| at(h).powi(2)).sum();
    let climb = steps.iter().map(|h| at(h) * rate(h)).sum::<f64>() / spread;
    let coarse = |h: &Held| h.turn.sent.map_or(0.0, |s| s.rounding.hypot(s.truncation));
    let late = |h: &Held| h.turn.sent.map_or(0.0, |s| s.delay);
    let off_line = |h: &Held| {
        let ends = h.turn.u_start.hypot(h.turn.u_end);
        let u = ends.hypot(coarse(h)) / seconds * WINDOW as f64;
        (rate(h) - mean - climb * at(h)).abs() > (OFF_LINE_MAX * mean).max(3.0 * u)
    };
    if (climb * seconds).abs() > CLIMB_MAX * mean || steps.iter().any(off_line) {
        return None;
    }
    let fixes = course.speeds_between(from_s, to_s);
    let n = fixes.len() as f64;
    let of = |f: &dyn Fn(&(f64, f64)) -> f64| fixes.iter().map(f).sum::<f64>() / n;
    let line = |t: f64| mean + climb * (t - middle_s);
    let (speed, rate) = (of(&|f| f.1), of(&|f| line(f.0)));
    if fixes.len() < FIXES_MIN
        || speed < STEADY_MIN_MPS
        || !is_straight(course, from_s, to_s, speed)
    {
        return None;
    }
    let ratio = speed / rate;
    let residual = fixes.iter().map(|f| (f.1 - ratio * line(f.0)).powi(2)).sum();
    Some(Window {
        fixes: n,
        span_us: (first.start_us, last.end_us),
        records: (first.records.0, last.records.1),
        speed,
        rate,
        rate_u: first.turn.u_start.hypot(last.turn.u_end) / seconds,
        residual,
        climb: ratio * climb,
        sent: [&coarse as &dyn Fn(&Held) -> f64, &late]
            .map(|of| steps.iter().map(of).sum::<f64>() / seconds),
    })
}

fn is_straight(course: &Course, from_s: f64, to_s: f64, speed_mps: f64) -> bool {
    let ends = course.at(from_s).zip(course.at(to_s));
    let metres = speed_mps * (to_s - from_s);
    ends.is_some_and(|((a, _), (b, _))| (b - a).abs() < STRAIGHT_PER_M * metres)
}
