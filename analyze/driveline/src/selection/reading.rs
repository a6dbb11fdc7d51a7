//! What the position switches of one row read while that row was to be read.

use super::table::Code;
use crate::switches::Picture;
use crate::vehicle::LINES_MAX;

/// Readings otherwise than the code that are shorter than this are contact faults, not the row's,
/// in seconds (common practice).
pub(super) const DROP_S: f64 = 0.2;

/// How one switch read otherwise than its row says.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Disagreement {
    /// Time of all of it, in seconds.
    pub total_s: f64,
    /// Times that it lasted at least 0.2 s.
    pub times: u32,
    /// Shorter times, which are the contact's affair.
    pub drops: u32,
    /// Beginning and end of the longest one.
    pub longest_s: (f64, f64),
}

/// Reads the switches of one code from a beginning on.
#[derive(Debug, Clone)]
pub(super) struct Reading {
    code: Code,
    began_s: Option<f64>,
    ended_s: f64,
    /// Time in which all switches of the code could be read, in seconds.
    pub readable_s: f64,
    readable: bool,
    since_s: [Option<f64>; LINES_MAX],
    pub switches: [Disagreement; LINES_MAX],
}

impl Reading {
    pub fn new(code: Code) -> Self {
        Reading {
            code,
            began_s: None,
            ended_s: f64::NEG_INFINITY,
            readable_s: 0.0,
            readable: false,
            since_s: [None; LINES_MAX],
            switches: [Disagreement::default(); LINES_MAX],
        }
    }

    /// Begins to read at a time, unless it has begun.
    pub fn begin(&mut self, at_s: f64, p: &Picture) {
        if self.began_s.is_some() {
            return;
        }
        self.began_s = Some(at_s);
        self.ended_s = at_s;
        self.readable = self.is_readable(p);
        for n in 0..LINES_MAX {
            self.since_s[n] = (self.code.differing(p) >> n & 1 == 1).then_some(at_s);
        }
    }

    /// Forgets everything: the row had matched only in passing.
    pub fn restart(&mut self) {
        *self = Reading::new(self.code);
    }

    fn is_readable(&self, p: &Picture) -> bool {
        self.code.is_declared() && self.code.care & (!p.known | p.doubt) == 0
    }

    /// Lets time pass.
    pub fn pass(&mut self, now_s: f64, p: &Picture) {
        if self.began_s.is_none() || now_s <= self.ended_s {
            return;
        }
        if self.readable {
            self.readable_s += now_s - self.ended_s;
        }
        self.ended_s = now_s;
        self.readable = self.is_readable(p);
    }

    /// A switch changed (or became unknown) at a time.
    pub fn edge(&mut self, switch: usize, at_s: f64, p: &Picture) {
        let Some(began_s) = self.began_s else { return };
        let differs = self.code.differing(p) >> switch & 1 == 1;
        match (self.since_s[switch], differs) {
            (None, true) => self.since_s[switch] = Some(at_s.max(began_s)),
            (Some(_), false) => self.close(switch, at_s),
            _ => {}
        }
    }

    fn close(&mut self, switch: usize, at_s: f64) {
        let Some(since_s) = self.since_s[switch].take() else { return };
        let lasted_s = at_s - since_s;
        let d = &mut self.switches[switch];
        if lasted_s < DROP_S {
            d.drops += u32::from(lasted_s > 0.0);
            return;
        }
        d.total_s += lasted_s;
        d.times += 1;
        if lasted_s > d.longest_s.1 - d.longest_s.0 {
            d.longest_s = (since_s, at_s);
        }
    }

    /// Ends the reading.
    pub fn end(&mut self, at_s: f64) {
        for n in 0..LINES_MAX {
            self.close(n, at_s);
        }
        if let Some(began_s) = self.began_s {
            self.ended_s = at_s.max(began_s);
            self.readable_s = self.readable_s.min(self.ended_s - began_s);
        }
    }

    /// Switches that read otherwise throughout, but for the time that a contact takes to settle.
    pub fn throughout(&self) -> Vec<(usize, Disagreement)> {
        let Some((from_s, to_s)) = self.stretch() else { return Vec::new() };
        let all = |d: &Disagreement| {
            d.times == 1 && d.longest_s.0 - from_s < DROP_S && to_s - d.longest_s.1 < DROP_S
        };
        self.switches.iter().copied().enumerate().filter(|(_, d)| all(d)).collect()
    }

    /// The stretch that was read, if it began at all.
    pub fn stretch(&self) -> Option<(f64, f64)> {
        self.began_s.map(|began_s| (began_s, self.ended_s))
    }
}
