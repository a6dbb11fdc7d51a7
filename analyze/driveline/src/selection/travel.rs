//! Motion since the motor stopped: did the sleeve get what it waits for?

use super::table::Row;
use crate::switches::Motion;
use crate::vehicle::{Coupling, Limits};

/// What a change waits for once the motor has stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// The front and rear outputs turning against each other: teeth meet gaps.
    FrontRear,
    /// The input turning against the outputs (range changes, in and out of neutral).
    InputOutput,
    /// Torque reversals: a loaded sleeve does not come out.
    Reversal,
    /// Not known where the change began, so any of them.
    Any,
}

impl Need {
    /// What the change from one row to another waits for.
    pub(super) fn of(from: Option<&Row>, to: &Row) -> Need {
        let Some(from) = from else { return Need::Any };
        let neutral = from.coupling == Coupling::Neutral || to.coupling == Coupling::Neutral;
        if from.range != to.range || neutral {
            return Need::InputOutput;
        }
        match (from.coupling, to.coupling) {
            (_, Coupling::Locked) => Need::FrontRear,
            (Coupling::Locked, _) => Need::Reversal,
            (_, Coupling::Differential) => Need::FrontRear,
            _ => Need::Reversal,
        }
    }

    /// What is counted of it, in words.
    pub fn words(&self) -> &'static str {
        match self {
            Need::FrontRear => "turns of front against rear",
            Need::InputOutput => "turns of input against outputs",
            Need::Reversal => "torque reversals",
            Need::Any => "turns of front against rear, or torque reversals",
        }
    }

    /// What to do so that the sleeve gets what it waits for.
    pub fn next_step(&self) -> &'static str {
        match self {
            Need::FrontRear => {
                "keep the mode requested, roll to and fro, and drive gentle circles \
                both ways on loose ground at walking pace"
            }
            Need::InputOutput => {
                "keep the mode requested at standstill, let the input turn once \
                (clutch or gearbox), and roll to and fro"
            }
            Need::Reversal => {
                "keep the mode requested and alternate drive and coast a few times \
                at walking pace"
            }
            Need::Any => {
                "keep the mode requested, roll to and fro, alternate drive and coast, and \
                drive gentle circles both ways on loose ground at walking pace"
            }
        }
    }
}

/// Largest swing of a quantity; begins anew without loss when its zero moves.
#[derive(Debug, Clone, Copy, Default)]
struct Swing {
    range: Option<(f64, f64)>,
    largest: f64,
}

impl Swing {
    fn push(&mut self, x: f64) {
        if !x.is_finite() {
            return;
        }
        let (low, high) = self.range.map_or((x, x), |(l, h)| (l.min(x), h.max(x)));
        self.range = Some((low, high));
        self.largest = self.largest.max(high - low);
    }
}

/// Motion since the motor stopped.
///
/// Angles are counted as the largest swing of a relative angle, not as its path: counting to
/// whole pulses makes the angle tremble, and a path would add that up.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Travel {
    front_rear: Swing,
    input_output: Swing,
    /// Samples that carried the relative angle of the outputs.
    angles: u32,
    torque: i8,
    reversals: u32,
}

impl Travel {
    pub fn push(&mut self, m: &Motion, ratio: f64) {
        if let (Some(front), Some(rear)) = (m.front_turn, m.rear_turn) {
            self.front_rear.push(front - rear);
            self.angles = self.angles.saturating_add(1);
            if let Some(input) = m.input_turn {
                self.input_output.push(input / ratio - (front + rear) / 2.0);
            }
        }
        if let Some(sign) = m.torque_sign.map(i8::signum).filter(|s| *s != 0) {
            self.reversals += u32::from(self.torque == -sign);
            self.torque = sign;
        }
    }

    /// The counters of turns begin anew.
    pub fn rebase(&mut self) {
        self.front_rear.range = None;
        self.input_output.range = None;
    }

    /// Turns of the front-rear relative angle, when it was measured.
    pub fn turns(&self) -> Option<f64> {
        (self.angles >= 2).then_some(self.front_rear.largest)
    }

    /// How much there was of what a change needs, where it was measured.
    pub fn of(&self, need: Need) -> Option<f64> {
        match need {
            Need::FrontRear | Need::Any => self.turns(),
            Need::InputOutput => self.input_output.range.map(|_| self.input_output.largest),
            Need::Reversal => Some(f64::from(self.reversals)),
        }
    }

    /// Torque reversals.
    pub fn reversals(&self) -> u32 {
        self.reversals
    }

    /// Whether the sleeve got so much of what it waits for that waiting is no excuse any more.
    pub fn is_decisive(&self, need: Need, limits: &Limits, several_ranges: bool) -> bool {
        let turns = limits.stuck_after_turns + limits.backlash_turn;
        let front_rear = self.front_rear.largest >= turns;
        let input_output = self.input_output.largest >= turns;
        let reversed = self.reversals >= 2;
        match need {
            Need::FrontRear => front_rear,
            Need::InputOutput => input_output,
            Need::Reversal => reversed,
            Need::Any => front_rear && reversed && (input_output || !several_ranges),
        }
    }
}
