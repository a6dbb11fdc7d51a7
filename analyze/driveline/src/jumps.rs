//! Counts that jump by one edge: a turn that took one edge less time than the turns around it.
//!
//! An edge that no tooth made leaves the count ahead for good. Between two turns of one length the
//! turn that holds it is shorter by one edge, wherever in the turn it came and however unevenly the
//! teeth sit. Play that is taken up looks alike, but is given back: it goes as often one way as the
//! other.

use std::collections::VecDeque;

/// So much of an edge is one edge.
const ONE_EDGE: std::ops::Range<f64> = 0.65..1.35;

/// The turns around it may differ by so much of an edge.
const STEADY: f64 = 0.5;

/// With one tooth every edge is a turn; with many an edge is too small a part of a turn to be told
/// from wheels that run unevenly, and to matter.
const TEETH: std::ops::RangeInclusive<i64> = 2..=12;

/// So many jumps ahead are no chance, if jumps back are no more than a third of them.
const LEAST: u32 = 3;

/// Looks for jumps in the turns of one sensor.
#[derive(Debug, Clone, Default)]
pub(crate) struct Jumps {
    /// First edge and length of turns, ascending.
    turns: VecDeque<(i64, f64)>,
    /// A jump is told once: none is looked for before this edge.
    from: i64,
    /// Turns one edge short, and one edge long.
    pub found: [u32; 2],
}

impl Jumps {
    /// The edges that follow have nothing to do with those before.
    pub fn restart(&mut self) {
        self.turns.clear();
        self.from = i64::MIN;
    }

    /// Takes the time that a turn of `teeth` edges took from edge `first` on, any unit.
    pub fn take(&mut self, teeth: i64, first: i64, time: f64) {
        self.turns.push_back((first, time));
        while self.turns.get(1).is_some_and(|t| t.0 <= first - 2 * teeth) {
            self.turns.pop_front();
        }
        if !TEETH.contains(&teeth) || first < self.from {
            return;
        }
        let before = self.at(first - 2 * teeth).zip(self.at(first - teeth));
        let Some((earlier, middle)) = before else { return };
        let (around, edge) = ((earlier + time) / 2.0, (earlier + time) / 2.0 / teeth as f64);
        let ahead = (around - middle) / edge;
        if (earlier - time).abs() < STEADY * edge && ONE_EDGE.contains(&ahead.abs()) {
            self.found[usize::from(ahead < 0.0)] += 1;
            self.from = first + 2 * teeth;
        }
    }

    /// Length of the turn from an edge on, between the turns that were taken.
    fn at(&self, first: i64) -> Option<f64> {
        let k = self.turns.partition_point(|t| t.0 < first);
        let after = self.turns.get(k)?;
        if after.0 == first {
            return Some(after.1);
        }
        let before = self.turns.get(k.checked_sub(1)?)?;
        let share = (first - before.0) as f64 / (after.0 - before.0) as f64;
        Some(before.1 + share * (after.1 - before.1))
    }

    /// True when the count went ahead by more than play or chance explains.
    pub fn are_ahead(&self) -> bool {
        let [ahead, back] = self.found;
        ahead >= LEAST && ahead > 3 * back
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Jumps found in edges at these times, of a ring with so many teeth.
    fn found(teeth: i64, edges: &[f64]) -> [u32; 2] {
        let mut jumps = Jumps::default();
        for (k, pair) in edges.iter().zip(&edges[teeth as usize..]).enumerate() {
            jumps.take(teeth, k as i64, pair.1 - pair.0);
        }
        jumps.found
    }

    /// Edges of uneven teeth on a shaft that goes faster and faster, with extra ones at these
    /// times.
    fn edges(teeth: usize, extra: &[f64]) -> Vec<f64> {
        let tooth = |k: usize| k as f64 + 0.1 * ((k % teeth) as f64).sin();
        let mut all: Vec<f64> = (0..40 * teeth).map(|k| (1.0 + tooth(k)).powf(0.95)).collect();
        all.extend(extra);
        all.sort_by(f64::total_cmp);
        all
    }

    #[test]
    fn each_edge_that_no_tooth_made_is_found_once_and_even_turns_have_none() {
        for teeth in [2, 3, 4, 8, 12] {
            let whole = edges(teeth, &[]);
            assert_eq!(found(teeth as i64, &whole), [0, 0], "{teeth} teeth, nothing extra");
            let at = |turn: usize| whole[turn * teeth] + 0.3;
            let extra = [at(8), at(17), at(29)];
            assert_eq!(found(teeth as i64, &edges(teeth, &extra)), [3, 0], "{teeth} teeth");
        }
    }

    #[test]
    fn an_edge_that_is_missing_once_is_one_late_and_no_noise() {
        let mut all = edges(6, &[]);
        all.remove(50);
        assert_eq!(found(6, &all), [0, 1]);
        let jumps = Jumps { found: [3, 1], ..Jumps::default() };
        assert!(!jumps.are_ahead(), "play goes both ways");
        assert!(Jumps { found: [4, 1], ..Jumps::default() }.are_ahead());
    }
}
