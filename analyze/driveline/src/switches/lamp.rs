//! What a lamp shows: off, steady or flashing, from its edges.

use super::{DIM_GAP_S, FLASH_MAX_PER_MIN, LAMP_HOLD_S, MIN_CYCLES, Moment, SETTLE_S, WINDOW_S};

/// What a lamp shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LampState {
    /// Dark.
    Off,
    /// Lit, dimmed or not.
    Steady,
    /// Flashing: whole cycles, and the time they took.
    Flashing {
        /// Cycles from one light-up to the next.
        cycles: u32,
        /// Time of these cycles, in seconds.
        seconds: f64,
    },
}

impl LampState {
    /// Flash rate by cycles over time, per minute; never the mean of the rates of single cycles.
    ///
    /// ```
    /// use wheelwitness_driveline::switches::LampState;
    /// let three_in_1500_ms = LampState::Flashing { cycles: 3, seconds: 1.5 };
    /// assert_eq!(three_in_1500_ms.rate_per_min(), Some(120.0));
    /// ```
    pub fn rate_per_min(&self) -> Option<f64> {
        match *self {
            LampState::Flashing { cycles, seconds } if seconds > 0.0 => {
                Some(60.0 * f64::from(cycles) / seconds)
            }
            _ => None,
        }
    }
}

/// Decodes one lamp line.
///
/// Dark gaps shorter than [`DIM_GAP_S`] belong to the light (pulse-width dimming), a light
/// shorter than [`SETTLE_S`] is a disturbance. A light or a darkness that lasts [`LAMP_HOLD_S`]
/// is a state; at least [`MIN_CYCLES`] cycles of shorter ones are a flash. Until one of these is
/// reached after a change, what the lamp shows is not determined.
#[derive(Debug, Clone, Default)]
pub struct LampDecoder {
    raw: Option<bool>,
    raw_since_s: f64,
    /// The light with its dimming gaps closed, and the edges that made it.
    lit: Option<bool>,
    since: Option<Moment>,
    /// When the light began that has not yet lasted long enough to be one.
    candidate: Option<Moment>,
    /// First and last light-up of an unbroken train of short lights, and whole cycles in it.
    train: Option<(f64, f64, u32)>,
    /// Cycles that were only counted, since the last light-up of the train.
    counted: u32,
    /// Dark gaps shorter than [`DIM_GAP_S`] have been seen.
    dimmed: bool,
    shown: Option<LampState>,
}

impl LampDecoder {
    /// Takes an edge (or the first known level) of the line: lit or dark from `time_s` on.
    pub fn edge(&mut self, time_s: f64, lit: bool) {
        if self.raw == Some(lit) {
            return;
        }
        self.close_gaps(time_s);
        self.dimmed |= lit && self.raw.is_some() && time_s - self.raw_since_s < DIM_GAP_S;
        if self.raw.is_none() {
            self.lit = Some(lit);
            self.since = Some(Moment::at(time_s));
        } else if lit && self.lit == Some(false) && self.candidate.is_none() {
            self.candidate = Some(Moment::at(time_s));
        } else {
            self.stretch(time_s);
        }
        self.raw = Some(lit);
        self.raw_since_s = time_s;
    }

    /// Takes several edges of which only the last is known, after one at `from_s`: lit or dark
    /// from `time_s` on. Faster than 25 Hz they are dimming, and the lamp is lit all the time;
    /// slower ones are cycles of a flash. What may be a mixture of both is forgotten.
    pub fn edges(&mut self, from_s: f64, time_s: f64, lit: bool, edges: u32) {
        let span_s = time_s - from_s;
        let fast = span_s < DIM_GAP_S * f64::from(edges) / 2.0;
        if self.raw.is_some() && fast && span_s <= 2.0 * WINDOW_S {
            self.edge(from_s, true);
            self.dimmed = true;
            self.edge(time_s, lit);
        } else if self.raw.is_some() && !fast && !self.dimmed && span_s < LAMP_HOLD_S {
            self.flashed(from_s, time_s, lit, edges);
        } else {
            self.forget();
            self.edge(time_s, lit);
        }
    }

    /// Cycles that were not seen one by one.
    fn flashed(&mut self, from_s: f64, time_s: f64, lit: bool, edges: u32) {
        self.close_gaps(from_s);
        let dark_at_s = if lit { from_s } else { time_s };
        self.counted += if lit { edges.div_ceil(2) - 1 } else { edges / 2 };
        (self.raw, self.raw_since_s) = (Some(false), dark_at_s);
        (self.lit, self.since) = (Some(false), Some(Moment::at(dark_at_s)));
        self.candidate = None;
        if lit {
            self.edge(time_s, true);
        }
    }

    /// A bounce moves the settled time of the light-up it follows.
    fn stretch(&mut self, time_s: f64) {
        let rising = self.candidate.as_mut().or(self.since.as_mut().filter(|_| self.raw.is_some()));
        if let Some(m) = rising
            && time_s - m.settled_s < SETTLE_S
            && time_s - m.first_s < DIM_GAP_S
        {
            m.settled_s = time_s;
            m.latest_s = time_s;
        }
    }

    /// Lets time pass; answers what the lamp newly shows and since when, and again with each
    /// further cycle of a flash.
    pub fn advance(&mut self, now_s: f64) -> Option<(LampState, Moment)> {
        self.close_gaps(now_s);
        let (lit, since) = (self.lit?, self.since?);
        let held = now_s - since.first_s >= LAMP_HOLD_S && self.candidate.is_none();
        let state = if held {
            self.train = None;
            if lit { LampState::Steady } else { LampState::Off }
        } else {
            self.flash()?
        };
        let since = match (state, self.train) {
            (LampState::Flashing { .. }, Some((first_s, ..))) => Moment::at(first_s),
            _ => since,
        };
        let news = self.shown != Some(state);
        self.shown = Some(state);
        news.then_some((state, since))
    }

    /// Turns raw levels into lights and darknesses.
    fn close_gaps(&mut self, now_s: f64) {
        if let Some(candidate) = self.candidate {
            let lasted_s =
                if self.raw == Some(true) { now_s } else { self.raw_since_s } - candidate.first_s;
            if lasted_s >= SETTLE_S {
                self.light_up(candidate);
            } else if self.raw == Some(false) && now_s - self.raw_since_s >= DIM_GAP_S {
                self.candidate = None;
            }
        }
        let dark = self.raw == Some(false) && now_s - self.raw_since_s >= DIM_GAP_S;
        if dark && self.lit == Some(true) && self.candidate.is_none() {
            self.break_train_if_long(self.raw_since_s);
            self.lit = Some(false);
            self.since = Some(Moment::at(self.raw_since_s));
        }
    }

    fn light_up(&mut self, at: Moment) {
        self.break_train_if_long(at.first_s);
        self.train = Some(match self.train {
            Some((first_s, _, cycles)) => (first_s, at.first_s, cycles + 1 + self.counted),
            None => (at.first_s, at.first_s, 0),
        });
        self.counted = 0;
        self.lit = Some(true);
        self.since = Some(at);
        self.candidate = None;
    }

    fn break_train_if_long(&mut self, until_s: f64) {
        if self.since.is_some_and(|m| until_s - m.first_s >= LAMP_HOLD_S) {
            self.train = None;
        }
    }

    /// The flash that the train of lights is; `None` while it is too short to be one, or too quick:
    /// then edges are missing, and what is left of a dimmed light looks like cycles.
    fn flash(&self) -> Option<LampState> {
        let (first_s, last_s, cycles) = self.train.filter(|t| t.2 >= MIN_CYCLES)?;
        let state = LampState::Flashing { cycles, seconds: last_s - first_s };
        state.rate_per_min().filter(|rate| *rate <= FLASH_MAX_PER_MIN).map(|_| state)
    }

    /// What the lamp shows now; `None` while that is not determined.
    pub fn shows(&self, now_s: f64) -> Option<LampState> {
        let since = self.since?;
        let held = now_s - since.first_s >= LAMP_HOLD_S;
        self.shown.filter(|_| held || self.flash().is_some())
    }

    /// Begins anew after a stretch in which edges may be missing.
    pub fn forget(&mut self) {
        *self = LampDecoder::default();
    }
}
