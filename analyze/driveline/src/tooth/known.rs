//! What is known of a sensor's teeth, piece by piece.

use super::places::{LEAST_TURNS, Late, Places};
use crate::pulse::{Order, Renumbered};

/// Turns whose edges are kept until the next piece tells whether the numbers moved among them.
const HELD_TURNS: usize = 50;

/// What the pieces of running so far taught.
#[derive(Debug, Clone)]
pub(super) struct Known {
    /// Of every tooth.
    pub places: Places,
    /// Where the edges' numbers began to stand for other teeth, by time.
    pub renumbered: Vec<Renumbered>,
    /// Which tooth made which edge last; None where the board began anew.
    order: Option<Order>,
    /// The last edge before the last piece that showed an order, and all since.
    held: Vec<Late>,
}

impl Known {
    pub fn new(teeth: usize) -> Self {
        Known {
            places: Places::new(teeth),
            renumbered: Vec::new(),
            order: Some(Order::default()),
            held: Vec::new(),
        }
    }

    /// The numbers of the edges after this time have nothing to do with those before.
    pub fn begin_anew(&mut self, after_us: i64) {
        self.renumbered.push(Renumbered { after_us, order: None });
        self.order = None;
        self.held.clear();
        if self.places.turns() < LEAST_TURNS {
            self.places = Places::new(self.places.teeth());
        }
    }

    /// Takes the edges of a piece in, in the order of the teeth that their places show. True where
    /// that is another than before. Where the board began anew and the piece is too short to show
    /// one, it teaches nothing.
    pub fn take(&mut self, shown: &Places, piece: &[Late]) -> bool {
        let found = self.places.order_of(shown, self.order);
        let first = self.places.is_empty().then_some(Order::default());
        let Some(order) = found.or(self.order).or(first) else { return false };
        match self.order.replace(order) {
            Some(before) if before != order => {
                self.move_numbers(before, order, piece);
                return true;
            }
            Some(_) => {}
            None => {
                let after_us = self.renumbered.last().map_or(i64::MIN, |r| r.after_us);
                self.renumbered.push(Renumbered { after_us, order: Some(order) });
            }
        }
        self.places.take_all(piece, order, 1);
        let turns = if found.is_some() { 0 } else { HELD_TURNS };
        let most = (turns * self.places.teeth()).max(1);
        self.held.drain(..self.held.len().saturating_sub(most));
        self.held.extend(piece);
        false
    }

    /// Finds the edge among those that are held and those of this piece from which on the new
    /// order fits better than the old one, and puts every edge to its tooth.
    fn move_numbers(&mut self, old: Order, new: Order, piece: &[Late]) {
        let mut rest = self.places.clone();
        rest.take_all(&self.held, old, -1);
        let known = if rest.turns() >= LEAST_TURNS { &rest } else { &self.places };
        let miss2 = |late: &Late, order: Order| {
            let mean = known.mean(order.tooth_of(late.edge as i64, known.teeth()));
            mean.map_or(0.0, |mean| (late.place - order.sign() * mean).powi(2))
        };
        let mut edges = std::mem::take(&mut self.held);
        edges.extend(piece);
        let (mut least, mut sum, mut moved) = (f64::INFINITY, 0.0, 1);
        for k in 1..edges.len() {
            sum += miss2(&edges[k - 1], old) - miss2(&edges[k - 1], new);
            if sum < least {
                (least, moved) = (sum, k);
            }
        }
        let (before, after) = edges.split_at(moved);
        rest.take_all(before, old, 1);
        rest.take_all(after, new, 1);
        let (last_us, first_us) = (edges[moved - 1].time_us, edges[moved].time_us);
        self.renumbered.push(Renumbered { after_us: last_us, order: None });
        self.renumbered.push(Renumbered { after_us: first_us - 1, order: Some(new) });
        self.places = rest;
        self.held = edges.split_off(moved - 1);
    }
}
