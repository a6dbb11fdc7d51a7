//! Board clock to host clock by the lower envelope of delays.
//!
//! A sentence can arrive late, never early: `host = a + b * board + delay`, delay >= 0. The line
//! that lies below all points and closest to them (Moon, Skelly, Towsley, INFOCOM 1999, from
//! memory) is the edge of the lower convex hull above the mean abscissa. Least squares would chase
//! the delays. What cannot be seen one-way is a constant least delay.

/// Folds pairs of board and host times into their lower convex hull.
#[derive(Debug, Clone, Default)]
pub struct Envelope {
    hull: Vec<(f64, f64)>,
    sum_board: f64,
    n: u64,
}

/// A line from board time to host time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClockMap {
    /// Board time of the anchor, seconds.
    pub board_s: f64,
    /// Host time at the anchor, seconds.
    pub host_s: f64,
    /// Host seconds per board second.
    pub rate: f64,
    /// Length of board time that it rests on, seconds.
    pub span_s: f64,
}

/// Under this span the rate is not usable and 1 is taken instead.
pub const RATE_SPAN_S: f64 = 60.0;

/// Hull points kept; real delays leave a dozen, an adversary could leave all.
const HULL_MAX: usize = 4096;

impl Envelope {
    /// Takes one pair in, board times ascending.
    pub fn push(&mut self, board_s: f64, host_s: f64) {
        self.n += 1;
        self.sum_board += board_s;
        while let [.., a, b] = self.hull[..] {
            let turns_left = (b.0 - a.0) * (host_s - a.1) - (b.1 - a.1) * (board_s - a.0) > 0.0;
            if turns_left {
                break;
            }
            self.hull.pop();
        }
        self.hull.push((board_s, host_s));
        if self.hull.len() > HULL_MAX {
            let mut keep = false;
            self.hull.retain(|_| {
                keep = !keep;
                keep
            });
        }
    }

    /// The line below all points; None before two points.
    ///
    /// ```
    /// use wheelwitness_driveline::clock::Envelope;
    /// let mut e = Envelope::default();
    /// for k in 0..1000 {
    ///     let t = 0.1 * k as f64;
    ///     e.push(t, 5.0 + 1.00005 * t + 0.016 * (k % 7) as f64 / 7.0);
    /// }
    /// let map = e.fit().unwrap();
    /// assert!((map.rate - 1.00005).abs() < 1e-9 && (map.host(50.0) - 55.0025).abs() < 1e-6);
    /// ```
    pub fn fit(&self) -> Option<ClockMap> {
        let (first, last) = (self.hull.first()?, self.hull.last()?);
        let span_s = last.0 - first.0;
        let mean = self.sum_board / self.n as f64;
        if span_s < RATE_SPAN_S {
            let least = |p: &&(f64, f64)| p.1 - p.0;
            let p = self.hull.iter().min_by(|a, b| least(a).total_cmp(&least(b)))?;
            return Some(ClockMap { board_s: p.0, host_s: p.1, rate: 1.0, span_s });
        }
        let k = self.hull.partition_point(|p| p.0 <= mean).clamp(1, self.hull.len() - 1);
        let (a, b) = (self.hull[k - 1], self.hull[k]);
        Some(ClockMap { board_s: a.0, host_s: a.1, rate: (b.1 - a.1) / (b.0 - a.0), span_s })
    }
}

impl ClockMap {
    /// Host time of a board time, seconds.
    pub fn host(&self, board_s: f64) -> f64 {
        self.host_s + self.rate * (board_s - self.board_s)
    }

    /// Board time of a host time, seconds.
    pub fn board(&self, host_s: f64) -> f64 {
        self.board_s + (host_s - self.host_s) / self.rate
    }
}
