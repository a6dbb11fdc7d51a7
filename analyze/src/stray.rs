//! Edges that a sensor gives while the vehicle rests: how many of those that it counts while a hand
//! turns something may be none of a tooth.

use crate::learning::Tooth;
use std::collections::BTreeMap;
use wheelwitness_driveline::pulse::{Count, Counted, Counter};

/// Length of a bin, microseconds.
const BIN_US: i64 = 500_000;

/// Part of an edge that a sensor is thought to give in a rest in which it gave none: one sensor in
/// ten gives strays at all (common practice), and at about one in such a rest nothing would show.
const UNSEEN: f64 = 0.1;

/// Edges of every sensor, bin by bin.
pub struct Rests {
    sensors: Vec<Followed>,
    /// By bin: edges of each sensor, and whether a report was damaged.
    bins: BTreeMap<i64, Bin>,
    /// Stretches in which a hand turns something, microseconds.
    by_hand: Vec<(i64, i64)>,
}

struct Followed {
    channel: u8,
    counter: Counter,
    /// Known to count what no tooth makes.
    noisy: bool,
}

#[derive(Debug, Clone)]
struct Bin {
    edges: Vec<u32>,
    broken: bool,
}

impl Rests {
    /// Nothing heard yet.
    pub fn new(teeth: &[Tooth], by_hand: Vec<(i64, i64)>) -> Self {
        let followed = |t: &Tooth| Followed {
            channel: t.sensor.channel,
            counter: Counter::default(),
            noisy: t.is_noisy(),
        };
        Rests { sensors: teeth.iter().map(followed).collect(), bins: BTreeMap::new(), by_hand }
    }

    /// The board began anew.
    pub fn begin_anew(&mut self) {
        self.sensors.iter_mut().for_each(|s| s.counter = Counter::default());
    }

    /// Takes a report of four counters.
    pub fn take(&mut self, at_us: i64, first_channel: u8, counts: &[Count; 4]) {
        let n = self.sensors.len();
        let fresh = || Bin { edges: vec![0; n], broken: false };
        let bin = self.bins.entry(at_us.div_euclid(BIN_US)).or_insert_with(fresh);
        for (k, sensor) in self.sensors.iter_mut().enumerate() {
            let slot = sensor.channel.checked_sub(first_channel).map(usize::from);
            let Some(report) = slot.and_then(|slot| counts.get(slot)) else { continue };
            let before = sensor.counter.index();
            bin.broken |= sensor.counter.observe(at_us, *report) == Counted::Implausible;
            let new = sensor.counter.index().zip(before).map_or(0, |(now, before)| now - before);
            bin.edges[k] += u32::try_from(new).unwrap_or(0);
        }
    }

    /// Stray edges a second that each sensor may give: those that it gave at rest and [`UNSEEN`] of
    /// one more, over the seconds of rest. None where the vehicle never rested, and of a sensor
    /// that is known to be noisy.
    pub fn per_second(&self) -> Vec<Option<f64>> {
        let of = |k: usize| {
            let resting = self.bins.iter().filter(|(at, bin)| !bin.broken && self.rests(**at, k));
            let (edges, bins) =
                resting.fold((0, 0), |sum, (_, bin)| (sum.0 + bin.edges[k], sum.1 + 1));
            let seconds = f64::from(bins) * BIN_US as f64 * 1e-6;
            (seconds > 0.0 && !self.sensors[k].noisy).then(|| (f64::from(edges) + UNSEEN) / seconds)
        };
        (0..self.sensors.len()).map(of).collect()
    }

    /// Whether the vehicle rests in a bin, by the sensors besides one: all of them are silent from
    /// the bin before to the bin after. Of three or more one may speak: it has strays itself.
    fn rests(&self, at: i64, besides: usize) -> bool {
        let (from, to) = ((at - 1) * BIN_US, (at + 2) * BIN_US);
        if self.by_hand.iter().any(|(a, b)| *a < to && from < *b) {
            return false;
        }
        let near = [-1, 0, 1].map(|d| self.bins.get(&(at + d)));
        let [Some(before), Some(here), Some(after)] = near else { return false };
        let speaks = |k: usize| before.edges[k] + here.edges[k] + after.edges[k] > 0;
        let others = (0..self.sensors.len()).filter(|k| *k != besides);
        let speaking = others.clone().filter(|k| speaks(*k)).count();
        speaking <= usize::from(others.count() >= 3)
    }
}
