//! Where the teeth of a sensor sit: learned from the drive itself.

mod jitter;
mod known;
mod places;

use crate::jumps::Jumps;
use crate::pulse::{Edge, Pattern, STILL_US};
use jitter::Jitter;
use known::Known;
use places::{Late, Places};
use std::collections::VecDeque;

/// Two turns that differ by more than this share are not steady running.
const UNSTEADY: f64 = 0.04;

/// Intervals that differ by no more than this share are steady running.
const STEADY_INTERVALS: f64 = 0.15;

/// So many intervals of steady running that were split are no chance.
const LEAST_HALVED: u32 = 4;

/// Turns in one piece that is judged for a double gap and for the order of its teeth: an edge too
/// many shifts the numbers of all that follow, and spoils only the piece that it is in.
const PIECE_TURNS: u32 = 25;

/// Edges for each tooth in one piece at most.
const MOST_EDGES: usize = 100;

/// Learns the tooth spacing of one sensor from pinned edges, however many lie between them.
///
/// The time of an edge is compared with the mean over the whole turn around it, which removes the
/// speed, any steady acceleration and the pattern itself; the mean over many turns is the tooth's
/// own place.
///
/// The numbers of the edges start anew where a board does; an edge too many, while the wheel rocks
/// at rest, moves them by one; in reverse the teeth pass in the other order. Each piece of running
/// is therefore held against what was learned before, and where another order fits clearly better
/// its edges stand for other teeth ([`Self::learned`]).
#[derive(Debug, Clone)]
pub struct ToothPattern {
    teeth: usize,
    window: VecDeque<Edge>,
    /// Place in the window of the next edge to be compared.
    centre: usize,
    /// Since the last pause or skip, or so many turns.
    piece: Places,
    edges: Vec<Late>,
    last_us: i64,
    /// Of the pieces before.
    known: Known,
    jitter: Jitter,
    /// Turns of the pieces before with and without a double gap.
    gap_turns: [u32; 2],
    intervals: u32,
    split: u32,
    /// Intervals of steady running that an edge split in two.
    halved: u32,
    jumps: Jumps,
}

impl ToothPattern {
    /// For a sensor with this many counted edges per turn (1 to 1,000).
    pub fn new(teeth: u32) -> Self {
        let teeth = teeth.clamp(1, 1_000) as usize;
        ToothPattern {
            teeth,
            window: VecDeque::new(),
            centre: 0,
            piece: Places::new(teeth),
            edges: Vec::new(),
            last_us: i64::MIN,
            known: Known::new(teeth),
            jitter: Jitter::new(teeth),
            gap_turns: [0; 2],
            intervals: 0,
            split: 0,
            halved: 0,
            jumps: Jumps::default(),
        }
    }

    /// Takes one edge in; a pause or a skip of more than a quarter turn starts anew. An edge counts
    /// where the turn before it and the turn after it took about as long: steady running.
    pub fn push(&mut self, edge: Edge) {
        let most = (self.teeth as i64 / 4).max(1);
        let follows = self.window.back().is_none_or(|b| {
            (1..=most).contains(&(edge.index - b.index))
                && (1..STILL_US).contains(&(edge.time_us - b.time_us))
        });
        if !follows {
            self.end_run();
        }
        self.last_us = edge.time_us;
        self.window.push_back(edge);
        self.look_for_split();
        let turn = self.teeth as i64;
        while self.window[self.centre].index + turn <= edge.index {
            let centre = self.window[self.centre].index;
            if self.window[0].index <= centre - turn {
                self.compare(centre);
            }
            self.centre += 1;
            while self.window[1].index <= self.window[self.centre].index - turn {
                self.window.pop_front();
                self.centre -= 1;
            }
        }
    }

    /// The numbers of the edges start anew: a board reset, or counts that nobody looked at.
    pub fn begin_anew(&mut self) {
        self.end_run();
        self.known.begin_anew(self.last_us);
    }

    fn end_run(&mut self) {
        self.end_piece();
        self.jitter.restart();
        self.jumps.restart();
        self.window.clear();
        self.centre = 0;
    }

    fn end_piece(&mut self) {
        if self.piece.is_empty() {
            return;
        }
        self.gap_turns = self.judged_turns();
        self.jitter.end_piece(self.known.take(&self.piece, &self.edges));
        self.piece = Places::new(self.teeth);
        self.edges.clear();
    }

    /// With the piece that has not ended.
    fn all(&self) -> Known {
        let mut all = self.known.clone();
        all.take(&self.piece, &self.edges);
        all
    }

    /// Turns with and without a double gap, piece by piece.
    fn judged_turns(&self) -> [u32; 2] {
        let mut turns = self.gap_turns;
        if let Some(gap) = self.piece.double_gap() {
            turns[usize::from(!gap)] += self.piece.turns();
        }
        turns
    }

    /// Compares the edge with the mean of the turn around it.
    fn compare(&mut self, index: i64) {
        let (turn, at) = (self.teeth as f64, index as f64);
        let times = [at - turn, at, at + turn].map(|x| self.time_at(x));
        let (before, after) = (times[1] - times[0], times[2] - times[1]);
        self.jumps.take(self.teeth as i64, index, after);
        if (before - after).abs() >= UNSTEADY * (before + after) / 2.0 {
            self.jitter.skip();
            return;
        }
        let late = times[1] - self.mean_time(at - turn / 2.0, at + turn / 2.0);
        let tooth = index.rem_euclid(self.teeth as i64) as usize;
        let place = late / ((before + after) / 2.0 / turn);
        self.piece.take(tooth, place);
        let time_us = self.window[self.centre].time_us;
        self.edges.push(Late { edge: tooth, time_us, place });
        self.jitter.take(tooth, place);
        // Where a tooth is never seen, because rounds and teeth keep step, a piece ends too.
        let many = self.edges.len() >= MOST_EDGES * self.teeth;
        if tooth == 0 && self.piece.turns() >= PIECE_TURNS || many {
            self.end_piece();
        }
    }

    /// Time at an index between the first and the last edge of the window, microseconds after the
    /// first.
    fn time_at(&self, index: f64) -> f64 {
        let k = self.window.partition_point(|e| (e.index as f64) < index).max(1);
        let (a, b) = (self.window[k - 1], self.window[k]);
        let share = (index - a.index as f64) / (b.index - a.index) as f64;
        (a.time_us - self.window[0].time_us) as f64 + share * (b.time_us - a.time_us) as f64
    }

    /// Mean of [`Self::time_at`] over a range of indices.
    fn mean_time(&self, from: f64, to: f64) -> f64 {
        let first = self.window.partition_point(|e| e.index as f64 <= from);
        let zero_us = self.window[0].time_us;
        let edges = self.window.iter().skip(first);
        let inner = edges.map(|e| (e.index as f64, (e.time_us - zero_us) as f64));
        let (mut area, mut last) = (0.0, (from, self.time_at(from)));
        for here in inner.take_while(|e| e.0 < to).chain([(to, self.time_at(to))]) {
            area += (here.0 - last.0) * (here.1 + last.1) / 2.0;
            last = here;
        }
        area / (to - from)
    }

    /// An interval much shorter than both its neighbours together suggest was split by an edge
    /// that no tooth made.
    fn look_for_split(&mut self) {
        let len = self.window.len();
        if len < 4 || self.window[len - 1].index != self.window[len - 4].index + 3 {
            return;
        }
        let gap = |k: usize| {
            let (a, b) = (self.window[len - k - 2], self.window[len - k - 1]);
            (b.time_us - a.time_us) as f64
        };
        self.intervals += 1;
        self.split += u32::from(gap(1) < 0.55 * (gap(0) + gap(2)) / 2.0);
        if len >= 6 && self.window[len - 1].index == self.window[len - 6].index + 5 {
            let around = (gap(0) + gap(4)) / 2.0;
            let is_whole = |time: f64| (time - around).abs() < STEADY_INTERVALS * around;
            let whole = [gap(0), gap(1), gap(2) + gap(3), gap(4)].into_iter().all(is_whole);
            self.halved += u32::from(whole);
        }
    }

    /// True when edges come in between that no tooth makes: noise on the line. Frequent ones split
    /// intervals of any running, few ones those of steady running, and each leaves the count one
    /// edge ahead.
    pub fn has_extra_edges(&self) -> bool {
        let frequent = self.split >= 8 && f64::from(self.split) > 0.01 * f64::from(self.intervals);
        frequent || self.halved >= LEAST_HALVED || self.jumps.are_ahead()
    }

    /// True when the edges jump as often as those of a ring do that has teeth of another number
    /// than it is said to have, one of them missing: every turn, one gap shifts all places by an
    /// edge. False while that is not known, and below three edges a turn.
    pub fn slides(&self) -> bool {
        let jitter = self.jitter.u();
        // A jump of one edge a turn leaves half a square to share among the edges of the turn.
        let one_jump = 0.5 / self.teeth as f64;
        self.teeth > 2 && jitter.is_some_and(|j| j * j > one_jump / 2.0)
    }

    /// Turns that came one edge early and one edge late between two that agree.
    pub fn jumps(&self) -> [u32; 2] {
        self.jumps.found
    }

    /// Turns seen of the least seen tooth.
    pub fn turns(&self) -> u32 {
        self.all().places.turns()
    }

    /// Spacing from each tooth to the next over the mean of all (1 is even); None below 3 turns.
    pub fn spacing(&self) -> Option<Vec<f64>> {
        self.all().places.spacing()
    }

    /// Scatter of one edge about its tooth's mean place, edges.
    pub fn scatter(&self) -> f64 {
        self.all().places.scatter()
    }

    /// Standard uncertainty of one edge about [`Self::learned`], edges: its jitter, and how well
    /// its tooth's mean place is known. None where the places are not known.
    pub fn position_u(&self) -> Option<f64> {
        let all = self.all();
        all.places.positions()?;
        let (scatter, turns) = (all.places.scatter(), f64::from(all.places.turns()));
        Some(self.jitter.u().unwrap_or(scatter).hypot(scatter / turns.sqrt()))
    }

    /// Where the teeth sit, and where the numbers of the edges moved against theirs; empty below 3
    /// turns.
    pub fn learned(&self) -> Pattern {
        let all = self.all();
        Pattern { errors: all.places.positions().unwrap_or_default(), renumbered: all.renumbered }
    }

    /// True when one interval of the turn is about twice the others: a missing tooth or magnet,
    /// seen by a pattern that was given the *remaining* number of teeth.
    pub fn has_double_gap(&self) -> bool {
        let [with, without] = self.judged_turns();
        with > without
    }
}
