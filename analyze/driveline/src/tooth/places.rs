//! Sums over many turns of where each tooth's edge came.

use crate::pulse::Order;

/// Edges that scatter by less than this part of an edge about their tooth's place repeat once a
/// turn.
const REPEATS: f64 = 0.2;

/// Least edges of each tooth that tell its place.
pub(super) const LEAST_TURNS: u32 = 3;

/// No sensor repeats better than this part of an edge.
const LEAST_SCATTER: f64 = 1e-4;

/// So much less of the sum of squares over their variances speaks for another order as e to
/// the twelfth to one.
const CLEARLY: f64 = 25.0;

/// An edge and where it came against the mean of the turn around it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Late {
    /// Number within the turn.
    pub edge: usize,
    /// Board time, microseconds.
    pub time_us: i64,
    /// Edges.
    pub place: f64,
}

/// Sums of the places of every tooth, edges.
#[derive(Debug, Clone)]
pub(super) struct Places {
    sum: Vec<f64>,
    sum2: Vec<f64>,
    n: Vec<u32>,
}

impl Places {
    pub fn new(teeth: usize) -> Self {
        Places { sum: vec![0.0; teeth], sum2: vec![0.0; teeth], n: vec![0; teeth] }
    }

    pub fn take(&mut self, tooth: usize, place: f64) {
        self.take_times(tooth, place, 1);
    }

    /// Takes edges in that the teeth made in this order, so many times: -1 takes them out again.
    pub fn take_all(&mut self, edges: &[Late], order: Order, times: i32) {
        for late in edges {
            let tooth = order.tooth_of(late.edge as i64, self.teeth());
            self.take_times(tooth, order.sign() * late.place, times);
        }
    }

    fn take_times(&mut self, tooth: usize, place: f64, times: i32) {
        self.sum[tooth] += f64::from(times) * place;
        self.sum2[tooth] += f64::from(times) * place * place;
        self.n[tooth] = self.n[tooth].saturating_add_signed(times);
    }

    /// In which order the teeth made the edges of another stretch of running: the usual one,
    /// unless another fits clearly better. None where too little is known to tell.
    ///
    /// Neighbours are compared, which leaves out how unevenly the vehicle ran within a turn.
    pub fn order_of(&self, other: &Places, usual: Option<Order>) -> Option<Order> {
        let (here, there) = (self.positions()?, other.positions()?);
        let scatter = self.scatter().max(other.scatter()).max(LEAST_SCATTER);
        let (teeth, variance) = (here.len(), 2.0 * scatter * scatter);
        let miss = |order: Order| -> f64 {
            let at = |k: usize| order.edge_of(k % teeth, teeth);
            let late = |k: usize| here[k % teeth] - order.sign() * there[at(k)];
            let share = |k: usize| 1.0 / f64::from(self.n[k]) + 1.0 / f64::from(other.n[at(k)]);
            (0..teeth).map(|k| (late(k + 1) - late(k)).powi(2) / (variance * share(k))).sum()
        };
        let orders = [false, true]
            .into_iter()
            .flat_map(|backwards| (0..teeth).map(move |first| Order { first, backwards }));
        let best = orders.min_by(|a, b| miss(*a).total_cmp(&miss(*b)))?;
        let clearly = |usual: Order| {
            let (kept, moved) = (miss(usual), miss(best));
            kept - moved > CLEARLY && moved < kept / 4.0
        };
        Some(usual.filter(|usual| !clearly(*usual)).unwrap_or(best))
    }

    pub fn teeth(&self) -> usize {
        self.n.len()
    }

    /// Mean place of a tooth.
    pub fn mean(&self, tooth: usize) -> Option<f64> {
        let n = self.n[tooth];
        (n > 0).then(|| self.sum[tooth] / f64::from(n))
    }

    pub fn is_empty(&self) -> bool {
        self.n.iter().all(|n| *n == 0)
    }

    pub fn turns(&self) -> u32 {
        self.n.iter().copied().min().unwrap_or(0)
    }

    pub fn positions(&self) -> Option<Vec<f64>> {
        if self.turns() < LEAST_TURNS {
            return None;
        }
        let mut at: Vec<f64> =
            self.sum.iter().zip(&self.n).map(|(s, n)| s / f64::from(*n)).collect();
        let middle = at.iter().sum::<f64>() / at.len() as f64;
        at.iter_mut().for_each(|p| *p -= middle);
        Some(at)
    }

    pub fn spacing(&self) -> Option<Vec<f64>> {
        let at = self.positions()?;
        Some((0..at.len()).map(|k| 1.0 + at[(k + 1) % at.len()] - at[k]).collect())
    }

    pub fn scatter(&self) -> f64 {
        let (n, teeth) = (self.n.iter().sum::<u32>(), self.n.len());
        let within: f64 = (0..teeth)
            .filter(|k| self.n[*k] > 0)
            .map(|k| self.sum2[k] - self.sum[k].powi(2) / f64::from(self.n[k]))
            .sum();
        (within.max(0.0) / f64::from(n.saturating_sub(teeth as u32).max(1))).sqrt()
    }

    /// Whether one interval is about twice the others; None while that is not known.
    pub fn double_gap(&self) -> Option<bool> {
        let mut sorted = self.spacing()?;
        sorted.sort_by(f64::total_cmp);
        let (typical, widest) = (sorted[sorted.len() / 2], sorted[sorted.len() - 1]);
        let twice = (1.7..2.4).contains(&(widest / typical));
        Some(sorted.len() >= 2 && twice && self.scatter() < REPEATS)
    }
}
