//! Board ticks to one running count of microseconds, and the boots of a board.

use wheelwitness_capture::board::Sentence;
use wheelwitness_capture::sequence::{Seen, Sequence};

const WRAP_US: i64 = 1 << 32;

/// Follows one board's sentences: which are missing or doubled, which boot they belong to, and
/// where their 32-bit tick stands on a count that does not wrap.
#[derive(Debug, Clone, Default)]
pub struct BoardTrack {
    /// Sentence numbers accounted for.
    pub sequence: Sequence,
    newest: Option<(i64, i64)>,
    epoch: usize,
}

/// Where a sentence belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placed {
    /// Boot of the board, counted from 0 in this capture.
    pub epoch: usize,
    /// Tick, microseconds, unwrapped within its boot.
    pub tick_us: i64,
    /// What its number meant.
    pub seen: Seen,
}

impl BoardTrack {
    /// Places a sentence that arrived at `host_us`; None for one that was received before.
    ///
    /// Of all ticks that end in the same 32 bits the one nearest to the host's prediction is
    /// taken, so that a gap longer than one wrap (71.6 minutes) is counted across.
    pub fn push(&mut self, sentence: &Sentence, host_us: i64) -> Option<Placed> {
        let seen = self.sequence.push_at(sentence, host_us);
        match seen {
            Seen::Doubled => return None,
            Seen::Restarted { .. } => {
                self.epoch += 1;
                self.newest = None;
            }
            _ => {}
        }
        let tick = i64::from(sentence.tick);
        let tick_us = match self.newest {
            None => tick,
            Some((newest, newest_host)) => {
                let expected = newest + (host_us - newest_host);
                tick + (expected - tick + WRAP_US / 2).div_euclid(WRAP_US) * WRAP_US
            }
        };
        if self.newest.is_none_or(|n| tick_us > n.0) {
            self.newest = Some((tick_us, host_us));
        }
        Some(Placed { epoch: self.epoch, tick_us, seen })
    }
}

/// Follows the millisecond clock of a serial-line adapter, which wraps every minute.
#[derive(Debug, Clone, Default)]
pub struct AdapterTrack {
    newest: Option<(i64, i64)>,
}

/// Milliseconds after which such a clock begins anew (its readings end at EA5F).
const ADAPTER_WRAP_MS: i64 = 60_000;

impl AdapterTrack {
    /// Milliseconds on a count that does not wrap: of all that end alike, the one nearest to what
    /// the host's clock (milliseconds) lets expect.
    pub fn push(&mut self, ms: u16, host_ms: i64) -> i64 {
        let ms = i64::from(ms);
        let (newest, newest_host) = *self.newest.get_or_insert((ms, host_ms));
        let expected = newest + (host_ms - newest_host);
        let wraps = (expected - ms + ADAPTER_WRAP_MS / 2).div_euclid(ADAPTER_WRAP_MS);
        let unwrapped = ms + wraps * ADAPTER_WRAP_MS;
        if unwrapped > newest {
            self.newest = Some((unwrapped, host_ms));
        }
        unwrapped
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use wheelwitness_capture::board::{Says, Tally};

    #[test]
    fn an_adapter_clock_goes_on_across_its_wrap_and_across_silent_minutes() {
        let mut track = AdapterTrack::default();
        // EA5F to 0000 is one millisecond (serial-line practice), not a minute back.
        assert_eq!(track.push(0xEA5F, 1_000), 59_999);
        assert_eq!(track.push(0x0000, 1_016), 60_000);
        assert_eq!(track.push(0x0005, 1_000 + 180_010), 240_005);
    }

    fn at(sequence: u8, tick: u32) -> Sentence {
        Sentence { sequence, tick, says: Says::Levels(0) }
    }

    #[test]
    fn ticks_run_on_through_a_wrap_and_through_a_gap_of_three_wraps() {
        let mut track = BoardTrack::default();
        let mut tick = |n, t, host| track.push(&at(n, t), host).map(|p| p.tick_us);
        let start = u32::MAX - 999;
        assert_eq!(tick(0, start, 0), Some(i64::from(start)));
        assert_eq!(tick(1, 9_000, 10_000), Some(i64::from(start) + 10_000));
        let gap = 3 * WRAP_US + 500;
        assert_eq!(tick(2, 9_500, 10_000 + gap + 3_000), Some(i64::from(start) + 10_000 + gap));
    }

    #[test]
    fn a_new_boot_number_begins_a_new_epoch_even_at_a_plausible_tick() {
        let mut track = BoardTrack::default();
        let mut push = |sequence, boot_number, tick, host| {
            let tally = Tally { boot_number, sent: u32::from(sequence) + 1, closing: false };
            track.push(&Sentence { sequence, tick, says: Says::Tally(tally) }, host)
        };
        let first = push(4, 7, 1_000, 0);
        assert_eq!(first.map(|p| p.epoch), Some(0));
        assert_eq!(push(5, 7, 11_000, 10_000).map(|p| p.epoch), Some(0));
        let next = push(0, 8, 21_000, 20_000);
        assert_eq!(next.map(|p| (p.epoch, p.tick_us)), Some((1, 21_000)));
    }
}
