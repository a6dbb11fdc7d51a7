//! One switch line: debounce that adds no delay, and the bookkeeping of missed edges.

use super::window::Limit;
use super::{Action, CHATTER_S, Gap, LampDecoder, LevelChange, Levels, Moment, SETTLE_S, WINDOW_S};
use crate::vehicle::Level;

/// A reminder may overtake the edge that it already contains by this much, in seconds.
const REORDER_S: f64 = 0.05;

/// What was counted on one switch line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct LineTally {
    /// Edges, seen or known from the running count.
    pub edges: u64,
    /// Edges that are known to have happened but were not seen, nor passed over.
    pub missed: u64,
    /// Of these and of contradictions: not within the calm time after an edge that was seen, so
    /// that nobody knows when.
    pub unplaced: u64,
    /// Edges that the board passed over between the first ones of a window and its last one.
    pub passed_over: u64,
    /// Settled changes of level.
    pub changes: u64,
    /// Drop-outs: left its level and came back before it settled.
    pub blips: u64,
    /// Times it began to chatter.
    pub chatters: u64,
    /// Edges sent twice or too late, ignored.
    pub repeated: u64,
    /// Edges whose level does not fit the running count.
    pub contradictions: u64,
}

/// An unsettled change.
#[derive(Debug, Clone, Copy)]
struct Unsettled {
    moment: Moment,
    edges: u32,
    records: (u64, u64),
    chatter_told: bool,
}

/// A level in a reminder that no edge has announced.
#[derive(Debug, Clone, Copy)]
struct Surprise {
    time_s: f64,
    on: bool,
    record: u64,
}

/// State of one line.
#[derive(Debug, Clone)]
pub(super) struct Line {
    input: u8,
    active_high: bool,
    lamp: Option<LampDecoder>,
    /// Level after the last edge, and the settled level; on is true.
    raw: Option<bool>,
    settled: Option<bool>,
    /// Settled level before the board started anew, and since when it is unknown.
    before_reset: Option<(Option<bool>, f64)>,
    /// When the raw level was told last, by an edge or by a reminder.
    told_s: f64,
    edge_s: f64,
    count: Option<u16>,
    limit: Limit,
    unsettled: Option<Unsettled>,
    surprise: Option<Surprise>,
    /// The last drop-out: it may have been a change whose last edge was missed.
    blip: Option<Moment>,
    /// Gap since which nothing has told the level: its beginning and its end.
    doubt: Option<(f64, f64)>,
    tally: LineTally,
}

impl Line {
    pub(super) fn new(input: u8, active_high: bool, is_lamp: bool) -> Self {
        Line {
            input,
            active_high,
            lamp: is_lamp.then(LampDecoder::default),
            raw: None,
            settled: None,
            before_reset: None,
            told_s: f64::NEG_INFINITY,
            edge_s: f64::NEG_INFINITY,
            count: None,
            limit: Limit::default(),
            unsettled: None,
            surprise: None,
            blip: None,
            doubt: None,
            tally: LineTally::default(),
        }
    }

    pub(super) fn settled(&self) -> Option<bool> {
        if self.lamp.is_some() { self.raw } else { self.settled }
    }

    pub(super) fn is_moving(&self) -> bool {
        self.unsettled.is_some_and(|u| !u.chatter_told)
    }

    pub(super) fn is_in_doubt(&self) -> bool {
        self.doubt.is_some() || self.surprise.is_some()
    }

    pub(super) fn tally(&self) -> LineTally {
        self.tally
    }

    /// An edge of this line.
    pub(super) fn change(
        &mut self,
        c: &LevelChange,
        tell: &mut impl FnMut(Action, Moment, u32, (u64, u64)),
    ) {
        if c.input != self.input {
            return;
        }
        // A bounce can be shorter than the board's tick: the count tells it from a repetition.
        let next = self.count.is_some_and(|n| c.edge_count == n.wrapping_add(1));
        if c.time_s < self.edge_s || c.time_s == self.edge_s && !next {
            self.tally.repeated += 1;
            return;
        }
        match self.surprise {
            // What a lamp did unseen is in the count.
            Some(s) if s.time_s < c.time_s && self.lamp.is_none() => self.accept_surprise(),
            _ => self.surprise = None,
        }
        let on = c.level == self.active_high;
        // How many edges there were, this one included. A count that stands still or runs
        // backwards at a later time has begun anew: then only this edge is known.
        let counted = self.count.map(|n| c.edge_count.wrapping_sub(n)).unwrap_or(0);
        let edges = if (1..0x8000).contains(&counted) { u32::from(counted) } else { 1 };
        let fits = self.raw.is_none_or(|raw| (raw != on) == (edges % 2 == 1));
        let seen_first = edges == 1 && fits;
        let told = seen_first || self.doubt.is_none() && !self.limit.waits(c.time_s);
        if told && self.unsettled.is_some_and(|u| c.time_s >= u.moment.settled_s + SETTLE_S) {
            // Nothing is held any more: what was waiting for that has settled.
            self.settle(tell);
        }
        let missed = !seen_first || self.count.is_none() && self.doubt.is_some();
        let passed_over = self.limit.edge(c.time_s, c.edge_count, missed);
        self.count_edges(edges, passed_over, fits);
        if !passed_over && c.time_s - self.edge_s > SETTLE_S {
            self.tally.unplaced += u64::from(edges - 1) + u64::from(!fits);
        }
        let earliest_s = if seen_first { c.time_s } else { self.last_certain_s() };
        if let Some(lamp) = &mut self.lamp {
            match seen_first {
                true => lamp.edge(c.time_s, on),
                false => lamp.edges(self.edge_s, c.time_s, on, edges),
            }
        } else {
            self.extend(c.time_s, earliest_s.min(c.time_s), edges, c.record);
        }
        (self.raw, self.count) = (Some(on), Some(c.edge_count));
        (self.told_s, self.edge_s) = (c.time_s, c.time_s);
        self.doubt = None;
    }

    fn count_edges(&mut self, edges: u32, passed_over: bool, fits: bool) {
        self.tally.contradictions += u64::from(!fits);
        self.tally.edges += u64::from(edges);
        let unseen = if passed_over { &mut self.tally.passed_over } else { &mut self.tally.missed };
        *unseen += u64::from(edges - 1);
    }

    /// The last time before which no edge can have been missed.
    fn last_certain_s(&self) -> f64 {
        let since_blip =
            self.blip.filter(|b| b.settled_s + SETTLE_S >= self.told_s).map(|b| b.earliest_s);
        let told_s = self.doubt.map_or(self.told_s, |(from_s, _)| from_s.max(self.edge_s));
        since_blip.unwrap_or(told_s)
    }

    fn extend(&mut self, time_s: f64, earliest_s: f64, edges: u32, record: u64) {
        let fresh = Unsettled {
            moment: Moment { earliest_s, ..Moment::at(time_s) },
            edges: 0,
            records: (record, record),
            chatter_told: false,
        };
        let u = self.unsettled.get_or_insert(fresh);
        u.moment.settled_s = time_s;
        u.moment.latest_s = time_s;
        u.edges += edges;
        u.records.1 = record;
    }

    /// A reminder of all levels.
    pub(super) fn reminder(
        &mut self,
        l: &Levels,
        tell: &mut impl FnMut(Action, Moment, u32, (u64, u64)),
    ) {
        // Within a window that may hold edges, the levels are those of edges still to be told.
        let held = self.limit.holds_until_s().is_some_and(|until_s| l.time_s < until_s);
        if l.time_s < self.edge_s || held {
            return;
        }
        let high = l.mask >> (self.input.clamp(1, 16) - 1) & 1 == 1;
        let on = high == self.active_high;
        match self.raw {
            None => self.first_level(on, l, tell),
            Some(raw) if raw == on => self.confirm(l, tell),
            Some(_) if self.surprise.is_some() => {}
            Some(_) => {
                self.surprise = Some(Surprise { time_s: l.time_s, on, record: l.record });
            }
        }
    }

    fn first_level(
        &mut self,
        on: bool,
        l: &Levels,
        tell: &mut impl FnMut(Action, Moment, u32, (u64, u64)),
    ) {
        let (was, since_s) = self.before_reset.take().unwrap_or((None, l.time_s));
        (self.raw, self.told_s, self.doubt) = (Some(on), l.time_s, None);
        if let Some(lamp) = &mut self.lamp {
            lamp.edge(l.time_s, on);
            return;
        }
        self.settled = Some(on);
        let moment = Moment { earliest_s: since_s, ..Moment::at(l.time_s) };
        let action = Action::Settled { was: was.map(level), level: level(on) };
        tell(action, moment, 0, (l.record, l.record));
    }

    /// A reminder that agrees ends every doubt.
    fn confirm(&mut self, l: &Levels, tell: &mut impl FnMut(Action, Moment, u32, (u64, u64))) {
        if let Some(s) = self.surprise.take() {
            // Away and back between two reminders.
            self.miss(2);
            self.tally.blips += 1;
            let earliest_s = self.last_certain_s();
            let moment = Moment { earliest_s, latest_s: l.time_s, ..Moment::at(s.time_s) };
            tell(Action::Blip, moment, 2, (s.record, l.record));
        }
        if let (Some(u), Some((from_s, to_s))) = (&mut self.unsettled, self.doubt)
            && from_s < u.moment.settled_s + SETTLE_S
        {
            u.moment.latest_s = u.moment.latest_s.max(to_s);
        }
        if let (Some(until_s), Some(_)) = (self.limit.holds_until_s(), self.doubt) {
            // The last edge of the window may be among what was lost.
            match (&mut self.lamp, &mut self.unsettled) {
                (Some(lamp), _) => {
                    lamp.forget();
                    lamp.edge(l.time_s, self.raw == Some(true));
                }
                (None, Some(u)) => u.moment.latest_s = u.moment.latest_s.max(until_s),
                _ => {}
            }
        }
        self.limit.told(l.time_s);
        self.told_s = l.time_s;
        self.doubt = None;
    }

    /// Sentences are missing: until told again, the level is in doubt.
    pub(super) fn gap(&mut self, gap: &Gap) {
        let (from_s, to_s) = self.doubt.unwrap_or((gap.from_s, gap.to_s));
        if self.doubt.is_none() {
            // Up to here all was told, and nothing since: another gap tells no more.
            self.limit.gap(gap.from_s);
        }
        self.doubt = Some((from_s.min(gap.from_s), to_s.max(gap.to_s)));
        // A short gap leaves what a lamp did in the count of the next edge.
        if let Some(lamp) = self.lamp.as_mut().filter(|_| to_s - from_s > 2.0 * WINDOW_S) {
            lamp.forget();
            self.raw = None;
        }
    }

    /// The board started anew: nothing is known until it tells.
    pub(super) fn reset(
        &mut self,
        gap: &Gap,
        tell: &mut impl FnMut(Action, Moment, u32, (u64, u64)),
    ) {
        if let Some(lamp) = &mut self.lamp {
            lamp.forget();
        }
        if self.before_reset.is_none() && self.raw.is_some() {
            // A change that was not settled yet may go on unseen: it began when it began.
            let since_s = self.unsettled.map_or(gap.from_s, |u| u.moment.earliest_s);
            self.before_reset = Some((self.settled, since_s.min(gap.from_s)));
        }
        (self.raw, self.settled, self.count) = (None, None, None);
        self.limit = Limit::default();
        (self.unsettled, self.surprise, self.doubt) = (None, None, None);
        let moment = Moment { latest_s: gap.to_s, ..Moment::at(gap.from_s) };
        tell(Action::Unknown, moment, 0, (gap.record, gap.record));
    }

    /// Lets time pass: surprises are believed, changes settle or chatter.
    pub(super) fn advance(
        &mut self,
        now_s: f64,
        tell: &mut impl FnMut(Action, Moment, u32, (u64, u64)),
    ) {
        if self.surprise.is_some_and(|s| now_s >= s.time_s + REORDER_S) {
            self.accept_surprise();
        }
        // What came of an edge that the board held is not known while sentences are missing.
        let lost = self.doubt.is_some() && self.limit.holds_until_s().is_some();
        let held = self.limit.waits(now_s) || lost;
        if let Some(lamp) = &mut self.lamp {
            if self.doubt.is_none()
                && !held
                && let Some((state, moment)) = lamp.advance(now_s)
            {
                tell(Action::Lamp(state), moment, 0, (0, 0));
            }
            return;
        }
        let Some(u) = &mut self.unsettled else { return };
        let calm_s = u.moment.settled_s + SETTLE_S;
        let waits = self.doubt.is_some_and(|(from_s, _)| from_s < calm_s)
            || self.surprise.is_some_and(|s| s.time_s < calm_s);
        if now_s >= calm_s && !waits && !held {
            self.settle(tell);
        } else if u.moment.settled_s >= u.moment.first_s + CHATTER_S && !u.chatter_told {
            u.chatter_told = true;
            self.tally.chatters += 1;
            self.settled = None;
            tell(Action::Chatter, u.moment, u.edges, u.records);
        }
    }

    fn settle(&mut self, tell: &mut impl FnMut(Action, Moment, u32, (u64, u64))) {
        let (Some(u), Some(on)) = (self.unsettled.take(), self.raw) else { return };
        let was = self.settled.or_else(|| self.before_reset.take().and_then(|(was, _)| was));
        self.settled = Some(on);
        let action = if was == Some(on) && !u.chatter_told {
            self.tally.blips += 1;
            self.blip = Some(u.moment);
            Action::Blip
        } else {
            self.tally.changes += u64::from(was.is_some());
            Action::Settled { was: was.map(level), level: level(on) }
        };
        tell(action, u.moment, u.edges, u.records);
    }

    /// Edges that never came, though the levels show them: the board counted them.
    fn miss(&mut self, edges: u16) {
        self.tally.missed += u64::from(edges);
        self.tally.edges += u64::from(edges);
        self.count = self.count.map(|n| n.wrapping_add(edges));
    }

    /// No edge came for a level that a reminder told: it was missed, and this bounds when.
    fn accept_surprise(&mut self) {
        let Some(s) = self.surprise.take() else { return };
        self.miss(1);
        let earliest_s = self.last_certain_s().min(s.time_s);
        self.limit.missed(s.time_s);
        (self.raw, self.told_s, self.doubt) = (Some(s.on), s.time_s, None);
        if let Some(lamp) = &mut self.lamp {
            lamp.forget();
            lamp.edge(s.time_s, s.on);
        } else if let Some(u) = &mut self.unsettled {
            u.moment.latest_s = s.time_s;
            u.edges += 1;
            u.records.1 = s.record;
        } else {
            self.extend(s.time_s, earliest_s, 1, s.record);
        }
    }
}

fn level(on: bool) -> Level {
    if on { Level::On } else { Level::Off }
}
