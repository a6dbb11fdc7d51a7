//! From cumulative edge counts to turns: edges, phases, steps.
//!
//! A board reports, at each latched tick, how many edges a channel has seen so far and how long
//! ago the last one came. Each report therefore pins one edge in time to a tick, whatever the
//! report rate is. The *phase* of a sensor at any instant is interpolated between the edges
//! around it; a *step* holds the turns of every sensor between two instants, and since both ends
//! are phases, the turns of consecutive steps add up without accumulating error.

use crate::rate::{RateTrack, Rated};
use crate::signal::Said;
use crate::turn::{PLACES, Turn, Turns};
use crate::vehicle::Place;
use std::collections::VecDeque;

/// Length of a step, microseconds.
pub const STEP_US: i64 = 500_000;

/// Without an edge for this long, a sensor counts as standing still around an instant.
pub const STILL_US: i64 = 1_000_000;

/// Sensors are compared only when both ends of a step are at most this far from an edge; beyond,
/// a 16-bit counter may have wrapped unseen (65,536 edges at 700 per second are 93 s).
pub const BREAK_US: i64 = 20_000_000;

/// A channel that was not reported for longer than this was not watched: it did not stand still,
/// nobody looked.
const WATCHED_US: i64 = 300_000;

/// An age that is not told is at least this, microseconds.
const AGE_END_US: i64 = 1 << 16;

/// No sensor of a road vehicle makes more edges a second than this.
pub const EDGES_PER_S_MAX: f64 = 20_000.0;

/// What a board said about one channel at a tick.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Count {
    /// Edges so far, modulo 65,536.
    pub count: u16,
    /// Age of the last edge at the tick, microseconds; None when older than 16 bits hold.
    pub age_us: Option<u16>,
}

/// One edge, pinned in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Edge {
    /// Board time, microseconds, unwrapped.
    pub time_us: i64,
    /// Number of the edge since the channel was first seen, in counter units.
    pub index: i64,
}

/// A channel's counter, unwrapped.
#[derive(Debug, Clone, Default)]
pub struct Counter {
    last: Option<(i64, u16, i64)>,
}

/// What a report adds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counted {
    /// Nothing new.
    Same,
    /// New edges; the last one is pinned in time.
    Edge(Edge),
    /// New edges, none of them pinned: at this instant the last of them had been.
    Unpinned(Edge),
    /// More edges than any sensor makes: not believed, the count is taken as a new beginning.
    Implausible,
}

impl Counter {
    /// Edges since the channel was first seen; None before.
    pub fn index(&self) -> Option<i64> {
        self.last.map(|(_, _, index)| index)
    }

    /// Takes a report at a board time (microseconds, ascending).
    ///
    /// ```
    /// use wheelwitness_driveline::pulse::{Count, Counted, Counter, Edge};
    /// let mut c = Counter::default();
    /// c.observe(0, Count { count: 65_534, age_us: None });
    /// let wrapped = c.observe(10_000, Count { count: 1, age_us: Some(400) });
    /// assert_eq!(wrapped, Counted::Edge(Edge { time_us: 9_600, index: 3 }));
    /// ```
    pub fn observe(&mut self, tick_us: i64, report: Count) -> Counted {
        let Some((last_us, last_count, index)) = self.last else {
            self.last = Some((tick_us, report.count, 0));
            return match report.age_us {
                Some(age) => Counted::Edge(Edge { time_us: tick_us - i64::from(age), index: 0 }),
                None => Counted::Same,
            };
        };
        let new = i64::from(report.count.wrapping_sub(last_count));
        let room = EDGES_PER_S_MAX * (tick_us - last_us).max(1_000) as f64 * 1e-6;
        let index = index + new;
        self.last = Some((tick_us, report.count, index));
        match (new, report.age_us) {
            (0, _) => Counted::Same,
            (n, _) if n as f64 > room => Counted::Implausible,
            (_, Some(age)) => Counted::Edge(Edge { time_us: tick_us - i64::from(age), index }),
            (_, None) => {
                let time_us = (tick_us - AGE_END_US).max(last_us);
                Counted::Unpinned(Edge { time_us, index })
            }
        }
    }
}

/// What a track knows: an edge, or where a sensor stood since an edge that nobody pinned.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Mark {
    edge: Edge,
    pinned: bool,
}

/// Where an edge sits, in edges.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Position {
    at: f64,
    /// Standard uncertainty, of this edge by itself.
    own_u: f64,
    /// Standard uncertainty that edges near it share.
    alike_u: f64,
}

/// Where a sensor stands at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Phase {
    turns: f64,
    u: f64,
    still: bool,
    /// False before the first edge.
    begun: bool,
}

/// Where the teeth of a sensor sit.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Pattern {
    /// Position error of each tooth, in edges, mean zero; empty when not learned.
    pub errors: Vec<f64>,
    /// Where the edges' numbers began to stand for other teeth, by time.
    pub renumbered: Vec<Renumbered>,
}

impl Pattern {
    /// Position error of an edge, in edges; the root mean square of all where nobody knows which
    /// tooth made it.
    fn error_of(&self, edge: &Edge) -> Result<f64, f64> {
        let teeth = self.errors.len();
        if teeth == 0 {
            return Ok(0.0);
        }
        let moves = self.renumbered.partition_point(|r| r.after_us < edge.time_us);
        let order =
            moves.checked_sub(1).map_or(Some(Order::default()), |k| self.renumbered[k].order);
        let squares = || self.errors.iter().map(|e| e * e).sum::<f64>();
        let order = order.ok_or_else(|| (squares() / teeth as f64).sqrt())?;
        Ok(order.sign() * self.errors[order.tooth_of(edge.index, teeth)])
    }
}

/// From some edge on, the numbers of a sensor's edges stand for other teeth of its pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Renumbered {
    /// Board time of the last edge before, microseconds, unwrapped.
    pub after_us: i64,
    /// Which tooth makes which edge from there on; None where that is not known.
    pub order: Option<Order>,
}

/// Which tooth makes which edge.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Order {
    /// Number of an edge that the first tooth makes.
    pub first: usize,
    /// The teeth pass in the other direction than those of the pattern did.
    pub backwards: bool,
}

impl Order {
    /// The tooth, from 0 on, that makes the edge of this number.
    pub fn tooth_of(self, index: i64, teeth: usize) -> usize {
        let past = index - self.first as i64;
        (if self.backwards { -past } else { past }).rem_euclid(teeth as i64) as usize
    }

    /// Number of an edge that a tooth makes.
    pub(crate) fn edge_of(self, tooth: usize, teeth: usize) -> usize {
        let on = if self.backwards { teeth - tooth % teeth } else { tooth };
        (self.first + on) % teeth
    }

    /// A tooth that comes late in one direction comes early in the other.
    pub(crate) fn sign(self) -> f64 {
        if self.backwards { -1.0 } else { 1.0 }
    }
}

/// What the stepper must know of a sensor.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensing {
    /// Where it sits.
    pub place: Place,
    /// Board channel, 1 to 8.
    pub channel: u8,
    /// Counted edges per turn.
    pub edges_per_turn: u32,
    /// Where its teeth sit; empty when not learned.
    pub pattern: Pattern,
    /// Standard uncertainty of a tooth's position after that, in edges.
    pub tooth_u: f64,
}

#[derive(Debug, Clone)]
struct Track {
    sensing: Sensing,
    counter: Counter,
    marks: VecDeque<Mark>,
    at_boundary: Option<Phase>,
    /// Since when it is watched without an edge before; None once edges went by uncounted.
    idle_from_us: Option<i64>,
    reported_us: Option<i64>,
    unwatched: Vec<(i64, i64)>,
}

/// All sensors between two instants of one board.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Start, board microseconds, unwrapped.
    pub start_us: i64,
    /// End.
    pub end_us: i64,
    /// First and last raw record that carried it.
    pub records: (u64, u64),
    /// Turns by [`Place`]; None where there is no sensor, or none yet.
    pub turn: Turns,
}

impl Step {
    /// Turns of the sensor at a place.
    pub fn at(&self, place: Place) -> Option<Turn> {
        self.turn[place as usize]
    }

    /// Length in seconds.
    pub fn seconds(&self) -> f64 {
        (self.end_us - self.start_us) as f64 * 1e-6
    }
}

/// What one place turned in one step, held by folds that look at several steps in a row.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Held {
    pub start_us: i64,
    pub end_us: i64,
    pub records: (u64, u64),
    pub turn: Turn,
}

impl Held {
    /// A place's turns with the stretch and the records of their step.
    pub fn of(step: &Step, turn: Turn) -> Self {
        Held { start_us: step.start_us, end_us: step.end_us, records: step.records, turn }
    }
}

/// Folds counts, and what units send, into steps. Memory: the edges of the last two seconds.
#[derive(Debug, Clone)]
pub struct Stepper {
    tracks: Vec<Track>,
    rates: Vec<RateTrack>,
    counted_us: i64,
    next_us: Option<i64>,
    pending: VecDeque<(i64, u64)>,
    last_record: u64,
    newest_us: i64,
    hold_until_us: i64,
}

impl Stepper {
    /// A stepper for these pulse sensors and signals.
    pub fn new(sensors: &[Sensing], rated: &[Rated]) -> Self {
        let track = |s: &Sensing| Track {
            sensing: s.clone(),
            counter: Counter::default(),
            marks: VecDeque::new(),
            at_boundary: None,
            idle_from_us: None,
            reported_us: None,
            unwatched: Vec::new(),
        };
        Stepper {
            tracks: sensors.iter().map(track).collect(),
            rates: rated.iter().map(RateTrack::new).collect(),
            counted_us: i64::MIN,
            next_us: None,
            pending: VecDeque::new(),
            last_record: 0,
            newest_us: i64::MIN,
            hold_until_us: i64::MIN,
        }
    }

    /// Takes one sentence's four counts, ticks ascending; hands out the steps that are complete.
    pub fn push(
        &mut self,
        tick_us: i64,
        record: u64,
        first_channel: u8,
        counts: &[Count; 4],
        out: &mut impl FnMut(&Step),
    ) {
        if self.counted_us != i64::MIN && tick_us - self.counted_us > BREAK_US {
            self.restart(out);
        }
        if self.counted_us != i64::MIN && tick_us - self.counted_us > WATCHED_US {
            // After a gap the edges of every channel must first be seen again.
            self.hold_until_us = tick_us + STILL_US;
        }
        self.counted_us = self.counted_us.max(tick_us);
        self.newest_us = self.newest_us.max(tick_us);
        self.note_boundaries(tick_us, record);
        for track in &mut self.tracks {
            let slot = usize::from(track.sensing.channel.wrapping_sub(first_channel));
            let Some(report) = counts.get(slot) else { continue };
            track.watched(tick_us);
            match track.counter.observe(tick_us, *report) {
                Counted::Edge(edge) => track.marks.push_back(Mark { edge, pinned: true }),
                Counted::Unpinned(edge) => track.marks.push_back(Mark { edge, pinned: false }),
                Counted::Implausible => {
                    track.marks.clear();
                    track.at_boundary = None;
                    track.idle_from_us = None;
                }
                Counted::Same => {}
            }
        }
        self.emit(STILL_US, out);
    }

    /// Takes what a frame said about one of the rated places (its number in the list), or that it
    /// said nothing that counts; times ascending. Hands out the steps that are complete.
    pub fn hear(
        &mut self,
        at_us: i64,
        record: u64,
        rated: usize,
        said: Option<Said>,
        out: &mut impl FnMut(&Step),
    ) {
        self.newest_us = self.newest_us.max(at_us);
        self.note_boundaries(at_us, record);
        if let Some(track) = self.rates.get_mut(rated) {
            track.push(at_us, said);
        }
        self.emit(STILL_US, out);
    }

    /// Ends the run of counts: a board reset, a gap too long to count across, or the end.
    pub fn restart(&mut self, out: &mut impl FnMut(&Step)) {
        self.emit(0, out);
        let sensors: Vec<Sensing> = self.tracks.iter().map(|t| t.sensing.clone()).collect();
        let rated: Vec<Rated> = self.rates.iter().map(|r| r.rated().clone()).collect();
        *self = Stepper::new(&sensors, &rated);
    }

    fn note_boundaries(&mut self, tick_us: i64, record: u64) {
        let next = self.next_us.get_or_insert(tick_us);
        while *next <= tick_us {
            self.pending.push_back((*next, record));
            *next += STEP_US;
        }
    }

    fn emit(&mut self, hold_us: i64, out: &mut impl FnMut(&Step)) {
        let slow = self.rates.iter().map(RateTrack::hold_us).max().unwrap_or(0);
        let hold_us = if hold_us > 0 { hold_us.max(slow) } else { 0 };
        while let Some(&(boundary_us, record)) = self.pending.front() {
            let waiting = hold_us > 0 && self.newest_us < self.hold_until_us;
            if waiting || self.newest_us - boundary_us < hold_us {
                return;
            }
            self.pending.pop_front();
            let mut turn = [None; PLACES];
            for track in &mut self.tracks {
                let phase = track.phase(boundary_us);
                turn[track.sensing.place as usize] = track.turn_to(phase);
                track.at_boundary = phase;
                track.forget_before(boundary_us);
            }
            for track in &mut self.rates {
                let instant = track.instant(boundary_us);
                turn[track.rated().place as usize] = track.turn_to(instant);
                track.at_boundary = instant;
                track.forget_before(boundary_us);
            }
            if turn.iter().any(Option::is_some) {
                let start_us = boundary_us - STEP_US;
                out(&Step {
                    start_us,
                    end_us: boundary_us,
                    records: (self.last_record, record),
                    turn,
                });
            }
            self.last_record = record;
        }
    }
}

impl Track {
    fn watched(&mut self, tick_us: i64) {
        match self.reported_us.replace(tick_us) {
            Some(before) if tick_us - before > WATCHED_US => {
                self.unwatched.push((before, tick_us));
            }
            Some(_) => {}
            None => self.idle_from_us = Some(tick_us),
        }
    }

    /// True where the channel was watched at an instant that no known edge came before, and had not
    /// yet given its first one: a sensor that is blind at low speed, or a vehicle that has not
    /// moved off.
    fn is_before_first_edge(&self, at_us: i64) -> bool {
        let Some(from_us) = self.idle_from_us.filter(|from| at_us >= *from) else { return false };
        match self.marks.front().map(|m| m.edge) {
            Some(first) => first.index == 1 && first.time_us - from_us > STILL_US,
            None => self.counter.index() == Some(0),
        }
    }

    fn was_watched(&self, at_us: i64) -> bool {
        let since = self.reported_us.is_some_and(|r| at_us <= r + WATCHED_US);
        since && !self.unwatched.iter().any(|(from, to)| (*from..*to).contains(&at_us))
    }

    /// Position of an edge, and what is open about it: by itself, and alike for edges near it. A
    /// sensor whose last edge nobody pinned stood anywhere between that one and the next.
    ///
    /// About places that were learned each edge scatters by itself. Where none were, or nobody
    /// knows which tooth made the edge, a ring out of round moves neighbours together.
    fn position(&self, Mark { edge, pinned }: &Mark) -> Position {
        let (at, tooth_u) = (edge.index as f64, self.sensing.tooth_u);
        if !pinned {
            return Position { at: at + 0.5, own_u: 1.0 / 12f64.sqrt(), alike_u: tooth_u };
        }
        match self.sensing.pattern.error_of(edge) {
            Ok(_) if self.sensing.pattern.errors.is_empty() => {
                Position { at, own_u: 0.0, alike_u: tooth_u }
            }
            Ok(error) => Position { at: at + error, own_u: tooth_u, alike_u: 0.0 },
            Err(spread) => Position { at, own_u: tooth_u, alike_u: spread },
        }
    }

    /// Phase at an instant, in turns: linear between the edges around it. The uncertainty holds
    /// the tooth positions and what a change of speed between those edges can hide: a constant
    /// acceleration bends the line at a share `s` of the gap by the change of rate over two gaps
    /// times the gap times `s (1 - s) / 4`.
    fn phase(&self, at_us: i64) -> Option<Phase> {
        let per_turn = f64::from(self.sensing.edges_per_turn);
        let after = self.marks_by(at_us);
        let still = |index: i64| {
            self.was_watched(at_us).then_some(Phase {
                turns: (index as f64 + 0.5) / per_turn,
                u: 1.0 / 12f64.sqrt() / per_turn,
                still: true,
                begun: true,
            })
        };
        let Some(before) = after.checked_sub(1).and_then(|k| self.marks.get(k)) else {
            let idle = still(0).filter(|_| self.is_before_first_edge(at_us));
            return idle.map(|phase| Phase { begun: false, ..phase });
        };
        let Some(next) = self.marks.get(after) else { return still(before.edge.index) };
        let gap_us = next.edge.time_us - before.edge.time_us;
        let edges = next.edge.index - before.edge.index;
        if gap_us > STILL_US && edges <= 1 {
            return still(before.edge.index);
        }
        if gap_us > BREAK_US || gap_us <= 0 {
            return None;
        }
        let (from, to) = (self.position(before), self.position(next));
        let share = (at_us - before.edge.time_us) as f64 / gap_us as f64;
        let bend = self.rate_change(after) * gap_us as f64 / 4.0 * share * (1.0 - share);
        // It stood somewhere between the two.
        let bend = bend.min(edges as f64 / 12f64.sqrt());
        let blind = if gap_us > STILL_US { 0.05 * edges as f64 } else { 0.0 };
        let own = ((1.0 - share) * from.own_u).hypot(share * to.own_u);
        let u = own.hypot(from.alike_u.max(to.alike_u)).hypot(bend).hypot(blind);
        Some(Phase {
            turns: (from.at + share * (to.at - from.at)) / per_turn,
            u: u / per_turn,
            still: false,
            begun: true,
        })
    }

    /// By how much the rate (edges per microsecond) changes from before to after the interval that
    /// ends with edge `after`: twice what it differs by from its own, as under a constant
    /// acceleration; from the side that differs more, for a stop in between leaves both fast and
    /// the interval slow. The whole rate where neither side is known.
    fn rate_change(&self, after: usize) -> f64 {
        let rate = |k: usize| -> Option<f64> {
            let (a, b) = (self.marks.get(k.checked_sub(1)?)?, self.marks.get(k)?);
            let apart = self.position(b).at - self.position(a).at;
            Some(apart / (b.edge.time_us - a.edge.time_us).max(1) as f64)
        };
        let own = rate(after).unwrap_or(0.0);
        let neighbours = [after.checked_sub(1).and_then(rate), rate(after + 1)];
        let apart = neighbours.into_iter().flatten().map(|n| 2.0 * (own - n).abs());
        apart.reduce(f64::max).unwrap_or(own)
    }

    fn turn_to(&self, end: Option<Phase>) -> Option<Turn> {
        let (start, end) = (self.at_boundary?, end?);
        if start.begun != end.begun {
            // Counting begins at an edge, not half a gap before it.
            return None;
        }
        Some(Turn {
            turns: (end.turns - start.turns).max(0.0),
            u_start: start.u,
            u_end: end.u,
            still: start.still && end.still && end.turns == start.turns,
            edge: 1.0 / f64::from(self.sensing.edges_per_turn),
            sent: None,
        })
    }

    /// Marks up to an instant.
    fn marks_by(&self, at_us: i64) -> usize {
        self.marks.partition_point(|m| m.edge.time_us <= at_us)
    }

    fn forget_before(&mut self, at_us: i64) {
        let after = self.marks_by(at_us);
        self.marks.drain(..after.saturating_sub(3));
        self.unwatched.retain(|gap| gap.1 > at_us);
    }
}
