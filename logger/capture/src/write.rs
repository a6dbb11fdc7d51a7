//! Writing a capture: records go in, and what is durable comes out.
//!
//! A failed write or sync ends the segment. Its blocks are not trusted until they are written
//! again, byte for byte alike, into the next segment and synced there.

use crate::block::Builder;
use crate::clock::Clock;
use crate::record::{Kind, MAX_RECORD_BYTES, RecordingId, Text};
use crate::storage::Storage;
use std::collections::VecDeque;
use std::io;

/// The file name of a segment; numbers begin with 1.
pub fn segment_name(number: u32) -> String {
    format!("segment-{number:06}.wwc")
}

/// The number of a segment, from its file name.
pub fn segment_number(name: &str) -> Option<u32> {
    let digits = name.strip_prefix("segment-")?.strip_suffix(".wwc")?;
    let number = digits.parse().ok()?;
    (segment_name(number) == name).then_some(number)
}

/// When a writer does what.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Records wait at most this long for a sync, in nanoseconds.
    pub sync_interval_ns: i64,
    /// This many waiting bytes are synced at once.
    pub sync_bytes: usize,
    /// A segment that would grow beyond this length is followed by the next.
    pub segment_bytes: u64,
    /// A segment that is this old is followed by the next, in nanoseconds.
    pub segment_ns: i64,
    /// While the medium fails, this many bytes are held in memory; after that records are refused.
    pub held_bytes: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            sync_interval_ns: 250_000_000,
            sync_bytes: 256 * 1024,
            segment_bytes: 64 * 1024 * 1024,
            segment_ns: 600_000_000_000,
            held_bytes: 64 * 1024 * 1024,
        }
    }
}

/// The longest pause between two attempts on a failing medium, in nanoseconds: once space is made,
/// the recording goes on within two seconds.
const LONGEST_RETRY_NS: i64 = 1_500_000_000;

/// Why a record was not taken. It has no number; the caller counts it as lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// The content is longer than a record may be.
    #[error("a record holds at most {MAX_RECORD_BYTES} bytes: split it")]
    TooLong,
    /// The medium has been failing for so long that memory for waiting records is used up.
    #[error("the medium fails and {held_bytes} bytes already wait in memory for another one")]
    HeldFull {
        /// Bytes waiting.
        held_bytes: usize,
    },
}

/// What came of an attempt to write.
#[derive(Debug, Default)]
pub struct Progress {
    /// Every record with a number below this is durable.
    pub durable_records: u64,
    /// What went wrong; the records concerned are held and will be tried again.
    pub trouble: Option<Trouble>,
}

/// A segment ended by a failing medium.
#[derive(Debug, thiserror::Error)]
#[error("{doing} {segment} failed: {error}; {held_bytes} bytes wait in memory for a new segment")]
pub struct Trouble {
    /// File name of the segment.
    pub segment: String,
    /// What failed: `creating`, `writing` or `syncing`.
    pub doing: &'static str,
    /// The error of the medium.
    pub error: io::Error,
    /// Bytes of blocks that are not durable yet.
    pub held_bytes: usize,
}

#[derive(Debug)]
struct Block {
    bytes: Vec<u8>,
    next_record: u64,
}

#[derive(Debug)]
struct Segment {
    name: String,
    length: u64,
    begun_ns: i64,
}

/// Writes one recording.
pub struct Writer<S: Storage> {
    storage: S,
    clock: Box<dyn Clock>,
    recording: RecordingId,
    limits: Limits,
    open: Builder,
    held: VecDeque<Block>,
    held_bytes: usize,
    segment: Option<Segment>,
    segments_begun: u32,
    durable_records: u64,
    retry_at_ns: Option<i64>,
    retry_pause_ns: i64,
}

impl<S: Storage> Writer<S> {
    /// Begins a recording in a storage that holds none yet. Writes nothing before the first
    /// [`pump`](Self::pump) or [`flush`](Self::flush) with a record.
    pub fn create(
        mut storage: S,
        clock: impl Clock + 'static,
        recording: RecordingId,
        limits: Limits,
    ) -> io::Result<Self> {
        if let Some((name, _)) = storage.list()?.iter().find(|(n, _)| segment_number(n).is_some()) {
            let why = format!("there is a capture already ({name}): choose a new folder");
            return Err(io::Error::new(io::ErrorKind::AlreadyExists, why));
        }
        let open = Builder::new(recording, 0, 0, clock.now());
        Ok(Writer {
            storage,
            clock: Box::new(clock),
            recording,
            limits,
            open,
            held: VecDeque::new(),
            held_bytes: 0,
            segment: None,
            segments_begun: 0,
            durable_records: 0,
            retry_at_ns: None,
            retry_pause_ns: 0,
        })
    }

    /// Takes a record and returns its number. Touches no medium: see [`pump`](Self::pump).
    pub fn append(
        &mut self,
        source: u16,
        kind: Kind,
        boot_ns: i64,
        content: &[u8],
    ) -> Result<u64, Refused> {
        if content.len() > MAX_RECORD_BYTES {
            return Err(Refused::TooLong);
        }
        let held_bytes = self.held_bytes + self.open.payload_bytes();
        if held_bytes + content.len() > self.limits.held_bytes {
            return Err(Refused::HeldFull { held_bytes });
        }
        if self.open.payload_bytes() >= self.limits.sync_bytes {
            self.seal();
        } else if self.open.header().records == 0 {
            self.begin_block();
        }
        if let Some(number) = self.open.push(source, kind, boot_ns, content) {
            return Ok(number);
        }
        self.seal();
        self.open.push(source, kind, boot_ns, content).ok_or(Refused::TooLong)
    }

    /// Takes a text record at this moment.
    pub fn append_text(&mut self, source: u16, title: &str, body: &str) -> Result<u64, Refused> {
        let content = Text::new(title, body).to_bytes();
        self.append(source, Kind::Text, self.clock.now().boot_ns, &content)
    }

    /// Writes and syncs if that is due. Call it after appending and at least every sync interval.
    pub fn pump(&mut self) -> Progress {
        let now_ns = self.clock.now().boot_ns;
        let waits = self.retry_at_ns.is_some_and(|at| now_ns < at);
        if waits || !self.is_due(now_ns) {
            return self.progress(None);
        }
        self.write_out(now_ns)
    }

    /// Writes and syncs everything now.
    pub fn flush(&mut self) -> Progress {
        self.write_out(self.clock.now().boot_ns)
    }

    /// Adds the record that says that the recording ended as it should, and flushes. Records from
    /// `durable_records` of the progress on are lost if the medium still fails.
    pub fn close(mut self) -> (Progress, S) {
        let now_ns = self.clock.now().boot_ns;
        // Refused only when the medium has long failed: then the recording did not end well.
        let _ = self.append(crate::record::RECORDER, Kind::Closed, now_ns, &[]);
        let progress = self.flush();
        (progress, self.storage)
    }

    /// Goes on with another storage, from the first record that is not durable. To read the
    /// recording, put the segments of both into one folder: their names never clash.
    pub fn change_storage(&mut self, storage: S) -> S {
        self.segment = None;
        self.retry_at_ns = None;
        self.retry_pause_ns = 0;
        std::mem::replace(&mut self.storage, storage)
    }

    /// The number that the next record gets.
    pub fn next_record(&self) -> u64 {
        self.open.next_record()
    }

    /// Every record with a number below this is durable.
    pub fn durable_records(&self) -> u64 {
        self.durable_records
    }

    /// Bytes that wait in memory.
    pub fn held_bytes(&self) -> usize {
        self.held_bytes + self.open.payload_bytes()
    }

    /// The id of the recording.
    pub fn recording(&self) -> RecordingId {
        self.recording
    }

    /// The storage.
    pub fn storage_mut(&mut self) -> &mut S {
        &mut self.storage
    }

    fn is_due(&self, now_ns: i64) -> bool {
        if !self.held.is_empty() || self.open.payload_bytes() >= self.limits.sync_bytes {
            return true;
        }
        let waited_ns = now_ns.saturating_sub(self.open.header().stamp.boot_ns);
        self.open.header().records > 0 && waited_ns >= self.limits.sync_interval_ns
    }

    /// An empty block is begun anew, so that its stamp is that of its first record.
    fn begin_block(&mut self) {
        let header = *self.open.header();
        let stamp = self.clock.now();
        self.open = Builder::new(self.recording, header.sequence, header.first_record, stamp);
    }

    fn seal(&mut self) {
        let next_record = self.open.next_record();
        let sequence = self.open.header().sequence + 1;
        let next = Builder::new(self.recording, sequence, next_record, self.clock.now());
        let bytes = std::mem::replace(&mut self.open, next).seal();
        self.held_bytes += bytes.len();
        self.held.push_back(Block { bytes, next_record });
    }

    fn write_out(&mut self, now_ns: i64) -> Progress {
        if self.open.header().records > 0 {
            self.seal();
        }
        let first = match self.write_held(now_ns) {
            Ok(()) => return self.progress(None),
            Err(trouble) => trouble,
        };
        // A second attempt at once: most often the segment, not the medium, is what failed. While
        // the medium fails on and on, each attempt costs a segment, so there is only one.
        if self.retry_pause_ns > 0 || self.write_held(now_ns).is_err() {
            let doubled = self.retry_pause_ns.saturating_mul(2);
            self.retry_pause_ns = doubled.clamp(self.limits.sync_interval_ns, LONGEST_RETRY_NS);
            self.retry_at_ns = Some(now_ns.saturating_add(self.retry_pause_ns));
        }
        self.progress(Some(first))
    }

    fn write_held(&mut self, now_ns: i64) -> Result<(), Trouble> {
        while let Some(block) = self.held.front() {
            let (length, next_record) = (block.bytes.len() as u64, block.next_record);
            self.ensure_segment(now_ns, length)?;
            self.write_front()?;
            self.durable_records = next_record;
            self.held_bytes -= length as usize;
            self.held.pop_front();
        }
        self.retry_at_ns = None;
        self.retry_pause_ns = 0;
        Ok(())
    }

    /// Appends the block that has waited longest and syncs it.
    fn write_front(&mut self) -> Result<(), Trouble> {
        let (Some(block), Some(segment)) = (self.held.front(), &mut self.segment) else {
            return Ok(());
        };
        let written = self.storage.append(&segment.name, &block.bytes);
        let outcome = match written {
            Ok(()) => self.storage.sync(&segment.name).map_err(|e| ("syncing", e)),
            Err(error) => Err(("writing", error)),
        };
        segment.length += block.bytes.len() as u64;
        outcome.map_err(|(doing, error)| {
            let segment = self.segment.take().map(|s| s.name).unwrap_or_default();
            Trouble { segment, doing, error, held_bytes: self.held_bytes }
        })
    }

    fn ensure_segment(&mut self, now_ns: i64, more: u64) -> Result<(), Trouble> {
        if let Some(segment) = &self.segment {
            let full = segment.length > 0 && segment.length + more > self.limits.segment_bytes;
            let old = now_ns.saturating_sub(segment.begun_ns) >= self.limits.segment_ns;
            if !full && !old {
                return Ok(());
            }
        }
        self.segment = None;
        self.segments_begun += 1;
        let name = segment_name(self.segments_begun);
        if let Err(error) = self.storage.create_new(&name) {
            let held_bytes = self.held_bytes;
            return Err(Trouble { segment: name, doing: "creating", error, held_bytes });
        }
        self.segment = Some(Segment { name, length: 0, begun_ns: now_ns });
        Ok(())
    }

    fn progress(&self, trouble: Option<Trouble>) -> Progress {
        Progress { durable_records: self.durable_records, trouble }
    }
}
