//! CAN traffic as pcapng: blocks byte for byte, both byte orders, every clock, any damage.
//!
//! Blocks and options: Internet-Draft "PCAP Next Generation (pcapng) Capture File Format", from
//! memory; the payload: LINKTYPE_CAN_SOCKETCAN (227) of the link-layer header types registry
//! (read).

use crate::can_frames::hex;
use proptest::prelude::*;
use wheelwitness_capture::can::{Frame, Id};
use wheelwitness_capture::decode::{Decoder, Value};
use wheelwitness_capture::exchange::{ImportError, Imported, export_can, import_can};
use wheelwitness_capture::import::Extras;
use wheelwitness_capture::pcapng::{Packet, PcapngError, Reader, Writer};
use wheelwitness_capture::read::{CaptureReader, Item};
use wheelwitness_capture::record::RecordingId;
use wheelwitness_capture::storage::SimStorage;

/// Two frames at 1,700,000,000.123456789 s and 10 ms later, written by hand.
const SAMPLE: [&str; 4] = [
    "0a0d0d0a1c0000004d3c2b1a01000000ffffffffffffffff1c000000",
    "0100000020000000e30000000000000009000100090000000000000020000000",
    "060000003000000000000000fe9c971715cd853d1000000010000000\
     000007e80800000004410c1af800000030000000",
    "060000003000000000000000fe9c971795631e3e1000000010000000\
     98febf0b0800000000327d7d7d7dffff30000000",
];
const FIRST_NS: i64 = 1_700_000_000_123_456_789;

/// The same in the other byte order: the ids stay as they are.
const SWAPPED: [&str; 4] = [
    "0a0d0d0a0000001c1a2b3c4d00010000ffffffffffffffff0000001c",
    "000000010000002000e300000000000000090001090000000000000000000020",
    "00000006000000300000000017979cfe3d85cd150000001000000010\
     000007e80800000004410c1af800000000000030",
    "00000006000000300000000017979cfe3e1e63950000001000000010\
     98febf0b0800000000327d7d7d7dffff00000030",
];

fn sample() -> Vec<u8> {
    hex(&SAMPLE.concat())
}

fn frames() -> [Frame; 2] {
    let data = |id, text| Frame::data(id, &hex(text)).unwrap();
    [
        data(Id::Standard(0x7e8), "04410c1af8000000"),
        data(Id::Extended(0x18fe_bf0b), "00327d7d7d7dffff"),
    ]
}

fn packets(file: &[u8]) -> Result<(Vec<Packet>, bool), PcapngError> {
    let (mut reader, mut packets) = (Reader::new(file), Vec::new());
    while let Some(packet) = reader.next_packet()? {
        packets.push(packet);
    }
    Ok((packets, reader.is_cut()))
}

fn problem(file: &[u8]) -> String {
    packets(file).unwrap_err().to_string()
}

fn import(file: &[u8]) -> Result<(Imported, SimStorage), ImportError> {
    let storage = SimStorage::new();
    let id = RecordingId([5; 16]);
    import_can(file, storage.clone(), id, &Extras::default()).map(|done| (done, storage))
}

/// Boot-time, kernel's time, source and frame of everything in a capture.
fn stored(storage: &SimStorage) -> Vec<(i64, Option<i64>, u16, Frame)> {
    let (mut decoder, mut all) = (Decoder::new(), Vec::new());
    for item in CaptureReader::from_storage(storage.clone()).unwrap() {
        let Item::Record(record) = item.unwrap() else { panic!("a hole") };
        decoder.push(&record, &mut |r| {
            if let Value::Can(received) = r.value {
                all.push((r.boot_ns, received.stamp_ns, r.source, received.frame));
            }
        });
    }
    all
}

fn block(kind: u32, body: &[u8]) -> Vec<u8> {
    let length = (body.len() as u32 + 12).to_le_bytes();
    [&kind.to_le_bytes()[..], &length, body, &length].concat()
}

/// A section, an interface with these options, and a packet at so many ticks.
fn with_options(options: &str, ticks: u64, tail: &[u8]) -> Vec<u8> {
    let interface = [hex("e300000000000000"), hex(options)].concat();
    let mut packet = hex("00000000");
    packet.extend_from_slice(&((ticks >> 32) as u32).to_le_bytes());
    packet.extend_from_slice(&(ticks as u32).to_le_bytes());
    packet.extend_from_slice(&hex("0b0000000b000000 00000123 03000000 aabbcc 00"));
    packet.extend_from_slice(tail);
    [hex(SAMPLE[0]), block(1, &interface), block(6, &packet)].concat()
}

fn time_of(options: &str, ticks: u64) -> i64 {
    packets(&with_options(options, ticks, &[])).unwrap().0[0].time_ns
}

#[test]
fn the_sample_is_written_byte_for_byte() {
    let mut writer = Writer::new(Vec::new()).unwrap();
    let interface = writer.interface(None).unwrap();
    for (frame, later_ns) in frames().iter().zip([0, 10_000_000]) {
        let time_ns = FIRST_NS as u64 + later_ns;
        writer.packet(interface, time_ns, &frame.to_linktype_bytes()).unwrap();
    }
    assert_eq!(writer.finish(), sample());
}

#[test]
fn both_byte_orders_are_read_alike() {
    for blocks in [SAMPLE, SWAPPED] {
        let (packets, cut) = packets(&hex(&blocks.concat())).unwrap();
        let read: Vec<_> = packets
            .iter()
            .map(|p| (p.time_ns, Frame::from_linktype_bytes(&p.bytes).unwrap()))
            .collect();
        let [first, second] = frames();
        assert_eq!(read, [(FIRST_NS, first), (FIRST_NS + 10_000_000, second)]);
        assert_eq!((packets[0].interface.link_type, cut), (227, false));
    }
}

/// Option 9: a power of 10, with the top bit a power of 2, microseconds if missing. Option 14:
/// seconds to add.
#[test]
fn every_resolution_of_time_is_understood() {
    assert_eq!(time_of("", 1_700_000_000_123_456), 1_700_000_000_123_456_000);
    assert_eq!(time_of("00000000", 5), 5000, "an end of options alone");
    assert_eq!(time_of("0900010006000000", 7), 7000);
    assert_eq!(time_of("0900010000000000", 1_700_000_000), 1_700_000_000_000_000_000);
    assert_eq!(time_of("090001000c000000", 1_999), 1, "picoseconds are cut");
    assert_eq!(time_of("090001008a000000", 1_536), 1_500_000_000, "1/1024 s");
    assert_eq!(time_of("090001009e000000", 3 << 29), 1_500_000_000, "2^-30 s");
    assert_eq!(time_of("09000100ff000000", u64::MAX), 0, "2^-127 s");
    assert_eq!(time_of("090001007f000000", u64::MAX), 0, "10^-127 s");
    assert_eq!(time_of("0e000800ffffffffffffffff", 3_000_000), 2_000_000_000);
    let late = packets(&with_options("0900010000000000", u64::MAX, &[]));
    assert!(late.unwrap_err().to_string().ends_with("its time is no date"));
}

#[test]
fn padding_and_options_of_a_packet_are_no_payload() {
    let file = with_options("02000500 63616e3000 000000 00000000", 0, &hex("0200040000000000"));
    let (packets, _) = packets(&file).unwrap();
    assert_eq!(packets[0].bytes, hex("0000012303000000aabbcc"));
    assert_eq!(packets[0].interface.name.as_deref(), Some("can0"), "with a zero at its end");
}

#[test]
fn blocks_of_other_kinds_are_passed_over_and_a_new_section_begins_anew() {
    let unknown = block(0x8000_0001, b"anything");
    let statistics = block(5, &[0; 12]);
    let file = [sample(), unknown, statistics, hex(&SWAPPED.concat())].concat();
    let (packets, cut) = packets(&file).unwrap();
    let numbers: Vec<u64> = packets.iter().map(|p| p.interface_number).collect();
    assert_eq!((numbers, cut), (vec![0, 0, 1, 1], false));
}

#[test]
fn a_file_cut_anywhere_gives_what_was_whole_before() {
    let file = sample();
    let ends: Vec<usize> = SAMPLE
        .iter()
        .scan(0, |end, b| {
            *end += hex(b).len();
            Some(*end)
        })
        .collect();
    for length in 0..=file.len() {
        let (packets, cut) = packets(&file[..length]).unwrap();
        let whole = ends[2..].iter().filter(|end| **end <= length).count();
        assert_eq!(packets.len(), whole, "cut at {length}");
        assert_eq!(cut, length != 0 && !ends.contains(&length), "cut at {length}");
    }
}

#[test]
fn lengths_that_lie_are_told_with_their_place() {
    let with = |at: usize, value: u32| {
        let mut file = sample();
        file[at..at + 4].copy_from_slice(&value.to_le_bytes());
        file
    };
    for length in [0, 8, 11, 12, 30, 1 << 25, u32::MAX] {
        let expected = format!("block 1 at byte 0: its length cannot be {length}");
        assert_eq!(problem(&with(4, length)), expected);
    }
    for length in [0, 8, 11, 34, u32::MAX] {
        let expected = format!("block 2 at byte 28: its length cannot be {length}");
        assert_eq!(problem(&with(32, length)), expected);
    }
    assert_eq!(problem(&with(104, 44)), "block 3 at byte 60: its two lengths differ");
    assert_eq!(problem(&with(64, 44)), "block 3 at byte 60: its two lengths differ");
    assert_eq!(problem(&with(80, 29)), "block 3 at byte 60: it is too short");
    assert_eq!(problem(&with(80, u32::MAX)), "block 3 at byte 60: it is too short");
    assert_eq!(problem(&with(68, 1)), "block 3 at byte 60: its interface 1 was never described");
    assert_eq!(problem(&with(8, 7)), "block 1 at byte 0: its byte order cannot be told");
    assert_eq!(problem(&with(12, 2)), "block 1 at byte 0: pcapng version 2 is not known");
    assert_eq!(problem(&with(44, 0x00ff_0009)), "block 2 at byte 28: it is too short");
    let expected = "block 1 at byte 0: it is no section header: this is no pcapng file";
    assert_eq!(problem(b"time_s,id"), expected);
    // A long block that the file does not hold is a cut, and takes no memory.
    assert!(packets(&with(32, 1 << 24)).unwrap().1);
}

#[test]
fn an_imported_file_is_a_capture_with_its_times_and_names() {
    for blocks in [SAMPLE, SWAPPED] {
        let (done, storage) = import(&hex(&blocks.concat())).unwrap();
        assert_eq!((done.frames, done.refused, done.others, done.cut_at), (2, 0, 0, None));
        assert_eq!(done.sources, [(0, "interface-0".to_owned())]);
        let [first, second] = frames();
        let later = FIRST_NS + 10_000_000;
        let expected = [(0, Some(FIRST_NS), 0, first), (10_000_000, Some(later), 0, second)];
        assert_eq!(stored(&storage), expected);
        let mut reader = CaptureReader::from_storage(storage).unwrap();
        assert!(reader.next_item().unwrap().is_some());
        let began = reader.first_stamp().unwrap();
        assert_eq!((began.boot_ns, began.wall_ns), (0, FIRST_NS));
    }
}

#[test]
fn what_is_no_can_frame_is_counted_or_refused_by_name() {
    let mut odd = sample();
    odd[92] = 9; // The length of the first frame.
    let (done, storage) = import(&odd).unwrap();
    assert_eq!((done.frames, done.refused), (2, 1));
    assert_eq!(stored(&storage).len(), 1);
    let mut other = sample();
    other[36] = 1; // Ethernet.
    let text = import(&other).unwrap_err().to_string();
    assert!(text.starts_with("none of its 2 packets is a CAN frame"), "{text}");
    let both = [other, sample()].concat();
    let (done, _) = import(&both).unwrap();
    assert_eq!((done.frames, done.others), (2, 2));
    let (done, _) = import(&sample()[..120]).unwrap();
    assert_eq!((done.frames, done.cut_at), (1, Some((4, 108))));
    for older in ["d4c3b2a1020004000000", "a1b23c4d000200040000"] {
        assert!(matches!(import(&hex(older)), Err(ImportError::Older)));
    }
    let mut back = sample();
    back[124..128].copy_from_slice(&0_u32.to_le_bytes()); // 1.03 s before the first frame.
    let text = import(&back).unwrap_err().to_string();
    assert!(text.starts_with("block 4 at byte 108: time goes back from 0 to -"), "{text}");
}

#[test]
fn what_was_imported_is_exported_the_same() {
    let mut writer = Writer::new(Vec::new()).unwrap();
    let interfaces = ["can0", "can1"].map(|name| writer.interface(Some(name)).unwrap());
    for n in 0..500_u64 {
        let frame =
            Frame::data(Id::Standard(n as u16), &n.to_le_bytes()[..n as usize % 9]).unwrap();
        let bytes = frame.to_linktype_bytes();
        let time_ns = FIRST_NS as u64 + n * 1_234_567;
        writer.packet(interfaces[n as usize % 2], time_ns, &bytes).unwrap();
    }
    let file = writer.finish();
    let (imported, storage) = import(&file).unwrap();
    assert_eq!(imported.sources, [(0, "can0".to_owned()), (1, "can1".to_owned())]);
    let mut reader = CaptureReader::from_storage(storage).unwrap();
    let (done, exported) = export_can(&mut reader, Vec::new()).unwrap();
    assert_eq!((done.frames, done.interfaces, done.refused, done.lost), (500, 2, 0, 0));
    // Interfaces are described when their first frame comes.
    let read = |file: &[u8]| packets(file).unwrap().0;
    assert!(read(&exported) == read(&file), "times, names or bytes differ");
}

proptest! {
    #[test]
    fn no_bytes_whatever_make_a_reader_panic(
        noise in proptest::collection::vec(any::<u8>(), 0..300),
        edits in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
        swapped: bool,
    ) {
        let mut file = hex(&if swapped { SWAPPED } else { SAMPLE }.concat());
        for (at, value) in edits {
            let at = at.index(file.len());
            file[at] = value;
        }
        for bytes in [noise, file] {
            let _ = packets(&bytes);
            let _ = import(&bytes);
        }
    }
}
