//! A switch whose state is told on a bus, frame by frame.
//!
//! Between two frames nobody looks: a change came at some time after the frame that still told the
//! old state and not later than the one that tells the new state. A unit has debounced already.

use super::{Action, LineTally, Moment, Told};
use crate::vehicle::Level;

/// Silence after which the state may be another one, in seconds, and in usual periods.
const SILENT_S: f64 = 1.0;
const SILENT_PERIODS: f64 = 2.5;

/// State of one line.
#[derive(Debug, Clone, Default)]
pub(super) struct ToldLine {
    settled: Option<bool>,
    /// Last state that was known, and when it was told.
    last: Option<(bool, f64)>,
    told_s: Option<f64>,
    usual_s: f64,
    now_s: f64,
    tally: LineTally,
}

impl ToldLine {
    pub(super) fn settled(&self) -> Option<bool> {
        self.settled
    }

    pub(super) fn tally(&self) -> LineTally {
        self.tally
    }

    /// True when nothing was told for longer than usual.
    pub(super) fn is_in_doubt(&self) -> bool {
        let silent_s = SILENT_S.max(SILENT_PERIODS * self.usual_s);
        self.told_s.is_some_and(|t| self.now_s > t + silent_s)
    }

    pub(super) fn advance(&mut self, now_s: f64) {
        self.now_s = now_s;
    }

    /// A frame tells the state, or that it is not known.
    pub(super) fn told(
        &mut self,
        t: &Told,
        tell: &mut impl FnMut(Action, Moment, u32, (u64, u64)),
    ) {
        let Some(before_s) = self.told_s.replace(t.time_s) else {
            self.settled = t.on;
            self.last = t.on.map(|on| (on, t.time_s));
            if let Some(on) = t.on {
                let action = Action::Settled { was: None, level: level(on) };
                tell(action, Moment::at(t.time_s), 0, (t.record, t.record));
            }
            return;
        };
        self.usual_s += ((t.time_s - before_s).min(1.0) - self.usual_s) / 8.0;
        let records = (t.record, t.record);
        match (self.settled, t.on) {
            (Some(_), None) => {
                let moment = Moment { earliest_s: before_s, ..Moment::at(t.time_s) };
                tell(Action::Unknown, moment, 0, records);
            }
            (was, Some(on)) if was != Some(on) => self.change(on, t, tell),
            _ => {}
        }
        self.settled = t.on;
        self.last = t.on.map(|on| (on, t.time_s)).or(self.last);
    }

    fn change(
        &mut self,
        on: bool,
        t: &Told,
        tell: &mut impl FnMut(Action, Moment, u32, (u64, u64)),
    ) {
        let changed = self.last.is_some_and(|l| l.0 != on);
        self.tally.edges += u64::from(changed);
        self.tally.changes += u64::from(changed);
        let earliest_s = self.last.map_or(t.time_s, |l| l.1);
        let moment = Moment { earliest_s, ..Moment::at(t.time_s) };
        let was = self.last.map(|l| level(l.0));
        let action = Action::Settled { was, level: level(on) };
        tell(action, moment, u32::from(changed), (t.record, t.record));
    }
}

fn level(on: bool) -> Level {
    if on { Level::On } else { Level::Off }
}
