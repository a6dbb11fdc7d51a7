//! Course over ground as a witness of turning.
//!
//! A receiver says which way it moves, not which way the vehicle points; a yaw rate is the slope
//! of the unwrapped course over a few seconds. Course means nothing at rest, so fixes below
//! [`SPEED_MIN_MPS`] are left out and a gap ends the track.

use std::cell::OnceCell;
use std::f64::consts::{PI, TAU};
use std::iter;

/// Below this speed a course is not used, m/s.
pub const SPEED_MIN_MPS: f64 = 0.7;

/// Half the narrowest window of a slope: this many seconds, and this many fixes to each side.
const HALF_WINDOW_S: f64 = 0.65;
const HALF_WINDOW_FIXES: f64 = 2.1;

/// Half the widest one, seconds: at walking pace a course is so coarse that only a long stretch
/// of a turn shows how sharp it is.
const HALF_WINDOW_MAX_S: f64 = 6.0;

/// A slope is good enough when it is known to this share, or its curvature to this, 1/m.
const SLOPE_SHARE: f64 = 0.12;
const CURVATURE_U_PER_M: f64 = 1.0 / 400.0;

/// A window that is not good enough is tried this much wider.
const WIDER: f64 = 1.4;

/// A longer pause between fixes breaks the track, seconds.
const GAP_S: f64 = 2.5;

/// Least standard uncertainty of a receiver's velocity across its motion, m/s (common practice:
/// single-frequency receivers state 0.05 to 0.1). Where its courses scatter more, that counts.
const VELOCITY_U_MPS: f64 = 0.06;

/// One fix, in board time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fix {
    /// Board time, seconds.
    pub time_s: f64,
    /// Speed over ground, m/s.
    pub speed_mps: f64,
    /// Course over ground, radians clockwise from north.
    pub course_rad: f64,
}

/// How fast the course turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct YawRate {
    /// rad/s, positive to the right.
    pub rate: f64,
    /// Standard uncertainty, rad/s.
    pub u: f64,
    /// Length of the window that showed it, seconds.
    pub window_s: f64,
}

/// How a receiver speaks.
#[derive(Debug, Clone, Copy)]
struct Habits {
    /// Half the narrowest window over which a slope is taken, seconds: by how often fixes come.
    half_window_s: f64,
    /// Standard uncertainty of its velocity across its motion, m/s.
    velocity_u_mps: f64,
}

impl Habits {
    fn of(fixes: &[Fix]) -> Self {
        let sample = &fixes[..fixes.len().min(200)];
        let mut gaps: Vec<f64> = sample.windows(2).map(|w| w[1].time_s - w[0].time_s).collect();
        let typical = median(&mut gaps).unwrap_or(1.0);
        // The second difference of three courses in a row has six times the variance of one, and
        // no part of a steady turn; the median leaves out the beginnings and ends of turns.
        let alike = |w: &&[Fix]| w[2].time_s - w[0].time_s < 2.5 * typical;
        let across = |w: &[Fix]| {
            let bend = w[2].course_rad - 2.0 * w[1].course_rad + w[0].course_rad;
            (bend * w[1].speed_mps).abs() / 6f64.sqrt()
        };
        let mut scatter: Vec<f64> = fixes.windows(3).filter(alike).map(across).collect();
        let velocity_u_mps =
            median(&mut scatter).map_or(0.0, |m| m * SD_PER_MEDIAN).max(VELOCITY_U_MPS);
        let half_window_s = HALF_WINDOW_S.max(HALF_WINDOW_FIXES * typical);
        Habits { half_window_s, velocity_u_mps }
    }
}

/// Standard deviation of a normal distribution over the median of its absolute values.
const SD_PER_MEDIAN: f64 = 1.4826;

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// The fixes of a drive with their course unwrapped.
#[derive(Debug, Clone, Default)]
pub struct Course {
    fixes: Vec<Fix>,
    habits: OnceCell<Habits>,
    breaks: Vec<usize>,
    speeds: Vec<(f64, f64)>,
}

impl Course {
    /// Takes one fix in, times ascending; a course that cannot be used is left out (a receiver
    /// that gives none says NaN), its speed is kept.
    pub fn push(&mut self, fix: Fix) {
        let later = self.speeds.last().is_none_or(|l| fix.time_s > l.0);
        if later && fix.speed_mps.is_finite() {
            self.speeds.push((fix.time_s, fix.speed_mps));
        }
        let usable = fix.speed_mps >= SPEED_MIN_MPS && fix.course_rad.is_finite();
        if !usable || self.fixes.last().is_some_and(|l| fix.time_s <= l.time_s) {
            return;
        }
        let mut course_rad = fix.course_rad;
        match self.fixes.last() {
            Some(last) if fix.time_s - last.time_s <= GAP_S => {
                let turn = (course_rad - last.course_rad + PI).rem_euclid(TAU) - PI;
                course_rad = last.course_rad + turn;
            }
            _ => self.breaks.push(self.fixes.len()),
        }
        self.fixes.push(Fix { course_rad, ..fix });
        self.habits = OnceCell::new();
    }

    /// True without a single usable fix.
    pub fn is_empty(&self) -> bool {
        self.fixes.is_empty()
    }

    fn window(&self, from_s: f64, to_s: f64) -> Option<&[Fix]> {
        let a = self.fixes.partition_point(|f| f.time_s < from_s);
        let b = self.fixes.partition_point(|f| f.time_s <= to_s);
        let broken =
            self.breaks.partition_point(|k| *k <= a) < self.breaks.partition_point(|k| *k < b);
        (b >= a + 4 && !broken).then(|| &self.fixes[a..b])
    }

    fn habits(&self) -> Habits {
        *self.habits.get_or_init(|| Habits::of(&self.fixes))
    }

    /// Standard uncertainty of one course at a speed, radians.
    fn course_u_rad(&self, speed_mps: f64) -> f64 {
        let u = self.habits().velocity_u_mps / speed_mps.max(SPEED_MIN_MPS);
        u.max(0.5f64.to_radians())
    }

    /// Yaw rate at an instant; None where the track has no fixes around it.
    ///
    /// The window is the narrowest one whose slope is known well enough: the square of a slope is
    /// what a turn demands, and noise adds to a square.
    ///
    /// ```
    /// use wheelwitness_driveline::course::{Course, Fix};
    /// let mut c = Course::default();
    /// for k in 0..100 {
    ///     let course_rad = (0.06 * k as f64) % 6.2831853;
    ///     c.push(Fix { time_s: 0.2 * k as f64, speed_mps: 2.0, course_rad });
    /// }
    /// let yaw = c.yaw_rate(10.0).unwrap();
    /// assert!((yaw.rate - 0.3).abs() < 1e-6 && yaw.u < 0.05);
    /// ```
    pub fn yaw_rate(&self, at_s: f64) -> Option<YawRate> {
        let narrowest_s = self.habits().half_window_s;
        let wider = |half_s: &f64| Some(half_s * WIDER).filter(|h| *h <= HALF_WINDOW_MAX_S);
        let windows: Vec<_> = iter::successors(Some(narrowest_s), wider)
            .map_while(|half_s| self.slope(at_s, half_s))
            .collect();
        let (widest, _) = windows.last()?;
        // By the widest one: a narrow one that noise made steep would look well known for that, and
        // those that look so would be too steep on the whole.
        let is_known = |(yaw, speed_mps): &&(YawRate, f64)| {
            yaw.u <= (SLOPE_SHARE * widest.rate.abs()).max(CURVATURE_U_PER_M * speed_mps)
        };
        Some(windows.iter().find(is_known).map_or(*widest, |(yaw, _)| *yaw))
    }

    /// Slope of the course over a window of twice `half_s`, and the mean speed in it.
    fn slope(&self, at_s: f64, half_s: f64) -> Option<(YawRate, f64)> {
        let fixes = self.window(at_s - half_s, at_s + half_s)?;
        let n = fixes.len() as f64;
        let (first, last) = (fixes[0].time_s, fixes[fixes.len() - 1].time_s);
        if first > at_s - 0.5 * half_s || last < at_s + 0.5 * half_s {
            return None;
        }
        let mean = |f: &dyn Fn(&Fix) -> f64| fixes.iter().map(f).sum::<f64>() / n;
        let (t, c, v) = (mean(&|f| f.time_s), mean(&|f| f.course_rad), mean(&|f| f.speed_mps));
        let sxx: f64 = fixes.iter().map(|f| (f.time_s - t).powi(2)).sum();
        let sxy: f64 = fixes.iter().map(|f| (f.time_s - t) * (f.course_rad - c)).sum();
        let u = self.course_u_rad(v) / sxx.sqrt();
        Some((YawRate { rate: sxy / sxx, u, window_s: 2.0 * half_s }, v))
    }

    /// Course at an instant (mean of the fixes within a second) and its standard uncertainty,
    /// radians. For straight running: a turn would bend the mean.
    pub fn at(&self, at_s: f64) -> Option<(f64, f64)> {
        let a = self.fixes.partition_point(|f| f.time_s < at_s - 1.05);
        let b = self.fixes.partition_point(|f| f.time_s <= at_s + 1.05);
        let near = self.fixes.get(a..b).filter(|f| f.len() >= 2)?;
        let n = near.len() as f64;
        let v = near.iter().map(|f| f.speed_mps).sum::<f64>() / n;
        Some((near.iter().map(|f| f.course_rad).sum::<f64>() / n, self.course_u_rad(v)))
    }

    /// The same fixes, each `lag_s` seconds earlier: what a receiver that speaks late meant.
    pub fn earlier_by(mut self, lag_s: f64) -> Self {
        self.fixes.iter_mut().for_each(|f| f.time_s -= lag_s);
        self.speeds.iter_mut().for_each(|s| s.0 -= lag_s);
        self
    }

    /// How late the receiver speaks: the lag at which its speeds fit best (least squares, scale
    /// free) to `wheel`, ascending pairs of time and any measure proportional to speed. None
    /// where the speed hardly changed.
    pub fn lag_s(&self, wheel: &[(f64, f64)]) -> Option<f64> {
        let at = |t: f64| {
            let k = wheel.partition_point(|w| w.0 < t);
            let (a, b) = (wheel.get(k.checked_sub(1)?)?, wheel.get(k)?);
            let near = b.0 - a.0 < 0.5;
            near.then(|| a.1 + (b.1 - a.1) * (t - a.0) / (b.0 - a.0).max(1e-9))
        };
        let misfit = |lag: f64| {
            let (mut vv, mut vw, mut ww, mut n) = (0.0, 0.0, 0.0, 0u32);
            for (t, v) in &self.speeds {
                let Some(w) = at(t - lag) else { continue };
                (vv, vw, ww, n) = (vv + v * v, vw + v * w, ww + w * w, n + 1);
            }
            (n >= 30 && ww > 0.0).then(|| (vv - vw * vw / ww) / vv.max(1e-9))
        };
        let lags = (0..=24).map(|k| 0.05 * f64::from(k));
        let fits: Vec<(f64, f64)> = lags.filter_map(|lag| Some((lag, misfit(lag)?))).collect();
        let best = fits.iter().min_by(|a, b| a.1.total_cmp(&b.1))?;
        let worst = fits.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
        (worst.1 > 1.5 * best.1).then_some(best.0)
    }

    /// Speed over ground nearest to an instant, if a fix lies within 1.5 s of it, m/s.
    pub fn speed_near(&self, at_s: f64) -> Option<f64> {
        let k = self.speeds.partition_point(|s| s.0 < at_s);
        let near = |k: usize| self.speeds.get(k).filter(|s| (s.0 - at_s).abs() <= 1.5);
        let gap = |s: &&(f64, f64)| (s.0 - at_s).abs();
        let candidates = [k.checked_sub(1).and_then(near), near(k)];
        candidates.into_iter().flatten().min_by(|a, b| gap(a).total_cmp(&gap(b))).map(|s| s.1)
    }

    /// Times (seconds) and speeds over ground (m/s) between two instants.
    pub fn speeds_between(&self, from_s: f64, to_s: f64) -> &[(f64, f64)] {
        let a = self.speeds.partition_point(|s| s.0 < from_s);
        let b = self.speeds.partition_point(|s| s.0 < to_s);
        self.speeds.get(a..b).unwrap_or(&[])
    }

    /// True when the course runs without a break between two instants.
    pub fn unbroken(&self, from_s: f64, to_s: f64) -> bool {
        self.window(from_s - 1.05, to_s + 1.05).is_some()
    }
}
