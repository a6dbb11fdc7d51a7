//! One segment: its whole blocks, and the holes between them.

use super::{Hole, ReadError, Segment};
use crate::block::{self, HEADER_BYTES, Header, MAGIC, Records, VERSION};
use crate::record::RecordingId;
use crate::storage::Storage;
use std::io;

/// Read this much at once.
const CHUNK_BYTES: usize = 256 * 1024;

/// What a medium refuses is refused page by page.
const PAGE_BYTES: usize = 4096;
/// After so many refused pages in a row the rest of a chunk is given up.
const MOST_REFUSED: usize = 16;

/// Reads from a medium that may be damaged: pages that it refuses are filled with zeros, which are
/// no whole block. Gives the bytes read, and the first refusal.
pub(super) fn read_past_refusals(
    storage: &mut impl Storage,
    name: &str,
    at: u64,
    into: &mut [u8],
) -> (usize, Option<io::Error>) {
    let refusal = match storage.read(name, at, into) {
        Ok(bytes) => return (bytes, None),
        Err(refusal) => refusal,
    };
    let (mut filled, mut refused_in_a_row) = (0, 0);
    while filled < into.len() && refused_in_a_row < MOST_REFUSED {
        let here = at + filled as u64;
        let to_boundary = PAGE_BYTES - (here % PAGE_BYTES as u64) as usize;
        let end = into.len().min(filled + to_boundary);
        match storage.read(name, here, &mut into[filled..end]) {
            Ok(0) => return (filled, Some(refusal)),
            Ok(bytes) => {
                filled += bytes;
                refused_in_a_row = 0;
            }
            Err(_) => {
                into[filled..end].fill(0);
                filled = end;
                refused_in_a_row += 1;
            }
        }
    }
    into[filled..].fill(0);
    (into.len(), Some(refusal))
}

/// What comes next in a segment.
#[derive(Debug, Default)]
pub(super) struct Head {
    /// Bytes before it that are no whole block.
    pub(super) hole: Option<Hole>,
    /// The block; `None` at the end of the segment.
    pub(super) block: Option<Block>,
}

impl Head {
    /// Number of the block.
    pub(super) fn sequence(&self) -> Option<u64> {
        self.block.as_ref().map(|block| block.header.sequence)
    }
}

/// A whole block, and where it is.
#[derive(Debug)]
pub(super) struct Block {
    pub(super) header: Header,
    pub(super) payload: Vec<u8>,
    pub(super) segment: u32,
    pub(super) offset: u64,
}

/// Walks through a segment.
#[derive(Debug)]
pub(super) struct Cursor {
    segment: Segment,
    window: Vec<u8>,
    /// Where in the window the bytes not yet consumed begin, and where in the segment that is.
    start: usize,
    offset: u64,
    next_sequence: u64,
    /// The first thing that the medium refused to give.
    pub(super) refusal: Option<io::Error>,
}

impl Cursor {
    pub(super) fn new(segment: Segment) -> Self {
        let window = Vec::new();
        Cursor { segment, window, start: 0, offset: 0, next_sequence: 0, refusal: None }
    }

    /// The next block of `recording` (of any, if `None`) with the hole before it.
    pub(super) fn advance(
        &mut self,
        storage: &mut impl Storage,
        recording: Option<RecordingId>,
    ) -> Result<Head, ReadError> {
        let from = self.offset;
        while self.fill(storage, 1) > 0 {
            if let Some(block) = self.block_here(storage, recording)? {
                return Ok(Head { hole: self.hole(from, block.offset), block: Some(block) });
            }
            self.skip_to_magic(storage);
        }
        self.window = Vec::new();
        self.start = 0;
        Ok(Head { hole: self.hole(from, self.offset), block: None })
    }

    fn hole(&self, from: u64, to: u64) -> Option<Hole> {
        let segment = self.segment.number;
        let hole = Hole { segment, offset: from, bytes: to - from, records_missing: None };
        (to > from).then_some(hole)
    }

    /// The whole block that begins at the first byte not consumed, if there is one; consumes it.
    fn block_here(
        &mut self,
        storage: &mut impl Storage,
        recording: Option<RecordingId>,
    ) -> Result<Option<Block>, ReadError> {
        self.fill(storage, HEADER_BYTES);
        let Some(header) = block::decode_header(self.view()) else { return Ok(None) };
        let wanted = recording.is_none_or(|id| id == header.recording);
        if !wanted || header.sequence < self.next_sequence {
            return Ok(None);
        }
        let length = HEADER_BYTES + header.payload_bytes as usize;
        if self.fill(storage, length) < length || !block::is_whole(&self.view()[..length]) {
            return Ok(None);
        }
        if header.version > VERSION {
            let segment = self.segment.name.clone();
            return Err(ReadError::Newer { segment, found: header.version, newest: VERSION });
        }
        let payload = self.view()[HEADER_BYTES..length].to_vec();
        if header.version == 0 || !Records::new(&header).fit(&payload) {
            return Ok(None);
        }
        let block = Block { header, payload, segment: self.segment.number, offset: self.offset };
        self.next_sequence = header.sequence.saturating_add(1);
        self.consume(length);
        Ok(Some(block))
    }

    /// Moves on by at least one byte, to the next place where a block may begin.
    fn skip_to_magic(&mut self, storage: &mut impl Storage) {
        self.consume(1);
        loop {
            let have = self.fill(storage, MAGIC.len());
            if let Some(at) = find_magic(self.view()) {
                self.consume(at);
                return;
            }
            if have < MAGIC.len() {
                self.consume(have);
                return;
            }
            // The last bytes may be the beginning of a magic that the next read completes.
            self.consume(have - (MAGIC.len() - 1));
        }
    }

    fn view(&self) -> &[u8] {
        &self.window[self.start..]
    }

    fn consume(&mut self, bytes: usize) {
        self.start += bytes;
        self.offset += bytes as u64;
    }

    /// Makes at least `want` bytes visible, or as many as the segment has; returns how many.
    fn fill(&mut self, storage: &mut impl Storage, want: usize) -> usize {
        if self.view().len() < want {
            self.window.drain(..self.start);
            self.start = 0;
        }
        while self.view().len() < want {
            let have = self.window.len();
            let at = self.offset + have as u64;
            let left = usize::try_from(self.segment.bytes.saturating_sub(at)).unwrap_or(usize::MAX);
            let more = left.min(CHUNK_BYTES.max(want - have));
            if more == 0 {
                break;
            }
            self.window.resize(have + more, 0);
            let (got, refusal) =
                read_past_refusals(storage, &self.segment.name, at, &mut self.window[have..]);
            self.refusal = self.refusal.take().or(refusal);
            self.window.truncate(have + got);
            if got == 0 {
                // The file became shorter while it was read: this is its end now.
                self.segment.bytes = at;
            }
        }
        self.view().len()
    }
}

fn find_magic(bytes: &[u8]) -> Option<usize> {
    let mut from = 0;
    while let Some(at) = bytes[from..].iter().position(|&b| b == MAGIC[0]) {
        if bytes[from + at..].starts_with(&MAGIC) {
            return Some(from + at);
        }
        from += at + 1;
    }
    None
}
