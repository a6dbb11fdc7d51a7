//! Taps: somebody who listens to a recording while it is made, and can never hold it up.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use wheelwitness_capture::record::Record;

/// A listener to the records of a recording, in the order of their numbers.
///
/// Called on the storage thread. It must return at once, taking the record or not; a record that
/// it does not take is counted as missed and never offered again. A tap that panics is detached.
pub trait Tap: Send {
    /// Offers one record; `false` means that it was not taken.
    fn offer(&mut self, record: &Record) -> bool;
}

/// A tap that passes records to another thread through a bounded channel.
pub struct ChannelTap(SyncSender<Record>);

impl ChannelTap {
    /// A tap that holds at most `capacity` records that were not yet received.
    pub fn new(capacity: usize) -> (ChannelTap, Receiver<Record>) {
        let (sender, receiver) = sync_channel(capacity);
        (ChannelTap(sender), receiver)
    }
}

impl Tap for ChannelTap {
    fn offer(&mut self, record: &Record) -> bool {
        self.0.try_send(record.clone()).is_ok()
    }
}

/// The taps of one recording.
pub struct Taps {
    attached: Vec<Box<dyn Tap>>,
    missed: u64,
}

impl Taps {
    /// These taps, all attached.
    pub fn new(attached: Vec<Box<dyn Tap>>) -> Self {
        Taps { attached, missed: 0 }
    }

    /// Whether nobody listens.
    pub fn is_empty(&self) -> bool {
        self.attached.is_empty()
    }

    /// Offers one record to every tap. Returns how many taps were detached because they panicked.
    pub fn offer(&mut self, record: &Record) -> usize {
        let before = self.attached.len();
        self.attached.retain_mut(|tap| {
            match catch_unwind(AssertUnwindSafe(|| tap.offer(record))) {
                Ok(taken) => {
                    self.missed += u64::from(!taken);
                    true
                }
                Err(_) => false,
            }
        });
        before - self.attached.len()
    }

    /// Records that some tap did not take.
    pub fn missed(&self) -> u64 {
        self.missed
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use wheelwitness_capture::record::Kind;

    fn record(number: u64) -> Record {
        Record { number, source: 0, boot_ns: 0, kind: Kind::Bytes, bytes: vec![1, 2, 3] }
    }

    #[test]
    fn a_slow_listener_misses_records_and_the_count_says_how_many() {
        let (tap, records) = ChannelTap::new(3);
        let mut taps = Taps::new(vec![Box::new(tap)]);
        for number in 0..10 {
            taps.offer(&record(number));
        }
        assert_eq!(taps.missed(), 7);
        drop(taps);
        assert_eq!(records.iter().map(|r| r.number).collect::<Vec<_>>(), [0, 1, 2]);
    }

    #[test]
    fn a_panicking_tap_is_detached_and_the_others_go_on() {
        struct Faulty;
        impl Tap for Faulty {
            fn offer(&mut self, _: &Record) -> bool {
                panic!("a simulated bug in a tap")
            }
        }
        let (good, records) = ChannelTap::new(10);
        let mut taps = Taps::new(vec![Box::new(Faulty), Box::new(good)]);
        assert_eq!(taps.offer(&record(0)), 1);
        assert_eq!(taps.offer(&record(1)), 0);
        drop(taps);
        assert_eq!(records.iter().count(), 2);
    }
}
