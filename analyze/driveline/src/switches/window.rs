//! The board's limit on sentences for one input, followed from what came.

/// The board sends the first edges of an input in a window of this length at once, in seconds.
pub const WINDOW_S: f64 = 0.1;
/// Edges that are sent at once; the last of the others is sent when the window ends.
const AT_ONCE: u16 = 4;
/// The board may be late by this with the last edge of a window, in seconds.
const LATE_S: f64 = 0.005;
/// After the end of a window, a reminder of all levels comes within this, in seconds.
const REMINDER_S: f64 = 0.3;

/// Where an input stands in its window.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Limit {
    window: Option<Window>,
}

#[derive(Debug, Clone, Copy)]
struct Window {
    start_s: f64,
    first_count: u16,
    /// It may hold an edge that need not have a sentence yet.
    holds: bool,
    /// Its first edge was not told: it began at `start_s` or before.
    begun_unseen: bool,
}

impl Limit {
    /// Takes an edge that was told; `missed` when others between it and the one before were not.
    /// True when it is the last of its window: those were passed over by the board.
    pub fn edge(&mut self, time_s: f64, count: u16, missed: bool) -> bool {
        let Some(w) = self.window.as_mut().filter(|w| time_s < w.start_s + WINDOW_S) else {
            let (holds, begun_unseen) = (missed, missed);
            self.window = Some(Window { start_s: time_s, first_count: count, holds, begun_unseen });
            return false;
        };
        let nth = count.wrapping_sub(w.first_count);
        let last = if w.begun_unseen { missed } else { nth >= AT_ONCE };
        if last {
            self.window = None;
            return true;
        }
        if w.begun_unseen {
            // What was taken for its first edge may have been the last of the window before.
            w.start_s = time_s;
        }
        w.holds |= missed || nth == AT_ONCE - 1;
        false
    }

    /// Until when the board may hold an edge that has not been told; none if it does not.
    pub fn holds_until_s(&self) -> Option<f64> {
        self.window.filter(|w| w.holds).map(|w| w.start_s + WINDOW_S + LATE_S)
    }

    /// Whether an edge may still come that is older than `now_s`, or got lost.
    pub fn waits(&self, now_s: f64) -> bool {
        self.holds_until_s().is_some_and(|until_s| now_s < until_s + REMINDER_S)
    }

    /// The level at `time_s` was as the edges say: what the window held until then has been told.
    pub fn told(&mut self, time_s: f64) {
        if self.holds_until_s().is_some_and(|until_s| time_s >= until_s) {
            self.window = None;
        }
    }

    /// Sentences are missing since `time_s`: an open window may hold an edge.
    pub fn gap(&mut self, time_s: f64) {
        self.told(time_s);
        if let Some(w) = self.window.as_mut().filter(|w| time_s < w.start_s + WINDOW_S + LATE_S) {
            w.holds = true;
        }
    }

    /// An edge was missed, not later than `time_s`: one that the window held, or else a window
    /// has begun unseen.
    pub fn missed(&mut self, time_s: f64) {
        let held = self.holds_until_s().is_some_and(|until_s| time_s >= until_s);
        self.gap(time_s);
        if !held && self.window.is_none_or(|w| time_s >= w.start_s + WINDOW_S) {
            let (first_count, holds, begun_unseen) = (0, true, true);
            self.window = Some(Window { start_s: time_s, first_count, holds, begun_unseen });
        }
    }
}
