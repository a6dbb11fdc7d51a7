//! What a recording is doing right now, for a status line or a live view.
//!
//! The readers and the storage thread write it, anybody may take a [`Snapshot`]; nobody waits.

use crate::settings::{SourceKind, SourceSettings};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use wheelwitness_capture::clock::Clock;

/// Messages that may wait for a slow screen; more are counted and skipped.
const MESSAGES_WAITING_MAX: usize = 1000;

/// How a source is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SourceState {
    /// Not there yet since the recording began.
    #[default]
    Awaited,
    /// Open, and bytes come (or it was opened a moment ago).
    Receiving,
    /// Open, but nothing has come for longer than the limit.
    Silent,
    /// Bytes come, but no whole sentence: the speed of the line is in doubt.
    Unframed,
    /// It was there and has gone; looked for.
    Lost,
    /// The recording is over.
    Ended,
}

/// One source, at the moment of the snapshot.
#[derive(Clone, Debug)]
pub struct SourceStatus {
    /// Its name.
    pub name: String,
    /// Its kind.
    pub kind: SourceKind,
    /// How it is doing.
    pub state: SourceState,
    /// The device or what keeps it from being opened.
    pub detail: String,
    /// Bytes received.
    pub bytes: u64,
    /// Chunks received, one record each.
    pub chunks: u64,
    /// What was seen of a CAN bus (CAN interfaces only).
    pub bus: BusStatus,
    /// Whole sentences seen (framed kinds only).
    pub valid_lines: u64,
    /// Damaged lines seen (framed kinds only).
    pub damaged_lines: u64,
    /// Bytes that had to be dropped because storage did not keep up.
    pub dropped_bytes: u64,
    /// How often it was opened.
    pub times_opened: u64,
    /// How often it was lost.
    pub times_lost: u64,
    /// Arrival of the last bytes, on the boot-time clock.
    pub last_boot_ns: Option<i64>,
}

/// A CAN bus, at the moment of the snapshot.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct BusStatus {
    /// Frames received, those that tell about errors included.
    pub frames: u64,
    /// Frames that tell about errors.
    pub errors: u64,
    /// Frames that the kernel lost, as it counted them.
    pub lost_frames: u64,
    /// About how many bits the frames took on the bus.
    pub bits: u64,
    /// There were frames whose bits cannot be counted: the load is not known.
    pub unmeasured: bool,
    /// Bit rate of the bus, in bit/s, if the interface has one.
    pub bit_rate: Option<u32>,
}

impl BusStatus {
    /// The share of the time since `before` in which the bus was busy, a tenth more or less.
    pub fn load(&self, before: &BusStatus, time: Duration) -> Option<f64> {
        let rate = self.bit_rate.filter(|_| !self.unmeasured)?;
        let bits = self.bits.saturating_sub(before.bits) as f64;
        Some(bits / f64::from(rate) / time.as_secs_f64()).filter(|load| load.is_finite())
    }
}

/// Storage, at the moment of the snapshot.
#[derive(Clone, Debug, Default)]
pub struct StorageStatus {
    /// Bytes of content taken for storing.
    pub taken_bytes: u64,
    /// Records numbered.
    pub records: u64,
    /// Records that are safe on the medium.
    pub durable_records: u64,
    /// Bytes waiting in the queue.
    pub queued_bytes: usize,
    /// Space left on the medium, in bytes, if the system tells.
    pub free_bytes: Option<u64>,
    /// Hours until only the reserve is left, at the rate so far.
    pub hours_left: Option<f64>,
    /// What is wrong with the medium now.
    pub trouble: Option<String>,
    /// Records that a listener did not take.
    pub missed_by_taps: u64,
}

/// Everything at one moment.
#[derive(Clone, Debug)]
pub struct Snapshot {
    /// Time recorded, in nanoseconds.
    pub recorded_ns: i64,
    /// The sources, by number.
    pub sources: Vec<SourceStatus>,
    /// The medium.
    pub storage: StorageStatus,
}

/// How much a message matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    /// Good to know.
    Note,
    /// The user should do something.
    Warning,
}

/// One line for the user.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// How much it matters.
    pub weight: Weight,
    /// What happened. May hold text from outside: print it through [`crate::text::printable`].
    pub text: String,
}

/// The shared state of one recording.
pub struct Status {
    clock: Arc<dyn Clock>,
    begun_ns: i64,
    sources: Vec<Mutex<SourceStatus>>,
    storage: Mutex<StorageStatus>,
    messages: SyncSender<Message>,
    skipped: AtomicU64,
}

impl Status {
    /// The state at the beginning, and where the messages come out.
    pub fn new(
        clock: Arc<dyn Clock>,
        sources: &[SourceSettings],
    ) -> (Arc<Self>, Receiver<Message>) {
        let (messages, receiver) = sync_channel(MESSAGES_WAITING_MAX);
        let status = Status {
            begun_ns: clock.now().boot_ns,
            clock,
            sources: sources.iter().map(|s| Mutex::new(SourceStatus::new(s))).collect(),
            storage: Mutex::default(),
            messages,
            skipped: AtomicU64::new(0),
        };
        (Arc::new(status), receiver)
    }

    /// Tells the user something; never waits.
    pub fn tell(&self, weight: Weight, text: impl Into<String>) {
        if self.messages.try_send(Message { weight, text: text.into() }).is_err() {
            self.skipped.fetch_add(1, Ordering::Relaxed);
        }
    }

    /// Messages that were skipped because nobody took them.
    pub fn skipped_messages(&self) -> u64 {
        self.skipped.load(Ordering::Relaxed)
    }

    /// Time since the recording began, in nanoseconds.
    pub fn recorded_ns(&self) -> i64 {
        self.clock.now().boot_ns - self.begun_ns
    }

    /// Everything at this moment.
    pub fn snapshot(&self) -> Snapshot {
        Snapshot {
            recorded_ns: self.recorded_ns(),
            sources: self.sources.iter().map(|s| lock(s).clone()).collect(),
            storage: lock(&self.storage).clone(),
        }
    }

    pub(crate) fn source(&self, number: u16) -> MutexGuard<'_, SourceStatus> {
        lock(&self.sources[usize::from(number)])
    }

    pub(crate) fn storage(&self) -> MutexGuard<'_, StorageStatus> {
        lock(&self.storage)
    }
}

impl SourceStatus {
    fn new(settings: &SourceSettings) -> Self {
        SourceStatus {
            name: settings.name.clone(),
            kind: settings.kind,
            state: SourceState::Awaited,
            detail: String::new(),
            bytes: 0,
            chunks: 0,
            bus: BusStatus::default(),
            valid_lines: 0,
            damaged_lines: 0,
            dropped_bytes: 0,
            times_opened: 0,
            times_lost: 0,
            last_boot_ns: None,
        }
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // Plain counters: whole at every moment, also after a panic elsewhere.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
