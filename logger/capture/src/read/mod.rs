//! Reading a capture: every whole block is kept, every hole is told.

mod segment;
mod tail;

use crate::block::Records;
use crate::clock::Stamp;
use crate::record::{Kind, Record, RecordingId};
use crate::storage::{DirStorage, Storage};
use crate::write::segment_number;
use segment::{Block, Cursor, Head, read_past_refusals};
use std::collections::VecDeque;
use std::io;
use std::path::Path;

pub use tail::{Tail, tail};

/// A recording whose segments overlap more often than this was not written by a writer that only
/// had bad luck: it is still read, but blocks repeated further on may be met out of order.
const MOST_OVERLAPPING: usize = 64;

/// What a reader yields.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Item {
    /// A record, in the order of the numbers.
    Record(Record),
    /// A stretch that could not be read, or records that are missing between two blocks.
    Hole(Hole),
}

/// Something that is missing from a capture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hole {
    /// Number of the segment (in its file name).
    pub segment: u32,
    /// First byte of the hole in that segment.
    pub offset: u64,
    /// Length in bytes; 0 when only the numbering shows that something is missing.
    pub bytes: u64,
    /// Records that are missing here by their numbers; `None` at the end of the capture, where
    /// nothing follows that could tell. Of several holes in a row the last one has the count and
    /// the others have 0.
    pub records_missing: Option<u64>,
}

/// One file of a capture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Segment {
    /// Its number, from its name.
    pub number: u32,
    /// Its file name.
    pub name: String,
    /// Its length when the capture was opened; what is added later is not read.
    pub bytes: u64,
}

/// Why a capture cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The medium says no.
    #[error("cannot read {what}: {error}")]
    Medium {
        /// The folder or file.
        what: String,
        /// What it said.
        error: io::Error,
    },
    /// There is no segment.
    #[error("{what} holds no capture: a capture is a folder with files like segment-000001.wwc")]
    NoCapture {
        /// The folder.
        what: String,
    },
    /// A block is undamaged but was written by a newer program.
    #[error(
        "{segment} is in capture format version {found}; this program reads versions up to \
         {newest}: use a newer wheelwitness"
    )]
    Newer {
        /// The file.
        segment: String,
        /// Its version.
        found: u16,
        /// The newest version that this program reads.
        newest: u16,
    },
}

/// Reads one capture from its first record to its last, as often as wanted, in bounded memory.
///
/// A pass yields the same items each time. The recording is that of the first whole block; blocks
/// of any other recording are never accepted and show up as holes.
pub struct CaptureReader<S: Storage = DirStorage> {
    storage: S,
    what: String,
    segments: Vec<Segment>,
    recording: Option<RecordingId>,
    pass: Pass,
}

/// Where a pass through the capture stands.
#[derive(Default)]
struct Pass {
    next_segment: usize,
    /// Segments that still have blocks to offer, in the order of their numbers.
    cursors: VecDeque<(Cursor, Head)>,
    block: Option<(Records, Vec<u8>)>,
    /// Holes that wait for the next block, whose numbers tell what they cost.
    holes: Vec<Hole>,
    out: VecDeque<Hole>,
    expected_record: u64,
    first_stamp: Option<Stamp>,
    stamp: Option<Stamp>,
    blocks_repeated: u64,
    closed: bool,
}

impl CaptureReader<DirStorage> {
    /// Opens the capture in a folder.
    pub fn open(folder: &Path) -> Result<Self, ReadError> {
        let what = folder.display().to_string();
        match DirStorage::open(folder) {
            Ok(storage) => Self::named(storage, what),
            Err(error) => Err(ReadError::Medium { what, error }),
        }
    }
}

impl<S: Storage> CaptureReader<S> {
    /// Opens the capture in a storage.
    pub fn from_storage(storage: S) -> Result<Self, ReadError> {
        Self::named(storage, "this storage".to_owned())
    }

    /// The same; complaints call the storage `what`.
    pub fn named(mut storage: S, what: String) -> Result<Self, ReadError> {
        let files = match storage.list() {
            Ok(files) => files,
            Err(error) => return Err(ReadError::Medium { what, error }),
        };
        let mut segments: Vec<Segment> = files
            .into_iter()
            .filter_map(|(name, bytes)| {
                segment_number(&name).map(|number| Segment { number, name, bytes })
            })
            .collect();
        segments.sort_by_key(|s| s.number);
        if segments.is_empty() {
            return Err(ReadError::NoCapture { what });
        }
        let mut reader =
            CaptureReader { storage, what, segments, recording: None, pass: Pass::default() };
        reader.recording = reader.find_recording()?;
        Ok(reader)
    }

    /// The recording that is read; `None` when there is not one whole block.
    pub fn recording(&self) -> Option<RecordingId> {
        self.recording
    }

    /// The files, in the order of their numbers.
    pub fn segments(&self) -> &[Segment] {
        &self.segments
    }

    /// The clocks at the first block read in this pass.
    pub fn first_stamp(&self) -> Option<Stamp> {
        self.pass.first_stamp
    }

    /// The clocks at the block that the last record came from.
    pub fn stamp(&self) -> Option<Stamp> {
        self.pass.stamp
    }

    /// Whether the record that ends a recording as it should was read in this pass, as the last.
    pub fn is_closed(&self) -> bool {
        self.pass.closed
    }

    /// Blocks met twice in this pass, because the writer did not trust a segment and wrote them
    /// again. Their records are yielded once.
    pub fn blocks_repeated(&self) -> u64 {
        self.pass.blocks_repeated
    }

    /// Begins again with the first record.
    pub fn rewind(&mut self) {
        self.pass = Pass::default();
    }

    /// Gives all bytes of all segments, in order, to `sink`: what a checksum of the capture is
    /// taken over. Returns how many there were. What the medium refuses to give counts as zeros.
    pub fn read_bytes(&mut self, mut sink: impl FnMut(&[u8])) -> Result<u64, ReadError> {
        let mut buffer = vec![0; 64 * 1024];
        let mut total = 0;
        for segment in &self.segments {
            let mut at = 0;
            while at < segment.bytes {
                let want = buffer.len().min((segment.bytes - at) as usize);
                let into = &mut buffer[..want];
                let (got, _) = read_past_refusals(&mut self.storage, &segment.name, at, into);
                if got == 0 {
                    break;
                }
                sink(&buffer[..got]);
                at += got as u64;
            }
            total += at;
        }
        Ok(total)
    }

    /// The storage back.
    pub fn into_storage(self) -> S {
        self.storage
    }

    /// The next item; `None` at the end.
    pub fn next_item(&mut self) -> Result<Option<Item>, ReadError> {
        loop {
            if let Some(hole) = self.pass.out.pop_front() {
                return Ok(Some(Item::Hole(hole)));
            }
            if let Some(record) = self.pass.next_in_block() {
                return Ok(Some(Item::Record(record)));
            }
            self.open_segments()?;
            if !self.next_block()? {
                self.pass.out.extend(self.pass.holes.drain(..));
                return Ok(self.pass.out.pop_front().map(Item::Hole));
            }
        }
    }

    /// Opens segments until the last one opened begins with a block that no earlier one can still
    /// offer. A writer that did not trust a segment has written its last blocks again into the
    /// next one, so the segments may overlap.
    fn open_segments(&mut self) -> Result<(), ReadError> {
        self.pass.forget_ended();
        while self.pass.next_segment < self.segments.len() && self.pass.may_overlap() {
            let segment = self.segments[self.pass.next_segment].clone();
            self.pass.next_segment += 1;
            let mut cursor = Cursor::new(segment);
            let head = cursor.advance(&mut self.storage, self.recording)?;
            self.pass.cursors.push_back((cursor, head));
            self.pass.forget_ended();
        }
        Ok(())
    }

    /// Takes the block with the lowest number among the open segments.
    fn next_block(&mut self) -> Result<bool, ReadError> {
        let Some((cursor, head)) = self.pass.lowest() else { return Ok(false) };
        let next = cursor.advance(&mut self.storage, self.recording)?;
        let taken = std::mem::replace(head, next);
        self.pass.holes.extend(taken.hole);
        if let Some(block) = taken.block {
            self.pass.accept(block);
        }
        Ok(true)
    }

    /// A medium that gives no block and refuses something is told as what it is.
    fn find_recording(&mut self) -> Result<Option<RecordingId>, ReadError> {
        let mut refused = None;
        for segment in self.segments.clone() {
            let name = segment.name.clone();
            let mut cursor = Cursor::new(segment);
            if let Some(block) = cursor.advance(&mut self.storage, None)?.block {
                return Ok(Some(block.header.recording));
            }
            refused = refused.or(cursor.refusal.map(|error| medium(&name, error)));
        }
        refused.map_or(Ok(None), Err)
    }
}

impl Pass {
    fn next_in_block(&mut self) -> Option<Record> {
        let (records, payload) = self.block.as_mut()?;
        while let Some(record) = records.next(payload) {
            if record.number >= self.expected_record {
                self.expected_record = record.number + 1;
                self.closed = record.kind == Kind::Closed;
                return Some(record);
            }
        }
        self.block = None;
        None
    }

    /// Lets go of the first segments as long as they have no more blocks.
    fn forget_ended(&mut self) {
        while let Some((_, head)) = self.cursors.front()
            && head.block.is_none()
        {
            self.holes.extend(head.hole);
            self.cursors.pop_front();
        }
    }

    fn may_overlap(&self) -> bool {
        let mut sequences = self.cursors.iter().filter_map(|(_, head)| head.sequence());
        let Some(first) = sequences.next() else { return true };
        let (lowest, last, open) =
            sequences.fold((first, first, 1), |(low, _, n), s| (low.min(s), s, n + 1));
        open == 1 || (last <= lowest && open < MOST_OVERLAPPING)
    }

    fn lowest(&mut self) -> Option<&mut (Cursor, Head)> {
        let offering = self.cursors.iter_mut().filter(|(_, head)| head.block.is_some());
        offering.min_by_key(|(_, head)| head.sequence())
    }

    fn accept(&mut self, block: Block) {
        let Block { header, payload, segment, offset } = block;
        self.first_stamp.get_or_insert(header.stamp);
        self.stamp = Some(header.stamp);
        let missing = header.first_record.saturating_sub(self.expected_record);
        if missing > 0 && self.holes.is_empty() {
            self.holes.push(Hole { segment, offset, bytes: 0, records_missing: None });
        }
        for hole in &mut self.holes {
            hole.records_missing = Some(0);
        }
        if let Some(last) = self.holes.last_mut() {
            last.records_missing = Some(missing);
        }
        self.out.extend(self.holes.drain(..));
        self.expected_record += missing;
        if header.first_record + u64::from(header.records) <= self.expected_record {
            self.blocks_repeated += u64::from(header.records > 0);
        } else {
            self.block = Some((Records::new(&header), payload));
        }
    }
}

impl<S: Storage> Iterator for CaptureReader<S> {
    type Item = Result<Item, ReadError>;

    fn next(&mut self) -> Option<Self::Item> {
        self.next_item().transpose()
    }
}

impl<S: Storage> std::fmt::Debug for CaptureReader<S> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "CaptureReader({}, recording {:?})", self.what, self.recording)
    }
}

fn medium(what: &str, error: io::Error) -> ReadError {
    ReadError::Medium { what: what.to_owned(), error }
}
