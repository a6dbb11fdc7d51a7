//! When the computer slept: boot-time ran on, monotonic time did not, and nothing was recorded.

use wheelwitness_capture::clock::Stamp;

/// One stretch in which the computer slept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sleep {
    /// Boot-time of the last record before it, nanoseconds.
    pub from_ns: i64,
    /// Boot-time of the first record after it.
    pub to_ns: i64,
    /// How long it slept: by so much boot-time got ahead of monotonic time.
    pub slept_ns: i64,
}

/// Follows the stamps of the blocks, and the records between them.
///
/// The clocks of a stamp are read one after the other, boot-time first. Whatever holds the reader
/// up between the two makes boot-time look *less* ahead than it is, so the furthest that it ever
/// was is the truth so far, and only going further is sleep.
#[derive(Debug, Clone, Default)]
pub struct Sleeps {
    ahead_ns: Option<i64>,
    stamp: Option<Stamp>,
    newest_ns: Option<i64>,
    /// The longest silence of all sources since the stamp before.
    silence: Option<(i64, i64)>,
    found: Vec<Sleep>,
}

/// Less is no sleep: waking up alone takes longer, and it is far above what reading clocks costs.
const LEAST_NS: i64 = 100_000_000;
/// More sleeps than this are damage or malice; they add up in the last one.
const MOST: usize = 1000;

impl Sleeps {
    /// Takes a record's boot-time and the clocks at the beginning of its block.
    pub fn push(&mut self, stamp: Option<Stamp>, boot_ns: i64) {
        let newest = *self.newest_ns.get_or_insert(boot_ns);
        let longest = self.silence.map_or(0, |(from, to)| to.saturating_sub(from));
        if boot_ns.saturating_sub(newest) >= longest {
            self.silence = Some((newest, boot_ns));
        }
        self.newest_ns = Some(newest.max(boot_ns));
        if stamp != self.stamp {
            self.stamp = stamp;
            stamp.into_iter().for_each(|stamp| self.take_stamp(stamp));
        }
    }

    fn take_stamp(&mut self, stamp: Stamp) {
        let ahead_ns = stamp.boot_ns.saturating_sub(stamp.mono_ns);
        let before = *self.ahead_ns.get_or_insert(ahead_ns);
        let slept_ns = ahead_ns.saturating_sub(before);
        self.ahead_ns = Some(before.max(ahead_ns));
        let silence = self.silence.take();
        let Some((from_ns, to_ns)) = silence.filter(|_| slept_ns >= LEAST_NS) else { return };
        match self.found.get_mut(MOST - 1) {
            Some(last) => last.slept_ns = last.slept_ns.saturating_add(slept_ns),
            None => self.found.push(Sleep { from_ns, to_ns, slept_ns }),
        }
    }

    /// The sleeps found, in order.
    pub fn found(&self) -> &[Sleep] {
        &self.found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp(boot_ns: i64, mono_ns: i64) -> Option<Stamp> {
        Some(Stamp { boot_ns, mono_ns, wall_ns: 0 })
    }

    #[test]
    fn a_reader_that_was_held_up_between_two_clocks_has_not_slept() {
        const S: i64 = 1_000_000_000;
        let mut sleeps = Sleeps::default();
        for (second, held_up_ns) in [(0, 0), (1, 3 * S), (2, 0), (3, S / 2), (4, 0)] {
            sleeps.push(stamp(second * S, second * S + held_up_ns), second * S);
        }
        assert_eq!(sleeps.found(), []);
    }

    #[test]
    fn times_that_no_clock_shows_make_no_sum_run_over() {
        let mut sleeps = Sleeps::default();
        for (boot, mono) in [(i64::MIN, i64::MAX), (i64::MAX, i64::MIN), (0, 0), (i64::MAX, -1)] {
            sleeps.push(stamp(boot, mono), boot);
        }
    }
}
