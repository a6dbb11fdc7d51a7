//! Turns of one place in a step, and what is left open about them.

use crate::vehicle::Place;

/// Turns of one sensor in a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turn {
    /// Turns, without direction.
    pub turns: f64,
    /// Standard uncertainty of the phase at the start, turns.
    pub u_start: f64,
    /// The same at the end.
    pub u_end: f64,
    /// No edge around either end: it stood still, or its sensor is silent.
    pub still: bool,
    /// Turns from one counted edge to the next; 0 where a unit sends its turns.
    pub edge: f64,
    /// What a unit that sends its own numbers leaves open; None for edges counted by a board.
    pub sent: Option<Sent>,
}

/// What a unit leaves open about turns that it sends, in turns.
///
/// Ends of neighbouring steps cancel; this does not, so it is kept beside the phases of the ends.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sent {
    /// The unit; what it does wrong, it does alike at all its places.
    pub unit: u8,
    /// Rounding to the resolution: standard uncertainty, alike in all steps, of this place alone.
    pub rounding: f64,
    /// Cutting off instead of rounding, alike in all steps and at all places of the unit.
    pub truncation: f64,
    /// One standard uncertainty more of delay, at all places of the unit.
    pub delay: f64,
    /// Variance of what happens between samples, turns squared; each step has its own.
    pub between: f64,
    /// Turns that may have happened under the floor speed, under which the unit sends zero.
    pub hidden: f64,
}

impl Turn {
    /// Turns of what turns `factor` times as fast.
    pub fn times(self, factor: f64) -> Turn {
        Turn {
            turns: self.turns * factor,
            u_start: self.u_start * factor,
            u_end: self.u_end * factor,
            still: self.still,
            edge: self.edge * factor,
            sent: self.sent.map(|s| s.times(factor)),
        }
    }

    /// Mean of the two wheels of an axle; it stands still when both do.
    pub fn mean(left: Turn, right: Turn) -> Turn {
        let sent = match (left.sent, right.sent) {
            (Some(l), Some(r)) => Some(Sent {
                unit: l.unit,
                rounding: l.rounding.hypot(r.rounding) / 2.0,
                truncation: (l.truncation + r.truncation) / 2.0,
                delay: (l.delay + r.delay) / 2.0,
                between: (l.between + r.between) / 4.0,
                hidden: (l.hidden + r.hidden) / 2.0,
            }),
            (one, other) => one.or(other).map(|s| s.times(0.5)),
        };
        Turn {
            turns: (left.turns + right.turns) / 2.0,
            u_start: left.u_start.hypot(right.u_start) / 2.0,
            u_end: left.u_end.hypot(right.u_end) / 2.0,
            still: left.still && right.still,
            edge: left.edge.hypot(right.edge) / 2.0,
            sent,
        }
    }

    /// Turns that may have happened unseen, under the floor speed of a unit.
    pub fn hidden(&self) -> f64 {
        self.sent.map_or(0.0, |s| s.hidden)
    }

    /// True unless its unit said zero for a part of the time while it turned for another part: what
    /// it hid under its floor cannot be given back.
    pub fn is_whole(&self) -> bool {
        self.still || self.hidden() == 0.0
    }

    /// True where an end of it lies in a stretch in which nobody saw edges pass: how much it turned
    /// in all is known from the count after it, when it turned is not.
    pub fn is_unseen(&self) -> bool {
        self.sent.is_none() && self.u_start.max(self.u_end) > self.edge
    }

    /// Variance of what happened between samples.
    pub fn between(&self) -> f64 {
        self.sent.map_or(0.0, |s| s.between)
    }
}

impl Sent {
    fn times(self, factor: f64) -> Sent {
        Sent {
            unit: self.unit,
            rounding: self.rounding * factor,
            truncation: self.truncation * factor,
            delay: self.delay * factor,
            between: self.between * factor * factor,
            hidden: self.hidden * factor,
        }
    }
}

/// Ways in which units can move a difference of turns, see [`moved`].
pub const MOVED: usize = 6;

/// The component that each of [`MOVED`] is reported under.
pub const MOVED_NAMES: [&str; MOVED] = [
    "signal resolution",
    "signal resolution",
    "signal resolution",
    "signal resolution",
    "signal delay",
    "signal delay",
];

/// By how much `a - b` moves when what their units leave open moves by one standard uncertainty:
/// rounding of `a`, of `b`, cutting off by the unit of `a`, of `b`, its delay, likewise. What one
/// unit does alike at both places cancels.
pub fn moved(a: &Turn, b: &Turn) -> [f64; MOVED] {
    let (x, y) = (a.sent.unwrap_or_default(), b.sent.unwrap_or_default());
    let same = a.sent.is_some() && b.sent.is_some() && x.unit == y.unit;
    let shared = |x: f64, y: f64| if same { (x - y, 0.0) } else { (x, -y) };
    let (cut_a, cut_b) = shared(x.truncation, y.truncation);
    let (late_a, late_b) = shared(x.delay, y.delay);
    [x.rounding, -y.rounding, cut_a, cut_b, late_a, late_b]
}

/// What units leave open over a stretch: steps add up here as their turns do.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Opens {
    /// How much front less rear turns move, see [`moved`].
    pub difference: [f64; MOVED],
    /// How much input (over range ratio) less rear turns move.
    pub input: [f64; MOVED],
    /// Variance of what happened between samples, of front less rear turns.
    pub between: f64,
    /// The same of input less rear turns.
    pub input_between: f64,
}

impl Opens {
    /// Of one step.
    pub fn of(front: &Turn, rear: &Turn, input: Option<Turn>) -> Self {
        Opens {
            difference: moved(front, rear),
            input: input.map_or([0.0; MOVED], |i| moved(&i, rear)),
            between: front.between() + rear.between(),
            input_between: input.map_or(0.0, |i| i.between()) + rear.between(),
        }
    }

    /// Standard uncertainty of front less rear turns from all of it.
    pub fn difference_u(&self) -> f64 {
        (self.difference.iter().map(|m| m * m).sum::<f64>() + self.between).sqrt()
    }

    /// Takes another stretch in.
    pub fn add(&mut self, other: &Opens) {
        self.difference.iter_mut().zip(other.difference).for_each(|(a, b)| *a += b);
        self.input.iter_mut().zip(other.input).for_each(|(a, b)| *a += b);
        self.between += other.between;
        self.input_between += other.input_between;
    }
}

/// Number of places at which turns can be measured.
pub const PLACES: usize = 9;

/// Turns by [`Place`]; None where nothing measures, or not yet.
pub type Turns = [Option<Turn>; PLACES];

/// Turns at a place.
pub fn at(turns: &Turns, place: Place) -> Option<Turn> {
    turns[place as usize]
}
