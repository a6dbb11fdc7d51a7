//! Lines of serial-line CAN adapters: what they say, and what damage on the line can do.
//!
//! The lines are the examples in the comments of the Linux kernel's slcan driver
//! (`drivers/net/can/slcan/slcan-core.c`, read), unless said otherwise.

use proptest::prelude::*;
use wheelwitness_capture::can::{Frame, Id, Received};
use wheelwitness_capture::decode::{Decoder, Reading, Value};
use wheelwitness_capture::nmea::{Fault, Line};
use wheelwitness_capture::record::{Kind, Record, Text, title};
use wheelwitness_capture::serial_can::{
    Framer, MAX_LINE_BYTES, Says, bit_rates, decode, encode, set_bit_rate,
};

fn data(id: Id, bytes: &[u8]) -> Frame {
    Frame::data(id, bytes).unwrap()
}

fn error(classes: u32, details: [u8; 8]) -> Frame {
    Frame::Error { classes, details }
}

fn says(frame: Frame, adapter_ms: Option<u16>) -> Result<Says, Fault> {
    Ok(Says::Frame { frame, adapter_ms })
}

#[test]
fn lines_of_the_kernels_driver_say_what_its_comments_say() {
    let cases = [
        ("t1230", data(Id::Standard(0x123), &[]), None),
        ("t4563112233", data(Id::Standard(0x456), &[0x11, 0x22, 0x33]), None),
        ("T12ABCDEF2AA55", data(Id::Extended(0x12ab_cdef), &[0xaa, 0x55]), None),
        ("r1230", Frame::Remote { id: Id::Standard(0x123), length: 0 }, None),
        // The longest line that the driver provides for: 30 characters, clock 59,999 ms.
        (
            "T1111222281122334455667788EA5F",
            data(Id::Extended(0x1111_2222), &[0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88]),
            Some(59_999),
        ),
        // SAE J1979 answer 41 0C 1A F8 (read) and SAE J1939-71 wheel speed message (read).
        (
            "t7E8804410C1AF8000000",
            data(Id::Standard(0x7e8), &[4, 0x41, 0x0c, 0x1a, 0xf8, 0, 0, 0]),
            None,
        ),
        (
            "t7E8804410C1AF800000003E8",
            data(Id::Standard(0x7e8), &[4, 0x41, 0x0c, 0x1a, 0xf8, 0, 0, 0]),
            Some(1000),
        ),
        (
            "T18FEBF0B800327D7D7D7DFFFF",
            data(Id::Extended(0x18fe_bf0b), &[0, 0x32, 0x7d, 0x7d, 0x7d, 0x7d, 0xff, 0xff]),
            None,
        ),
        // Remote frames may have a length; they never have data (driver's comment).
        ("r7DF8", Frame::Remote { id: Id::Standard(0x7df), length: 8 }, None),
        ("R18FEBF0B80001", Frame::Remote { id: Id::Extended(0x18fe_bf0b), length: 8 }, Some(1)),
        // The driver takes small digits too.
        ("t7ff1ab", data(Id::Standard(0x7ff), &[0xab]), None),
    ];
    for (line, frame, adapter_ms) in cases {
        assert_eq!(decode(line.as_bytes()), says(frame, adapter_ms), "{line}");
    }
}

/// The bits are those that the driver sets for each line (`slc_bump_err`, `slc_bump_state` and
/// `can_change_state`; the first two read, the last from memory). Its counter of 256 becomes the
/// largest byte here.
#[test]
fn states_and_errors_of_the_bus_become_the_kernels_error_frames() {
    let cases = [
        ("sb256256", 0x240, [0, 0, 0, 0, 0, 0, 255, 255]),
        ("sa057033", 0x204, [0, 0x40, 0, 0, 0, 0, 33, 57]),
        ("sw096000", 0x204, [0, 0x04, 0, 0, 0, 0, 0, 96]),
        ("sw000096", 0x204, [0, 0x08, 0, 0, 0, 0, 96, 0]),
        ("sp128128", 0x204, [0, 0x30, 0, 0, 0, 0, 128, 128]),
        ("e1a", 0xa8, [0, 0, 0, 0x19, 0, 0, 0, 0]),
        ("e3bcO", 0x8c, [0, 2, 0x09, 0x08, 0, 0, 0, 0]),
        ("e2oO", 0x8c, [0, 3, 0, 0, 0, 0, 0, 0]),
        ("e3Bfs", 0x88, [0, 0, 0x16, 0, 0, 0, 0, 0]),
        ("e0", 0x88, [0; 8]),
    ];
    for (line, classes, details) in cases {
        assert_eq!(decode(line.as_bytes()), says(error(classes, details), None), "{line}");
    }
}

#[test]
fn answers_are_no_frames_and_no_faults() {
    for line in ["", "z", "Z", "V1013", "NA123"] {
        assert_eq!(decode(line.as_bytes()), Ok(Says::Answer), "{line}");
    }
    assert_eq!(decode(b"\x07"), Ok(Says::Refusal));
}

/// The driver takes what stands behind the data for nothing; here only a clock may stand there.
#[test]
fn lines_of_any_other_shape_are_refused_with_what_is_wrong() {
    let cases = [
        ("t", Fault::Length),
        ("t123", Fault::Length),
        ("t12", Fault::Length),
        ("t1231", Fault::Length),
        ("t12311", Fault::Length),
        ("t1231112", Fault::Length),
        ("t12311122334", Fault::Length),
        ("t12311122", Fault::Length),
        ("t8000", Fault::Field("CAN id")),
        ("tFFF0", Fault::Field("CAN id")),
        ("t1x30", Fault::Field("CAN id")),
        ("T200000000", Fault::Field("CAN id")),
        ("T1230", Fault::Length),
        ("t1239", Fault::Field("CAN length")),
        ("t123A", Fault::Field("CAN length")),
        ("t1231+1", Fault::Field("CAN data")),
        ("t1231GG", Fault::Field("CAN data")),
        ("t12300", Fault::Length),
        ("t1230EA60", Fault::Field("adapter clock")),
        ("t1230 3E8", Fault::Field("adapter clock")),
        ("sb25625", Fault::Length),
        ("sb2562560", Fault::Length),
        ("sx000000", Fault::Field("bus state")),
        ("sb25a256", Fault::Field("error counter")),
        ("e", Fault::Length),
        ("e2a", Fault::Length),
        ("e1x", Fault::Field("kind of bus error")),
        ("e9aaaaaaaaa", Fault::Length),
        ("zz", Fault::Garbage { bytes: 2 }),
        ("1122", Fault::Garbage { bytes: 4 }),
        ("V", Fault::Garbage { bytes: 1 }),
    ];
    for (line, fault) in cases {
        assert_eq!(decode(line.as_bytes()), Err(fault), "{line}");
    }
}

/// The table of bit rates in the driver.
#[test]
fn bit_rates_have_the_drivers_numbers() {
    let told: Vec<String> = bit_rates()
        .iter()
        .map(|rate| String::from_utf8(set_bit_rate(*rate).unwrap()).unwrap())
        .collect();
    assert_eq!(told, ["S0\r", "S1\r", "S2\r", "S3\r", "S4\r", "S5\r", "S6\r", "S7\r", "S8\r"]);
    assert_eq!(set_bit_rate(500_000), Some(b"S6\r".to_vec()));
    assert_eq!(set_bit_rate(83_333), None);
}

/// 10 bits a character: figures of the promise about what a serial line can carry.
#[test]
fn the_length_of_a_line_limits_what_a_serial_line_carries() {
    let frame = data(Id::Standard(0x7e8), &[0; 8]);
    let wide = data(Id::Extended(0x18fe_bf0b), &[0; 8]);
    let length = |frame, clock| encode(frame, clock).unwrap().len();
    assert_eq!((length(&frame, None), length(&frame, Some(0))), (22, 26));
    assert_eq!((length(&wide, None), length(&wide, Some(0))), (27, 31));
    let fd = Frame::fd(Id::Standard(1), &[0; 12]).unwrap();
    assert_eq!((encode(&fd, None), encode(&error(0x40, [0; 8]), None)), (None, None));
}

fn record(number: u64, kind: Kind, bytes: &[u8]) -> Record {
    Record { number, source: 4, boot_ns: number as i64, kind, bytes: bytes.to_vec() }
}

fn declared() -> Record {
    record(0, Kind::Text, &Text::new(title::SOURCE_KIND, "serial-can").to_bytes())
}

/// What the pieces say when they are the bytes of a declared adapter.
fn heard(pieces: &[&[u8]]) -> Vec<Reading> {
    let mut records = vec![declared(), record(1, Kind::Opened, b"a port")];
    records.extend(pieces.iter().zip(2..).map(|(bytes, n)| record(n, Kind::Bytes, bytes)));
    let (mut decoder, mut readings) = (Decoder::new(), Vec::new());
    records.iter().for_each(|record| decoder.push(record, &mut |reading| readings.push(reading)));
    decoder.finish(&mut |reading| readings.push(reading));
    readings.split_off(2)
}

fn values(pieces: &[&[u8]]) -> Vec<(Value, Vec<Fault>)> {
    heard(pieces).into_iter().map(|reading| (reading.value, reading.faults)).collect()
}

fn frames(pieces: &[&[u8]]) -> Vec<Frame> {
    let can = |(value, _)| match value {
        Value::Can(received) => Some(received.frame),
        _ => None,
    };
    values(pieces).into_iter().filter_map(can).collect()
}

const WIRE: &[u8] =
    b"\r\r\x07V1013\rt7E8804410C1AF8000000\rT18FEBF0B800327D7D7D7DFFFF\rr1230\re1a\rsa057033\r";

#[test]
fn a_declared_adapter_is_read_line_by_line_with_the_records_of_each() {
    let readings = heard(&[&WIRE[..20], &WIRE[20..]]);
    let told: Vec<_> = readings
        .iter()
        .map(|r| (r.first_record, r.record, r.boot_ns, r.faults.is_empty()))
        .collect();
    let expected = [(2, 2), (2, 2), (2, 3), (3, 3), (3, 3), (3, 3), (3, 3)];
    assert_eq!(told, expected.map(|(first, last)| (first, last, last as i64, true)));
    assert_eq!(readings[0].value, Value::Unknown("BEL".into()));
    assert_eq!(readings[1].value, Value::Unknown("V1013".into()));
    let frame = data(Id::Standard(0x7e8), &[4, 0x41, 0x0c, 0x1a, 0xf8, 0, 0, 0]);
    let received = Received { frame, stamp_ns: None, adapter_ms: None };
    assert_eq!(readings[2].value, Value::Can(received));
    assert!(readings[3..].iter().all(|r| matches!(r.value, Value::Can(_))));
}

#[test]
fn the_same_bytes_of_a_source_of_another_kind_are_no_frames() {
    let mut decoder = Decoder::new();
    let mut readings = Vec::new();
    decoder.push(&record(0, Kind::Bytes, WIRE), &mut |reading| readings.push(reading));
    decoder.finish(&mut |reading| readings.push(reading));
    assert!(!readings.iter().any(|r| matches!(r.value, Value::Can(_))));
    decoder.push(&declared(), &mut |_| ());
    readings.clear();
    decoder.push(&record(1, Kind::Bytes, WIRE), &mut |reading| readings.push(reading));
    assert_eq!(readings.iter().filter(|r| matches!(r.value, Value::Can(_))).count(), 5);
}

#[test]
fn a_line_cut_off_by_a_loss_is_told_and_the_next_one_is_read() {
    let read = values(&[b"t7E8804410C1", b"T18FEBF0B800327D7D7D7DFFFF\r"]);
    assert_eq!(read[0], (Value::Refused, vec![Fault::Unfinished { bytes: 12 }]));
    assert!(matches!(read[1].0, Value::Can(_)));
    assert_eq!(read.len(), 2);
    let joined = values(&[b"AF8000000\rt1230\rAF8000000\rt1230\r"]);
    assert_eq!(joined.len(), 3, "the rest of a line before the first is no fault");
    assert_eq!(joined[1], (Value::Refused, vec![Fault::Garbage { bytes: 9 }]));
}

#[test]
fn bytes_without_end_are_counted_and_cost_no_later_line() {
    let mut endless = b"\r".to_vec();
    endless.resize(1001, b'5');
    endless.extend_from_slice(b"\rt1230\r");
    for size in [1, 7, MAX_LINE_BYTES, 2000] {
        let pieces: Vec<&[u8]> = endless.chunks(size).collect();
        let read = values(&pieces);
        assert_eq!(read[0], (Value::Refused, vec![Fault::TooLong]), "in pieces of {size}");
        assert_eq!(read[1], (Value::Refused, vec![Fault::Garbage { bytes: 1000 }]));
        assert_eq!(read.len(), 3);
    }
}

/// Without its clock the clock of the line before would be read as data.
#[test]
fn a_line_that_lost_its_clocks_place_is_refused_where_clocks_are_sent() {
    let whole = b"t7E8804410C1AF800000003E8\r";
    let cut = b"t7E8804410C1A00000003E8\r".as_slice();
    let short = b"t7E8804410C1AF8000003E8\r".as_slice();
    assert_eq!(frames(&[cut]).len(), 0, "two characters are missing");
    let lost = b"t7E8804410CF800000003E8\r".as_slice();
    assert_eq!(frames(&[lost]).len(), 0, "two characters are missing");
    let four = b"t7E8804410C00000003E8\r".as_slice();
    assert_eq!(frames(&[four]).len(), 1, "nothing is known of the adapter yet");
    let mut wire = vec![whole.as_slice(); 4];
    wire.extend([four, short, whole]);
    let read = values(&wire);
    assert_eq!(read[4], (Value::Refused, vec![Fault::Field("missing adapter clock")]));
    assert_eq!(read[5], (Value::Refused, vec![Fault::Length]));
    assert!(matches!(read[6].0, Value::Can(_)));
    // An adapter that no longer sends its clock is believed at the fourth line.
    wire.extend([four; 5]);
    assert_eq!(frames(&wire).len(), 4 + 1 + 2);
}

fn any_frame() -> impl Strategy<Value = Frame> {
    let id = prop_oneof![
        (0..=Id::MAX_STANDARD).prop_map(Id::Standard),
        (0..=Id::MAX_EXTENDED).prop_map(Id::Extended),
    ];
    let bytes = proptest::collection::vec(any::<u8>(), 0..=8);
    (id, bytes, any::<bool>()).prop_map(|(id, bytes, remote)| match remote {
        true => Frame::remote(id, bytes.len() as u8).unwrap(),
        false => data(id, &bytes),
    })
}

proptest! {
    #[test]
    fn what_is_written_is_read_back(
        frame in any_frame(), clock in proptest::option::of(0..60_000_u16)
    ) {
        let line = encode(&frame, clock).unwrap();
        let (end, line) = line.split_last().unwrap();
        prop_assert_eq!(*end, b'\r');
        prop_assert_eq!(decode(line), says(frame, clock));
    }

    #[test]
    fn pieces_of_any_length_say_the_same(
        sent in proptest::collection::vec(any_frame(), 1..20),
        size in 1..60_usize,
    ) {
        let wire: Vec<u8> = sent.iter().flat_map(|f| encode(f, None).unwrap()).collect();
        let pieces: Vec<&[u8]> = wire.chunks(size).collect();
        prop_assert_eq!(frames(&pieces), sent);
    }

    /// Letters of frames and answers reach further into the decoder than noise does.
    #[test]
    fn no_bytes_whatever_make_a_decoder_panic(
        noise in proptest::collection::vec(any::<u8>(), 0..300),
        likely in "[tTrRseVz0-9A-Fa-f\r\\x07]{0,300}",
        size in 1..100_usize,
    ) {
        for wire in [&noise[..], likely.as_bytes()] {
            let pieces: Vec<&[u8]> = wire.chunks(size).collect();
            prop_assert_eq!(values(&pieces), values(&[wire]));
        }
    }

    /// No checksum guards a line, but digits of data come in pairs and one missing shows.
    #[test]
    fn a_lost_byte_loses_one_line_at_most(
        sent in proptest::collection::vec(any_frame(), 2..12),
        lost in any::<prop::sample::Index>(),
    ) {
        let mut wire: Vec<u8> = sent.iter().flat_map(|f| encode(f, None).unwrap()).collect();
        wire.remove(lost.index(wire.len()));
        let read = frames(&[&wire]);
        prop_assert!(read.len() + 1 >= sent.len(), "{read:?}");
        prop_assert!(read.iter().all(|frame| sent.contains(frame)), "{read:?}");
    }

    #[test]
    fn every_byte_is_in_a_line_or_counted_or_an_end(
        text in "[tT05a\r\n\\x07]{0,900}", size in 1..400_usize
    ) {
        let bytes = format!("\r{text}").into_bytes();
        let (mut framer, mut told) = (Framer::default(), 0);
        let mut count = |_, line: Line<'_>| {
            told += match line {
                Line::Sentence(b"\x07") => 0,
                Line::Sentence(line) => line.len() as u64,
                Line::Fault(Fault::Garbage { bytes } | Fault::Unfinished { bytes }) => bytes,
                Line::Fault(_) => 0,
            };
        };
        bytes.chunks(size).for_each(|piece| framer.push(0, piece, &mut count));
        framer.restart(&mut count);
        let ends = bytes.iter().filter(|byte| matches!(byte, b'\r' | b'\n' | 7)).count() as u64;
        prop_assert_eq!(told + ends, bytes.len() as u64);
    }
}
