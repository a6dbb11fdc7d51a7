//! When the wall clock of the computer was set while it recorded. No time of a drive rests on it
//! but the date; whoever reads that date must know.

use crate::report::words;
use wheelwitness_capture::clock::Stamp;
use wheelwitness_capture::wall::{ClockSet, WallClock};

/// The settings of the clock in a capture.
#[derive(Debug, Clone, Default)]
pub struct ClockSets {
    wall: WallClock,
    first: Option<Stamp>,
    found: Vec<ClockSet>,
}

/// More settings than this are damage or malice.
const MOST: usize = 1000;

impl ClockSets {
    /// Takes the clocks at the beginning of a block.
    pub fn push(&mut self, stamp: Option<Stamp>) {
        let Some(stamp) = stamp else { return };
        self.first.get_or_insert(stamp);
        let set = self.wall.push(stamp).filter(|_| self.found.len() < MOST);
        self.found.extend(set);
    }

    /// The settings found, in order.
    pub fn found(&self) -> &[ClockSet] {
        &self.found
    }

    /// What to say of them, if there were any.
    pub fn told(&self) -> Option<String> {
        let times = match self.found.len() {
            0 => return None,
            1 => "once".to_owned(),
            n => format!("{n} times"),
        };
        let began = self.began_ns().and_then(words::date);
        let began = began.map_or(String::new(), |date| {
            format!("; by its last setting the recording began at {date}")
        });
        Some(format!(
            "the clock of the computer was set {times} while it recorded, which moves no time of \
             this drive{began}"
        ))
    }

    /// When the recording began, by the last setting of the clock.
    fn began_ns(&self) -> Option<i64> {
        let (first, last) = (self.first?, self.found.last()?.after);
        Some(last.wall_ns.saturating_sub(last.boot_ns.saturating_sub(first.boot_ns)))
    }
}
