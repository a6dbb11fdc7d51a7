//! Times between two edges of one board, with their uncertainty.

use crate::quantity::{Component, Estimate};
use crate::switches::Moment;
use crate::verdict::{Bounds, Judgement, judge};

/// Tick of the board, in seconds.
const TICK_S: f64 = 1e-6;
/// Sampling step of a switch input, in seconds: edges are told at most once a millisecond.
const SAMPLING_STEP_S: f64 = 1e-3;
/// Largest rate error of a board clock: a crystal's 100 ppm (common practice).
const CLOCK_RATE: f64 = 1e-4;
/// How late a shaft that begins to turn shows it, in seconds (common practice).
const REST_S: f64 = 0.3;

/// A time between two changes: a value, and bounds when an edge of either was missed.
#[derive(Debug, Clone, PartialEq)]
pub struct Latency {
    /// Shortest it can have been, in seconds, before the uncertainty of the edges.
    pub low_s: f64,
    /// Longest it can have been, in seconds, before the uncertainty of the edges.
    pub high_s: f64,
    /// Time at rest that was taken off, in seconds.
    pub rest_s: f64,
}

impl Latency {
    /// From the first edge of one change to the settled time of another. The calm time of the
    /// debounce is not in it.
    pub fn between(from: &Moment, to: &Moment) -> Self {
        let certain = to.latest_s == to.settled_s && to.earliest_s == to.first_s;
        let low_end_s = if certain { to.settled_s } else { to.earliest_s };
        Latency {
            low_s: (low_end_s - from.first_s).max(0.0),
            high_s: (to.latest_s - from.earliest_s).max(0.0),
            rest_s: 0.0,
        }
    }

    /// As an estimate: the middle of the bounds. The components are one tick and one sampling
    /// step at each end (rectangular), the rate of the board's clock, and what missed edges leave
    /// open.
    pub fn estimate(&self, name: &str) -> Estimate {
        let mut estimate = self.at((self.low_s + self.high_s) / 2.0, name);
        let open_s = self.high_s - self.low_s;
        if open_s > 0.0 {
            estimate.components.push(Component::own("edge not seen", open_s / 12f64.sqrt()));
        }
        estimate
    }

    /// The same without a time that does not count.
    pub(super) fn without(&self, rest_s: f64) -> Self {
        Latency {
            low_s: (self.low_s - rest_s).max(0.0),
            high_s: (self.high_s - rest_s).max(0.0),
            rest_s: self.rest_s + rest_s,
        }
    }

    /// Held against an upper limit, among `periods`: bounds count in full.
    pub fn judge(&self, limit_s: f64, periods: usize) -> Judgement {
        let bound = |t| judge(&self.at(t, "bound"), Bounds::at_most(limit_s), periods);
        if bound(self.high_s) == Judgement::Inside {
            Judgement::Inside
        } else if bound(self.low_s) == Judgement::Outside {
            Judgement::Outside
        } else {
            Judgement::Between
        }
    }

    fn at(&self, value_s: f64, name: &str) -> Estimate {
        let both_ends = |step_s: f64| step_s / 6f64.sqrt();
        let mut components = vec![
            Component::own("board tick", both_ends(TICK_S)),
            Component::own("sampling step", both_ends(SAMPLING_STEP_S)),
            Component::shared("board clock rate", value_s * CLOCK_RATE / 3f64.sqrt()),
        ];
        if self.rest_s > 0.0 {
            components.push(Component::own("end of rest", REST_S / 3f64.sqrt()));
        }
        Estimate { name: name.into(), value: value_s, unit: "s".into(), components }
    }
}
