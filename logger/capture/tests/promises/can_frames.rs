//! CAN frames keep what they are from the bus through a capture.
//!
//! Layout: LINKTYPE_CAN_SOCKETCAN (227) of the link-layer header types registry (read); flags of
//! `linux/can.h` and `linux/can/error.h`, from memory.

use proptest::prelude::*;
use wheelwitness_capture::can::{self, Frame, Id, Payload, Received};
use wheelwitness_capture::clock::SimClock;
use wheelwitness_capture::decode::{Decoder, Reading, Value};
use wheelwitness_capture::nmea::Fault;
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_capture::record::{Kind, RecordingId};
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_capture::write::{Limits, Writer};

pub fn hex(text: &str) -> Vec<u8> {
    let digits: Vec<u8> = text.bytes().filter(|b| !b.is_ascii_whitespace()).collect();
    let pair = |p: &[u8]| u8::from_str_radix(std::str::from_utf8(p).unwrap(), 16).unwrap();
    digits.chunks(2).map(pair).collect()
}

fn standard(id: u16) -> Id {
    Id::standard(id).unwrap()
}

fn extended(id: u32) -> Id {
    Id::extended(id).unwrap()
}

/// The first two are the frames of the published sample of the layout (an emission-related
/// answer, a wheel speed message); the others exercise one flag of `linux/can.h` each.
fn examples() -> Vec<(&'static str, Frame)> {
    let fd = |bit_rate_switch, error_state, data: &[u8]| Frame::Fd {
        id: standard(0x123),
        data: Payload::new(data).unwrap(),
        bit_rate_switch,
        error_state,
    };
    vec![
        (
            "000007e8 08000000 04410c1af8000000",
            Frame::data(standard(0x7e8), &hex("04410c1af8000000")).unwrap(),
        ),
        (
            "98febf0b 08000000 00327d7d7d7dffff",
            Frame::data(extended(0x18fe_bf0b), &hex("00327d7d7d7dffff")).unwrap(),
        ),
        ("00000000 00000000", Frame::data(standard(0), &[]).unwrap()),
        ("80000123 01000000 ff", Frame::data(extended(0x123), &[0xff]).unwrap()),
        ("40000123 05000000", Frame::remote(standard(0x123), 5).unwrap()),
        ("dfffffff 08000000", Frame::remote(extended(0x1fff_ffff), 8).unwrap()),
        (
            "00000123 0c040000 000102030405060708090a0b",
            fd(false, false, &(0..12).collect::<Vec<_>>()),
        ),
        ("00000123 02050000 aabb", fd(true, false, &[0xaa, 0xbb])),
        ("00000123 00060000", fd(false, true, &[])),
        ("20000040 08000000 0000000000000000", Frame::Error { classes: 0x40, details: [0; 8] }),
        (
            "20000204 08000000 0004000000006080",
            Frame::Error { classes: 0x204, details: [0, 4, 0, 0, 0, 0, 0x60, 0x80] },
        ),
    ]
}

#[test]
fn frames_are_the_published_bytes_both_ways() {
    for (text, frame) in examples() {
        assert_eq!(frame.to_linktype_bytes(), hex(text), "{frame:?}");
        assert_eq!(Frame::from_linktype_bytes(&hex(text)), Ok(frame), "{text}");
    }
}

/// `struct can_frame` has 16 bytes and `struct canfd_frame` 72, whatever the payload.
#[test]
fn the_padding_of_the_kernels_structures_is_no_payload() {
    for (text, frame) in examples() {
        let mut bytes = hex(text);
        let fd = matches!(frame, Frame::Fd { .. });
        bytes.resize(if fd { 72 } else { 16 }, 0x55);
        assert_eq!(Frame::from_linktype_bytes(&bytes), Ok(frame), "{text}");
    }
}

/// Writers from before the FD flag existed tell an FD frame by its 72 bytes.
#[test]
fn a_frame_of_72_bytes_is_an_fd_frame_without_the_flag_too() {
    let mut bytes = hex("00000123 0c000000 000102030405060708090a0b");
    bytes.resize(72, 0);
    let data: Vec<u8> = (0..12).collect();
    assert_eq!(Frame::from_linktype_bytes(&bytes), Ok(Frame::fd(standard(0x123), &data).unwrap()));
}

#[test]
fn what_no_bus_carries_is_refused_with_what_is_wrong() {
    let cases = [
        ("", Fault::Length),
        ("00000123 080000", Fault::Length),
        ("00000123 08000000 00", Fault::Length),
        ("00000123 09000000 000000000000000000", Fault::Field("CAN length")),
        ("00000123 41040000", Fault::Field("CAN length")),
        ("00000123 80810000", Fault::Field("CAN length")),
        ("00000800 00000000", Fault::Field("CAN id")),
        ("18febf0b 00000000", Fault::Field("CAN id")),
        ("40000123 09000000", Fault::Field("CAN length")),
        ("40000123 00040000", Fault::Field("FD frame without data")),
        ("20000040 08000000 00", Fault::Length),
        ("20000040 09040000 000000000000000000", Fault::Field("CAN length")),
    ];
    for (text, fault) in cases {
        assert_eq!(Frame::from_linktype_bytes(&hex(text)), Err(fault), "{text}");
    }
}

#[test]
fn ids_and_lengths_out_of_range_make_no_frame() {
    assert_eq!(Id::standard(0x7ff), Some(Id::Standard(0x7ff)));
    assert_eq!(Id::standard(0x800), None);
    assert_eq!(Id::extended(0x1fff_ffff), Some(Id::Extended(0x1fff_ffff)));
    assert_eq!(Id::extended(0x2000_0000), None);
    assert_eq!(Frame::data(standard(1), &[0; 9]), None);
    assert_eq!(Frame::remote(standard(1), 9), None);
    assert!(Frame::fd(standard(1), &[0; 64]).is_some());
    assert_eq!(Frame::fd(standard(1), &[0; 65]), None);
}

/// 1,700,000,000.123456789 s is 0x17979CFE3D85CD15 ns; a frame without a time has the smallest
/// number there is.
#[test]
fn a_record_is_the_kernels_time_and_then_the_frame() {
    let frame = Frame::data(standard(0x7e8), &hex("04410c1af8000000")).unwrap();
    let received = Received { frame, stamp_ns: Some(0x1797_9cfe_3d85_cd15), adapter_ms: None };
    let bytes = hex("15cd853dfe9c9717 000007e8 08000000 04410c1af8000000");
    assert_eq!(received.stamp_ns, Some(1_700_000_000_123_456_789));
    assert_eq!(received.to_bytes(), bytes);
    assert_eq!(Received::from_bytes(&bytes), Ok(received));
    let parts = can::record_bytes(received.stamp_ns, 0x7e8, 8, 0, &hex("04410c1af8000000"));
    assert_eq!(parts, bytes);
    let untimed = Received { stamp_ns: None, ..received };
    assert_eq!(untimed.to_bytes()[..8], hex("0000000000000080"));
    assert_eq!(Received::from_bytes(&untimed.to_bytes()), Ok(untimed));
    assert_eq!(Received::from_bytes(&bytes[..7]), Err(Fault::Length));
}

fn capture(contents: &[(Kind, Vec<u8>)]) -> SimStorage {
    let storage = SimStorage::new();
    let clock = SimClock::default();
    let id = RecordingId([9; 16]);
    let mut writer = Writer::create(storage.clone(), clock, id, Limits::default()).unwrap();
    for (kind, content) in contents {
        writer.append(3, *kind, 1_000, content).unwrap();
    }
    writer.close();
    storage
}

fn readings(storage: SimStorage) -> Vec<Reading> {
    let (mut decoder, mut readings) = (Decoder::new(), Vec::new());
    for item in CaptureReader::from_storage(storage).unwrap() {
        decoder.push_item(&item.unwrap(), &mut |reading| readings.push(reading));
    }
    readings
}

#[test]
fn a_capture_gives_every_frame_back_and_refuses_a_damaged_one_alone() {
    let received = |frame| Received { frame, stamp_ns: Some(-5), adapter_ms: None };
    let mut contents: Vec<_> =
        examples().iter().map(|(_, f)| (Kind::CanFrame, received(*f).to_bytes())).collect();
    contents.insert(4, (Kind::CanFrame, vec![1, 2, 3]));
    let readings = readings(capture(&contents));
    let mut values: Vec<Value> = readings.iter().map(|r| r.value.clone()).collect();
    assert_eq!(values.pop(), Some(Value::Closed));
    assert_eq!(values.remove(4), Value::Refused);
    assert_eq!(readings[4].faults, [Fault::Length]);
    let expected: Vec<Value> =
        examples().iter().map(|(_, frame)| Value::Can(received(*frame))).collect();
    assert_eq!(values, expected);
    assert!(readings.iter().all(|r| r.boot_ns == 1_000 || r.value == Value::Closed));
}

/// The version stands at offset 8 of a block (`FORMAT.md`).
#[test]
fn only_blocks_with_frames_need_the_version_that_brought_them() {
    let version = |contents: &[(Kind, Vec<u8>)]| {
        let bytes = capture(contents).get("segment-000001.wwc").unwrap();
        u16::from_le_bytes([bytes[8], bytes[9]])
    };
    let frame = Frame::data(standard(1), &[]).unwrap();
    let record = Received { frame, stamp_ns: None, adapter_ms: None }.to_bytes();
    assert_eq!(version(&[(Kind::Bytes, vec![1])]), 1);
    assert_eq!(version(&[(Kind::Bytes, vec![1]), (Kind::CanFrame, record)]), 2);
}

fn any_id() -> impl Strategy<Value = Id> {
    prop_oneof![
        (0..=Id::MAX_STANDARD).prop_map(Id::Standard),
        (0..=Id::MAX_EXTENDED).prop_map(Id::Extended),
    ]
}

fn any_frame() -> impl Strategy<Value = Frame> {
    let bytes = |most| proptest::collection::vec(any::<u8>(), 0..=most);
    prop_oneof![
        (any_id(), bytes(8)).prop_map(|(id, data)| Frame::data(id, &data).unwrap()),
        (any_id(), 0..=8_u8).prop_map(|(id, length)| Frame::remote(id, length).unwrap()),
        (any_id(), bytes(64), any::<bool>(), any::<bool>()).prop_map(
            |(id, data, bit_rate_switch, error_state)| {
                let data = Payload::new(&data).unwrap();
                Frame::Fd { id, data, bit_rate_switch, error_state }
            }
        ),
        (0..=Id::MAX_EXTENDED, any::<[u8; 8]>())
            .prop_map(|(classes, details)| Frame::Error { classes, details }),
    ]
}

proptest! {
    #[test]
    fn every_frame_survives_a_record(frame in any_frame(), stamp in any::<Option<i64>>()) {
        let received =
            Received { frame, stamp_ns: stamp.filter(|s| *s != i64::MIN), adapter_ms: None };
        prop_assert_eq!(Received::from_bytes(&received.to_bytes()), Ok(received));
    }

    /// What is taken for a frame is written again as the same frame.
    #[test]
    fn no_bytes_whatever_make_a_frame_that_cannot_be(
        bytes in proptest::collection::vec(any::<u8>(), 0..90), length in 0..80_u8, flags in 0..8_u8
    ) {
        let mut likely = bytes.clone();
        if likely.len() > 13 {
            (likely[12], likely[13]) = (length, flags);
        }
        for bytes in [bytes, likely] {
            if let Ok(received) = Received::from_bytes(&bytes) {
                prop_assert_eq!(Received::from_bytes(&received.to_bytes()), Ok(received));
                prop_assert!(received.frame.payload().len() <= 64);
            }
        }
    }
}
