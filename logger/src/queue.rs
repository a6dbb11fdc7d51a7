//! The bounded queue between the readers and the storage thread.
//!
//! A reader never waits for the disk. When the queue is full, the oldest bytes of the least
//! important source go, and the place where they were tells how many: a hole is always counted.
//! Events (a source was lost, a text) are small and rare and are never dropped.

use std::collections::VecDeque;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Memory that one entry takes besides its bytes, in the sum that is bounded.
const ENTRY_OVERHEAD_BYTES: usize = 64;

/// The storage thread sleeps until this much waits, an event comes or its patience ends:
/// a thousand small chunks a second then cost a few wake-ups, not a thousand.
const WAKE_BYTES: usize = 64 * 1024;

/// What waits to be stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Entry<E> {
    /// Bytes that arrived.
    Bytes(Vec<u8>),
    /// Something that happened to the source; never dropped.
    Event(E),
    /// Bytes that had to be dropped here.
    Dropped(Dropped),
}

/// What was dropped in one place, because storage did not keep up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Dropped {
    /// Chunks of bytes dropped.
    pub chunks: u64,
    /// Bytes dropped.
    pub bytes: u64,
    /// Arrival of the last chunk dropped, on the boot-time clock.
    pub last_boot_ns: i64,
}

/// An entry on its way to the disk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiting<E> {
    /// Number of the source.
    pub source: u16,
    /// Arrival on the boot-time clock.
    pub boot_ns: i64,
    /// What it is.
    pub entry: Entry<E>,
}

struct Numbered<E> {
    order: u64,
    boot_ns: i64,
    entry: Entry<E>,
}

struct Lane<E> {
    /// Dropping begins with the lanes of the lowest priority.
    priority: u8,
    waiting: VecDeque<Numbered<E>>,
    /// Entries with bytes among those waiting.
    chunks: usize,
}

struct Inner<E> {
    lanes: Vec<Lane<E>>,
    order: u64,
    held_bytes: usize,
    closed: bool,
}

/// The queue: one lane a source, emptied in order of arrival over all lanes.
pub struct Queue<E> {
    inner: Mutex<Inner<E>>,
    arrived: Condvar,
    capacity_bytes: usize,
}

impl<E> Queue<E> {
    /// A queue with one lane per priority given (higher is more important).
    pub fn new(priorities: &[u8], capacity_bytes: usize) -> Self {
        let lane = |&priority| Lane { priority, waiting: VecDeque::new(), chunks: 0 };
        let lanes = priorities.iter().map(lane).collect();
        let inner = Inner { lanes, order: 0, held_bytes: 0, closed: false };
        Queue { inner: Mutex::new(inner), arrived: Condvar::new(), capacity_bytes }
    }

    /// Adds bytes; never waits. Returns how many bytes were dropped to make room.
    pub fn push_bytes(&self, source: u16, boot_ns: i64, bytes: Vec<u8>) -> u64 {
        let mut inner = self.lock();
        inner.held_bytes += bytes.len() + ENTRY_OVERHEAD_BYTES;
        inner.push(source, boot_ns, Entry::Bytes(bytes));
        let mut dropped = 0;
        while inner.held_bytes > self.capacity_bytes {
            let Some(bytes) = inner.drop_oldest() else { break };
            dropped += bytes;
        }
        if inner.held_bytes >= WAKE_BYTES {
            self.arrived.notify_one();
        }
        dropped
    }

    /// Adds an event; never waits and never drops it.
    pub fn push_event(&self, source: u16, boot_ns: i64, event: E) {
        self.lock().push(source, boot_ns, Entry::Event(event));
        self.arrived.notify_one();
    }

    /// No more will come; whatever waits can still be taken.
    pub fn close(&self) {
        self.lock().closed = true;
        self.arrived.notify_all();
    }

    /// Up to `most` entries in order of arrival, waiting up to `patience` if there is none.
    /// `None` once the queue is closed and empty.
    pub fn take(&self, most: usize, patience: Duration) -> Option<Vec<Waiting<E>>> {
        let until = Instant::now() + patience;
        let mut inner = self.lock();
        loop {
            let batch: Vec<_> = std::iter::from_fn(|| inner.pop()).take(most).collect();
            if !batch.is_empty() {
                return Some(batch);
            }
            if inner.closed {
                return None;
            }
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Some(Vec::new());
            }
            let waited = self.arrived.wait_timeout(inner, left);
            inner = waited.unwrap_or_else(PoisonError::into_inner).0;
        }
    }

    /// Bytes held now, the overhead of entries included.
    pub fn held_bytes(&self) -> usize {
        self.lock().held_bytes
    }

    fn lock(&self) -> MutexGuard<'_, Inner<E>> {
        // Nothing in here panics between two consistent states.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<E> Inner<E> {
    fn push(&mut self, source: u16, boot_ns: i64, entry: Entry<E>) {
        let Some(lane) = self.lanes.get_mut(usize::from(source)) else { return };
        lane.chunks += usize::from(matches!(entry, Entry::Bytes(_)));
        lane.waiting.push_back(Numbered { order: self.order, boot_ns, entry });
        self.order += 1;
    }

    fn pop(&mut self) -> Option<Waiting<E>> {
        let fronts = self.lanes.iter().enumerate();
        let (_, source) =
            fronts.filter_map(|(i, lane)| Some((lane.waiting.front()?.order, i))).min()?;
        let lane = &mut self.lanes[source];
        let Numbered { boot_ns, entry, .. } = lane.waiting.pop_front()?;
        if let Entry::Bytes(bytes) = &entry {
            lane.chunks -= 1;
            self.held_bytes -= bytes.len() + ENTRY_OVERHEAD_BYTES;
        }
        Some(Waiting { source: source as u16, boot_ns, entry })
    }

    /// Drops the oldest chunk of the least important lane that has one; returns its length.
    fn drop_oldest(&mut self) -> Option<u64> {
        let lane = self
            .lanes
            .iter_mut()
            .filter(|lane| lane.chunks > 0)
            .min_by_key(|lane| lane.priority)?;
        let at = lane.waiting.iter().position(|n| matches!(n.entry, Entry::Bytes(_)))?;
        let Entry::Bytes(bytes) = &lane.waiting[at].entry else { return None };
        let length = bytes.len();
        lane.chunks -= 1;
        self.held_bytes -= length + ENTRY_OVERHEAD_BYTES;
        lane.count_dropped(at, length as u64);
        Some(length as u64)
    }
}

impl<E> Lane<E> {
    /// Turns the chunk at `at` into a count, joined with a count directly before it.
    fn count_dropped(&mut self, at: usize, bytes: u64) {
        let last_boot_ns = self.waiting[at].boot_ns;
        if let Some(before) = at.checked_sub(1)
            && let Entry::Dropped(count) = &mut self.waiting[before].entry
        {
            *count = Dropped { chunks: count.chunks + 1, bytes: count.bytes + bytes, last_boot_ns };
            self.waiting.remove(at);
        } else {
            self.waiting[at].entry = Entry::Dropped(Dropped { chunks: 1, bytes, last_boot_ns });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const NO_WAIT: Duration = Duration::ZERO;

    fn all(queue: &Queue<char>) -> Vec<Waiting<char>> {
        queue.take(usize::MAX, NO_WAIT).unwrap()
    }

    #[test]
    fn entries_leave_in_the_order_in_which_they_came_over_all_sources() {
        let queue = Queue::new(&[1, 1, 1], 1 << 20);
        let order = [2, 0, 1, 1, 0, 2, 2];
        for (at, &source) in order.iter().enumerate() {
            queue.push_bytes(source, at as i64, vec![at as u8]);
        }
        let out = all(&queue);
        assert_eq!(out.iter().map(|w| w.source).collect::<Vec<_>>(), order);
        assert!(out.is_sorted_by_key(|w| w.boot_ns));
        assert_eq!(queue.held_bytes(), 0);
    }

    #[test]
    fn a_full_queue_drops_the_oldest_bytes_of_the_least_important_source_and_says_where() {
        let queue = Queue::new(&[9, 1], 10 * (100 + ENTRY_OVERHEAD_BYTES));
        queue.push_event(1, 0, 'o');
        for at in 0..8 {
            queue.push_bytes(at % 2, i64::from(at), vec![at as u8; 100]);
        }
        let dropped: u64 = (8..12).map(|at| queue.push_bytes(0, at, vec![at as u8; 100])).sum();
        assert_eq!(dropped, 200);
        let other: Vec<_> =
            all(&queue).into_iter().filter(|w| w.source == 1).map(|w| w.entry).collect();
        let count = Dropped { chunks: 2, bytes: 200, last_boot_ns: 3 };
        let kept = |n| Entry::Bytes(vec![n; 100]);
        assert_eq!(other, [Entry::Event('o'), Entry::Dropped(count), kept(5), kept(7)]);
    }

    #[test]
    fn the_taker_gets_what_came_and_ends_when_the_queue_is_closed() {
        let queue = Queue::<char>::new(&[1], 1 << 20);
        std::thread::scope(|threads| {
            let taker = threads.spawn(|| {
                let first = queue.take(9, Duration::from_secs(60));
                (first, queue.take(9, Duration::from_secs(60)))
            });
            queue.push_bytes(0, 7, vec![1, 2]);
            queue.close();
            let (first, second) = taker.join().unwrap();
            assert_eq!(first.unwrap()[0].entry, Entry::Bytes(vec![1, 2]));
            assert_eq!(second, None);
        });
    }

    proptest! {
        #[test]
        fn what_went_in_is_what_came_out_plus_what_was_counted(
            pushes in prop::collection::vec(
                (0u16..4, 0usize..300, any::<bool>(), 0usize..4),
                1..200,
            ),
            capacity in 200usize..5000,
        ) {
            let queue = Queue::new(&[3, 1, 2, 1], capacity);
            let (mut fed, mut seen, mut counted, mut told) = (0u64, 0u64, 0u64, 0u64);
            let (mut events_in, mut events_out) = (0, 0);
            let mut tally = |batch: Vec<Waiting<char>>| for waiting in batch {
                match waiting.entry {
                    Entry::Bytes(bytes) => seen += bytes.len() as u64,
                    Entry::Dropped(count) => counted += count.bytes,
                    Entry::Event(_) => events_out += 1,
                }
            };
            for (at, (source, length, is_event, taken)) in pushes.into_iter().enumerate() {
                if is_event {
                    queue.push_event(source, at as i64, 'e');
                    events_in += 1;
                } else {
                    told += queue.push_bytes(source, at as i64, vec![0; length]);
                    fed += length as u64;
                }
                prop_assert!(queue.held_bytes() <= capacity.max(length + ENTRY_OVERHEAD_BYTES));
                tally(queue.take(taken, NO_WAIT).unwrap());
            }
            tally(all(&queue));
            prop_assert_eq!(fed, seen + counted);
            prop_assert_eq!(told, counted);
            prop_assert_eq!(events_in, events_out);
        }
    }
}
