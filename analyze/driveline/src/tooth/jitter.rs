//! How steadily the edges of one tooth come.

use super::places::LEAST_TURNS;

/// Jitter of one edge: what two edges in a row do not have in common. The running of the vehicle
/// within a turn makes neighbours late alike and is left out (the mean square of successive
/// differences; von Neumann 1941, from memory).
#[derive(Debug, Clone)]
pub(super) struct Jitter {
    /// Places of every tooth since the last pause, skip or move of the numbers, edges.
    sum: Vec<f64>,
    n: Vec<u32>,
    /// How late the last edge was against the mean of its tooth so far, and the mean's share of
    /// the variance.
    last: Option<(f64, f64)>,
    /// Of this piece of running, of the last one, and of those before.
    apart: [Apart; 3],
}

/// How differently late two edges in a row were.
#[derive(Debug, Clone, Copy, Default)]
struct Apart {
    /// Sum of the squares, for one edge of both.
    sum2: f64,
    pairs: u32,
}

impl std::ops::AddAssign for Apart {
    fn add_assign(&mut self, other: Apart) {
        self.sum2 += other.sum2;
        self.pairs += other.pairs;
    }
}

impl Jitter {
    pub fn new(teeth: usize) -> Self {
        Jitter { sum: vec![0.0; teeth], n: vec![0; teeth], last: None, apart: Default::default() }
    }

    /// Takes where the next edge came, edges.
    pub fn take(&mut self, edge: usize, place: f64) {
        let n = f64::from(self.n[edge]);
        let late = (self.n[edge] >= LEAST_TURNS).then(|| (place - self.sum[edge] / n, 1.0 / n));
        if let (Some(before), Some(here)) = (self.last, late) {
            let sum2 = (here.0 - before.0).powi(2) / (2.0 + here.1 + before.1);
            self.apart[0] += Apart { sum2, pairs: 1 };
        }
        self.last = late;
        self.sum[edge] += place;
        self.n[edge] += 1;
    }

    /// The edge that comes next does not follow the last one.
    pub fn skip(&mut self) {
        self.last = None;
    }

    /// The piece of running ends. Where the numbers moved in it or in the one before, neither
    /// tells how steadily the edges come.
    pub fn end_piece(&mut self, has_moved: bool) {
        let [this, last, _] = self.apart;
        if has_moved {
            self.restart();
            self.apart[1] = Apart::default();
        } else {
            self.apart[2] += last;
            self.apart[1] = this;
        }
        self.apart[0] = Apart::default();
    }

    /// The teeth of the edges that come next are not those of the edges before.
    pub fn restart(&mut self) {
        *self = Jitter { apart: self.apart, ..Jitter::new(self.n.len()) };
    }

    /// Standard uncertainty of one edge, edges; None below three turns.
    pub fn u(&self) -> Option<f64> {
        let mut all = Apart::default();
        self.apart.iter().for_each(|a| all += *a);
        let is_enough = all.pairs >= LEAST_TURNS * self.n.len() as u32;
        // With one or two edges a turn, the mean over the turn takes up much of the edge's own.
        let left = match self.n.len() {
            1 => 10.0 / 64.0,
            2 => 0.625,
            _ => 1.0,
        };
        is_enough.then(|| (all.sum2 / f64::from(all.pairs) / left).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Places of `turns` turns of four teeth with normal noise of this size (a sum of twelve
    /// uniform numbers by the minimal standard generator; Park and Miller 1988, from memory).
    fn places(turns: usize, size: f64, state: &mut u64) -> Vec<(usize, f64)> {
        let mut uniform = || {
            *state = *state * 16_807 % 2_147_483_647;
            *state as f64 / 2_147_483_647.0
        };
        let mut normal = || (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
        (0..4 * turns).map(|k| (k % 4, 0.1 * (k % 4) as f64 + size * normal())).collect()
    }

    #[test]
    fn many_short_runs_tell_the_jitter_of_one_edge_as_well_as_a_long_one() {
        let (mut jitter, mut state) = (Jitter::new(4), 1);
        for _ in 0..2_000 {
            places(5, 0.02, &mut state).into_iter().for_each(|(k, place)| jitter.take(k, place));
            jitter.restart();
        }
        let u = jitter.u().expect("enough turns");
        assert!((u / 0.02 - 1.0).abs() < 0.02, "{u}");
    }

    #[test]
    fn edges_before_and_after_something_left_out_are_not_compared() {
        let mut jitter = Jitter::new(4);
        for (k, place) in places(10, 0.0, &mut 1) {
            jitter.take(k, place);
        }
        jitter.skip();
        for (k, place) in places(1, 0.0, &mut 1) {
            jitter.take(k, place + 0.5);
        }
        assert!(jitter.u().expect("enough turns") < 0.03, "{jitter:?}");
    }
}
