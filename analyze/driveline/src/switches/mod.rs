//! From raw levels of the pulse board to named switches: settled states, lamps, what was missed.
//!
//! The board sends raw edges with the tick of the edge and a running count per input, and repeats
//! all levels four times a second. In each window of 100 ms it sends the first four edges of an
//! input at once and the last of the others at the end; what it passes over in between is in the
//! count: bounce, chatter, or a lamp that is dimmed. From these this module makes, for every
//! declared switch, *settled* changes, and keeps the first edge beside the last one, so that a
//! debounce never adds delay to a reported latency. The counts tell when an edge was missed; the
//! reminders bound when.
//!
//! Constants and their sources:
//!
//! - [`SETTLE_S`], 20 ms: design value 10 to 20 ms, common practice; Ganssle, "A Guide to
//!   Debouncing": worst of the switches measured 6.2 ms, one outlier 157 ms (from memory).
//! - [`CHATTER_S`], 0.2 s: common practice; longer than any bounce, so it is not one.
//! - [`DIM_GAP_S`], 40 ms: dark gaps shorter than one period of 25 Hz are dimming, common practice.
//! - [`LAMP_HOLD_S`], 1.5 s: UN R48 para 6.5.9 (from memory): a direction indicator is dark for the
//!   first time at most 1.5 s after it was lit.
//! - [`WINDOW_S`], 100 ms: rule of the pulse board.
//! - [`MIN_CYCLES`], 3: SAE J945/J590 via FMVSS 108: average of at least three consecutive cycles.
//!
//! Feed events in time order ([`InOrder`] makes it from the order of the line); a lost notice goes
//! before the sentence that revealed the loss.
//! Memory is a few words per switch, however long the drive is.

mod window;

mod lamp;
mod order;

mod line;
mod told;

pub use lamp::{LampDecoder, LampState};
pub use line::LineTally;
pub use order::InOrder;
pub use window::WINDOW_S;

use crate::vehicle::{Active, LINES_MAX, Level, Role, Switch};
use line::Line;
use told::ToldLine;

/// Calm time after which a switch is settled, in seconds.
pub const SETTLE_S: f64 = 0.020;
/// A switch that has not settled for this long chatters, in seconds.
pub const CHATTER_S: f64 = 0.2;
/// Dark gaps of a lamp shorter than this are dimming, in seconds.
pub const DIM_GAP_S: f64 = 0.040;
/// A lamp that holds for this long is off or steady, in seconds.
pub const LAMP_HOLD_S: f64 = 1.5;
/// Least number of whole cycles for which a lamp is called flashing.
pub const MIN_CYCLES: u32 = 3;
/// Flashes a minute that no indicator lamp exceeds: five a second, where turn signals keep to 60 to
/// 120 a minute (UN R6, from memory).
pub const FLASH_MAX_PER_MIN: f64 = 300.0;
/// Switch inputs that a board has.
pub const INPUTS: usize = 16;

/// A switch edge as the board sent it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelChange {
    /// Time of the edge, in seconds.
    pub time_s: f64,
    /// Switch input, 1 to 16.
    pub input: u8,
    /// Electrical level after the edge: true is high.
    pub level: bool,
    /// Running edge count of that input, modulo 65536.
    pub edge_count: u16,
    /// Raw record that carried it.
    pub record: u64,
}

/// The levels of all inputs at one instant (bit 0 is input 1; set is high).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Levels {
    /// Time at which they were read, in seconds.
    pub time_s: f64,
    /// Electrical levels.
    pub mask: u16,
    /// Raw record that carried them.
    pub record: u64,
}

/// A stretch in which edges may be missing: lost sentences, or edges that the board did not send.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// Time of the last sentence before it, in seconds.
    pub from_s: f64,
    /// Time of the first sentence after it, in seconds.
    pub to_s: f64,
    /// Raw record that revealed it.
    pub record: u64,
}

/// State of a switch as a frame on a bus told it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// Time of the frame, in seconds.
    pub time_s: f64,
    /// Number of the switch among those on a bus, in the order of the vehicle's signals.
    pub state: usize,
    /// On, off, or not known.
    pub on: Option<bool>,
    /// Raw record that carried it.
    pub record: u64,
}

/// How the outputs have turned, and whatever else is known about motion at one instant.
///
/// Turns are cumulative and in any sense of rotation as long as front and rear share it; they
/// may start anew after a [`Event::Reset`].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Motion {
    /// Time, in seconds.
    pub time_s: f64,
    /// Turns of the front output.
    pub front_turn: Option<f64>,
    /// Turns of the rear output.
    pub rear_turn: Option<f64>,
    /// Turns of the case input.
    pub input_turn: Option<f64>,
    /// Whether the vehicle moves.
    pub moving: Option<bool>,
    /// How long a vehicle that drives off gently may have moved before an output gave an edge, in
    /// seconds.
    pub unseen_s: f64,
    /// Speed in km/h, for interlocks.
    pub speed_kmh: Option<f64>,
    /// Sign of the drive torque: 1 drive, -1 coast, 0 neither.
    pub torque_sign: Option<i8>,
}

/// Anything that is fed to [`Switches`] or to the selections, in time order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Event {
    /// A switch edge.
    Change(LevelChange),
    /// A reminder of all levels.
    Levels(Levels),
    /// A state on a bus.
    Told(Told),
    /// Sentences were lost between two times.
    Lost(Gap),
    /// The board started anew; between the two times nothing was seen and counts begin again.
    Reset(Gap),
    /// Motion of the outputs; [`Switches`] takes only the time from it.
    Motion(Motion),
}

impl Event {
    /// Time of the event, in seconds (for a gap its beginning).
    pub fn time_s(&self) -> f64 {
        match self {
            Event::Change(c) => c.time_s,
            Event::Levels(l) => l.time_s,
            Event::Told(t) => t.time_s,
            Event::Lost(g) | Event::Reset(g) => g.from_s,
            Event::Motion(m) => m.time_s,
        }
    }
}

/// When a level changed: the first edge, the last one, and bounds when edges were missed.
///
/// `earliest_s <= first_s <= settled_s <= latest_s`; without a missed edge the outer bounds are
/// equal to the inner times.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// The change did not begin before this.
    pub earliest_s: f64,
    /// First edge that was seen (if none was: when the new level was first read).
    pub first_s: f64,
    /// Last edge that was seen; the calm time after it is not counted.
    pub settled_s: f64,
    /// The change was over by this.
    pub latest_s: f64,
}

impl Moment {
    /// A change of one clean edge.
    pub fn at(time_s: f64) -> Self {
        Moment { earliest_s: time_s, first_s: time_s, settled_s: time_s, latest_s: time_s }
    }

    /// True when no edge of it was missed.
    pub fn is_certain(&self) -> bool {
        self.earliest_s == self.first_s && self.latest_s == self.settled_s
    }

    /// The moment at which both of two changes have happened.
    pub fn and(&self, other: &Moment) -> Moment {
        Moment {
            earliest_s: self.earliest_s.max(other.earliest_s),
            first_s: self.first_s.max(other.first_s),
            settled_s: self.settled_s.max(other.settled_s),
            latest_s: self.latest_s.max(other.latest_s),
        }
    }
}

/// What a switch did.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Action {
    /// It settled at a level. `was` is the level before (also across a gap), `None` at the start.
    Settled {
        /// Level before, as far as known.
        was: Option<Level>,
        /// Level now.
        level: Level,
    },
    /// It left its level and came back to it within the calm time: a drop-out.
    Blip,
    /// It does not settle; its level is unknown until it does.
    Chatter,
    /// Its level is unknown because the board started anew.
    Unknown,
    /// A lamp shows this, since the moment's first edge.
    Lamp(LampState),
}

/// Something that happened to one switch, told once it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Index of the switch in the vehicle's list.
    pub switch: usize,
    /// What it did.
    pub action: Action,
    /// When.
    pub moment: Moment,
    /// Edges that belong to it, as far as known.
    pub edges: u32,
    /// First and last raw record of it.
    pub records: (u64, u64),
}

/// The settled state of all switches; bit `n` is switch `n` of the vehicle's lines: those of the
/// board in the order of the file, then those on a bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Picture {
    /// Switches that are on.
    pub on: u32,
    /// Switches whose settled level is known.
    pub known: u32,
    /// Switches with an edge less than the calm time ago; `on` has their level before.
    pub moving: u32,
    /// Switches that may have changed unseen since they were last told.
    pub doubt: u32,
}

/// All declared switches, fed with what the board sent.
///
/// ```
/// use wheelwitness_driveline::switches::*;
/// use wheelwitness_driveline::vehicle::{Active, Level, Role, Switch};
/// let ground_contact =
///     Switch { name: "lock".into(), input: 3, role: Role::Position, active: Active::Low };
/// let mut switches = Switches::new(&[ground_contact], 0);
/// let mut steps = Vec::new();
/// let high = |time_s| Event::Levels(Levels { time_s, mask: 0b100, record: 0 });
/// let edge = |time_s, level, edge_count| {
///     Event::Change(LevelChange { time_s, input: 3, level, edge_count, record: 1 })
/// };
/// // Closed at 1.000 s with one bounce of 2 ms; told at the next event after 20 ms of calm.
/// for event in [high(0.5), edge(1.0, false, 1), edge(1.001, true, 2), edge(1.002, false, 3)] {
///     switches.push(&event, &mut |s| steps.push(s));
/// }
/// switches.advance(1.1, &mut |s| steps.push(s));
/// let closed = steps[1];
/// assert_eq!(closed.action, Action::Settled { was: Some(Level::Off), level: Level::On });
/// assert_eq!((closed.moment.first_s, closed.moment.settled_s), (1.0, 1.002));
/// ```
#[derive(Debug, Clone)]
pub struct Switches {
    lines: Vec<Line>,
    states: Vec<ToldLine>,
    now_s: f64,
}

impl Switches {
    /// Switches of a vehicle, all of unknown level: inputs of the board, and so many on a bus.
    pub fn new(switches: &[Switch], states: usize) -> Self {
        let line = |s: &Switch| Line::new(s.input, s.active == Active::High, s.role == Role::Lamp);
        Switches {
            lines: switches.iter().take(INPUTS).map(line).collect(),
            states: vec![ToldLine::default(); states.min(LINES_MAX - INPUTS)],
            now_s: f64::NEG_INFINITY,
        }
    }

    /// Takes one event and tells everything that has become known by it.
    pub fn push(&mut self, event: &Event, tell: &mut impl FnMut(Step)) {
        if !event.time_s().is_finite() {
            return;
        }
        self.advance(event.time_s(), tell);
        if let Event::Told(t) = event {
            let switch = self.lines.len() + t.state;
            if let Some(line) = self.states.get_mut(t.state) {
                line.told(t, &mut |action, moment, edges, records| {
                    tell(Step { switch, action, moment, edges, records });
                });
            }
            return;
        }
        for (switch, line) in self.lines.iter_mut().enumerate() {
            let mut tell = |action, moment, edges, records| {
                tell(Step { switch, action, moment, edges, records });
            };
            match event {
                Event::Change(c) => line.change(c, &mut tell),
                Event::Levels(l) => line.reminder(l, &mut tell),
                Event::Lost(gap) => line.gap(gap),
                Event::Reset(gap) => line.reset(gap, &mut tell),
                Event::Motion(_) | Event::Told(_) => {}
            }
        }
    }

    /// Lets time pass without an event.
    pub fn advance(&mut self, now_s: f64, tell: &mut impl FnMut(Step)) {
        if now_s <= self.now_s {
            return;
        }
        self.now_s = now_s;
        self.states.iter_mut().for_each(|line| line.advance(now_s));
        for (switch, line) in self.lines.iter_mut().enumerate() {
            line.advance(now_s, &mut |action, moment, edges, records| {
                tell(Step { switch, action, moment, edges, records });
            });
        }
    }

    /// The settled state now.
    pub fn picture(&self) -> Picture {
        let mut picture = Picture::default();
        for (n, line) in self.lines.iter().enumerate() {
            let bit = |set: bool| u32::from(set) << n;
            picture.on |= bit(line.settled() == Some(true));
            picture.known |= bit(line.settled().is_some());
            picture.moving |= bit(line.is_moving());
            picture.doubt |= bit(line.is_in_doubt());
        }
        for (k, line) in self.states.iter().enumerate() {
            let bit = |set: bool| u32::from(set) << (self.lines.len() + k);
            picture.on |= bit(line.settled() == Some(true));
            picture.known |= bit(line.settled().is_some());
            picture.doubt |= bit(line.is_in_doubt());
        }
        picture
    }

    /// What was counted on each switch, in the order of the vehicle's lines.
    pub fn tallies(&self) -> Vec<LineTally> {
        let board = self.lines.iter().map(Line::tally);
        board.chain(self.states.iter().map(ToldLine::tally)).collect()
    }
}

#[cfg(test)]
mod tests;
