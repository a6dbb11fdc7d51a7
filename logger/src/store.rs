//! The storage thread: takes from the queue, writes the capture, watches the medium.
//!
//! The only place that waits for the disk. A medium that fails is told within a second; the
//! recording goes on in a new segment, then on the second medium if there is one, then in memory.

use crate::queue::{Entry, Queue, Waiting};
use crate::settings::{Limits, seconds};
use crate::source::Event;
use crate::status::{Status, Weight};
use crate::stop::{Reason, Stop};
use crate::tap::Taps;
use crate::text;
use std::io;
use std::sync::Arc;
use std::time::{Duration, Instant};
use wheelwitness_capture::clock::Clock;
use wheelwitness_capture::record::{Kind, Losses, Record, RecordingId};
use wheelwitness_capture::storage::Storage;
use wheelwitness_capture::wall::WallClock;
use wheelwitness_capture::write::{Limits as WriterLimits, Progress, Writer};

/// Entries taken from the queue at once.
const BATCH: usize = 256;
/// Longest sleep when nothing comes: records are never older than this when they are written.
const PATIENCE: Duration = Duration::from_millis(50);
/// How often the space left is looked at.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// Boot-time that gets ahead by less is no sleep.
const LEAST_SLEEP_NS: i64 = 100_000_000;
/// No estimate of the time left before so much was recorded, in nanoseconds.
const ESTIMATE_AFTER_NS: i64 = 5_000_000_000;
/// Space for less than so many hours is told again, after the first warning that the limits set.
const URGENT_BELOW_H: [f64; 2] = [0.5, 1.0 / 6.0];
/// What a record takes on the medium besides its content, about, in bytes.
const RECORD_OVERHEAD_BYTES: u64 = 8;

/// A medium to record on.
pub struct Target {
    /// Its name for the user.
    pub place: String,
    /// The medium.
    pub storage: Box<dyn Storage>,
    /// Asks how many bytes are left on it.
    pub room: Box<dyn Fn() -> Option<u64> + Send>,
}

/// How storing ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// Which recording it was.
    pub recording: RecordingId,
    /// Records numbered.
    pub records: u64,
    /// Records that are safe.
    pub durable_records: u64,
    /// Bytes that were dropped and counted in the capture, or could not even be counted there.
    pub dropped_bytes: u64,
    /// The recording has its closing record.
    pub closed: bool,
    /// Where it is: one place, or two if the second medium took over.
    pub places: Vec<String>,
}

/// What the storage thread needs from the recording.
pub struct Ties {
    /// Where everything comes from.
    pub queue: Arc<Queue<Event>>,
    /// What the user sees.
    pub status: Arc<Status>,
    /// Ends the recording.
    pub stop: Stop,
    /// The clock that stamps blocks.
    pub clock: Arc<dyn Clock>,
    /// Limits of the recording.
    pub limits: Limits,
    /// How much faster than real time the clock runs.
    pub clock_scale: f64,
    /// What a chunk of each source is, by number of the source.
    pub contents: Vec<Kind>,
}

#[derive(Clone, Copy, Default)]
struct Refused {
    records: u64,
    bytes: u64,
}

struct Failing {
    since: Instant,
    durable_records: u64,
}

/// The storage side of one recording.
pub struct Store {
    ties: Ties,
    writer: Writer<Box<dyn Storage>>,
    room: Box<dyn Fn() -> Option<u64> + Send>,
    places: Vec<String>,
    spare: Option<Target>,
    taps: Taps,
    refused: Vec<Refused>,
    dropped_bytes: u64,
    failing: Option<Failing>,
    looked: Option<Instant>,
    /// The space left was last told to be enough for less than so many hours.
    warned_below_h: f64,
    /// By so much boot-time was ahead of monotonic time, at the most.
    ahead_ns: i64,
    wall: WallClock,
}

impl Store {
    /// Begins a recording on `first`, with `spare` to take over.
    pub fn begin(ties: Ties, first: Target, spare: Option<Target>, taps: Taps) -> io::Result<Self> {
        let base = WriterLimits::default();
        let limits = WriterLimits {
            // 250 ms of the user's time, however fast a simulated clock runs.
            sync_interval_ns: (base.sync_interval_ns as f64 * ties.clock_scale) as i64,
            segment_ns: (base.segment_ns as f64 * ties.clock_scale.max(1.0)) as i64,
            held_bytes: ties.limits.queue_mib as usize * 1024 * 1024,
            ..base
        };
        let writer =
            Writer::create(first.storage, ties.clock.clone(), RecordingId::random(), limits)?;
        let sources = ties.status.snapshot().sources.len();
        let began = ties.clock.now();
        Ok(Store {
            ties,
            writer,
            room: first.room,
            places: vec![first.place],
            spare,
            taps,
            refused: vec![Refused::default(); sources],
            dropped_bytes: 0,
            failing: None,
            looked: None,
            warned_below_h: f64::INFINITY,
            ahead_ns: began.boot_ns - began.mono_ns,
            wall: WallClock::default(),
        })
    }

    /// Records an event of the recorder itself or of a source.
    pub fn add(&mut self, source: u16, kind: Kind, bytes: Vec<u8>) {
        let boot_ns = self.ties.clock.now().boot_ns;
        self.append(source, kind, boot_ns, bytes);
    }

    /// Writes what is there now; `Err` if the medium refuses.
    pub fn flush(&mut self) -> Result<(), String> {
        match self.writer.flush() {
            Progress { durable_records, trouble: Some(trouble) }
                if durable_records < self.writer.next_record() =>
            {
                Err(trouble.to_string())
            }
            _ => Ok(()),
        }
    }

    /// Stores until the queue is closed and empty.
    pub fn run(mut self) -> Kept {
        while let Some(batch) = self.ties.queue.take(BATCH, PATIENCE) {
            for waiting in batch {
                self.keep(waiting);
            }
            // Whoever stops a recording may cut the power next: then nothing waits.
            let stopping = self.ties.stop.reason().is_some() && self.failing.is_none();
            let progress = if stopping { self.writer.flush() } else { self.writer.pump() };
            self.heed(progress);
            self.mind_patience();
            if self.looked.is_none_or(|at| at.elapsed() >= LOOK_EVERY) {
                self.looked = Some(Instant::now());
                self.look_at_room();
                self.look_at_sleep();
                self.look_at_wall_clock();
            }
            self.show();
        }
        self.end()
    }

    fn keep(&mut self, waiting: Waiting<Event>) {
        let Waiting { source, boot_ns, entry } = waiting;
        self.confess(source, boot_ns);
        match entry {
            Entry::Bytes(bytes) => {
                let kind = self.ties.contents.get(usize::from(source)).copied();
                self.append(source, kind.unwrap_or(Kind::Bytes), boot_ns, bytes);
            }
            Entry::Event(event) => self.append(source, event.kind, boot_ns, event.bytes),
            Entry::Dropped(dropped) => {
                self.count_dropped(source, dropped.bytes);
                let reason = "storage did not keep up".to_owned();
                let losses = Losses { records: dropped.chunks, bytes: dropped.bytes, reason };
                self.append(source, Kind::Losses, boot_ns, losses.to_bytes());
            }
        }
    }

    fn append(&mut self, source: u16, kind: Kind, boot_ns: i64, bytes: Vec<u8>) {
        match self.writer.append(source, kind, boot_ns, &bytes) {
            Ok(number) => self.offer(Record { number, source, boot_ns, kind, bytes }),
            Err(_) => self.refuse(source, bytes.len() as u64),
        }
    }

    fn offer(&mut self, record: Record) {
        self.ties.status.storage().taken_bytes += record.bytes.len() as u64;
        if !self.taps.is_empty() && self.taps.offer(&record) > 0 {
            let text = "a listener failed (our bug) and was detached; the recording goes on";
            self.ties.status.tell(Weight::Warning, text);
        }
    }

    /// The memory for a failing medium is used up: counts what had to go.
    fn refuse(&mut self, source: u16, bytes: u64) {
        self.count_dropped(source, bytes);
        if let Some(refused) = self.refused.get_mut(usize::from(source)) {
            *refused = Refused { records: refused.records + 1, bytes: refused.bytes + bytes };
        }
    }

    /// Records what was refused, as soon as a record is taken again.
    fn confess(&mut self, source: u16, boot_ns: i64) {
        let at = usize::from(source);
        let Some(&Refused { records, bytes }) = self.refused.get(at) else { return };
        if records == 0 {
            return;
        }
        let reason = "the medium failed and memory was full".to_owned();
        let losses = Losses { records, bytes, reason }.to_bytes();
        if self.writer.append(source, Kind::Losses, boot_ns, &losses).is_ok() {
            self.refused[at] = Refused::default();
        }
    }

    fn count_dropped(&mut self, source: u16, bytes: u64) {
        self.dropped_bytes += bytes;
        if usize::from(source) < self.refused.len() {
            self.ties.status.source(source).dropped_bytes += bytes;
        }
    }

    /// Reacts to what the writer says about the medium.
    fn heed(&mut self, progress: Progress) {
        let Some(trouble) = progress.trouble else { return self.heed_recovery() };
        let place = self.places.last().cloned().unwrap_or_default();
        self.tell(Weight::Warning, format!("{place}: {trouble}"));
        if self.writer.durable_records() == self.writer.next_record() {
            self.failing = None;
            self.tell(Weight::Note, format!("{place}: goes on in a new segment, nothing is lost"));
            return;
        }
        self.ties.status.storage().trouble = Some(trouble.error.to_string());
        if self.change_over() {
            let progress = self.writer.flush();
            return self.heed(progress);
        }
        let durable_records = self.writer.durable_records();
        self.failing.get_or_insert(Failing { since: Instant::now(), durable_records });
    }

    fn heed_recovery(&mut self) {
        let durable = self.writer.durable_records();
        if self.failing.as_ref().is_some_and(|failing| durable > failing.durable_records) {
            self.failing = None;
            self.tell(Weight::Note, "the medium takes data again".into());
        }
        if self.failing.is_none() {
            self.ties.status.storage().trouble = None;
        }
    }

    /// Goes on with the second medium if it is still unused.
    fn change_over(&mut self) -> bool {
        let Some(spare) = self.spare.take() else { return false };
        self.writer.change_storage(spare.storage);
        self.room = spare.room;
        let text = format!(
            "recording goes on into {}; to read it, put the segments of both folders into one",
            spare.place
        );
        self.tell(Weight::Warning, text);
        self.places.push(spare.place);
        self.warned_below_h = f64::INFINITY;
        true
    }

    fn mind_patience(&mut self) {
        let patience = seconds(self.ties.limits.storage_patience_s);
        if self.failing.as_ref().is_some_and(|failing| failing.since.elapsed() >= patience) {
            self.ties.stop.finish(Reason::StorageGone);
        }
    }

    /// Warns while space runs out, and ends the recording before it has.
    pub fn look_at_room(&mut self) {
        let Some(free) = (self.room)() else { return };
        let usable = free.saturating_sub(u64::from(self.ties.limits.reserve_mib) << 20);
        let hours = self.hours_left(usable);
        {
            let mut shown = self.ties.status.storage();
            shown.free_bytes = Some(free);
            shown.hours_left = hours;
        }
        // A medium that fails already, or one without a reserve, has its time of patience.
        let at_reserve = usable == 0 && self.ties.limits.reserve_mib > 0 && self.failing.is_none();
        if at_reserve && !self.change_over() {
            self.ties.stop.finish(Reason::SpaceUsedUp);
        }
        self.warn_of_space(free, hours);
    }

    /// Tells that the computer slept, once it is awake.
    pub fn look_at_sleep(&mut self) {
        // Read in this order, being held up in between makes boot-time look less ahead.
        let now = self.ties.clock.now();
        let ahead_ns = now.boot_ns - now.mono_ns;
        let slept_ns = ahead_ns - self.ahead_ns;
        self.ahead_ns = self.ahead_ns.max(ahead_ns);
        if slept_ns >= LEAST_SLEEP_NS {
            let slept_s = slept_ns as f64 / 1e9 / self.ties.clock_scale;
            let text = format!(
                "the computer slept for {slept_s:.2} s: nothing was recorded then; keep it awake \
                 (lid open, no sleep on idle)"
            );
            self.tell(Weight::Warning, text);
        }
    }

    /// Tells that the wall clock was set. Nothing rests on it but the date of the drive; the stamps
    /// of the blocks tell it to the analysis.
    pub fn look_at_wall_clock(&mut self) {
        let Some(set) = self.wall.push(self.ties.clock.now()) else { return };
        let by_s = set.by_ns.unsigned_abs() as f64 / 1e9 / self.ties.clock_scale;
        let way = if set.by_ns < 0 { "back" } else { "forward" };
        let text = format!(
            "the clock of this computer was set {way} by {by_s:.2} s: no time in the recording \
             rests on it"
        );
        self.tell(Weight::Note, text);
    }

    /// Hours until `usable` bytes are used at the rate so far; `None` while it is too early to say.
    fn hours_left(&self, usable: u64) -> Option<f64> {
        let recorded_ns = self.ties.status.recorded_ns();
        let taken = self.ties.status.storage().taken_bytes;
        let used = taken + RECORD_OVERHEAD_BYTES * self.writer.next_record();
        let known = recorded_ns >= ESTIMATE_AFTER_NS && used > 0;
        let hours = recorded_ns as f64 / 3.6e12 / self.ties.clock_scale;
        known.then(|| usable as f64 / used as f64 * hours)
    }

    /// Warns at each step once, and anew after space was made.
    fn warn_of_space(&mut self, free: u64, hours: Option<f64>) {
        let Some(hours) = hours else { return };
        let steps = [self.ties.limits.warn_below_h].into_iter().chain(URGENT_BELOW_H);
        let step = steps.filter(|step| hours < *step).fold(f64::INFINITY, f64::min);
        if step < self.warned_below_h {
            let text = format!(
                "{} left on the medium: enough for about {:.0} min; the recording will stop \
                 cleanly before it is full",
                text::bytes(free),
                hours * 60.0
            );
            self.tell(Weight::Warning, text);
        }
        self.warned_below_h = step;
    }

    fn show(&self) {
        let queued = self.ties.queue.held_bytes();
        let mut shown = self.ties.status.storage();
        shown.records = self.writer.next_record();
        shown.durable_records = self.writer.durable_records();
        shown.queued_bytes = queued + self.writer.held_bytes();
        shown.missed_by_taps = self.taps.missed();
    }

    fn tell(&self, weight: Weight, text: String) {
        self.ties.status.tell(weight, text);
    }

    /// The last write: with the closing record, unless the end was to be at once.
    fn end(mut self) -> Kept {
        let boot_ns = self.ties.clock.now().boot_ns;
        for source in 0..self.refused.len() {
            self.confess(source as u16, boot_ns);
        }
        let progress = self.writer.flush();
        self.heed(progress);
        self.show();
        let recording = self.writer.recording();
        let mut records = self.writer.next_record();
        let closing = !self.ties.stop.is_at_once();
        let durable_records = if closing {
            records += 1;
            self.writer.close().0.durable_records
        } else {
            self.writer.durable_records()
        };
        let closed = closing && durable_records == records;
        let (dropped_bytes, places) = (self.dropped_bytes, self.places);
        Kept { recording, records, durable_records, dropped_bytes, closed, places }
    }
}
