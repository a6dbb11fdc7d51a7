//! The end of a capture, found without reading all of it.

use super::segment::{Block, Cursor};
use super::{CaptureReader, ReadError};
use crate::block::Records;
use crate::clock::Stamp;
use crate::record::{Kind, RecordingId};
use crate::storage::Storage;

/// How a capture ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tail {
    /// The recording; `None` when there is not one whole block.
    pub recording: Option<RecordingId>,
    /// The number that would follow that of the last record.
    pub next_record: u64,
    /// The clocks at the first block of the capture.
    pub first_stamp: Option<Stamp>,
    /// The clocks at the last whole block.
    pub last_stamp: Option<Stamp>,
    /// Boot-time of the last record, in nanoseconds.
    pub last_boot_ns: Option<i64>,
    /// The last record says that the recording ended as it should.
    pub closed: bool,
    /// Bytes after the last whole block.
    pub torn_bytes: u64,
}

/// Looks for the last whole block of a capture, from its last segment backward. A segment holds
/// later blocks than all before it, but for one block that may stand in two of them.
pub fn tail<S: Storage>(storage: S) -> Result<Tail, ReadError> {
    let mut reader = CaptureReader::from_storage(storage)?;
    let mut tail = Tail {
        recording: reader.recording,
        next_record: 0,
        first_stamp: None,
        last_stamp: None,
        last_boot_ns: None,
        closed: false,
        torn_bytes: 0,
    };
    let segments = reader.segments.clone();
    for segment in segments.iter().rev() {
        let mut cursor = Cursor::new(segment.clone());
        let mut last: Option<Block> = None;
        let torn_bytes = loop {
            let head = cursor.advance(&mut reader.storage, reader.recording)?;
            match head.block {
                Some(block) => last = Some(block),
                None => break head.hole.map_or(0, |hole| hole.bytes),
            }
        };
        tail.torn_bytes += torn_bytes;
        if let Some(block) = last {
            tail.take(&block);
            break;
        }
    }
    if tail.last_stamp.is_some() {
        reader.next_item()?;
        tail.first_stamp = reader.first_stamp();
    }
    Ok(tail)
}

impl Tail {
    fn take(&mut self, block: &Block) {
        self.last_stamp = Some(block.header.stamp);
        self.next_record = block.header.first_record + u64::from(block.header.records);
        let mut records = Records::new(&block.header);
        while let Some(record) = records.next(&block.payload) {
            self.last_boot_ns = Some(record.boot_ns);
            self.closed = record.kind == Kind::Closed;
        }
    }
}
