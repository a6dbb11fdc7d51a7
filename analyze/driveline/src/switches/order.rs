//! Events in order of time, although the board tells the last edge of a window late.

use super::{Event, WINDOW_S};
use std::collections::VecDeque;

/// Longest time by which an edge is told late, in seconds: a window, and the board's own delay.
const HOLD_S: f64 = WINDOW_S + 0.005;

/// Puts events in order of time; holds them for as long as the board may tell an edge late.
///
/// What is late by more (a line that is full) passes through at once, out of order.
///
/// ```
/// use wheelwitness_driveline::switches::{Event, InOrder, LevelChange, Levels};
/// let reminder = |time_s| Event::Levels(Levels { time_s, mask: 0, record: 0 });
/// let late = LevelChange { time_s: 1.0, input: 1, level: false, edge_count: 9, record: 0 };
/// let (mut order, mut times) = (InOrder::default(), Vec::new());
/// for event in [reminder(1.05), Event::Change(late), reminder(1.2)] {
///     order.push(event, &mut |e| times.push(e.time_s()));
/// }
/// order.flush(&mut |e| times.push(e.time_s()));
/// assert_eq!(times, [1.0, 1.05, 1.2]);
/// ```
#[derive(Debug, Clone, Default)]
pub struct InOrder {
    waiting: VecDeque<Event>,
}

impl InOrder {
    /// Takes an event in the order in which the board sent it, and gives out what is due.
    pub fn push(&mut self, event: Event, each: &mut impl FnMut(Event)) {
        if !event.time_s().is_finite() {
            return;
        }
        if let Event::Reset(_) = event {
            self.flush(each);
            each(event);
            return;
        }
        let after = self.waiting.iter().rposition(|e| e.time_s() <= event.time_s());
        self.waiting.insert(after.map_or(0, |n| n + 1), event);
        let newest_s = self.waiting.back().map_or(f64::NEG_INFINITY, Event::time_s);
        while self.waiting.front().is_some_and(|e| e.time_s() + HOLD_S <= newest_s) {
            self.waiting.pop_front().into_iter().for_each(&mut *each);
        }
    }

    /// Gives out all that is held.
    pub fn flush(&mut self, each: &mut impl FnMut(Event)) {
        self.waiting.drain(..).for_each(each);
    }
}
