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

    /// Length of the turn from an edge on, between the turns taken; none from the last on.
    fn at(&self, first: i64) -> Option<f64> {
        let k = self.turns.partition_point(|t| t.0 <= first);
        let (before, after) = (self.turns.get(k.checked_sub(1)?)?, self.turns.get(k)?);
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

    /// Jumps found in turns that begin at these edges and take these times, of a ring with so many
    /// teeth.
    fn taken(teeth: i64, turns: &[(i64, f64)]) -> Jumps {
        let mut jumps = Jumps::default();
        turns.iter().for_each(|(first, time)| jumps.take(teeth, *first, *time));
        jumps
    }

    #[test]
    fn turns_that_differ_by_half_an_edge_are_not_steady_enough_to_hold_a_jump_between_them() {
        // Four teeth, 16 ms a turn on the mean: an edge takes 4 ms.
        for (around, jumps) in [([17.0, 15.0], 0), ([16.5, 15.5], 1), ([15.5, 16.5], 1)] {
            let turns = [(0, around[0]), (4, 12.0), (8, around[1])];
            assert_eq!(taken(4, &turns).found, [jumps, 0], "{around:?}");
        }
    }

    #[test]
    fn a_jump_is_told_once_and_the_next_one_two_turns_later_at_the_soonest() {
        let often = [(0, 100.0), (4, 75.0), (8, 100.0), (12, 75.0), (16, 100.0)];
        assert_eq!(taken(4, &often).found, [2, 0]);
        // Eight teeth: from edge 16 on, none is looked for before edge 32. From edge 12 on a turn
        // took 93.75, from edge 20 on 85 and from edge 28 on 93.75, which is short by 0.75 edges.
        let soon = [(0, 100.0), (8, 87.5), (16, 100.0), (24, 70.0), (28, 93.75)];
        assert_eq!(taken(8, &soon).found, [1, 0]);
        assert_eq!(taken(8, &soon[1..]).found, [1, 0], "the second one by itself");
    }

    #[test]
    fn no_jump_is_seen_across_a_pause_and_each_run_is_looked_at_anew() {
        let turns = [(0, 100.0), (4, 75.0), (8, 100.0)];
        let mut jumps = taken(4, &turns[..2]);
        jumps.restart();
        jumps.take(4, 8, 100.0);
        assert_eq!(jumps.found, [0, 0]);
        jumps.restart();
        for found in [[1, 0], [2, 0]] {
            turns.iter().for_each(|(first, time)| jumps.take(4, *first, *time));
            assert_eq!(jumps.found, found);
            jumps.restart();
        }
    }

    #[test]
    fn the_length_of_a_turn_lies_on_a_line_between_those_that_were_taken() {
        let jumps = taken(10, &[(8, 100.0), (16, 80.0), (18, 84.0)]);
        for (first, length) in [(8, 100.0), (10, 95.0), (16, 80.0), (17, 82.0)] {
            assert_eq!(jumps.at(first), Some(length), "from edge {first} on");
        }
        assert_eq!((jumps.at(7), jumps.at(18)), (None, None));
    }

    #[test]
    fn no_more_than_two_turns_are_kept_however_long_a_run_is() {
        let mut jumps = Jumps::default();
        for first in 100..300 {
            jumps.take(5, first, 1.0);
            assert!(jumps.turns.len() <= 11, "{} at edge {first}", jumps.turns.len());
        }
    }

    #[test]
    fn the_count_is_ahead_from_three_jumps_on_and_by_more_than_three_times_those_back() {
        for (found, ahead) in [([2, 0], false), ([3, 0], true), ([6, 2], false), ([7, 2], true)] {
            assert_eq!(Jumps { found, ..Jumps::default() }.are_ahead(), ahead, "{found:?}");
        }
    }
}
