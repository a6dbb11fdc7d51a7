//! Captures to try things on.

use wheelwitness_capture::clock::SimClock;
use wheelwitness_capture::read::{CaptureReader, Hole, Item};
use wheelwitness_capture::record::{Kind, Record, RecordingId};
use wheelwitness_capture::storage::{SimStorage, Storage};
use wheelwitness_capture::write::{Limits, Writer, segment_name};

pub const ID: RecordingId = RecordingId(*b"sample recording");

/// Generator of repeatable numbers that look random (Knuth's multiplier).
pub fn noise(state: &mut u64) -> u64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    *state >> 33
}

/// Record `number` of every sample.
pub fn record(number: u64) -> Record {
    let mut state = number + 1;
    let length = noise(&mut state) % 60;
    let bytes = (0..length).map(|_| noise(&mut state) as u8).collect();
    let kind = if number.is_multiple_of(37) { Kind::Text } else { Kind::Bytes };
    let boot_ns = number as i64 * 1_000_000 - (number % 3) as i64;
    Record { number, source: number as u16 % 3, boot_ns, kind, bytes }
}

/// A capture, and where its blocks are.
pub struct Sample {
    pub storage: SimStorage,
    /// Segment, end in the segment, and number of the first record after each block.
    pub blocks: Vec<(u32, usize, u64)>,
}

/// `blocks` blocks of eight records each, in segments of about `segment_bytes`.
pub fn sample(id: RecordingId, blocks: u64, segment_bytes: u64) -> Sample {
    let (clock, storage) = (SimClock::default(), SimStorage::new());
    let limits = Limits { segment_bytes, ..Limits::default() };
    let mut writer = Writer::create(storage.clone(), clock.clone(), id, limits).unwrap();
    let mut ends = Vec::new();
    for number in 0..blocks * 8 {
        let Record { source, kind, boot_ns, bytes, .. } = record(number);
        writer.append(source, kind, boot_ns, &bytes).unwrap();
        clock.advance_ns(1_000_000);
        if number % 8 == 7 {
            let progress = writer.flush();
            assert_eq!(progress.durable_records, number + 1);
            let segment = (1..).take_while(|n| storage.get(&segment_name(*n)).is_some()).last();
            let segment = segment.unwrap();
            let end = storage.get(&segment_name(segment)).unwrap().len();
            ends.push((segment, end, number + 1));
        }
    }
    Sample { storage, blocks: ends }
}

/// Everything in a storage: the numbers of the records (each checked against what was written)
/// and the holes.
pub fn read<S: Storage + Clone>(storage: &S) -> (Vec<u64>, Vec<Hole>) {
    let (mut numbers, mut holes) = (Vec::new(), Vec::new());
    for item in CaptureReader::from_storage(storage.clone()).unwrap() {
        match item.unwrap() {
            Item::Record(found) => {
                assert_eq!(found, record(found.number));
                numbers.push(found.number);
            }
            Item::Hole(hole) => holes.push(hole),
        }
    }
    assert!(numbers.is_sorted_by(|a, b| a < b));
    (numbers, holes)
}
