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
    /// Edges came in it that need not have a sentence yet.
    holds: bool,
    /// Sentences of it are missing.
    unsure: bool,
}

impl Limit {
    /// Takes an edge that was told; `missed` when others between it and the one before were not.
    /// True when it is the last of its window: those were passed over by the board.
    pub fn edge(&mut self, time_s: f64, count: u16, missed: bool) -> bool {
        let Some(w) = self.window.as_mut().filter(|w| time_s < w.start_s + WINDOW_S) else {
            let fresh =
                Window { start_s: time_s, first_count: count, holds: missed, unsure: missed };
            self.window = Some(fresh);
            return false;
        };
        let nth = count.wrapping_sub(w.first_count);
        let last = if w.unsure { missed } else { nth >= AT_ONCE };
        if last {
            self.window = None;
            return true;
        }
        if w.unsure {
            // It may have begun as late as this.
            w.start_s = time_s;
        }
        w.unsure |= missed;
        w.holds |= w.unsure || nth + 1 == AT_ONCE;
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

    /// An edge was missed at `time_s` or may have been.
    pub fn gap(&mut self, time_s: f64) {
        self.told(time_s);
        if let Some(w) = self.window.as_mut().filter(|w| time_s < w.start_s + WINDOW_S + LATE_S) {
            (w.holds, w.unsure) = (true, true);
        }
    }
}
