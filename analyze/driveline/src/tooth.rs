//! Where the teeth of a sensor sit: learned from the drive itself.

use crate::jumps::Jumps;
use crate::pulse::{Edge, STILL_US};
use std::collections::VecDeque;

/// Two turns that differ by more than this share are not steady running.
const UNSTEADY: f64 = 0.04;

/// Edges that scatter by less than this part of an edge about their tooth's place repeat once a
/// turn.
const REPEATS: f64 = 0.2;

/// Intervals that differ by no more than this share are steady running.
const STEADY_INTERVALS: f64 = 0.15;

/// So many intervals of steady running that were split are no chance.
const LEAST_HALVED: u32 = 4;

/// Turns in one piece that is judged for a double gap: an edge too many shifts the numbers of all
/// that follow, and spoils only the piece that it is in.
const PIECE_TURNS: u32 = 25;

/// Least edges of each tooth that tell its place.
const LEAST_TURNS: u32 = 3;

/// Learns the tooth spacing of one sensor from pinned edges, however many lie between them.
///
/// The time of an edge is compared with the mean over the whole turn around it, which removes the
/// speed, any steady acceleration and the pattern itself; the mean over many turns is the tooth's
/// own place.
#[derive(Debug, Clone)]
pub struct ToothPattern {
    teeth: usize,
    window: VecDeque<Edge>,
    /// Place in the window of the next edge to be compared.
    centre: usize,
    /// Since the last pause or skip.
    run: Places,
    /// Of the runs before.
    before: Places,
    /// A piece of the run, and the turns of the pieces before with and without a double gap.
    piece: Places,
    gap_turns: [u32; 2],
    intervals: u32,
    split: u32,
    /// Intervals of steady running that an edge split in two.
    halved: u32,
    jumps: Jumps,
}

/// Sums of the places of every tooth, edges.
#[derive(Debug, Clone)]
struct Places {
    sum: Vec<f64>,
    sum2: Vec<f64>,
    n: Vec<u32>,
    /// How late the last edge was against the mean of its tooth so far, and the mean's share of
    /// the variance.
    last: Option<(f64, f64)>,
    /// Squares of how differently late two edges in a row were, for one edge of both.
    apart2: f64,
    pairs: u32,
}

impl Places {
    fn new(teeth: usize) -> Self {
        Places {
            sum: vec![0.0; teeth],
            sum2: vec![0.0; teeth],
            n: vec![0; teeth],
            last: None,
            apart2: 0.0,
            pairs: 0,
        }
    }

    fn take(&mut self, tooth: usize, place: f64) {
        let n = f64::from(self.n[tooth]);
        let late = (self.n[tooth] >= LEAST_TURNS).then(|| (place - self.sum[tooth] / n, 1.0 / n));
        if let (Some(before), Some(here)) = (self.last, late) {
            self.apart2 += (here.0 - before.0).powi(2) / (2.0 + here.1 + before.1);
            self.pairs += 1;
        }
        self.last = late;
        self.sum[tooth] += place;
        self.sum2[tooth] += place * place;
        self.n[tooth] += 1;
    }

    fn and(&self, other: &Places) -> Places {
        let add = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a + b).collect();
        Places {
            sum: add(&self.sum, &other.sum),
            sum2: add(&self.sum2, &other.sum2),
            n: self.n.iter().zip(&other.n).map(|(a, b)| a + b).collect(),
            last: None,
            apart2: self.apart2 + other.apart2,
            pairs: self.pairs + other.pairs,
        }
    }

    fn turns(&self) -> u32 {
        self.n.iter().copied().min().unwrap_or(0)
    }

    fn positions(&self) -> Option<Vec<f64>> {
        if self.turns() < LEAST_TURNS {
            return None;
        }
        let mut at: Vec<f64> =
            self.sum.iter().zip(&self.n).map(|(s, n)| s / f64::from(*n)).collect();
        let middle = at.iter().sum::<f64>() / at.len() as f64;
        at.iter_mut().for_each(|p| *p -= middle);
        Some(at)
    }

    fn spacing(&self) -> Option<Vec<f64>> {
        let at = self.positions()?;
        Some((0..at.len()).map(|k| 1.0 + at[(k + 1) % at.len()] - at[k]).collect())
    }

    fn scatter(&self) -> f64 {
        let (n, teeth) = (self.n.iter().sum::<u32>(), self.n.len());
        let within: f64 = (0..teeth)
            .filter(|k| self.n[*k] > 0)
            .map(|k| self.sum2[k] - self.sum[k].powi(2) / f64::from(self.n[k]))
            .sum();
        (within.max(0.0) / f64::from(n.saturating_sub(teeth as u32).max(1))).sqrt()
    }

    /// Jitter of one edge: what two edges in a row do not have in common. The running of the
    /// vehicle within a turn makes neighbours late alike and is left out (the mean square of
    /// successive differences; von Neumann 1941, from memory).
    fn jitter(&self) -> Option<f64> {
        let is_enough = self.pairs >= LEAST_TURNS * self.n.len() as u32;
        // With one or two edges a turn, the mean over the turn takes up much of the edge's own.
        let left = match self.n.len() {
            1 => 10.0 / 64.0,
            2 => 0.625,
            _ => 1.0,
        };
        is_enough.then(|| (self.apart2 / f64::from(self.pairs) / left).sqrt())
    }

    /// Whether one interval is about twice the others; None while that is not known.
    fn double_gap(&self) -> Option<bool> {
        let mut sorted = self.spacing()?;
        sorted.sort_by(f64::total_cmp);
        let (typical, widest) = (sorted[sorted.len() / 2], sorted[sorted.len() - 1]);
        let twice = (1.7..2.4).contains(&(widest / typical));
        Some(sorted.len() >= 2 && twice && self.scatter() < REPEATS)
    }
}

impl ToothPattern {
    /// For a sensor with this many counted edges per turn (1 to 1,000).
    pub fn new(teeth: u32) -> Self {
        let teeth = teeth.clamp(1, 1_000) as usize;
        ToothPattern {
            teeth,
            window: VecDeque::new(),
            centre: 0,
            run: Places::new(teeth),
            before: Places::new(teeth),
            piece: Places::new(teeth),
            gap_turns: [0; 2],
            intervals: 0,
            split: 0,
            halved: 0,
            jumps: Jumps::default(),
        }
    }

    /// Takes one edge in; a board reset, a pause or a skip of more than a quarter turn starts
    /// anew. An edge counts where the turn before it and the turn after it took about as long:
    /// steady running.
    pub fn push(&mut self, edge: Edge) {
        let most = (self.teeth as i64 / 4).max(1);
        let follows = self.window.back().is_none_or(|b| {
            (1..=most).contains(&(edge.index - b.index))
                && (1..STILL_US).contains(&(edge.time_us - b.time_us))
        });
        if !follows {
            self.end_run();
        }
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

    fn end_run(&mut self) {
        self.end_piece();
        self.before = self.before.and(&self.run);
        self.run = Places::new(self.teeth);
        self.jumps.restart();
        self.window.clear();
        self.centre = 0;
    }

    fn end_piece(&mut self) {
        self.gap_turns = self.judged_turns();
        self.piece = Places::new(self.teeth);
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
            self.run.last = None;
            return;
        }
        let late = times[1] - self.mean_time(at - turn / 2.0, at + turn / 2.0);
        let tooth = index.rem_euclid(self.teeth as i64) as usize;
        let place = late / ((before + after) / 2.0 / turn);
        self.run.take(tooth, place);
        self.piece.take(tooth, place);
        if tooth == 0 && self.piece.turns() >= PIECE_TURNS {
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
        let jitter = self.before.and(&self.run).jitter();
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
        self.before.and(&self.run).turns()
    }

    /// Spacing from each tooth to the next over the mean of all (1 is even); None below 3 turns.
    pub fn spacing(&self) -> Option<Vec<f64>> {
        self.before.and(&self.run).spacing()
    }

    /// Scatter of one edge about its tooth's mean place, edges.
    pub fn scatter(&self) -> f64 {
        self.before.and(&self.run).scatter()
    }

    /// Standard uncertainty of one edge about [`Self::positions`], edges: its jitter, and how well
    /// its tooth's mean place is known. None where the places are not known.
    pub fn position_u(&self) -> Option<f64> {
        let all = self.before.and(&self.run);
        let (scatter, turns) = (all.scatter(), f64::from(all.turns()));
        all.positions()?;
        Some(all.jitter().unwrap_or(scatter).hypot(scatter / turns.sqrt()))
    }

    /// Position error of each tooth, in edges, mean zero: what [`Sensing::pattern`] takes; None
    /// below 3 turns.
    ///
    /// [`Sensing::pattern`]: crate::pulse::Sensing::pattern
    pub fn positions(&self) -> Option<Vec<f64>> {
        self.before.and(&self.run).positions()
    }

    /// True when one interval of the turn is about twice the others: a missing tooth or magnet,
    /// seen by a pattern that was given the *remaining* number of teeth.
    pub fn has_double_gap(&self) -> bool {
        let [with, without] = self.judged_turns();
        with > without
    }
}
