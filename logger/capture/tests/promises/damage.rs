//! A damaged capture gives every whole block, tells every hole, and never gives anything else.

use crate::sample::{ID, Sample, noise, read, sample};
use proptest::prelude::*;
use std::io::ErrorKind;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use wheelwitness_capture::block::{HEADER_BYTES, MAX_PAYLOAD_BYTES};
use wheelwitness_capture::read::{CaptureReader, Hole, Item, ReadError};
use wheelwitness_capture::record::RecordingId;
use wheelwitness_capture::storage::{SimStorage, Storage};
use wheelwitness_capture::write::segment_name;

fn one_segment(blocks: u64) -> (Sample, Vec<u8>) {
    let sample = sample(ID, blocks, u64::MAX);
    let bytes = sample.storage.get("segment-000001.wwc").unwrap();
    (sample, bytes)
}

fn storage_with(bytes: &[u8]) -> SimStorage {
    let storage = SimStorage::new();
    storage.put("segment-000001.wwc", bytes);
    storage
}

fn hole(offset: usize, bytes: usize, records_missing: Option<u64>) -> Hole {
    Hole { segment: 1, offset: offset as u64, bytes: bytes as u64, records_missing }
}

#[test]
fn a_capture_cut_at_any_byte_keeps_every_whole_block_and_tells_the_rest() {
    let (sample, bytes) = one_segment(40);
    for cut in 0..=bytes.len() {
        let (_, end, records) =
            sample.blocks.iter().rfind(|(_, end, _)| *end <= cut).copied().unwrap_or_default();
        let (numbers, holes) = read(&storage_with(&bytes[..cut]));
        assert!(numbers.into_iter().eq(0..records), "cut at {cut}");
        let torn = (cut > end).then(|| hole(end, cut - end, None));
        assert_eq!(holes, Vec::from_iter(torn), "cut at {cut}");
    }
}

#[test]
fn any_flipped_bit_costs_its_own_block_and_nothing_else() {
    let (sample, bytes) = one_segment(12);
    let mut start = 0;
    for (index, (_, end, records)) in sample.blocks.iter().enumerate() {
        let last = index + 1 == sample.blocks.len();
        for bit in start * 8..end * 8 {
            let mut damaged = bytes.clone();
            damaged[bit / 8] ^= 1 << (bit % 8);
            let (numbers, holes) = read(&storage_with(&damaged));
            let kept = (0..12 * 8).filter(|n| !(records - 8..*records).contains(n));
            assert!(numbers.into_iter().eq(kept), "bit {bit}");
            let expected = hole(start, end - start, (!last).then_some(8));
            assert_eq!(holes, [expected], "bit {bit}");
        }
        start = *end;
    }
}

#[test]
fn a_flipped_version_is_a_hole_but_a_whole_block_of_a_newer_version_is_refused_by_name() {
    let (_, mut bytes) = one_segment(2);
    bytes[8] = 3;
    assert_eq!(read(&storage_with(&bytes)).0.len(), 8);
    let header = crc32c::crc32c(&bytes[..76]).to_le_bytes();
    bytes[76..80].copy_from_slice(&header);
    let length = u32::from_le_bytes(bytes[72..76].try_into().unwrap()) as usize;
    let payload = &bytes[HEADER_BYTES..HEADER_BYTES + length];
    let block = crc32c::crc32c_append(crc32c::crc32c(&bytes[..80]), payload).to_le_bytes();
    bytes[80..84].copy_from_slice(&block);
    let refused = CaptureReader::from_storage(storage_with(&bytes)).unwrap_err();
    assert!(matches!(&refused, ReadError::Newer { found: 3, newest: 2, .. }));
    assert_eq!(
        refused.to_string(),
        "segment-000001.wwc is in capture format version 3; this program reads versions up to 2: \
         use a newer wheelwitness"
    );
}

#[test]
fn a_tail_of_zeros_noise_or_another_recording_gives_no_record() {
    let (_, bytes) = one_segment(5);
    let other = sample_of_another().get("segment-000001.wwc").unwrap();
    let mut state = 5;
    for round in 0..3000 {
        let length = 1 + noise(&mut state) as usize % (if round < 20 { 1 << 20 } else { 3000 });
        let tail: Vec<u8> = match round % 3 {
            0 => vec![0; length],
            1 => (0..length).map(|_| noise(&mut state) as u8).collect(),
            _ => other[length.min(other.len() - 1) % other.len()..].to_vec(),
        };
        let (numbers, holes) = read(&storage_with(&[&bytes[..], &tail].concat()));
        assert!(numbers.into_iter().eq(0..40), "round {round}");
        assert_eq!(holes, [hole(bytes.len(), tail.len(), None)], "round {round}");
    }
}

#[test]
fn stale_blocks_of_the_same_recording_give_no_record_twice() {
    let (sample, bytes) = one_segment(6);
    let stale = &bytes[..sample.blocks[3].1];
    let (numbers, holes) = read(&storage_with(&[&bytes, stale].concat()));
    assert!(numbers.into_iter().eq(0..48));
    assert_eq!(holes, [hole(bytes.len(), stale.len(), None)]);
}

#[test]
fn a_missing_segment_is_told_by_the_numbers() {
    let sample = sample(ID, 40, 3000);
    let segments = sample.blocks.last().unwrap().0;
    assert!(segments > 5);
    let of = |segment: u32| {
        let numbers = sample.blocks.iter().filter(move |(s, _, _)| *s == segment);
        numbers.map(|(_, _, next)| *next).fold((u64::MAX, 0), |(a, b), n| (a.min(n - 8), b.max(n)))
    };
    for missing in 1..=segments {
        let storage = SimStorage::new();
        for n in (1..=segments).filter(|n| *n != missing) {
            storage.put(&segment_name(n), &sample.storage.get(&segment_name(n)).unwrap());
        }
        let (first, next) = of(missing);
        let (numbers, holes) = read(&storage);
        assert!(numbers.into_iter().eq((0..320).filter(|n| !(first..next).contains(n))));
        let records_missing = Some(next - first);
        let gap = Hole { segment: missing + 1, offset: 0, bytes: 0, records_missing };
        assert_eq!(holes, if missing == segments { vec![] } else { vec![gap] });
    }
}

#[test]
fn segments_of_another_recording_are_holes() {
    let sample = sample(ID, 20, 3000);
    let other = sample_of_another().get("segment-000001.wwc").unwrap();
    let last = sample.blocks.last().unwrap().0;
    sample.storage.put(&segment_name(last + 1), &other);
    sample.storage.put(&segment_name(last + 2), &other[..other.len() - 1]);
    let (numbers, holes) = read(&sample.storage);
    assert!(numbers.into_iter().eq(0..160));
    let expected = [(last + 1, other.len()), (last + 2, other.len() - 1)];
    assert!(holes.iter().map(|hole| (hole.segment, hole.bytes as usize)).eq(expected));
}

fn sample_of_another() -> SimStorage {
    sample(RecordingId([9; 16]), 9, u64::MAX).storage
}

#[test]
fn files_that_are_no_segments_are_left_alone() {
    let (_, bytes) = one_segment(2);
    let storage = storage_with(&bytes);
    for name in ["segment-000002.wwc.bad", "segment-2.wwc", "segment-0000003.wwc", "notes.txt"] {
        storage.put(name, b"something else");
    }
    assert_eq!(read(&storage), ((0..16).collect(), vec![]));
}

#[test]
fn an_empty_segment_is_an_empty_capture_and_no_segment_is_none() {
    let mut reader = CaptureReader::from_storage(storage_with(b"")).unwrap();
    assert_eq!(reader.recording(), None);
    assert!(reader.next_item().unwrap().is_none() && !reader.is_closed());
    let none = CaptureReader::from_storage(SimStorage::new()).unwrap_err();
    assert!(none.to_string().contains("holds no capture"), "{none}");
}

#[test]
fn all_bytes_are_given_in_order_for_a_checksum() {
    let sample = sample(ID, 40, 3000);
    let mut reader = CaptureReader::from_storage(sample.storage.clone()).unwrap();
    let mut given = Vec::new();
    let total = reader.read_bytes(|bytes| given.extend_from_slice(bytes)).unwrap();
    let names = reader.segments().iter().map(|segment| segment.name.clone());
    let stored: Vec<u8> = names.flat_map(|name| sample.storage.get(&name).unwrap()).collect();
    assert!(given == stored && total == stored.len() as u64);
}

/// Length fields that ask for more than there is: nothing is allocated for them.
#[test]
fn a_header_that_promises_too_much_is_a_hole() {
    let (sample, bytes) = one_segment(2);
    for length in [0, 1, 1 << 20, (1 << 20) + 1, u32::MAX / 2, u32::MAX] {
        for at in [68, 72] {
            let mut damaged = bytes.clone();
            damaged[at..at + 4].copy_from_slice(&length.to_le_bytes());
            let header = crc32c::crc32c(&damaged[..76]).to_le_bytes();
            damaged[76..80].copy_from_slice(&header);
            let (numbers, holes) = read(&storage_with(&damaged));
            assert!(numbers.into_iter().eq(8..16), "{length} at {at}");
            assert_eq!(holes, [hole(0, sample.blocks[0].1, Some(8))]);
        }
    }
}

/// A segment that goes on with zeros for far longer than a block, and how much was ever asked for
/// at once: the reader takes memory for that much.
#[derive(Clone)]
struct Vast {
    start: Vec<u8>,
    most_asked: Arc<AtomicUsize>,
}

const VAST_BYTES: u64 = 48 << 20;

impl Storage for Vast {
    fn create_new(&mut self, _: &str) -> std::io::Result<()> {
        Err(ErrorKind::ReadOnlyFilesystem.into())
    }
    fn append(&mut self, _: &str, _: &[u8]) -> std::io::Result<()> {
        Err(ErrorKind::ReadOnlyFilesystem.into())
    }
    fn sync(&mut self, _: &str) -> std::io::Result<()> {
        Err(ErrorKind::ReadOnlyFilesystem.into())
    }
    fn list(&mut self) -> std::io::Result<Vec<(String, u64)>> {
        Ok(vec![(segment_name(1), VAST_BYTES)])
    }
    fn read(&mut self, _: &str, offset: u64, into: &mut [u8]) -> std::io::Result<usize> {
        self.most_asked.fetch_max(into.len(), Ordering::Relaxed);
        into.fill(0);
        let here = self.start.get(offset as usize..).unwrap_or_default();
        let bytes = here.len().min(into.len());
        into[..bytes].copy_from_slice(&here[..bytes]);
        Ok(into.len())
    }
}

/// The length of a block is believed only up to what a block may have, even where the segment is
/// so long that it could be true.
#[test]
fn a_length_that_lies_in_a_long_segment_takes_the_memory_of_one_block() {
    let (sample, bytes) = one_segment(2);
    for length in [MAX_PAYLOAD_BYTES as u32, MAX_PAYLOAD_BYTES as u32 + 1, 32 << 20, u32::MAX] {
        let mut start = bytes.clone();
        start[72..76].copy_from_slice(&length.to_le_bytes());
        let header = crc32c::crc32c(&start[..76]).to_le_bytes();
        start[76..80].copy_from_slice(&header);
        let most_asked = Arc::new(AtomicUsize::new(0));
        let (numbers, holes) = read(&Vast { start, most_asked: most_asked.clone() });
        assert!(numbers.into_iter().eq(8..16), "{length}");
        assert_eq!(holes[0], hole(0, sample.blocks[0].1, Some(8)), "{length}");
        let most_asked = most_asked.load(Ordering::Relaxed);
        assert!(most_asked <= HEADER_BYTES + MAX_PAYLOAD_BYTES, "{length}: {most_asked} at once");
    }
}

/// A medium that refuses to give some of its pages.
struct Refusing(SimStorage, std::ops::Range<u64>);

impl Storage for Refusing {
    fn create_new(&mut self, name: &str) -> std::io::Result<()> {
        self.0.create_new(name)
    }
    fn append(&mut self, name: &str, bytes: &[u8]) -> std::io::Result<()> {
        self.0.append(name, bytes)
    }
    fn sync(&mut self, name: &str) -> std::io::Result<()> {
        self.0.sync(name)
    }
    fn list(&mut self) -> std::io::Result<Vec<(String, u64)>> {
        self.0.list()
    }
    fn read(&mut self, name: &str, offset: u64, into: &mut [u8]) -> std::io::Result<usize> {
        let pages = offset / 4096..(offset + into.len() as u64).div_ceil(4096);
        if pages.start < self.1.end && self.1.start < pages.end {
            return Err(std::io::Error::other("this sector is bad"));
        }
        self.0.read(name, offset, into)
    }
}

#[test]
fn what_a_medium_refuses_to_give_is_a_hole_and_everything_else_is_read() {
    let (sample, bytes) = one_segment(400);
    let pages = bytes.len() as u64 / 4096;
    assert!(pages > 4, "{pages} pages are not enough");
    for bad in [0..1, 1..2, 2..4, pages..pages + 1] {
        let range = bad.start as usize * 4096..(bad.end as usize * 4096).min(bytes.len());
        let mut expected = bytes.clone();
        expected[range].fill(0);
        let refusing = Refusing(storage_with(&bytes), bad.clone());
        let found: Vec<_> =
            CaptureReader::from_storage(refusing).unwrap().map(Result::unwrap).collect();
        let zeroed = CaptureReader::from_storage(storage_with(&expected)).unwrap();
        assert_eq!(found, zeroed.map(Result::unwrap).collect::<Vec<_>>(), "pages {bad:?}");
        assert!(found.iter().any(|item| matches!(item, Item::Hole(_))), "pages {bad:?}");
    }
    let all = CaptureReader::from_storage(Refusing(sample.storage.clone(), 0..pages + 1));
    let told = all.err().unwrap().to_string();
    assert!(told.contains("this sector is bad"), "{told}");
}

proptest! {
    #[test]
    fn damage_of_any_kind_keeps_the_blocks_that_it_did_not_touch(
        edits in proptest::collection::vec(
            (any::<prop::sample::Index>(), 0..4_u8, any::<u8>()),
            1..6,
        )
    ) {
        let sample = sample(ID, 30, u64::MAX);
        let mut bytes: Vec<(u8, usize)> = Vec::new();
        let mut start = 0;
        let whole = sample.storage.get("segment-000001.wwc").unwrap();
        for (block, (_, end, _)) in sample.blocks.iter().enumerate() {
            bytes.extend(whole[start..*end].iter().map(|byte| (*byte, block)));
            start = *end;
        }
        let mut touched = [false; 30];
        for (index, kind, value) in edits {
            let at = index.index(bytes.len());
            // An insertion at the seam of two blocks damages neither.
            let inside = at > 0 && bytes[at - 1].1 == bytes[at].1;
            match kind {
                0 => {
                    let (before, block) = bytes[at];
                    bytes[at].0 = value;
                    touched[block] |= before != value;
                }
                1 => touched[bytes.remove(at).1] = true,
                2 => {
                    let block = bytes[at].1;
                    touched[block] |= inside;
                    bytes.insert(at, (value, block));
                }
                _ => {
                    for _ in 0..usize::from(value).min(bytes.len() - at) {
                        touched[bytes.remove(at).1] = true;
                    }
                }
            }
        }
        let bytes: Vec<u8> = bytes.into_iter().map(|(byte, _)| byte).collect();
        prop_assume!(!bytes.is_empty());
        let (numbers, holes) = read(&storage_with(&bytes));
        let untouched: Vec<u64> =
            (0..240).filter(|number| !touched[(number / 8) as usize]).collect();
        for number in &untouched {
            prop_assert!(numbers.contains(number), "record {number} is whole but was not read");
        }
        let told: u64 = holes.iter().filter_map(|hole| hole.records_missing).sum();
        let known = numbers.last().map_or(0, |last| last + 1);
        prop_assert_eq!(told, known - numbers.len() as u64);
    }

    /// Pieces of a capture's segments, strewn over others: whatever is read was written, in order.
    #[test]
    fn segments_shuffled_and_spliced_give_records_in_order_once(
        pieces in proptest::collection::vec(
            (1..8_u32, any::<prop::sample::Index>(), any::<prop::sample::Index>(), 1..8_u32),
            0..40,
        )
    ) {
        let (whole, spliced) = (sample(ID, 40, 2500).storage, SimStorage::new());
        for (from, start, end, to) in pieces {
            let Some(bytes) = whole.get(&segment_name(from)) else { continue };
            let (start, end) = (start.index(bytes.len()), end.index(bytes.len()));
            let mut target = spliced.get(&segment_name(to)).unwrap_or_default();
            target.extend_from_slice(&bytes[start.min(end) / 2..end.max(start)]);
            spliced.put(&segment_name(to), &target);
        }
        spliced.put(&segment_name(99), b"");
        let (numbers, holes) = read(&spliced);
        let told: u64 = holes.iter().filter_map(|hole| hole.records_missing).sum();
        prop_assert_eq!(told, numbers.last().map_or(0, |last| last + 1) - numbers.len() as u64);
    }

    #[test]
    fn no_bytes_whatever_make_a_reader_panic_or_find_a_record(
        bytes in proptest::collection::vec(any::<u8>(), 0..4000)
    ) {
        let (numbers, holes) = read(&storage_with(&bytes));
        prop_assert!(numbers.is_empty());
        prop_assert_eq!(holes.iter().map(|hole| hole.bytes).sum::<u64>(), bytes.len() as u64);
    }
}
