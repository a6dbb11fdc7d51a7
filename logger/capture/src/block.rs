//! The block: what is written and checked as a whole. Byte tables are in `FORMAT.md`.

use crate::clock::Stamp;
use crate::record::{Kind, MAX_RECORD_BYTES, Record, RecordingId};

/// What every block begins with. The bytes outside ASCII and the line ends show at once when a
/// file went through a text conversion.
pub const MAGIC: [u8; 8] = *b"\x89WWC\r\n\x1a\n";
/// The newest format version, of those that this crate reads. It writes each block in the oldest
/// version that has all kinds of its records, so that older programs read what they can.
pub const VERSION: u16 = 2;
/// Length of a block's header, which is the same in every version.
pub const HEADER_BYTES: usize = 84;
/// The longest payload of a block.
pub const MAX_PAYLOAD_BYTES: usize = 1024 * 1024;

const HEADER_CRC_AT: usize = 76;
const BLOCK_CRC_AT: usize = 80;
/// Kind, source, time difference and length of a record take at most this much.
const MAX_RECORD_HEAD: usize = 1 + 2 + 10 + 5;

/// The header of a block, without what only checks it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Header {
    /// Format version of the payload.
    pub version: u16,
    /// The recording that the block belongs to.
    pub recording: RecordingId,
    /// Number of the block, from 0 across the recording.
    pub sequence: u64,
    /// Number of its first record.
    pub first_record: u64,
    /// The clocks when the block was begun.
    pub stamp: Stamp,
    /// Number of records.
    pub records: u32,
    /// Length of the payload in bytes.
    pub payload_bytes: u32,
}

/// Collects records until they are sealed into a block.
#[derive(Debug)]
pub struct Builder {
    header: Header,
    last_boot_ns: i64,
    bytes: Vec<u8>,
}

impl Builder {
    /// Begins a block.
    pub fn new(recording: RecordingId, sequence: u64, first_record: u64, stamp: Stamp) -> Self {
        let header = Header {
            version: 1,
            recording,
            sequence,
            first_record,
            stamp,
            records: 0,
            payload_bytes: 0,
        };
        Builder { header, last_boot_ns: stamp.boot_ns, bytes: vec![0; HEADER_BYTES] }
    }

    /// Adds a record and returns its number, or `None` when the block has no room for it.
    pub fn push(&mut self, source: u16, kind: Kind, boot_ns: i64, content: &[u8]) -> Option<u64> {
        let room = MAX_PAYLOAD_BYTES - self.payload_bytes();
        if content.len() > MAX_RECORD_BYTES || content.len() + MAX_RECORD_HEAD > room {
            return None;
        }
        self.bytes.push(kind as u8);
        self.bytes.extend_from_slice(&source.to_le_bytes());
        put_varint(&mut self.bytes, zigzag(boot_ns.wrapping_sub(self.last_boot_ns)));
        put_varint(&mut self.bytes, content.len() as u64);
        self.bytes.extend_from_slice(content);
        self.last_boot_ns = boot_ns;
        self.header.records += 1;
        self.header.version = self.header.version.max(kind.since_version());
        Some(self.next_record() - 1)
    }

    /// Length of the payload so far.
    pub fn payload_bytes(&self) -> usize {
        self.bytes.len() - HEADER_BYTES
    }

    /// The header as it stands.
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// The number that the next record gets.
    pub fn next_record(&self) -> u64 {
        self.header.first_record + u64::from(self.header.records)
    }

    /// The finished block.
    pub fn seal(mut self) -> Vec<u8> {
        self.header.payload_bytes = self.payload_bytes() as u32;
        let head = encode_header(&self.header);
        self.bytes[..HEADER_CRC_AT].copy_from_slice(&head);
        let header_crc = crc32c::crc32c(&head).to_le_bytes();
        self.bytes[HEADER_CRC_AT..BLOCK_CRC_AT].copy_from_slice(&header_crc);
        let block_crc = block_crc(&self.bytes).to_le_bytes();
        self.bytes[BLOCK_CRC_AT..HEADER_BYTES].copy_from_slice(&block_crc);
        self.bytes
    }
}

/// CRC of a whole block: everything before the CRC's own place, then the payload.
fn block_crc(block: &[u8]) -> u32 {
    let head = crc32c::crc32c(&block[..BLOCK_CRC_AT]);
    crc32c::crc32c_append(head, &block[HEADER_BYTES..])
}

fn encode_header(header: &Header) -> [u8; HEADER_CRC_AT] {
    let mut head = [0; HEADER_CRC_AT];
    let mut at = 0;
    let mut put = |bytes: &[u8]| {
        head[at..at + bytes.len()].copy_from_slice(bytes);
        at += bytes.len();
    };
    put(&MAGIC);
    put(&header.version.to_le_bytes());
    put(&0_u16.to_le_bytes());
    put(&header.recording.0);
    put(&header.sequence.to_le_bytes());
    put(&header.first_record.to_le_bytes());
    put(&header.stamp.boot_ns.to_le_bytes());
    put(&header.stamp.mono_ns.to_le_bytes());
    put(&header.stamp.wall_ns.to_le_bytes());
    put(&header.records.to_le_bytes());
    put(&header.payload_bytes.to_le_bytes());
    head
}

/// Reads a header; `None` unless magic and header CRC hold and its numbers are possible.
pub fn decode_header(bytes: &[u8]) -> Option<Header> {
    let head = bytes.get(..HEADER_BYTES)?;
    let crc = u32::from_le_bytes(*head[HEADER_CRC_AT..].first_chunk()?);
    if head[..8] != MAGIC || crc32c::crc32c(&head[..HEADER_CRC_AT]) != crc {
        return None;
    }
    let mut rest = &head[8..];
    let header = Header {
        version: u16::from_le_bytes(take(&mut rest)?),
        recording: {
            let [0, 0] = take(&mut rest)? else { return None };
            RecordingId(take(&mut rest)?)
        },
        sequence: u64::from_le_bytes(take(&mut rest)?),
        first_record: u64::from_le_bytes(take(&mut rest)?),
        stamp: Stamp {
            boot_ns: i64::from_le_bytes(take(&mut rest)?),
            mono_ns: i64::from_le_bytes(take(&mut rest)?),
            wall_ns: i64::from_le_bytes(take(&mut rest)?),
        },
        records: u32::from_le_bytes(take(&mut rest)?),
        payload_bytes: u32::from_le_bytes(take(&mut rest)?),
    };
    let possible = header.payload_bytes as usize <= MAX_PAYLOAD_BYTES
        && header.first_record.checked_add(u64::from(header.records)).is_some();
    possible.then_some(header)
}

/// Whether `block`, of the length that its header says, is undamaged.
pub fn is_whole(block: &[u8]) -> bool {
    let Some(stated) = block.get(BLOCK_CRC_AT..HEADER_BYTES).and_then(|b| b.first_chunk()) else {
        return false;
    };
    block_crc(block) == u32::from_le_bytes(*stated)
}

/// Walks through the records of a whole block's payload.
#[derive(Debug)]
pub struct Records {
    version: u16,
    next_number: u64,
    left: u32,
    boot_ns: i64,
    at: usize,
}

impl Records {
    /// Begins with the first record of the block with this header.
    pub fn new(header: &Header) -> Self {
        Records {
            version: header.version,
            next_number: header.first_record,
            left: header.records,
            boot_ns: header.stamp.boot_ns,
            at: 0,
        }
    }

    /// The next record of `payload`; `None` after the last one.
    pub fn next(&mut self, payload: &[u8]) -> Option<Record> {
        let (kind, source, content) = self.step(payload)?;
        let number = self.next_number - 1;
        Some(Record { number, source, boot_ns: self.boot_ns, kind, bytes: content.to_vec() })
    }

    /// Whether `payload` holds exactly the records that the header promises.
    pub fn fit(mut self, payload: &[u8]) -> bool {
        while self.left > 0 {
            if self.step(payload).is_none() {
                return false;
            }
        }
        self.at == payload.len()
    }

    fn step<'p>(&mut self, payload: &'p [u8]) -> Option<(Kind, u16, &'p [u8])> {
        self.left = self.left.checked_sub(1)?;
        let before = payload.get(self.at..)?;
        let mut rest = before;
        let [code] = take(&mut rest)?;
        let kind = Kind::from_code(code).filter(|kind| kind.since_version() <= self.version)?;
        let source = u16::from_le_bytes(take(&mut rest)?);
        self.boot_ns = self.boot_ns.wrapping_add(unzigzag(take_varint(&mut rest)?));
        let length = usize::try_from(take_varint(&mut rest)?).ok()?;
        let content = rest.get(..length)?;
        self.at += before.len() - rest.len() + length;
        self.next_number += 1;
        Some((kind, source, content))
    }
}

fn take<const N: usize>(from: &mut &[u8]) -> Option<[u8; N]> {
    let (head, tail) = from.split_first_chunk::<N>()?;
    *from = tail;
    Some(*head)
}

/// Seven bits a byte, least significant first, the top bit set on all but the last.
fn put_varint(into: &mut Vec<u8>, mut value: u64) {
    while value >= 0x80 {
        into.push(value as u8 | 0x80);
        value >>= 7;
    }
    into.push(value as u8);
}

fn take_varint(from: &mut &[u8]) -> Option<u64> {
    let mut value = 0_u64;
    for shift in (0..64).step_by(7) {
        let [byte] = take(from)?;
        let bits = u64::from(byte & 0x7f);
        if shift == 63 && bits > 1 {
            return None;
        }
        value |= bits << shift;
        if byte < 0x80 {
            return Some(value);
        }
    }
    None
}

/// Small negative numbers become small numbers: 0, -1, 1, -2 ... are 0, 1, 2, 3 ...
fn zigzag(value: i64) -> u64 {
    ((value << 1) ^ (value >> 63)) as u64
}

fn unzigzag(value: u64) -> i64 {
    (value >> 1) as i64 ^ -((value & 1) as i64)
}
