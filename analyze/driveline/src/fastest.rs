//! The highest speed of a shaft that was held for half a second, and what was not watched.
//!
//! Two steps in a row must both have been fast: an edge too many is in one of them only.

use crate::pulse::{Held, STEP_US, Step};
use crate::quantity::{Component, Estimate};
use crate::turn::Turn;

/// Half a second that lies as badly as it can between two steps is faster than both together: not
/// at all where the speed was held, and by three eighths of the difference from step to step where
/// it rose and fell at once (a peak in the middle of a step; plane geometry).
const HIDDEN_SHARE: f64 = 0.375;

/// Standard deviation of a rectangular distribution over its width.
const RECTANGULAR: f64 = 0.288_675;

/// A phase that is known no better than this is no witness of a speed, turns.
const BLIND_TURN: f64 = 1.0;

/// The highest speed of a shaft.
#[derive(Debug, Clone, PartialEq)]
pub struct Fastest {
    /// Turns a minute, the highest half second.
    pub rpm: Estimate,
    /// Start and end of the two steps, microseconds.
    pub span_us: (i64, i64),
    /// Raw records.
    pub records: (u64, u64),
    /// Time that was watched, seconds.
    pub watched_s: f64,
    /// Time between the first and the last look in which nobody looked, seconds.
    pub unwatched_s: f64,
}

/// Folds the steps of one shaft.
#[derive(Debug, Clone, Default)]
pub struct FastestFold {
    /// Up to four steps without a gap between them.
    recent: Vec<Held>,
    seen_until_us: Option<i64>,
    watched_us: i64,
    unwatched_us: i64,
    best: Option<(f64, Fastest)>,
}

impl FastestFold {
    /// Takes what a step says of the shaft: its turns, or that it was not watched.
    pub fn push(&mut self, step: &Step, turn: Option<Turn>) {
        let turn = turn.filter(|t| t.u_start.max(t.u_end) < BLIND_TURN);
        // Watching begins with the first turn: until then nothing was fast.
        let turn = turn.filter(|t| !t.still || self.seen_until_us.is_some());
        let Some(turn) = turn else { return self.part() };
        let before = self.seen_until_us.replace(step.end_us);
        let gap_us = before.map_or(0, |end_us| step.start_us - end_us);
        if gap_us != 0 {
            self.part();
            self.unwatched_us += gap_us.max(0);
        }
        self.watched_us += step.end_us - step.start_us;
        self.recent.push(Held::of(step, turn));
        match self.recent.len() {
            3 => self.consider(0),
            4 => {
                self.consider(1);
                self.recent.remove(0);
            }
            _ => {}
        }
    }

    /// A gap: what was held until now stands by itself.
    fn part(&mut self) {
        if let Some(last) = self.recent.len().checked_sub(2) {
            self.consider(last);
        }
        self.recent.clear();
    }

    /// Two steps in a row, the first of them at `k`.
    fn consider(&mut self, k: usize) {
        let (a, b) = (self.recent[k], self.recent[k + 1]);
        let least = a.turn.turns.min(b.turn.turns);
        if self.best.as_ref().is_some_and(|(held, _)| least <= *held) {
            return;
        }
        let around = &self.recent[k.saturating_sub(1)..self.recent.len().min(k + 3)];
        let change = |w: &[Held]| (w[1].turn.turns - w[0].turn.turns).abs();
        let steep = around.windows(2).map(change).fold(0.0, f64::max);
        let per_minute = 60e6 / STEP_US as f64;
        let sent = |t: &Turn| t.sent.map_or(0.0, |s| s.rounding.hypot(s.truncation));
        let mut components = vec![
            Component::own("counting", per_minute / 2.0 * a.turn.u_start.hypot(b.turn.u_end)),
            Component::own("change of speed", per_minute * steep * HIDDEN_SHARE * RECTANGULAR),
            Component::own("signal resolution", per_minute / 2.0 * (sent(&a.turn) + sent(&b.turn))),
        ];
        components.retain(|c| c.u > 0.0);
        let mean = (a.turn.turns + b.turn.turns) / 2.0;
        let value = per_minute * (mean + steep * HIDDEN_SHARE / 2.0);
        let rpm = Estimate { name: "shaft speed".into(), value, unit: "1/min".into(), components };
        let (span_us, records) = ((a.start_us, b.end_us), (a.records.0, b.records.1));
        let found = Fastest { rpm, span_us, records, watched_s: 0.0, unwatched_s: 0.0 };
        self.best = Some((least, found));
    }

    /// What was the fastest; None where no two steps in a row were watched.
    pub fn finish(mut self) -> Option<Fastest> {
        self.part();
        let (watched_s, unwatched_s) =
            (self.watched_us as f64 * 1e-6, self.unwatched_us as f64 * 1e-6);
        self.best.map(|(_, found)| Fastest { watched_s, unwatched_s, ..found })
    }
}
